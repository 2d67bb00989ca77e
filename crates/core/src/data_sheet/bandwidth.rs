//! The number that gives a probe its stated bandwidth.
//!
//! Instead of searching the bandwidth of many probes, the gain at the stated frequency is brought to −3 dB, one evaluation a time; then one look
//! at all lower frequencies shows whether the response had been there before.

use crate::chain::{Chain, Transfer};
use std::f64::consts::{LN_10, SQRT_2};

/// Points between the ends of the search, evenly spaced on a logarithmic scale.
const SCANNED: u32 = 24;

/// What is searched for a family of probes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Search {
    /// Ends of the knob, above 0.
    pub(super) knob: (f64, f64),
    /// Points in each decade of the look at the lower frequencies: several for each ripple that the cable makes.
    pub(super) per_decade: i32,
    /// How many points that look goes down from the bandwidth.
    pub(super) points: i32,
}

/// A fitted probe.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    pub(super) knob: f64,
    /// What it gives, Hz; `None` when no bandwidth was stated.
    pub(super) bandwidth_hz: Option<f64>,
    /// Whether this is the stated one.
    pub(super) fits: bool,
    /// Whether the response stays below once it is there: a dip that just touches −3 dB is the bandwidth by the letter only.
    pub(super) settles: bool,
    /// Highest gain below the bandwidth over that at 0 Hz, minus 1, and its frequency, Hz.
    pub(super) peak: (f64, f64),
}

impl Fit {
    /// Nothing stated, nothing fitted.
    pub(super) fn assumed(knob: f64) -> Self {
        Self { knob, bandwidth_hz: None, fits: true, settles: true, peak: (0.0, 0.0) }
    }
}

/// Looks for the largest knob between two ends (above 0) that gives the bandwidth; more knob is slower.
///
/// Where none does, the nearest one: at a dip that comes too early, or at the lower end.
pub(super) fn fit(wanted_hz: f64, search: Search, reference: impl Fn(f64) -> Chain) -> Fit {
    // Logarithm of gain over gain at −3 dB, at the stated frequency.
    let surplus = |x: f64| above(&reference(x.exp()), wanted_hz);
    let (low, high) = (search.knob.0.ln(), search.knob.1.ln());
    let step = (high - low) / f64::from(SCANNED);
    let mut nearest: Option<Fit> = None;
    let mut keep = |fit: Fit| {
        let off = |fit: &Fit| fit.bandwidth_hz.map_or(f64::INFINITY, |hz| (hz / wanted_hz).ln().abs());
        if nearest.is_none_or(|best| off(&fit) < off(&best)) {
            nearest = Some(fit);
        }
    };
    let (mut right, mut at_right) = (high, surplus(high));
    for k in (0..SCANNED).rev() {
        let left = low + step * f64::from(k);
        let at_left = surplus(left);
        if at_left >= 0.0 && at_right < 0.0 {
            let knob = root(left, at_left, right, at_right, surplus).exp();
            let fit = looked_at(knob, wanted_hz, &search, &reference);
            if fit.fits && fit.settles {
                return fit;
            }
            keep(fit);
        }
        (right, at_right) = (left, at_left);
    }
    let fastest = looked_at(search.knob.0, wanted_hz, &search, &reference);
    keep(fastest);
    nearest.unwrap_or(fastest)
}

/// ln of gain at a frequency over gain at 0 Hz, and 3 dB: nil at the bandwidth, less beyond. A gain of nil or none counts as very small.
fn above(chain: &Chain, frequency_hz: f64) -> f64 {
    let ratio = SQRT_2 * chain.at_frequency(frequency_hz).norm() / chain.at_frequency(0.0).norm();
    if ratio > 0.0 { ratio.ln() } else { -700.0 }
}

/// What a knob gives: the first frequency below 1/√2, up to a few times the wanted one.
fn looked_at(knob: f64, wanted_hz: f64, search: &Search, reference: impl Fn(f64) -> Chain) -> Fit {
    let chain = reference(knob);
    let limit = chain.at_frequency(0.0).norm() / SQRT_2;
    let surplus = |f: f64| chain.at_frequency(f).norm() / limit - 1.0;
    let step = LN_10 / f64::from(search.per_decade);
    let frequency = |k: f64| wanted_hz * (step * k).exp();
    let mut fit = Fit { knob, bandwidth_hz: Some(wanted_hz), fits: false, settles: false, peak: (0.0, 0.0) };
    // Once below is near, two steps are looked at more closely: a dip may hide between two points that are above.
    let first_below = |from: f64, to: f64| {
        let part = |n: u32| from + (to - from) / 64.0 * f64::from(n);
        let n = (1..=64).find(|n| surplus(part(*n)) < 0.0)?;
        Some(root(part(n - 1), surplus(part(n - 1)), part(n), surplus(part(n)), surplus))
    };
    // The last two points: frequency and surplus.
    let mut before = (0.0, SQRT_2 - 1.0);
    let mut last = before;
    for k in -search.points..=search.per_decade {
        let f = frequency(f64::from(k));
        let here = (f, surplus(f));
        // At the wanted frequency itself, a fitted gain is that but for rounding; it has to come from above.
        if k == 0 && here.1.abs() <= 1e-9 && surplus(f * (1.0 - 1e-6)) >= 0.0 {
            if let Some(early_hz) = first_below(before.0, f * (1.0 - 1e-6)) {
                fit.bandwidth_hz = Some(early_hz);
                return fit;
            }
            fit.fits = true;
            fit.settles = [1.01, 1.025, 1.05].iter().all(|beyond| surplus(f * beyond) < 0.0);
            return fit;
        }
        // Lowest point between the last three ones, where the middle one is the lowest.
        let mut below = (!(here.1 >= 0.0)).then_some(here);
        if last.1 < 0.02 && before.1 > last.1 && last.1 <= here.1 {
            let bend = before.1 - 2.0 * last.1 + here.1;
            let lowest = frequency(f64::from(k - 1) + 0.5 * (before.1 - here.1) / bend);
            below = below.or(Some((lowest, surplus(lowest))).filter(|(_, surplus)| *surplus < 0.0));
        }
        if let Some((f, at)) = below {
            let straight = || root(before.0, before.1, f, at, surplus);
            fit.bandwidth_hz = Some(first_below(before.0, f).unwrap_or_else(straight));
            return fit;
        }
        let rise = (here.1 + 1.0) / SQRT_2 - 1.0;
        if rise > fit.peak.0 {
            fit.peak = (rise, f);
        }
        (before, last) = (last, here);
    }
    fit.bandwidth_hz = Some(last.0);
    fit
}

/// Where a function changes sign: secants that keep the sign change between them (Illinois rule), halving where these are slow.
fn root(mut a: f64, mut at_a: f64, mut b: f64, mut at_b: f64, f: impl Fn(f64) -> f64) -> f64 {
    for round in 0..100 {
        let width = b - a;
        if at_a == 0.0 || width.abs() <= 4.0 * f64::EPSILON * a.abs().max(b.abs()) {
            return a;
        }
        let secant = a - at_a * width / (at_b - at_a);
        let middle = if round % 4 == 3 || !secant.is_finite() { a + 0.5 * width } else { secant };
        let at_middle = f(middle);
        if at_middle.abs() < 1e-13 {
            return middle;
        }
        if (at_middle > 0.0) == (at_a > 0.0) {
            (a, at_a) = (middle, at_middle);
            at_b *= 0.5;
        } else {
            (b, at_b) = (middle, at_middle);
            at_a *= 0.5;
        }
    }
    0.5 * (a + b)
}
