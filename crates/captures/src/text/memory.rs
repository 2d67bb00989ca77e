//! A small memory of fields already read: converters have few codes, so the same text comes again and again.

/// Fields that are kept; a power of two.
const PLACES: usize = 2048;
/// Fields not found before the memory is judged.
const TRIAL: u32 = 4096;

/// Text of up to 15 bytes and its end mark, as two words.
type Key = [u64; 2];

/// Values by the very bytes they were read from.
#[derive(Debug)]
pub(crate) struct Memory {
    places: Vec<(Key, f64)>,
    misses: u32,
    hits: u32,
    /// Off once the fields turn out not to repeat.
    on: bool,
}

impl Memory {
    pub(crate) fn new() -> Self {
        // No text gives this key: its bytes are not all 0xFF with an end mark behind.
        Self { places: vec![([u64::MAX; 2], 0.0); PLACES], misses: 0, hits: 0, on: true }
    }

    #[inline(always)]
    pub(crate) fn is_on(&self) -> bool {
        self.on
    }

    /// The value of a field that was kept under `key`.
    #[inline(always)]
    pub(crate) fn get(&mut self, key: Key) -> Option<f64> {
        let (kept, value) = self.places[place(key)];
        if kept == key {
            self.hits = self.hits.wrapping_add(1);
            return Some(value);
        }
        None
    }

    /// Keeps a field.
    #[cold]
    pub(crate) fn keep(&mut self, key: Key, value: f64) {
        self.places[place(key)] = (key, value);
        self.misses += 1;
        if self.misses >= TRIAL {
            self.on = self.hits > 4 * self.misses;
            (self.hits, self.misses) = (0, 0);
        }
    }
}

#[inline(always)]
fn place(key: Key) -> usize {
    let mixed = (key[0] ^ key[1].rotate_left(23)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    (mixed >> 53) as usize & (PLACES - 1)
}

/// The bytes of `words` (16 bytes of text) before the first `end`, as a key, and their number; `None` when it is not
/// among them.
#[inline(always)]
pub(crate) fn key(words: Key, end: u8) -> Option<(Key, usize)> {
    let marks = u64::from_ne_bytes([end; 8]);
    // A byte that equals the mark becomes zero, and the lowest zero byte is found exactly.
    let find = |word: u64| {
        let x = word ^ marks;
        x.wrapping_sub(0x0101_0101_0101_0101) & !x & 0x8080_8080_8080_8080
    };
    let second = find(words[1]);
    let first = find(words[0]);
    if first == 0 {
        if second == 0 {
            return None;
        }
        let count = second.trailing_zeros() >> 3;
        return Some(([words[0], words[1].unbounded_shl(64 - 8 * count)], 8 + count as usize));
    }
    let count = first.trailing_zeros() >> 3;
    Some(([words[0].unbounded_shl(64 - 8 * count), 0], count as usize))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn prop_key_is_the_text_before_the_end(text in "[-+.,eE0-9\r]{0,15}", rest in "[-+.eE0-9\n]{16}") {
            let mut bytes = [0; 16];
            bytes.copy_from_slice(&format!("{text}\n{rest}").as_bytes()[..16]);
            let words = [&bytes[..8], &bytes[8..]].map(|b| b.iter().rev().fold(0, |w, b| w << 8 | u64::from(*b)));
            let (key, count) = key(words, b'\n').expect("the end is there");
            prop_assert_eq!(count, text.len());
            // The key gives the text back, so that different texts have different keys.
            let back: Vec<u8> = key.iter().flat_map(|w| w.to_le_bytes()).filter(|b| *b != 0).collect();
            prop_assert_eq!(back, text.as_bytes());
        }
    }

    #[test]
    fn forgets_when_nothing_repeats() {
        let mut memory = Memory::new();
        for k in 0..u64::from(TRIAL) {
            let key = [k << 8, 1];
            assert_eq!(memory.get(key), None);
            memory.keep(key, k as f64);
        }
        assert!(!memory.is_on());
    }
}
