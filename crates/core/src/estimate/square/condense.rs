//! Flats condensed to averages: every sample between the edges counts, and no more than a few hundred rows are fitted
//! for each flat.
//!
//! Averages are single samples right after an edge and grow with the distance from it, always short against the time
//! in which the tail changes. Their inner scatter is a measure of noise that needs no model.

use super::edges::Edge;
use crate::samples::SampleView;

/// Single samples are kept this far after an edge.
const SINGLE: f64 = 24.0;
/// Beyond, an average covers this share of its distance from the edge, at most.
const GROWTH: f64 = 0.04;

/// The average of a few neighbouring samples of one flat. Times are in sample intervals.
#[derive(Clone, Copy, Debug)]
pub(super) struct Average {
    /// Mean time after the first sample of the record.
    pub at: f64,
    /// Half width of the even distribution that the sample times resemble.
    pub half_width: f64,
    /// Mean, V.
    pub mean: f64,
    /// Samples in it.
    pub count: f64,
    /// Sum of squares about the straight line through the samples, V², and its degrees of freedom.
    pub inner_squares: f64,
    pub inner_freedom: f64,
    /// The flat it belongs to: flat 0 comes before the first edge, flat i after edge i − 1.
    pub flat: u32,
    /// Time after the edge that begins the flat; infinite in flat 0.
    pub since_edge: f64,
}

/// Condenses the flats between the edges. `lead` samples before each edge are left out; `outside` are the
/// edges before the first and after the last one, where the rhythm tells them: they end the record if they lie within it.
pub(super) fn condense(view: SampleView<'_>, edges: &[Edge], lead: f64, outside: Option<(f64, f64)>) -> Vec<Average> {
    let points = view.len();
    let mut averages = Vec::new();
    for flat in 0..=edges.len() {
        let begin = flat.checked_sub(1).map(|i| edges[i].at);
        let before = begin.or(outside.map(|o| o.0));
        let from = before.map_or(0, |at| (at.floor().max(-1.0) as i64 + 1) as usize);
        let end = edges.get(flat).map(|e| e.at).or(outside.map(|o| o.1));
        let to = end.map_or(points, |at| (at - lead).ceil().max(0.0) as usize).min(points);
        if from >= to {
            continue;
        }
        let longest = ((to - from) / 24).max(1);
        let mut k = from;
        while k < to {
            let width = match before.map(|at| k as f64 - at) {
                None => longest.div_ceil(2),
                Some(distance) if distance < SINGLE => 1,
                Some(distance) => ((distance * GROWTH) as usize).clamp(1, longest),
            };
            let end = (k + width).min(to);
            if let Some(mut average) = average(view, k..end) {
                average.flat = flat as u32;
                average.since_edge = before.map_or(f64::INFINITY, |at| average.at - at);
                averages.push(average);
            }
            k = end;
        }
    }
    averages
}

fn average(view: SampleView<'_>, range: std::ops::Range<usize>) -> Option<Average> {
    let centre = 0.5 * (range.start + range.end - 1) as f64;
    let reference = view.at(range.start);
    let reference = if reference.is_finite() { reference } else { 0.0 };
    let (mut n, mut st, mut sv, mut stt, mut stv, mut svv) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for k in range {
        let v = view.at(k) - reference;
        if v.is_finite() {
            let t = k as f64 - centre;
            n += 1.0;
            st += t;
            sv += v;
            stt += t * t;
            stv += t * v;
            svv += v * v;
        }
    }
    if n < 1.0 {
        return None;
    }
    let (tt, tv, vv) = (stt - st * st / n, stv - st * sv / n, svv - sv * sv / n);
    let (inner_squares, inner_freedom) =
        if n >= 4.0 && tt > 0.0 { ((vv - tv * tv / tt).max(0.0), n - 2.0) } else { (0.0, 0.0) };
    Some(Average {
        at: centre + st / n,
        // An even distribution of half width w has the variance w²/3.
        half_width: (3.0 * tt / n).sqrt(),
        mean: reference + sv / n,
        count: n,
        inner_squares,
        inner_freedom,
        flat: 0,
        since_edge: 0.0,
    })
}
