//! `--by-eye`: levels read off a screen.

use flattop_close::{assert_close, within};
use serde_json::Value;

use crate::assess::check;
use crate::bench::{Bench, number};
use crate::signals::Signal;

/// Levels after and before the edges of a steady square wave of five divisions, from the closed form, counted from the
/// level just before the rising edge and rounded to hundredths of a division.
fn levels(signal: Signal) -> (String, String, f64) {
    let five = Signal { low_v: 0.0, high_v: 5.0, ..signal };
    let before = five.at(-1e-12);
    let (start, end) = (five.at(1e-12) - before, five.at(0.5e-3 - 1e-12) - before);
    // From the edge until the distance to the end level has fallen to 1/e: bisection on the closed form.
    let mark = end + before + (start - end) / std::f64::consts::E;
    let (mut low, mut high) = (0.0, 0.5e-3);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if (five.at(middle) - mark) * (start - end) > 0.0 { low = middle } else { high = middle }
    }
    (format!("{start:.2}"), format!("{end:.2}"), low)
}

#[test]
fn readings_give_the_error_within_their_uncertainty() {
    let bench = Bench::new();
    for (signal, verdict) in [
        (Signal::with(10e-12, 98e-12), "undercompensated"),
        (Signal::with(10e-12, 80e-12), "overcompensated"),
    ] {
        let (start, end, fall_s) = levels(signal);
        let fall = format!("{:.0}us", 1e6 * fall_s);
        let args = ["assess", "--by-eye", "--start", &start, "--end", &end, "--resolution", "0.02"];
        let with_time: Vec<&str> =
            args.iter().copied().chain(["--frequency", "1kHz", "--time-to-37", &fall]).collect();
        let json = bench.json(&with_time, 3);
        assert_eq!(json["verdict"], verdict);
        assert_eq!((&json["method"], &json["file"]), (&"by-eye".into(), &Value::Null));
        assert_eq!((&json["record"], &json["square_wave"]), (&Value::Null, &Value::Null));
        check(&json, "/compensation_error", signal.error(), 1e-2);
        check(&json, "/time_constant_s", signal.time_constant_s(), 1e-5);
        check(&json, "/tip_capacitance_f", signal.tip_f, 2e-12);
    }
}

#[test]
fn what_was_not_given_is_said() {
    let bench = Bench::new();
    let json = bench.json(&["assess", "--by-eye", "--start", "4.6", "--end", "5"], 3);
    let codes: Vec<&str> =
        json["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect();
    for code in ["resolution-assumed", "frequency-assumed", "time-constant-assumed"] {
        assert!(codes.contains(&code), "{codes:?}");
    }
    // A step from 4.6 to 5 divisions: e is near 4.6/5 − 1.
    assert_close!(number(&json, "/compensation_error/value"), -0.08, within(0.01));
}

#[test]
fn units_cancel_and_may_not_be_mixed() {
    let bench = Bench::new();
    let in_divisions = ["assess", "--by-eye", "--start", "4.6", "--end", "5.0", "--resolution", "0.1"];
    let in_volts = ["assess", "--by-eye", "--start", "460mV", "--end", "500mV", "--resolution", "10mV"];
    let (one, other) = (bench.json(&in_divisions, 3), bench.json(&in_volts, 3));
    let e = |json| number(json, "/compensation_error/value");
    assert_close!(e(&one), e(&other), within(1e-9));
    let run = bench.run(&["assess", "--by-eye", "--start", "4.6", "--end", "500mV"]);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("in divisions, or all in volts"), "{}", run.stderr);
}

#[test]
fn coarse_readings_are_undetermined_and_senseless_ones_refused() {
    let bench = Bench::new();
    let run = bench.run(&["assess", "--by-eye", "--start", "5.0", "--end", "5.1", "--resolution", "0.5"]);
    assert_eq!(run.status, 4, "{run:?}");
    assert!(run.stdout.starts_with("UNDETERMINED") && run.stdout.contains("Do next: "));
    let run = bench.run(&["assess", "--by-eye", "--start", "5", "--end", "4", "--resolution", "9"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("readings by eye: ") && run.stderr.contains("enlarge the trace"));
    assert!(run.stderr.contains("9 div cannot show a step of 4 div"), "{}", run.stderr);
    let run = bench.run(&["assess", "--by-eye", "--start", "4.6", "--end", "5", "--time-to-37", "90s"]);
    assert_eq!(run.status, 1);
    // (1 − 1/e) of half a period of 1 kHz: 316.06 µs.
    for part in ["after 90 s ", "half a period of 500 µs", "before 316 µs"] {
        assert!(run.stderr.contains(part), "{}", run.stderr);
    }
}

#[test]
fn readings_can_be_drawn() {
    let bench = Bench::new();
    bench.run(&["assess", "--by-eye", "--start", "4.6", "--end", "5.0", "--plot", "eye.svg"]);
    let svg = String::from_utf8(bench.read("eye.svg")).unwrap();
    assert!(svg.contains("UNDERCOMPENSATED") && svg.contains("read off the screen"));
}
