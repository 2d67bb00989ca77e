//! Unpacking of gzip and zstd, with limits, and errors that name the byte.

use std::fmt;
use std::io::{self, Read};

use flate2::bufread::MultiGzDecoder;
use ruzstd::decoding::{FrameDecoder, StreamingDecoder};

use crate::capture::Packing;
use crate::error::ReadError;

/// More than this is no capture.
const MOST_BYTES: u64 = 64 << 30;
/// From this size on the ratio counts.
const RATIO_FROM_BYTES: u64 = 1 << 30;
/// A higher ratio of unpacked to packed is a trap; text of constant samples reaches about 1000.
const MOST_RATIO: u64 = 2000;

/// The packing of a file that starts with `head`: gzip (RFC 1952, 2.3.1: 1F 8B, method 8) or zstd (RFC 8878, 3.1.1 and
/// 3.1.2: the frame's magic number, or that of a skippable frame).
pub(crate) fn packing(head: &[u8]) -> Packing {
    match head {
        [0x1f, 0x8b, 0x08, ..] => Packing::Gzip,
        [0x28, 0xb5, 0x2f, 0xfd, ..] | [0x50..=0x5f, 0x2a, 0x4d, 0x18, ..] => Packing::Zstd,
        _ => Packing::Plain,
    }
}

/// Told how many packed bytes are used up.
pub(crate) type Tell<'a> = &'a (dyn Fn(u64) + Sync);

/// A reader of what is packed in `bytes`.
pub(crate) fn reader<'a>(packing: Packing, bytes: &'a [u8], tell: Tell<'a>) -> Box<dyn Read + Send + 'a> {
    let inner = match packing {
        Packing::Plain => return Box::new(bytes),
        Packing::Gzip => Unpacker::Gzip(Box::new(MultiGzDecoder::new(bytes))),
        Packing::Zstd => Unpacker::Zstd(Box::new(Zstd { rest: bytes, frame: None })),
    };
    Box::new(Limited { inner, given: 0, packed: bytes.len() as u64, tell, told: 0 })
}

/// All of what is packed in `bytes`.
pub(crate) fn unpack(
    file: &str,
    packing: Packing,
    bytes: &[u8],
    tell: Tell<'_>,
) -> Result<Vec<u8>, ReadError> {
    let mut all = Vec::new();
    reader(packing, bytes, tell).read_to_end(&mut all).map_err(|e| io_error(file, &e))?;
    Ok(all)
}

/// The first bytes of what is packed in `bytes`.
pub(crate) fn start(file: &str, packing: Packing, bytes: &[u8]) -> Result<Vec<u8>, ReadError> {
    let mut head = Vec::new();
    reader(packing, bytes, &|_| {}).take(64).read_to_end(&mut head).map_err(|e| io_error(file, &e))?;
    Ok(head)
}

/// An error while unpacking, in words.
pub(crate) fn io_error(file: &str, error: &io::Error) -> ReadError {
    let file = file.to_owned();
    if let Some(TooMuch(limit)) = error.get_ref().and_then(|e| e.downcast_ref()) {
        return ReadError::TooLarge { file, limit: limit.clone() };
    }
    let (byte, reason) = match error.get_ref().and_then(|e| e.downcast_ref()) {
        Some(Unpack { after, reason }) => (*after, reason.clone()),
        None => (0, error.to_string()),
    };
    ReadError::Byte {
        file,
        byte,
        expected: "more packed data".into(),
        found: reason,
        remedy: "the file is cut short or damaged; copy or export it again".into(),
    }
}

#[derive(Debug)]
struct TooMuch(String);

impl fmt::Display for TooMuch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for TooMuch {}

/// A fault of the packed data after so many unpacked bytes.
#[derive(Debug)]
struct Unpack {
    after: u64,
    reason: String,
}

impl fmt::Display for Unpack {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.reason)
    }
}

impl std::error::Error for Unpack {}

/// The unpackers.
enum Unpacker<'a> {
    Gzip(Box<MultiGzDecoder<&'a [u8]>>),
    Zstd(Box<Zstd<'a>>),
}

impl Read for Unpacker<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Gzip(decoder) => decoder.read(out),
            Self::Zstd(decoder) => decoder.read(out),
        }
    }
}

/// Counts what comes out and stops what is out of all proportion.
struct Limited<'a, R> {
    inner: R,
    given: u64,
    packed: u64,
    tell: Tell<'a>,
    told: u64,
}

/// A reader that knows how much it has left.
trait Left: Read {
    fn left(&self) -> usize;
}

impl Left for Unpacker<'_> {
    fn left(&self) -> usize {
        match self {
            Self::Gzip(decoder) => decoder.get_ref().len(),
            Self::Zstd(decoder) => decoder.frame.as_ref().map_or(decoder.rest.len(), |f| f.get_ref().len()),
        }
    }
}

impl<R: Left> Read for Limited<'_, R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(out).map_err(|e| {
            let reason = match e.kind() {
                io::ErrorKind::UnexpectedEof => "the end of the file".to_owned(),
                _ => format!("damaged packed data ({e})"),
            };
            io::Error::other(Unpack { after: self.given, reason })
        })?;
        self.given += got as u64;
        if self.given > MOST_BYTES {
            return Err(io::Error::other(TooMuch("64 GiB".into())));
        }
        if self.given > RATIO_FROM_BYTES && self.given / self.packed.max(1) > MOST_RATIO {
            return Err(io::Error::other(TooMuch(format!("{MOST_RATIO} times its size"))));
        }
        let used = self.packed - self.inner.left() as u64;
        if used >= self.told + (1 << 20) {
            self.told = used;
            (self.tell)(used);
        }
        Ok(got)
    }
}

/// Zstandard frames one after the other.
struct Zstd<'a> {
    rest: &'a [u8],
    frame: Option<StreamingDecoder<&'a [u8], FrameDecoder>>,
}

impl Read for Zstd<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if out.is_empty() {
            return Ok(0);
        }
        loop {
            if let Some(frame) = &mut self.frame {
                let got = frame.read(out)?;
                if got > 0 {
                    return Ok(got);
                }
                self.rest = frame.get_ref();
                self.frame = None;
            }
            match self.rest {
                [] => return Ok(0),
                // Skippable frame (RFC 8878, 3.1.2): four bytes of length, little-endian, then that many bytes.
                [0x50..=0x5f, 0x2a, 0x4d, 0x18, a, b, c, d, ..] => {
                    let len = u32::from_le_bytes([*a, *b, *c, *d]) as usize;
                    self.rest = self.rest.get(8 + len..).ok_or(io::ErrorKind::UnexpectedEof)?;
                }
                rest if rest.iter().all(|b| *b == 0) => return Ok(0),
                rest => {
                    let short = rest.len() < 6;
                    self.frame = Some(StreamingDecoder::new(rest).map_err(|e| {
                        if short {
                            io::ErrorKind::UnexpectedEof.into()
                        } else {
                            io::Error::other(e.to_string())
                        }
                    })?);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives zeros for ever.
    struct Zeros;

    impl Read for Zeros {
        fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
            out.fill(0);
            Ok(out.len())
        }
    }

    impl Left for Zeros {
        fn left(&self) -> usize {
            0
        }
    }

    fn stops_after(given: u64, packed: u64) -> Option<String> {
        let mut limited = Limited { inner: Zeros, given, packed, tell: &|_| {}, told: 0 };
        let error = limited.read(&mut [0; 4096]).err()?;
        Some(io_error("f", &error).to_string())
    }

    #[test]
    fn hostile_ratios_and_sizes_are_refused() {
        assert_eq!(stops_after(RATIO_FROM_BYTES - 8192, 1000), None);
        assert_eq!(stops_after(RATIO_FROM_BYTES, 1 << 20), None);
        let text = "f: unpacks to more than 2000 times its size, which no capture does; check where the file comes from";
        assert_eq!(stops_after(RATIO_FROM_BYTES, 1000).as_deref(), Some(text));
        let text = "f: unpacks to more than 64 GiB, which no capture does; check where the file comes from";
        assert_eq!(stops_after(MOST_BYTES, MOST_BYTES / 10).as_deref(), Some(text));
    }
}
