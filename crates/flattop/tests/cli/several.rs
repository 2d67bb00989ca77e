//! Several captures in one run.

use crate::bench::{Bench, number};
use crate::signals::Signal;

fn bench() -> Bench {
    let bench = Bench::new();
    bench.write("good.csv", &Signal::with(10e-12, 90.2e-12).csv());
    bench.write("low.csv", &Signal::with(10e-12, 98e-12).csv());
    bench.write("flat.csv", &Signal { high_v: 0.0, ..Signal::with(10e-12, 98e-12) }.csv());
    bench
}

#[test]
fn json_keeps_the_order_and_a_failure_stops_nobody() {
    let json = bench().json(&["assess", "low.csv", "missing.csv", "good.csv"], 1);
    let all = json.as_array().unwrap();
    assert_eq!(all.len(), 3);
    assert_eq!(all[0]["verdict"], "undercompensated");
    assert_eq!(all[1]["file"], "missing.csv");
    assert!(all[1]["error"].is_string() && all[1].get("verdict").is_none());
    assert_eq!(all[2]["verdict"], "within-tolerance");
    assert_ne!(all[0]["record"]["sha256"], all[2]["record"]["sha256"]);
    assert!(number(&all[0], "/compensation_error/value") < -0.06);
}

#[test]
fn the_worst_decides_the_exit_status() {
    let bench = bench();
    for (files, status) in [
        (vec!["good.csv", "good.csv"], 0),
        (vec!["good.csv", "low.csv"], 3),
        (vec!["flat.csv", "low.csv"], 4),
        (vec!["low.csv", "flat.csv", "missing.csv"], 1),
    ] {
        let args: Vec<&str> = std::iter::once("assess").chain(files).collect();
        assert_eq!(bench.run(&args).status, status, "{args:?}");
    }
}

#[test]
fn words_are_one_table() {
    let run = bench().run(&["assess", "good.csv", "low.csv", "missing.csv", "flat.csv"]);
    assert_eq!(run.status, 1);
    let lines: Vec<&str> = run.stdout.lines().collect();
    assert!(lines[0].starts_with("capture") && lines[0].contains("verdict"));
    assert!(lines[1].starts_with("good.csv") && lines[1].contains("within-tolerance"));
    assert!(lines[2].starts_with("low.csv") && lines[2].contains("undercompensated"));
    assert!(lines[3].starts_with("missing.csv") && lines[3].ends_with("not assessed      could not be read"));
    let reason = lines[4].split_whitespace().last().unwrap();
    assert!(lines[4].starts_with("flat.csv") && reason.contains('-'), "{}", lines[4]);
    assert!(lines.iter().all(|line| line.chars().count() <= 80));
    assert!(run.stderr.contains("missing.csv"));
}
