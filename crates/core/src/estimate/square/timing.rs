//! Edge times by area, how sure they are, and how far after an edge the record is still disturbed.

use super::condense::Average;
use super::edges::{Edge, Rhythm, Timing, fit_rhythm};
use super::fit::Fit;
use super::model::{LN_TAU, Model, STEP, TAIL};
use crate::samples::SampleView;

/// What is known of the edges after their times were refined.
#[derive(Clone, Copy, Debug)]
pub(super) struct EdgeTimes {
    pub timing: Timing,
    /// Standard uncertainty of the common shift of all edges, in sample intervals.
    pub shift_uncertainty: f64,
    /// Samples caught within the transition (15–85 %) of an edge, on average.
    pub samples_within: f64,
}

/// Moves each edge to its centroid and, when the rhythm is even, all of them onto it.
///
/// The mean departure from the fit within `near` samples of an edge (nil for none) is taken for company that is not
/// known yet, and does not count as area.
pub(super) fn refine(
    view: SampleView<'_>,
    model: &Model<'_>,
    fit: &Fit,
    lead: f64,
    near: f64,
    edges: &mut [Edge],
) -> EdgeTimes {
    let tau = fit.theta[LN_TAU].exp();
    let (step, tail) = (fit.theta[STEP], fit.theta[TAIL]);
    let after = model.hold_off.max(2.0);
    // A shift δ of the edge changes the area by its height there less what the tail takes back within the window.
    let lever = step + tail * (-after / tau).exp();
    let mut within = 0usize;
    let mut longest_window = 0usize;
    let stretches: Vec<(usize, usize)> = edges
        .iter()
        .map(|e| {
            let from = (e.at - lead.max(2.0)).ceil().max(0.0) as usize;
            let to = ((e.at + after).floor().max(0.0) as usize + 1).min(view.len());
            (from, to.max(from))
        })
        .collect();
    // The windows in pieces short against τ, the sample in whose interval the edge falls by itself; the model on both
    // sides of the edge for all of them in one go.
    let mut pieces: Vec<(usize, usize)> = Vec::new();
    let mut counts = Vec::with_capacity(edges.len());
    for (edge, &(from, to)) in edges.iter().zip(&stretches) {
        let first = pieces.len();
        let at = ((edge.at + 0.5).floor().max(0.0) as usize).clamp(from, to);
        let behind = (at + 1).min(to);
        for (a, b) in [(from, at), (at, behind), (behind, to)] {
            let length = (b - a).div_ceil(PIECES).max(1);
            pieces.extend((a..b).step_by(length).map(|k| (k, (k + length).min(b))));
        }
        counts.push(pieces.len() - first);
    }
    let (mut before, mut behind) = (Vec::with_capacity(pieces.len()), Vec::with_capacity(pieces.len()));
    let mut next = 0;
    for (i, &count) in counts.iter().enumerate() {
        for &(a, b) in &pieces[next..next + count] {
            before.push(piece(a, b, i as u32, edges[i].at, f64::min));
            behind.push(piece(a, b, i as u32 + 1, edges[i].at, f64::max));
        }
        next += count;
    }
    let (before, behind) = (model.value_at(&fit.theta, &before), model.value_at(&fit.theta, &behind));
    let offsets = local_offsets(model, fit, near, edges);
    let mut shifts = vec![0.0; edges.len()];
    let mut next = 0;
    for (i, &count) in counts.iter().enumerate() {
        let at = edges[i].at;
        let mut area = 0.0;
        for j in next..next + count {
            let jump = behind[j] - before[j];
            for k in pieces[j].0..pieces[j].1 {
                let share_behind = (k as f64 + 0.5 - at).clamp(0.0, 1.0);
                let sample = view.at(k) - offsets[i];
                area += sample - (before[j] + share_behind * jump);
                let passed = (sample - before[j]) / jump;
                within +=
                    usize::from(passed > 0.15 && passed < 0.85 && (k as f64 - at).abs() < lead.max(2.0));
            }
        }
        next += count;
        longest_window = longest_window.max(stretches[i].1 - stretches[i].0);
        let shift = -edges[i].sign() * area / lever;
        if shift.is_finite() {
            shifts[i] = shift.clamp(-after, after);
        }
    }
    for (edge, shift) in edges.iter_mut().zip(&shifts) {
        edge.at += shift;
    }
    let count = edges.len() as f64;
    let samples_within = within as f64 / count;
    let single_noise = model.noise * (longest_window as f64).sqrt() / lever.abs().max(f64::MIN_POSITIVE);
    let timing = fit_rhythm(edges);
    let scatter = match timing {
        Timing::Even(Rhythm { scatter, .. }) if edges.len() > 6 => scatter.max(0.5 * single_noise),
        Timing::Even(Rhythm { scatter, .. }) => scatter.max(single_noise),
        _ => single_noise,
    };
    // An edge that no sample caught may lie anywhere between two samples: a rectangular distribution. One that is w
    // samples long is placed by their sum to within ±1/(8w), depending on where they fall. Edges at other places of the
    // sampling grid narrow that down.
    let duration = samples_within / 0.7;
    let hidden = widest_gap(edges) * ((1.0 - duration).max(0.0) / 12.0_f64.sqrt() + 0.06 / duration.max(1.0));
    EdgeTimes {
        timing,
        shift_uncertainty: (scatter * scatter / count + hidden * hidden).sqrt(),
        samples_within,
    }
}

/// Mean residual around each edge, averages that are left out of the fit excepted.
fn local_offsets(model: &Model<'_>, fit: &Fit, near: f64, edges: &[Edge]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); edges.len()];
    if near > 0.0 {
        model.evaluate(&fit.theta, |average, value, _| {
            if !model.takes_part(average) {
                return;
            }
            let flat = average.flat as usize;
            for i in [flat.checked_sub(1), Some(flat)].into_iter().flatten() {
                if edges.get(i).is_some_and(|e| (average.at - e.at).abs() < near + model.hold_off) {
                    sums[i].0 += average.count * (average.mean - value);
                    sums[i].1 += average.count;
                }
            }
        });
    }
    sums.iter().map(|&(r, n)| if n > 0.0 { r / n } else { 0.0 }).collect()
}

/// Pieces that each part of a window is divided into, at most.
const PIECES: usize = 48;

/// Samples `a..b` as an average of one side of an edge; a lone sample does not reach over the edge.
fn piece(a: usize, b: usize, flat: u32, edge: f64, bound: fn(f64, f64) -> f64) -> Average {
    let n = (b - a) as f64;
    let middle = 0.5 * (a + b - 1) as f64;
    let at = if b - a == 1 { bound(middle, edge) } else { middle };
    Average { half_width: 0.5 * (n * n - 1.0).sqrt(), ..Average::place(at, flat) }
}

/// Widest stretch of a sample interval in which no edge lies, edges folded onto one interval; 1 for a single place.
fn widest_gap(edges: &[Edge]) -> f64 {
    let mut places: Vec<f64> = edges.iter().map(|e| e.at.rem_euclid(1.0)).collect();
    places.sort_unstable_by(f64::total_cmp);
    let around = places[0] + 1.0 - places[places.len() - 1];
    places.windows(2).map(|w| w[1] - w[0]).fold(around, f64::max)
}

/// Mean departure from the fit after the edges, by rank of the average after its edge, upward edges counted positive.
pub(super) struct Aftermath {
    /// (time since the edge, mean departure in V, standard uncertainty of it)
    pub ranks: Vec<(f64, f64, f64)>,
}

/// Folds the residuals of all flats over each other, out to `reach` samples after the edge.
pub(super) fn aftermath(model: &Model<'_>, fit: &Fit, reach: f64, systematic: f64) -> Aftermath {
    let mut sums: Vec<(f64, f64, f64)> = Vec::new(); // n·since, n·r, n
    let (mut flat, mut rank) = (0, 0);
    model.evaluate(&fit.theta, |average, value, _| {
        if average.flat != flat {
            flat = average.flat;
            rank = 0;
        } else {
            rank += 1;
        }
        if flat == 0 || average.since_edge > reach {
            return;
        }
        if sums.len() <= rank {
            sums.resize(rank + 1, (0.0, 0.0, 0.0));
        }
        let sign = model.edges[flat as usize - 1].sign();
        let sum = &mut sums[rank];
        sum.0 += average.count * average.since_edge;
        sum.1 += average.count * sign * (average.mean - value);
        sum.2 += average.count;
    });
    let ranks = sums
        .iter()
        .filter(|s| s.2 > 0.0)
        .map(|s| (s.0 / s.2, s.1 / s.2, (model.noise * model.noise / s.2 + systematic * systematic).sqrt()))
        .collect();
    Aftermath { ranks }
}

impl Aftermath {
    /// How long after an edge the record still departs from the model by more than noise, in samples; nil when it
    /// never does.
    pub(super) fn hold_off(&self) -> f64 {
        let z: Vec<f64> = self.ranks.iter().map(|(_, r, u)| r / u).collect();
        for j in (0..z.len()).rev() {
            let few = &z[j..(j + 4).min(z.len())];
            let together = few.iter().sum::<f64>() / (few.len() as f64).sqrt();
            if z[j].abs() > 4.5 || together.abs() > 4.0 {
                let last = self.ranks[j].0;
                let next = self.ranks.get(j + 1).map_or(last + 1.0, |r| r.0);
                // The disturbance fades: a quarter more leaves its rest far below the noise.
                return (next + 0.25 * last).min(self.ranks.last().map_or(next, |r| r.0 + 1.0));
            }
        }
        0.0
    }
}
