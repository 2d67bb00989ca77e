//! Sine fits against published bounds and data; the sine method against synthetic captures of a known divider.

use super::*;
use crate::assessment::Verdict;
use crate::divider::{Divider, Shelf};
use crate::samples::{Record, SampleView};
use flattop_close::{assert_close, relative, within};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::TAU;

fn jacquelin() -> Vec<(f64, f64)> {
    include_str!("../../../../../reference/published/jacquelin_sine_fig1.csv")
        .lines()
        .skip(1)
        .filter_map(|line| line.split_once(','))
        .map(|(x, y)| (x.parse().expect("a number"), y.parse().expect("a number")))
        .collect()
}

#[test]
fn four_parameter_fit_of_published_data() {
    // J. Jacquelin 2014, fig. 1; least-squares values worked out with SciPy from the data as printed.
    let fit = fit_points(&jacquelin()).expect("a sine");
    let (c, b) = fit.coefficients_at(0.0);
    let got = [fit.angular_frequency, fit.offset, b.value, c.value];
    assert_close!(got, [1.981_325_65, -0.390_655_50, 1.289_417_89, -0.571_746_47], within(1e-7));
    let u = [
        fit.covariance[3][3].sqrt(),
        fit.offset().standard_uncertainty,
        b.standard_uncertainty,
        c.standard_uncertainty,
    ];
    assert_close!(u, [0.0414, 0.0516, 0.0640, 0.0725], within(0.51e-4));
    assert_close!(fit.residual_rms(), 0.146_098_09, within(1e-7));
}

#[test]
fn starts_inside_the_basin_succeed_and_outside_it_are_named_false() {
    let points = jacquelin();
    for start in [1.1, 1.5, 2.0, 3.0, 3.9] {
        let fit = fit_points_from(&points, start).unwrap_or_else(|e| panic!("start {start}: {e}"));
        assert_close!(fit.angular_frequency, 1.981_325_65, within(1e-7));
    }
    for start in [1.0, 4.0] {
        match fit_points_from(&points, start) {
            Err(SineError::FalseMinimum { frequency_hz, residual_rms, better_rms, .. }) => {
                assert_close!(frequency_hz * TAU, 4.358_679, within(1e-5));
                assert_close!(residual_rms, 0.900_542, within(1e-5));
                assert!(better_rms < 0.3);
            }
            Err(SineError::NotConverged { .. }) => {}
            other => panic!("start {start} gave {other:?}"),
        }
    }
    assert!(matches!(fit_points_from(&points, -1.0), Err(SineError::Start { .. })));
}

#[test]
fn the_two_other_published_starts_sets_are_found_without_a_start() {
    // 100 points of 0.25 + 0.48 cos − 1.5 sin at 2 Hz, and dc 1.25, I 4, Q 0 at 3 Hz, over one second.
    for (hertz, offset, i, q) in [(2.0, 0.25, 0.48, -1.5), (3.0, 1.25, 4.0, 0.0)] {
        let points: Vec<(f64, f64)> = (0..100)
            .map(|k| f64::from(k) / 99.0)
            .map(|t| (t, offset + i * (TAU * hertz * t).cos() + q * (TAU * hertz * t).sin()))
            .collect();
        let fit = fit_points(&points).expect("a clean sine");
        let (c, s) = fit.coefficients_at(0.0);
        assert_close!(
            [fit.frequency_hz().value, fit.offset, c.value, s.value],
            [hertz, offset, i, q],
            within(1e-9)
        );
    }
}

#[test]
fn scatter_reaches_the_cramer_rao_bound() {
    // Asymptotic bounds of a real tone and the inverse Fisher matrix (crlb_real_sine.csv): N = 1000, ω = 0.7, A = 1,
    // σ = 0.01. 1500 runs: the relative standard deviation of a standard deviation is 1/√3000, 1.8 %.
    let (count, omega, sigma, runs) = (1000, 0.7, 0.01, 1500);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(20_260_105);
    let mut squares = [0.0; 4];
    let mut claimed = [0.0; 4];
    for _ in 0..runs {
        let phase: f64 = rng.random::<f64>() * TAU;
        let points: Vec<(f64, f64)> = (0..count)
            .map(|n| {
                let noise: f64 = rng.sample(StandardNormal);
                (f64::from(n), 0.3 + (omega * f64::from(n) + phase).cos() + sigma * noise)
            })
            .collect();
        let fit = fit::four_parameter(points.into_iter(), omega, 499.5).expect("a sine");
        let (a, p) = (fit.amplitude(), fit.phase_at(0.0));
        let errors =
            [a.value - 1.0, fit.angular_frequency - omega, fit::wrap(p.value - phase), fit.offset - 0.3];
        let u = [
            a.standard_uncertainty,
            fit.covariance[3][3].sqrt(),
            p.standard_uncertainty,
            fit.offset().standard_uncertainty,
        ];
        for k in 0..4 {
            squares[k] += errors[k] * errors[k] / f64::from(runs);
            claimed[k] += u[k] / f64::from(runs);
        }
    }
    let bound = [4.473_621_94e-4, 1.547_674_57e-6, 8.935_743_36e-4, 3.162_303_07e-4];
    assert_close!(squares.map(f64::sqrt), bound, relative(0.06));
    assert_close!(claimed, bound, relative(0.01));
}

#[test]
fn long_records_are_fitted_slow_and_fast() {
    for (count, per_sample) in [
        (200_000, 3e-6),
        (200_000, 1.5e-5),
        (200_000, 3e-4),
        (200_000, 0.0171),
        (300_000, 0.31),
        (50_000, 0.47),
    ] {
        let samples: Vec<f64> =
            (0..count).map(|k| 0.1 + 2.0 * (TAU * per_sample * f64::from(k) + 0.4).cos()).collect();
        let record = Record { samples: SampleView::volts(&samples), start_s: 1e-3, interval_s: 1e-6 };
        let fit = fit_record(&record).unwrap_or_else(|e| panic!("{per_sample}: {e}"));
        assert_close!(fit.frequency_hz().value, per_sample * 1e6, relative(1e-9));
        assert_close!([fit.amplitude().value, fit.offset], [2.0, 0.1], within(1e-8));
        assert_close!(fit.phase_at(1e-3).value, 0.4, within(1e-7));
    }
}

#[test]
fn nothing_to_see_is_an_error() {
    let flat = vec![1.0; 500];
    let record = Record { samples: SampleView::volts(&flat), start_s: 0.0, interval_s: 1.0 };
    assert!(fit_record(&record).is_err());
    assert!(fit_points(&[(0.0, 1.0), (1.0, 2.0)]).is_err());
    let gaps = vec![f64::NAN; 5000];
    let record = Record { samples: SampleView::volts(&gaps), start_s: 0.0, interval_s: 1.0 };
    assert!(fit_record(&record).is_err());
}

const DIVIDER: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

/// Probe and reference columns of one frequency, as an 8-bit converter with `noise` steps of noise gives them.
fn columns(
    shelf: Shelf,
    hertz: f64,
    noise: f64,
    periods: f64,
    rng: &mut Xoshiro256PlusPlus,
) -> (Vec<f64>, Vec<f64>, f64) {
    let count = 2000;
    let interval_s = periods / hertz / f64::from(count);
    let delay_s = 3e-9;
    let start = rng.random::<f64>() * TAU;
    let full_scale = 1.2;
    let step = 2.0 * full_scale / 256.0;
    let mut digitise = |v: f64| {
        let dither: f64 = rng.sample(StandardNormal);
        ((v / step + noise * dither).round().clamp(-128.0, 127.0)) * step
    };
    let gain = 0.985 * (1.0 + shelf.amplitude_error(hertz));
    let lead = shelf.phase_error_rad(hertz) - TAU * hertz * delay_s;
    let phase = |k: i32| start + TAU * hertz * interval_s * f64::from(k);
    let reference = (0..count).map(|k| digitise(phase(k).cos())).collect();
    let probe = (0..count).map(|k| digitise(gain * (phase(k) + lead).cos())).collect();
    (probe, reference, interval_s)
}

fn assess_sines(
    shelf: Shelf,
    frequencies: &[f64],
    noise: f64,
    periods: f64,
    rng: &mut Xoshiro256PlusPlus,
) -> crate::assessment::Assessment {
    let captures: Vec<_> = frequencies.iter().map(|&f| columns(shelf, f, noise, periods, rng)).collect();
    let record =
        |samples, interval_s| Record { samples: SampleView::volts(samples), start_s: 0.0, interval_s };
    let pairs: Vec<SinePair<'_>> = captures
        .iter()
        .map(|(p, r, dt)| SinePair { probe: record(p, *dt), reference: record(r, *dt) })
        .collect();
    assess(&pairs, &Settings { divider: DIVIDER, resistor_uncertainty: 0.001, tolerance: 0.01 })
}

/// 300 trials at 95 %: the number inside is binomial with standard deviation 3.8; tests allow three of those.
/// Trials of 300 with e and τp inside their 95 % intervals.
fn coverage(noise: f64, periods: f64, seed: u64) -> (usize, usize) {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let (mut inside_error, mut inside_tau) = (0, 0);
    for trial in 0..300 {
        let shelf = Shelf {
            error: if trial % 2 == 0 { -0.12 } else { 0.12 } * (0.2 + 0.8 * rng.random::<f64>()),
            time_constant_s: 9e5 * 1e-12 * (60.0 + 120.0 * rng.random::<f64>()),
        };
        let assessment = assess_sines(shelf, &[50.0, 1e3, 3e3, 100e3], noise, periods, &mut rng);
        let found = assessment.compensation.unwrap_or_else(|| panic!("{:?}", assessment.findings));
        let within_95 = |e: crate::assessment::Estimate, truth: f64| {
            (e.value - truth).abs() <= 1.96 * e.standard_uncertainty
        };
        inside_error += usize::from(within_95(found.error, shelf.error));
        inside_tau += usize::from(within_95(found.time_constant_s, shelf.time_constant_s));
    }
    (inside_error, inside_tau)
}

#[test]
fn intervals_cover_the_truth() {
    let (error, tau) = coverage(0.6, 7.3, 7);
    assert!((274..=296).contains(&error), "e: {error} of 300");
    assert!((274..=296).contains(&tau), "τp: {tau} of 300");
}

#[test]
fn intervals_cover_the_truth_without_noise_and_in_step_with_the_sampling() {
    // Here the converter's own error is all there is; it does not average out, so the claim may be too large, not small.
    for (noise, periods) in [(0.0, 7.3), (0.0, 8.0), (0.15, 20.0)] {
        let (error, tau) = coverage(noise, periods, 11);
        assert!(error >= 274, "e: {error} of 300 with noise {noise} and {periods} periods");
        assert!(tau >= 274, "τp: {tau} of 300 with noise {noise} and {periods} periods");
    }
}

#[test]
fn two_frequencies_give_a_verdict() {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(8);
    let under = Shelf { error: -0.09, time_constant_s: 1e-4 };
    let assessment = assess_sines(under, &[100.0, 100e3], 0.5, 7.3, &mut rng);
    assert_eq!(assessment.verdict, Verdict::Undercompensated);
    assert_eq!(assessment.measured_response.len(), 2);
    let good = Shelf { error: 0.0005, time_constant_s: 1e-4 };
    let assessment = assess_sines(good, &[100.0, 100e3], 0.5, 7.3, &mut rng);
    assert_eq!(assessment.verdict, Verdict::WithinTolerance, "{assessment:?}");
    assert!(assessment.findings.iter().any(|f| f.code == "time-constant-assumed"));
}

#[test]
fn frequencies_on_one_side_of_the_pole_are_undetermined() {
    let shelf = Shelf { error: -0.09, time_constant_s: 1e-4 };
    for (frequencies, code) in [
        (&[20e3, 100e3, 1e6][..], "frequencies-above-pole"),
        (&[20.0, 50.0, 100.0][..], "frequencies-below-pole"),
        (&[1e3][..], "one-frequency"),
        (&[][..], "one-frequency"),
    ] {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(9);
        let assessment = assess_sines(shelf, frequencies, 0.5, 7.3, &mut rng);
        assert_eq!(assessment.verdict, Verdict::Undetermined);
        assert!(assessment.compensation.is_none());
        assert!(
            assessment.findings.iter().any(|f| f.code == code),
            "{frequencies:?}: {:?}",
            assessment.findings
        );
    }
}

#[test]
fn columns_without_a_sine_or_of_unequal_length_are_faults() {
    let sine: Vec<f64> = (0..500).map(|k| (0.1 * f64::from(k)).cos()).collect();
    let flat = vec![0.25; 500];
    let view = |samples| Record { samples: SampleView::volts(samples), start_s: 0.0, interval_s: 1e-6 };
    let settings = Settings { divider: DIVIDER, resistor_uncertainty: 0.0, tolerance: 0.01 };
    for (probe, code) in [(&flat[..], "no-sine"), (&sine[..400], "columns-differ")] {
        let pair = SinePair { probe: view(probe), reference: view(&sine) };
        let assessment = assess(&[pair, pair], &settings);
        assert_eq!(assessment.verdict, Verdict::Undetermined);
        assert!(assessment.findings.iter().any(|f| f.code == code), "{:?}", assessment.findings);
    }
}
