//! Where the edges are, and how much room there is about them.

/// Hysteresis about the middle, share of the amplitude.
const HYSTERESIS: f64 = 0.2;
/// Most edges that are used; of more, every so-many-th is taken.
const MOST_EDGES: usize = 128;
/// Fewest samples on either side of an edge.
pub(super) const LEAST_SIDE: f64 = 12.0;

/// One edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    /// 50 % instant, in samples from the first.
    pub(super) at: f64,
    /// +1 for rising, −1 for falling.
    pub(super) sign: f64,
}

/// Edges with the room that all of them have, in samples.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Edges {
    pub(super) used: Vec<Edge>,
    /// All that were seen, used or not.
    pub(super) all: Vec<Edge>,
    pub(super) before: f64,
    pub(super) after: f64,
    /// High less low level.
    pub(super) amplitude: f64,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// Finds them; `None` where the column does not go from one level to another.
pub(super) fn find(samples: &[f64]) -> Option<Edges> {
    let (low, high) = levels(samples)?;
    let (middle, amplitude) = (0.5 * (low + high), high - low);
    let (upper, lower) = (middle + HYSTERESIS * amplitude, middle - HYSTERESIS * amplitude);
    let mut all = Vec::new();
    let mut is_high: Option<bool> = None;
    // First and last crossing of the middle since the last state; noise may make several of them.
    let mut crossings: Option<(f64, f64)> = None;
    for (k, &v) in samples.iter().enumerate() {
        if k > 0 {
            let before = samples[k - 1];
            if (before < middle) != (v < middle) {
                let at = (k - 1) as f64 + (middle - before) / (v - before);
                crossings = Some((crossings.map_or(at, |c| c.0), at));
            }
        }
        let now = if v > upper {
            true
        } else if v < lower {
            false
        } else {
            continue;
        };
        if let (Some(was), Some((first, last))) = (is_high, crossings)
            && was != now
        {
            all.push(Edge { at: 0.5 * (first + last), sign: if now { 1.0 } else { -1.0 } });
        }
        is_high = Some(now);
        crossings = None;
    }
    let end = (samples.len() - 1) as f64;
    let room = |i: usize| {
        let before = if i == 0 { all[0].at } else { 0.5 * (all[i].at - all[i - 1].at) };
        let after = if i + 1 == all.len() { end - all[i].at } else { 0.5 * (all[i + 1].at - all[i].at) };
        (before, after)
    };
    // The first and the last edge may stand too near the end of the record; they are left out if others are there.
    let inner = (0..all.len()).filter(|&i| i > 0 && i + 1 < all.len()).map(room);
    let least = inner.fold((f64::INFINITY, f64::INFINITY), |l, r| (l.0.min(r.0), l.1.min(r.1)));
    let fits = |i: usize| {
        let (before, after) = room(i);
        all.len() < 3 || before >= 0.9 * least.0 && after >= 0.9 * least.1
    };
    let fitting: Vec<usize> = (0..all.len()).filter(|&i| fits(i)).collect();
    // An odd step takes rising and falling edges alike.
    let stride = fitting.len().div_ceil(MOST_EDGES);
    let stride = if stride > 1 { stride | 1 } else { 1 };
    let chosen: Vec<usize> = fitting.into_iter().step_by(stride).collect();
    let (before, after) = chosen
        .iter()
        .map(|&i| room(i))
        .fold((f64::INFINITY, f64::INFINITY), |l, r| (l.0.min(r.0), l.1.min(r.1)));
    let used: Vec<Edge> = chosen.iter().map(|&i| all[i]).collect();
    (!used.is_empty()).then_some(Edges { used, all, before, after, amplitude, low, high })
}

/// Two levels: the medians of what lies below and above the middle of the range.
fn levels(samples: &[f64]) -> Option<(f64, f64)> {
    let stride = (samples.len() / 20_000).max(1);
    let mut some: Vec<f64> = samples.iter().step_by(stride).copied().filter(|v| v.is_finite()).collect();
    if some.len() < 16 {
        return None;
    }
    some.sort_by(f64::total_cmp);
    let (least, most) = (some[0], some[some.len() - 1]);
    let split = some.partition_point(|v| *v < 0.5 * (least + most));
    if split == 0 || split == some.len() {
        return None;
    }
    let (low, high) = (some[split / 2], some[split + (some.len() - split) / 2]);
    (low < high).then_some((low, high))
}
