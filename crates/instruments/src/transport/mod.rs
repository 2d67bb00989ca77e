//! Ways to carry bytes to an instrument and back.
//!
//! A transport moves bytes and understands none of them. Real ones are [`Tcp`], [`Hislip`] and [`UsbTmc`]; [`Loopback`]
//! and [`Replay`] stand in for an instrument, [`Recorder`] and [`Faulty`] wrap any other.

mod faults;
mod hislip;
mod loopback;
mod recorder;
mod replay;
mod tcp;
mod transcript;
mod usbtmc;

use std::time::Duration;

use flattop_scpi::session::Boundary;

pub use crate::Trouble;
pub use faults::{Faulty, Injected, Plan};
pub use hislip::Hislip;
pub use loopback::{Loopback, Reply};
pub use recorder::{Recorder, Recording};
pub use replay::Replay;
pub use tcp::Tcp;
pub use transcript::{Entry, FIRST, Transcript, TranscriptError};
pub use usbtmc::UsbTmc;

/// Most bytes that one call of [`Transport::receive`] gives.
pub const PIECE: usize = 1 << 16;

/// What a call brought.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Received {
    /// Nothing in the time given.
    Nothing,
    /// At least one byte, and what the link says about the message's end.
    Bytes(Vec<u8>, Boundary),
    /// Bytes that the link itself knows to belong to an earlier question; they are dropped.
    Late {
        /// How many.
        bytes: usize,
        /// Their start.
        excerpt: String,
    },
    /// The other side has closed the link.
    Closed,
}

/// A way to an instrument. Every call ends within its time limit, and a little more for the system's sake.
pub trait Transport: Send {
    /// Sends one whole message.
    ///
    /// # Errors
    /// It was not taken.
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble>;

    /// Waits for some bytes of an answer. With a limit of nil it only looks whether there are some.
    ///
    /// # Errors
    /// The link is of no use until it is [cleared](Self::clear).
    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble>;

    /// Makes the link as new: nothing that is under way should arrive any more.
    ///
    /// # Errors
    /// The instrument can't be reached.
    fn clear(&mut self, time_limit: Duration) -> Result<(), Trouble>;

    /// Lets the instrument go. Only [`clear`](Self::clear) opens the link again.
    fn close(&mut self);

    /// Where it leads, for messages.
    fn name(&self) -> String;
}

impl<T: Transport + ?Sized> Transport for Box<T> {
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble> {
        (**self).send(message, time_limit)
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        (**self).receive(time_limit)
    }

    fn clear(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        (**self).clear(time_limit)
    }

    fn close(&mut self) {
        (**self).close();
    }

    fn name(&self) -> String {
        (**self).name()
    }
}

/// The least time for which a system can be told to wait.
const LEAST: Duration = Duration::from_millis(1);

/// What an error of the system means while something is sent or received.
fn broken(doing: &str, error: &std::io::Error, time_limit: Duration) -> Trouble {
    use std::io::ErrorKind as K;
    match error.kind() {
        K::TimedOut | K::WouldBlock => {
            Trouble::TimedOut { doing: doing.to_owned(), waited: time_limit, received: 0 }
        }
        K::ConnectionReset | K::ConnectionAborted | K::BrokenPipe | K::NotConnected | K::UnexpectedEof => {
            Trouble::Closed { doing: doing.to_owned(), received: 0 }
        }
        _ => Trouble::Unavailable { what: doing.to_owned(), reason: error.to_string() },
    }
}
