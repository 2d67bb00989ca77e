//! Records that cannot carry a result: refused with a fault and a remedy, without a number and without a panic.

use crate::records::{Texture, cut, refused};
use crate::wave::{Droop, Shape, Wave, record, wrong};
use flattop_core::estimate::square::assess;
use flattop_core::finding::Severity;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::TAU;

fn noise(points: usize, deviation: f64, seed: u64) -> Vec<f64> {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    (0..points)
        .map(|_| {
            let z: f64 = StandardNormal.sample(&mut rng);
            deviation * z
        })
        .collect()
}

fn noisy(clean: impl Fn(f64) -> f64, interval_s: f64, points: usize, deviation: f64) -> Vec<f64> {
    noise(points, deviation, 7)
        .into_iter()
        .enumerate()
        .map(|(k, z)| clean(k as f64 * interval_s) + z)
        .collect()
}

#[test]
fn overshoot_cut() {
    let pairs = [(0.12, 0.05), (0.12, 0.08), (0.3, 0.1), (0.5, 0.2)];
    refused(pairs.into_iter().flat_map(|(error, above)| cut(error, above, &Texture::ALL)), &["clipped"]);
    refused(cut(1.0, 0.3, &Texture::ALL), &[]);
}

/// A perfect probe's wave without noise is not here: cut off, it is a smaller square wave and nothing else.
#[test]
fn settled_top_cut() {
    use Texture::{Codes, Noisy, NoisyCodes};
    for above in [-0.05, -0.02] {
        refused(cut(-0.3, above, &Texture::ALL), &["clipped"]);
        refused(cut(-0.12, above, &[Noisy, Codes, NoisyCodes]), &["clipped"]);
        refused([-0.03, 0.0, 0.05].into_iter().flat_map(|e| cut(e, above, &[Noisy])), &["clipped"]);
        refused(cut(0.3, above, &Texture::ALL), &[]);
    }
}

#[test]
fn sines() {
    for frequency in [50.0, 400.0, 1e3, 5e3, 50e3] {
        for deviation in [0.0, 0.01] {
            let sine = |t: f64| 1.5 * (TAU * frequency * t + 0.4).sin();
            let points = 5000;
            let interval = 2.5 / frequency / points as f64;
            refused(
                [(
                    format!("sine of {frequency} Hz, 2.5 periods"),
                    noisy(sine, interval, points, deviation),
                    interval,
                )],
                &[],
            );
            refused(
                [(
                    format!("sine of {frequency} Hz, 25 periods"),
                    noisy(sine, 10.0 * interval, points, deviation),
                    10.0 * interval,
                )],
                &[],
            );
        }
    }
}

#[test]
fn triangles() {
    for frequency in [100.0, 1e3, 10e3] {
        for deviation in [0.0, 0.01] {
            let triangle = |t: f64| 4.0 * ((t * frequency).rem_euclid(1.0) - 0.5).abs() - 1.0;
            let interval = 3.3 / frequency / 4000.0;
            refused(
                [(
                    format!("triangle of {frequency} Hz"),
                    noisy(triangle, interval, 4000, deviation),
                    interval,
                )],
                &[],
            );
        }
    }
}

#[test]
fn nothing_but_noise() {
    for seed in 0..20 {
        let points = [100, 1000, 5000, 100_000][seed as usize % 4];
        refused([(format!("noise, seed {seed}"), noise(points, 0.1, seed), 1e-6)], &[]);
        let quantised = noise(points, 0.1, seed).into_iter().map(|v| (v / 0.04).round() * 0.04).collect();
        refused([(format!("noise in codes, seed {seed}"), quantised, 1e-6)], &[]);
        // Brown noise: the running sum.
        let walk = noise(points, 0.1, seed)
            .into_iter()
            .scan(0.0, |sum, z| {
                *sum += z;
                Some(*sum)
            })
            .collect();
        refused([(format!("random walk, seed {seed}"), walk, 1e-6)], &[]);
    }
}

#[test]
fn flat_lines() {
    refused(
        [("zero".to_owned(), vec![0.0; 5000], 1e-6), ("3.3 V".to_owned(), vec![3.3; 5000], 1e-6)],
        &["flat-line"],
    );
    let toggling = (0..5000).map(|k| if k % 37 == 0 { 0.02 } else { 0.0 }).collect();
    refused(
        [
            ("last bit toggles".to_owned(), toggling, 1e-6),
            ("noise on 5 V".to_owned(), noise(5000, 1e-3, 3).iter().map(|z| 5.0 + z).collect(), 1e-6),
        ],
        &[],
    );
}

#[test]
fn square_waves_too_fast_for_the_probe() {
    for frequency in [5e3, 10e3, 50e3] {
        for error in [-0.3, -0.08, 0.0, 0.08, 0.5] {
            let mut wave = Wave::plain(error);
            wave.frequency_hz = frequency;
            wave.interval_s = 2.5 / frequency / 5000.0;
            wave.shape = Shape::Linear(20e-9);
            wave.rise_s = 0.21 / frequency;
            refused([(format!("{frequency} Hz, e {error}"), wave.capture(), wave.interval_s)], &[]);
        }
    }
}

#[test]
fn too_few_points() {
    for points in [16, 20, 25] {
        for error in [-0.2, 0.0, 0.2] {
            let mut wave = Wave::plain(error);
            wave.points = points;
            wave.interval_s = 2.5e-3 / points as f64;
            refused([(format!("{points} points"), wave.capture(), wave.interval_s)], &[]);
        }
    }
}

#[test]
fn garbage() {
    let wave = Wave::plain(0.1);
    let good = wave.capture();
    let steps = |low: f64, high: f64| {
        (0..5000).map(|k| if (k / 1000) % 2 == 0 { low } else { high }).collect::<Vec<f64>>()
    };
    let list = vec![
        ("nothing", vec![]),
        ("one sample", vec![1.0]),
        ("three samples", vec![0.0, 1.0, 0.0]),
        ("15 samples", good[..15].to_vec()),
        ("all missing", vec![f64::NAN; 5000]),
        ("all infinite", vec![f64::INFINITY; 5000]),
        ("all minus infinite", vec![f64::NEG_INFINITY; 5000]),
        (
            "both infinities",
            (0..5000).map(|k| if (k / 500) % 2 == 0 { f64::INFINITY } else { f64::NEG_INFINITY }).collect(),
        ),
        (
            "ten numbers among missing",
            (0..5000).map(|k| if k % 500 == 0 { good[k] } else { f64::NAN }).collect(),
        ),
        ("offset that leaves two values", good.iter().map(|v| 1e16 + v).collect()),
        ("largest numbers", steps(-f64::MAX, f64::MAX)),
        ("only the first half of an edge", good[..400].to_vec()),
    ];
    refused(list.into_iter().map(|(what, samples)| (what.to_owned(), samples, wave.interval_s)), &[]);
}

/// Records with a few bad samples may be assessed or refused, but not wrongly judged; nothing may panic.
#[test]
fn damaged_records_are_never_judged_wrongly() {
    let mut faults = Vec::new();
    for error in [-0.2, -0.004, 0.0, 0.06] {
        let wave = Wave::plain(error);
        let good = wave.capture();
        let with = |change: &dyn Fn(usize, f64) -> f64| -> Vec<f64> {
            good.iter().enumerate().map(|(k, v)| change(k, *v)).collect()
        };
        let list: Vec<(&str, Vec<f64>)> = vec![
            ("one infinite sample", with(&|k, v| if k == 777 { f64::INFINITY } else { v })),
            ("many infinite samples", with(&|k, v| if k % 97 == 3 { f64::NEG_INFINITY } else { v })),
            ("one spike", with(&|k, v| if k == 1777 { 40.0 } else { v })),
            ("huge offset", with(&|_, v| v + 1e9)),
            ("tiny", with(&|_, v| 1e-200 * v)),
            ("huge", with(&|_, v| 1e200 * v)),
            ("a third missing", with(&|k, v| if k > 3000 && k < 4600 { f64::NAN } else { v })),
            ("start missing", with(&|k, v| if k < 900 { f64::NAN } else { v })),
        ];
        for (what, samples) in list {
            let a = assess(record(&samples, wave.interval_s), &wave.settings());
            if wrong(error, a.verdict) {
                faults.push(format!(
                    "{what}, e {error}: {:?} {:?}",
                    a.verdict,
                    a.compensation.map(|c| c.error)
                ));
            }
            let none_without_fault = a.compensation.is_none()
                && !a.findings.iter().any(|f| f.severity == Severity::Fault && !f.remedy.is_empty());
            if none_without_fault
                || a.compensation
                    .is_some_and(|c| !c.error.value.is_finite() || c.error.standard_uncertainty.is_nan())
            {
                faults.push(format!("{what}, e {error}: no number and no fault, or not a number"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn an_interval_that_is_no_time_does_not_panic() {
    let wave = Wave::plain(0.1);
    let good = wave.capture();
    for interval_s in [1e-30, 1e-12, 1.0, 1e30] {
        let a = assess(record(&good, interval_s), &wave.settings());
        assert!(a.compensation.is_none(), "{interval_s}: {:?}", a.compensation);
    }
}

/// A step of a few thousand of the numbers that double precision has near the offset.
#[test]
fn a_huge_offset_with_a_tiny_step_is_not_judged_wrongly() {
    let mut faults = Vec::new();
    for error in [-0.2, -0.004, 0.0, 0.06] {
        let wave = Wave::plain(error);
        let samples: Vec<f64> = wave.capture().iter().map(|v| 1e9 + 1e-4 * v).collect();
        let a = assess(record(&samples, wave.interval_s), &wave.settings());
        if wrong(error, a.verdict) {
            faults.push(format!("e {error}: {:?} {:?}", a.verdict, a.compensation.map(|c| c.error)));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Twenty-five steps of double precision on a large offset: a perfect probe stays perfect.
#[test]
fn twenty_five_codes_on_a_huge_offset() {
    let mut faults = Vec::new();
    for error in [-0.004, 0.0] {
        let wave = Wave::plain(error);
        for (offset, scale) in [(1e9, 1e-6), (0.0, 1.0)] {
            // The same numbers, with the offset and without it.
            let codes = wave.capture().into_iter().map(|v| (1e9 + 1e-6 * v) - 1e9);
            let samples: Vec<f64> = codes.map(|v| offset + v * scale / 1e-6).collect();
            let a = assess(record(&samples, wave.interval_s), &wave.settings());
            if wrong(error, a.verdict) {
                faults.push(format!(
                    "e {error}, offset {offset}: {:?} {:?}",
                    a.verdict,
                    a.compensation.map(|c| c.error)
                ));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// A perfect probe on a source that does not hold its level: droop must not be taken for compensation.
#[test]
fn a_tilted_source_is_never_called_miscompensated() {
    let mut faults = Vec::new();
    for frequency in [100.0, 200.0, 500.0, 1e3, 2e3] {
        // With 200 Hz behind 300 Hz: `square_open.rs`.
        let apart = |corner: &f64| !(frequency < 250.0 && frequency > 150.0 && *corner > 250.0);
        for corner in [0.1, 0.5, 1.0, 3.0, 10.0, 20.0, 50.0, 100.0, 200.0, 300.0].into_iter().filter(apart) {
            for (seed, noise_v) in [(1, 0.0), (2, 6e-3)] {
                for droop in
                    [Droop::Coupled(corner), Droop::Straight((TAU * corner * 0.5 / frequency).min(0.3))]
                {
                    let mut wave = Wave::plain(0.0);
                    wave.frequency_hz = frequency;
                    wave.interval_s = 2.5 / frequency / 5000.0;
                    wave.rise_s = 0.31 / frequency;
                    wave.shape = Shape::Linear(wave.interval_s.max(0.5e-6));
                    (wave.droop, wave.noise_v, wave.seed) = (droop, noise_v, seed);
                    let a = wave.assess();
                    if wrong(0.0, a.verdict) {
                        faults.push(format!(
                            "{frequency} Hz, {droop:?}, noise {noise_v}: {:?} {:?} {:?}",
                            a.verdict,
                            a.compensation.map(|c| (c.error, c.time_constant_s)),
                            a.findings.iter().map(|f| f.code).collect::<Vec<_>>()
                        ));
                    }
                }
            }
        }
    }
    assert!(faults.is_empty(), "{} of 196:\n{}", faults.len(), faults.join("\n"));
}
