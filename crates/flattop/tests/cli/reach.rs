//! `flattop reach`: verdicts, figures, tables, drawings, wrong usage.

use flattop_close::{assert_close, printed, relative, within};
use resvg::{tiny_skia, usvg};

use crate::bench::{Bench, number};

/// A probe of 10 pF at the tip with the range 8 pF to 18 pF.
fn probe<'a>(more: &[&'a str]) -> Vec<&'a str> {
    ["reach", "--range", "8pF:18pF", "--tip", "10pF"].into_iter().chain(more.iter().copied()).collect()
}

#[test]
fn exit_status_and_first_word_go_with_the_verdict() {
    // Common practice: a probe for 8 pF to 18 pF does a 15 pF input and does not do one of 20 pF.
    let bench = Bench::new();
    for (more, status, start) in [
        (vec!["--input", "15pF"], 0, "REACHES: "),
        (vec!["--input", "20pF"], 3, "OUT OF REACH: "),
        (vec!["--input", "20 pF ± 2 pF"], 4, "MAY REACH: "),
        (vec!["--input", "20 pF ± 1 pF"], 3, "OUT OF REACH: "),
        (vec!["--input", "20pF", "--input-tolerance", "10%"], 4, "MAY REACH: "),
        (vec!["--input", "20pF", "--range-tolerance", "2pF"], 4, "MAY REACH: "),
        (vec!["--input", "5pF"], 3, "OUT OF REACH: "),
        (vec!["--input", "15pF+-3pF", "--input-tolerance", "9pF"], 0, "REACHES: "),
    ] {
        let run = bench.run(&probe(&more));
        assert_eq!((run.status, run.stderr.as_str()), (status, ""), "{more:?}: {run:?}");
        assert!(run.stdout.starts_with(start), "{more:?}: {}", run.stdout);
        assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
    }
}

#[test]
fn json_holds_the_figures_of_the_formula() {
    // C1 = 10 pF·10/9 at mid-range, 13 pF. Adjusted at the base it is the same at the stop: e = −2 pF/(10·C1 + 2 pF);
    // at the tip it is larger by (18 − 13)/9 pF there. Worked out from C1/(C1+C2)/g0 − 1 by hand.
    let c1 = 100.0 / 9.0;
    for (place, c1) in [("base", c1), ("tip", c1 + 5.0 / 9.0)] {
        let json = Bench::new().json(&probe(&["--input", "20pF", "--adjust", place]), 3);
        assert_eq!(json["verdict"], "out-of-reach");
        assert_eq!(json["side"], "above");
        let error = -2.0 / (10.0 * c1 + 2.0);
        assert_close!(number(&json, "/compensation_error/value"), error, relative(1e-9));
        assert_close!(number(&json, "/compensation_error/standard_uncertainty"), 0.0, within(1e-15));
        assert_close!(number(&json, "/margin_f"), -2e-12, relative(1e-9));
        assert_close!(number(&json, "/tip_capacitance_f/value"), c1 * 1e-12, relative(1e-9));
        assert_close!(number(&json, "/shunt_capacitance_f/value"), (9.0 * c1 + 2.0) * 1e-12, relative(1e-9));
        // τp = 0.9 MΩ·(C1+C2).
        let tau = 0.9e6 * (10.0 * c1 + 2.0) * 1e-12;
        assert_close!(number(&json, "/time_constant_s/value"), tau, relative(1e-9));
        let decay = (-0.5e-3 / tau).exp();
        let start = error / (1.0 + decay);
        assert_close!(number(&json, "/square_wave/start_deviation"), start, relative(1e-9));
        assert_close!(number(&json, "/square_wave/end_deviation"), start * decay, relative(1e-9));
        let sines = json["amplitude_error"].as_array().unwrap();
        for (sine, frequency) in sines.iter().zip([1e3, 1e4, 1e5, 1e6]) {
            let pole = std::f64::consts::TAU * frequency * tau;
            let zero = pole * (1.0 + error);
            let expected = ((1.0 + zero * zero) / (1.0 + pole * pole)).sqrt() - 1.0;
            assert_close!(number(sine, "/frequency_hz"), frequency, relative(1e-12));
            assert_close!(number(sine, "/value"), expected, relative(1e-9));
        }
        assert_eq!(sines.len(), 4);
        assert_eq!(json["findings"][0]["code"], "out-of-reach");
        assert_eq!(json["stated"]["adjusted_at"], place);
        assert!(json["stated"]["tip_capacitance_f"].is_null());
    }
}

#[test]
fn tolerances_give_uncertainty_and_bounds() {
    let args = probe(&["--adjust", "base", "--range-tolerance", "0.5pF", "--input", "20pF+-1pF"]);
    let json = Bench::new().json(&args, 3);
    // N·C1 = 111.111 pF. Bounds: 20+1−(18−0.5) = 3.5 pF and 20−1−(18+0.5) = 0.5 pF above; slope N·C1/(N·C1+2 pF)².
    assert_close!(number(&json, "/compensation_error_bounds/lowest"), -0.030_538, printed(1e-6));
    assert_close!(number(&json, "/compensation_error_bounds/highest"), -0.004_480, printed(1e-6));
    let u = 111.111_111 / 113.111_111_f64.powi(2) * 0.5f64.hypot(1.0) / 3f64.sqrt();
    assert_close!(number(&json, "/compensation_error/standard_uncertainty"), u, relative(1e-6));
    assert_close!(number(&json, "/margin_tolerance_f"), 1.5e-12, relative(1e-9));
    // The tip resistor's own capacitance in place of what is seen at the tip.
    let args = ["reach", "--range", "8p:18p", "--tip-resistor", "12p", "--adjust", "base", "--input", "20p"];
    let json = Bench::new().json(&args, 3);
    assert_close!(number(&json, "/compensation_error/value"), -2.0 / 122.0, relative(1e-9));
    assert!(json["stated"]["seen_at_tip_f"].is_null());
    // A 100:1 divider: N = 100, C1 = 4 pF·100/99; 5 pF below.
    let args = [
        "reach",
        "--divider",
        "99M:1M",
        "--adjust",
        "base",
        "--range",
        "10p:25p",
        "--tip",
        "4p",
        "--input",
        "5p",
    ];
    let json = Bench::new().json(&args, 3);
    assert_close!(number(&json, "/compensation_error/value"), 5.0 / (400.0 / 0.99 - 5.0), relative(1e-9));
    assert_eq!(json["side"], "below");
}

#[test]
fn several_inputs_make_a_table_or_an_array_and_the_worst_counts() {
    let bench = Bench::new();
    for (inputs, status) in [(["13pF", "15pF"], 0), (["13pF", "25pF"], 3), (["17.5pF+-1pF", "25pF"], 4)] {
        let args = probe(&["--input", inputs[0], "--input", inputs[1]]);
        let run = bench.run(&args);
        assert_eq!(run.status, status, "{inputs:?}");
        let lines: Vec<_> = run.stdout.lines().collect();
        assert!(lines[0].starts_with("input") && lines[0].contains("margin, pF"), "{}", run.stdout);
        assert!(lines.iter().all(|line| line.chars().count() <= 80), "{}", run.stdout);
        let json = bench.json(&args, status);
        assert_eq!(json.as_array().unwrap().len(), 2);
        assert_close!(
            number(&json, "/0/margin_f"),
            if status == 4 { 0.5e-12 } else { 5e-12 },
            relative(1e-9)
        );
    }
}

#[test]
fn words_tell_verdict_margin_error_and_remedy() {
    let bench = Bench::new();
    let text = bench.run(&probe(&["--adjust", "base", "--input", "20pF"])).stdout;
    for part in [
        "OUT OF REACH: an input of 20 pF lies 2 pF above the compensation range of 8 pF\nto 18 pF.",
        "e = -1.77 %",
        "Do next: Use a probe whose range contains this input",
        "margin          -2 pF (outside)",
        "Corners rounded",
        "100 kHz     -1.77 %",
        "(out-of-reach)",
    ] {
        assert!(text.contains(part), "{part} is not in\n{text}");
    }
    let text = bench.run(&probe(&["--input", "6pF"])).stdout;
    assert!(
        text.contains("Do next: Pad the input with 2.00 pF") && text.contains("Corners peaked"),
        "{text}"
    );
    let text = bench.run(&probe(&["--input", "15pF"])).stdout;
    assert!(text.contains("flattop assess") && !text.contains("Findings"), "{text}");
}

#[test]
fn wrong_usage_says_what_to_type() {
    let bench = Bench::new();
    let with = |range: &'static str, more: &[&'static str]| -> Vec<&'static str> {
        ["reach", "--range", range].into_iter().chain(more.iter().copied()).collect()
    };
    let good = ["--tip", "10pF", "--input", "20pF"];
    for (args, hint) in [
        (with("18pF:8pF", &good), "exchange its limits: 8pF:18pF"),
        (with("8pF", &good), "for example 8pF:18pF"),
        (with("8:18", &good), "write the unit"),
        (with("8pF:18kHz", &good), "a capacitance was expected"),
        (with("8pF:18pF", &["--input", "20pF"]), "--tip <C>|--tip-resistor <C>"),
        (with("8pF:18pF", &["--tip", "10pF"]), "--input <C>"),
        (
            with("8pF:18pF", &["--tip", "10pF", "--tip-resistor", "11pF", "--input", "20pF"]),
            "cannot be used with",
        ),
        (with("8pF:18pF", &["--tip", "10pF", "--input", "20pF+-30pF"]), "leaves nothing"),
        (with("8pF:18pF", &["--tip", "10pF", "--input", "-20pF"]), "not above zero"),
        (
            with("8pF:18pF", &["--tip", "10pF", "--input", "20pF", "--input-tolerance", "25pF"]),
            "leaves nothing",
        ),
        (with("8pF:18pF", &["--tip", "10pF", "--input", "20pF", "--plot", "a.pdf"]), ".svg or .png"),
    ] {
        let run = bench.run(&args);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{args:?}: {run:?}");
        assert!(run.stderr.contains(hint), "{args:?}: {}", run.stderr);
    }
    let run = bench.run(&with("8pF:18pF", &["--tip", "1pF", "--input", "20pF", "--input-tolerance", "20pF"]));
    assert!(run.stderr.contains("flattop reach --help"), "{}", run.stderr);
}

#[test]
fn numbers_that_cannot_be_true_together_are_status_1() {
    let bench = Bench::new();
    // 1 pF at the tip balances 9·1 pF·10/9 = 10 pF of shunt, less than the range's 18 pF of input alone.
    let args = [
        "reach", "--range", "8pF:18pF", "--tip", "1pF", "--adjust", "base", "--input", "15pF", "--input",
        "20pF",
    ];
    let run = bench.run(&args);
    assert_eq!(run.status, 1, "{run:?}");
    assert_eq!(run.stderr.matches("this tip balances 10 pF in all, less").count(), 1, "{}", run.stderr);
    let json = bench.json(&args, 1);
    assert!(json[0]["error"].is_string() && json[0].get("verdict").is_none());
    assert_close!(number(&json, "/1/input_f"), 20e-12, relative(1e-12));
    let run = bench.run(&probe(&["--input", "15pF", "--divider", "1M:9M"]));
    assert!(run.status == 1 && run.stderr.contains("resistor at the tip first"), "{run:?}");
}

#[test]
fn drawings_are_well_formed_one_for_each_input() {
    let bench = Bench::new();
    let run = bench.run(&probe(&["--input", "20pF+-1pF", "--range-tolerance", "0.5pF", "--plot", "a.svg"]));
    assert_eq!((run.status, run.stderr.as_str()), (3, ""));
    let svg = bench.read("a.svg");
    assert!(usvg::Tree::from_data(&svg, &usvg::Options::default()).unwrap().size().height() > 600.0);
    let svg = String::from_utf8(svg).unwrap();
    assert!(svg.contains("OUT OF REACH") && svg.contains("2 pF outside") && !svg.contains("NaN"));
    let args = probe(&["--input", "15pF", "--input", "20pF", "--input", "20pF", "--plot", "b.png"]);
    assert_eq!(bench.run(&args).status, 3);
    for name in ["b-15pF.png", "b-20pF.png", "b-20pF-2.png"] {
        assert!(tiny_skia::Pixmap::decode_png(&bench.read(name)).unwrap().height() > 1000, "{name}");
    }
    let run = bench.run(&probe(&["--input", "20pF", "--plot", "nowhere/a.svg"]));
    assert!(run.status == 1 && run.stderr.contains("the folder nowhere does not exist"), "{run:?}");
    assert!(run.stdout.starts_with("OUT OF REACH"));
}

#[test]
fn help_manual_and_completions_have_the_command() {
    let bench = Bench::new();
    let help = bench.run(&["reach", "--help"]).stdout;
    for part in
        ["--range <A:B>", "--tip-resistor <C>", "Harrow Lane Lift Works", "4  may reach", "[default: 9M:1M]"]
    {
        assert!(help.contains(part), "{part} is not in\n{help}");
    }
    assert!(help.lines().all(|line| line.chars().count() <= 80), "{help}");
    assert!(bench.run(&["--help"]).stdout.contains("  reach "));
    assert!(bench.run(&["man"]).stdout.contains("flattop\\-reach"));
    let page = bench.run(&["man", "reach"]).stdout;
    assert!(page.contains(".TH flattop-reach 1") && page.contains(".SH WHAT IS COMPUTED"), "{page}");
    for shell in ["bash", "zsh", "fish"] {
        assert!(bench.run(&["completions", shell]).stdout.contains("range-tolerance"), "{shell}");
    }
}
