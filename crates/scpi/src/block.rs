//! Blocks of bytes within messages, read in pieces and with a limit.
//!
//! IEEE 488.2-1992, 8.7.9: a definite block is `#`, one digit that says how many digits follow, these digits, which say
//! how many bytes follow, and the bytes. 8.7.10: an indefinite block is `#0`, the bytes, and a line feed sent with END.
//! On a link without END nothing in the bytes tells where an indefinite block ends.

use crate::excerpt::excerpt;

/// Most bytes that nine digits can announce.
pub const MOST_BYTES: usize = 999_999_999;

/// What is wrong with a block.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BlockError {
    /// It does not begin as a block does.
    #[error("expected a block, \"#\" and its number of digits, found {found}")]
    NotABlock {
        /// What stands there.
        found: String,
    },
    /// The length is no number.
    #[error("expected the length of the block in {digits} digits, found {found}")]
    BadLength {
        /// Announced number of digits.
        digits: u8,
        /// What stands there.
        found: String,
    },
    /// The block announces more than is taken.
    #[error("the block announces {announced} bytes, and at most {limit} are taken")]
    TooLarge {
        /// Announced number of bytes.
        announced: u64,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// An indefinite block has grown beyond what is taken.
    #[error("the block has no end after {received} bytes, and at most {limit} are taken")]
    Endless {
        /// Bytes so far.
        received: usize,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// The message ended within the block.
    #[error("the block announces {announced} bytes and ends after {received}")]
    Short {
        /// Announced number of bytes.
        announced: usize,
        /// Bytes that came.
        received: usize,
    },
    /// The message ended within the first bytes.
    #[error("the block ends before its length is told: {found}")]
    NoLength {
        /// What came.
        found: String,
    },
}

/// `data` as a definite block.
///
/// # Errors
/// More than [`MOST_BYTES`].
pub fn definite(data: &[u8]) -> Result<Vec<u8>, BlockError> {
    if data.len() > MOST_BYTES {
        return Err(BlockError::TooLarge { announced: data.len() as u64, limit: MOST_BYTES });
    }
    let length = data.len().to_string();
    let mut bytes = format!("#{}{length}", length.len()).into_bytes();
    bytes.extend_from_slice(data);
    Ok(bytes)
}

/// `data` as an indefinite block with its line feed, which must be sent as the end of the message.
pub fn indefinite(data: &[u8]) -> Vec<u8> {
    let mut bytes = b"#0".to_vec();
    bytes.extend_from_slice(data);
    bytes.push(b'\n');
    bytes
}

/// How far a block is.
#[derive(Clone, Debug, PartialEq, Eq)]
enum State {
    /// Nothing yet.
    Start,
    /// Behind `#`.
    Sharp,
    /// Collecting the digits of the length.
    Length { digits: u8, text: Vec<u8> },
    /// Collecting so many bytes.
    Definite { announced: usize },
    /// Collecting until END.
    Indefinite { ended: bool },
}

/// A block being read. It never holds more than has arrived, whatever length is announced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlockReader {
    limit: usize,
    state: State,
    data: Vec<u8>,
}

impl BlockReader {
    /// A reader that takes at most `limit` bytes of data.
    pub fn new(limit: usize) -> Self {
        Self { limit, state: State::Start, data: Vec::new() }
    }

    /// Takes the bytes that belong to the block, and tells how many of `bytes` that were.
    ///
    /// # Errors
    /// The bytes are no block, or too many.
    pub fn feed(&mut self, bytes: &[u8]) -> Result<usize, BlockError> {
        let mut taken = 0;
        while let Some(&byte) = bytes.get(taken) {
            match &mut self.state {
                State::Start if byte == b'#' => self.state = State::Sharp,
                State::Start => return Err(BlockError::NotABlock { found: excerpt(&bytes[taken..]) }),
                State::Sharp => match byte {
                    b'0' => self.state = State::Indefinite { ended: false },
                    b'1'..=b'9' => self.state = State::Length { digits: byte - b'0', text: Vec::new() },
                    _ => {
                        return Err(BlockError::NotABlock {
                            found: excerpt(&[&b"#"[..], &bytes[taken..]].concat()),
                        });
                    }
                },
                State::Length { digits, text } => {
                    text.push(byte);
                    if !byte.is_ascii_digit() {
                        return Err(BlockError::BadLength { digits: *digits, found: excerpt(text) });
                    }
                    if text.len() == usize::from(*digits) {
                        // At most nine digits.
                        let announced = text.iter().fold(0, |n, d| n * 10 + usize::from(d - b'0'));
                        if announced > self.limit {
                            let announced = announced as u64;
                            return Err(BlockError::TooLarge { announced, limit: self.limit });
                        }
                        self.state = State::Definite { announced };
                    }
                }
                State::Definite { announced } => {
                    let count = (*announced - self.data.len()).min(bytes.len() - taken);
                    if count == 0 {
                        break;
                    }
                    self.data.extend_from_slice(&bytes[taken..taken + count]);
                    taken += count;
                    continue;
                }
                State::Indefinite { ended: true } => break,
                State::Indefinite { ended: false } => {
                    let rest = &bytes[taken..];
                    // One more than the limit: the line feed that ends it.
                    let room = (self.limit + 1).saturating_sub(self.data.len());
                    if rest.len() > room {
                        let received = self.data.len() + rest.len();
                        return Err(BlockError::Endless { received, limit: self.limit });
                    }
                    self.data.extend_from_slice(rest);
                    return Ok(bytes.len());
                }
            }
            taken += 1;
        }
        Ok(taken)
    }

    /// The message ends here: takes the line feed off an indefinite block.
    ///
    /// # Errors
    /// The block is not complete.
    pub fn end(&mut self) -> Result<(), BlockError> {
        match &mut self.state {
            State::Indefinite { ended } => {
                if !*ended && self.data.last() == Some(&b'\n') {
                    self.data.pop();
                }
                *ended = true;
                Ok(())
            }
            State::Definite { announced } if *announced == self.data.len() => Ok(()),
            State::Definite { announced } => {
                Err(BlockError::Short { announced: *announced, received: self.data.len() })
            }
            State::Start => Err(BlockError::NoLength { found: excerpt(b"") }),
            State::Sharp => Err(BlockError::NoLength { found: excerpt(b"#") }),
            State::Length { digits, text } => {
                let found = excerpt(&[&[b'#', b'0' + *digits], &text[..]].concat());
                Err(BlockError::NoLength { found })
            }
        }
    }

    /// Whether all bytes are there. Of an indefinite block only [`end`](Self::end) can tell.
    pub fn is_complete(&self) -> bool {
        match self.state {
            State::Definite { announced } => announced == self.data.len(),
            State::Indefinite { ended } => ended,
            _ => false,
        }
    }

    /// Whether it is an indefinite block.
    pub fn is_indefinite(&self) -> bool {
        matches!(self.state, State::Indefinite { .. })
    }

    /// The announced number of bytes, once it is known.
    pub fn announced(&self) -> Option<usize> {
        match self.state {
            State::Definite { announced } => Some(announced),
            _ => None,
        }
    }

    /// The data so far.
    pub fn data(&self) -> &[u8] {
        &self.data
    }

    /// The data.
    pub fn into_data(self) -> Vec<u8> {
        self.data
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(pieces: &[&[u8]], limit: usize) -> Result<(Vec<u8>, usize), BlockError> {
        let mut reader = BlockReader::new(limit);
        let mut taken = 0;
        for piece in pieces {
            taken += reader.feed(piece)?;
        }
        reader.end()?;
        Ok((reader.into_data(), taken))
    }

    /// From memory: the two examples of IEEE 488.2-1992, 7.7.6.4: `#15<5 bytes>` and `#0<bytes>NL^END`, and that
    /// leading zeros are allowed, as in `#3005`.
    #[test]
    fn examples_of_the_standard() {
        assert_eq!(read(&[b"#15ABCDE"], 9), Ok((b"ABCDE".to_vec(), 8)));
        assert_eq!(read(&[b"#3005ABCDE"], 9), Ok((b"ABCDE".to_vec(), 10)));
        assert_eq!(read(&[b"#0ABC\nDE\n"], 9), Ok((b"ABC\nDE".to_vec(), 9)));
        assert_eq!(definite(b"ABCDE").unwrap(), b"#15ABCDE");
        assert_eq!(definite(b"").unwrap(), b"#10");
        assert_eq!(indefinite(b"ABC"), b"#0ABC\n");
    }

    #[test]
    fn what_follows_a_definite_block_is_left() {
        let mut reader = BlockReader::new(9);
        assert_eq!(reader.feed(b"#12ab\n"), Ok(5));
        assert!(reader.is_complete());
        assert_eq!(reader.announced(), Some(2));
        assert_eq!(reader.feed(b"\n"), Ok(0));
        assert_eq!(reader.data(), b"ab");
    }

    #[test]
    fn faults_say_what_was_found() {
        let fault = |bytes: &[u8]| read(&[bytes], 9).unwrap_err().to_string();
        assert_eq!(fault(b"1.5"), "expected a block, \"#\" and its number of digits, found \"1.5\"");
        assert_eq!(fault(b"#H1F"), "expected a block, \"#\" and its number of digits, found \"#H1F\"");
        assert_eq!(fault(b"#21x"), "expected the length of the block in 2 digits, found \"1x\"");
        assert_eq!(fault(b"#9999999999"), "the block announces 999999999 bytes, and at most 9 are taken");
        assert_eq!(fault(b"#14ab"), "the block announces 4 bytes and ends after 2");
        assert_eq!(fault(b"#0012345678901"), "the block has no end after 12 bytes, and at most 9 are taken");
        assert_eq!(fault(b"#41"), "the block ends before its length is told: \"#41\"");
        assert_eq!(fault(b""), "the block ends before its length is told: \"\"");
    }

    proptest! {
        #[test]
        fn prop_both_codings_come_back_at_any_split(
            data in prop::collection::vec(any::<u8>(), 0..300),
            cuts in prop::collection::vec(0usize..310, 0..6),
        ) {
            for coded in [definite(&data).unwrap(), indefinite(&data)] {
                let mut cuts: Vec<usize> = cuts.iter().map(|c| c % (coded.len() + 1)).collect();
                cuts.extend([0, coded.len()]);
                cuts.sort_unstable();
                let pieces: Vec<&[u8]> = cuts.windows(2).map(|w| &coded[w[0]..w[1]]).collect();
                prop_assert_eq!(read(&pieces, 300), Ok((data.clone(), coded.len())));
            }
        }

        #[test]
        fn prop_any_bytes_never_take_more_than_the_limit(pieces: Vec<Vec<u8>>, limit in 0usize..64) {
            let mut reader = BlockReader::new(limit);
            for piece in std::iter::once(&b"#".to_vec()).chain(&pieces) {
                let Ok(taken) = reader.feed(piece) else { break };
                prop_assert!(taken <= piece.len());
                prop_assert!(reader.data().len() <= limit + 1);
            }
            let _ = reader.end();
        }
    }
}
