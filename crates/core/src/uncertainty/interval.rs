//! Coverage intervals from sorted values (JCGM 101, 7.7), of which only both ends are needed.

/// From `low` to `high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Its length.
    pub fn length(&self) -> f64 {
        self.high - self.low
    }
}

/// How many of M values lie in a coverage interval: q, the whole number nearest to p·M.
pub(super) fn covered(values: usize, probability: f64) -> usize {
    ((probability * values as f64 + 0.5) as usize).clamp(1, values.saturating_sub(1).max(1))
}

/// The probabilistically symmetric interval. `low` holds the M − q least values in rising order, `high` the M − q largest ones.
pub(super) fn symmetric(low: &[f64], high: &[f64]) -> Interval {
    let outside = low.len().min(high.len());
    // r = (M − q)/2, or (M − q + 1)/2 where that is not whole; counted from 1.
    let r = outside.div_ceil(2).max(1) - 1;
    Interval { low: low[r], high: high[r] }
}

/// The shortest of all intervals that hold q values.
pub(super) fn shortest(low: &[f64], high: &[f64]) -> Interval {
    let mut best = Interval { low: low[0], high: high[0] };
    for (&low, &high) in low.iter().zip(high) {
        if high - low < best.length() {
            best = Interval { low, high };
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative};

    /// The rule of JCGM 101, 7.7.2 and 7.7.4, on a list short enough to count by hand.
    #[test]
    fn intervals_of_a_short_list() {
        let sorted: Vec<f64> = (1..=100).map(|k| f64::from(k).powi(2)).collect();
        let q = covered(100, 0.95);
        assert_eq!(q, 95);
        let outside = 100 - q;
        let (low, high) = (&sorted[..outside], &sorted[q..]);
        // r = (5 + 1)/2 = 3: from the third to the 98th.
        let middle = symmetric(low, high);
        assert_close!(middle.low, 9.0, relative(1e-15));
        assert_close!(middle.high, 98.0 * 98.0, relative(1e-15));
        // Squares lie closest at the start: from the first to the 96th.
        let least = shortest(low, high);
        assert_close!(least.low, 1.0, relative(1e-15));
        assert_close!(least.high, 96.0 * 96.0, relative(1e-15));
    }
}
