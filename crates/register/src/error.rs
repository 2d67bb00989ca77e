//! What can go wrong with a bench, each with its remedy.

use flattop_core::bench::{EntityError, IdError};
use rusqlite::ErrorCode;
use thiserror::Error;

use crate::exchange::ImportError;
use crate::field::ValueError;

/// Why the register did not do what was asked. Nothing was changed then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RegisterError {
    /// There is no file.
    #[error("there is no bench at {path}: check the path, or create one there")]
    NoFile {
        /// The path.
        path: String,
    },
    /// A file, but no bench.
    #[error("{path} is not a bench: give the path of a file that this program made, or of a new one")]
    NotABench {
        /// The path.
        path: String,
    },
    /// Made by a later version.
    #[error("the bench has version {found}, this program knows versions up to {known}: use a newer program")]
    Newer {
        /// Version of the file.
        found: i64,
        /// Newest version known.
        known: i64,
    },
    /// Made by an earlier version and opened for reading only.
    #[error(
        "the bench has the older version {found}: open it for writing once, so that it is brought to version {known}"
    )]
    Older {
        /// Version of the file.
        found: i64,
        /// Version wanted.
        known: i64,
    },
    /// May not be written.
    #[error(
        "the bench is read-only: check the permissions of the file and of its folder, which must both be writable"
    )]
    ReadOnly,
    /// Busy for longer than the patience.
    #[error("the bench is locked by another program: close it or wait for it to finish, then try again")]
    Locked,
    /// No room.
    #[error("the disk is full: free some space and try again; nothing was changed")]
    Full,
    /// Damaged.
    #[error("the bench file is damaged ({detail}): keep a copy of it and go back to the last backup")]
    Corrupt {
        /// What was seen.
        detail: String,
    },
    /// The folder could not be used.
    #[error(
        "the bench cannot be opened at {path} ({detail}): check that the folder exists and may be written"
    )]
    CannotOpen {
        /// The path.
        path: String,
        /// What the system said.
        detail: String,
    },
    /// Anything else that SQLite says.
    #[error("the bench could not be used: {0}; keep a copy of the file before trying again")]
    Database(rusqlite::Error),
    /// No such thing.
    #[error("there is no {kind} \"{id}\" on the bench: {remedy}")]
    NotFound {
        /// Kind of thing.
        kind: &'static str,
        /// Its name.
        id: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The name is taken.
    #[error("the {kind} \"{id}\" is there already{}: choose another id", if *retired { " (retired, since the logbook speaks of it)" } else { "" })]
    Taken {
        /// Kind of thing.
        kind: &'static str,
        /// Its name.
        id: String,
        /// Whether it is retired.
        retired: bool,
    },
    /// Not in use any more.
    #[error("the {kind} \"{id}\" is retired: reinstate it first, or use another one")]
    Retired {
        /// Kind of thing.
        kind: &'static str,
        /// Its name.
        id: String,
    },
    /// The probe is paired.
    #[error(
        "the probe \"{probe}\" is paired with {input} (pairing {number}): move it instead, which voids that pairing"
    )]
    Paired {
        /// The probe.
        probe: String,
        /// Where it is.
        input: String,
        /// The pairing.
        number: i64,
    },
    /// It is where it should go.
    #[error(
        "the probe \"{probe}\" is paired with {input} already (pairing {number}): there is nothing to move"
    )]
    SamePlace {
        /// The probe.
        probe: String,
        /// Where it is.
        input: String,
        /// The pairing.
        number: i64,
    },
    /// Ended already.
    #[error("pairing {number} is void: make a new one")]
    Void {
        /// The pairing.
        number: i64,
    },
    /// Something of the entry cannot be kept.
    #[error("{quantity} is {problem}: {remedy}")]
    Entry {
        /// Part of the entry.
        quantity: &'static str,
        /// What is wrong with it.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// No such field.
    #[error("a {kind} has no field \"{key}\": its fields are {known}")]
    UnknownKey {
        /// Kind of thing.
        kind: &'static str,
        /// The key.
        key: String,
        /// The keys it has.
        known: String,
    },
    /// A text that is not the value asked for.
    #[error(transparent)]
    Value(#[from] ValueError),
    /// A value that cannot be.
    #[error(transparent)]
    Entity(#[from] EntityError),
    /// A name that will not do.
    #[error(transparent)]
    Id(#[from] IdError),
    /// A file that could not be imported.
    #[error(transparent)]
    Import(#[from] ImportError),
}

impl From<rusqlite::Error> for RegisterError {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::ReadOnly) => RegisterError::ReadOnly,
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => RegisterError::Locked,
            Some(ErrorCode::DiskFull) => RegisterError::Full,
            Some(ErrorCode::DatabaseCorrupt) => RegisterError::Corrupt { detail: error.to_string() },
            _ => RegisterError::Database(error),
        }
    }
}

/// A stored value that this program would not have stored.
pub(crate) fn corrupt(detail: impl Into<String>) -> RegisterError {
    RegisterError::Corrupt { detail: detail.into() }
}
