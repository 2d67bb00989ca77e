//! Plans that name things of a bench: a bench made of a few texts, and the same plan written out.

#![allow(clippy::unwrap_used, reason = "helpers of tests")]

use flattop_core::finding::Finding;
use flattop_plan::document::Quantity;
use flattop_plan::*;

/// Two probes (07 with all that a plan can use, 08 without a ratio), two inputs, a spring.
struct Small;

fn held(id: &str, values: &[(&'static str, &str)]) -> Vec<Held> {
    let each = |&(key, text): &(&'static str, &str)| Held {
        key,
        text: text.to_owned(),
        field: key,
        remedy: format!("edit {id} {key}"),
    };
    values.iter().map(each).collect()
}

const SHEET: [(&str, &str); 9] = [
    ("ratio", "10"),
    ("input_capacitance", "13 pF ± 2 pF"),
    ("compensation_range", "8 pF, 18 pF"),
    ("bandwidth", "200 MHz"),
    ("cable_length", "1.2 m"),
    ("rating.frequency", "0 Hz, 1 MHz"),
    ("rating.peak", "600 V, 300 V"),
    ("rating.category", "II"),
    ("rating.category_voltage", "300 V"),
];

const INPUT: [(&str, &str); 7] = [
    ("resistance", "1 MΩ ± 1 %"),
    ("capacitance", "15 pF ± 2 pF"),
    ("bandwidth", "200 MHz"),
    ("response", "maximally-flat"),
    ("order", "3"),
    ("rated_voltage", "300 V"),
    ("rated_as", "rms"),
];

impl Bench for Small {
    fn probe(&self, id: &str) -> Result<Thing, String> {
        let missing = |key| Missing { key, field: "tip_ratio", remedy: format!("edit {id} tip_ratio=10") };
        match id {
            "probe-07" => Ok(Thing { id: id.to_owned(), held: held(id, &SHEET), ..Thing::default() }),
            "probe-08" => Ok(Thing {
                id: id.to_owned(),
                held: held(id, &SHEET[1..]),
                missing: vec![missing("ratio")],
                findings: vec![Finding::note("left-out", "a remark", "")],
            }),
            _ => Err("there is none; look again".to_owned()),
        }
    }

    fn input(&self, id: &str) -> Result<Thing, String> {
        match id {
            "bench-a/ch1" | "bench-a/ch2" => {
                Ok(Thing { id: id.to_owned(), held: held(id, &INPUT), ..Thing::default() })
            }
            _ => Err("there is none; look again".to_owned()),
        }
    }

    fn ground(&self, probe: &str, name: &str) -> Result<Thing, String> {
        assert_eq!((probe, name), ("probe-07", "spring"));
        Ok(Thing { id: name.to_owned(), held: held(name, &[("inductance", "8 nH")]), ..Thing::default() })
    }

    fn pairing(&self, probe: &str, input: &str) -> Result<AsMeasured, String> {
        Ok(match (probe, input) {
            ("probe-07", "bench-a/ch1") => AsMeasured {
                compensation_error: Some(Quantity { value: -0.02, half_width: Some(0.005) }),
                findings: vec![Finding::note("compensation-measured", "seen", "")],
            },
            _ => AsMeasured::default(),
        })
    }

    fn candidates(&self) -> Result<Candidates, String> {
        Ok(Candidates {
            probes: vec!["probe-07".to_owned()],
            inputs: vec!["bench-a/ch1".to_owned(), "bench-a/ch2".to_owned()],
            pairs: vec![(0, 1)],
            findings: vec![Finding::warning("left-out", "probe-08", "")],
        })
    }
}

const BY_ID: &str = "[probe]\nid = 'probe-07'\n[input]\nid = 'bench-a/ch1'\n";

const WRITTEN_OUT: &str = "[probe]
ratio = 10
input_capacitance = '13 pF ± 2 pF'
compensation_range = ['8 pF', '18 pF']
bandwidth = '200 MHz'
cable_length = '1.2 m'
compensation_error = '-2 % ± 0.5 %'
[probe.rating]
frequency = ['0 Hz', '1 MHz']
peak = ['600 V', '300 V']
category = 'II'
category_voltage = '300 V'
[input]
resistance = '1 MΩ ± 1 %'
capacitance = '15 pF ± 2 pF'
bandwidth = '200 MHz'
response = 'maximally-flat'
order = 3
rated_voltage = '300 V'
rated_as = 'rms'
";

fn by_id(settings: &[(&str, &str)]) -> Plan {
    Plan::with_bench("plan", BY_ID, settings, &Small).unwrap()
}

fn problems(text: &str, settings: &[(&str, &str)]) -> Vec<String> {
    let error = Plan::with_bench("plan", text, settings, &Small).unwrap_err().to_string();
    error.lines().map(String::from).collect()
}

#[test]
fn what_the_bench_knows_is_as_if_it_were_written() {
    let plan = by_id(&[]);
    let written = Plan::parse("plan", WRITTEN_OUT).unwrap();
    assert_eq!(plan.findings.iter().map(|f| f.code).collect::<Vec<_>>(), ["compensation-measured"]);
    assert_eq!(Plan { findings: Vec::new(), ..plan }, written);
    // By settings alone.
    let settings = [("probe.id", "probe-07"), ("input.id", "bench-a/ch1")];
    let plan = Plan::with_bench("options", "", &settings, &Small).unwrap();
    assert_eq!(Plan { findings: Vec::new(), ..plan }, written);
}

#[test]
fn what_the_plan_says_goes_before_and_takes_its_group_along() {
    let written = |settings: &[(&str, &str)]| {
        let plan = Plan::with_overrides("plan", WRITTEN_OUT, settings).unwrap();
        (plan.probe, plan.input)
    };
    let found = |settings: &[(&str, &str)]| {
        let plan = by_id(settings);
        (plan.probe, plan.input)
    };
    for settings in [
        &[("probe.bandwidth", "100 MHz"), ("input.capacitance", "20 pF")][..],
        &[("probe.bandwidth", "")],
        // As adjusted, whatever was measured.
        &[("probe.compensation_error", "")],
        &[("probe.compensation_error", "1 %")],
    ] {
        assert_eq!(found(settings), written(settings), "{settings:?}");
    }
    // A category must not get the voltage of another one, nor a form the order of another.
    assert_eq!(
        found(&[
            ("probe.rating.dc", "600 V"),
            ("probe.rating.peak", ""),
            ("input.response", "gaussian"),
            ("probe.rating.category", ""),
        ]),
        written(&[
            ("probe.rating.dc", "600 V"),
            ("probe.rating.frequency", ""),
            ("probe.rating.peak", ""),
            ("input.response", "gaussian"),
            ("input.order", ""),
            ("probe.rating.category", ""),
            ("probe.rating.category_voltage", ""),
        ])
    );
    let remarks = problems(BY_ID, &[("probe.rating.category", "III")]);
    assert_eq!(remarks.len(), 1, "{remarks:?}");
    assert!(remarks[0].contains("category_voltage: expected a voltage"), "{remarks:?}");
    assert_eq!(found(&[("input.bandwidth", "")]).1.response, None);
}

#[test]
fn parts_of_a_probe_stand_in_place_of_its_data_sheet() {
    let parts = [("probe.tip_resistance", "9M"), ("probe.tip_capacitance", "12 pF")];
    let plan = by_id(&parts);
    let ProbeModel::Parts(parts) = &plan.probe.model else { panic!("{:?}", plan.probe) };
    assert_eq!(parts.ratio, Some(Quantity::exact(10.0)));
    assert!(plan.probe.rating.is_some() && plan.findings.is_empty());
}

#[test]
fn a_ground_accessory_goes_with_its_probe() {
    let ground = [("contact.ground", "spring")];
    assert_eq!(by_id(&ground).contact.lead, Lead::Inductance(Quantity::exact(8e-9)));
    let longer = [("contact.ground", "spring"), ("contact.ground_length", "150 mm")];
    assert!(matches!(by_id(&longer).contact.lead, Lead::Geometry { .. }));
    assert_eq!(
        problems(WRITTEN_OUT, &ground),
        [
            "setting \"contact.ground=spring\": [contact] ground: expected this key together with [probe] id only, \
          found it alone; take it out"
        ]
    );
}

#[test]
fn what_is_missing_or_wrong_says_so_at_the_id() {
    assert_eq!(
        problems(&BY_ID.replace("07", "08"), &[]),
        [
            "plan, line 2, column 6: [probe] id: expected something of which the bench knows tip_ratio, found probe-08, \
          which has no tip_ratio there; edit probe-08 tip_ratio=10, or give ratio here"
        ]
    );
    assert!(Plan::with_bench("", &BY_ID.replace("07", "08"), &[("probe.ratio", "10")], &Small).is_ok());
    assert_eq!(
        problems("[probe]\nid = 'probe-09'\n", &[("input.id", "bench-b/ch1")]),
        [
            "plan, line 2, column 6: [probe] id: expected the name of something on the bench, found \"probe-09\": \
             there is none; look again",
            "setting \"input.id=bench-b/ch1\": [input] id: expected the name of something on the bench, found \
             \"bench-b/ch1\": there is none; look again",
        ]
    );
    // A value of the bench that does not go with the plan.
    assert_eq!(
        problems(
            BY_ID,
            &[("input.rated_voltage", ""), ("input.bandwidth", "1e8"), ("probe.cable.length", "0")]
        ),
        // Parts were begun, so the data sheet of the bench does not count.
        [
            "plan, line 1, column 1: [probe] tip_resistance: expected a resistance not below zero, for example 9M, 4k7 or 50 ohm, \
             found nothing; a probe given by its parts needs it",
            "plan, line 1, column 1: [probe] tip_capacitance: expected a capacitance not below zero, for example 15 pF or 15p, \
             found nothing; a probe given by its parts needs it",
        ]
    );
}

/// A bench whose value does not do.
struct Wrong;

impl Bench for Wrong {
    fn probe(&self, id: &str) -> Result<Thing, String> {
        Ok(Thing { id: id.to_owned(), held: held(id, &[("ratio", "ten")]), ..Thing::default() })
    }
    fn input(&self, id: &str) -> Result<Thing, String> {
        Small.input(id)
    }
    fn ground(&self, probe: &str, name: &str) -> Result<Thing, String> {
        Small.ground(probe, name)
    }
    fn pairing(&self, _: &str, _: &str) -> Result<AsMeasured, String> {
        Err("the disk is gone".to_owned())
    }
    fn candidates(&self) -> Result<Candidates, String> {
        Err("nothing is paired; pair something".to_owned())
    }
}

#[test]
fn errors_in_the_bench_name_it() {
    let settings = [("probe.input_capacitance", "13 pF")];
    let error = Plan::with_bench("plan", BY_ID, &settings, &Wrong).unwrap_err().to_string();
    assert_eq!(
        error,
        "from the bench: probe-07 ratio=ten: [probe] ratio: expected a multiple above zero, for example 10 or 10x, \
         found \"ten\"; edit probe-07 ratio"
    );
    let settings = [("probe.input_capacitance", "13 pF"), ("probe.ratio", "10")];
    let error = Plan::with_bench("plan", BY_ID, &settings, &Wrong).unwrap_err().to_string();
    assert!(error.contains("found the disk is gone"), "{error}");
}

const WANTED: &str = "[signal]\nshape = 'sine'\nfrequency = '1 MHz'\nlow = 0\nhigh = 1\n\
                      [measurement]\nquantity = 'amplitude'\ntolerance = '3 %'\n";

#[test]
fn lists_name_things_of_the_bench() {
    let text = format!(
        "{WANTED}[[probe]]\nid = 'probe-07'\nlabel = 'Probe 07'\n[[probe]]\nid = 'probe-08'\nratio = 10\n\
         [[input]]\nid = 'bench-a/ch1'\n[[input]]\nid = 'bench-a/ch2'\n"
    );
    let list = ChooseList::with_bench("list", &text, &[], &Small).unwrap();
    assert!(!list.is_of_bench);
    assert_eq!(list.probes.iter().map(|p| p.label.as_str()).collect::<Vec<_>>(), ["Probe 07", "probe-08"]);
    assert_eq!(
        list.inputs.iter().map(|i| i.label.as_str()).collect::<Vec<_>>(),
        ["bench-a/ch1", "bench-a/ch2"]
    );
    let pairs: Vec<_> =
        list.pairs.iter().map(|p| (p.probe, p.input, p.compensation_error.is_some())).collect();
    assert_eq!(pairs, [(0, 0, true), (0, 1, false), (1, 0, false), (1, 1, false)]);
    assert_eq!(list.pairs[0].findings[0].code, "compensation-measured");
    // Of things that are not of the bench nothing is measured.
    let written =
        ChooseList::with_bench("list", &text, &[("probe.1.compensation_error", "0 %")], &Small).unwrap();
    assert!(written.pairs.iter().all(|p| p.compensation_error.is_none() && p.findings.is_empty()));
}

#[test]
fn a_list_that_names_neither_takes_both_from_the_bench() {
    let list = ChooseList::with_bench("list", WANTED, &[], &Small).unwrap();
    assert!(list.is_of_bench);
    assert_eq!((list.probes.len(), list.inputs.len()), (1, 2));
    let pairs: Vec<_> = list.pairs.iter().map(|p| (p.probe, p.input)).collect();
    assert_eq!(pairs, [(0, 1)]);
    assert_eq!(list.findings[0].code, "left-out");
    let plan = Plan::parse("plan", WRITTEN_OUT).unwrap();
    assert_eq!(
        list.probes[0].item,
        Plan::with_bench("", BY_ID, &[("probe.compensation_error", "")], &Small).unwrap().probe
    );
    assert_eq!(list.inputs[1].item, plan.input);

    let error = ChooseList::with_bench("list", WANTED, &[], &Wrong).unwrap_err().to_string();
    assert_eq!(
        error,
        "list, line 1, column 1: probe: expected at least one [[probe]] and one [[input]], or a bench to choose from, \
         found none: nothing is paired; pair something"
    );
    let error =
        ChooseList::with_bench("list", &format!("{WANTED}[contact]\nground = 'spring'\n"), &[], &Small);
    assert!(error.unwrap_err().to_string().contains("found what goes with one probe"));
}
