//! Steps with closed forms: one pole, Gaussian; truth worked out by hand.

use super::*;
use crate::estimate::sine::SinePair;
use crate::samples::SampleView;
use flattop_close::{assert_close, relative, within};
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::TAU;

const SETTINGS: Settings = Settings { expanded_limit: 0.03, band_hz: None };

fn record(values: &[f64], interval_s: f64) -> Record<'_> {
    Record { samples: SampleView::volts(values), start_s: 0.0, interval_s }
}

/// Square wave of edges every `half` seconds, each rising edge seen as `step(t)` from 0 to 1.
fn square(n: usize, interval_s: f64, first_s: f64, half_s: f64, step: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..n)
        .map(|k| {
            let t = k as f64 * interval_s;
            let mut v = 0.0;
            let mut m = 0;
            while first_s + f64::from(m) * half_s < t + 40.0 * interval_s + 0.2 * half_s
                && f64::from(m) * half_s < n as f64 * interval_s
            {
                let sign = if m % 2 == 0 { 1.0 } else { -1.0 };
                v += sign * step(t - first_s - f64::from(m) * half_s);
                m += 1;
            }
            v
        })
        .collect()
}

/// Step of a Gaussian source of standard deviation σ through one pole τ: ½[1 + erf(t/σ√2)] less its tail (convolution by hand).
fn gaussian_pole(t: f64, sigma: f64, tau: f64) -> f64 {
    let phi = |x: f64| 0.5 * libm::erfc(-x / 2f64.sqrt());
    phi(t / sigma) - (sigma * sigma / (2.0 * tau * tau) - t / tau).exp() * phi(t / sigma - sigma / tau)
}

fn gaussian(t: f64, sigma: f64) -> f64 {
    0.5 * libm::erfc(-t / sigma / 2f64.sqrt())
}

fn noisy(values: &mut [f64], sigma: f64, rng: &mut Xoshiro256PlusPlus) {
    let normal = Normal::new(0.0, sigma).unwrap();
    values.iter_mut().for_each(|v| *v += normal.sample(rng));
}

fn pole_gain(f: f64, tau: f64) -> f64 {
    1.0 / (1.0 + (TAU * f * tau).powi(2)).sqrt()
}

#[test]
fn a_reference_column_gives_one_pole_back_without_noise() {
    let (dt, sigma, tau) = (1e-10, 0.6e-9, 2e-9);
    let x = square(20_000, dt, 0.41e-6, 0.5e-6, |t| gaussian(t, sigma));
    let y = square(20_000, dt, 0.41e-6, 0.5e-6, |t| 0.8 * gaussian_pole(t - 3.3e-9, sigma, tau));
    let out = of_edges(record(&y, dt), Source::Column(record(&x, dt)), &SETTINGS);
    assert!(out.findings.is_empty(), "{:?}", out.findings);
    let (low, high) = out.range_hz().unwrap();
    assert!(low < 5e6 && high > 400e6, "{low} {high}");
    for p in out.points.iter().filter(|p| p.frequency_hz < 400e6) {
        assert_close!(p.gain.value, pole_gain(p.frequency_hz, tau), relative(2e-3));
        let phase = p.phase_rad.value - TAU * p.frequency_hz * out.delay_s.unwrap().value;
        let truth = -(TAU * p.frequency_hz * tau).atan() - TAU * p.frequency_hz * 3.3e-9;
        assert_close!(phase, truth, within(4e-3));
    }
    assert_close!(out.low_frequency_gain.unwrap().value, 0.8, relative(1e-6));
    let Some(Bandwidth::At(bandwidth)) = out.bandwidth else { panic!("{:?}", out.bandwidth) };
    assert_close!(bandwidth.value, 1.0 / (TAU * tau), relative(1e-3));
}

#[test]
fn a_stated_source_is_divided_out() {
    let (dt, sigma, tau) = (1e-10, 0.6e-9, 2e-9);
    let y = square(10_000, dt, 0.41e-6, 5e-6, |t| gaussian_pole(t, sigma, tau));
    let transition_s = Estimate { value: 2.5631 * sigma, standard_uncertainty: 0.02e-9 };
    let out = of_edges(record(&y, dt), Source::Gaussian { transition_s }, &SETTINGS);
    for p in out.points.iter().filter(|p| p.frequency_hz < 300e6) {
        assert_close!(p.gain.value, pole_gain(p.frequency_hz, tau), relative(3e-3));
    }
    let Some(Bandwidth::At(bandwidth)) = out.bandwidth else { panic!("{:?}", out.bandwidth) };
    assert_close!(bandwidth.value, 1.0 / (TAU * tau), relative(2e-3));
    assert!(bandwidth.standard_uncertainty > 0.0);
    assert!(out.delay_s.is_none());
    // The same without a word about the source is slower, and says so.
    let alone = of_edges(record(&y, dt), Source::Ideal, &SETTINGS);
    let Some(Bandwidth::At(lower)) = alone.bandwidth else { panic!("{:?}", alone.bandwidth) };
    assert!(lower.value < bandwidth.value);
    assert!(alone.findings.iter().any(|f| f.code == "source-assumed-ideal"));
}

#[test]
fn the_band_holds_the_truth_in_95_of_100() {
    let (dt, sigma, tau) = (1e-9, 4e-9, 16e-9);
    let x = square(6_000, dt, 0.7e-6, 1e-6, |t| gaussian(t, sigma));
    let y = square(6_000, dt, 0.7e-6, 1e-6, |t| gaussian_pole(t - 5e-9, sigma, tau));
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(20_261_125);
    let (mut inside, mut all, mut phases, mut widths, mut trials) = (0, 0, 0, 0, 0);
    for _ in 0..150 {
        let (mut a, mut b) = (x.clone(), y.clone());
        noisy(&mut a, 1e-3, &mut rng);
        noisy(&mut b, 2e-3, &mut rng);
        let out = of_edges(record(&b, dt), Source::Column(record(&a, dt)), &SETTINGS);
        for p in out.points.iter().step_by(5) {
            all += 1;
            let off = p.gain.value - pole_gain(p.frequency_hz, tau);
            inside += usize::from(off.abs() <= COVERAGE_FACTOR * p.gain.standard_uncertainty);
            let phase = p.phase_rad.value - TAU * p.frequency_hz * out.delay_s.unwrap().value;
            let truth = -(TAU * p.frequency_hz * tau).atan() - TAU * p.frequency_hz * 5e-9;
            phases +=
                usize::from((phase - truth).abs() <= COVERAGE_FACTOR * p.phase_rad.standard_uncertainty);
        }
        if let Some(Bandwidth::At(b)) = out.bandwidth {
            trials += 1;
            widths +=
                usize::from((b.value - 1.0 / (TAU * tau)).abs() <= COVERAGE_FACTOR * b.standard_uncertainty);
        }
    }
    let share = |n: usize, of: usize| n as f64 / of as f64;
    let text = format!(
        "gain {:.4} of {all}, phase {:.4}, bandwidth {:.4} of {trials}",
        share(inside, all),
        share(phases, all),
        share(widths, trials)
    );
    assert!(all > 1500 && trials > 140, "{text}");
    assert!((0.94..=0.96).contains(&share(inside, all)), "{text}");
    assert!((0.94..=0.96).contains(&share(phases, all)), "{text}");
    assert!(share(widths, trials) > 0.92, "{text}");
}

#[test]
fn sines_give_gain_and_phase() {
    let tau = 1e-7;
    let columns: Vec<(Vec<f64>, Vec<f64>, f64)> = [1e4, 3e4, 1e5, 3e5, 6e5, 1e6, 1.5e6, 2e6, 3e6]
        .iter()
        .map(|f| {
            let dt = 1.0 / f / 50.3;
            let t = (0..500).map(|k| k as f64 * dt);
            let x = t.clone().map(|t| (TAU * f * t).sin()).collect();
            let phase = -(TAU * f * tau).atan();
            let y = t.map(|t| 0.1 * pole_gain(*f, tau) * (TAU * f * t + phase).sin()).collect();
            (x, y, dt)
        })
        .collect();
    let pairs: Vec<SinePair<'_>> = columns
        .iter()
        .map(|(x, y, dt)| SinePair { probe: record(y, *dt), reference: record(x, *dt) })
        .collect();
    let out = of_sines(&pairs, &Settings { band_hz: Some((1e4, 1e5)), ..SETTINGS });
    assert_eq!((out.points.len(), out.end), (9, End::Sweep));
    let first = pole_gain(1e4, tau);
    for p in &out.points {
        assert_close!(p.gain.value, pole_gain(p.frequency_hz, tau) / first, relative(1e-6));
    }
    let Some(Bandwidth::At(bandwidth)) = out.bandwidth else { panic!() };
    assert_close!(bandwidth.value, 1.0 / (TAU * tau), within(2.0 * bandwidth.standard_uncertainty));
    let flat = out.flatness.unwrap();
    assert_close!(flat.deviation.value, pole_gain(1e5, tau) / first - 1.0, relative(1e-4));
    assert_close!(flat.frequency_hz, 1e5, relative(1e-9));
}

/// A source that rests at 0 and at 1 exactly is no converter of one bit.
#[test]
fn levels_without_noise_are_no_steps_of_a_converter() {
    let (dt, tau) = (1e-10, 2e-9);
    let x = square(8_000, dt, 0.41e-6, 5e-6, |t| (t / 1e-9).clamp(0.0, 1.0));
    let integral = |t: f64| if t > 0.0 { t - tau * (1.0 - (-t / tau).exp()) } else { 0.0 };
    let y = square(8_000, dt, 0.41e-6, 5e-6, |t| (integral(t) - integral(t - 1e-9)) / 1e-9);
    let out = of_edges(record(&y, dt), Source::Column(record(&x, dt)), &SETTINGS);
    assert!(out.range_hz().unwrap().1 > 400e6, "{:?}", out.range_hz());
    let Some(Bandwidth::At(bandwidth)) = out.bandwidth else { panic!("{:?}", out.bandwidth) };
    assert_close!(bandwidth.value, 1.0 / (TAU * tau), relative(1e-3));
}

#[test]
fn what_holds_no_step_is_refused() {
    for values in [vec![1.0; 500], (0..20).map(f64::from).collect(), vec![f64::NAN; 100], Vec::new()] {
        let out = of_edges(record(&values, 1e-9), Source::Ideal, &SETTINGS);
        assert!(out.points.is_empty() && out.bandwidth.is_none());
        assert!(
            out.findings.iter().any(|f| f.severity == crate::finding::Severity::Fault),
            "{:?}",
            out.findings
        );
    }
}
