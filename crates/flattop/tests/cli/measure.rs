//! `flattop bench measure` on captures simulated with ngspice (testdata/ngspice/measured.csv), whose truth is in their netlists.

use flattop_close::{assert_close, within};
use serde_json::Value;

use crate::assess::check;
use crate::bench::Bench;

pub(crate) fn capture(case: &str) -> String {
    format!("{}/../../testdata/ngspice/{case}.csv.gz", env!("CARGO_MANIFEST_DIR"))
}

/// The bench of the netlists: a probe of 9 MΩ, inputs of 1 MΩ, and of 1.01 MΩ; 20 pF are known.
pub(crate) fn furnished(adjusted_at: &str) -> Bench {
    let bench = Bench::new();
    let run = |args: &[&str]| {
        let all: Vec<&str> = ["bench", "add"].into_iter().chain(args.iter().copied()).chain(BENCH).collect();
        let run = bench.run(&all);
        assert_eq!(run.status, 0, "{run:?}");
    };
    run(&["oscilloscope", "bench-a"]);
    run(&["input", "bench-a/ch1", "resistance=1M ± 0.1%", "capacitance=20p ± 0.1p"]);
    run(&["input", "bench-a/ch2", "resistance=1M ± 0.1%", "capacitance=15p ± 5p"]);
    run(&["input", "bench-a/ch3", "resistance=1.01M ± 0.1%"]);
    let place = format!("adjusted_at={adjusted_at}");
    run(&["probe", "probe-07", "ratio=10", "tip_resistance=9M ± 0.1%", &place]);
    bench
}

const BENCH: [&str; 2] = ["--bench", "bench.sqlite"];

fn json(bench: &Bench, args: &[&str], status: i32) -> Value {
    let all: Vec<&str> = ["bench", "measure"]
        .into_iter()
        .chain(args.iter().copied())
        .chain(["--probe", "probe-07"])
        .chain(BENCH)
        .collect();
    bench.json(&all, status)
}

fn codes(json: &Value) -> Vec<&str> {
    json["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect()
}

#[test]
fn an_input_is_measured_stored_and_verified() {
    let bench = furnished("tip");
    let (known, unknown) = (capture("input_20p"), capture("input_13p"));
    let args = [
        "input-capacitance",
        "bench-a/ch2",
        &unknown,
        "--known",
        "bench-a/ch1",
        "--on-known",
        &known,
        "--log",
    ];
    let found = json(&bench, &args, 0);
    check(&found, "/value_f", 13e-12, 0.2e-12);
    check(&found, "/others/tip_capacitance_f", 12e-12, 0.02e-12);
    assert_eq!(found["captures"][0]["role"], "known-input");
    let entry = found["entries"][0].as_i64().unwrap();

    // The bench holds the value with its 95 % interval, and the logbook the captures.
    let shown = bench.run(&["bench", "show", "bench-a/ch2", "--bench", "bench.sqlite"]);
    assert!(shown.stdout.contains("13.0 pF ± ") || shown.stdout.contains("13 pF ± "), "{shown:?}");
    let number = entry.to_string();
    let logged = bench.json(&["log", "show", &number, "--bench", "bench.sqlite"], 0);
    assert_eq!(logged["kind"], "measurement");
    assert_eq!(logged["measurement"]["captures_sha256"].as_array().unwrap().len(), 2);
    assert_eq!(logged["result"]["quantity"], "input-capacitance");
    assert!(shown.stdout.contains("from 2 captures: entry "), "{shown:?}");
    let listed = bench.json(&["bench", "show", "bench-a/ch2", "--bench", "bench.sqlite"], 0);
    assert_eq!(listed["measured"][0]["field"], "capacitance");
    assert_eq!(listed["measured"][0]["value_f"], found["value_f"]);
    // Worked out again from what the bench kept, it gives the same figures.
    let again = bench.json(&["log", "recompute", "--bench", "bench.sqlite"], 0);
    assert_eq!((&again[0]["entry"], &again[0]["same"]), (&logged["seq"], &Value::Bool(true)), "{again:#}");
    let verified = bench.json(&["log", "verify", "--bench", "bench.sqlite"], 0);
    assert_eq!((&verified["intact"], verified["captures"].as_i64()), (&Value::Bool(true), Some(2)));

    // What was measured is known from now on: the next input is measured against it.
    let third = capture("input_27p");
    let args = ["input-capacitance", "bench-a/ch3", &third, "--known", "bench-a/ch2", "--on-known", &unknown];
    let next = json(&bench, &args, 0);
    check(&next, "/value_f", 27e-12, 0.3e-12);
}

#[test]
fn a_trimmer_that_was_turned_is_undetermined_and_stores_nothing() {
    let bench = furnished("tip");
    let (known, turned) = (capture("input_20p"), capture("input_13p_turned"));
    let args = [
        "input-capacitance",
        "bench-a/ch2",
        &turned,
        "--known",
        "bench-a/ch1",
        "--on-known",
        &known,
        "--log",
    ];
    let found = json(&bench, &args, 4);
    assert!(found["value_f"].is_null() && codes(&found).contains(&"trimmer-was-turned"), "{found:#}");
    assert_eq!(found["entries"].as_array().unwrap().len(), 0);
    let shown = bench.run(&["bench", "show", "bench-a/ch2", "--bench", "bench.sqlite"]);
    assert!(shown.stdout.contains("15 pF ± 5 pF"), "{shown:?}");
}

#[test]
fn ranges_at_the_tip_and_in_the_box() {
    for (place, low, high) in [("tip", 8.9e-12, 32.3e-12), ("base", 7e-12, 31e-12)] {
        let bench = furnished(place);
        let stops = ["least", "most"].map(|which| capture(&format!("{place}_stop_{which}")));
        let args =
            ["compensation-range", "bench-a/ch1", "--stop", &stops[1], "--other-stop", &stops[0], "--log"];
        let found = json(&bench, &args, 0);
        check(&found, "/value_f", low, 0.2e-12);
        check(&found, "/upper_f", high, 0.2e-12);
        let shown = bench.run(&["bench", "show", "probe-07", "--bench", "bench.sqlite"]);
        assert!(shown.stdout.contains(" pF to "), "{shown:?}");
    }
}

#[test]
fn a_tip_with_and_without_its_body() {
    let bench = furnished("tip");
    let (straight, through) = (capture("input_20p"), capture("series_10m"));
    let alone = json(&bench, &["tip-capacitance", "bench-a/ch1", &straight], 0);
    check(&alone, "/value_f", 10.80299252e-12, 0.05e-12);
    assert!(codes(&alone).contains(&"body-not-included"));
    let args = [
        "tip-capacitance",
        "bench-a/ch1",
        &straight,
        "--through",
        &through,
        "--resistor",
        "10M ± 0.1%",
        "--log",
    ];
    let whole = json(&bench, &args, 0);
    check(&whole, "/value_f", 13.80299252e-12, 0.1e-12);
    check(&whole, "/others/body_f", 3e-12, 0.1e-12);
    assert_eq!(whole["entries"].as_array().unwrap().len(), 2);
    assert_close!(whole["coverage"]["factor"].as_f64().unwrap(), 1.96, within(0.0001));
}

#[test]
fn words_say_value_uncertainty_and_what_was_left_out() {
    let bench = furnished("tip");
    let straight = capture("input_20p");
    let args = ["bench", "measure", "tip-capacitance", "bench-a/ch1", &straight, "--probe", "probe-07"];
    let run = bench.run(&args.into_iter().chain(BENCH).collect::<Vec<_>>());
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.starts_with("Capacitance at the tip of probe-07: 10.80"), "{}", run.stdout);
    assert!(run.stdout.contains("(body-not-included)"), "{}", run.stdout);
}

#[test]
fn what_is_missing_is_named_with_its_remedy() {
    let bench = furnished("tip");
    let one = capture("input_20p");
    let args =
        ["bench", "measure", "compensation-range", "bench-a/ch3", "--stop", &one, "--other-stop", &one];
    let run = bench.run(&args.into_iter().chain(["--probe", "probe-07"]).chain(BENCH).collect::<Vec<_>>());
    assert_eq!(run.status, 1, "{run:?}");
    assert!(run.stderr.contains("flattop bench edit bench-a/ch3 capacitance="), "{run:?}");
    let args = ["bench", "measure", "tip-capacitance", "bench-a/ch1", "gone.csv", "--probe", "probe-07"];
    let run = bench.run(&args.into_iter().chain(BENCH).collect::<Vec<_>>());
    assert!(run.status == 1 && run.stderr.contains("gone.csv"), "{run:?}");
}
