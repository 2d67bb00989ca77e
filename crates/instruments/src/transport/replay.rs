//! A transcript in place of an instrument: it takes what was sent then, and answers as it was answered then.

use std::time::Duration;

use flattop_scpi::excerpt::excerpt;
use flattop_scpi::session::Boundary;

use super::{Entry, Received, Transcript, Transport, Trouble};
use crate::clock::SharedClock;

/// A link to a transcript. Waiting turns its clock.
pub struct Replay {
    name: String,
    entries: Vec<Entry>,
    at: usize,
    clock: SharedClock,
}

impl Replay {
    /// A link to `transcript`, which messages call `name`.
    pub fn new(name: &str, transcript: Transcript, clock: SharedClock) -> Self {
        Self { name: name.to_owned(), entries: transcript.entries, at: 0, clock }
    }

    /// Whether all of it has been said.
    pub fn is_over(&self) -> bool {
        self.at >= self.entries.len()
    }
}

impl Transport for Replay {
    fn send(&mut self, message: &[u8], _: Duration) -> Result<(), Trouble> {
        let (is_same, expected) = match self.entries.get(self.at) {
            Some(Entry::Sent(then)) => (then == message, excerpt(then)),
            Some(_) => (false, "what was received then to be read first".to_owned()),
            None => (false, "nothing: the transcript is over".to_owned()),
        };
        if is_same {
            self.at += 1;
            return Ok(());
        }
        let doing = format!("{}, entry {}", self.name, self.at + 1);
        Err(Trouble::Nonsense { doing, expected, found: excerpt(message) })
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        let received = match self.entries.get(self.at) {
            Some(Entry::Received(bytes)) => Received::Bytes(bytes.clone(), Boundary::Unmarked),
            Some(Entry::ReceivedEnd(bytes)) => Received::Bytes(bytes.clone(), Boundary::End),
            Some(Entry::Closed) => Received::Closed,
            _ => {
                self.clock.pause(time_limit);
                return Ok(Received::Nothing);
            }
        };
        // A closed link stays so until it is cleared.
        self.at += usize::from(received != Received::Closed);
        Ok(received)
    }

    fn clear(&mut self, _: Duration) -> Result<(), Trouble> {
        // What was not read then is dropped now.
        let next = self.entries[self.at..].iter().position(|entry| *entry == Entry::Cleared);
        if let Some(next) = next {
            self.at += next + 1;
        }
        Ok(())
    }

    fn close(&mut self) {}

    fn name(&self) -> String {
        self.name.clone()
    }
}
