//! How long a verdict takes once the samples are in memory: `cargo bench -p flattop-core`.
//!
//! Prints medians; machines are noisy, so each is also given as a ratio to one plain pass over the same samples.
#![allow(clippy::print_stdout, clippy::disallowed_methods, reason = "a bench looks at the clock and prints")]
#![allow(missing_docs)]

use flattop_core::divider::Divider;
use flattop_core::estimate::square::{Settings, assess};
use flattop_core::samples::{Raw, Record, SampleView};
use std::time::Instant;

fn main() {
    let settings = Settings {
        divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
        resistor_uncertainty: 0.006,
        tolerance: 0.01,
        source_amplitude_v: None,
    };
    // Ten of each, then the median; 2,500 points often enough to be timed.
    for (points, periods, calls) in [(2_500, 2.0, 200), (100_000, 5.0, 20), (10_000_000, 10.0, 1)] {
        let samples = wave(points, periods);
        let single: Vec<f32> = samples.iter().map(|v| *v as f32).collect();
        let interval_s = periods * 1e-3 / points as f64;
        for (name, raw) in [("f64", Raw::F64(&samples)), ("f32", Raw::F32(&single))] {
            let record =
                Record { samples: SampleView { raw, scale: 1.0, offset: 0.0 }, start_s: 0.0, interval_s };
            let verdict = median(10, || {
                for _ in 0..calls {
                    std::hint::black_box(assess(std::hint::black_box(record), &settings));
                }
            }) / f64::from(calls);
            let pass = median(10, || {
                for _ in 0..calls {
                    std::hint::black_box(sum(std::hint::black_box(raw)));
                }
            }) / f64::from(calls);
            println!(
                "{points:>9} {name} points: verdict in {:>9.3} ms, {:>6.1} times one plain sum",
                1e3 * verdict,
                verdict / pass
            );
        }
    }
}

fn sum(raw: Raw<'_>) -> f64 {
    match raw {
        Raw::F64(s) => s.iter().sum(),
        Raw::F32(s) => f64::from(s.iter().sum::<f32>()),
        Raw::I16(s) => s.iter().map(|v| f64::from(*v)).sum(),
    }
}

fn median(rounds: usize, mut work: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..rounds)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_unstable_by(f64::total_cmp);
    times[rounds / 2]
}

/// A settled 1 kHz square wave, e = −8 %, τp = 100 µs, 0.2 % of noise from a small generator, 8 bits.
fn wave(points: usize, periods: f64) -> Vec<f64> {
    let mut state = 1u64;
    (0..points)
        .map(|k| {
            let phase = (periods * k as f64 / points as f64 + 0.1).fract();
            let (side, since) = if phase < 0.5 { (0.5, phase) } else { (-0.5, phase - 0.5) };
            let tail = 2.0 * side * 0.08 * (-since * 10.0).exp() / (1.0 + (-5.0_f64).exp());
            let mut noise = -6.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                noise += (state >> 11) as f64 / (1u64 << 53) as f64;
            }
            ((side - tail + 2e-3 * noise) * 200.0).round() / 200.0
        })
        .collect()
}
