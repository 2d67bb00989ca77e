//! What to say to an instrument, and what its answers mean: a file that its user fills in from its manual.
//!
//! [`Dialogue::parse`] checks a file, [`Dialogue::dry_run`] tells the conversation it would have, [`Instrument`] has it.
//! [`KEYS`] lists every key once. [`SCPI_1999`] is the one that comes along: headers of the SCPI-1999 standard only.

mod dry_run;
mod instrument;
mod keys;
mod read;
mod status;
mod term;
#[cfg(test)]
mod tests;

use std::time::Duration;

use flattop_scpi::numbers::{Code, Order};

pub use instrument::{Acquired, Instrument};
pub use keys::KEYS;
pub use read::{CodeWord, CodingWord, EndingWord, OrderWord, WhenWord};
pub use term::{Factor, Operation, Reference, Term};

/// The dialogue that comes along.
pub const SCPI_1999: &str = include_str!("../../dialogues/scpi-1999.toml");
/// Its name in messages.
pub const SCPI_1999_NAME: &str = "scpi-1999.toml";

/// How samples come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// Codes in a definite or indefinite block.
    Block(Code, Order),
    /// A list of decimal numbers.
    List,
}

/// When a query is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// Once after connecting, and again after a fault.
    Once,
    /// For each capture, once it is there and before its samples.
    EachCapture,
}

/// A question whose answer holds numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Query {
    /// Name in terms.
    pub name: String,
    /// What is asked.
    pub ask: String,
    /// When.
    pub when: When,
}

/// How to tell that a capture is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wait {
    /// What is asked.
    pub ask: String,
    /// The answer that means yes.
    pub until: String,
    /// Time between two questions.
    pub every: Duration,
}

/// How samples are fetched.
#[derive(Clone, Debug, PartialEq)]
pub struct Samples {
    /// What is asked.
    pub ask: String,
    /// How the answer is coded.
    pub coding: Coding,
    /// How many samples must come, where that is known.
    pub points: Option<Term>,
}

/// volts = (code − code offset) · step + origin.
#[derive(Clone, Debug, PartialEq)]
pub struct Volts {
    /// Code of no voltage step, in codes.
    pub code_offset: Term,
    /// Volts per code, V.
    pub step: Term,
    /// Voltage of the code offset, V.
    pub origin: Term,
    /// The factor by which the instrument multiplies for the probe, where it can be told.
    pub probe_factor: Option<Term>,
}

/// What is taken, and how long is waited.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// For an answer, and for connecting.
    pub answer_time: Duration,
    /// From arming until the capture is there.
    pub capture_time: Duration,
    /// Most bytes of an answer of one line, lists of samples excepted.
    pub answer_bytes: usize,
    /// Most bytes of the samples.
    pub sample_bytes: usize,
}

/// A checked dialogue.
#[derive(Clone, Debug, PartialEq)]
pub struct Dialogue {
    /// What it is for.
    pub name: String,
    /// What ends each message sent.
    pub ending: Vec<u8>,
    /// Limits.
    pub bounds: Bounds,
    /// Asks who it is.
    pub identify: String,
    /// What the answer must hold; upper and lower case are alike.
    pub identity_holds: Option<String>,
    /// Sent after connecting.
    pub prepare: Vec<String>,
    /// Asks for the instrument's own list of errors, after preparing.
    pub errors: Option<String>,
    /// Sent for each capture.
    pub arm: Vec<String>,
    /// How to tell that it is there.
    pub wait: Option<Wait>,
    /// Questions for numbers.
    pub queries: Vec<Query>,
    /// The samples.
    pub samples: Samples,
    /// Codes to volts.
    pub volts: Volts,
    /// Time between samples, s.
    pub interval: Term,
    /// Time of the first sample, s.
    pub start: Option<Term>,
    /// Sent after a fault.
    pub after_fault: Vec<String>,
    /// Brings both sides in step after a fault.
    pub synchronise: Option<String>,
}

impl Dialogue {
    /// The dialogue that comes along.
    ///
    /// # Errors
    /// None: a test reads it.
    pub fn scpi_1999() -> Result<Self, flattop_plan::document::Problems> {
        Self::parse(SCPI_1999_NAME, SCPI_1999)
    }
}
