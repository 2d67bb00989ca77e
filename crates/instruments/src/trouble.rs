//! What can go wrong with an instrument: one name for each, told apart without reading words.

use std::time::Duration;

use flattop_scpi::session::{Fault, NotReady};

/// A fault on the way to an instrument and back.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Trouble {
    /// Nothing, or not all, came in time.
    #[error(
        "{doing}: no answer within {waited:?}, only {received} bytes of it; check that the instrument can do this, or allow it more time"
    )]
    TimedOut {
        /// What was going on.
        doing: String,
        /// How long was waited.
        waited: Duration,
        /// Bytes that came.
        received: usize,
    },
    /// Nobody takes the connection.
    #[error(
        "{address}: no connection: {reason}; check address and port, and that the instrument's remote interface is on"
    )]
    Refused {
        /// The address as given.
        address: String,
        /// What the system says.
        reason: String,
    },
    /// The other side closed the link.
    #[error("{doing}: the instrument closed the link after {received} bytes of its answer")]
    Closed {
        /// What was going on.
        doing: String,
        /// Bytes that came.
        received: usize,
    },
    /// Something else came than was expected.
    #[error("{doing}: expected {expected}, found {found}")]
    Nonsense {
        /// What was going on.
        doing: String,
        /// What should have come.
        expected: String,
        /// What came, or its start.
        found: String,
    },
    /// An answer to an earlier question came.
    #[error(
        "{bytes} bytes came that nothing asked for, a late answer to {question} or one too many: {excerpt}"
    )]
    Late {
        /// The question before.
        question: String,
        /// How many bytes.
        bytes: usize,
        /// Their start.
        excerpt: String,
    },
    /// A block stopped early.
    #[error("{doing}: the block announces {announced} bytes, and {received} came")]
    ShortBlock {
        /// What was going on.
        doing: String,
        /// Announced number of bytes.
        announced: usize,
        /// Bytes that came.
        received: usize,
    },
    /// A block, or its number of samples, is not as long as it says.
    #[error("{doing}: expected {expected}, found {found}")]
    WrongLength {
        /// What was going on.
        doing: String,
        /// How long it should be.
        expected: String,
        /// What came.
        found: String,
    },
    /// An answer is larger than is taken.
    #[error(
        "{doing}: {announced} bytes are announced, and at most {limit} are taken; record fewer points, or raise the limit"
    )]
    TooLarge {
        /// What was going on.
        doing: String,
        /// Announced number of bytes.
        announced: u64,
        /// Most bytes that are taken.
        limit: u64,
    },
    /// More and more came, without an end.
    #[error("{doing}: no end of the answer after {received} bytes, and at most {limit} are taken")]
    Flood {
        /// What was going on.
        doing: String,
        /// Bytes that came.
        received: usize,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// The instrument says that something is wrong.
    #[error("the instrument reports error {number} after {doing}: {text}; check this command in its manual")]
    Reported {
        /// What was going on.
        doing: String,
        /// Number of the error.
        number: i32,
        /// The instrument's words.
        text: String,
    },
    /// This machine can't do it.
    #[error("{what}: {reason}")]
    Unavailable {
        /// What was wanted.
        what: String,
        /// Why not, and what to do.
        reason: String,
    },
}

impl From<Fault> for Trouble {
    fn from(fault: Fault) -> Self {
        let quoted = |question: String| format!("\"{question}\"");
        match fault {
            Fault::TimedOut { question, waited, received } => {
                Trouble::TimedOut { doing: quoted(question), waited, received }
            }
            Fault::Closed { question, received } => Trouble::Closed { doing: quoted(question), received },
            Fault::Nonsense { question, expected, found } => {
                Trouble::Nonsense { doing: quoted(question), expected, found }
            }
            Fault::Late { question, bytes, excerpt } => {
                Trouble::Late { question: quoted(question), bytes, excerpt }
            }
            Fault::ShortBlock { question, announced, received } => {
                Trouble::ShortBlock { doing: quoted(question), announced, received }
            }
            Fault::WrongLength { question, announced, surplus } => Trouble::WrongLength {
                doing: quoted(question),
                expected: format!("the end of the answer behind the {announced} bytes of its block"),
                found: surplus,
            },
            Fault::TooLarge { question, announced, limit } => {
                Trouble::TooLarge { doing: quoted(question), announced, limit: limit as u64 }
            }
            Fault::Flood { question, received, limit } => {
                Trouble::Flood { doing: quoted(question), received, limit }
            }
        }
    }
}

impl From<NotReady> for Trouble {
    fn from(not_ready: NotReady) -> Self {
        Trouble::Unavailable { what: "a question".to_owned(), reason: not_ready.to_string() }
    }
}
