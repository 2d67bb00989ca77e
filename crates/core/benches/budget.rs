//! One million trials of an amplitude budget at 50 frequencies, against NumPy: `cargo bench -p flattop-core --bench budget`.
//!
//! The chain, its inputs and what is asked for are those of `reference/budget.py`, which is run in turns where `reference/.venv` is there
//! (`scripts/setup` makes it). Medians of some rounds, in seconds, and their ratio.
#![allow(clippy::print_stdout, clippy::disallowed_methods, reason = "a bench looks at the clock and prints")]
#![allow(missing_docs, clippy::unwrap_used)]

use flattop_core::chain::{
    Cable, Chain, CompensationBox, Contact, Coupling, Node, Response, ResponseShape, Tip,
};
use flattop_core::prediction::Parameter;
use flattop_core::signal::{Shape, Signal};
use flattop_core::uncertainty::reading::{Input, Measurand, Reading, Role, Step, Which, budget};
use flattop_core::uncertainty::{Block, Correlation, Distribution, Quantity, Settings, Stop};
use std::hint::black_box;
use std::ops::Range;
use std::process::Command;
use std::time::Instant;

const TRIALS: u64 = 1_000_000;
const ROUNDS: usize = 5;

fn main() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
    let python = format!("{root}/reference/.venv/bin/python");
    let mut ours = [Vec::new(), Vec::new()];
    let mut theirs = [Vec::new(), Vec::new()];
    for _ in 0..ROUNDS {
        for (threads, times) in [1, 2].into_iter().zip(&mut ours) {
            times.push(seconds(threads));
        }
        let run =
            Command::new(&python).args([&format!("{root}/reference/budget.py"), "--time", "1e6"]).output();
        if let Ok(output) = run {
            let text = String::from_utf8_lossy(&output.stdout).into_owned();
            for (time, times) in text.split_whitespace().zip(&mut theirs) {
                times.extend(time.parse::<f64>());
            }
        }
    }
    let [one, two] = ours.map(median);
    println!("one million trials at 50 frequencies, s:");
    println!("  one thread {one:.3}, two threads {two:.3}");
    if theirs[0].is_empty() {
        println!("  no NumPy to compare with: run scripts/setup");
        return;
    }
    let [whole, pieces] = theirs.map(median);
    println!("  NumPy {whole:.3} all at once, {pieces:.3} in pieces that stay in the cache");
    println!("  two threads over NumPy: {:.3} and {:.3}", two / whole, two / pieces);
    println!("  one thread over NumPy: {:.3} and {:.3}", one / whole, one / pieces);
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap_or(f64::NAN)
}

fn seconds(threads: usize) -> f64 {
    let (chain, inputs, correlations) = case();
    let signal = Signal { shape: Shape::Sine { frequency_hz: 1e6 }, low_v: -2.5, high_v: 2.5 };
    let frequencies: Vec<f64> = (0..50).map(|k| 1e3 * 1e5_f64.powf(f64::from(k) / 49.0)).collect();
    let reading = Reading {
        measurand: Measurand::Amplitude,
        signal: &signal,
        frequency_hz: &frequencies,
        chain: &chain,
        second: None,
        shown: None,
        noise_rms_v: 0.0,
        inputs: &inputs,
        correlations: &correlations,
    };
    let settings = Settings { seed: 1, probability: 0.95, stop: Stop::Trials(TRIALS), bins: 0 };
    let spread = |numbers: Range<u64>, work: &(dyn Fn(u64) -> Block + Sync)| {
        let numbers: Vec<u64> = numbers.collect();
        let each = numbers.len().div_ceil(threads).max(1);
        std::thread::scope(|scope| {
            let parts: Vec<_> = numbers
                .chunks(each)
                .map(|part| scope.spawn(move || part.iter().map(|k| work(*k)).collect::<Vec<Block>>()))
                .collect();
            parts.into_iter().flat_map(|part| part.join().unwrap()).collect()
        })
    };
    let start = Instant::now();
    black_box(budget(black_box(&reading), &settings, &spread).unwrap());
    start.elapsed().as_secs_f64()
}

fn case() -> (Chain, Vec<Input>, Vec<Correlation>) {
    let chain = Chain {
        node: Node { resistance_ohm: 10e3, capacitance_f: 3e-12 },
        contact: Contact { inductance_h: 120e-9, resistance_ohm: 10.0 },
        tip: Tip {
            body_capacitance_f: 1e-12,
            resistance_ohm: 9e6,
            capacitance_f: 12e-12,
            series_resistance_ohm: 50.0,
        },
        cable: Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 100.0, capacitance_f: 16e-12 },
        input: flattop_core::chain::Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    };
    let of = |parameter: Parameter, distribution| Input {
        quantity: Quantity::known(parameter.key(), distribution),
        unit: parameter.unit(),
        role: Role::Chain,
        steps: vec![Step { of: Which::First, parameter, per_unit: 1.0 }],
    };
    let even = |middle: f64, half: f64| Distribution::Rectangular { low: middle - half, high: middle + half };
    let normal = |mean, deviation| Distribution::Normal { mean, deviation };
    let plain = |name: &str, role, distribution| Input {
        quantity: Quantity::known(name, distribution),
        unit: None,
        role,
        steps: Vec::new(),
    };
    let inputs = vec![
        of(Parameter::NodeResistance, even(10e3, 100.0)),
        of(Parameter::NodeCapacitance, even(3e-12, 1e-12)),
        of(Parameter::ContactInductance, even(120e-9, 20e-9)),
        of(Parameter::TipResistance, even(9e6, 45e3)),
        of(Parameter::InputResistance, even(1e6, 10e3)),
        of(Parameter::TipCapacitance, normal(12e-12, 0.05e-12)),
        of(Parameter::BoxCapacitance, normal(16e-12, 0.3e-12)),
        of(Parameter::InputCapacitance, even(20e-12, 2e-12)),
        of(Parameter::InputBandwidth, even(200e6, 20e6)),
        plain("gain", Role::Gain, even(0.0, 0.015)),
        plain("noise", Role::Noise, normal(0.0, 2.5e-3)),
        plain("reading", Role::Reading, Distribution::Student { location: 0.0, scale: 4e-3, freedom: 5.0 }),
    ];
    (chain, inputs, vec![Correlation { first: 5, second: 6, coefficient: -0.6 }])
}
