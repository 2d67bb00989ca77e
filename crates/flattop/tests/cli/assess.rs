//! One capture: numbers, words, exit status.

use flattop_close::{assert_close, within};
use serde_json::Value;

use crate::bench::{Bench, number};
use crate::signals::{Signal, sine_csv};

/// The value at `pointer` agrees with the truth within four of its own standard uncertainties, and those are useful.
pub(crate) fn check(json: &Value, pointer: &str, truth: f64, largest_uncertainty: f64) {
    let value = number(json, &format!("{pointer}/value"));
    let uncertainty = number(json, &format!("{pointer}/standard_uncertainty"));
    assert!(uncertainty > 0.0 && uncertainty < largest_uncertainty, "{pointer}: u = {uncertainty:e}");
    assert_close!(value, truth, within(4.0 * uncertainty), "{pointer}");
}

#[test]
fn undercompensated_capture_tells_error_circuit_and_turn() {
    let bench = Bench::new();
    let signal = Signal::with(10e-12, 98e-12);
    bench.write("bench-a-ch1-probe07.csv", &signal.csv());
    let json = bench.json(&["assess", "bench-a-ch1-probe07.csv"], 3);

    assert_eq!(json["verdict"], "undercompensated");
    assert_eq!(json["file"], "bench-a-ch1-probe07.csv");
    check(&json, "/compensation_error", signal.error(), 2e-3);
    check(&json, "/time_constant_s", signal.time_constant_s(), 3e-6);
    check(&json, "/tip_capacitance_f", 10e-12, 0.5e-12);
    check(&json, "/shunt_capacitance_f", 98e-12, 5e-12);
    assert_eq!(json["adjustment"]["at"], "tip");
    assert_eq!(json["adjustment"]["direction"], "increase");
    let u = number(&json, "/adjustment/change_standard_uncertainty_f");
    assert_close!(number(&json, "/adjustment/change_f"), 98e-12 / 9.0 - 10e-12, within(4.0 * u));
    assert_close!(number(&json, "/square_wave/frequency_hz"), 1e3, within(1.0));
    assert_close!(number(&json, "/square_wave/duty"), 0.5, within(1e-3));
    assert_close!(number(&json, "/square_wave/low_level"), 0.0, within(1e-3));
    assert_close!(number(&json, "/square_wave/high_level"), 0.33, within(1e-3));
    assert_eq!(json["record"]["points"], 20_000);
    assert_eq!(json["record"]["columns"], 2);
    assert_close!(number(&json, "/record/interval_s"), 2e-7, within(1e-12));
    assert_eq!(json["record"]["sha256"].as_str().unwrap().len(), 64);
    for point in json["amplitude_error"].as_array().unwrap() {
        // Closed form of the shelf with the true values.
        let w = std::f64::consts::TAU * number(point, "/frequency_hz");
        let (pole, zero) =
            (w * signal.time_constant_s(), w * signal.time_constant_s() * (1.0 + signal.error()));
        let truth = ((1.0 + zero * zero) / (1.0 + pole * pole)).sqrt() - 1.0;
        assert_close!(
            number(point, "/value"),
            truth,
            within(4.0 * number(point, "/standard_uncertainty") + 1e-9)
        );
    }
}

#[test]
fn overcompensated_at_the_base_asks_for_more_capacitance_there() {
    let bench = Bench::new();
    let signal = Signal::with(10e-12, 84e-12);
    bench.write("probe.csv", &signal.csv());
    let json = bench.json(&["assess", "probe.csv", "--adjust", "base"], 3);
    assert_eq!(json["verdict"], "overcompensated");
    check(&json, "/compensation_error", signal.error(), 2e-3);
    assert_eq!(json["adjustment"]["at"], "base");
    assert_eq!(json["adjustment"]["direction"], "increase");
    let u = number(&json, "/adjustment/change_standard_uncertainty_f");
    assert_close!(number(&json, "/adjustment/change_f"), 6e-12, within(4.0 * u));
}

#[test]
fn words_put_the_verdict_first() {
    let bench = Bench::new();
    bench.write("probe.csv", &Signal::with(10e-12, 98e-12).csv());
    let run = bench.run(&["assess", "probe.csv"]);
    assert_eq!((run.status, run.stderr.as_str()), (3, ""));
    let lines: Vec<&str> = run.stdout.lines().collect();
    assert_eq!(lines[0], "probe.csv");
    assert!(lines[1].starts_with("UNDERCOMPENSATED: fast parts read 7.") && lines[1].contains("% low (± "));
    let turn = lines[2..4].join(" ");
    assert!(turn.starts_with("Turn the trimmer at the tip so that its capacitance grows by 0."), "{turn}");
    assert!(turn.ends_with("95 %); the front of the top then rises to meet its end."), "{turn}");
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80));
}

#[test]
fn within_tolerance_is_success_and_the_tolerance_counts() {
    let bench = Bench::new();
    bench.write("probe.csv", &Signal::with(10e-12, 90.2e-12).csv());
    let run = bench.run(&["assess", "probe.csv"]);
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.contains("WITHIN TOLERANCE"));

    bench.write("far.csv", &Signal::with(10e-12, 98e-12).csv());
    assert_eq!(bench.run(&["assess", "far.csv", "--tolerance", "10%"]).status, 0);
    assert_eq!(bench.run(&["assess", "far.csv", "--tolerance", "0.5%"]).status, 3);
}

#[test]
fn the_divider_changes_the_circuit_but_not_the_error() {
    let bench = Bench::new();
    let signal = Signal::with(10e-12, 98e-12);
    bench.write("probe.csv", &signal.csv());
    let json = bench.json(&["assess", "probe.csv", "--divider", "99M:1M", "--resistor-tolerance", "0.1%"], 3);
    check(&json, "/compensation_error", signal.error(), 2e-3);
    // C1 + C2 = τp/(R1 ∥ R2), R1 ∥ R2 = 0.99 MΩ; C1 = (1 + e)·g0·(C1 + C2), g0 = 1/100.
    let sum_f = signal.time_constant_s() / 0.99e6;
    check(&json, "/tip_capacitance_f", (1.0 + signal.error()) * 0.01 * sum_f, 0.1e-12);
    assert_close!(number(&json, "/assumptions/resistor_tolerance"), 1e-3, within(1e-12));
    // Rectangular distribution, JCGM 100, 4.3.7: half-width over √3.
    assert_close!(
        number(&json, "/assumptions/resistor_standard_uncertainty"),
        5.773_502_691_9e-4,
        within(1e-12)
    );
}

#[test]
fn a_flat_line_is_undetermined_with_reason_and_remedy() {
    let bench = Bench::new();
    let flat = Signal { high_v: 0.0, ..Signal::with(10e-12, 98e-12) };
    bench.write("flat.csv", &flat.csv());
    let json = bench.json(&["assess", "flat.csv"], 4);
    assert_eq!(json["verdict"], "undetermined");
    for field in ["compensation_error", "time_constant_s", "adjustment", "amplitude_error"] {
        assert_eq!(json.get(field), Some(&Value::Null), "{field}");
    }
    let findings = json["findings"].as_array().unwrap();
    let fault = findings.iter().find(|finding| finding["severity"] == "fault").unwrap();
    assert!(!fault["message"].as_str().unwrap().is_empty() && !fault["remedy"].as_str().unwrap().is_empty());

    let run = bench.run(&["assess", "flat.csv"]);
    assert_eq!(run.status, 4);
    assert!(run.stdout.contains("UNDETERMINED: ") && run.stdout.contains("Do next: "));
    let code = fault["code"].as_str().unwrap();
    assert!(run.stdout.contains(&format!("{code} (see above)")), "{}", run.stdout);
}

#[test]
fn a_wrong_column_without_a_verdict_brings_the_hint_to_try_another() {
    let bench = Bench::new();
    let signal = Signal::with(10e-12, 98e-12);
    let third: String = signal
        .csv()
        .lines()
        .map(|line| line.rsplit_once(',').unwrap())
        .map(|(time, value)| {
            format!("{time},{},{value}\n", if time.starts_with('t') { "off_V" } else { "0" })
        })
        .collect();
    bench.write("both.csv", &third);
    let run = bench.run(&["assess", "both.csv"]);
    assert_eq!(run.status, 4, "{run:?}");
    let text = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Column 2 (off) was read; the file has 3 columns: try --column 3."), "{text}");
    let run = bench.run(&["assess", "both.csv", "--column", "3"]);
    assert_eq!(run.status, 3, "{run:?}");
    assert!(!run.stdout.contains("try --column"));
}

#[test]
fn resistors_in_the_wrong_order_are_remarked_on() {
    let bench = Bench::new();
    bench.write("probe.csv", &Signal::with(10e-12, 98e-12).csv());
    let codes = |args: &[&str]| {
        let json = bench.json(args, 3);
        let all = json["findings"].as_array().unwrap().clone();
        all.into_iter().filter(|f| f["code"] == "divider-unusual").collect::<Vec<_>>()
    };
    assert!(codes(&["assess", "probe.csv"]).is_empty());
    assert!(codes(&["assess", "probe.csv", "--divider", "1M:1M"]).is_empty());
    let found = codes(&["assess", "probe.csv", "--divider", "1M:9M"]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0]["severity"], "warning");
    assert!(found[0]["message"].as_str().unwrap().contains("1 MΩ, is smaller"), "{found:?}");
    assert!(found[0]["remedy"].as_str().unwrap().contains("9M:1M"));
}

#[test]
fn samples_without_a_time_column_need_the_interval() {
    let bench = Bench::new();
    let signal = Signal::with(10e-12, 98e-12);
    bench.write("bare.csv", &signal.bare());
    let json = bench.json(&["assess", "bare.csv", "--interval", "200ns"], 3);
    check(&json, "/compensation_error", signal.error(), 2e-3);
    let run = bench.run(&["assess", "bare.csv"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("bare.csv") && run.stderr.contains("--interval 1us"), "{}", run.stderr);
}

#[test]
fn what_cannot_be_read_is_named_with_its_place() {
    let bench = Bench::new();
    let run = bench.run(&["assess", "missing.csv"]);
    assert_eq!((run.status, run.stdout.as_str()), (1, ""));
    assert!(run.stderr.starts_with("error: missing.csv: "), "{}", run.stderr);

    let mut text = Signal { points: 100, ..Signal::with(10e-12, 98e-12) }.csv();
    text.push_str("2e-5,what\n");
    bench.write("broken.csv", &text);
    let run = bench.run(&["assess", "broken.csv"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("broken.csv, line 102"), "{}", run.stderr);

    let json = bench.json(&["assess", "missing.csv"], 1);
    assert_eq!(json["file"], "missing.csv");
    assert!(json["error"].as_str().unwrap().contains("missing.csv"));
}

#[test]
fn a_high_source_brings_the_caution() {
    let bench = Bench::new();
    bench.write(
        "probe.csv",
        &Signal { high_v: 33.0, step_v: 0.16, noise_v: 0.2, ..Signal::with(10e-12, 98e-12) }.csv(),
    );
    assert!(!bench.run(&["assess", "probe.csv"]).stdout.contains("Caution:"));
    let run = bench.run(&["assess", "probe.csv", "--source-amplitude", "330V"]);
    assert!(run.stdout.contains("Caution:") && run.stdout.contains("42.4 V peak"));
}

#[test]
fn sines_at_several_frequencies_make_one_result() {
    let bench = Bench::new();
    let signal = Signal::with(10e-12, 98e-12);
    for (name, frequency_hz) in [("at-200.csv", 200.0), ("at-2k.csv", 2e3), ("at-50k.csv", 5e4)] {
        bench.write(name, &sine_csv(signal, frequency_hz));
    }
    let args =
        ["assess", "--sine", "--column", "2", "--reference", "3", "at-2k.csv", "at-200.csv", "at-50k.csv"];
    let json = bench.json(&args, 3);
    assert_eq!((&json["method"], &json["verdict"]), (&"sine".into(), &"undercompensated".into()));
    check(&json, "/compensation_error", signal.error(), 1e-3);
    check(&json, "/time_constant_s", signal.time_constant_s(), 2e-6);
    assert_eq!(json["square_wave"], Value::Null);
    assert_eq!(json["captures"].as_array().unwrap().len(), 3);
    assert_eq!(json["captures"][0]["file"], "at-2k.csv");
    assert_eq!(json["measured_response"].as_array().unwrap().len(), 3);

    let run = bench.run(&args);
    assert_eq!(run.stdout.matches("\n  record  ").count(), 1, "{}", run.stdout);
    assert!(run.stdout.contains("3 captures, delimited text"), "{}", run.stdout);

    let run = bench.run(&["assess", "--sine", "--reference", "3", "at-2k.csv", "missing.csv"]);
    assert_eq!((run.status, run.stdout.as_str()), (1, ""));
    assert!(run.stderr.contains("missing.csv"));
}
