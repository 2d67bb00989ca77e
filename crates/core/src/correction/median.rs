//! The median of numbers that pass by once, however many they are: counts and sums in bins a fifth of a per cent wide.

/// Bins of an octave, as bits of the mantissa.
const BITS: u32 = 9;

/// Octaves that are told apart; what lies below the first shares one bin with it, what lies above the last likewise.
const OCTAVES: usize = 256;

/// Exponent of the first octave, as f64 stores it: 2^−192.
const LOWEST: u64 = 1023 - 192;

/// Counts of numbers from nil up.
#[derive(Clone, Debug)]
pub(super) struct Median {
    bins: Vec<(u64, f64)>,
    count: u64,
}

impl Median {
    pub(super) fn new() -> Self {
        Self { bins: Vec::new(), count: 0 }
    }

    /// Takes a number in, for as many as `weight`; what is not a number from nil up is passed over.
    #[inline]
    pub(super) fn take(&mut self, value: f64, weight: u32) {
        if !(value >= 0.0 && value.is_finite()) {
            return;
        }
        if self.bins.is_empty() {
            self.bins = vec![(0, 0.0); (OCTAVES << BITS) + 1];
        }
        // Neighbouring numbers have neighbouring bits.
        let bin = (value.to_bits() >> (52 - BITS)).saturating_sub(LOWEST << BITS) as usize;
        let last = self.bins.len() - 1;
        let (count, sum) = &mut self.bins[bin.min(last)];
        *count += u64::from(weight);
        *sum += f64::from(weight) * value;
        self.count += u64::from(weight);
    }

    /// The mean of the bin in which the middle one lies: exact where all are alike. `None` where nothing was taken in.
    pub(super) fn value(&self) -> Option<f64> {
        let mut before = 0;
        for &(count, sum) in &self.bins {
            before += count;
            if 2 * before >= self.count && count > 0 {
                return Some(sum / count as f64);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    #[test]
    fn it_is_the_middle_of_all_that_passed() {
        let mut median = Median::new();
        assert_eq!(median.value(), None);
        // In no order: multiples of a step that shares no factor with their number.
        for k in 0..10_001u64 {
            median.take(1e-3 * ((k * 7919) % 10_001) as f64, 3);
        }
        assert_close!(median.value().unwrap_or(f64::NAN), 5.0, relative(2e-3));
        let mut alike = Median::new();
        for value in [0.3, 0.3, f64::NAN, -1.0, 0.3] {
            alike.take(value, 1);
        }
        assert_close!(alike.value().unwrap_or(f64::NAN), 0.3, relative(1e-15));
        let mut nil = Median::new();
        nil.take(0.0, 2);
        nil.take(1e300, 1);
        nil.take(1e-70, 1);
        assert_close!(nil.value().unwrap_or(f64::NAN), 0.0, within(1e-60));
    }
}
