//! Readers of capture files: delimited text, NPY and WAV, plain or packed with gzip or zstd.
//!
//! What a file is, its first bytes tell, never its name: gzip, zstd, NPY and WAV by their magic numbers, anything else
//! is text. Nothing is guessed silently: whatever is assumed or repaired is a finding of the [`Capture`], and what cannot
//! be read is a [`ReadError`] with the line or byte and the remedy.
//!
//! - Samples used in place: NPY columns and mono WAV channels that are stored as `f32`, `f64` or `i16` in the machine's
//!   byte order. All else is converted, exactly where the target can hold it.
//! - Text: only the columns asked for are read and kept; the time column is checked and not kept. Each number is the
//!   correctly rounded one.
//! - Even sampling: no time further from a straight line than a quarter of the interval, or than 0.6 of the last printed
//!   digit where times are printed so coarsely that this is more.
//! - Written is one thing only: a capture with columns more, see [`widen`].
//! - Not done here: no clock, no network, no configuration, no interpretation of the samples.

mod axis;
mod bytes;
mod capture;
mod columns;
mod digest;
mod error;
mod npy;
mod packed;
mod select;
mod text;
pub mod touchstone;
mod units;
mod wav;
pub mod widen;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use bytes::Bytes;
use digest::Digest;

pub use capture::{Capture, Column, Content, Format, Packing};
pub use error::ReadError;

/// What the caller knows about a file beyond its content.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Column of the probe, from 1 among all columns of the file; `None` takes the first column of values.
    pub column: Option<usize>,
    /// Column of the source itself, from 1 among all columns of the file; `None` takes none.
    pub reference: Option<usize>,
    /// Time between samples, s, for files that do not state it; wins over the file, with a finding.
    pub interval_s: Option<f64>,
}

/// How far reading has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Bytes of the file that are done.
    pub done_bytes: u64,
    /// Bytes of the file.
    pub total_bytes: u64,
}

/// Reads the capture file at `path`. `progress` is called from several threads, about once for each MiB.
///
/// # Errors
/// [`ReadError`] with the file, the place and the remedy.
pub fn open(
    path: &Path,
    options: &ReadOptions,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<Capture, ReadError> {
    let bytes = Arc::new(bytes::map(path)?);
    // Errors name the file as the technician sees it in a folder.
    let name =
        path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    read(&name, &bytes, options, progress)
}

/// Reads a capture from the bytes of a file; `name` stands for the file in errors.
///
/// # Errors
/// [`ReadError`] with the file, the place and the remedy.
pub fn read_bytes(name: &str, bytes: &[u8], options: &ReadOptions) -> Result<Capture, ReadError> {
    read(name, &Arc::new(Bytes::Held(bytes.to_vec())), options, &|_| {})
}

/// How many bytes the NPY array has that begins with `start`, its header included; `None` while more of it is needed to
/// tell. `name` stands for it in errors.
///
/// # Errors
/// It has no header of NPY.
pub fn npy_length(name: &str, start: &[u8]) -> Result<Option<u64>, ReadError> {
    npy::length(name, start)
}

fn read(
    file: &str,
    bytes: &Arc<Bytes>,
    options: &ReadOptions,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<Capture, ReadError> {
    if bytes.is_empty() {
        return Err(ReadError::Empty { file: file.to_owned() });
    }
    let total_bytes = bytes.len() as u64;
    // Some files are looked through twice; what is told never goes back.
    let furthest = AtomicU64::new(0);
    let tell = |done: u64| {
        let done_bytes = furthest.fetch_max(done, Ordering::Relaxed).max(done);
        progress(Progress { done_bytes, total_bytes });
    };
    tell(0);
    let packing = packed::packing(bytes);
    let start = match packing {
        Packing::Plain => bytes[..64.min(bytes.len())].to_vec(),
        _ => packed::start(file, packing, bytes)?,
    };
    let content = content(file, packing, &start)?;
    let format = Format { content, packing };
    let capture = if content == Content::Text {
        let unpacked = || Ok(packed::reader(packing, bytes, &tell));
        let input = match packing {
            Packing::Plain => text::Input::Whole(bytes),
            _ => text::Input::Stream(&unpacked),
        };
        let read = text::read(file, input, options, &tell)?;
        // Started last: text is read on all cores, and the digest would only take turns with it.
        Capture::new(file, format, read, Digest::start(bytes), bytes)
    } else {
        let digest = Digest::start(bytes);
        let plain = match packing {
            Packing::Plain => Arc::clone(bytes),
            _ => Arc::new(Bytes::Held(packed::unpack(file, packing, bytes, &tell)?)),
        };
        let read = if content == Content::Npy {
            npy::read(file, &plain, options)?
        } else {
            wav::read(file, &plain, options)?
        };
        Capture::new(file, format, read, digest, bytes)
    };
    tell(total_bytes);
    Ok(capture)
}

/// The kind of content by its first bytes, and nothing else.
fn content(file: &str, packing: Packing, start: &[u8]) -> Result<Content, ReadError> {
    let unknown =
        |found: &str| ReadError::UnknownFormat { file: file.to_owned(), byte: 0, found: found.to_owned() };
    if start.starts_with(npy::MAGIC) {
        return Ok(Content::Npy);
    }
    if wav::is_wav(start) {
        return Ok(Content::Wav);
    }
    if packing != Packing::Plain && packed::packing(start) != Packing::Plain {
        return Err(unknown("a packed file within a packed file"));
    }
    match start {
        [] => Err(ReadError::Empty { file: file.to_owned() }),
        [b'P', b'K', 3 | 5, 4 | 6, ..] => Err(unknown("a ZIP archive or a spreadsheet")),
        [0x89, b'H', b'D', b'F', ..] => Err(unknown("an HDF5 file")),
        [b'%', b'P', b'D', b'F', ..] => Err(unknown("a PDF document")),
        [0x89, b'P', b'N', b'G', ..] | [0xff, 0xd8, 0xff, ..] | [b'B', b'M', _, _, _, _, 0, 0, 0, 0, ..] => {
            Err(unknown("a picture"))
        }
        _ => Ok(Content::Text),
    }
}
