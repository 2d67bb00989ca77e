//! A transport that wraps another and writes down what is said on it.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use flattop_scpi::session::Boundary;

use super::{Entry, Received, Transcript, Transport, Trouble};

/// Most bytes that are written down; what comes later is passed on all the same.
const MOST: usize = 64 << 20;

/// A link that is written down.
pub struct Recorder<T> {
    inner: T,
    notes: Arc<Mutex<Notes>>,
}

#[derive(Default)]
struct Notes {
    transcript: Transcript,
    bytes: usize,
}

/// What a [`Recorder`] has written down so far.
#[derive(Clone)]
pub struct Recording(Arc<Mutex<Notes>>);

impl Recording {
    /// A copy of it.
    pub fn transcript(&self) -> Transcript {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).transcript.clone()
    }
}

impl<T: Transport> Recorder<T> {
    /// Wraps a link.
    pub fn new(inner: T) -> (Self, Recording) {
        let notes = Arc::new(Mutex::new(Notes::default()));
        (Self { inner, notes: Arc::clone(&notes) }, Recording(notes))
    }

    fn note(&self, entry: Entry) {
        let mut notes = self.notes.lock().unwrap_or_else(PoisonError::into_inner);
        let size = match &entry {
            Entry::Sent(bytes) | Entry::Received(bytes) | Entry::ReceivedEnd(bytes) => bytes.len(),
            Entry::Closed | Entry::Cleared => 0,
        };
        notes.bytes += size;
        if notes.bytes <= MOST {
            notes.transcript.entries.push(entry);
        }
    }
}

impl<T: Transport> Transport for Recorder<T> {
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble> {
        self.note(Entry::Sent(message.to_vec()));
        self.inner.send(message, time_limit)
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        let received = self.inner.receive(time_limit)?;
        match &received {
            Received::Bytes(bytes, Boundary::End) => self.note(Entry::ReceivedEnd(bytes.clone())),
            Received::Bytes(bytes, Boundary::Unmarked) => self.note(Entry::Received(bytes.clone())),
            Received::Closed => self.note(Entry::Closed),
            Received::Nothing | Received::Late { .. } => {}
        }
        Ok(received)
    }

    fn clear(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        self.note(Entry::Cleared);
        self.inner.clear(time_limit)
    }

    fn close(&mut self) {
        self.inner.close();
    }

    fn name(&self) -> String {
        self.inner.name()
    }
}
