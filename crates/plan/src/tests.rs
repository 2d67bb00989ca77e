//! The one table of keys against what the readers ask for, the template, and texts of any kind.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;

use crate::document::{Document, Kind};
use crate::*;

/// A probe by its parts and one by its data sheet, each with the least there must be.
const PARTS: &str = "[probe]\ntip_resistance = '9M'\ntip_capacitance = '12p'\n[input]\nresistance = '1M'\ncapacitance = '15p'\n";
const SHEET: &str =
    "[probe]\nratio = 10\ninput_capacitance = '13p'\n[input]\nresistance = '1M'\ncapacitance = '15p'\n";
const MEASURED: &str = "[[measured]]\nplace = 'before-tip'\nfile = 'a.s1p'\nuse = 'shunt'\n";

fn kinds(keys: &[Key]) -> BTreeMap<String, Kind> {
    keys.iter().map(|key| (key.path.to_owned(), key.kind)).collect()
}

#[test]
fn table_of_keys_is_what_plans_are_read_for() {
    let text = format!(
        "{PARTS}{MEASURED}[[uncertain]]\nkey = 'x'\n[[correlated]]\nfirst = 'x'\nsecond = 'y'\ncoefficient = 0\n"
    );
    let document = Document::parse("", &text, &[]).unwrap();
    assert!(plan::read(&document.root()).is_some());
    assert_eq!(document.asked(), kinds(KEYS).into_iter().chain(of_budgets()).collect());
}

/// Keys that plans for a budget have beyond those of a plan: its own, and all about a second probe.
fn of_budgets() -> BTreeMap<String, Kind> {
    let mut keys = kinds(BUDGET_KEYS);
    for (path, kind) in kinds(KEYS) {
        if ["node.", "contact.", "probe.", "input."].iter().any(|table| path.starts_with(table)) {
            keys.insert(format!("second.{path}"), kind);
        }
    }
    keys
}

#[test]
fn table_of_keys_is_what_lists_are_read_for() {
    let text = "[[probe]]\n[[input]]\n";
    let document = Document::parse("", text, &[]).unwrap();
    assert!(choose::read(&document.root()).is_none());
    let of_plans = kinds(KEYS).into_iter().filter_map(|(path, kind)| {
        let (table, rest) = path.split_once('.')?;
        match table {
            "probe" | "input" => Some((format!("{table}.[].{rest}"), kind)),
            "measured" | "output" => None,
            _ => Some((path, kind)),
        }
    });
    assert_eq!(document.asked(), of_plans.chain(kinds(CHOOSE_KEYS)).collect());
}

/// Each example is read, and none is without effect: some plan differs by it or cannot do without it.
#[test]
fn examples_of_keys_are_read() {
    let shapes = [
        "",
        "shape = 'sine'\nfrequency = 1e3\n",
        "shape = 'square'\nfrequency = 1e3\n",
        "shape = 'pulse'\nwidth = 1e-6\n",
        "shape = 'exponential'\ntime_constant = 1e-6\n",
        "shape = 'burst'\nfrequency = 1e3\ncycles = 3\n",
    ];
    let others = [
        "",
        "[contact]\nground_length = 0.1\n",
        "[probe.cable]\nlength = 1\ncapacitance_per_metre = 6e-11\ninductance_per_metre = 3e-7\n",
        "[probe.rating]\nfrequency = [0, 1e6, 1e8]\npeak = [3, 2, 1]\n",
        "[probe.rating]\nfrequency = [0, 1, 2]\nrms = [3, 2, 1]\n",
        "[probe.rating]\ncategory = 'II'\ncategory_voltage = 100\n",
        MEASURED,
    ];
    let inputs = [
        "",
        "bandwidth = 1e8\n",
        "bandwidth = 1e8\nresponse = 'maximally-flat'\norder = 2\n",
        "coupling = 'ac'\nac_corner = 1\n",
        "limit = 1e7\nlimit_response = 'maximally-flat'\nlimit_order = 3\n",
        "rated_voltage = 100\nrated_as = 'peak'\n",
    ];
    let mut bases = Vec::new();
    for probe in [PARTS, SHEET] {
        bases.extend(inputs.map(|input| format!("{probe}{input}")));
        bases.extend(others.map(|other| format!("{probe}{other}")));
        bases.extend(shapes[1..].iter().map(|s| format!("{probe}[signal]\nlow = 0\nhigh = 1\n{s}")));
        bases.push(format!("{probe}[signal]\nshape = 'file'\nfile = 'a'\n"));
    }
    for key in KEYS {
        // These ask a bench.
        if key.path.ends_with(".id") || key.path == "contact.ground" {
            continue;
        }
        let path = key.path.replace("[]", "1");
        let value = key.example.trim_matches('"');
        let works = bases.iter().any(|base| {
            let Ok(with) = Plan::with_overrides("", base, &[(&path, value)]) else { return false };
            let without = Plan::with_overrides("", base, &[(&path, "")]);
            without.is_err() || without.is_ok_and(|plan| plan != with)
        });
        assert!(works || key.path == "signal.duty" || key.path == "input.coupling", "{}", key.path);
        // As TOML as well.
        assert!(format!("x = {}", key.example).parse::<toml_edit::DocumentMut>().is_ok(), "{}", key.path);
    }
}

#[test]
fn template_is_read_and_names_every_key() {
    let text = template();
    let plan = Plan::parse("template", &text).unwrap();
    assert!(plan.findings.is_empty());
    for key in KEYS {
        let (table, name) = key.table_and_name();
        assert!(text.contains(&format!("{table}\n")), "{table}");
        assert!(text.contains(&format!("{name} = {}\n", key.example)), "{name}");
    }
}

#[test]
fn formats_document_holds_the_table_of_keys() {
    let document = include_str!("../../../FORMATS.md");
    for table in [keys_markdown(KEYS), keys_markdown(CHOOSE_KEYS), keys_markdown(BUDGET_KEYS)] {
        assert!(document.contains(&table), "FORMATS.md should hold:\n{table}");
    }
}

/// Requirements in the table are those of the reader: without the key there is a problem that names it.
#[test]
fn required_keys_are_missed() {
    for key in KEYS.iter().filter(|key| key.need == Need::Required) {
        let error = Plan::with_overrides("", PARTS, &[(key.path, "")]).unwrap_err();
        let (table, name) = key.table_and_name();
        let keys: BTreeSet<String> = error.problems.iter().map(|p| p.key.clone()).collect();
        assert_eq!(keys, [format!("{table} {name}")].into(), "{}", key.path);
    }
}

fn pieces() -> impl Strategy<Value = String> {
    let mut words: Vec<String> =
        KEYS.iter().map(|key| format!("{} = {}\n", key.table_and_name().1, key.example)).collect();
    words.extend(KEYS.iter().map(|key| format!("{}\n", key.table_and_name().0)));
    words.extend(CHOOSE_KEYS.iter().map(|key| format!("{}\n", key.table_and_name().0)));
    words.extend(KEYS.iter().map(|key| format!("{} = ", key.path)));
    words.extend(
        ["\"", "'", "± ", "+-", "é", "1e999", "[", "]", "{", "}", ",", "nan", "-", "\n", "0x10", "''", "%"]
            .map(String::from),
    );
    proptest::collection::vec(proptest::sample::select(words), 0..25).prop_map(|words| words.concat())
}

proptest! {
    #[test]
    fn prop_no_text_panics(text in any::<String>()) {
        let _ = Plan::parse("x", &text);
        let _ = ChooseList::parse("x", &text);
    }

    #[test]
    fn prop_no_pieces_panic(text in pieces(), path in pieces(), value in any::<String>()) {
        for result in [Plan::parse("x", &text).err(), ChooseList::parse("x", &text).err()] {
            prop_assert!(result.is_none_or(|error| !error.problems.is_empty() && !error.to_string().is_empty()));
        }
        let _ = Plan::with_overrides("x", &text, &[(path.trim(), &value)]);
    }

    #[test]
    fn prop_no_value_panics(value in "[ -~±µ]{0,20}", at in 0..KEYS.len()) {
        let _ = Plan::with_overrides("x", PARTS, &[(&KEYS[at].path.replace("[]", "1"), &value)]);
    }
}
