//! Streams of pseudo-random numbers, each known by its key: seed, block, column.
//!
//! Generator: xoshiro256++ of D. Blackman and S. Vigna, *Scrambled linear pseudorandom number generators*, ACM TOMS 47 (2021), its state
//! filled by SplitMix64 as they advise (formulas from memory; held to another implementation by a test).

/// One stream.
#[derive(Clone, Debug)]
pub struct Stream {
    state: [u64; 4],
}

/// SplitMix64: one step of its counter, and what is mixed out of it.
fn split_mix(counter: &mut u64) -> u64 {
    *counter = counter.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *counter;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

impl Stream {
    /// The stream of a key. Different keys give streams that have nothing to do with each other.
    pub fn new(seed: u64, block: u64, column: u64) -> Self {
        let mut key = seed;
        key = split_mix(&mut key) ^ block;
        key = split_mix(&mut key) ^ column;
        Self { state: std::array::from_fn(|_| split_mix(&mut key)) }
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        let s = &mut self.state;
        let out = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        out
    }

    /// Between 0 and 1, neither of them: the middles of 2^52 equal steps.
    pub fn uniform(&mut self) -> f64 {
        ((self.bits() >> 12) as f64 + 0.5) * (1.0 / (1u64 << 52) as f64)
    }

    /// Fills a list with numbers between 0 and 1.
    pub fn fill(&mut self, out: &mut [f64]) {
        for value in out {
            *value = self.uniform();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};
    use rand::rand_core::{Rng, SeedableRng};

    /// Against the implementation of the rand project.
    #[test]
    fn bits_are_those_of_another_implementation() {
        let mut ours = Stream::new(7, 3, 2);
        let mut seed = [0u8; 32];
        for (bytes, word) in seed.chunks_mut(8).zip(ours.state) {
            bytes.copy_from_slice(&word.to_le_bytes());
        }
        let mut theirs = rand_xoshiro::Xoshiro256PlusPlus::from_seed(seed);
        for _ in 0..1000 {
            assert_eq!(ours.bits(), theirs.next_u64());
        }
    }

    #[test]
    fn keys_that_differ_give_streams_that_do_not_follow_each_other() {
        let first = |seed, block, column| Stream::new(seed, block, column).bits();
        let keys: Vec<u64> =
            (0..8).flat_map(|s| (0..8).flat_map(move |b| (0..8).map(move |c| first(s, b, c)))).collect();
        let distinct: std::collections::HashSet<_> = keys.iter().collect();
        assert_eq!(distinct.len(), 512);
        // Correlation of two streams of 1e5: 0 with a standard deviation of 0.003.
        let (mut a, mut b) = (Stream::new(1, 0, 0), Stream::new(1, 0, 1));
        let sum: f64 = (0..100_000).map(|_| (a.uniform() - 0.5) * (b.uniform() - 0.5)).sum();
        assert_close!(12.0 * sum / 1e5, 0.0, within(0.012));
    }
}
