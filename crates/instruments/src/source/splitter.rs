//! Where one record ends and the next begins, in a stream of text or NPY records.
//!
//! - A record of text ends with a form feed, or with an empty line once it has [`ENOUGH`] lines that begin with a digit,
//!   a sign or a decimal mark: empty lines within its heading do no harm. The end of the stream ends the last one.
//! - A record that begins as NPY does is as long as its own header says.
//! - Blanks, empty lines and form feeds between records are passed over.
//! - After a record that can't be taken, all is passed over up to the next form feed, empty line or beginning of NPY.

use flattop_captures::npy_length;

/// Lines of numbers from which on an empty line ends a record: as many as a capture has points at least.
pub const ENOUGH: usize = 16;
/// First bytes of an NPY record.
const NPY: &[u8] = b"\x93NUMPY";

/// Why a record is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SplitError {
    /// It is too long.
    #[error(
        "record {record}: longer than {limit} bytes, the most that is taken; end records with an empty line, or export fewer points"
    )]
    TooLarge {
        /// Number of the record in the stream, from 1.
        record: u64,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// Its NPY header is broken.
    #[error("record {record}: {reason}")]
    Header {
        /// Number of the record in the stream, from 1.
        record: u64,
        /// What is wrong.
        reason: String,
    },
    /// The stream ended within it.
    #[error("record {record}: the stream ended after {received} bytes of an NPY record")]
    Cut {
        /// Number of the record in the stream, from 1.
        record: u64,
        /// Bytes that came.
        received: usize,
    },
}

/// What came out of the stream.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Piece {
    /// A record with its number, from 1.
    Record(u64, Vec<u8>),
    /// A record that is not taken.
    Fault(SplitError),
}

/// Takes a stream apart. It holds at most one record, and no more of it than the limit.
#[derive(Clone, Debug)]
pub struct Splitter {
    limit: usize,
    record: u64,
    bytes: Vec<u8>,
    state: State,
    /// The present line has held nothing but blanks.
    is_line_empty: bool,
    /// Lines of numbers so far.
    numbers: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Between,
    Text,
    /// With its length once the header has told it.
    Array(Option<usize>),
    /// Passing over what can't be taken.
    Skipping,
}

impl Splitter {
    /// A splitter that takes records of at most `limit` bytes.
    pub fn new(limit: usize) -> Self {
        Self { limit, record: 0, bytes: Vec::new(), state: State::Between, is_line_empty: true, numbers: 0 }
    }

    /// Takes bytes of the stream.
    pub fn feed(&mut self, mut bytes: &[u8]) -> Vec<Piece> {
        let mut pieces = Vec::new();
        while let Some(&byte) = bytes.first() {
            if let State::Array(length) = self.state {
                let count = self.array(bytes, length, &mut pieces);
                bytes = &bytes[count..];
                continue;
            }
            bytes = &bytes[1..];
            match self.state {
                State::Between if byte.is_ascii_whitespace() => {}
                State::Between => {
                    self.record += 1;
                    self.bytes.push(byte);
                    self.state = if byte == NPY[0] { State::Array(None) } else { State::Text };
                    self.is_line_empty = false;
                    self.numbers = usize::from(begins_number(byte));
                }
                State::Skipping => self.skip(byte),
                State::Text | State::Array(_) => self.text(byte, &mut pieces),
            }
        }
        pieces
    }

    /// The stream is over.
    pub fn end(&mut self) -> Option<Piece> {
        let bytes = std::mem::take(&mut self.bytes);
        match std::mem::replace(&mut self.state, State::Between) {
            State::Text => Some(Piece::Record(self.record, bytes)),
            State::Array(_) => {
                Some(Piece::Fault(SplitError::Cut { record: self.record, received: bytes.len() }))
            }
            State::Between | State::Skipping => None,
        }
    }

    fn text(&mut self, byte: u8, pieces: &mut Vec<Piece>) {
        let is_over = match byte {
            b'\x0c' => true,
            b'\n' => {
                let is_over = self.is_line_empty && self.numbers >= ENOUGH;
                self.is_line_empty = true;
                is_over
            }
            _ => {
                if self.is_line_empty && !byte.is_ascii_whitespace() {
                    self.is_line_empty = false;
                    self.numbers += usize::from(begins_number(byte));
                }
                false
            }
        };
        if is_over {
            self.state = State::Between;
            pieces.push(Piece::Record(self.record, std::mem::take(&mut self.bytes)));
        } else if self.bytes.len() == self.limit {
            pieces.push(self.refuse(SplitError::TooLarge { record: self.record, limit: self.limit }));
        } else {
            self.bytes.push(byte);
        }
    }

    /// How many bytes of the array were taken.
    fn array(&mut self, bytes: &[u8], length: Option<usize>, pieces: &mut Vec<Piece>) -> usize {
        let Some(length) = length else {
            // A header is short: byte by byte until it is whole.
            self.bytes.push(bytes[0]);
            let magic = self.bytes.len().min(NPY.len());
            if self.bytes[..magic] != NPY[..magic] {
                // No array after all.
                self.state = State::Text;
                return 1;
            }
            match npy_length(&format!("record {}", self.record), &self.bytes) {
                Ok(None) => {}
                Ok(Some(length)) => match usize::try_from(length).ok().filter(|n| *n <= self.limit) {
                    Some(length) => self.state = State::Array(Some(length)),
                    None => {
                        let fault = SplitError::TooLarge { record: self.record, limit: self.limit };
                        pieces.push(self.refuse(fault));
                        return 1;
                    }
                },
                Err(error) => {
                    let fault = SplitError::Header { record: self.record, reason: error.to_string() };
                    pieces.push(self.refuse(fault));
                    return 1;
                }
            }
            self.finish_array(pieces);
            return 1;
        };
        let count = (length - self.bytes.len()).min(bytes.len());
        self.bytes.extend_from_slice(&bytes[..count]);
        self.finish_array(pieces);
        count
    }

    fn finish_array(&mut self, pieces: &mut Vec<Piece>) {
        if self.state == State::Array(Some(self.bytes.len())) {
            self.state = State::Between;
            pieces.push(Piece::Record(self.record, std::mem::take(&mut self.bytes)));
        }
    }

    fn refuse(&mut self, fault: SplitError) -> Piece {
        self.bytes.clear();
        self.state = State::Skipping;
        self.is_line_empty = false;
        Piece::Fault(fault)
    }

    fn skip(&mut self, byte: u8) {
        // The last few bytes, to see an array begin.
        if self.bytes.len() == NPY.len() {
            self.bytes.remove(0);
        }
        self.bytes.push(byte);
        if self.bytes == NPY {
            self.record += 1;
            self.state = State::Array(None);
        } else if byte == b'\x0c' || (byte == b'\n' && self.is_line_empty) {
            self.bytes.clear();
            self.state = State::Between;
        } else if byte == b'\n' {
            self.is_line_empty = true;
        } else if !byte.is_ascii_whitespace() {
            self.is_line_empty = false;
        }
    }
}

fn begins_number(byte: u8) -> bool {
    byte.is_ascii_digit() || b"+-.,".contains(&byte)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn text(points: usize) -> String {
        (0..points).map(|i| format!("{i},{}\n", i % 7)).collect()
    }

    fn npy(points: usize) -> Vec<u8> {
        let mut header = format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({points},), }}");
        while (10 + header.len() + 1) % 64 != 0 {
            header.push(' ');
        }
        header.push('\n');
        let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
        bytes.extend((header.len() as u16).to_le_bytes());
        bytes.extend(header.bytes());
        bytes.extend((0..points).flat_map(|i| (i as f64).to_le_bytes()));
        bytes
    }

    fn split(stream: &[u8], limit: usize, piece: usize) -> Vec<Piece> {
        let mut splitter = Splitter::new(limit);
        let mut pieces: Vec<Piece> = stream.chunks(piece.max(1)).flat_map(|b| splitter.feed(b)).collect();
        pieces.extend(splitter.end());
        pieces
    }

    #[test]
    fn records_end_with_empty_lines_and_form_feeds() {
        let heading = format!("Bench A scope\n\nTime,V\n{}", text(20));
        let stream = format!("{heading}\n \n{}\x0c\n{}", text(18), text(3));
        let pieces = split(stream.as_bytes(), 10_000, 1000);
        let expected = [
            Piece::Record(1, heading.into_bytes()),
            Piece::Record(2, text(18).into_bytes()),
            Piece::Record(3, text(3).into_bytes()),
        ];
        assert_eq!(pieces, expected);
        // Ends of lines of another system.
        let stream = format!("{}\n{}", text(20), text(20)).replace('\n', "\r\n");
        assert_eq!(split(stream.as_bytes(), 10_000, 1000).len(), 2);
        assert_eq!(split(b"\n\x0c \r\n", 10, 1), []);
    }

    #[test]
    fn arrays_have_their_length() {
        let stream = [npy(20), b"\n".to_vec(), npy(30), text(20).into_bytes()].concat();
        let expected =
            [Piece::Record(1, npy(20)), Piece::Record(2, npy(30)), Piece::Record(3, text(20).into_bytes())];
        assert_eq!(split(&stream, 10_000, 1000), expected);
        let cut = &npy(20)[..100];
        let received = 100;
        assert_eq!(split(cut, 10_000, 7), [Piece::Fault(SplitError::Cut { record: 1, received })]);
    }

    #[test]
    fn after_what_cannot_be_taken_the_next_record_is_right() {
        let too_large = |record| Piece::Fault(SplitError::TooLarge { record, limit: 300 });
        let good = text(20).into_bytes();
        let stream = [text(200).as_bytes(), b"\n", &good].concat();
        assert_eq!(split(&stream, 300, 64), [too_large(1), Piece::Record(2, good.clone())]);
        let stream = [&npy(1000)[..], b"\x0c", &npy(20)].concat();
        assert_eq!(split(&stream, 300, 64), [too_large(1), Piece::Record(2, npy(20))]);
        let mut broken = npy(20);
        broken[12] = b'!';
        let stream = [broken, npy(20)].concat();
        let pieces = split(&stream, 300, 64);
        assert!(matches!(&pieces[0], Piece::Fault(SplitError::Header { record: 1, .. })), "{pieces:?}");
        assert_eq!(pieces[1..], [Piece::Record(2, npy(20))]);
    }

    proptest! {
        #[test]
        fn prop_pieces_do_not_matter(kinds in prop::collection::vec(any::<bool>(), 1..5), piece in 1usize..400) {
            let records: Vec<Vec<u8>> =
                kinds.iter().map(|array| if *array { npy(17) } else { text(17).into_bytes() }).collect();
            let stream: Vec<u8> = records.iter().flat_map(|r| [r.as_slice(), b"\n\n"].concat()).collect();
            let expected: Vec<Piece> =
                records.into_iter().enumerate().map(|(i, r)| Piece::Record(i as u64 + 1, r)).collect();
            prop_assert_eq!(split(&stream, 10_000, piece), expected);
        }

        #[test]
        fn prop_any_bytes_are_taken_apart(bytes: Vec<u8>, magic: bool, limit in 1usize..200, piece in 1usize..50) {
            let stream = if magic { [NPY, b"\x01\x00", &bytes].concat() } else { bytes };
            for piece in split(&stream, limit, piece) {
                if let Piece::Record(_, bytes) = piece {
                    prop_assert!(bytes.len() <= limit.max(NPY.len()));
                }
            }
        }
    }
}
