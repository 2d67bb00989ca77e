//! Readers of capture files: delimited text, NPY and WAV, plain or packed with gzip or zstd.

mod bytes;
mod capture;
mod digest;
mod error;

use std::path::Path;

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

/// Reads the capture file at `path`. `progress` is called from several threads, at most a few hundred times.
///
/// # Errors
/// [`ReadError`] with the file, the place and the remedy.
pub fn open(
    path: &Path,
    options: &ReadOptions,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<Capture, ReadError> {
    let _ = (options, progress);
    Err(ReadError::Empty { file: path.display().to_string() })
}

/// Reads a capture from the bytes of a file; `name` stands for the file in errors.
///
/// # Errors
/// [`ReadError`] with the file, the place and the remedy.
pub fn read_bytes(name: &str, bytes: &[u8], options: &ReadOptions) -> Result<Capture, ReadError> {
    let _ = (bytes, options);
    Err(ReadError::Empty { file: name.to_owned() })
}
