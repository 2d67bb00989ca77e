//! One pass over a record: the extremes of every block of samples, so that edges can be found without a second pass.
//!
//! Scans of neighbouring stretches can be made apart (on several cores) and appended.

use crate::samples::{Raw, SampleView};

/// Samples per block when a record is long. A power of two, small against any usable half period.
const LONG_BLOCK: usize = 32;
/// Records up to this many samples are scanned sample by sample.
const SHORT_RECORD: usize = 1 << 16;

/// Lowest and highest stored value of each block; `lowest > highest` marks a block without any finite sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Scan {
    pub(super) block: usize,
    pub(super) lowest: Vec<f64>,
    pub(super) highest: Vec<f64>,
}

impl Scan {
    /// Block length that suits a record of `points` samples. Stretches scanned apart must share it and must start at
    /// a multiple of it.
    pub fn block_for(points: usize) -> usize {
        if points <= SHORT_RECORD { 1 } else { LONG_BLOCK }
    }

    /// Scans a stretch of a record.
    pub fn of(view: SampleView<'_>, block: usize) -> Self {
        let (mut lowest, mut highest) = match view.raw {
            Raw::F64(s) => extremes(s, block),
            Raw::F32(s) => extremes(s, block),
            Raw::I16(s) => extremes(s, block),
        };
        if view.scale < 0.0 {
            std::mem::swap(&mut lowest, &mut highest);
        }
        for value in lowest.iter_mut().chain(highest.iter_mut()) {
            *value = view.offset + view.scale * *value;
        }
        Self { block, lowest, highest }
    }

    /// Adds the scan of the stretch that follows.
    ///
    /// # Panics
    /// When the block lengths differ.
    pub fn append(&mut self, mut next: Scan) {
        assert_eq!(self.block, next.block, "scans of one record share their block length");
        self.lowest.append(&mut next.lowest);
        self.highest.append(&mut next.highest);
    }

    pub(super) fn blocks(&self) -> usize {
        self.lowest.len()
    }

    /// Lowest and highest finite sample of the record, V; `None` when there is none.
    pub(super) fn range(&self) -> Option<(f64, f64)> {
        let low = self.lowest.iter().copied().fold(f64::INFINITY, f64::min);
        let high = self.highest.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (low.is_finite() && high.is_finite()).then_some((low, high))
    }
}

/// Values the scan can compare where they lie, without turning each into a double first.
trait Stored: Copy + PartialOrd + Into<f64> {
    const TOP: Self;
    const BOTTOM: Self;
}
impl Stored for f64 {
    const TOP: Self = f64::INFINITY;
    const BOTTOM: Self = f64::NEG_INFINITY;
}
impl Stored for f32 {
    const TOP: Self = f32::INFINITY;
    const BOTTOM: Self = f32::NEG_INFINITY;
}
impl Stored for i16 {
    const TOP: Self = i16::MAX;
    const BOTTOM: Self = i16::MIN;
}

fn extremes<T: Stored>(samples: &[T], block: usize) -> (Vec<f64>, Vec<f64>) {
    let blocks = samples.len().div_ceil(block);
    let (mut lowest, mut highest) = (Vec::with_capacity(blocks), Vec::with_capacity(blocks));
    for chunk in samples.chunks(block) {
        // Eight lanes let the compiler use vector instructions; comparisons with NaN are false, so NaN drops out.
        let (mut low, mut high) = ([T::TOP; 8], [T::BOTTOM; 8]);
        let mut lanes = chunk.chunks_exact(8);
        for lane in &mut lanes {
            for i in 0..8 {
                low[i] = if lane[i] < low[i] { lane[i] } else { low[i] };
                high[i] = if lane[i] > high[i] { lane[i] } else { high[i] };
            }
        }
        for (i, &value) in lanes.remainder().iter().enumerate() {
            low[i] = if value < low[i] { value } else { low[i] };
            high[i] = if value > high[i] { value } else { high[i] };
        }
        let least = low.into_iter().fold(T::TOP, |a, b| if b < a { b } else { a });
        let most = high.into_iter().fold(T::BOTTOM, |a, b| if b > a { b } else { a });
        lowest.push(least.into());
        highest.push(most.into());
    }
    (lowest, highest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_samples_do_not_count_and_stretches_append() {
        let samples: Vec<f32> = (0..100).map(|k| if k % 7 == 0 { f32::NAN } else { k as f32 }).collect();
        let view = |s| SampleView { raw: Raw::F32(s), scale: -2.0, offset: 1.0 };
        let whole = Scan::of(view(&samples), 32);
        let mut parts = Scan::of(view(&samples[..64]), 32);
        parts.append(Scan::of(view(&samples[64..]), 32));
        assert_eq!(whole, parts);
        assert_eq!(whole.range(), Some((1.0 - 2.0 * 99.0, 1.0 - 2.0)));
        assert_eq!(Scan::of(view(&[f32::NAN; 9]), 4).range(), None);
    }
}
