//! Where a function of time is looked at: evenly over the window, ever finer towards transitions, and densely about them.

use super::wave::{Continuous, Point};
use super::{LEAST_POINTS, Options, PulseError, Span, figures};

/// Which part of a function is looked at, and how closely.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sampling<'a> {
    /// All of what is judged. Both states should fill a good part of it.
    pub window: Span,
    /// About where transitions start, s; may be empty where a transition takes more than a few thousandths of the window.
    pub transitions_s: &'a [f64],
    /// Time in which nothing happens, s: a tenth of the shortest transition duration, say.
    pub finest_s: f64,
    /// How often the function is looked at, crossings and extremes apart; 200 or more.
    pub points: usize,
}

impl Sampling<'_> {
    pub(super) fn check(&self) -> Result<(), PulseError> {
        let Span { start_s, end_s } = self.window;
        let setting = |quantity, value, remedy| Err(PulseError::Setting { quantity, value, remedy });
        if !(start_s < end_s && (end_s - start_s).is_finite()) {
            return setting("end of the window", end_s, "give an end after the start");
        }
        if !(self.finest_s > 0.0 && self.finest_s < end_s - start_s) {
            return setting("finest time", self.finest_s, "give a time above zero and below the window");
        }
        if !(200..=10_000_000).contains(&self.points) {
            return setting("number of points", self.points as f64, "give 200 or more");
        }
        Ok(())
    }
}

/// Looks at the function, finds its transitions, and looks again about them.
pub(super) fn points<F: Fn(f64) -> f64>(
    wave: &Continuous<F>,
    sampling: &Sampling<'_>,
    options: &Options,
) -> Result<Vec<Point>, PulseError> {
    let quarter = sampling.points / 4;
    let Span { start_s, end_s } = sampling.window;
    let mut times: Vec<f64> =
        (0..quarter).map(|k| start_s + (end_s - start_s) * (k as f64 / (quarter - 1) as f64)).collect();
    let hints: Vec<f64> =
        sampling.transitions_s.iter().copied().filter(|t| (start_s..=end_s).contains(t)).collect();
    towards(&hints, sampling, quarter, &mut times);
    let mut points = Vec::with_capacity(sampling.points);
    look(wave, times, &mut points)?;
    let found = figures::places(wave, &points, options);
    if !found.is_empty() {
        let mut times = Vec::with_capacity(2 * quarter);
        let middles: Vec<f64> = found.iter().map(|place| place.middle_s).collect();
        towards(&middles, sampling, quarter, &mut times);
        let each = (quarter / found.len()).max(16);
        for place in &found {
            // Densely from shortly before to twenty durations after, where ringing is.
            let duration = place.duration_s.max(sampling.finest_s);
            let (from, to) = (place.middle_s - 3.0 * duration, place.middle_s + 20.0 * duration);
            let (from, to) = (from.max(start_s), to.min(end_s));
            times.extend((0..each).map(|k| from + (to - from) * (k as f64 / (each - 1) as f64)));
        }
        look(wave, times, &mut points)?;
    }
    if points.len() < LEAST_POINTS {
        return Err(PulseError::TooFew { points: points.len(), least: LEAST_POINTS });
    }
    Ok(points)
}

/// Times that crowd towards `centres` from both sides in steps of a constant ratio, each side up to half-way to its neighbour (to
/// the end of the window after the last, to its start before the first).
fn towards(centres: &[f64], sampling: &Sampling<'_>, budget: usize, times: &mut Vec<f64>) {
    let Span { start_s, end_s } = sampling.window;
    let each = (budget / (2 * centres.len().max(1))).max(8);
    for (k, &centre) in centres.iter().enumerate() {
        let before = k.checked_sub(1).map_or(start_s, |p| 0.5 * (centres[p] + centre));
        let after = centres.get(k + 1).map_or(end_s, |next| 0.5 * (next + centre));
        times.push(centre);
        for (reach, sign) in [(centre - before, -1.0), (after - centre, 1.0)] {
            if reach <= sampling.finest_s {
                continue;
            }
            let ratio = (reach / sampling.finest_s).powf(1.0 / (each - 1) as f64);
            let mut distance = sampling.finest_s;
            for _ in 0..each {
                times.push((centre + sign * distance).clamp(start_s, end_s));
                distance *= ratio;
            }
        }
    }
}

/// Adds the function's values at `times` to `points`, in order of time and each once.
fn look<F: Fn(f64) -> f64>(
    wave: &Continuous<F>,
    times: Vec<f64>,
    points: &mut Vec<Point>,
) -> Result<(), PulseError> {
    for t in times {
        let v = (wave.waveform)(t);
        if !v.is_finite() {
            return Err(PulseError::NotFinite { time_s: t });
        }
        points.push(Point { t, v });
    }
    points.sort_by(|a, b| a.t.total_cmp(&b.t));
    points.dedup_by(|a, b| a.t <= b.t);
    Ok(())
}
