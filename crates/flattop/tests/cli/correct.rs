//! A capture corrected: columns kept and added, the square wave flat again, statuses and refusals.

use flattop_close::{assert_close, relative, within};
use flattop_core::divider::Shelf;

use crate::bench::{Bench, number};

const TAU_S: f64 = 1e-4;
const INTERVAL_S: f64 = 2e-7;
const POINTS: usize = 15_000;

/// A square wave of 1 kHz between 0 and 1, at rest at 0 before its first edge at 100 µs, through a shelf: sums of 1 + e·exp(−t/τp)
/// (divider.rs), with noise of an LCG.
fn shown(error: f64, noise: f64) -> Vec<(f64, f64, f64)> {
    let shelf = Shelf { error, time_constant_s: TAU_S };
    let mut state = 1u64;
    (0..POINTS)
        .map(|k| {
            // Edges fall in the middle between two samples.
            let t = (k as f64 + 0.5) * INTERVAL_S - 1e-4;
            let edges = (0..6).map(|n| (5e-4 * f64::from(n), if n % 2 == 0 { 1.0 } else { -1.0 }));
            let value: f64 = edges.clone().map(|(at, sign)| sign * shelf.step(t - at)).sum();
            let truth: f64 = edges.filter(|(at, _)| t >= *at).map(|(_, sign)| sign).sum();
            let mut sum = -6.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                sum += (state >> 11) as f64 / (1u64 << 53) as f64;
            }
            (t, value + noise * sum, truth)
        })
        .collect()
}

fn csv(rows: &[(f64, f64, f64)]) -> String {
    let lines = rows.iter().map(|(t, shown, truth)| format!("{t:.9e},{shown:.6},{truth}\n"));
    std::iter::once("time (s),CH1 (V),source (V)\n".to_owned()).chain(lines).collect()
}

/// Fields of a corrected text: truth, corrected, standard uncertainty.
fn fields(text: &str) -> Vec<[f64; 3]> {
    let number = |field: Option<&str>| field.unwrap().parse::<f64>().unwrap();
    text.lines()
        .skip(1)
        .map(|line| {
            let mut fields = line.split(',').skip(2);
            [number(fields.next()), number(fields.next()), number(fields.next())]
        })
        .collect()
}

#[test]
fn a_capture_is_corrected_from_its_own_assessment() {
    let bench = Bench::new();
    let rows = shown(-0.12, 2e-3);
    bench.write("motor.csv", &csv(&rows));
    let assessed = bench.run(&["assess", "motor.csv", "--column", "2", "--json"]);
    assert_eq!(assessed.status, 3, "{}", assessed.stderr);
    bench.write("probe07.json", &assessed.stdout);
    let json =
        bench.json(&["correct", "motor.csv", "--column", "2", "--from", "probe07.json", "-o", "true.csv"], 0);
    assert_eq!(json["undone"], "shelf");
    assert_eq!(json["output"], "true.csv");
    assert_eq!(json["known_from"], "probe07.json");
    assert_eq!(json["before"], "unknown");
    assert_close!(number(&json, "/compensation_error/value"), -0.12, within(0.002));
    assert_close!(number(&json, "/noise/standard_deviation"), 2e-3, relative(0.05));
    assert!(number(&json, "/pulse/before/transition_duration_s") > 1e-5);
    assert!(number(&json, "/pulse/after/transition_duration_s") < 1e-6);
    assert_close!(number(&json, "/pulse/after/amplitude"), 1.0, within(2e-3));

    let text = String::from_utf8(bench.read("true.csv")).unwrap();
    assert!(text.starts_with("time (s),CH1 (V),source (V),corrected (V),standard_uncertainty (V)\n"));
    let made = fields(&text);
    assert_eq!(made.len(), POINTS);
    let inside = made.iter().filter(|[truth, x, u]| (x - truth).abs() <= 1.96 * u).count();
    // The samples share e, τp and the start, so that this is one trial of those, not thousands.
    assert!(inside as f64 >= 0.93 * POINTS as f64, "{inside} of {POINTS}");
    let worst = made[2000..].iter().map(|[truth, x, _]| (x - truth).abs()).fold(0.0, f64::max);
    assert!(worst < 0.015, "{worst}");
}

#[test]
fn no_error_at_rest_changes_no_sample() {
    let bench = Bench::new();
    bench.write("motor.csv", &csv(&shown(0.0, 0.0)));
    let args = [
        "correct",
        "motor.csv",
        "--error",
        "0%",
        "--time-constant",
        "100us",
        "--at-rest",
        "-o",
        "out.csv",
        "--column",
        "2",
    ];
    let json = bench.json(&args, 0);
    assert_close!(number(&json, "/greatest_change"), 0.0, within(0.0));
    for line in String::from_utf8(bench.read("out.csv")).unwrap().lines().skip(1) {
        let all: Vec<f64> = line.split(',').map(|f| f.parse().unwrap()).collect();
        assert_close!(all[3], all[1], within(0.0));
    }
}

#[test]
fn words_and_drawing_say_what_was_done() {
    let bench = Bench::new();
    bench.write("motor.csv", &csv(&shown(-0.12, 2e-3)));
    let run = bench.run(&[
        "correct",
        "motor.csv",
        "--column",
        "2",
        "--error",
        "-12 % +- 0.2 %",
        "--time-constant",
        "100us +- 2us",
        "--at-rest",
        "-o",
        "true.csv.gz",
        "--plot",
        "motor.svg",
    ]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    for part in [
        "CORRECTED: a compensation error of -12.00 % with 100 µs undone",
        "transition (10–90 %)",
        "at rest at the first",
        "options",
    ] {
        assert!(run.stdout.contains(part), "{part}: {}", run.stdout);
    }
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80));
    assert_eq!(bench.read("true.csv.gz")[..2], [0x1f, 0x8b]);
    let drawing = String::from_utf8(bench.read("motor.svg")).unwrap();
    assert!(drawing.contains("First transition") && drawing.contains("95 % band"));
}

#[test]
fn what_cannot_be_corrected_soundly_ends_with_four() {
    let bench = Bench::new();
    bench.write("motor.csv", &csv(&shown(-0.12, 2e-3)));
    // An assessment that was withheld.
    bench.write("flat.json", r#"{"verdict": "undetermined", "compensation_error": null, "findings": [{"severity": "fault", "message": "all samples are alike"}]}"#);
    let run = bench.run(&["correct", "motor.csv", "--from", "flat.json", "-o", "out.csv"]);
    assert_eq!(run.status, 4);
    assert!(run.stderr.contains("all samples are alike"), "{}", run.stderr);
    assert!(!bench.path("out.csv").exists());
    // A record that is over before its start has died away.
    let lines: Vec<String> = csv(&shown(-0.12, 2e-3)).lines().map(str::to_owned).collect();
    let edge = [&lines[..1], &lines[480..540]].concat().join("\n");
    bench.write("edge.csv", &edge);
    let json = bench.json(
        &[
            "correct",
            "edge.csv",
            "--column",
            "2",
            "--error=-12%",
            "--time-constant",
            "100us",
            "-o",
            "edge-out.csv",
        ],
        4,
    );
    let codes: Vec<&str> =
        json["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"start-up-covers-record"), "{codes:?}");
}

#[test]
fn wrong_usage_and_lost_captures_are_refused() {
    let bench = Bench::new();
    bench.write("motor.csv", &csv(&shown(-0.12, 2e-3)));
    for (args, status, part) in [
        (&["correct", "motor.csv", "-o", "out.csv"][..], 2, "--from FILE"),
        (&["correct", "motor.csv", "--error=-8%", "-o", "out.csv"], 2, "--time-constant"),
        (
            &["correct", "motor.csv", "--error=-100%", "--time-constant", "81us", "-o", "o.csv"],
            2,
            "has to be above",
        ),
        (
            &["correct", "motor.csv", "--error=-8%", "--time-constant", "81us", "-o", "motor.csv"],
            1,
            "is the capture itself",
        ),
        (
            &["correct", "motor.csv", "--error=-8%", "--time-constant", "81us", "-o", "out.npy"],
            1,
            "name it out.csv",
        ),
        (&["correct", "none.csv", "--error=-8%", "--time-constant", "81us", "-o", "out.csv"], 1, "none.csv"),
        (&["correct", "motor.csv", "--from", "motor.csv", "-o", "out.csv"], 1, "is no JSON"),
        (
            &[
                "correct",
                "motor.csv",
                "--from",
                "a.json",
                "--error=-8%",
                "--time-constant",
                "81us",
                "-o",
                "out.csv",
            ],
            2,
            "cannot be used with",
        ),
    ] {
        let run = bench.run(args);
        assert_eq!(run.status, status, "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains(part), "{args:?}: {}", run.stderr);
    }
}

const EDGE: &str = r#"
[node]
resistance = "RESISTANCE"
capacitance = "5 pF"
[signal]
shape = "edge"
low = 0
high = "3.3 V"
rise_10_90 = "2 ns"
[contact]
inductance = "60 nH +- 5 nH"
resistance = "60 ohm"
[probe]
ratio = "10x"
tip_resistance = "9M"
tip_capacitance = "12.3 pF +- 0.1 pF"
body_capacitance = "1p"
[probe.cable]
length = "1.2 m"
capacitance_per_metre = "60 pF/m"
inductance_per_metre = "330 nH/m"
resistance_per_metre = "160 ohm/m"
[probe.box]
series_resistance = 100
capacitance = "16 pF"
[input]
resistance = "1M"
capacitance = "20 pF"
bandwidth = "200 MHz"
response = "bessel"
"#;

/// A plan, and a capture of what it predicts with a little noise, `count` samples from -200 ns to `stop_ns`.
fn predicted(bench: &Bench, resistance: &str, stop_ns: u32, count: usize) {
    bench.write("edge.toml", &EDGE.replace("RESISTANCE", resistance));
    let times = format!("-200ns:{stop_ns}ns:{count}");
    let wave = bench.json(&["predict", "edge.toml", "--times", &times], 0);
    let column = |name: &str| -> Vec<f64> {
        wave["waveform"][name].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
    };
    let mut state = 1u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        4e-3 * ((state >> 11) as f64 / (1u64 << 53) as f64 - 0.5)
    };
    let lines = column("time_s").into_iter().zip(column("shown_v"));
    let lines = lines.map(|(t, v)| format!("{t:.12e},{:.6}\n", v + noise()));
    bench.write(
        "edge.csv",
        &std::iter::once("time (s),CH1 (V)\n".to_owned()).chain(lines).collect::<String>(),
    );
}

#[test]
fn the_headline_of_a_chain_is_about_the_samples_between_the_ends() {
    let bench = Bench::new();
    predicted(&bench, "50 ohm", 800, 2001);
    let args = ["correct", "edge.csv", "--plan", "edge.toml", "--at-rest", "-o", "out.csv"];
    let json = bench.json(&args, 0);
    let [median, inside, greatest] = ["median", "greatest_inside", "greatest"]
        .map(|f| number(&json, &format!("/standard_uncertainty/{f}")));
    assert!(median <= inside && 1.1 * inside < greatest, "{median} {inside} {greatest}");
    // The median of the column between the ends says the same.
    let text = String::from_utf8(bench.read("out.csv")).unwrap();
    let all: Vec<f64> =
        text.lines().skip(1).map(|l| l.rsplit(',').next().unwrap().parse().unwrap()).collect();
    let end = number(&json, "/chain/end_samples") as usize;
    assert!(end > 0 && end < 400, "{end}");
    let mut between = all[..all.len() - end].to_vec();
    between.sort_by(f64::total_cmp);
    assert_close!(median, between[between.len() / 2], relative(0.01));
    assert_close!(inside, between[between.len() - 1], relative(0.01));
    let said = bench.run(&args).stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("(median), up to") && said.contains("in the last"), "{said}");
    // Nothing is known of what came before: both ends, and the divider's tail under everything.
    let json = bench.json(&["correct", "edge.csv", "--plan", "edge.toml", "-o", "out.csv"], 0);
    assert!(number(&json, "/chain/start_samples") > 0.0);
    assert_close!(number(&json, "/start_up_samples"), 2001.0, within(0.0));
    let found = json["findings"].as_array().unwrap().iter().find(|f| f["code"] == "slow-start-uncertain");
    assert!(found.unwrap()["remedy"].as_str().unwrap().contains("--at-rest"));
}

/// 20 GHz: the tail of a node of 100 kΩ lasts 30 000 samples, that of the divider two million.
#[test]
fn fine_sampling_cuts_nothing_off() {
    let bench = Bench::new();
    predicted(&bench, "100 kohm", 1800, 40_001);
    for rest in [&[][..], &["--at-rest"]] {
        for against in ["tip", "node"] {
            let args = ["correct", "edge.csv", "--plan", "edge.toml", "--against", against, "-o", "out.csv"];
            let json = bench.json(&[&args[..], rest].concat(), 0);
            let codes: Vec<_> = json["findings"].as_array().unwrap().iter().map(|f| &f["code"]).collect();
            assert!(!codes.iter().any(|code| *code == "kernel-cut"), "{against} {rest:?}: {codes:?}");
            let noise = number(&json, "/noise/standard_deviation") * number(&json, "/noise/gain");
            assert!(number(&json, "/bias_bound") < noise);
        }
    }
}
