//! `flattop bench demo`: states as promised, a chain that holds, captures that give the same figures again.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::bench::Bench;

const UNTIL: &str = "2026-11-25T12:00:00+01:00";

fn made(bench: &Bench, file: &str) {
    let run = bench.run(&["bench", "demo", file, "--until", UNTIL]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""), "{run:?}");
    assert!(run.stdout.contains("Harrow Lane Lift Works"), "{}", run.stdout);
}

/// All strings under a key, wherever they stand.
fn strings(json: &Value, key: &str, found: &mut Vec<String>) {
    match json {
        Value::Object(fields) => {
            for (name, value) in fields {
                match value {
                    Value::String(text) if name == key => found.push(text.clone()),
                    value => strings(value, key, found),
                }
            }
        }
        Value::Array(values) => values.iter().for_each(|value| strings(value, key, found)),
        _ => {}
    }
}

#[test]
fn the_demonstration_is_as_promised() {
    let bench = Bench::new();
    made(&bench, "demo.sqlite");
    // A year that ended some time ago makes everything due by now; the state is told of today, so the year ends now here.
    let run = bench.run(&["bench", "demo", "now.sqlite"]);
    assert_eq!(run.status, 0, "{run:?}");
    let json = bench.json(&["bench", "list", "--all", "--bench", "now.sqlite"], 0);
    let mut states = Vec::new();
    strings(&json, "state", &mut states);
    let mut counts = BTreeMap::new();
    for state in states {
        *counts.entry(state).or_insert(0) += 1;
    }
    let expected = [
        ("due", 2),
        ("in-tolerance", 5),
        ("never-checked", 1),
        ("out-of-reach", 1),
        ("out-of-tolerance", 1),
        ("void-moved", 1),
    ];
    assert_eq!(counts, expected.map(|(state, count)| (state.to_owned(), count)).into(), "{json:#}");
    let run = bench.run(&["log", "verify", "--bench", "demo.sqlite"]);
    assert_eq!(run.status, 0, "{run:?}");
    let run = bench.run(&["log", "recompute", "--bench", "demo.sqlite"]);
    assert_eq!(run.status, 0, "{run:?}");
    // The trimmer that does not hold stands out; pairing 7 is that of probe 07.
    let trend = bench.json(&["log", "trend", "7", "--bench", "demo.sqlite"], 0);
    assert!(trend.to_string().contains("\"stands_out\":true"), "{trend:#}");
    let again = bench.run(&["bench", "demo", "demo.sqlite"]);
    assert!(again.status == 1 && again.stderr.contains("is there already and stays as it is"), "{again:?}");
}

#[test]
fn the_same_year_twice_is_the_same_logbook() {
    let bench = Bench::new();
    made(&bench, "a.sqlite");
    made(&bench, "b.sqlite");
    let csv = |file: &str| bench.run(&["log", "list", "--csv", "--bench", file]).stdout;
    let (first, second) = (csv("a.sqlite"), csv("b.sqlite"));
    assert!(first.lines().count() > 60, "{first}");
    assert_eq!(first, second);
    let undetermined = first.lines().filter(|line| line.contains(",undetermined,")).count();
    assert_eq!(
        (undetermined, first.lines().filter(|line| line.contains(",correction,")).count()),
        (1, 1),
        "{first}"
    );
}
