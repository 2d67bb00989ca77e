//! Benches as text.

use flattop_core::bench::{Moment, Pairing, Voided};
use flattop_register::{Filter, ImportError, Register, RegisterError, Retired, Thing, Voids};
use proptest::prelude::*;

use super::common::*;

#[test]
fn a_bench_reads_as_people_would_write_it() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.edit_field(&Thing::Probe(id("probe-07")), "cable.length", Some("1.2 m")).unwrap();
    register
        .edit_field(&Thing::Probe(id("probe-07")), "voltage_rating", Some("600 V at 0 Hz; 300 V at 10 MHz"))
        .unwrap();
    let expected = "format = \"flattop-bench-1\"

[[oscilloscope]]
id = \"bench-a\"
label = \"Bench A scope, 200 MHz\"

[[oscilloscope.input]]
name = \"ch1\"
resistance = \"1 MΩ ± 20 kΩ\"
capacitance = \"15 pF ± 1 pF\"
bandwidth = \"200 MHz\"
response = \"gaussian\"

[[oscilloscope.input]]
name = \"ch2\"
resistance = \"1 MΩ ± 20 kΩ\"
capacitance = \"20 pF ± 1 pF\"
bandwidth = \"200 MHz\"
response = \"gaussian\"

[[probe]]
id = \"probe-07\"
label = \"Probe 07\"
ratio = \"10\"
tip_resistance = \"9 MΩ\"
tip_capacitance = \"12 pF ± 1 pF\"
compensation_range = \"10 pF to 25 pF\"
adjusted_at = \"base\"
voltage_rating = \"600 V at 0 Hz; 300 V at 10 MHz\"

[probe.cable]
length = \"1.2 m\"

[[probe.ground]]
name = \"lead\"

[[pairing]]
number = 1
probe = \"probe-07\"
input = \"bench-a/ch1\"
tolerance = \"1 %\"
recheck_interval = \"90 days\"
made_at = \"2026-09-21T15:13:20.000+01:00\"
made_by = \"door shop, early shift\"
";
    assert_eq!(register.export_toml().unwrap(), expected);
}

fn round_trip(register: &Register) -> Result<(), TestCaseError> {
    let text = register.export_toml().unwrap();
    let other = Place::new();
    let mut copy = other.open();
    copy.import_toml(&text, &act(9, None)).unwrap();
    prop_assert_eq!(copy.export_toml().unwrap(), text);
    prop_assert_eq!(copy.probes(Retired::Shown).unwrap(), register.probes(Retired::Shown).unwrap());
    prop_assert_eq!(
        copy.oscilloscopes(Retired::Shown).unwrap(),
        register.oscilloscopes(Retired::Shown).unwrap()
    );
    prop_assert_eq!(copy.pairings(Voids::Shown).unwrap(), register.pairings(Voids::Shown).unwrap());
    prop_assert_eq!(copy.verify(None).unwrap().problems, []);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn prop_export_and_import_give_the_same_bench(
        probes in proptest::collection::vec(any_probe(), 0..4),
        inputs in proptest::collection::vec(any_input(), 1..4),
        label in line(), moved in any::<bool>(), offset in -800..800_i16, tolerance in 1e-6..0.9_f64,
    ) {
        let place = Place::new();
        let mut register = place.open();
        let mut scope = scope();
        (scope.label, scope.inputs) = (Some(label), Vec::new());
        for (number, input) in inputs.into_iter().enumerate() {
            scope.inputs.push(flattop_core::bench::Input { name: id(&format!("ch{number}")), ..input });
        }
        scope.inputs[0].retired = false;
        register.add_oscilloscope(&scope).unwrap();
        for (number, probe) in probes.into_iter().enumerate() {
            let probe = flattop_core::bench::Probe { id: id(&format!("p-{number}")), ..probe };
            register.add_probe(&probe).unwrap();
            if !probe.retired {
                let mut made = act(number as i64, None);
                made.at.offset_minutes = offset;
                let terms = flattop_register::Terms { tolerance: Some(tolerance), recheck_interval_days: None };
                let pairing = register.pair(&probe.id, &input_id("bench-a/ch0"), terms, &made).unwrap();
                if moved {
                    register.void_pairing(pairing, "taken \"apart\"\nfor cleaning", &made).unwrap();
                }
            }
        }
        round_trip(&register)?;
    }

    #[test]
    fn prop_no_text_brings_the_reader_down(text in "\\PC{0,200}", cut in 0..900_usize) {
        let place = Place::new();
        let mut register = place.open();
        let _ = register.import_toml(&text, &act(0, None));
        let other = Place::new();
        let whole = furnished(&other).export_toml().unwrap();
        let spoilt: String = whole.chars().take(cut).chain(text.chars().take(3)).chain(whole.chars().skip(cut)).collect();
        if register.import_toml(&spoilt, &act(0, None)).is_err() {
            prop_assert_eq!(register.head().unwrap(), None);
        }
    }
}

#[track_caller]
fn refused(text: &str, line: usize, key: &str, part: &str) {
    let place = Place::new();
    let mut register = place.open();
    let error = register.import_toml(text, &act(0, None)).unwrap_err();
    let RegisterError::Import(import) = &error else { panic!("{error:?}") };
    let (found_line, found_key) = match import {
        ImportError::Syntax { line, .. } => (*line, ""),
        ImportError::At { line, key, .. } => (*line, key.as_str()),
    };
    assert_eq!((found_line, found_key), (line, key), "{error}");
    assert!(
        error.to_string().contains(part) && error.to_string().contains("nothing was imported"),
        "{error}"
    );
    assert!(register.probes(Retired::Shown).unwrap().is_empty() && register.head().unwrap().is_none());
}

#[test]
fn errors_name_line_key_and_remedy() {
    let head = "format = \"flattop-bench-1\"\n";
    refused("", 1, "format", "start the text with");
    refused("format = \"other\"\n", 1, "format", "not known here");
    refused("format = \n", 1, "", "not TOML");
    refused(
        &format!("{head}[[probes]]\n"),
        2,
        "probes",
        "the keys here are format, oscilloscope, probe, pairing",
    );
    refused(&format!("{head}[probe]\n"), 2, "probe", "[[probe]]");
    refused(&format!("{head}[[probe]]\nid = \"Probe 07\"\n"), 3, "probe.id", "for example \"probe-07\"");
    refused(&format!("{head}[[probe]]\n"), 2, "probe.id", "missing");
    refused(
        &format!("{head}[[probe]]\nid = \"ok\"\n\n[[probe]]\nid = \"p\"\ntip_capacitance = \"12 kHz\"\n"),
        7,
        "probe.tip_capacitance",
        "a capacitance was expected",
    );
    refused(
        &format!("{head}[[probe]]\nid = \"p\"\n[probe.cable]\nlenght = \"1 m\"\n"),
        5,
        "probe.cable.lenght",
        "the keys here are length",
    );
    refused(&format!("{head}[[probe]]\nid = \"p\"\nlabel = 3\n"), 4, "probe.label", "quotation marks");
    refused(&format!("{head}[[probe]]\nid = \"p\"\n[[probe]]\nid = \"p\"\n"), 4, "probe", "there already");
    refused(&format!("{head}[[probe]]\nid = \"p\"\nratio = 0.5\n"), 2, "probe", "from 1 to");
    let pairing = "[[pairing]]\nprobe = \"p\"\ninput = \"a/b\"\nmade_at = \"2026-11-25T16:17:06+01:00\"\n";
    refused(&format!("{head}{pairing}"), 2, "pairing", "there is no probe \"p\"");
    refused(&format!("{head}{pairing}voided_why = \"x\"\n"), 2, "pairing.voided_at", "say when");
    refused(&format!("{head}{}", pairing.replace("+01:00", "")), 5, "pairing.made_at", "RFC 3339");
}

#[test]
fn an_import_adds_to_what_is_there_or_does_nothing() {
    let place = Place::new();
    let mut register = furnished(&place);
    let before = (register.export_toml().unwrap(), register.head().unwrap());
    let other = Place::new();
    let text = furnished(&other).export_toml().unwrap();
    let error = register.import_toml(&text, &act(1, None)).unwrap_err().to_string();
    assert!(error.contains("line 3, oscilloscope") && error.contains("there already"), "{error}");
    assert_eq!((register.export_toml().unwrap(), register.head().unwrap()), before);
    let renamed = text.replace("bench-a", "bench-b").replace("probe-07", "probe-09");
    let imported = register.import_toml(&renamed, &act(1, Some("from the other shop"))).unwrap();
    assert_eq!((imported.oscilloscopes, imported.inputs, imported.probes), (1, 2, 1));
    assert_eq!(imported.pairings, [(Some(1), 2)]);
    let note = register.entry(imported.entry.seq).unwrap().act.note.unwrap();
    assert!(note.contains("1 probes") && note.ends_with("from the other shop"), "{note}");
}

#[test]
fn lists_for_spreadsheets() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.edit_field(&Thing::Probe(id("probe-07")), "label", Some("=SUM(A1), \"red\"")).unwrap();
    let e = assessed(-0.0731, flattop_core::bench::Stage::Check);
    register.log_assessment(1, &e, &[], &act(1, None)).unwrap();
    let read = |text: &str| -> Vec<Vec<String>> {
        // RFC 4180 without line feeds in cells.
        let split = |line: &str| {
            let (mut cells, mut quoted) = (vec![String::new()], false);
            for c in line.chars() {
                match c {
                    '"' => quoted = !quoted,
                    ',' if !quoted => cells.push(String::new()),
                    c => cells.last_mut().unwrap().push(c),
                }
            }
            cells
        };
        text.lines().map(split).collect()
    };
    let probes = read(&register.probes_csv(Retired::Hidden).unwrap());
    assert_eq!(probes[0].len(), probes[1].len());
    assert_eq!(probes[1][1], "'=SUM(A1), red");
    let inputs = read(&register.inputs_csv(Retired::Hidden).unwrap());
    assert_eq!((inputs.len(), inputs[2][0].as_str()), (3, "bench-a/ch2"));
    assert_eq!(inputs[2][4], "20 pF ± 1 pF");
    let log = read(&register.log_csv(&Filter::all()).unwrap());
    assert_eq!((log.len(), log[3].len()), (4, log[0].len()));
    assert_eq!((log[3][8].as_str(), log[3][10].as_str()), ("undercompensated", "-0.0731"));
}

#[test]
fn lists_come_back_as_they_went() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.edit_field(&Thing::Probe(id("probe-07")), "label", Some("=SUM(A1), \"red\"\u{3bc}")).unwrap();
    let (probes, inputs) =
        (register.probes_csv(Retired::Shown).unwrap(), register.inputs_csv(Retired::Shown).unwrap());
    let other = Place::new();
    let mut copy = other.open();
    assert_eq!(copy.import_csv(&probes, &act(0, None)).unwrap().probes, 1);
    assert_eq!(copy.import_csv(&inputs, &act(0, None)).unwrap().inputs, 2);
    assert_eq!(copy.probes_csv(Retired::Shown).unwrap(), probes);
    assert_eq!(copy.inputs_csv(Retired::Shown).unwrap(), inputs);
    // A further input of an oscilloscope that is there.
    copy.import_csv("id,capacitance\r\nbench-a/ch3,13 pF\r\n", &act(0, None)).unwrap();
    assert_eq!(copy.oscilloscope(&id("bench-a")).unwrap().inputs.len(), 3);
    let before = copy.export_toml().unwrap();
    let mut refused = |text: &str| copy.import_csv(text, &act(0, None)).unwrap_err().to_string();
    for (text, part) in [
        ("", "head line"),
        ("label\nx\n", "no such column: give each line"),
        ("id,id\nx,y\n", "there twice"),
        ("id,colour\nprobe-08,red\n", "line 1, colour: no such column"),
        ("id,ratio\nprobe-08\n", "line 2, list: the line has 1 cells"),
        ("id,ratio\nprobe-08,ten\n", "line 2, ratio"),
        ("id,ratio\nProbe 08,10\n", "line 2, id"),
        ("id,ratio\nprobe-08,10\nprobe-07,10\n", "line 3, probe"),
        ("id,retired\nprobe-08,perhaps\n", "neither yes nor no"),
    ] {
        let message = refused(text);
        assert!(message.contains(part), "{text:?}: {message}");
    }
    assert_eq!(copy.export_toml().unwrap(), before);
}

#[test]
fn a_pairing_in_force_needs_a_probe_in_use() {
    let place = Place::new();
    let register = furnished(&place);
    let text = register.export_toml().unwrap().replace("adjusted_at", "retired = true\nadjusted_at");
    let mut copy = Place::new().open();
    let error = copy.import_toml(&text, &act(0, None)).unwrap_err().to_string();
    assert!(error.contains("retired"), "{error}");
    // The types say the same as the text.
    let end = Voided { at: Moment { unix_ms: 0, offset_minutes: 0 }, why: " ".to_owned() };
    let pairing = Pairing { voided: Some(end), ..register.pairing(1).unwrap() };
    assert!(pairing.check().is_err());
}
