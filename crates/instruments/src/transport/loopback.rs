//! An instrument in memory: a function answers each message. Its time is the clock's.

use std::collections::VecDeque;
use std::time::Duration;

use flattop_scpi::session::Boundary;

use super::{Received, Transport, Trouble};
use crate::clock::SharedClock;

/// A piece of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// How long after the message, or the piece before, it comes.
    pub after: Duration,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Whether the message ends with it, if the link marks ends.
    pub boundary: Boundary,
}

impl Reply {
    /// A whole answer, at once, on a link without marks.
    pub fn now(bytes: impl Into<Vec<u8>>) -> Self {
        Self { after: Duration::ZERO, bytes: bytes.into(), boundary: Boundary::Unmarked }
    }
}

/// What stands in for the instrument.
type Instrument = Box<dyn FnMut(&[u8]) -> Vec<Reply> + Send>;

/// A link to an instrument in memory.
pub struct Loopback {
    instrument: Instrument,
    clock: SharedClock,
    /// With the time at which each is there.
    replies: VecDeque<(Duration, Reply)>,
    is_open: bool,
}

impl Loopback {
    /// A link to `instrument`, which is called with each message. Waiting turns `clock`.
    pub fn new(instrument: impl FnMut(&[u8]) -> Vec<Reply> + Send + 'static, clock: SharedClock) -> Self {
        Self { instrument: Box::new(instrument), clock, replies: VecDeque::new(), is_open: true }
    }
}

impl Transport for Loopback {
    fn send(&mut self, message: &[u8], _: Duration) -> Result<(), Trouble> {
        if !self.is_open {
            return Err(Trouble::Closed { doing: self.name(), received: 0 });
        }
        let mut at = self.clock.now();
        for reply in (self.instrument)(message) {
            at += reply.after;
            self.replies.push_back((at, reply));
        }
        Ok(())
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        if !self.is_open {
            return Ok(Received::Closed);
        }
        let now = self.clock.now();
        match self.replies.front() {
            Some((at, _)) if *at <= now + time_limit => {
                self.clock.pause(at.saturating_sub(now));
                let reply = self.replies.pop_front().map(|(_, reply)| reply);
                Ok(reply.map_or(Received::Nothing, |r| Received::Bytes(r.bytes, r.boundary)))
            }
            _ => {
                self.clock.pause(time_limit);
                Ok(Received::Nothing)
            }
        }
    }

    fn clear(&mut self, _: Duration) -> Result<(), Trouble> {
        self.replies.clear();
        self.is_open = true;
        Ok(())
    }

    fn close(&mut self) {
        self.is_open = false;
        self.replies.clear();
    }

    fn name(&self) -> String {
        "loopback".to_owned()
    }
}
