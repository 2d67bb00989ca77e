//! `flattop reach` over a bench and over candidates: verdicts, filters, JSON, CSV, pictures, what is missing.

use flattop_close::{assert_close, relative};
use resvg::{tiny_skia, usvg};

use crate::bench::{Bench, Run, number};

/// Two oscilloscopes and four probes of the Harrow Lane Lift Works.
const WORKSHOP: &str = r#"
format = "flattop-bench-1"

[[oscilloscope]]
id = "bench-a"
label = "Bench A scope, 200 MHz"

[[oscilloscope.input]]
name = "ch1"
resistance = "1 MΩ"
capacitance = "15 pF ± 1 pF"
bandwidth = "200 MHz"

[[oscilloscope.input]]
name = "ch2"
resistance = "50 Ω"
bandwidth = "200 MHz"

[[oscilloscope]]
id = "bench-b"

[[oscilloscope.input]]
name = "ch1"
resistance = "1 MΩ"
capacitance = "25 pF ± 2 pF"
bandwidth = "60 MHz"

[[probe]]
id = "probe-03"
ratio = "10"
tip_resistance = "9 MΩ"
tip_capacitance = "11 pF"
compensation_range = "10 pF to 35 pF"
adjusted_at = "base"
bandwidth = "300 MHz"

[[probe]]
id = "probe-07"
label = "Probe 07"
ratio = "10"
tip_resistance = "9 MΩ"
tip_capacitance = "11 pF"
compensation_range = "8 pF to 18 pF"
adjusted_at = "base"
bandwidth = "300 MHz"

[[probe]]
id = "probe-08"
ratio = "10"

[[probe]]
id = "probe-12"
ratio = "10"
tip_resistance = "450 Ω"
bandwidth = "1 GHz"
"#;

/// Two candidates as the register's list of probes writes them.
const OFFERS: &str = "id,label,ratio,tip_resistance,tip_capacitance,compensation_range,adjusted_at,bandwidth\r\n\
offer-a,\"Offer A, wide\",10,9 MΩ,12 pF,10 pF to 30 pF,base,250 MHz\r\n\
offer-b,Offer B,10,9 MΩ,10 pF,6 pF to 20 pF,tip,500 MHz\r\n";

fn workshop() -> Bench {
    let bench = Bench::new();
    bench.write("workshop.toml", WORKSHOP);
    bench.write("offers.csv", OFFERS);
    let run = bench.run(&["bench", "import", "--bench", "b.sqlite", "workshop.toml"]);
    assert_eq!(run.status, 0, "{run:?}");
    bench
}

fn over<'a>(more: &[&'a str]) -> Vec<&'a str> {
    ["reach", "--bench", "b.sqlite"].into_iter().chain(more.iter().copied()).collect()
}

fn narrow(run: &Run) {
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
}

#[test]
fn the_bench_makes_a_table_and_the_worst_pair_counts() {
    let bench = workshop();
    let run = bench.run(&over(&[]));
    // Something cannot be said: 4 goes before 3.
    assert_eq!((run.status, run.stderr.as_str()), (4, ""), "{run:?}");
    narrow(&run);
    assert!(run.stdout.starts_with("4 probes on 3 inputs (b.sqlite): "), "{}", run.stdout);
    let line = |start: &str| run.stdout.lines().find(|line| line.starts_with(start)).unwrap();
    // 15 − 10 and 35 − 25; 18 − 15 and 18 − 25 (pF, from the ranges).
    assert!(line("probe-03 ").contains("ok 5") && line("probe-03 ").contains("ok 10"), "{}", run.stdout);
    assert!(line("probe-07 ").contains("ok 3") && line("probe-07 ").contains("OUT -7"), "{}", run.stdout);
    assert!(run.stdout.contains("ratio") || run.stdout.contains("compensation_range, tip_capacitance"));
    assert!(run.stdout.contains("probe-12 on 2 inputs reads 10 times what is there"), "{}", run.stdout);
    for (probe, input, status) in
        [("probe-03", "bench-a/ch1", 0), ("probe-07", "bench-b/ch1", 3), ("probe-08", "bench-a/ch1", 4)]
    {
        let run = bench.run(&over(&["--probe", probe, "--input", input]));
        assert_eq!(run.status, status, "{probe} on {input}: {run:?}");
        narrow(&run);
    }
    // A compensated probe does not belong on 50 Ω; a low-impedance one does.
    assert_eq!(bench.run(&over(&["--probe", "probe-03", "--input", "bench-a/ch2"])).status, 3);
    assert_eq!(bench.run(&over(&["--probe", "probe-12", "--input", "bench-a/ch2"])).status, 0);
}

#[test]
fn json_tells_every_pair_as_the_single_reach_does() {
    let bench = workshop();
    let json = bench.json(&over(&[]), 4);
    assert_eq!((json["kind"].as_str(), json["counts"]["pairs"].as_u64()), (Some("matrix"), Some(12)));
    let pairs = json["pairs"].as_array().unwrap();
    let pair = |probe: &str, input: &str| {
        pairs.iter().find(|pair| pair["probe"] == probe && pair["input"] == input).unwrap().clone()
    };
    let bad = pair("probe-07", "bench-b/ch1");
    let typed = ["reach", "--range", "8pF:18pF", "--tip", "11pF", "--adjust", "base", "--input", "25pF+-2pF"];
    let single = bench.json(&typed, 3);
    assert_eq!(bad["verdict"], single["verdict"]);
    for (here, there) in [
        ("/margin_f", "/margin_f"),
        ("/margin_tolerance_f", "/margin_tolerance_f"),
        ("/compensation_error", "/compensation_error/value"),
        ("/compensation_error_bounds/lowest", "/compensation_error_bounds/lowest"),
        ("/compensation_error_bounds/highest", "/compensation_error_bounds/highest"),
    ] {
        assert_eq!(number(&bad, here).to_bits(), number(&single, there).to_bits(), "{here}");
    }
    // Two Gaussian responses of 300 MHz and 60 MHz: variances add.
    assert_close!(number(&bad, "/bandwidth_hz"), 300e6 / 26f64.sqrt(), relative(1e-12));
    assert_eq!(
        pair("probe-08", "bench-a/ch2")["missing"],
        serde_json::json!([
            "probe.compensation_range",
            "probe.tip_capacitance",
            "probe.adjusted_at",
            "probe.bandwidth",
            "input.capacitance"
        ])
    );
    // 450 Ω into 1 MΩ times ten.
    assert_close!(number(&pair("probe-12", "bench-a/ch1"), "/reads"), 1e7 / 1_000_450.0, relative(1e-12));
    let sums = bench.json(&over(&["--summary", "--probe", "probe-03"]), 0);
    assert!(sums["pairs"].is_null());
    assert_eq!(sums["probes"][0]["least_margin"]["input"], "bench-a/ch1");
    assert_close!(number(&sums, "/probes/0/least_margin/margin_f"), 5e-12, relative(1e-9));
}

#[test]
fn csv_has_a_line_for_each_pair_and_each_candidate() {
    let bench = workshop();
    let run = bench.run(&over(&["--csv"]));
    assert_eq!((run.status, run.stdout.lines().count()), (4, 13), "{run:?}");
    assert!(run.stdout.contains("\r\nprobe-07,bench-b/ch1,out-of-reach,-7e-12,2e-12,"), "{}", run.stdout);
    let run = bench.run(&over(&["--candidates", "offers.csv", "--csv"]));
    assert_eq!((run.status, run.stdout.lines().count()), (0, 3), "{run:?}");
    assert!(run.stdout.contains("\r\n1,offer-a,\"Offer A, wide\",2,1,2,yes,"), "{}", run.stdout);
}

#[test]
fn candidates_rank_by_the_inputs_they_reach_and_their_least_margin() {
    let bench = workshop();
    let run = bench.run(&over(&["--candidates", "offers.csv"]));
    assert_eq!((run.status, run.stderr.as_str()), (0, ""), "{run:?}");
    narrow(&run);
    // 10 to 30 pF: 15 − 10 less 1 leaves 4 pF, 30 − 25 less 2 leaves 3 pF.
    let first = "1 of 2 candidates suits all of 2 inputs; best offer-a with at least 3 pF of";
    assert!(run.stdout.starts_with(first), "{}", run.stdout);
    let json = bench.json(&over(&["--candidates", "offers.csv"]), 0);
    assert_eq!(json["probes"][0]["id"], "offer-a");
    assert_eq!(json["probes"][0]["least_margin"]["input"], "bench-b/ch1");
    assert_close!(number(&json, "/probes/0/least_margin/margin_f"), 5e-12, relative(1e-9));
    assert_close!(number(&json, "/probes/0/least_margin/margin_tolerance_f"), 2e-12, relative(1e-9));
    // None does on its own where the wide one is left out: 20 − 25 pF.
    assert_eq!(bench.run(&over(&["--candidates", "offers.csv", "--probe", "offer-b"])).status, 3);
    // The same from TOML, as a bench is exported.
    bench.write(
        "offers.toml",
        "format = \"flattop-bench-1\"\n[[probe]]\nid = \"offer-c\"\nratio = \"10\"\ntip_capacitance = \"12 pF\"\n\
         compensation_range = \"5 pF to 35 pF\"\nadjusted_at = \"tip\"\n",
    );
    let json = bench.json(&over(&["--candidates", "offers.toml"]), 0);
    assert_eq!(
        (json["probes"][0]["id"].as_str(), json["probes"][0]["suits_all"].as_bool()),
        (Some("offer-c"), Some(true))
    );
}

#[test]
fn pictures_show_margins_and_ranges() {
    let bench = workshop();
    bench.run(&over(&["--plot", "m.svg"]));
    let svg = String::from_utf8(bench.read("m.svg")).unwrap();
    usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
    for words in ["probe-07", "bench-b", "−7", "out: input above the range", "a value is missing"] {
        assert!(svg.contains(words), "{words}");
    }
    bench.run(&over(&["--candidates", "offers.csv", "--plot", "c.png"]));
    assert!(tiny_skia::Pixmap::decode_png(&bench.read("c.png")).unwrap().width() > 1800);
}

#[test]
fn what_does_not_go_together_or_is_not_there_is_said() {
    let bench = workshop();
    for (args, status, hint) in [
        (
            vec!["reach", "--range", "8pF:18pF", "--tip", "10pF", "--input", "15pF", "--bench", "b.sqlite"],
            2,
            "cannot be used with",
        ),
        (
            vec!["reach", "--range", "8pF:18pF", "--tip", "10pF", "--input", "bench-a/ch1"],
            2,
            "give its capacitance",
        ),
        (vec!["reach", "--input", "15pF"], 2, "needs --range and --tip"),
        (vec!["reach", "--tip", "15pF"], 2, "--range <A:B>"),
        (over(&["--probe", "probe-99"]), 1, "probe-99"),
        (over(&["--input", "bench-a/ch9"]), 1, "bench-a/ch9"),
        (over(&["--csv", "--json"]), 2, "cannot be used with"),
        (over(&["--candidates", "nothing.csv"]), 1, "cannot be read"),
        (
            over(&["--candidates", "offers.csv", "--probe", "offer-z"]),
            1,
            "holds no candidate named \"offer-z\"",
        ),
        (vec!["reach", "--bench", "none.sqlite"], 1, "there is no bench at none.sqlite"),
    ] {
        let run = bench.run(&args);
        assert_eq!((run.status, run.stdout.as_str()), (status, ""), "{args:?}: {run:?}");
        assert!(run.stderr.contains(hint), "{args:?}: {}", run.stderr);
    }
    bench.write("bad.csv", "id,compensation_range\r\noffer-a,18 pF to 8 pF\r\n");
    let run = bench.run(&over(&["--candidates", "bad.csv"]));
    assert!(
        run.status == 1 && run.stderr.contains("bad.csv: line ") && run.stderr.contains("smaller end first"),
        "{run:?}"
    );
}
