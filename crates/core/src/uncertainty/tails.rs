//! Both ends of a distribution of many values, without keeping the middle.

use super::interval::{Interval, covered, shortest, symmetric};

/// Beyond which values are kept.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thresholds {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Thresholds {
    /// From sorted values of a first block: wide enough that each block of as many trials holds its coverage interval's ends beyond
    /// them, but for chances of one in 10⁹. `widening` is 1, or more if that was not enough.
    pub(super) fn of(sorted: &[f64], probability: f64, widening: f64) -> Self {
        let count = sorted.len() as f64;
        let outside = 1.0 - probability;
        let share = outside + widening * 9.0 * (outside * probability / count).sqrt();
        if share >= 0.5 {
            return Self { low: f64::INFINITY, high: f64::NEG_INFINITY };
        }
        let k = (share * count).ceil() as usize;
        Self { low: sorted[k], high: sorted[sorted.len() - 1 - k] }
    }
}

/// The values beyond the thresholds, each side in rising order.
#[derive(Clone, Debug, Default)]
pub(super) struct Tails {
    pub(super) low: Vec<f64>,
    pub(super) high: Vec<f64>,
}

impl Tails {
    /// Of the values of one block.
    pub(super) fn of(values: &[f64], thresholds: Thresholds, probability: f64) -> Self {
        // One place more than values, so that there is always a next one.
        let room = values.len() + 1;
        let mut tails = Self { low: vec![0.0; room], high: vec![0.0; room] };
        // Written to the next place in any case, and kept or not: no branches.
        let (mut lows, mut highs) = (0, 0);
        for &value in values {
            tails.low[lows] = value;
            lows += usize::from(value <= thresholds.low);
            tails.high[highs] = value;
            highs += usize::from(value >= thresholds.high);
        }
        tails.low.truncate(lows);
        tails.high.truncate(highs);
        let outside = values.len() - covered(values.len(), probability);
        let all = |of: &mut Vec<f64>| {
            of.clear();
            of.extend_from_slice(values);
        };
        if tails.low.len() < outside || thresholds.low.is_infinite() {
            all(&mut tails.low);
        }
        if tails.high.len() < outside || thresholds.high.is_infinite() {
            all(&mut tails.high);
        }
        tails.low.sort_unstable_by(f64::total_cmp);
        tails.high.sort_unstable_by(f64::total_cmp);
        tails
    }

    /// Takes in what lies beyond the thresholds of another block.
    pub(super) fn join(&mut self, other: &Self, thresholds: Thresholds) {
        let low = other.low.partition_point(|v| *v <= thresholds.low);
        let high = other.high.partition_point(|v| *v < thresholds.high);
        self.low.extend_from_slice(&other.low[..low]);
        self.high.extend_from_slice(&other.high[high..]);
    }

    /// To be called after the last [`Tails::join`].
    pub(super) fn sort(&mut self) {
        self.low.sort_unstable_by(f64::total_cmp);
        self.high.sort_unstable_by(f64::total_cmp);
    }

    /// The shortest and the symmetric interval of `count` values; `None` where too few values were kept.
    pub(super) fn intervals(&self, count: usize, probability: f64) -> Option<(Interval, Interval)> {
        let outside = count - covered(count, probability);
        if outside == 0 || self.low.len() < outside || self.high.len() < outside {
            return None;
        }
        let (low, high) = (&self.low[..outside], &self.high[self.high.len() - outside..]);
        Some((shortest(low, high), symmetric(low, high)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::Stream;

    #[test]
    fn tails_give_the_intervals_of_all_values() {
        let mut pilot = vec![0.0; 10_000];
        Stream::new(1, 0, 0).fill(&mut pilot);
        pilot.sort_unstable_by(f64::total_cmp);
        let mut values = vec![0.0; 10_000];
        for (block, probability) in [(1, 0.95), (2, 0.99), (3, 0.5), (4, 0.6827)] {
            Stream::new(1, block, 0).fill(&mut values);
            let mut sorted = values.clone();
            sorted.sort_unstable_by(f64::total_cmp);
            let q = covered(values.len(), probability);
            let outside = values.len() - q;
            let expected =
                (shortest(&sorted[..outside], &sorted[q..]), symmetric(&sorted[..outside], &sorted[q..]));
            let kept = Tails::of(&values, Thresholds::of(&pilot, probability, 1.0), probability);
            assert_eq!(kept.intervals(values.len(), probability), Some(expected), "{probability}");
            // Thresholds that let too little through are no harm.
            let tight = Tails::of(&values, Thresholds { low: -1.0, high: 2.0 }, probability);
            assert_eq!(tight.intervals(values.len(), probability), Some(expected), "{probability}");
        }
    }
}
