//! Flats condensed to averages: every sample between the edges counts, and no more than a few hundred rows are fitted
//! for each flat.
//!
//! Averages are single samples right after an edge and grow with the distance from it, always short against the time
//! in which the tail changes. Their inner scatter is a measure of noise that needs no model.

use super::edges::Edge;
use crate::samples::{Raw, SampleView};

/// Single samples are kept this far after an edge; beyond, an average covers this share of its distance from the edge.
const FINE: (f64, f64) = (24.0, 0.06);
/// The same where very many flats say the same thing: the shape of the tail within an average is in the model.
const COARSE: (f64, f64) = (10.0, 0.15);
/// More edges than this are very many.
const MANY_EDGES: usize = 200;

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

impl Average {
    /// A place at which the fitted value is asked for; nothing was measured there.
    pub(super) fn place(at: f64, flat: u32) -> Self {
        Self {
            at,
            half_width: 0.0,
            mean: 0.0,
            count: 1.0,
            inner_squares: 0.0,
            inner_freedom: 0.0,
            flat,
            since_edge: 0.0,
        }
    }
}

/// Condenses the flats between the edges. `lead` samples before each edge are left out; `outside` are the
/// edges before the first and after the last one, where the rhythm tells them: they end the record if they lie within it.
pub(super) fn condense(
    view: SampleView<'_>,
    edges: &[Edge],
    lead: f64,
    outside: Option<(f64, f64)>,
) -> Vec<Average> {
    let points = view.len();
    let (single, growth) = if edges.len() > MANY_EDGES { COARSE } else { FINE };
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
                Some(distance) if distance < single => 1,
                Some(distance) => ((distance * growth) as usize).clamp(1, longest),
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

/// Moments of a stretch: count, and sums of t, v, t², t·v, v², with t from the stretch's middle and v from a reference.
#[derive(Clone, Copy, Default)]
struct Sums {
    n: f64,
    t: f64,
    v: f64,
    tt: f64,
    tv: f64,
    vv: f64,
}

/// The sums over stored samples of any format, volts being `offset + scale · stored` (offset less the reference).
fn sums<T: Copy + Into<f64>>(stored: &[T], scale: f64, offset: f64) -> Sums {
    const LANES: usize = 8;
    let centre = 0.5 * (stored.len() - 1) as f64;
    // Lanes let the compiler use vector instructions; a sample that is missing shows in the total and is dealt with below.
    let (mut v, mut tv, mut vv) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
    let mut chunks = stored.chunks_exact(LANES);
    let mut time: [f64; LANES] = std::array::from_fn(|i| i as f64 - centre);
    for chunk in &mut chunks {
        for i in 0..LANES {
            let x = offset + scale * chunk[i].into();
            v[i] += x;
            tv[i] += time[i] * x;
            vv[i] += x * x;
            time[i] += LANES as f64;
        }
    }
    for (i, &raw) in chunks.remainder().iter().enumerate() {
        let x = offset + scale * raw.into();
        v[i] += x;
        tv[i] += time[i] * x;
        vv[i] += x * x;
    }
    let n = stored.len() as f64;
    let all = Sums {
        n,
        t: 0.0,
        v: v.iter().sum(),
        tt: n * (n * n - 1.0) / 12.0,
        tv: tv.iter().sum(),
        vv: vv.iter().sum(),
    };
    if all.vv.is_finite() {
        return all;
    }
    let mut kept = Sums::default();
    for (k, &raw) in stored.iter().enumerate() {
        let (t, x) = (k as f64 - centre, offset + scale * raw.into());
        if x.is_finite() {
            kept.n += 1.0;
            kept.t += t;
            kept.v += x;
            kept.tt += t * t;
            kept.tv += t * x;
            kept.vv += x * x;
        }
    }
    kept
}

fn average(view: SampleView<'_>, range: std::ops::Range<usize>) -> Option<Average> {
    let centre = 0.5 * (range.start + range.end - 1) as f64;
    let reference = view.at(range.start);
    let reference = if reference.is_finite() { reference } else { 0.0 };
    let offset = view.offset - reference;
    let s = match view.raw {
        Raw::F64(stored) => sums(&stored[range], view.scale, offset),
        Raw::F32(stored) => sums(&stored[range], view.scale, offset),
        Raw::I16(stored) => sums(&stored[range], view.scale, offset),
    };
    if s.n < 1.0 {
        return None;
    }
    let (tt, tv, vv) = (s.tt - s.t * s.t / s.n, s.tv - s.t * s.v / s.n, s.vv - s.v * s.v / s.n);
    let (inner_squares, inner_freedom) =
        if s.n >= 4.0 && tt > 0.0 { ((vv - tv * tv / tt).max(0.0), s.n - 2.0) } else { (0.0, 0.0) };
    Some(Average {
        at: centre + s.t / s.n,
        // An even distribution of half width w has the variance w²/3.
        half_width: (3.0 * tt / s.n).max(0.0).sqrt(),
        mean: reference + s.v / s.n,
        count: s.n,
        inner_squares,
        inner_freedom,
        flat: 0,
        since_edge: 0.0,
    })
}

/// The averages after the edges have moved by less than a sample or so: made again for short records, where every
/// sample next to an edge counts; only timed again for long ones.
pub(super) fn follow(
    view: SampleView<'_>,
    edges: &[Edge],
    lead: f64,
    outside: Option<(f64, f64)>,
    averages: &mut Vec<Average>,
) {
    if averages.is_empty() || view.len() <= LONG_RECORD {
        *averages = condense(view, edges, lead, outside);
        return;
    }
    for average in averages {
        let begin = average.flat.checked_sub(1).map(|i| edges[i as usize].at).or(outside.map(|o| o.0));
        average.since_edge = begin.map_or(f64::INFINITY, |at| average.at - at);
    }
}

/// Records longer than this are condensed once.
const LONG_RECORD: usize = 200_000;
