//! Two or three kinds of company at once, drawn by a seeded generator.

use crate::wave::{Demand, Droop, HUNDREDFOLD, Shape, Wave, fault_of};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::collections::BTreeSet;

const CASES: u64 = 500;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Noise,
    Codes,
    Short,
    Coarse,
    Duty,
    Inverted,
    Ringing,
    Edges,
    Hum,
    Droop,
    Drift,
    Hundredfold,
    Length,
}

const KINDS: [Kind; 13] = [
    Kind::Noise,
    Kind::Codes,
    Kind::Short,
    Kind::Coarse,
    Kind::Duty,
    Kind::Inverted,
    Kind::Ringing,
    Kind::Edges,
    Kind::Hum,
    Kind::Droop,
    Kind::Drift,
    Kind::Hundredfold,
    Kind::Length,
];

/// Kinds that are not drawn together.
fn exclude(a: Kind, b: Kind) -> bool {
    let sampling = [Kind::Short, Kind::Coarse, Kind::Hum, Kind::Length];
    // A single edge does not show what is slow, and of another duty it has less than 400 µs of tail.
    let not_short = [Kind::Hum, Kind::Droop, Kind::Drift, Kind::Duty];
    // Droop that noise or codes hide: `square_open.rs`.
    let hiding = [Kind::Noise, Kind::Codes];
    (sampling.contains(&a) && sampling.contains(&b))
        || (not_short.contains(&a) && b == Kind::Short)
        || (hiding.contains(&a) && b == Kind::Droop)
        // Few samples in noisy codes are taken for cut off: `square_open.rs`.
        || (a == Kind::Codes && b == Kind::Short)
        // Edges found at the wrong place: `square_open.rs`.
        || (a == Kind::Noise && b == Kind::Coarse)
}

fn draw(seed: u64) -> (BTreeSet<Kind>, Wave, Demand) {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(0x51_0a2e ^ (seed << 20));
    let mut kinds = BTreeSet::new();
    let count = if rng.random_bool(0.5) { 2 } else { 3 };
    while kinds.len() < count {
        let kind = KINDS[rng.random_range(0..KINDS.len())];
        if kinds.iter().all(|&k| !exclude(k, kind) && !exclude(kind, k)) {
            kinds.insert(kind);
        }
    }
    let error = loop {
        let e: f64 =
            if rng.random_bool(0.6) { rng.random_range(-0.15..0.15) } else { rng.random_range(-0.6..1.15) };
        // A verdict is a statement of 95 % confidence: next to the tolerance some are wrong by design.
        if (e.abs() - 0.01).abs() > 0.002 {
            break e;
        }
    };
    let mut w = Wave::plain(error);
    w.seed = seed;
    w.tau_s = 1.1e-4 * rng.random_range(0.7..1.4);
    w.frequency_hz = rng.random_range(950.0..1050.0);
    w.rise_s = rng.random_range(0.0..1.0) / w.frequency_hz;
    // Two or three kinds leave more to be found than one.
    let (mut finest, mut extra): (f64, f64) = (2.0, 0.0);
    for kind in &kinds {
        match kind {
            Kind::Noise => w.noise_v = 0.09,
            Kind::Short => {
                (w.points, w.interval_s, w.rise_s) = (2300, 0.2e-6, 60.03e-6);
                w.shape = Shape::Linear(0.5e-6);
                // Two and a half time constants of tail in the worst case.
                finest *= 3.0;
            }
            Kind::Coarse => {
                (w.points, w.interval_s) = (4000, 10e-6);
                w.shape = Shape::Linear(20e-9);
                extra += 0.01 * error.abs();
            }
            Kind::Hum => {
                let six = rng.random_bool(0.5);
                (w.points, w.interval_s) = if six { (60_000, 2e-6) } else { (20_000, 1e-6) };
                let mains = if rng.random_bool(0.5) { 50.0 } else { 60.0 };
                w.hum = (0.075, mains * rng.random_range(0.998..1.002), rng.random_range(0.0..6.2));
                w.shape = Shape::Linear(2.4 * w.interval_s);
            }
            Kind::Length => {
                let periods = rng.random_range(1.3..12.0);
                w.points = [300, 1000, 10_000, 100_000][rng.random_range(0..4)];
                if periods / w.frequency_hz > w.points as f64 * 12e-6 {
                    // Fewer than 80 samples in a period: `square_open.rs`.
                    w.points = 10_000;
                }
                w.interval_s = periods / w.frequency_hz / w.points as f64;
                extra += 1.0 * (error * w.interval_s / w.tau_s).abs();
            }
            Kind::Duty => {
                w.duty = rng.random_range(0.2..0.8);
                finest *= 2.0;
            }
            Kind::Inverted => (w.low_v, w.step_v) = (rng.random_range(-5.0..5.0), -3.0),
            Kind::Ringing => {
                w.ringing = Some((0.35, rng.random_range(5e6..50e6)));
                w.shape = Shape::Linear(5e-9);
                extra += 0.5 * (error * w.interval_s / w.tau_s).abs();
            }
            Kind::Edges => {
                w.shape = match rng.random_range(0..3) {
                    0 => Shape::Linear(rng.random_range(1e-6..5e-6)),
                    1 => Shape::Smooth(rng.random_range(1e-6..7e-6)),
                    _ => Shape::Exponential(rng.random_range(0.3e-6..2.2e-6)),
                };
            }
            Kind::Droop => {
                let share = rng.random_range(0.01..0.03);
                w.droop = if rng.random_bool(0.5) {
                    Droop::Coupled(share * 2.0 * w.frequency_hz / std::f64::consts::TAU)
                } else {
                    Droop::Straight(share)
                };
                // Two exponentials are far harder to tell apart than one from a level.
                finest *= 2.0;
                extra += 0.02 + 0.05 * error.abs();
            }
            Kind::Drift => w.drift_v = rng.random_range(-0.15..0.15),
            Kind::Hundredfold => w.divider = HUNDREDFOLD,
            Kind::Codes => {}
        }
    }
    if w.points == 300 {
        finest *= 1.5;
    }
    if kinds.contains(&Kind::Codes) {
        w = w.eight_bits(rng.random_range(0.5..0.95));
        if !kinds.contains(&Kind::Noise) {
            w.noise_v = w.quantum_v * rng.random_range(0.0..1.0);
        }
        extra += 1.2 * w.quantum_v / w.step_v.abs();
    }
    let demand = Demand::of(&w);
    let uncertainty = finest * demand.uncertainty + extra;
    (kinds, w, Demand { uncertainty, ..demand })
}

#[test]
fn two_or_three_at_once() {
    let mut faults = Vec::new();
    for seed in 0..CASES {
        let (kinds, wave, demand) = draw(seed);
        if let Some(fault) = fault_of(&wave, &wave.assess(), demand) {
            faults.push(format!("#{seed} {kinds:?}: {fault}"));
        }
    }
    assert!(faults.is_empty(), "{} of {CASES}:\n{}", faults.len(), faults.join("\n"));
}
