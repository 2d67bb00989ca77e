//! `flattop characterise` through the real binary, and what `predict` makes of what it stores.

use std::f64::consts::TAU;

use flattop_close::{assert_close, relative, within};
use serde_json::Value;

use crate::bench::Bench;

const INTERVAL_S: f64 = 1e-10;
const TAU_S: f64 = 2e-9;
/// −3 dB frequency of one pole.
const BANDWIDTH_HZ: f64 = 1.0 / (TAU * TAU_S);

/// One pole after a linear ramp of `rise_s` that starts at 0 (integral of 1 − e^(−t/τ), by hand).
fn ramp_through_pole(t: f64, rise_s: f64) -> f64 {
    let integral = |t: f64| if t > 0.0 { t - TAU_S * (1.0 - (-t / TAU_S).exp()) } else { 0.0 };
    (integral(t) - integral(t - rise_s)) / rise_s
}

/// A record of one edge at 400 ns: time, probe, source; a little noise that repeats with every run.
fn edges(noise: f64) -> String {
    let mut text = String::from("time (s),probe (V),source (V)\n");
    let mut state = 1u64;
    let mut random = || {
        // A sum of twelve even numbers is nearly normal.
        let mut sum = -6.0;
        for _ in 0..12 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum += (state >> 11) as f64 / (1u64 << 53) as f64;
        }
        noise * sum
    };
    for k in 0..10_000 {
        let t = f64::from(k) * INTERVAL_S - 400e-9;
        let source = (t / 1.5e-9).clamp(0.0, 1.0);
        let probe = ramp_through_pole(t - 3e-9, 1.5e-9);
        text += &format!("{:.4e},{:.6},{:.6}\n", t, probe + random(), source + random());
    }
    text
}

fn codes(value: &Value) -> Vec<&str> {
    value["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect()
}

const WITH_REFERENCE: [&str; 6] = ["characterise", "edges.csv", "--column", "2", "--reference", "3"];

#[test]
fn the_bandwidth_of_one_pole_comes_back_and_predict_takes_it() {
    let bench = Bench::new();
    bench.write("edges.csv", &edges(1e-3));
    let args: Vec<&str> =
        WITH_REFERENCE.into_iter().chain(["-o", "pairing.s2p", "--band", "10MHz:30MHz"]).collect();
    let found = bench.json(&args, 0);
    let (bandwidth, u) = (
        found["bandwidth_hz"]["value"].as_f64().unwrap(),
        found["bandwidth_hz"]["standard_uncertainty"].as_f64().unwrap(),
    );
    assert_close!(bandwidth, BANDWIDTH_HZ, within(3.0 * u));
    assert!(u < 0.02 * bandwidth, "{u}");
    let (delay, u_delay) = (
        found["delay_s"]["value"].as_f64().unwrap(),
        found["delay_s"]["standard_uncertainty"].as_f64().unwrap(),
    );
    // Of the pole's own delay of τ at most stays in it.
    assert!(delay > 3e-9 && delay < 3e-9 + TAU_S + 3.0 * u_delay, "{delay}");
    assert_eq!(found["method"], "edges-against-reference");
    let flat = found["flatness"]["deviation"]["value"].as_f64().unwrap();
    let top = found["flatness"]["frequency_hz"].as_f64().unwrap();
    assert_close!(flat, 1.0 / (1.0 + (TAU * top * TAU_S).powi(2)).sqrt() - 1.0, within(0.01));

    bench.write("plan.toml", PLAN);
    let text = format!("{bandwidth}");
    let predicted = bench.json(&["predict", "plan.toml", "--frequencies", &text], 0);
    let gain = predicted["response"]["gain"][0].as_f64().unwrap();
    assert_close!(gain, std::f64::consts::FRAC_1_SQRT_2, relative(2e-3));
    let summary = predicted["summary"]["bandwidth_hz"]["value"].as_f64().unwrap();
    assert_close!(summary, bandwidth, relative(3e-3));
    assert_close!(
        predicted["response"]["impedance_ohm"][0].as_f64().unwrap(),
        1.0 / (TAU * bandwidth * 20e-12),
        relative(1e-3)
    );
}

/// The stored response between a probe and an input that have no limits of their own.
const PLAN: &str = r#"
[node]
resistance = "0 ohm"
[probe]
ratio = 1
tip_resistance = "0 ohm"
tip_capacitance = "0 F"
[input]
resistance = "1M"
capacitance = "20 pF"
[[measured]]
place = "before-input"
file = "pairing.s2p"
use = "response"
"#;

/// A pulse that the same pole rounded off comes back to what it was, through the Gaussian of the stated bandwidth and by the delays later.
#[test]
fn correct_takes_what_was_stored() {
    let bench = Bench::new();
    bench.write("edges.csv", &edges(1e-4));
    bench.write("plan.toml", PLAN);
    let args: Vec<&str> = WITH_REFERENCE.into_iter().chain(["-o", "pairing.s2p"]).collect();
    let found = bench.json(&args, 0);
    let (rise_s, late_s) = (6e-9, 3e-9);
    let mut text = String::from("time (s),probe (V)\n");
    for k in 0..8_000 {
        let t = f64::from(k) * INTERVAL_S - 400e-9;
        text += &format!("{t:.4e},{:.7}\n", ramp_through_pole(t - late_s, rise_s));
    }
    bench.write("pulse.csv", &text);
    let correct =
        ["correct", "pulse.csv", "--plan", "plan.toml", "--at-rest", "--noise", "1e-4", "-o", "out.csv"];
    let at_80: Vec<&str> = correct.into_iter().chain(["--bandwidth", "80MHz"]).collect();
    let told = bench.json(&at_80, 0);
    let delay = found["delay_s"]["value"].as_f64().unwrap() + told["chain"]["delay_s"].as_f64().unwrap();
    // A ramp through a Gaussian of 80 MHz: the difference of two integrals of the normal distribution (by hand).
    let sigma = std::f64::consts::LN_2.sqrt() / (TAU * 80e6);
    let integral = |t: f64| {
        let z = t / sigma;
        let density = (-0.5 * z * z).exp() / TAU.sqrt();
        t * 0.5 * erfc(-z / std::f64::consts::SQRT_2) + sigma * density
    };
    let out = String::from_utf8(bench.read("out.csv")).unwrap();
    let mut seen = 0;
    for line in out.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
        let (t, corrected) = (cells[0] - delay, cells[2]);
        if t > -100e-9 && t < 150e-9 {
            let truth = (integral(t) - integral(t - rise_s)) / rise_s;
            assert_close!(corrected, truth, within(0.01), "{} s", cells[0]);
            seen += 1;
        }
    }
    assert!(seen > 2000, "{seen}");
    assert!(told["pulse"]["after"]["transition_duration_s"].as_f64().unwrap() > rise_s * 0.8);
    // Beyond what was measured nothing is undone, and that is said.
    let beyond: Vec<&str> = correct.into_iter().chain(["--bandwidth", "1.5GHz"]).collect();
    let told = bench.json(&beyond, 0);
    assert!(codes(&told).contains(&"measured-range"), "{:?}", codes(&told));
    assert!(told["chain"]["bandwidth_hz"].as_f64().unwrap() <= found["highest_hz"].as_f64().unwrap());
}

/// The complementary error function by a continued fraction or its series, whichever converges (any handbook of functions, from memory).
fn erfc(x: f64) -> f64 {
    if x < 0.0 {
        return 2.0 - erfc(-x);
    }
    if x < 2.0 {
        let mut term = x;
        let mut sum = x;
        for n in 1..60 {
            term *= -x * x / f64::from(n);
            sum += term / f64::from(2 * n + 1);
        }
        return 1.0 - 2.0 / std::f64::consts::PI.sqrt() * sum;
    }
    let mut fraction = x;
    for n in (1..60).rev() {
        fraction = x + f64::from(n) / 2.0 / fraction;
    }
    (-x * x).exp() / std::f64::consts::PI.sqrt() / fraction
}

#[test]
fn an_edge_alone_says_that_its_source_counts_as_ideal() {
    let bench = Bench::new();
    bench.write("edges.csv", &edges(1e-3));
    let ideal = bench.json(&["characterise", "edges.csv", "--column", "2"], 0);
    assert!(codes(&ideal).contains(&"source-assumed-ideal"), "{:?}", codes(&ideal));
    assert!(ideal["delay_s"].is_null() && ideal["low_frequency_gain"].is_null());
    // 1.5 ns from end to end are 1.2 ns from 10 to 90 %; a ramp is not Gaussian, which costs little at the bandwidth.
    let args = ["characterise", "edges.csv", "--column", "2", "--source-transition", "1.2ns+-0.1ns"];
    let stated = bench.json(&args, 0);
    let of = |v: &Value| v["bandwidth_hz"]["value"].as_f64().unwrap();
    assert!(of(&ideal) < of(&stated));
    assert_close!(of(&stated), BANDWIDTH_HZ, relative(0.04));
}

#[test]
fn words_table_and_drawing_are_written() {
    let bench = Bench::new();
    bench.write("edges.csv", &edges(1e-3));
    let args: Vec<&str> =
        WITH_REFERENCE.into_iter().chain(["-o", "p.json", "--csv", "p.csv", "--plot", "p.svg"]).collect();
    let run = bench.run(&args);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""), "{}", run.stdout);
    assert!(run.stdout.starts_with("Bandwidth ") && run.stdout.contains("root-sum-square"), "{}", run.stdout);
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
    let stored: Value = serde_json::from_slice(&bench.read("p.json")).unwrap();
    let rows = String::from_utf8(bench.read("p.csv")).unwrap().lines().count();
    assert_eq!(rows, 1 + stored["response"].as_array().unwrap().len());
    assert!(String::from_utf8(bench.read("p.svg")).unwrap().contains("Gain, relative to low frequencies"));
}

#[test]
fn noise_ends_the_response_and_the_bandwidth_is_a_lower_bound() {
    let bench = Bench::new();
    bench.write("edges.csv", &edges(0.03));
    let found = bench.json(&WITH_REFERENCE, 0);
    assert_eq!(found["ended_by"], "uncertainty");
    assert!(found["bandwidth_hz"].is_null());
    let above = found["bandwidth_above_hz"].as_f64().unwrap();
    assert_close!(above, found["highest_hz"].as_f64().unwrap(), relative(1e-12));
    assert!(above < BANDWIDTH_HZ);
    for p in found["response"].as_array().unwrap() {
        let (gain, u) =
            (p["gain"]["value"].as_f64().unwrap(), p["gain"]["standard_uncertainty"].as_f64().unwrap());
        assert!(1.96 * u <= 0.0301 * gain);
    }
}

#[test]
fn a_sweep_of_sines_is_characterised() {
    let bench = Bench::new();
    let mut names = Vec::new();
    for (k, f) in [1e6, 2e6, 4e6, 8e6, 16e6, 30e6, 50e6, 70e6, 90e6, 120e6].into_iter().enumerate() {
        let mut text = String::from("time (s),probe (V),source (V)\n");
        for i in 0..400 {
            let t = f64::from(i) / f / 41.7;
            let gain = 1.0 / (1.0 + (TAU * f * TAU_S).powi(2)).sqrt();
            let probe = gain * (TAU * f * t - (TAU * f * TAU_S).atan()).sin();
            text += &format!("{t:.12e},{probe:.7},{:.7}\n", (TAU * f * t).sin());
        }
        let name = format!("sine-{k}.csv");
        bench.write(&name, &text);
        names.push(name);
    }
    let args: Vec<&str> = ["characterise", "--sine", "--column", "2", "--reference", "3", "-o", "sweep.s2p"]
        .into_iter()
        .chain(names.iter().map(String::as_str))
        .collect();
    let found = bench.json(&args, 0);
    assert_eq!(found["ended_by"], "sweep");
    let first = 1.0 / (1.0 + (TAU * 1e6 * TAU_S).powi(2)).sqrt();
    for p in found["response"].as_array().unwrap() {
        let f = p["frequency_hz"].as_f64().unwrap();
        let truth = 1.0 / (1.0 + (TAU * f * TAU_S).powi(2)).sqrt() / first;
        assert_close!(p["gain"]["value"].as_f64().unwrap(), truth, relative(1e-5));
    }
    assert_close!(found["bandwidth_hz"]["value"].as_f64().unwrap(), BANDWIDTH_HZ, relative(0.02));
}

#[test]
fn what_cannot_carry_a_response_says_so() {
    let bench = Bench::new();
    let flat: String = (0..500).map(|k| format!("{k}e-9,1.0\n")).collect();
    bench.write("flat.csv", &format!("time (s),probe (V)\n{flat}"));
    let run = bench.run(&["characterise", "flat.csv", "-o", "none.s2p"]);
    assert_eq!(run.status, 4, "{}", run.stderr);
    assert!(run.stdout.starts_with("NO RESPONSE: ") && run.stdout.contains("no-edges"), "{}", run.stdout);
    assert!(!bench.path("none.s2p").exists());
    assert_eq!(bench.run(&["characterise", "missing.csv"]).status, 1);
    for wrong in [
        &["characterise", "a.csv", "b.csv"][..],
        &["characterise", "a.csv", "--column", "2", "--reference", "2"],
        &["characterise", "a.csv", "-o", "response.pdf"],
        &["characterise", "a.csv", "--band", "20MHz:10MHz"],
        &["characterise", "a.csv", "--source-transition", "1ns+-2ns"],
    ] {
        assert_eq!(bench.run(wrong).status, 2, "{wrong:?}");
    }
}
