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

/// A whole number that is ordered as values are ([`f64::total_cmp`]): whole numbers are sorted faster.
#[inline(always)]
fn key(value: f64) -> i64 {
    let bits = value.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// The value of a key.
#[inline(always)]
fn value(key: i64) -> f64 {
    f64::from_bits((key ^ (((key >> 63) as u64) >> 1) as i64) as u64)
}

/// The values beyond the thresholds, each side in rising order.
#[derive(Clone, Debug, Default)]
pub(super) struct Tails {
    pub(super) low: Vec<f64>,
    pub(super) high: Vec<f64>,
}

impl Tails {
    /// Of the values of one block; `room` is of no meaning before or after, but need not be made each time.
    pub(super) fn of(
        values: &[f64],
        thresholds: Thresholds,
        probability: f64,
        room: &mut [Vec<i64>; 2],
    ) -> Self {
        let [low, high] = room;
        // One place more than values, so that there is always a next one.
        low.resize(values.len() + 1, 0);
        high.resize(values.len() + 1, 0);
        // Written to the next place in any case, and kept or not: no branches.
        let (mut lows, mut highs) = (0, 0);
        for &value in values {
            let key = key(value);
            low[lows] = key;
            lows += usize::from(value <= thresholds.low);
            high[highs] = key;
            highs += usize::from(value >= thresholds.high);
        }
        let outside = values.len() - covered(values.len(), probability);
        let sorted = |keys: &mut [i64], kept: usize, is_too_few: bool| {
            let kept = if is_too_few {
                keys.iter_mut().zip(values).for_each(|(place, value)| *place = key(*value));
                &mut keys[..values.len()]
            } else {
                &mut keys[..kept]
            };
            kept.sort_unstable();
            kept.iter().map(|key| value(*key)).collect()
        };
        Self {
            low: sorted(low, lows, lows < outside || thresholds.low.is_infinite()),
            high: sorted(high, highs, highs < outside || thresholds.high.is_infinite()),
        }
    }

    /// Takes in what lies beyond the thresholds of another block.
    pub(super) fn join(&mut self, other: &Self, thresholds: Thresholds) {
        let low = other.low.partition_point(|v| *v <= thresholds.low);
        let high = other.high.partition_point(|v| *v < thresholds.high);
        self.low.extend_from_slice(&other.low[..low]);
        self.high.extend_from_slice(&other.high[high..]);
    }

    /// To be called after the last [`Tails::join`]. What came in order from each block is merged, not sorted anew.
    pub(super) fn sort(&mut self) {
        for side in [&mut self.low, &mut self.high] {
            let mut keys: Vec<i64> = side.iter().map(|value| key(*value)).collect();
            keys.sort();
            side.iter_mut().zip(keys).for_each(|(place, key)| *place = value(key));
        }
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
        let mut room = Default::default();
        for (block, probability) in [(1, 0.95), (2, 0.99), (3, 0.5), (4, 0.6827)] {
            Stream::new(1, block, 0).fill(&mut values);
            let mut sorted = values.clone();
            sorted.sort_unstable_by(f64::total_cmp);
            let q = covered(values.len(), probability);
            let outside = values.len() - q;
            let expected =
                (shortest(&sorted[..outside], &sorted[q..]), symmetric(&sorted[..outside], &sorted[q..]));
            let kept = Tails::of(&values, Thresholds::of(&pilot, probability, 1.0), probability, &mut room);
            assert_eq!(kept.intervals(values.len(), probability), Some(expected), "{probability}");
            // Thresholds that let too little through are no harm.
            let tight = Tails::of(&values, Thresholds { low: -1.0, high: 2.0 }, probability, &mut room);
            assert_eq!(tight.intervals(values.len(), probability), Some(expected), "{probability}");
        }
    }

    #[test]
    fn keys_are_ordered_as_values() {
        let mut values =
            [-f64::INFINITY, -3.5, -1e-300, -0.0, 0.0, 2e-308, 1.0, 1.0 + f64::EPSILON, f64::INFINITY];
        assert!(values.windows(2).all(|pair| key(pair[0]) < key(pair[1])));
        for one in &mut values {
            assert_eq!(value(key(*one)).to_bits(), one.to_bits());
        }
    }
}
