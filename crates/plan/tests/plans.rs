//! Every file in `testdata/plans`, and settings laid over plans: what is read, and the whole text of each error.

#![allow(clippy::unwrap_used, reason = "helpers of tests")]

use std::collections::BTreeSet;
use std::path::PathBuf;

use flattop_close::{assert_close, relative};
use flattop_core::chain::{self, ResponseShape};
use flattop_core::signal as core;
use flattop_plan::document::{Grid, Quantity};
use flattop_plan::*;

fn folder(which: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../testdata/plans").join(which)
}

#[allow(clippy::disallowed_methods, reason = "a test reads its data")]
fn text(which: &str, file: &str) -> String {
    std::fs::read_to_string(folder(which).join(file)).unwrap()
}

fn names(which: &str) -> BTreeSet<String> {
    std::fs::read_dir(folder(which)).unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect()
}

fn plan(file: &str) -> Plan {
    Plan::parse(file, &text("valid", file)).unwrap()
}

fn is_close(got: Quantity, value: f64, half_width: Option<f64>) {
    assert_close!(got.value, value, relative(1e-14));
    assert_eq!(got.half_width.is_some(), half_width.is_some());
    if let (Some(got), Some(expected)) = (got.half_width, half_width) {
        assert_close!(got, expected, relative(1e-14));
    }
}

#[test]
fn every_valid_file_has_its_test() {
    let tested = ["gate-driver.toml", "data-sheet.toml", "supply-at-power-on.toml", "choose-door-motor.toml"];
    assert_eq!(names("valid"), tested.map(str::to_owned).into());
}

#[test]
fn plan_with_all_tables() {
    let plan = plan("gate-driver.toml");
    assert!(plan.findings.is_empty(), "{:?}", plan.findings);
    is_close(plan.node.resistance, 47.0, Some(2.35));
    is_close(plan.node.capacitance, 220e-12, None);
    assert_eq!(
        plan.signal.unwrap().nominal().unwrap(),
        core::Signal {
            // 10 to 90 % of a straight ramp is 0.8 of it (IEEE 181 reference levels): 40 ns of 50 ns.
            shape: core::Shape::Trapezoid { frequency_hz: 20e3, duty: 0.5, rise_s: 50e-9, fall_s: 50e-9 },
            low_v: 0.0,
            high_v: 15.0
        }
    );
    assert!(
        matches!(plan.contact.lead, Lead::Geometry { ground_length, loop_width: None, wire_diameter: Some(_) }
        if ground_length == Quantity::exact(0.15))
    );
    let ProbeModel::Parts(parts) = &plan.probe.model else { panic!() };
    is_close(parts.tip_resistance, 9e6, Some(9e4));
    assert_close!(parts.ratio_on(1e6), 10.0, relative(0.0));
    assert_close!(parts.tip().body_capacitance_f, 1e-12, relative(0.0));
    assert_eq!(
        parts.cable(),
        chain::Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 1e-9,
            skin_corner_hz: None
        }
    );
    assert_eq!(
        parts.compensation_box(),
        chain::CompensationBox { series_resistance_ohm: 100.0, capacitance_f: 20e-12 }
    );
    assert_eq!(plan.probe.adjusted_at, Some(AdjustedAt::Base));
    let rating = plan.probe.rating.unwrap();
    assert_eq!(rating.category, Some((Category::II, Quantity::exact(300.0))));
    assert_eq!(rating.curve.unwrap().frequency_hz, [0.0, 1e6, 1e8]);
    is_close(plan.input.capacitance, 15e-12, Some(2e-12));
    let input = plan.input.nominal();
    assert_eq!(
        input.response,
        chain::Response { shape: ResponseShape::MaximallyFlat(3), bandwidth_hz: 200e6 }
    );
    assert_eq!(input.limit, Some(chain::Response { shape: ResponseShape::SinglePole, bandwidth_hz: 20e6 }));
    assert_eq!(input.coupling, chain::Coupling::Dc);
    assert_eq!(plan.input.rated_voltage, Some((Quantity::exact(300.0), RatedAs::Rms)));
    assert_eq!(plan.circuit.unwrap().connection, Some(Connection::Floating));
    assert_eq!(plan.measured[0].place.place(), chain::Place::BeforeInput);
    assert_eq!(plan.output.frequencies, Some(Grid::Span { start: 100.0, stop: 500e6, count: 200 }));
    assert_eq!(plan.output.times, Some(Grid::Points(vec![0.0, 1e-6, 2e-6])));
    assert_eq!(plan.output.error, Some(0.03));
}

#[test]
fn plan_of_a_data_sheet_leaves_out_what_is_not_there() {
    let plan = plan("data-sheet.toml");
    let ProbeModel::DataSheet(sheet) = plan.probe.model else { panic!() };
    assert_eq!(sheet.compensation_range, Some([8e-12, 18e-12]));
    is_close(sheet.input_capacitance, 13e-12, Some(2e-12));
    assert_eq!(plan.node.nominal(), chain::Node { resistance_ohm: 0.0, capacitance_f: 0.0 });
    assert_eq!(plan.contact.lead, Lead::Inductance(Quantity::exact(0.0)));
    assert_eq!((plan.signal, plan.circuit, plan.input.response), (None, None, None));
    assert!(plan.input.nominal().response.bandwidth_hz.is_infinite());
}

#[test]
fn plan_of_a_file_with_an_assumed_response() {
    let plan = plan("supply-at-power-on.toml");
    assert_eq!(plan.signal, Some(Signal::File { path: "supply.csv".to_owned(), repeat: None }));
    let ProbeModel::Parts(parts) = &plan.probe.model else { panic!() };
    assert_close!(parts.ratio_on(50.0), 1.0, relative(0.0));
    assert_eq!(parts.cable, None);
    assert_eq!(plan.input.nominal().coupling, chain::Coupling::Ac { corner_hz: 7.0 });
    assert_eq!(plan.findings.iter().map(|f| f.code).collect::<Vec<_>>(), ["response-assumed"]);
}

#[test]
fn list_to_choose_from() {
    let list = ChooseList::parse("list", &text("valid", "choose-door-motor.toml")).unwrap();
    assert_eq!(list.probes.iter().map(|p| p.label.as_str()).collect::<Vec<_>>(), ["Probe 07", "Probe 12"]);
    assert!(matches!(list.probes[0].item.model, ProbeModel::DataSheet(_)));
    let ProbeModel::Parts(parts) = &list.probes[1].item.model else { panic!() };
    assert!(parts.cable.is_some());
    assert_eq!(list.inputs.len(), 1);
    assert_eq!(list.measurement, Measurement { quantity: MeasuredQuantity::Transition, tolerance: 0.05 });
}

#[test]
fn settings_win_over_the_text_and_take_keys_away() {
    let text = text("valid", "gate-driver.toml");
    let settings = [
        ("node.resistance", "1M"),
        ("node.resistance", "2M"),
        ("contact.ground_length", ""),
        ("contact.wire_diameter", ""),
        ("contact.inductance", "120 nH"),
        ("probe.rating.peak", "400 V, 400 V, 20 V"),
        ("measured.1.file", "other.s2p"),
        ("measured.2.file", "third.s1p"),
        ("measured.2.place", "before-tip"),
        ("measured.2.use", "series"),
        ("input.order", "4"),
        ("output.times", "0 s:1 us:11"),
    ];
    let plan = Plan::with_overrides("plan", &text, &settings).unwrap();
    assert_close!(plan.node.resistance.value, 2e6, relative(0.0));
    assert_eq!(plan.contact.lead, Lead::Inductance(Quantity::exact(120e-9)));
    assert_eq!(plan.probe.rating.unwrap().curve.unwrap().voltage_v, [400.0, 400.0, 20.0]);
    assert_eq!(plan.measured.iter().map(|m| m.file.as_str()).collect::<Vec<_>>(), ["other.s2p", "third.s1p"]);
    assert_eq!(plan.input.response.unwrap().shape, ResponseShape::MaximallyFlat(4));
    assert_eq!(plan.output.times, Some(Grid::Span { start: 0.0, stop: 1e-6, count: 11 }));
}

/// A plan may consist of settings only.
#[test]
fn settings_without_a_text() {
    let settings = [
        ("probe.tip_resistance", "9M"),
        ("probe.tip_capacitance", "12p"),
        ("input.resistance", "1M"),
        ("input.capacitance", "15p"),
    ];
    assert!(Plan::with_overrides("settings", "", &settings).is_ok());
}

#[test]
fn faults_of_settings_point_at_them() {
    let text = text("valid", "gate-driver.toml");
    let settings = [
        ("node.resistance", "9 pF"),
        ("probe.cable", "1.2 m"),
        ("probe.cable.lenght", "1.2 m"),
        ("measured.3.file", "a.s2p"),
        ("input.capacitance", ""),
        ("input.bandwidth", "0"),
    ];
    let error = Plan::with_overrides("plan.toml", &text, &settings).unwrap_err();
    assert_eq!(error.to_string(), SETTINGS.join("\n"));
}

#[test]
fn remarks_on_what_was_probably_not_meant() {
    let text = text("valid", "gate-driver.toml");
    let settings = [("node.resistance", "9m ± 1%"), ("input.capacitance", "15")];
    let plan = Plan::with_overrides("plan.toml", &text, &settings).unwrap();
    let remarks: Vec<String> = plan.findings.iter().map(|f| format!("{}: {}", f.code, f.message)).collect();
    assert_eq!(
        remarks,
        [
            "milli-or-mega: [node] resistance: \"9m\" was read as 9 thousandths of an ohm",
            "number-without-unit: [input] capacitance: 15 was read as 15 F"
        ]
    );
}

fn error(file: &str) -> String {
    let text = text("invalid", file);
    if file.starts_with("choose-") {
        ChooseList::parse(file, &text).unwrap_err().to_string()
    } else {
        Plan::parse(file, &text).unwrap_err().to_string()
    }
}

#[test]
fn invalid_files() {
    assert_eq!(INVALID.iter().map(|v| v.0.to_owned()).collect::<BTreeSet<_>>(), names("invalid"));
    for &(file, expected) in INVALID {
        assert_eq!(error(file), expected.join("\n"));
    }
}

#[rustfmt::skip]
const SETTINGS: &[&str] = &[
    "setting \"node.resistance=9 pF\": [node] resistance: expected a resistance not below zero, for example 9M, 4k7 or 50 ohm, found \"9 pF\", which is a capacitance",
    "setting \"probe.cable=1.2 m\": expected the path of a key, found the table [probe.cable]; set one of its keys: capacitance_per_metre, conductance_per_metre, inductance_per_metre, length, resistance_per_metre, skin_corner",
    "setting \"probe.cable.lenght=1.2 m\": [probe.cable] lenght: expected a known key, found \"lenght\"; did you mean \"length\"?",
    "setting \"measured.3.file=a.s2p\": [[measured]]: expected an element from no. 1 to no. 2, the next one, found no. 3; elements count from 1 without gaps",
    "setting \"input.capacitance=\": [input] capacitance: expected a capacitance not below zero, for example 15 pF or 15p, found nothing; nothing can be assumed about it; it is printed beside the connector",
    "setting \"input.bandwidth=0\": [input] bandwidth: expected a frequency above zero, for example 1 kHz or 100 MHz, found 0",
];

/// File and the whole text of its errors.
#[rustfmt::skip]
const INVALID: &[(&str, &[&str])] = &[
    ("choose-incomplete.toml", &[
        "choose-incomplete.toml, line 1, column 1: [signal] shape: expected one of \"sine\", \"square\", \"trapezoid\", \"pulse\", \"edge\", \"exponential\", \"burst\", \"file\", found nothing; say what the signal does",
        "choose-incomplete.toml, line 1, column 1: [measurement] tolerance: expected a ratio between 0 and 1, for example 1%, 500 ppm or 0.01, found nothing; say how large an error may be",
        "choose-incomplete.toml, line 1, column 1: input: expected at least one [[input]], found none; begin each with [[input]]",
        "choose-incomplete.toml, line 2, column 12: [measurement] quantity: expected one of \"amplitude\", \"peak\", \"level\", \"transition\", found \"rise\"",
        "choose-incomplete.toml, line 7, column 1: [[probe]] tip_capacitance (no. 2): expected a capacitance not below zero, for example 15 pF or 15p, found nothing; a probe given by its parts needs it",
        "choose-incomplete.toml, line 8, column 9: [[probe]] label (no. 2): expected each label once, found \"Probe 07\" again; give it another name",
        "choose-incomplete.toml, line 10, column 1: [probe.cable] length (probe no. 2): expected a length not below zero, for example 1.2 m or 90 mm, found nothing; a cable needs it; leave the table out for no cable",
        "choose-incomplete.toml, line 10, column 1: [probe.cable] capacitance_per_metre (probe no. 2): expected a capacitance per length above zero, for example 60 pF/m, found nothing; a cable needs it: it is on the data sheet, or follows from wave impedance and velocity",
        "choose-incomplete.toml, line 10, column 1: [probe.cable] inductance_per_metre (probe no. 2): expected an inductance per length above zero, for example 330 nH/m, found nothing; a cable needs it: it is on the data sheet, or follows from wave impedance and velocity",
        "choose-incomplete.toml, line 11, column 1: [probe.cable] lenght (probe no. 2): expected a known key, found \"lenght\"; did you mean \"length\"?",
    ]),
    ("data-sheet-without-ratio.toml", &[
        "data-sheet-without-ratio.toml, line 1, column 1: [probe] ratio: expected a multiple above zero, for example 10 or 10x, found nothing; a probe given by its data sheet needs it",
        "data-sheet-without-ratio.toml, line 3, column 22: [probe] compensation_range: expected least and largest input capacitance, in this order, found 1.8e-11 F to 8e-12 F",
    ]),
    ("input-details.toml", &[
        "input-details.toml, line 4, column 1: [input] ac_corner: expected a frequency above zero, for example 1 kHz or 100 MHz, found nothing; coupling \"ac\" needs it",
        "input-details.toml, line 7, column 9: [input] order: expected this key together with bandwidth only, found it alone; take it out",
        "input-details.toml, line 11, column 15: [input] limit_order: expected 4, as only the fourth order is computed, found 3; take it out",
        "input-details.toml, line 12, column 12: [input] rated_as: expected this key together with rated_voltage only, found it alone; take it out",
    ]),
    ("key-misspelt.toml", &[
        "key-misspelt.toml, line 2, column 1: [node] resistence: expected a known key, found \"resistence\"; did you mean \"resistance\"?",
        "key-misspelt.toml, line 7, column 1: [probe.cable] capacitance_per_metre: expected a capacitance per length above zero, for example 60 pF/m, found nothing; a cable needs it: it is on the data sheet, or follows from wave impedance and velocity",
        "key-misspelt.toml, line 9, column 1: [probe.cable] capacitance_per_meter: expected a known key, found \"capacitance_per_meter\"; did you mean \"capacitance_per_metre\"?",
    ]),
    ("key-of-another-table.toml", &[
        "key-of-another-table.toml, line 2, column 1: [node] cable_length: expected a known key, found \"cable_length\"; it belongs to [probe] cable_length",
    ]),
    ("keys-of-other-shapes.toml", &[
        "keys-of-other-shapes.toml, line 6, column 9: [signal] width: expected this key with the shapes that use it only: pulse, exponential, found shape \"sine\"; take it out",
        "keys-of-other-shapes.toml, line 7, column 8: [signal] duty: expected this key with the shapes that use it only: square, trapezoid, found shape \"sine\"; take it out",
    ]),
    ("lead-twice.toml", &[
        "lead-twice.toml, line 3, column 17: [contact] ground_length: expected either inductance or ground_length, found both; take one of the two out",
    ]),
    ("levels-alike.toml", &[
        "levels-alike.toml, line 4, column 8: [signal] high: expected another level than low, found 1 V for both",
    ]),
    ("measured-incomplete.toml", &[
        "measured-incomplete.toml, line 11, column 7: [[measured]] use (no. 1): expected one of \"two-port\", \"series\", \"shunt\", \"response\", found \"two-ports\"; did you mean \"two-port\"?",
        "measured-incomplete.toml, line 12, column 1: [[measured]] place (no. 2): expected one of \"before-contact\", \"before-tip\", \"before-cable\", \"before-box\", \"before-input\", found nothing; each measured element needs it",
        "measured-incomplete.toml, line 12, column 1: [[measured]] use (no. 2): expected one of \"two-port\", \"series\", \"shunt\", \"response\", found nothing; each measured element needs it",
        "measured-incomplete.toml, line 13, column 8: [[measured]] file (no. 2): expected a text that is not empty, found an empty text",
        "measured-incomplete.toml, line 14, column 1: [[measured]] port (no. 2): expected a known key, found \"port\"; known here: file, place, use",
    ]),
    ("not-toml.toml", &[
        "not-toml.toml, line 1, column 6: expected TOML, found a fault: unclosed table, expected `]`; write tables as [name] and keys as name = \"value\"",
    ]),
    ("nothing-given.toml", &[
        "nothing-given.toml, line 1, column 1: [probe] tip_resistance: expected the parts of the probe (tip_resistance, tip_capacitance) or its data sheet (ratio, input_capacitance), found neither; give one of the two: nothing can be assumed about a probe",
        "nothing-given.toml, line 1, column 1: [input] resistance: expected a resistance above zero, for example 9M, 4k7 or 50 ohm, found nothing; nothing can be assumed about it; it is printed beside the connector",
        "nothing-given.toml, line 1, column 1: [input] capacitance: expected a capacitance not below zero, for example 15 pF or 15p, found nothing; nothing can be assumed about it; it is printed beside the connector",
    ]),
    ("output-ranges.toml", &[
        "output-ranges.toml, line 9, column 15: [output] frequencies: expected a list or \"START:STOP:COUNT\", each a frequency above zero, for example 1 kHz or 100 MHz, found \"1 MHz:1 kHz:10\"; STOP must lie above START, and COUNT from 2 to 10000000",
        "output-ranges.toml, line 10, column 9: [output] times: expected a list or \"START:STOP:COUNT\", each a time, for example 10 us or 1 ms, found an empty list",
        "output-ranges.toml, line 11, column 9: [output] error: expected a ratio between 0 and 1, for example 1%, 500 ppm or 0.01, found 1.5",
    ]),
    ("probe-both-ways.toml", &[
        "probe-both-ways.toml, line 4, column 21: [probe] input_capacitance: expected either the parts of the probe (tip_resistance and so on) or its data sheet, found both; take it out",
    ]),
    ("probe-by-id.toml", &[
        "probe-by-id.toml, line 2, column 6: [probe] id: expected the name of something on the bench, found \"07\": no bench is at hand to look it up; name its file with --bench, or write the figures in place of it",
        "probe-by-id.toml, line 4, column 6: [input] id: expected the name of something on the bench, found \"bench-a-1\": no bench is at hand to look it up; name its file with --bench, or write the figures in place of it",
    ]),
    ("probe-without-capacitance.toml", &[
        "probe-without-capacitance.toml, line 1, column 1: [probe] tip_capacitance: expected a capacitance not below zero, for example 15 pF or 15p, found nothing; a probe given by its parts needs it",
    ]),
    ("ramps-too-long.toml", &[
        "ramps-too-long.toml, line 6, column 8: [signal] rise: expected ramps whose mean is at most the 1e-8 s of the pulse, found 1.25e-8 s; shorten the ramps",
    ]),
    ("rating-details.toml", &[
        "rating-details.toml, line 4, column 1: [probe.rating] category_voltage: expected a voltage above zero, for example 3.3 V or 500 mV, found nothing; category and category_voltage belong together",
        "rating-details.toml, line 5, column 13: [probe.rating] frequency: expected rising frequencies, found others; sort the points, each frequency once",
        "rating-details.toml, line 6, column 8: [probe.rating] peak: expected as many voltages as frequencies, that is 3, found 1",
        "rating-details.toml, line 7, column 12: [probe.rating] category: expected one of \"I\", \"II\", \"III\", \"IV\", found \"V\"",
    ]),
    ("rise-twice.toml", &[
        "rise-twice.toml, line 6, column 14: [signal] rise_10_90: expected either rise or rise_10_90, found both; take one of the two out",
    ]),
    ("shape-unknown.toml", &[
        "shape-unknown.toml, line 2, column 9: [signal] shape: expected one of \"sine\", \"square\", \"trapezoid\", \"pulse\", \"edge\", \"exponential\", \"burst\", \"file\", found \"sqare\"; did you mean \"square\"?",
    ]),
    ("table-misspelt.toml", &[
        "table-misspelt.toml, line 1, column 2: nodes: expected a known table or key, found \"nodes\"; did you mean \"node\"?",
    ]),
    ("trapezoid-without-ramps.toml", &[
        "trapezoid-without-ramps.toml, line 1, column 1: [signal] low: expected a voltage, for example 3.3 V or 500 mV, found nothing; shape \"trapezoid\" needs it",
        "trapezoid-without-ramps.toml, line 1, column 1: [signal] frequency: expected a frequency above zero, for example 1 kHz or 100 MHz, found nothing; shape \"trapezoid\" needs it",
        "trapezoid-without-ramps.toml, line 1, column 1: [signal] rise: expected a time not below zero, for example 10 us or 1 ms, found nothing; shape \"trapezoid\" needs it",
    ]),
    ("width-without-lead.toml", &[
        "width-without-lead.toml, line 2, column 14: [contact] loop_width: expected this key together with ground_length only, found it alone; take it out",
    ]),
    ("wrong-kinds.toml", &[
        "wrong-kinds.toml, line 2, column 14: [node] resistance: expected a resistance not below zero, for example 9M, 4k7 or 50 ohm, found true, which is yes or no",
        "wrong-kinds.toml, line 3, column 15: [node] capacitance: expected a capacitance not below zero, for example 15 pF or 15p, found \"abc\", which holds no number",
        "wrong-kinds.toml, line 5, column 9: [signal] shape: expected one of \"sine\", \"square\", \"trapezoid\", \"pulse\", \"edge\", \"exponential\", \"burst\", \"file\", found 3",
        "wrong-kinds.toml, line 6, column 7: [signal] low: expected a voltage, for example 3.3 V or 500 mV, found \"1,000 V\", whose comma may be decimal or may group thousands; write 1.000 or 1000",
        "wrong-kinds.toml, line 7, column 8: [signal] high: expected a voltage, for example 3.3 V or 500 mV, found a list",
        "wrong-kinds.toml, line 9, column 18: [probe] tip_resistance: expected a resistance not below zero, for example 9M, 4k7 or 50 ohm, found -9000000",
        "wrong-kinds.toml, line 10, column 19: [probe] tip_capacitance: expected a capacitance not below zero, for example 15 pF or 15p, found inf; leave the key out where there is no limit",
        "wrong-kinds.toml, line 11, column 15: [probe] adjusted_at: expected one of \"tip\", \"base\", \"fixed\", found \"Tip\"; did you mean \"tip\"?",
        "wrong-kinds.toml, line 13, column 10: [probe.cable] length: expected a length not below zero, for example 1.2 m or 90 mm, found \"1.2 m ± -1 mm\"; the tolerance behind ± must not be below zero",
        "wrong-kinds.toml, line 14, column 25: [probe.cable] capacitance_per_metre: expected a capacitance per length above zero, for example 60 pF/m, found a tolerance that reaches down to -6.000000000000005e-12; make the tolerance narrower",
        "wrong-kinds.toml, line 15, column 24: [probe.cable] inductance_per_metre: expected an inductance per length above zero, for example 330 nH/m, found \"330 uF/m\", which is a capacitance per length",
        "wrong-kinds.toml, line 16, column 25: [probe.cable] conductance_per_metre: expected a conductance per length not below zero, for example 1 nS/m, found \"1 nF/m\"",
        "wrong-kinds.toml, line 18, column 14: [input] resistance: expected a resistance above zero, for example 9M, 4k7 or 50 ohm, found \"1Mx\", where \"Mx\" is no unit of it",
        "wrong-kinds.toml, line 19, column 15: [input] capacitance: expected a capacitance not below zero, for example 15 pF or 15p, found a date or time",
        "wrong-kinds.toml, line 20, column 9: [input] order: expected a whole number from 1 to 10, found 11",
        "wrong-kinds.toml, line 20, column 9: [input] order: expected this key together with bandwidth only, found it alone; take it out",
    ]),
    ("wrong-unit.toml", &[
        "wrong-unit.toml, line 2, column 14: [node] resistance: expected a resistance not below zero, for example 9M, 4k7 or 50 ohm, found \"9 pF\", which is a capacitance",
    ]),
];
