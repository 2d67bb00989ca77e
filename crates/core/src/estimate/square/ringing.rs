//! Ringing after the edges: how large, and at what frequency when the sampling shows it.

use super::timing::Aftermath;

/// Ringing as seen in the folded departure from the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ringing {
    /// Largest departure after the edge, V.
    pub peak: f64,
    /// Cycles per sample, when at least three swings could be followed.
    pub frequency: Option<f64>,
}

/// Looks for swings to both sides that stand clear of the noise.
pub(super) fn look(aftermath: &Aftermath, ignore: f64, step: f64) -> Option<Ringing> {
    let ranks: Vec<_> = aftermath.ranks.iter().filter(|r| r.0 > ignore).collect();
    let peak = ranks.iter().map(|r| r.1.abs()).fold(0.0, f64::max);
    let clear = |r: &(f64, f64, f64)| r.1.abs() > 5.0 * r.2 && r.1.abs() > 0.01 * step;
    if peak < 0.02 * step || !ranks.iter().any(|r| clear(r)) {
        return None;
    }
    // Changes of sign between departures that are clear of the noise, placed by interpolation between neighbours.
    let mut swings: Vec<f64> = Vec::new();
    for pair in ranks.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let large = a.1.abs().max(b.1.abs());
        if a.1 * b.1 < 0.0 && large > 5.0 * a.2 && b.0 - a.0 < 1.5 {
            swings.push(a.0 + (b.0 - a.0) * a.1 / (a.1 - b.1));
        }
    }
    let frequency = if swings.len() >= 3 {
        let halves = (swings.len() - 1) as f64;
        let half_period = (swings[swings.len() - 1] - swings[0]) / halves;
        // Fewer than about five samples a cycle could be an alias of something faster.
        (half_period > 2.5).then_some(0.5 / half_period)
    } else {
        None
    };
    Some(Ringing { peak, frequency })
}
