//! Gain and phase of the probe's column against the reference column at the harmonics of the source: no model in it.

use crate::assessment::{Estimate, MeasuredPoint};
use crate::samples::Record;
use std::f64::consts::TAU;

/// At most this many harmonics, spread evenly over the logarithm of frequency.
const MOST: usize = 24;
/// A harmonic of the reference has to stand this many times above its noise.
const CLEAR: f64 = 30.0;

/// Ratio of the columns at odd harmonics of `frequency_hz`, under a Hann window over whole periods.
///
/// Empty when the source's frequency is unknown or the record holds fewer than two periods: the window separates
/// harmonics only then.
pub(super) fn at_harmonics(
    record: &Record<'_>,
    reference: &Record<'_>,
    frequency_hz: Option<f64>,
    noise: f64,
    reference_noise: f64,
) -> Vec<MeasuredPoint> {
    let Some(f0) = frequency_hz else { return Vec::new() };
    let points = record.samples.len().min(reference.samples.len());
    let per_period = 1.0 / (f0 * record.interval_s);
    let periods = (points as f64 / per_period + 0.02).floor();
    if periods < 2.0 || per_period < 16.0 {
        return Vec::new();
    }
    let span = ((periods * per_period).round() as usize).min(points);
    let highest = per_period / 8.0;
    let mut orders: Vec<usize> = (0..MOST)
        .map(|i| highest.powf(i as f64 / (MOST - 1) as f64))
        .map(|n| ((n / 2.0) as usize) * 2 + 1)
        .filter(|&n| n as f64 <= highest)
        .collect();
    orders.dedup();
    let window: Vec<f64> =
        (0..span).map(|k| 0.5 - 0.5 * (TAU * (k as f64 + 0.5) / span as f64).cos()).collect();
    let weight: f64 = window.iter().map(|w| w * w).sum();
    let mut first = None;
    let mut out = Vec::new();
    for n in orders {
        let omega = TAU * n as f64 / per_period;
        let (mut p, mut r) = ((0.0, 0.0), (0.0, 0.0));
        for (k, w) in window.iter().enumerate() {
            let (sin, cos) = (omega * k as f64).sin_cos();
            let (a, b) = (w * record.samples.at(k), w * reference.samples.at(k));
            if a.is_finite() && b.is_finite() {
                p = (p.0 + a * cos, p.1 - a * sin);
                r = (r.0 + b * cos, r.1 - b * sin);
            }
        }
        let size = r.0.hypot(r.1);
        let (u_p, u_r) = (noise * (0.5 * weight).sqrt(), reference_noise * (0.5 * weight).sqrt());
        if size < CLEAR * u_r.max(1e-12 * size) || size == 0.0 {
            continue;
        }
        let ratio = ((p.0 * r.0 + p.1 * r.1) / (size * size), (p.1 * r.0 - p.0 * r.1) / (size * size));
        let gain = ratio.0.hypot(ratio.1);
        let u = ((u_p / size).powi(2) + (gain * u_r / size).powi(2)).sqrt();
        let (base, u_base) = *first.get_or_insert((gain, u));
        let relative = u / gain;
        let (value, doubt) =
            if out.is_empty() { (1.0, 0.0) } else { (gain / base, relative.hypot(u_base / base)) };
        out.push(MeasuredPoint {
            frequency_hz: n as f64 * f0,
            relative_gain: Estimate { value, standard_uncertainty: value * doubt },
            phase_rad: Estimate { value: ratio.1.atan2(ratio.0), standard_uncertainty: relative },
        });
    }
    out
}
