//! `flattop budget` through the real binary.

use flattop_close::{assert_close, relative, within};
use serde_json::Value;

use crate::bench::Bench;

/// A door sensor read with Probe 07 on the Bench A scope.
const SENSOR: &str = r#"
[node]
resistance = "10k ± 1%"
capacitance = "3 pF ± 1 pF"
[signal]
shape = "sine"
frequency = "100 kHz"
low = "-2.5 V"
high = "2.5 V"
[contact]
inductance = "120 nH ± 20 nH"
[probe]
tip_resistance = "9M ± 0.5%"
tip_capacitance = "12 pF"
[probe.cable]
length = "1.2 m"
resistance_per_metre = "160 ohm/m"
inductance_per_metre = "330 nH/m"
capacitance_per_metre = "60 pF/m"
[probe.box]
capacitance = "16 pF"
[input]
resistance = "1M ± 1%"
capacitance = "20 pF ± 2 pF"
bandwidth = "200 MHz ± 10%"
response = "gaussian"
[circuit]
connection = "earthed"
[reading]
quantity = "amplitude"
gain = "0 % ± 1.5 %"
noise = "10 mV"
averages = 16
step = "20 mV"
time_base = "0 ppm ± 25 ppm"
compensation_error = "-0.8 % ± 0.4 %"
time_constant = "98 us ± 2 us"
temperature_difference = "5 K ± 3 K"
[[uncertain]]
key = "reading.compensation_error"
distribution = "t"
coverage_factor = 2
degrees_of_freedom = 12
evaluation = "A"
[[uncertain]]
key = "reading.time_constant"
distribution = "normal"
coverage_factor = 2
[[uncertain]]
key = "reading.gain"
temperature_coefficient = "200 ppm ± 50 ppm"
[[correlated]]
first = "reading.compensation_error"
second = "reading.time_constant"
coefficient = -0.6
"#;

const FEW: [&str; 2] = ["--trials", "100000"];

fn with<'a>(more: &[&'a str]) -> Vec<&'a str> {
    ["budget", "plan.toml"].iter().chain(&FEW).chain(more).copied().collect()
}

fn result(found: &Value) -> &Value {
    &found["results"][0]
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn input<'a>(found: &'a Value, name: &str) -> (&'a Value, &'a Value) {
    let list = found["inputs"].as_array().unwrap();
    let at = list.iter().position(|i| i["name"] == name).unwrap_or_else(|| panic!("{name} in {list:?}"));
    (&list[at], &result(found)["propagation"]["terms"][at])
}

/// What is printed, where the status is the one expected.
fn text(bench: &Bench, args: &[&str], status: i32) -> String {
    let run = bench.run(args);
    assert_eq!(run.status, status, "{run:?}");
    run.stdout
}

fn failure(bench: &Bench, args: &[&str], status: i32) -> String {
    let run = bench.run(args);
    assert_eq!(run.status, status, "{run:?}");
    run.stderr
}

fn sensor() -> Bench {
    let bench = Bench::new();
    bench.write("plan.toml", SENSOR);
    bench
}

#[test]
fn shown_and_corrected_stand_apart_and_every_input_is_there() {
    let found = sensor().json(&with(&[]), 0);
    let result = result(&found);
    // Without a reading it is what the chain would show of 2.5 V, and the correction leads back to that.
    assert_close!(number(&result["propagation"]["value"]), 2.5, relative(1e-9));
    assert_close!(number(&result["monte_carlo"]["value"]), 2.5, relative(1e-3));
    assert!(number(&result["known_error"]) < -0.01);
    for (name, distribution, evaluation) in [
        ("node.resistance", "rectangular", "B"),
        ("probe.tip_resistance", "rectangular", "B"),
        ("input.bandwidth", "rectangular", "B"),
        ("reading.gain", "rectangular", "B"),
        ("reading.noise", "normal", "B"),
        ("reading.step", "triangular", "B"),
        ("reading.time_base", "rectangular", "B"),
        ("reading.compensation_error", "t", "A"),
        ("reading.time_constant", "normal", "B"),
        ("reading.temperature_difference", "rectangular", "B"),
        ("reading.gain per kelvin", "rectangular", "B"),
    ] {
        let (input, _) = input(&found, name);
        assert_eq!(input["distribution"], distribution, "{name}");
        assert_eq!(input["evaluation"], evaluation, "{name}");
    }
    // 10 mV over 16 readings; gain of 1.5 % of 2.5 V, both by hand. The temperature makes the gain 1.001.
    let (noise, term) = input(&found, "reading.noise");
    assert_close!(number(&noise["standard_uncertainty"]), 2.5e-3, relative(1e-9));
    assert!(number(&term["contribution"]) > 2.4e-3);
    let (_, term) = input(&found, "reading.gain");
    assert_close!(number(&term["contribution"]), -2.5 * 0.015 / 3f64.sqrt() / 1.001, relative(1e-3));
    let shares: f64 =
        result["propagation"]["terms"].as_array().unwrap().iter().map(|t| number(&t["share"])).sum();
    assert_close!(shares, 1.0, relative(1e-9));
}

#[test]
fn the_answer_is_the_same_for_any_number_of_threads() {
    let bench = sensor();
    let several = ["--json", "--set", "reading.frequencies=1kHz:100MHz:5"];
    let texts: Vec<Vec<u8>> = ["1", "2", "5"]
        .into_iter()
        .map(|threads| {
            let output = bench.command(&with(&several)).env("RAYON_NUM_THREADS", threads).output().unwrap();
            assert!(output.status.success());
            output.stdout
        })
        .collect();
    assert_eq!(texts[0], texts[1]);
    assert_eq!(texts[0], texts[2]);
    let other = bench.command(&with(&["--json", "--seed", "2"])).output().unwrap().stdout;
    assert_ne!(texts[0], other);
}

#[test]
fn seed_trials_and_both_intervals_are_printed() {
    let printed = text(&sensor(), &with(&["--seed", "42"]), 0);
    for words in
        ["seed 42", "100 000, as asked for", "symmetric", "shortest", "Contributions", "k = ", "verdict"]
    {
        assert!(printed.contains(words), "{words} in\n{printed}");
    }
    assert!(printed.lines().all(|line| line.chars().count() <= 80), "{printed}");
    let adaptive = text(&sensor(), &["budget", "plan.toml", "--digits", "1"], 0);
    assert!(adaptive.contains("stopped when stable"), "{adaptive}");
}

#[test]
fn an_assessed_compensation_is_what_counts() {
    // Far above 1/(2πτp) a divider with e reads e off, whatever the capacitances of the plan (closed form of the shelf).
    let bench = Bench::new();
    bench.write(
        "plan.toml",
        "[signal]\nshape = 'sine'\nfrequency = '1 MHz'\nlow = -1\nhigh = 1\n[probe]\ntip_resistance = '9M'\ntip_capacitance = '12 pF'\n\
         [probe.box]\ncapacitance = '80 pF'\n[input]\nresistance = '1M'\ncapacitance = '20 pF'\n\
         [reading]\nquantity = 'amplitude'\ncompensation_error = '5 % ± 1 %'\n",
    );
    let found = bench.json(&with(&[]), 0);
    assert_close!(number(&result(&found)["known_error"]), 0.05, within(1e-4));
    let (_, term) = input(&found, "reading.compensation_error");
    assert_close!(number(&term["contribution"]), -0.01 / 3f64.sqrt() / 1.05, relative(2e-3));
}

#[test]
fn other_readings_have_budgets_too() {
    let bench = sensor();
    let square = [
        "--set",
        "signal.shape=square",
        "--set",
        "signal.rise=20ns",
        "--set",
        "node.capacitance=",
        "--set",
        "node.resistance=50",
    ];
    for (quantity, unit) in [("peak-to-peak", "V"), ("rms", "V"), ("mean", "V"), ("transition-duration", "s")]
    {
        let set = format!("reading.quantity={quantity}");
        let mut args = with(&square);
        // A mean of 0 has no relative anything; half a volt is added.
        args.extend(["--set", &set, "--set", "signal.high=3.5V"]);
        let found = bench.json(&args, 0);
        assert_eq!(found["unit"], unit, "{quantity}");
        let result = result(&found);
        let (value, u) =
            (number(&result["monte_carlo"]["value"]), number(&result["monte_carlo"]["standard_uncertainty"]));
        assert!(u > 0.0 && u < 0.2 * value.abs(), "{quantity}: {value} {u}");
        assert_close!(number(&result["propagation"]["standard_uncertainty"]), u, relative(0.15));
        let expected = match quantity {
            "peak-to-peak" => 6.0,
            "mean" => 0.5,
            // √(mean² of both levels), less what the ramps take.
            "rms" => ((3.5f64.powi(2) + 2.5f64.powi(2)) / 2.0).sqrt(),
            _ => continue,
        };
        assert_close!(value, expected, relative(0.02), "{quantity}");
    }
}

#[test]
fn a_delay_takes_a_second_probe() {
    let bench = sensor();
    let edge = ["--set", "signal.shape=edge", "--set", "signal.frequency=", "--set", "signal.rise=20ns"];
    let delay = [
        "--set",
        "reading.quantity=delay",
        "--set",
        "reading.shown_time=5ns",
        "--set",
        "reading.skew=0ps +- 100ps",
    ];
    let mut args = with(&edge);
    args.extend(delay);
    assert!(failure(&bench, &args, 1).contains("second probe"));
    let second = SENSOR
        .split_once("[probe]")
        .and_then(|(_, rest)| rest.split_once("[circuit]"))
        .map(|(parts, _)| parts.replace("[probe.", "[second.probe.").replace("[input]", "[second.input]"))
        .unwrap();
    bench.write("plan.toml", &format!("{SENSOR}[second.probe]{second}"));
    let found = bench.json(&args, 0);
    // Two probes alike, the one on a resistive node: its own delay is about the node's resistance times the tip's capacitance.
    assert!(number(&result(&found)["propagation"]["value"]) > 5e-9);
    let (_, term) = input(&found, "reading.skew");
    assert_close!(number(&term["contribution"]).abs(), 100e-12 / 3f64.sqrt(), relative(1e-6));
    assert!(number(&input(&found, "second.input.bandwidth").1["contribution"]).abs() > 0.0);
}

#[test]
fn mistakes_are_named() {
    let bench = sensor();
    for (set, words) in [
        ("uncertain.1.key=reading.gane", "did you mean"),
        ("correlated.1.coefficient=1.5", "from -1 to 1"),
        ("reading.quantity=", "[reading] quantity"),
        ("reading.quantity=transition-duration", "edges"),
        ("reading.time_constant=10us", "across the input"),
        ("reading.temperature_difference=", "temperature_difference"),
    ] {
        let error = failure(&bench, &["budget", "plan.toml", "--set", set], 1);
        assert!(error.contains(words), "{set}: {error}");
    }
    assert!(failure(&bench, &["budget", "plan.toml", "--trials", "0"], 2).contains("trials"));
    assert!(failure(&bench, &["budget"], 2).contains("--template"));
}

#[test]
fn template_list_and_drawing() {
    let bench = sensor();
    let template = text(&bench, &["budget", "--template"], 0);
    bench.write("template.toml", &template);
    let found = bench.json(&["budget", "template.toml", "--trials", "20000"], 0);
    assert_eq!(found["results"].as_array().unwrap().len(), 6);
    // The same plan serves for a prediction.
    bench.json(&["predict", "template.toml"], 0);
    text(&bench, &with(&["--csv", "list.csv", "--plot", "budget.png"]), 0);
    assert!(String::from_utf8(bench.read("list.csv")).unwrap().lines().count() > 10);
    assert!(bench.read("budget.png").starts_with(b"\x89PNG"));
}
