//! When the source's edges happened.
//!
//! An edge is timed by its centroid: the time at which an ideal step would have to occur to leave the same area under
//! the record. The tail after an edge starts at the centroid of the source's edge and of everything fast in the chain
//! together, whatever their shapes, so neither the edge's shape nor the ringing has to be known.

use super::levels::{Crossing, Levels};
use crate::samples::Record;

/// One edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    /// Time after the first sample, in sample intervals.
    pub at: f64,
    /// Whether the signal goes up.
    pub rising: bool,
}

impl Edge {
    /// +1 for a rising edge, −1 for a falling one.
    pub(super) fn sign(&self) -> f64 {
        if self.rising { 1.0 } else { -1.0 }
    }
}

/// The steepest step near each crossing, and how many samples it takes.
#[derive(Clone, Debug)]
pub(super) struct Steps {
    pub edges: Vec<Edge>,
    /// Samples that the transition takes at most; at least 1.
    pub width: usize,
    /// Median height of the step within `width`, V.
    pub height: f64,
}

/// Longest edge that counts as one: 10 µs, or 8 % of the shorter flat where sampling is coarser than that.
const LONGEST_EDGE_S: f64 = 10e-6;

/// Finds the abrupt step that belongs to each crossing. An undercompensated edge crosses the middle only after it.
pub(super) fn locate(record: &Record<'_>, crossings: &[Crossing], levels: &Levels) -> Steps {
    let view = record.samples;
    let points = view.len();
    let shortest = crossings
        .windows(2)
        .map(|w| w[1].sample - w[0].sample)
        .min()
        .unwrap_or_else(|| crossings.first().map_or(0, |c| c.sample.min(points - c.sample)));
    let by_time = (LONGEST_EDGE_S / record.interval_s) as usize;
    let widest = by_time.min(shortest * 8 / 100).max(2).min(shortest.max(1));
    let window = |i: usize| {
        let crossing = crossings[i].sample;
        let before = if i == 0 { crossing } else { crossing - crossings[i - 1].sample };
        let after =
            if i + 1 == crossings.len() { points - crossing } else { crossings[i + 1].sample - crossing };
        let from = crossing - (before * 45 / 100).max(widest + 2).min(crossing);
        let to = (crossing + (after * 10 / 100).max(widest)).min(points);
        from..to
    };
    let widths = widths(widest);
    let climbs =
        |i: usize, down_to: usize| climb(record, &window(i), crossings[i].rising, &widths[..=down_to]);
    // Heights of the steepest step for each width, over a sample of the crossings.
    let stride = crossings.len().div_ceil(16).max(1);
    let looked: Vec<Vec<(usize, f64)>> =
        (0..crossings.len()).step_by(stride).filter_map(|i| climbs(i, widths.len() - 1)).collect();
    let height_at = |w: usize| median(&mut looked.iter().map(|c| c[w].1).collect::<Vec<_>>());
    let full = height_at(0);
    // The narrowest step that holds nearly all of the height, noise on both ends allowed for.
    let enough = (0..widths.len()).rev().find(|&w| height_at(w) >= 0.8 * full - levels.noise).unwrap_or(0);
    let width = widths[enough];
    let mut heights = Vec::with_capacity(crossings.len());
    let mut edges = Vec::with_capacity(crossings.len());
    for (i, crossing) in crossings.iter().enumerate() {
        let Some((k, height)) = climbs(i, enough).and_then(|c| c.last().copied()) else { continue };
        heights.push(height);
        // Within the step, where it passes its own middle; half the width when noise hides that.
        let middle = 0.5 * (view.at(k) + view.at(k + width));
        let passes = (k..k + width).find(|&j| {
            let (a, b) = (view.at(j), view.at(j + 1));
            (a - middle) * (b - middle) <= 0.0 && (b - a).abs() > 0.0
        });
        let at = passes.map_or(k as f64 + 0.5 * width as f64, |j| {
            let (a, b) = (view.at(j), view.at(j + 1));
            j as f64 + (middle - a) / (b - a)
        });
        edges.push(Edge { at, rising: crossing.rising });
    }
    Steps { edges, width, height: median(&mut heights) }
}

/// Widths to try, from the widest down to one sample, each about four fifths of the one before.
fn widths(widest: usize) -> Vec<usize> {
    let mut list = vec![widest];
    while let Some(&last) = list.last()
        && last > 1
    {
        list.push((last * 4 / 5).clamp(1, last - 1));
    }
    list
}

/// Place and height of the steepest step for each width: the widest anywhere in the window, each narrower one within
/// the one before it, so that a wide window costs no more than one pass over it.
fn climb(
    record: &Record<'_>,
    window: &std::ops::Range<usize>,
    rising: bool,
    widths: &[usize],
) -> Option<Vec<(usize, f64)>> {
    let view = record.samples;
    let sign = if rising { 1.0 } else { -1.0 };
    let highest = |from: usize, to: usize, stride: usize, width: usize| -> Option<(usize, f64)> {
        (from..to.min(view.len().saturating_sub(width)))
            .step_by(stride)
            .map(|k| (k, sign * (view.at(k + width) - view.at(k))))
            .filter(|(_, d)| d.is_finite())
            .max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let mut found: Vec<(usize, f64)> = Vec::with_capacity(widths.len());
    for (i, &width) in widths.iter().enumerate() {
        let best = match found.last() {
            // A step of this width is seen from anywhere within a part of it.
            None => highest(window.start, window.end.saturating_sub(width), (width / 8).max(1), width),
            Some(&(k, _)) => {
                let slack = widths[i - 1] / 8 + 1;
                highest(k.saturating_sub(slack), k + (widths[i - 1] - width) + slack + 1, 1, width)
            }
        }?;
        found.push(best);
    }
    Some(found)
}

pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// The rhythm of the edges, in sample intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rhythm {
    pub period: f64,
    pub period_uncertainty: f64,
    /// Share of the period from a rising to the next falling edge.
    pub duty: f64,
    /// Standard deviation of single edges about the rhythm.
    pub scatter: f64,
}

/// What became of fitting a rhythm to the edges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Timing {
    /// Fewer than three edges: no period to see.
    Few,
    /// Evenly repeated.
    Even(Rhythm),
    /// Three or more edges without an even rhythm.
    Uneven {
        /// Largest departure of an edge from the best rhythm, as a share of the period.
        departure: f64,
    },
}

/// Fits rising edges at `r + j·T` and falling edges at `f + j·T`, and puts the edges onto the fit when it is even.
pub(super) fn fit_rhythm(edges: &mut [Edge]) -> Timing {
    if edges.len() < 3 {
        return Timing::Few;
    }
    // Unknowns: time of the first rising and first falling edge, period. Edges alternate, so counts are known.
    let first_rising = edges[0].rising;
    let count = |i: usize| (i / 2) as f64;
    let (mut sums, mut times) = ([[0.0; 2]; 2], [[0.0; 2]; 2]); // per polarity: n, Σj; Σt, Σj·t
    let mut squares = [0.0; 2];
    for (i, edge) in edges.iter().enumerate() {
        let kind = usize::from(edge.rising == first_rising);
        let j = count(i);
        sums[kind][0] += 1.0;
        sums[kind][1] += j;
        squares[kind] += j * j;
        times[kind][0] += edge.at;
        times[kind][1] += j * edge.at;
    }
    let (mut top, mut bottom) = (0.0, 0.0);
    for kind in 0..2 {
        let [n, sj] = sums[kind];
        top += times[kind][1] - sj * times[kind][0] / n;
        bottom += squares[kind] - sj * sj / n;
    }
    let period = top / bottom;
    let starts = [0, 1].map(|kind: usize| (times[kind][0] - period * sums[kind][1]) / sums[kind][0]);
    let expected =
        |i: usize, edge: &Edge| starts[usize::from(edge.rising == first_rising)] + count(i) * period;
    let (mut squared, mut largest) = (0.0, 0.0_f64);
    for (i, edge) in edges.iter().enumerate() {
        let off = edge.at - expected(i, edge);
        squared += off * off;
        largest = largest.max(off.abs());
    }
    if !(period > 0.0) || largest > 0.05 * period {
        return Timing::Uneven { departure: largest / period.abs().max(f64::MIN_POSITIVE) };
    }
    let scatter = if edges.len() > 3 { (squared / (edges.len() - 3) as f64).sqrt() } else { 0.0 };
    for (i, edge) in edges.iter_mut().enumerate() {
        edge.at = starts[usize::from(edge.rising == first_rising)] + count(i) * period;
    }
    let first_to_second = edges[1].at - edges[0].at;
    let duty = if first_rising { first_to_second / period } else { 1.0 - first_to_second / period };
    Timing::Even(Rhythm { period, period_uncertainty: scatter / bottom.sqrt(), duty, scatter })
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};

    #[test]
    fn a_rhythm_is_found_from_either_polarity_and_an_uneven_one_is_named() {
        for first_rising in [true, false] {
            let mut edges: Vec<Edge> = (0..7)
                .map(|i| Edge {
                    at: 10.0 + 100.0 * (i / 2) as f64 + if i % 2 == 1 { 30.0 } else { 0.0 },
                    rising: (i % 2 == 0) == first_rising,
                })
                .collect();
            edges[3].at += 0.2;
            let Timing::Even(rhythm) = fit_rhythm(&mut edges) else { panic!("an even rhythm") };
            assert_close!(rhythm.period, 100.0, within(0.1));
            assert_close!(rhythm.duty, if first_rising { 0.3 } else { 0.7 }, within(0.003));
            edges[4].at += 9.0;
            assert!(matches!(fit_rhythm(&mut edges), Timing::Uneven { .. }));
        }
        assert_eq!(fit_rhythm(&mut [Edge { at: 1.0, rising: true }]), Timing::Few);
    }
}
