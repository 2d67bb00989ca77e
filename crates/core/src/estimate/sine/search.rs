//! Where to start a sine fit: the frequency that explains most of the variance, on a grid of frequencies.
//!
//! The grid is a third of 1/duration apart. The fit's basin is about half of 1/duration wide to either side, so the best
//! grid point lies inside it.

use super::fit::points_of;
use crate::samples::Record;
use std::f64::consts::TAU;

/// Points that a search looks at: the work grows with their square.
pub(super) const MOST_POINTS: usize = 512;

/// Outcome of a search.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// ω, rad/s; NaN when there is nothing to see.
    pub angular_frequency: f64,
    /// Share of the variance that a sine of this frequency and an offset explain.
    pub explained: f64,
}

/// Looks at all frequencies from a quarter of 1/duration to half the mean sampling rate.
pub(super) fn best_frequency(points: &[(f64, f64)]) -> Found {
    let points: Vec<(f64, f64)> =
        points.iter().copied().filter(|p| p.1.is_finite()).take(MOST_POINTS).collect();
    let count = points.len() as f64;
    let (first, last) =
        points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| (a.min(p.0), b.max(p.0)));
    let duration = last - first;
    let nothing = Found { angular_frequency: f64::NAN, explained: 0.0 };
    if points.len() < 4 || duration.is_nan() || duration <= 0.0 {
        return nothing;
    }
    let middle = 0.5 * (first + last);
    let mean = points.iter().map(|p| p.1).sum::<f64>() / count;
    let variance: f64 = points.iter().map(|p| (p.1 - mean).powi(2)).sum();
    if variance.is_nan() || variance <= 0.0 {
        return nothing;
    }
    let start = 0.25 * TAU / duration;
    let spacing = TAU / (3.0 * duration);
    let steps = ((0.5 * TAU * (count - 1.0) / duration - start) / spacing).floor().max(1.0) as usize;
    // Each point's phasor turns by the same angle from one frequency to the next.
    let mut phasors: Vec<(f64, f64)> = points.iter().map(|p| (start * (p.0 - middle)).sin_cos()).collect();
    let turns: Vec<(f64, f64)> = points.iter().map(|p| (spacing * (p.0 - middle)).sin_cos()).collect();
    let mut best = nothing;
    for step in 0..=steps {
        let mut sums = Sums::default();
        for ((point, (sin, cos)), (turn_sin, turn_cos)) in points.iter().zip(&mut phasors).zip(&turns) {
            sums.add(point.1 - mean, *sin, *cos);
            (*sin, *cos) = (*sin * turn_cos + *cos * turn_sin, *cos * turn_cos - *sin * turn_sin);
        }
        let explained = sums.explained(count) / variance;
        if explained > best.explained {
            best = Found { angular_frequency: start + spacing * step as f64, explained };
        }
    }
    best
}

/// Frequency of a sine that is slow against the record's sampling, from averages of stretches; `None` when the record
/// holds something faster than they show.
pub(super) fn slow(record: &Record<'_>) -> Option<f64> {
    let count = record.samples.len();
    let stretch = count.div_ceil(MOST_POINTS);
    let mut averages = Vec::with_capacity(MOST_POINTS);
    let (mut sum, mut squares, mut all) = (0.0, 0.0, 0.0);
    for from in (0..count).step_by(stretch) {
        let to = (from + stretch).min(count);
        let (mut t_sum, mut y_sum, mut n) = (0.0, 0.0, 0.0);
        for (t, y) in points_of(record, from..to).filter(|p| p.1.is_finite()) {
            t_sum += t;
            y_sum += y;
            n += 1.0;
            sum += y;
            squares += y * y;
        }
        all += n;
        if n > 0.0 {
            averages.push((t_sum / n, y_sum / n));
        }
    }
    let variance = squares / all - (sum / all).powi(2);
    let mean = averages.iter().map(|p| p.1).sum::<f64>() / averages.len() as f64;
    let kept = averages.iter().map(|p| (p.1 - mean).powi(2)).sum::<f64>() / averages.len() as f64;
    let found = best_frequency(&averages);
    (kept > 0.25 * variance && found.explained > 0.8).then_some(found.angular_frequency)
}

/// Sums for a fit of sine, cosine and offset at one frequency.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    s: f64,
    c: f64,
    ss: f64,
    cc: f64,
    sc: f64,
    ys: f64,
    yc: f64,
}

impl Sums {
    #[inline]
    fn add(&mut self, y: f64, sin: f64, cos: f64) {
        self.s += sin;
        self.c += cos;
        self.ss += sin * sin;
        self.cc += cos * cos;
        self.sc += sin * cos;
        self.ys += y * sin;
        self.yc += y * cos;
    }

    /// Part of the sum of squares that is explained, `y` having no mean.
    fn explained(&self, count: f64) -> f64 {
        // Offset removed from both columns; then the 2 × 2 normal equations. Good enough for choosing a start.
        let ss = self.ss - self.s * self.s / count;
        let cc = self.cc - self.c * self.c / count;
        let sc = self.sc - self.s * self.c / count;
        let determinant = ss * cc - sc * sc;
        if determinant <= 1e-9 * ss * cc {
            return 0.0;
        }
        (self.ys * self.ys * cc - 2.0 * self.ys * self.yc * sc + self.yc * self.yc * ss) / determinant
    }
}
