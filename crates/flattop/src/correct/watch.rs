//! What is looked at while a record passes by: its first samples for the figures, a thinned-out trace for the drawing.

use std::ops::Range;

use flattop_core::correction::Stored;
use flattop_core::pulse::{self, LevelSource, LevelStatistic, Options};
use flattop_core::samples::SampleView;
use flattop_report::correction::{Point, Pulses, Stretch, Trace};

/// First samples that are kept for the figures.
const HEAD: usize = 1 << 20;
/// Stretches of a drawing.
const STRETCHES: usize = 800;
/// Most points of a close view.
const CLOSE: usize = 1200;
/// Half-width of the band of settling, as elsewhere.
const SETTLING: f64 = 0.01;

/// What has been seen so far.
pub(super) struct Watch {
    points: usize,
    before: Vec<f64>,
    after: Vec<f64>,
    u: Vec<f64>,
    /// `None` where nothing is drawn.
    whole: Option<Vec<Seen>>,
    per_stretch: usize,
}

#[derive(Clone, Copy)]
struct Seen {
    before: (f64, f64),
    after: (f64, f64),
    u: f64,
}

const NOTHING: Seen =
    Seen { before: (f64::INFINITY, f64::NEG_INFINITY), after: (f64::INFINITY, f64::NEG_INFINITY), u: 0.0 };

impl Watch {
    pub(super) fn new(points: usize, draws: bool) -> Self {
        let per_stretch = points.div_ceil(STRETCHES).max(1);
        Self {
            points,
            before: Vec::new(),
            after: Vec::new(),
            u: Vec::new(),
            whole: draws.then(|| vec![NOTHING; points.div_ceil(per_stretch)]),
            per_stretch,
        }
    }

    pub(super) fn take<T: Stored>(
        &mut self,
        samples: SampleView<'_>,
        range: Range<usize>,
        after: &[T],
        u: &[T],
    ) {
        let from = range.start;
        for at in range.start..range.end.min(HEAD) {
            self.before.push(samples.at(at));
            self.after.push(after[at - from].wide());
            self.u.push(u[at - from].wide());
        }
        let Some(whole) = &mut self.whole else { return };
        for at in range {
            let Some(seen) = whole.get_mut(at / self.per_stretch) else { return };
            let (before, after, u) = (samples.at(at), after[at - from].wide(), u[at - from].wide());
            seen.before = (seen.before.0.min(before), seen.before.1.max(before));
            seen.after = (seen.after.0.min(after), seen.after.1.max(after));
            seen.u = seen.u.max(u);
        }
    }

    /// IEEE 181 figures of the first samples; `None` where they are no waveform at all.
    pub(super) fn pulses(&self, start_s: f64, interval_s: f64) -> Option<Pulses> {
        let time_s: Vec<f64> = (0..self.before.len()).map(|k| start_s + k as f64 * interval_s).collect();
        let levels = LevelSource::Histogram { bins: 256, statistic: LevelStatistic::Mode };
        let options = Options { levels, settling_band: SETTLING };
        let before = pulse::of_record(&time_s, &self.before, &options).ok()?;
        let after = pulse::of_record(&time_s, &self.after, &options).ok()?;
        Some(Pulses { samples: self.before.len(), before, after })
    }

    /// All of it, and the first transition: from half a time scale before it to four behind.
    pub(super) fn trace(&self, start_s: f64, interval_s: f64, scale_s: f64) -> Trace {
        let Some(whole) = &self.whole else { return Trace::default() };
        let time = |at: f64| start_s + at * interval_s;
        let stretch = |(k, seen): (usize, &Seen)| Stretch {
            time_s: time((k as f64 + 0.5) * self.per_stretch as f64 - 0.5),
            before: seen.before,
            after: seen.after,
            u: if seen.after.0 <= seen.after.1 { seen.u } else { f64::NAN },
        };
        let whole = whole.iter().enumerate().map(stretch).collect();
        let mut trace = Trace { whole, close: Vec::new() };
        let first =
            self.pulses(start_s, interval_s).and_then(|p| p.after.transitions.first()?.middle_s().ok());
        let Some(first_s) = first else { return trace };
        let middle = (first_s - start_s) / interval_s;
        let (back, on) = (0.5 * scale_s / interval_s, 4.0 * scale_s / interval_s);
        let from = (middle - back.max(8.0)).max(0.0) as usize;
        let to = ((middle + on.max(24.0)) as usize).min(self.before.len());
        // A close view of everything would be the same picture twice.
        if to <= from || to - from > self.points / 3 {
            return trace;
        }
        let stride = (to - from).div_ceil(CLOSE);
        trace.close = (from..to)
            .step_by(stride)
            .map(|k| Point {
                time_s: time(k as f64),
                before: self.before[k],
                after: self.after[k],
                u: self.u[k],
            })
            .collect();
        trace
    }
}
