//! Captures as they arrive, from wherever they come: one stream of captures and of problems that do not end it.
//!
//! [`Watch`] looks at a file or folder, [`Stream`] reads standard input or a pipe, [`FromInstrument`] asks an instrument.
//! [`Feed`] runs any of them in a thread of its own and keeps the newest where they come faster than they are used.

mod acquire;
mod feed;
mod ledger;
mod splitter;
mod stream;
mod watch;

use std::time::Duration;

use flattop_captures::{Capture, ReadError, ReadOptions, read_bytes};
use flattop_core::finding::Finding;

use crate::Trouble;

pub use acquire::{Connect, FromInstrument};
pub use feed::Feed;
pub use ledger::{Ledger, Pace, Seen};
pub use splitter::{ENOUGH, Piece, SplitError, Splitter};
pub use stream::Stream;
pub use watch::{AtStart, Wake, Watch};

/// A capture that has arrived.
#[derive(Debug)]
pub struct Arrived {
    /// The capture.
    pub capture: Capture,
    /// Its bytes as they came; of an instrument, an NPY array of its voltages. With [`options`](Self::options) they give
    /// the same capture again.
    pub bytes: Vec<u8>,
    /// How its bytes were read.
    pub options: ReadOptions,
    /// What to call it: the name of the file, or source and number.
    pub name: String,
    /// When it was complete, on the source's clock.
    pub at: Duration,
    /// Remarks on how it came; those on its content are the capture's.
    pub findings: Vec<Finding>,
    /// How many were left out before it, since they came faster than they were used.
    pub left_out: u64,
}

/// Something that went wrong. The source goes on.
#[derive(Debug)]
pub struct Problem {
    /// Where: the file, or the source.
    pub name: String,
    /// When, on the source's clock.
    pub at: Duration,
    /// What.
    pub cause: Cause,
    /// How many times in a row, if several were taken together.
    pub times: u64,
}

/// What went wrong.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Cause {
    /// A capture could not be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Something with the instrument.
    #[error(transparent)]
    Link(#[from] Trouble),
    /// Something with the instrument, and what it says itself.
    #[error("{trouble}. The instrument says: {said}")]
    Explained {
        /// What went wrong.
        trouble: Trouble,
        /// Its status and errors.
        said: String,
    },
    /// A record of a stream has no end in sight, or a broken head.
    #[error(transparent)]
    Split(#[from] SplitError),
    /// A file or folder can't be looked at.
    #[error("{path}: {reason}; it is looked for again and again")]
    Gone {
        /// The path.
        path: String,
        /// What the system says.
        reason: String,
    },
    /// A file is larger than is taken.
    #[error("{path}: {bytes} bytes, and at most {limit} are taken; export fewer points")]
    TooLarge {
        /// The path.
        path: String,
        /// Its size.
        bytes: u64,
        /// Most bytes that are taken.
        limit: u64,
    },
    /// A link leads out of the folder that may be watched.
    #[error(
        "{name}: a link that leads out of the watched folder, so it is not read; save the capture itself there"
    )]
    Outside {
        /// The file.
        name: String,
    },
    /// A stream can't be read any more.
    #[error("{name}: reading ended: {reason}")]
    Stream {
        /// The source.
        name: String,
        /// What the system says.
        reason: String,
    },
}

/// What a source has to say.
#[derive(Debug)]
pub enum Step {
    /// A capture.
    Arrived(Box<Arrived>),
    /// A problem; the source goes on.
    Problem(Problem),
    /// Nothing in the time given.
    Nothing,
    /// Nothing will come any more.
    Ended,
}

/// Where captures come from.
pub trait Source: Send {
    /// Waits for the next capture or problem for about `time_limit`. An instrument may take as long as its dialogue allows.
    fn next(&mut self, time_limit: Duration) -> Step;

    /// What it is, for messages.
    fn name(&self) -> String;
}

/// Bytes as a step: a capture or a problem.
fn read(name: String, bytes: Vec<u8>, options: &ReadOptions, at: Duration) -> Step {
    match read_bytes(&name, &bytes, options) {
        Ok(capture) => {
            let (options, findings) = (options.clone(), Vec::new());
            Step::Arrived(Box::new(Arrived { capture, bytes, options, name, at, findings, left_out: 0 }))
        }
        Err(error) => Step::Problem(Problem { name, at, cause: error.into(), times: 1 }),
    }
}
