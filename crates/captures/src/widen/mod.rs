//! A capture written again with two columns more: what stood in the file stays as it was.
//!
//! | read from | written as |
//! | --- | --- |
//! | delimited text | the same lines, the new fields behind the last one; packed with gzip where the name ends in `.gz` |
//! | NPY | NPY of the same axes and order in memory, two columns more; one axis becomes rows of three |
//! | WAV | NPY, a row for each sample, channels as shares of full scale |
//!
//! Numbers that single precision holds exactly (`f4` and integers up to 24 bits) are written as `f4`, all others as `f8`.
//! The file comes into being under another name and gets its own when it is whole, so that nothing half written is taken for it.

mod array;
mod text;

use std::fs::File;
use std::ops::Range;
use std::path::{Path, PathBuf};

use flattop_core::correction::{Stored, Written};

use crate::capture::{Capture, Content};
use crate::columns::Number;
use crate::text::line::Separator;

/// Where two more columns come from.
pub trait Added: Send {
    /// Names of the columns.
    fn names(&self) -> [&str; 2];

    /// The values for the next samples, in the unit in which the probe's column is stored. Asked for from the first sample to the last,
    /// without gaps; both places are as long as the range.
    fn next<T: Stored + Written>(&mut self, range: Range<usize>, first: &mut [T], second: &mut [T]);

    /// Decimals with which the first column is printed in text; `None` for as many as bring the same number back.
    fn decimals(&self) -> Option<usize>;
}

/// Why a capture could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The operating system refused.
    #[error("{file}: cannot be written: {source}; check the folder and the space left in it")]
    Io {
        /// File as given.
        file: String,
        /// What it said.
        source: std::io::Error,
    },
    /// The capture would be lost.
    #[error("{file}: is the capture itself; name another file for the result")]
    SameFile {
        /// File as given.
        file: String,
    },
    /// It would be replaced by a file.
    #[error("{file}: is no ordinary file, which the result has to become; name one in a folder")]
    NoFile {
        /// File as given.
        file: String,
    },
    /// Content and name do not go together.
    #[error("{file}: the result is {content}; name it {example}")]
    Name {
        /// File as given.
        file: String,
        /// What it is going to be.
        content: &'static str,
        /// A better name.
        example: String,
    },
    /// The capture cannot be read a second time as it was read first.
    #[error(
        "{file}: changed while it was read; export the capture again, or close the program that writes it"
    )]
    Changed {
        /// File as given.
        file: String,
    },
}

/// How the file of a capture is built, kept for writing it again.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Build {
    Text(TextBuild),
    Array(ArrayBuild),
}

/// Lines of a text.
#[derive(Clone, Copy, Debug)]
pub(crate) struct TextBuild {
    pub(crate) separator: Separator,
    pub(crate) mark: u8,
    pub(crate) eol: u8,
    /// Whether lines end with a separator.
    pub(crate) trailing: bool,
    /// Line of the first sample, from 1.
    pub(crate) first_line: u64,
    /// How many lines of names and units there are, 0 to 2, and which.
    pub(crate) headings: usize,
    pub(crate) heading_lines: [u64; 2],
    /// Line that was cut short and left out.
    pub(crate) cut: Option<u64>,
}

/// Numbers in an array.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ArrayBuild {
    /// Byte of the first number, after unpacking.
    pub(crate) at: usize,
    pub(crate) number: Number,
    /// What a stored number is multiplied by.
    pub(crate) scale: f64,
    /// Whether all samples of a column stand one after the other in memory.
    pub(crate) planar: bool,
    /// Whether the first axis of the array is the columns.
    pub(crate) across: bool,
}

/// Writes the capture with two columns more to `place`.
///
/// # Errors
/// [`WriteError`]: the place is the capture itself or no ordinary file, its name does not go with the content, it cannot be written.
pub fn widen<A: Added>(
    capture: &Capture,
    source: &Path,
    place: &Path,
    added: &mut A,
) -> Result<(), WriteError> {
    let file = place.display().to_string();
    check_name(capture, place, &file)?;
    if same(source, place) {
        return Err(WriteError::SameFile { file });
    }
    // Through a link, so that the link stays.
    let place = &place.canonicalize().unwrap_or_else(|_| place.to_path_buf());
    if place.metadata().is_ok_and(|there| !there.is_file()) {
        return Err(WriteError::NoFile { file });
    }
    let failed = |source| WriteError::Io { file: file.clone(), source };
    let half = half_written(place);
    let done = match capture.build {
        Build::Text(build) => text::write(capture, &build, &half, place, added),
        Build::Array(build) => array::write(capture, &build, &half, added),
    };
    let done = done.map_err(|error| {
        if error.kind() == CHANGED {
            WriteError::Changed { file: capture.file.clone() }
        } else {
            failed(error)
        }
    });
    let done = done.and_then(|()| std::fs::rename(&half, place).map_err(failed));
    if done.is_err() {
        // What is left of it is of no use; that it cannot be removed either changes nothing.
        let _ = std::fs::remove_file(&half);
    }
    done
}

/// Kind of error that stands for a capture that is not what it was.
const CHANGED: std::io::ErrorKind = std::io::ErrorKind::InvalidData;

fn half_written(place: &Path) -> PathBuf {
    let mut name = place.file_name().map(std::ffi::OsString::from).unwrap_or_default();
    name.push(".part");
    place.with_file_name(name)
}

fn same(source: &Path, place: &Path) -> bool {
    matches!((source.canonicalize(), place.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

fn check_name(capture: &Capture, place: &Path, file: &str) -> Result<(), WriteError> {
    let ending = place.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
    let is = |endings: &[&str]| ending.as_deref().is_some_and(|e| endings.contains(&e));
    let named = |content, ending: &str| {
        let example = place.with_extension(ending).display().to_string();
        Err(WriteError::Name { file: file.to_owned(), content, example })
    };
    match capture.format.content {
        Content::Text if is(&["npy", "wav", "zst"]) => named("delimited text", "csv"),
        Content::Npy if !is(&["npy"]) => named("an NPY array, as the capture is", "npy"),
        Content::Wav if !is(&["npy"]) => named("an NPY array, since WAV holds no more than samples", "npy"),
        _ => Ok(()),
    }
}

/// A new file, for writing.
fn create(path: &Path) -> std::io::Result<File> {
    File::create(path)
}

#[cfg(test)]
mod tests;
