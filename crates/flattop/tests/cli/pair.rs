//! `flattop pair` through the real program: assessments, plans and probes of the bench, edges, drawings, errors.

use std::fmt::Write as _;

use super::bench::{Bench, number};
use super::register::{done, furnished};
use super::signals::Signal;

/// A capture whose e is `error`, with C1+C2 = 120 pF.
fn capture(error: f64, seed: u64) -> String {
    let tip_f = 12e-12 * (1.0 + error);
    Signal { seed, points: 8_000, interval_s: 5e-7, ..Signal::with(tip_f, 120e-12 - tip_f) }.csv()
}

/// Two assessments, of −5 % and of nil.
fn assessed() -> Bench {
    let bench = Bench::new();
    for (name, error, status) in [("a", -0.05, 3), ("b", 0.0, 0)] {
        bench.write("c.csv", &capture(error, 5));
        let run = bench.run(&["assess", "c.csv", "--json"]);
        assert_eq!(run.status, status, "{run:?}");
        bench.write(&format!("{name}.json"), &run.stdout);
    }
    bench
}

/// The same trapezoid edges (20 ns) on two columns, B later by `skew_s` and `gain` times as large.
fn edges(skew_s: f64, gain: f64) -> String {
    let at = |t: f64| {
        let phase = t.rem_euclid(1e-6);
        let up = (phase / 20e-9).clamp(0.0, 1.0) - ((phase - 0.5e-6) / 20e-9).clamp(0.0, 1.0);
        up * 3.3
    };
    let mut text = String::from("time_s,a_V,b_V\n");
    for k in 0..4000_u32 {
        let t = f64::from(k) * 1e-9 - 0.21e-6;
        writeln!(text, "{t:.4e},{:.5},{:.5}", at(t), gain * at(t - skew_s)).unwrap();
    }
    text
}

#[test]
fn two_assessments_are_compared_over_frequency() {
    let bench = assessed();
    let json = bench.json(&["pair", "a.json", "b.json", "--frequencies", "10,1M"], 0);
    // Far above the corner |m| is |e_A − e_B| over the mean: 0.05/0.975, that is 25.8 dB; far below next to nothing.
    let high = number(&json, "/rejection/1/rejection_db");
    assert!((high - 25.8).abs() < 0.6, "{high}");
    assert!(number(&json, "/rejection/0/rejection_db") > 55.0);
    assert!(number(&json, "/rejection/1/at_least_db") < high);
    // C1 of B would have to fall by 5 % of 12 pF.
    assert!((number(&json, "/b_to_a/change_f") + 0.6e-12).abs() < 0.1e-12, "{json:#}");
    assert_eq!(json["b_to_a"]["at"], "tip");
    let codes: Vec<_> =
        json["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect();
    assert_eq!(codes, ["balance-assumed", "clips-and-floating-points"]);
}

#[test]
fn edges_give_gain_and_skew_and_what_follows() {
    let bench = assessed();
    bench.write("both.csv", &edges(2.4e-9, 0.985));
    let args = ["pair", "a.json", "b.json", "--edges", "both.csv", "--column-a", "2", "--column-b", "3"];
    let json = bench.json(&[&args[..], &["--switching", "400V:10A", "--delay", "16ns"]].concat(), 0);
    assert!((number(&json, "/skew_s/value") - 2.4e-9).abs() < 0.02e-9, "{json:#}");
    assert!((number(&json, "/gain_ratio/value") - 0.985).abs() < 2e-4);
    // 4 kW for 2.4 ns; half of 20 ns for the missing 1.5 %.
    assert!((number(&json, "/consequences/0/error/value") - 9.6e-6).abs() < 0.1e-6);
    assert!(
        (number(&json, "/consequences/1/error/value") - (2.4e-9 + 0.5 * 0.015_228 * 20e-9)).abs() < 0.03e-9
    );
    let words = bench.run(&[&args[..], &["--plot", "p.svg"]].concat());
    assert!(words.stdout.contains("delay A by 2.4 ns"), "{words:?}");
    assert!(words.stdout.lines().all(|line| line.chars().count() <= 80), "{}", words.stdout);
    let svg = bench.read("p.svg");
    assert!(resvg::usvg::Tree::from_data(&svg, &resvg::usvg::Options::default()).is_ok());
}

#[test]
fn probes_of_the_bench_stand_with_their_last_assessment() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    done(&bench, "pair probe-11 bench-a/ch2");
    for (probe, error) in [("probe-07", 0.02), ("probe-11", -0.01)] {
        bench.write("c.csv", &capture(error, 5));
        bench.run(&["assess", "c.csv", "--probe", probe, "--log", "--bench", "b"]);
    }
    let json = bench.json(&["pair", "probe-07", "probe-11", "--frequencies", "1M", "--bench", "b"], 0);
    let db = number(&json, "/rejection/0/rejection_db");
    assert!((db - 30.5).abs() < 0.7, "{db}");
    // Probe 11 is adjusted in its box.
    assert_eq!(json["b_to_a"]["at"], "base");
    done(&bench, "move probe-11 bench-b/ch1");
    let run = bench.run(&["pair", "probe-07", "probe-11", "--bench", "b"]);
    assert_eq!(run.status, 4, "{run:?}");
    assert!(
        run.stderr.contains("the logbook holds no compensation error of probe-11 on bench-b/ch1"),
        "{run:?}"
    );
}

#[test]
fn plans_bring_the_whole_chain() {
    let bench = Bench::new();
    let plan = |tip: &str| {
        format!(
            "[node]\nresistance = \"50\"\n[probe]\ntip_resistance = \"9M\"\ntip_capacitance = \"{tip}\"\n\
             [input]\nresistance = \"1M\"\ncapacitance = \"120 pF\"\n"
        )
    };
    bench.write("a.toml", &plan("13.6 pF ± 0.1 pF"));
    bench.write("b.toml", &plan("13.333333 pF"));
    let json = bench.json(&["pair", "a.toml", "b.toml", "--frequencies", "100,1k,10k,1M"], 0);
    // C1 2 % high on one of two 9 MΩ, 1 MΩ, 120 pF probes: 57.37, 39.34, 35.06, 34.99 dB.
    for (k, expected) in [57.37, 39.34, 35.06, 34.99].into_iter().enumerate() {
        let got = number(&json, &format!("/rejection/{k}/rejection_db"));
        assert!((got - expected).abs() < 0.05, "{got} {expected}");
    }
    assert!(number(&json, "/rejection/3/mismatch_standard_uncertainty") > 1e-3);
    assert!(json["b_to_a"].is_null());
}

#[test]
fn mistakes_name_the_remedy() {
    let bench = assessed();
    bench.write("both.csv", &edges(0.0, 1.0));
    let flat: String = (0..40).map(|k| format!("{k}e-9,1,1\n")).collect();
    bench.write("flat.csv", &format!("time_s,a,b\n{flat}"));
    bench.write("empty.json", "{}");
    for (args, status, part) in [
        (vec!["a.json", "b.json", "--edges", "both.csv"], 2, "--column-a and --column-b"),
        (vec!["a.json", "b.json", "--frequencies", "1M:1k:10"], 2, "START:STOP:COUNT"),
        (vec!["a.json", "b.json", "--gain-ratio", "10"], 2, "near 1"),
        (vec!["a.json", "b.json", "--power", "1kHz:90"], 2, "at 90°"),
        (vec!["a.json", "missing.json"], 1, "missing.json"),
        (vec!["a.json", "empty.json"], 1, "holds no assessment"),
        (
            vec!["a.json", "b.json", "--edges", "flat.csv", "--column-a", "2", "--column-b", "3"],
            4,
            "shows no edge",
        ),
    ] {
        let args: Vec<&str> = ["pair"].into_iter().chain(args).collect();
        let run = bench.run(&args);
        assert_eq!(run.status, status, "{run:?}");
        assert!(run.stderr.contains(part), "{part}: {run:?}");
    }
}
