//! The bytes of a file, mapped or held, shared between the samples in place and the digest.

use std::ops::Deref;
use std::path::Path;

use memmap2::Mmap;

use crate::error::ReadError;

/// Bytes that do not move while they are shared.
pub(crate) enum Bytes {
    /// A mapped file.
    Mapped(Mmap),
    /// Bytes in memory.
    Held(Vec<u8>),
}

impl Deref for Bytes {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        match self {
            Self::Mapped(map) => map,
            Self::Held(bytes) => bytes,
        }
    }
}

impl std::fmt::Debug for Bytes {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} bytes", self.len())
    }
}

/// Maps a file for reading. The only code that touches a path.
///
/// What cannot be mapped (a pipe, for example) is read instead.
pub(crate) fn map(path: &Path) -> Result<Bytes, ReadError> {
    let failed =
        |e: std::io::Error| ReadError::Open { file: path.display().to_string(), reason: e.to_string() };
    #[allow(clippy::disallowed_methods)] // the one place where a capture file is opened
    let mut file = std::fs::File::open(path).map_err(failed)?;
    let meta = file.metadata().map_err(failed)?;
    if meta.is_dir() {
        return Err(failed(std::io::Error::other("it is a folder")));
    }
    if meta.is_file() && meta.len() > 0 {
        // Reading a large file into memory costs ten times as much as scanning it mapped (first touch of each page).
        #[allow(unsafe_code)]
        // SAFETY: the map is read-only and private to this crate. Another program that shortens the file while it is
        // mapped ends this process with a bus error; that is the accepted price, as for every tool that maps its input.
        // Another program that overwrites it can change samples, never memory safety of what we hold: bytes, f32, f64
        // and i16 are valid for every bit pattern, and text is never assumed to be UTF-8 without a check.
        let mapped = unsafe { Mmap::map(&file) };
        if let Ok(map) = mapped {
            return Ok(Bytes::Mapped(map));
        }
    }
    let mut held = Vec::new();
    std::io::Read::read_to_end(&mut file, &mut held).map_err(failed)?;
    Ok(Bytes::Held(held))
}
