//! What can become of a question other than an answer.

use std::time::Duration;

/// A fault, named for what happened. Every one leaves the session unsettled.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// Nothing, or not all, came in time.
    #[error(
        "no answer to \"{question}\" within {waited:?}, only {received} bytes of it; check that the instrument can do this, or allow it more time"
    )]
    TimedOut {
        /// What was asked.
        question: String,
        /// How long was waited.
        waited: Duration,
        /// Bytes that came.
        received: usize,
    },
    /// The other side closed the link.
    #[error(
        "the link was closed while \"{question}\" was waiting for its answer, after {received} bytes of it"
    )]
    Closed {
        /// What was asked.
        question: String,
        /// Bytes that came.
        received: usize,
    },
    /// The answer is of another kind.
    #[error("the answer to \"{question}\" is not what was expected: expected {expected}, found {found}")]
    Nonsense {
        /// What was asked.
        question: String,
        /// What should have come.
        expected: String,
        /// Start of what came.
        found: String,
    },
    /// An answer to an earlier question came.
    #[error(
        "{bytes} bytes came that nothing asked for, a late answer to \"{question}\" or one too many: {excerpt}"
    )]
    Late {
        /// The question before.
        question: String,
        /// How many bytes.
        bytes: usize,
        /// Their start.
        excerpt: String,
    },
    /// The block stopped early.
    #[error("the answer to \"{question}\" announces a block of {announced} bytes, and {received} came")]
    ShortBlock {
        /// What was asked.
        question: String,
        /// Announced number of bytes.
        announced: usize,
        /// Bytes that came.
        received: usize,
    },
    /// More follows the block than its end.
    #[error(
        "the answer to \"{question}\" announces a block of {announced} bytes, but goes on behind it with {surplus}"
    )]
    WrongLength {
        /// What was asked.
        question: String,
        /// Announced number of bytes.
        announced: usize,
        /// Start of what follows.
        surplus: String,
    },
    /// The block is larger than is taken.
    #[error(
        "the answer to \"{question}\" announces a block of {announced} bytes, and at most {limit} are taken; record fewer points, or raise the limit"
    )]
    TooLarge {
        /// What was asked.
        question: String,
        /// Announced number of bytes.
        announced: u64,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// More and more came, without an end.
    #[error("the answer to \"{question}\" has no end after {received} bytes, and at most {limit} are taken")]
    Flood {
        /// What was asked.
        question: String,
        /// Bytes that came.
        received: usize,
        /// Most bytes that are taken.
        limit: usize,
    },
}

/// Why nothing can be asked now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotReady {
    /// A question is under way.
    #[error("another question is under way; wait for its outcome")]
    Busy,
    /// A fault has not been settled.
    #[error("after a fault the link is out of step; clear it, open it anew or synchronise first")]
    Unsettled,
}
