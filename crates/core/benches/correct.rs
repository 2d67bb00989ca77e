//! How long a correction takes once the samples are in memory: `cargo bench -p flattop-core --bench correct`.
//!
//! Beside it the same first-order inverse written down plainly, without uncertainties, and a copy. `scripts/bench` has SciPy beside it.
#![allow(clippy::print_stdout, clippy::disallowed_methods, reason = "a bench looks at the clock and prints")]
#![allow(missing_docs)]

use flattop_core::correction::shelf::{Before, KnownShelf, Setting, ShelfCorrector};
use flattop_core::divider::Shelf;
use std::hint::black_box;
use std::time::Instant;

const POINTS: usize = 10_000_000;
const PIECE: usize = 1 << 16;

fn main() {
    let samples: Vec<f32> = (0..POINTS)
        .map(|k| ((k / 5000) % 2) as f32 + ((k as u64).wrapping_mul(2_654_435_761) % 1000) as f32 * 1e-6)
        .collect();
    let setting = Setting {
        shelf: KnownShelf {
            shelf: Shelf { error: -0.08, time_constant_s: 1e-4 },
            error_u: 1e-3,
            time_constant_u_s: 1e-6,
            correlation: 0.5,
        },
        interval_s: 1e-7,
        noise: 3e-4,
        span: 1.0,
        before: Before::Unknown,
    };
    let (mut first, mut second) = (vec![0f32; PIECE], vec![0f32; PIECE]);
    let ours = median(7, || {
        let Ok(mut corrector) = ShelfCorrector::new(setting) else { return };
        for piece in samples.chunks(PIECE) {
            corrector.push(piece, &mut first, &mut second);
            black_box((&first, &second));
        }
    });
    let plain = median(7, || {
        let (z, gain) = (0.999_f64, 0.04_f64);
        let (mut r, mut last) = (0.0, f64::from(samples[0]));
        for piece in samples.chunks(PIECE) {
            for (out, y) in first.iter_mut().zip(piece) {
                let y = f64::from(*y);
                r = z * r + gain * (y - last);
                last = y;
                *out = (y + r) as f32;
            }
            black_box(&first);
        }
    });
    let copy = median(7, || {
        for piece in samples.chunks(PIECE) {
            first[..piece.len()].copy_from_slice(piece);
            black_box(&first);
        }
    });
    let each = |seconds: f64| 1e9 * seconds / POINTS as f64;
    println!(
        "{POINTS} f32 samples: corrected, with uncertainties {:.2} ns each; plain recursion without {:.2} ns; copy {:.2} ns",
        each(ours),
        each(plain),
        each(copy)
    );
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
