//! From gains and phases to delay, bandwidth and flatness.

use super::{Bandwidth, Characteristic, End, Flatness, Point};
use crate::assessment::Estimate;
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};
use std::f64::consts::{FRAC_1_SQRT_2, TAU};

/// One frequency before the delay is taken out.
#[derive(Clone, Copy, Debug)]
pub(super) struct Raw {
    pub(super) frequency_hz: f64,
    /// Logarithm of the relative gain.
    pub(super) ln_gain: Estimate,
    /// Not unwrapped.
    pub(super) phase_rad: Estimate,
}

/// Fills in everything that follows from the response. `prior_s` is the delay as far as it is known beforehand.
pub(super) fn finish(out: &mut Characteristic, raw: Vec<Raw>, prior_s: f64, complete: End) {
    if out.end == End::Sampling {
        out.end = complete;
    }
    out.points = raw
        .iter()
        .map(|r| {
            let value = r.ln_gain.value.exp();
            Point {
                frequency_hz: r.frequency_hz,
                gain: Estimate { value, standard_uncertainty: value * r.ln_gain.standard_uncertainty },
                phase_rad: r.phase_rad,
            }
        })
        .collect();
    unwrap(&mut out.points, prior_s);
    let Some((low_hz, high_hz)) = out.range_hz() else { return };
    let bandwidth = bandwidth(&out.points);
    let top_hz = match bandwidth {
        Bandwidth::At(f) => f.value.min(high_hz),
        Bandwidth::Above(f) => f,
    };
    let delay = delay(&out.points, top_hz);
    for p in &mut out.points {
        p.phase_rad.value += TAU * p.frequency_hz * delay.value;
    }
    out.delay_s = Some(Estimate { value: delay.value + prior_s, ..delay });
    out.bandwidth = Some(bandwidth);
    if let Some((from_hz, to_hz)) = out.band_hz {
        if to_hz > high_hz * 1.000_001 || from_hz < low_hz * 0.999_999 {
            let hertz = |f| format_engineering(f, Unit::Hertz, 3);
            out.findings.push(Finding::warning(
                "band-beyond-range",
                format!(
                    "the band {} to {} reaches beyond what was measured, {} to {}; flatness is not stated",
                    hertz(from_hz),
                    hertz(to_hz),
                    hertz(low_hz),
                    hertz(high_hz)
                ),
                "ask for a band inside it, or lower the noise",
            ));
        } else {
            out.flatness = flatness(&out.points, (from_hz, to_hz));
        }
    }
}

/// Phases without jumps, with the prior delay taken out.
fn unwrap(points: &mut [Point], prior_s: f64) {
    let mut before = 0.0;
    for p in points {
        let turned = p.phase_rad.value + TAU * p.frequency_hz * prior_s;
        let phase = turned - TAU * ((turned - before) / TAU).round();
        p.phase_rad.value = phase;
        before = phase;
    }
}

/// The delay that takes most out of the phase up to a frequency: least squares of φ + 2πfτ, all frequencies alike.
fn delay(points: &[Point], top_hz: f64) -> Estimate {
    let (mut ff, mut fp, mut fu) = (0.0, 0.0, 0.0);
    for p in points.iter().filter(|p| p.frequency_hz <= top_hz * 1.000_001) {
        let f = p.frequency_hz;
        ff += f * f;
        fp += f * p.phase_rad.value;
        fu += (f * p.phase_rad.standard_uncertainty).powi(2);
    }
    if ff > 0.0 {
        Estimate { value: -fp / ff / TAU, standard_uncertainty: fu.sqrt() / ff / TAU }
    } else {
        Estimate { value: 0.0, standard_uncertainty: 0.0 }
    }
}

/// First fall through 1/√2, between two points on double logarithmic paper.
fn bandwidth(points: &[Point]) -> Bandwidth {
    let Some(k) =
        points.windows(2).position(|p| p[0].gain.value >= FRAC_1_SQRT_2 && p[1].gain.value < FRAC_1_SQRT_2)
    else {
        return Bandwidth::Above(points.last().map_or(0.0, |p| p.frequency_hz));
    };
    let ln = |p: &Point| (p.frequency_hz.ln(), p.gain.value.ln());
    let (a, b) = (ln(&points[k]), ln(&points[k + 1]));
    let share = (FRAC_1_SQRT_2.ln() - a.1) / (b.1 - a.1);
    let value = (a.0 + share * (b.0 - a.0)).exp();
    // The slope from further out, where noise tilts it less.
    let (c, d) = (ln(&points[k.saturating_sub(2)]), ln(&points[(k + 3).min(points.len() - 1)]));
    let slope = ((d.1 - c.1) / (d.0 - c.0)).abs().max(0.1);
    let relative = |p: &Point| p.gain.standard_uncertainty / p.gain.value;
    let by_gain = relative(&points[k]).max(relative(&points[k + 1])) / slope;
    // A straight line on this paper leaves h²/8 times the bend; a bend of 2·slope² is that of a Gaussian, and more shows where neighbours lie
    // further off: (y1 + y2 − y0 − y3)/16 is what their cubic leaves in the middle. The larger is taken as half-width.
    let smooth = (b.0 - a.0).powi(2) / 8.0 * 2.0 * slope;
    let bent = match (k.checked_sub(1).and_then(|i| points.get(i)), points.get(k + 2)) {
        (Some(before), Some(after)) => (a.1 + b.1 - ln(before).1 - ln(after).1).abs() / 16.0 / slope,
        _ => 0.0,
    };
    let by_line = smooth.max(bent) / 3f64.sqrt();
    Bandwidth::At(Estimate { value, standard_uncertainty: value * by_gain.hypot(by_line) })
}

fn flatness(points: &[Point], band_hz: (f64, f64)) -> Option<Flatness> {
    let inside = points
        .iter()
        .filter(|p| p.frequency_hz >= band_hz.0 * 0.999_999 && p.frequency_hz <= band_hz.1 * 1.000_001);
    let worst = inside.max_by(|a, b| (a.gain.value - 1.0).abs().total_cmp(&(b.gain.value - 1.0).abs()))?;
    Some(Flatness {
        band_hz,
        deviation: Estimate { value: worst.gain.value - 1.0, ..worst.gain },
        frequency_hz: worst.frequency_hz,
    })
}
