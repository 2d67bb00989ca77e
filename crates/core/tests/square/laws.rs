//! What must not change the answer, or only in a known direction.

use crate::wave::{Droop, Shape, Wave, record};
use flattop_close::{assert_close, within};
use flattop_core::assessment::{Assessment, Compensation};
use flattop_core::divider::Divider;
use flattop_core::estimate::square::{Scan, assess, assess_scanned};
use flattop_core::samples::{Raw, Record, SampleView};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

prop_compose! {
    fn waves()(
        error in prop_oneof![-0.15..0.15, -0.6..1.15],
        tau in 0.7..1.4,
        rise in 0.05..0.45,
        duty in 0.35..0.65,
        noise_v in prop_oneof![Just(0.0), 1e-3..0.03],
        bits in any::<bool>(),
        tilt in prop_oneof![Just(0.0), 0.005..0.03],
        seed in any::<u64>(),
    ) -> Wave {
        let mut wave = Wave::plain(error);
        wave.tau_s *= tau;
        wave.rise_s = rise / wave.frequency_hz;
        (wave.duty, wave.noise_v, wave.seed) = (duty, noise_v, seed);
        // A straight sag without noise is no exponential to the last digit: `square_open.rs`.
        if tilt > 0.0 && noise_v > 0.0 {
            wave.droop = Droop::Straight(tilt);
        }
        if bits { wave.eight_bits(0.8) } else { wave }
    }
}

fn e(a: &Assessment) -> (f64, f64) {
    a.compensation.map_or((f64::NAN, f64::NAN), |c| (c.error.value, c.error.standard_uncertainty))
}

/// Both estimate, and their e, u and τ agree within a share of the uncertainties; or both decline.
fn agree(a: &Assessment, b: &Assessment, share: f64, floor: f64, what: &str) -> Result<(), TestCaseError> {
    let figures = |c: Compensation| {
        [
            (c.error.value, c.error.standard_uncertainty),
            (c.time_constant_s.value.ln(), c.time_constant_s.standard_uncertainty / c.time_constant_s.value),
        ]
    };
    match (a.compensation.map(figures), b.compensation.map(figures)) {
        (Some(a), Some(b)) => {
            for ((x, u), (y, v)) in a.into_iter().zip(b) {
                prop_assert!((x - y).abs() <= share * u.max(v) + floor, "{what}: {x} ± {u} and {y} ± {v}");
                prop_assert!(u < 3.0 * v + floor && v < 3.0 * u + floor, "{what}: {x} ± {u} and {y} ± {v}");
            }
            Ok(())
        }
        (None, None) => Ok(()),
        _ => Err(TestCaseError::fail(format!("{what}: {:?} and {:?}", e(a), e(b)))),
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 32,
        failure_persistence: None,
        // Some laws are statistical: the same cases every time.
        rng_seed: RngSeed::Fixed(20_261_125),
        ..ProptestConfig::default()
    })]

    #[test]
    fn prop_the_start_time_does_not_matter(wave in waves(), start_s in -1.0..1e4) {
        let samples = wave.capture();
        let here = assess(record(&samples, wave.interval_s), &wave.settings());
        let there = assess(Record { start_s, ..record(&samples, wave.interval_s) }, &wave.settings());
        prop_assert_eq!(here.verdict, there.verdict);
        prop_assert_eq!(here.compensation, there.compensation);
        prop_assert_eq!(here.findings, there.findings);
    }

    /// The same wave seen some whole samples later: what was lost at one end was one part in twenty at most.
    #[test]
    fn prop_a_later_start_changes_little(mut wave in waves(), shift in 1usize..250) {
        // A droop that is found in one stretch and not in the other: `square_open.rs`.
        wave.droop = Droop::None;
        let samples = wave.capture();
        let whole = assess(record(&samples, wave.interval_s), &wave.settings());
        let later = assess(record(&samples[shift..], wave.interval_s), &wave.settings());
        agree(&whole, &later, 1.0, 5e-5, "shifted")?;
    }

    #[test]
    fn prop_polarity_does_not_matter(wave in waves()) {
        let samples = wave.capture();
        let negated: Vec<f64> = samples.iter().map(|v| -v).collect();
        let a = assess(record(&samples, wave.interval_s), &wave.settings());
        let b = assess(record(&negated, wave.interval_s), &wave.settings());
        agree(&a, &b, 0.02, 1e-6, "negated")?;
    }

    #[test]
    fn prop_scale_and_offset_do_not_matter(wave in waves(), scale in 1e-3..1e3, offset in -10.0..10.0) {
        let samples = wave.capture();
        let scaled: Vec<f64> = samples.iter().map(|v| scale * (v + offset)).collect();
        let a = assess(record(&samples, wave.interval_s), &wave.settings());
        let b = assess(record(&scaled, wave.interval_s), &wave.settings());
        agree(&a, &b, 0.02, 1e-6, "scaled")?;
    }

    /// Time stretched by k with resistors k times as large: the expected time constant is stretched along. What stays in
    /// seconds (how long an edge may last, how long ringing) decides only how much is left out after an edge.
    #[test]
    fn prop_stretched_time_changes_little(mut wave in waves(), k in 0.5..2.0) {
        // What is left out after an edge decides whether a hidden droop is found: `square_open.rs`.
        wave.droop = Droop::None;
        let samples = wave.capture();
        let a = assess(record(&samples, wave.interval_s), &wave.settings());
        let mut settings = wave.settings();
        settings.divider = Divider {
            tip_resistance_ohm: k * wave.divider.tip_resistance_ohm,
            shunt_resistance_ohm: k * wave.divider.shunt_resistance_ohm,
        };
        let mut b = assess(record(&samples, k * wave.interval_s), &settings);
        if let Some(c) = &mut b.compensation {
            c.time_constant_s.value /= k;
            c.time_constant_s.standard_uncertainty /= k;
        }
        agree(&a, &b, 1.0, 5e-5, "stretched")?;
    }

    /// More periods of the same wave (with noise of their own: noise that repeats would be a signal).
    #[test]
    fn prop_more_periods_only_narrow(mut wave in waves(), times in 2usize..4) {
        // Whether a hidden droop is found depends on how much of it there is: `square_open.rs`.
        wave.droop = Droop::None;
        wave.tau_s = wave.tau_s.min(9e-5);
        wave.points = 4000; // two periods
        let a = wave.assess();
        wave.points *= times;
        let b = wave.assess();
        let ((x, u), (y, v)) = (e(&a), e(&b));
        if a.compensation.is_some() {
            // Beside what the model is known to leave out, 4e-5, and a doubt about slow tails that chance raises now and
            // then.
            prop_assert!(v <= 1.1 * u + 5e-4, "u grew from {} to {}, e {} and {}", u, v, x, y);
            prop_assert!((x - y).abs() <= 2.5 * u + 5e-5, "{} ± {} and {} ± {}", x, u, y, v);
        }
    }

    #[test]
    fn prop_missing_samples_change_little(mut wave in waves(), seed in any::<u64>()) {
        wave.droop = Droop::None;
        let samples = wave.capture();
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let holes: Vec<f64> = samples.iter().map(|&v| if rng.random_bool(0.01) { f64::NAN } else { v }).collect();
        let a = assess(record(&samples, wave.interval_s), &wave.settings());
        let b = assess(record(&holes, wave.interval_s), &wave.settings());
        let ((x, u), (y, v)) = (e(&a), e(&b));
        prop_assert_eq!(a.compensation.is_some(), b.compensation.is_some());
        if a.compensation.is_some() {
            // A sample missing within an edge costs some hundredths of an interval in its place.
            prop_assert!((x - y).abs() <= u.max(v) + 5e-4 * x.abs(), "{} ± {} and {} ± {}", x, u, y, v);
        }
    }

    #[test]
    fn prop_single_precision_is_enough(mut wave in waves()) {
        // Codes without dither: `square_open.rs`.
        if wave.quantum_v > 0.0 {
            wave.noise_v = wave.noise_v.max(0.3 * wave.quantum_v);
        }
        let samples = wave.capture();
        let single: Vec<f32> = samples.iter().map(|&v| v as f32).collect();
        let view = SampleView { raw: Raw::F32(&single), scale: 1.0, offset: 0.0 };
        let a = assess(record(&samples, wave.interval_s), &wave.settings());
        let b = assess(Record { samples: view, start_s: 0.0, interval_s: wave.interval_s }, &wave.settings());
        let ((x, u), (y, v)) = (e(&a), e(&b));
        prop_assert_eq!(a.compensation.is_some(), b.compensation.is_some());
        if a.compensation.is_some() {
            prop_assert!((x - y).abs() <= 1e-5 && (u - v).abs() <= 0.02 * u + 1e-5, "{} ± {} and {} ± {}", x, u, y, v);
        }
    }

    /// Codes with scale and offset are the same numbers as volts, but for the order in which they are added up.
    #[test]
    fn prop_codes_are_volts(wave in waves(), scale in 2e-4..1e-3, offset in -2.0..2.0) {
        let codes: Vec<i16> = wave.capture().iter().map(|v: &f64| f64::round((v - 1.5) / scale) as i16).collect();
        let volts: Vec<f64> = codes.iter().map(|&c| offset + scale * f64::from(c)).collect();
        let view = SampleView { raw: Raw::I16(&codes), scale, offset };
        let a = assess(record(&volts, wave.interval_s), &wave.settings());
        let b = assess(Record { samples: view, start_s: 0.0, interval_s: wave.interval_s }, &wave.settings());
        prop_assert_eq!(a.verdict, b.verdict);
        agree(&a, &b, 1e-6, 1e-9, "codes")?;
        let codes = |a: &Assessment| a.findings.iter().map(|f| f.code).collect::<Vec<_>>();
        prop_assert_eq!(codes(&a), codes(&b));
    }

    #[test]
    fn prop_scanning_in_stretches_is_the_same(wave in waves(), cuts in prop::collection::vec(0.0..1.0, 1..5)) {
        let samples = wave.capture();
        in_stretches(&wave, &samples, &cuts)?;
    }
}

fn in_stretches(wave: &Wave, samples: &[f64], cuts: &[f64]) -> Result<(), TestCaseError> {
    let block = Scan::block_for(samples.len());
    let mut places: Vec<usize> =
        cuts.iter().map(|c| (c * samples.len() as f64) as usize / block * block).collect();
    places.sort_unstable();
    places.push(samples.len());
    let mut scan = Scan::of(SampleView::volts(&samples[..places[0]]), block);
    for pair in places.windows(2) {
        scan.append(Scan::of(SampleView::volts(&samples[pair[0]..pair[1]]), block));
    }
    let whole = assess(record(samples, wave.interval_s), &wave.settings());
    let parts = assess_scanned(record(samples, wave.interval_s), &scan, &wave.settings());
    prop_assert_eq!(whole.verdict, parts.verdict);
    prop_assert_eq!(whole.compensation, parts.compensation);
    prop_assert_eq!(whole.square_wave, parts.square_wave);
    prop_assert_eq!(whole.findings, parts.findings);
    prop_assert_eq!(whole.trace.mean, parts.trace.mean);
    prop_assert_eq!(whole.trace.highest, parts.trace.highest);
    Ok(())
}

#[test]
fn a_long_record_scanned_in_stretches_is_the_same() -> Result<(), TestCaseError> {
    let mut wave = Wave::plain(-0.07);
    (wave.points, wave.interval_s) = (200_003, 20e-9);
    in_stretches(&wave, &wave.capture(), &[0.1, 0.1, 0.33, 0.87])
}

/// A shelf of twice the frequency content: the same samples told to be at half the interval with resistors half as large.
#[test]
fn halved_time_is_the_same_where_nothing_is_in_seconds() {
    let mut wave = Wave::plain(0.05);
    (wave.shape, wave.noise_v) = (Shape::Linear(1.1e-6), 0.01);
    let samples = wave.capture();
    let a = assess(record(&samples, wave.interval_s), &wave.settings());
    let mut settings = wave.settings();
    settings.divider = Divider { tip_resistance_ohm: 4.5e6, shunt_resistance_ohm: 0.5e6 };
    let b = assess(record(&samples, 0.5 * wave.interval_s), &settings);
    assert_close!(e(&b).0, e(&a).0, within(2e-5));
}

/// The same capture begun fifteen samples later.
#[test]
fn a_later_start_with_droop_changes_little() {
    let mut faults = Vec::new();
    for seed in 0..60 {
        let mut wave = Wave::plain(0.087_541);
        (wave.tau_s, wave.rise_s, wave.droop) = (8.5408e-5, 3.211e-4, Droop::Straight(0.012_73));
        (wave.noise_v, wave.seed) = (0.0205, seed);
        let samples = wave.capture();
        let e = |from: usize| {
            let a = assess(record(&samples[from..], wave.interval_s), &wave.settings());
            a.compensation.map_or((f64::NAN, f64::NAN), |c| (c.error.value, c.error.standard_uncertainty))
        };
        let (a, b) = (e(0), e(15));
        if !((a.0 - b.0).abs() <= a.1.max(b.1)) {
            faults.push(format!("seed {seed}: {:.5} ± {:.5} and {:.5} ± {:.5}", a.0, a.1, b.0, b.1));
        }
    }
    assert!(faults.is_empty(), "{} of 60:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn the_stated_scatter_is_that_of_repeated_captures() {
    // The same set-up again and again, with other noise: what differs between the answers is the scatter, what they have in
    // common is not.
    for base in [Wave::plain(-0.05), Wave { frequency_hz: 1_700.0, ..Wave::plain(0.03) }] {
        let answers: Vec<(f64, f64, f64)> = (0..160)
            .map(|seed| {
                let assessment = Wave { seed: 9_000 + seed, ..base.clone() }.assess();
                let error = assessment.compensation.unwrap().error;
                (error.value, assessment.scatter.unwrap(), error.standard_uncertainty)
            })
            .collect();
        let count = answers.len() as f64;
        let mean = answers.iter().map(|a| a.0).sum::<f64>() / count;
        let seen = (answers.iter().map(|a| (a.0 - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
        let stated = answers.iter().map(|a| a.1).sum::<f64>() / count;
        // The standard deviation of 160 figures is known to 6 %.
        assert!((0.8..1.2).contains(&(seen / stated)), "{seen} {stated} {:?}", answers[0]);
        assert!(answers.iter().all(|a| a.1 <= a.2 * (1.0 + 1e-9)));
    }
}
