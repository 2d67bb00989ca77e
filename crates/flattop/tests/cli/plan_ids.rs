//! Plans and lists that name probes and inputs of a bench, against the same ones with figures, through the real binary.

use flattop_close::{assert_close, relative, within};
use serde_json::Value;

use crate::bench::{Bench, Run, number};
use crate::signals::Signal;

/// The bench of Harrow Lane Lift Works: two probes, a spring, two inputs.
fn lift_works() -> Bench {
    let bench = Bench::new();
    do_all(
        &bench,
        &[
            &["add", "oscilloscope", "bench-a", "label=Bench A scope, 200 MHz"],
            &[
                "add",
                "input",
                "bench-a/ch1",
                "resistance=1 MΩ ± 1 %",
                "capacitance=15 pF ± 2 pF",
                "bandwidth=200 MHz",
                "response=gaussian",
                "rated_voltage=300 V",
                "rated_voltage_kind=rms",
            ],
            &[
                "add",
                "input",
                "bench-a/ch2",
                "resistance=1 MΩ",
                "capacitance=17 pF",
                "bandwidth=100 MHz",
                "response=maximally-flat-3",
            ],
            &[
                "add",
                "probe",
                "probe-07",
                "ratio=10",
                "tip_capacitance=10 pF ± 1 pF",
                "compensation_range=8 pF to 18 pF",
                "adjusted_at=base",
                "bandwidth=200 MHz",
                "cable.length=1.2 m",
                "voltage_rating=600 V at 0 Hz; 600 V at 1 MHz; 30 V at 100 MHz",
                "voltage_rating_kind=peak",
                "measurement_category=CAT II",
                "category_voltage=300 V",
            ],
            &["add", "ground", "probe-07/spring", "length=20 mm"],
            &["add", "probe", "probe-08", "tip_capacitance=95 pF"],
        ],
    );
    bench
}

fn do_all(bench: &Bench, all: &[&[&str]]) {
    for args in all {
        let run = on(bench, &[&["bench"], *args].concat());
        assert_eq!(run.status, 0, "{args:?}: {run:?}");
    }
}

/// Runs with the test's own bench.
fn on(bench: &Bench, args: &[&str]) -> Run {
    bench.run(&[args, &["--bench", "bench.sqlite"]].concat())
}

fn json(bench: &Bench, args: &[&str], status: i32) -> Value {
    bench.json(&[args, &["--bench", "bench.sqlite"]].concat(), status)
}

fn codes(findings: &Value) -> Vec<&str> {
    findings.as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect()
}

/// Without what names the source or remarks on the bench.
fn figures(mut value: Value) -> Value {
    let map = value.as_object_mut().unwrap();
    map.remove("plan").unwrap();
    let findings = map.get_mut("findings").unwrap().as_array_mut().unwrap();
    findings.retain(|f| {
        !["compensation-measured", "compensation-assumed", "paired-elsewhere"]
            .contains(&f["code"].as_str().unwrap())
    });
    value
}

const MEASURED: &str = "
[node]
resistance = '220 ohm'
capacitance = '40 pF'
[signal]
shape = 'square'
frequency = '20 kHz'
low = '0 V'
high = '12 V'
rise = '40 ns'
[contact]
ground_length = '20 mm'
[circuit]
connection = 'earthed'
";

const PROBE: &str = "
ratio = 10
input_capacitance = '10 pF ± 1 pF'
compensation_range = ['8 pF', '18 pF']
adjusted_at = 'base'
bandwidth = '200 MHz'
cable_length = '1.2 m'
[probe.rating]
frequency = ['0 Hz', '1 MHz', '100 MHz']
peak = ['600 V', '600 V', '30 V']
category = 'II'
category_voltage = '300 V'
";

const INPUT: &str = "
resistance = '1M ± 1%'
capacitance = '15 pF ± 2 pF'
bandwidth = '200 MHz'
response = 'gaussian'
rated_voltage = '300 V'
rated_as = 'rms'
";

fn written_out() -> String {
    format!("{MEASURED}[probe]{PROBE}[input]{INPUT}")
}

const BY_ID: &str = "[probe]\nid = 'probe-07'\n[input]\nid = 'bench-a/ch1'\n";

#[test]
fn ids_stand_for_their_figures() {
    let bench = lift_works();
    bench.write("written.toml", &written_out());
    bench.write("by-id.toml", &format!("{MEASURED}{BY_ID}"));
    let written = figures(bench.json(&["predict", "written.toml"], 0));
    let by_id = json(&bench, &["predict", "by-id.toml"], 0);
    assert_eq!(figures(by_id), written);
    // By options; the environment names the bench; the spring is as long as the plan's ground lead.
    bench.write("rest.toml", &MEASURED.replace("ground_length = '20 mm'", "ground = 'spring'"));
    let args = ["predict", "rest.toml", "--probe.id", "probe-07", "--set", "input.id=bench-a/ch1", "--json"];
    let output = bench.command(&args).env("FLATTOP_BENCH", bench.path("bench.sqlite")).output().unwrap();
    assert_eq!(figures(serde_json::from_slice(&output.stdout).unwrap()), written);
    // What is said in the plan goes before.
    let over = ["--set", "input.capacitance=20 pF", "--set", "probe.rating.category_voltage="];
    let written =
        bench.json(&[&["predict", "written.toml", "--set", "probe.rating.category="], &over[..]].concat(), 0);
    let by_id = json(&bench, &[&["predict", "by-id.toml"], &over[..]].concat(), 0);
    assert_eq!(figures(by_id), figures(written));
}

#[test]
fn what_was_measured_of_a_pairing_is_what_is_predicted() {
    let bench = lift_works();
    // 9 MΩ ∥ 10 pF on 1 MΩ ∥ 98 pF: 7.4 % undercompensated.
    let signal = Signal::with(10e-12, 98e-12);
    bench.write("capture.csv", &signal.csv());
    do_all(&bench, &[&["pair", "probe-07", "bench-a/ch1"]]);
    bench.write("by-id.toml", &format!("{MEASURED}{BY_ID}"));
    let plan = ["predict", "by-id.toml", "--frequencies", "0.01, 100kHz"];
    let assumed = json(&bench, &plan, 0);
    assert!(codes(&assumed["findings"]).contains(&"compensation-assumed"), "{assumed:#}");

    let assess = ["assess", "capture.csv", "--probe", "probe-07", "--log"];
    let assessed = json(&bench, &assess, 3);
    let e = number(&assessed, "/compensation_error/value");
    let u = number(&assessed, "/compensation_error/standard_uncertainty");
    let found = json(&bench, &plan, 0);
    let codes_found = codes(&found["findings"]);
    assert!(codes_found.contains(&"compensation-measured"), "{codes_found:?}");
    assert!(!codes_found.contains(&"compensation-assumed"), "{codes_found:?}");

    // e is gain for fast over gain for slow signals, minus one (DESIGN's definition; divider theory); 220 Ω of the node load fast
    // ones a little: (2π · 100 kHz · 220 Ω · 50 pF)²/2 = 2.4e-5 and the cable as much again.
    let gain = |k: usize| found["response"]["gain"][k].as_f64().unwrap();
    assert_close!(gain(1) / gain(0) - 1.0, e, within(2e-3));
    assert_close!(e, signal.error(), within(4.0 * u));

    // The same with figures.
    let half_width = u * 3f64.sqrt();
    let error = format!("compensation_error = '{e} ± {half_width}'\n[probe.rating]");
    bench.write("written.toml", &written_out().replace("[probe.rating]", &error));
    let written = bench.json(&["predict", "written.toml", "--frequencies", "0.01, 100kHz"], 0);
    let gains = |value: &Value| -> Vec<f64> {
        value["response"]["gain"].as_array().unwrap().iter().map(|g| g.as_f64().unwrap()).collect()
    };
    assert_close!(gains(&found), gains(&written), relative(1e-12));
    let shown = |value: &Value| -> Vec<f64> {
        value["waveform"]["shown_v"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
    };
    assert_close!(shown(&found), shown(&written), within(1e-9));

    // As adjusted: what it was before anything was measured.
    let adjusted = json(&bench, &[&plan[..], &["--set", "probe.compensation_error="]].concat(), 0);
    assert_eq!(figures(adjusted), figures(assumed.clone()));
    // Once the trimmer was turned, nobody knows.
    let run = on(&bench, &["log", "adjusted", "probe-07"]);
    assert_eq!(run.status, 0, "{run:?}");
    let turned = json(&bench, &plan, 0);
    assert!(turned["findings"].to_string().contains("since it was adjusted"), "{:#}", turned["findings"]);
    assert_eq!(figures(turned), figures(assumed));
    // Another input than its own.
    let elsewhere = json(&bench, &[&plan[..], &["--input.id", "bench-a/ch2"]].concat(), 0);
    assert!(codes(&elsewhere["findings"]).contains(&"paired-elsewhere"), "{:#}", elsewhere["findings"]);
}

#[test]
fn what_cannot_be_used_says_what_to_do() {
    let bench = lift_works();
    bench.write("by-id.toml", &format!("{MEASURED}{BY_ID}"));
    let complaint = |args: &[&str]| {
        let run = on(&bench, &[&["predict", "by-id.toml"], args].concat());
        assert_eq!((run.status, run.stdout.as_str()), (1, ""), "{run:?}");
        run.stderr
    };
    let no_ratio = complaint(&["--probe.id", "probe-08"]);
    assert!(
        no_ratio.contains("probe-08, which has no ratio there; flattop bench edit probe-08 ratio=10"),
        "{no_ratio}"
    );
    assert!(complaint(&["--probe.id", "probe-09"]).contains("there is no probe \"probe-09\""));
    assert!(complaint(&["--input.id", "ch1"]).contains("bench-a/ch1"));
    let blade = complaint(&["--contact.ground", "blade"]);
    assert!(blade.contains("probe-07 has spring"), "{blade}");
    // Out of use: the logbook speaks of it, so it is kept.
    do_all(
        &bench,
        &[&["pair", "probe-07", "bench-a/ch1"], &["void", "1", "--why", "broken"], &["remove", "probe-07"]],
    );
    let retired = complaint(&[]);
    assert!(retired.contains("this probe is out of use; flattop bench reinstate probe-07"), "{retired}");
    // No bench at all.
    let run = bench.run(&["predict", "by-id.toml", "--bench", "nowhere.sqlite"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("there is no bench at nowhere.sqlite"), "{run:?}");
}

#[test]
fn half_a_rating_is_named() {
    let bench = lift_works();
    bench.write("by-id.toml", &format!("{MEASURED}{BY_ID}"));
    do_all(
        &bench,
        &[&["edit", "probe-07", "voltage_rating_kind="], &["edit", "bench-a/ch1", "rated_voltage_kind="]],
    );
    let found = json(&bench, &["predict", "by-id.toml"], 0);
    let half: Vec<_> = codes(&found["findings"]).into_iter().filter(|c| *c == "rating-not-used").collect();
    assert_eq!(half.len(), 2, "{:#}", found["findings"]);
    // A direct voltage is a rating, too.
    do_all(&bench, &[&["edit", "bench-a/ch1", "rated_voltage_kind=dc", "rated_voltage=1 V"]]);
    let found = json(&bench, &["predict", "by-id.toml", "--signal.low", "11 V"], 3);
    assert!(
        found["findings"].to_string().contains("bench-a/ch1")
            || found["findings"].to_string().contains("input")
    );
}

const WANTED: &str = "\n[measurement]\nquantity = 'amplitude'\ntolerance = '3%'\n";

fn ranked(found: &Value) -> Vec<(String, String)> {
    let name = |value: &Value| value.as_str().unwrap().to_owned();
    let all = found["ranking"].as_array().unwrap();
    all.iter().map(|one| (name(&one["probe"]), name(&one["input"]))).collect()
}

#[test]
fn the_bench_is_ranked() {
    let bench = lift_works();
    bench.write("list.toml", &format!("{MEASURED}{WANTED}"));
    let pair = |probe: &str, input: &str| (probe.to_owned(), input.to_owned());
    let nothing = on(&bench, &["choose", "list.toml"]);
    assert_eq!(nothing.status, 1);
    assert!(
        nothing.stderr.contains("no pairing in force") && nothing.stderr.contains("--all"),
        "{nothing:?}"
    );

    do_all(&bench, &[&["pair", "probe-07", "bench-a/ch1"]]);
    let in_force = json(&bench, &["choose", "list.toml"], 0);
    assert_eq!(ranked(&in_force), [pair("probe-07", "bench-a/ch1")]);
    // Probe 08 has no ratio.
    assert!(in_force["findings"].to_string().contains("probe-08 is left out"), "{:#}", in_force["findings"]);

    let all = json(&bench, &["choose", "list.toml", "--all"], 0);
    let mut pairs = ranked(&all);
    pairs.sort();
    assert_eq!(pairs, [pair("probe-07", "bench-a/ch1"), pair("probe-07", "bench-a/ch2")]);

    // The same list with ids, and with figures.
    bench.write(
        "ids.toml",
        &format!("{MEASURED}{WANTED}[[probe]]\nid = 'probe-07'\n[[input]]\nid = 'bench-a/ch1'\n"),
    );
    let by_id = json(&bench, &["choose", "ids.toml"], 0);
    assert_eq!(by_id["ranking"], in_force["ranking"]);
    bench.write(
        "written.toml",
        &format!(
            "{MEASURED}{WANTED}[[probe]]\nlabel = 'probe-07'{PROBE}[[input]]\nlabel = 'bench-a/ch1'{INPUT}"
        ),
    );
    let written = bench.json(&["choose", "written.toml"], 0);
    let total = |value: &Value| number(value, "/ranking/0/total_error");
    assert_close!(total(&by_id), total(&written), relative(1e-12));

    let run = on(&bench, &["choose", "ids.toml", "--all"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("leave out --all"), "{run:?}");

    // A pairing counts as it was found: 7 % off is no longer within 3 %.
    bench.write("capture.csv", &Signal::with(10e-12, 98e-12).csv());
    assert_eq!(on(&bench, &["assess", "capture.csv", "--probe", "probe-07", "--log"]).status, 3);
    let level = json(&bench, &["choose", "list.toml"], 3);
    assert_eq!(level["ranking"][0]["standing"], "too-far-off", "{:#}", level["ranking"][0]);
    assert!(codes(&level["ranking"][0]["findings"]).contains(&"compensation-measured"));
}
