//! Raw captures, kept by the digest of their bytes, compressed where that saves room.

use std::io::{Read as _, Write as _};

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use rusqlite::{Connection, OptionalExtension as _};

use super::Digest;
use crate::error::{RegisterError, corrupt};
use crate::store::Register;

/// SQLite holds less than 1 GB in one value.
const LARGEST_BYTES: usize = 900_000_000;

/// A capture that is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeptCapture {
    /// SHA-256 of the raw bytes.
    pub digest: Digest,
    /// Length of the raw bytes.
    pub bytes: u64,
    /// Room they take in the file.
    pub stored_bytes: u64,
}

impl Register {
    /// The raw bytes of a capture, checked against its digest.
    ///
    /// # Errors
    /// It is not there, or is not what it was.
    pub fn capture(&self, digest: &Digest) -> Result<Vec<u8>, RegisterError> {
        let sql = "SELECT encoding, bytes, stored FROM captures WHERE sha256 = ?1";
        let found: Option<(String, i64, Vec<u8>)> = self
            .db
            .query_row(sql, [digest.to_string()], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
            .optional()?;
        let (encoding, bytes, stored) = found.ok_or_else(|| not_kept(digest))?;
        unpack(&encoding, bytes, &stored)
            .filter(|raw| Digest::of(raw) == *digest)
            .ok_or_else(|| corrupt(format!("the capture {digest} is not what it was")))
    }

    /// All captures that are kept, by digest.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn captures(&self) -> Result<Vec<KeptCapture>, RegisterError> {
        let sql = "SELECT sha256, bytes, length(stored) FROM captures ORDER BY sha256";
        let mut statement = self.db.prepare(sql)?;
        let mut rows = statement.query([])?;
        let mut all = Vec::new();
        while let Some(row) = rows.next()? {
            let name: String = row.get(0)?;
            let digest = name.parse().map_err(|_| corrupt("a capture has no digest for a name"))?;
            let (bytes, stored): (i64, i64) = (row.get(1)?, row.get(2)?);
            let size = |n: i64| u64::try_from(n).unwrap_or(0);
            all.push(KeptCapture { digest, bytes: size(bytes), stored_bytes: size(stored) });
        }
        Ok(all)
    }
}

/// A capture ready to be kept.
pub(super) struct Packed {
    pub(super) digest: Digest,
    bytes: i64,
    encoding: &'static str,
    stored: Vec<u8>,
}

impl Packed {
    pub(super) fn new(raw: &[u8]) -> Result<Self, RegisterError> {
        if LARGEST_BYTES < raw.len() {
            return Err(RegisterError::Entry {
                quantity: "the capture",
                problem: format!("{} bytes long", raw.len()),
                remedy: "keep at most 900 MB with an entry, for example fewer periods",
            });
        }
        let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
        let squeezed = encoder.write_all(raw).and_then(|()| encoder.finish());
        let (encoding, stored) = match squeezed {
            Ok(squeezed) if squeezed.len() < raw.len() => ("zlib", squeezed),
            _ => ("plain", raw.to_vec()),
        };
        Ok(Self { digest: Digest::of(raw), bytes: raw.len() as i64, encoding, stored })
    }

    /// Stores it unless it is there already.
    pub(super) fn keep(&self, db: &Connection) -> Result<(), RegisterError> {
        if known(db, &self.digest).is_ok() {
            return Ok(());
        }
        let sql = "INSERT INTO captures (sha256, bytes, encoding, stored) VALUES (?1, ?2, ?3, ?4)";
        db.execute(sql, (self.digest.to_string(), self.bytes, self.encoding, &self.stored))?;
        Ok(())
    }
}

/// Whether a capture is kept.
pub(super) fn known(db: &Connection, digest: &Digest) -> Result<(), RegisterError> {
    let sql = "SELECT EXISTS (SELECT 1 FROM captures WHERE sha256 = ?1)";
    let there: bool = db.query_row(sql, [digest.to_string()], |row| row.get(0))?;
    if there { Ok(()) } else { Err(not_kept(digest)) }
}

fn not_kept(digest: &Digest) -> RegisterError {
    let remedy = "give the bytes of the capture with the assessment";
    RegisterError::NotFound { kind: "capture", id: digest.to_string(), remedy }
}

/// The raw bytes; `None` when what is stored is not what was stored. Never more than `bytes` + 1 of them.
pub(super) fn unpack(encoding: &str, bytes: i64, stored: &[u8]) -> Option<Vec<u8>> {
    let expected = usize::try_from(bytes).ok().filter(|n| *n <= LARGEST_BYTES)?;
    let raw = match encoding {
        "plain" => stored.to_vec(),
        "zlib" => {
            let mut raw = Vec::new();
            ZlibDecoder::new(stored).take(expected as u64 + 1).read_to_end(&mut raw).ok()?;
            raw
        }
        _ => return None,
    };
    (raw.len() == expected).then_some(raw)
}
