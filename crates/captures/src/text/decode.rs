//! Text encodings: byte order marks, and UTF-16 turned into UTF-8 as a stream.

use std::io::{self, Read};

/// How a text is encoded, by its byte order mark (The Unicode Standard, 23.8).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Encoding {
    /// ASCII, UTF-8 or Latin-1; `skip` bytes of mark stand before it.
    Bytes { skip: usize },
    /// UTF-16, low byte first or not.
    Utf16 { low_first: bool },
}

/// The encoding of a text that starts with `head`.
pub(crate) fn encoding(head: &[u8]) -> Encoding {
    match head {
        [0xef, 0xbb, 0xbf, ..] => Encoding::Bytes { skip: 3 },
        [0xff, 0xfe, ..] => Encoding::Utf16 { low_first: true },
        [0xfe, 0xff, ..] => Encoding::Utf16 { low_first: false },
        _ => Encoding::Bytes { skip: 0 },
    }
}

/// UTF-8 read from UTF-16 with a byte order mark. Unpaired surrogates become U+FFFD.
pub(crate) struct Utf16Reader<R> {
    inner: R,
    low_first: bool,
    /// Bytes that are decoded and not yet handed out.
    ready: Vec<u8>,
    given: usize,
    /// An odd byte or a high surrogate kept for the next piece.
    kept: Vec<u8>,
    mark_passed: bool,
    ended: bool,
}

impl<R: Read> Utf16Reader<R> {
    pub(crate) fn new(inner: R, low_first: bool) -> Self {
        Self {
            inner,
            low_first,
            ready: Vec::new(),
            given: 0,
            kept: Vec::new(),
            mark_passed: false,
            ended: false,
        }
    }

    fn refill(&mut self) -> io::Result<()> {
        let mut raw = std::mem::take(&mut self.kept);
        let before = raw.len();
        raw.resize(before + (64 << 10), 0);
        let got = self.inner.read(&mut raw[before..])?;
        raw.truncate(before + got);
        self.ended = got == 0;
        let unit = |b: &[u8]| match (self.low_first, b) {
            (true, [a, b]) => u16::from_le_bytes([*a, *b]),
            (false, [a, b]) => u16::from_be_bytes([*a, *b]),
            _ => 0xfffd,
        };
        let mut whole = raw.len();
        if !self.ended {
            whole &= !1;
            if whole >= 2 && (0xd800..0xdc00).contains(&unit(&raw[whole - 2..whole])) {
                whole -= 2;
            }
        }
        self.ready.clear();
        self.given = 0;
        let mut letter = [0; 4];
        for decoded in char::decode_utf16(raw[..whole].chunks(2).map(unit)) {
            let c = decoded.unwrap_or(char::REPLACEMENT_CHARACTER);
            if self.mark_passed || c != '\u{feff}' {
                self.ready.extend_from_slice(c.encode_utf8(&mut letter).as_bytes());
            }
            self.mark_passed = true;
        }
        self.kept = raw.split_off(whole);
        Ok(())
    }
}

impl<R: Read> Read for Utf16Reader<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while self.given == self.ready.len() {
            if self.ended {
                return Ok(0);
            }
            self.refill()?;
        }
        let count = out.len().min(self.ready.len() - self.given);
        out[..count].copy_from_slice(&self.ready[self.given..self.given + count]);
        self.given += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn prop_utf16_comes_back_as_utf8(text in "\\PC{0,200}", low_first in any::<bool>(), piece in 1usize..7) {
            let units = std::iter::once(0xfeff).chain(text.encode_utf16());
            let bytes: Vec<u8> =
                units.flat_map(|u| if low_first { u.to_le_bytes() } else { u.to_be_bytes() }).collect();
            prop_assert_eq!(encoding(&bytes), Encoding::Utf16 { low_first });
            let mut back = Vec::new();
            Utf16Reader::new(Pieces(&bytes, piece), low_first).read_to_end(&mut back).expect("memory does not fail");
            prop_assert_eq!(String::from_utf8(back).expect("UTF-8 was written"), text.trim_start_matches('\u{feff}'));
        }
    }

    /// A reader that gives few bytes at a time.
    struct Pieces<'a>(&'a [u8], usize);

    impl Read for Pieces<'_> {
        fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
            let count = self.1.min(out.len()).min(self.0.len());
            out[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }
}
