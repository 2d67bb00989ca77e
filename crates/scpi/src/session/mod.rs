//! One question after the other, each with a deadline: bytes and time in, bytes and the next deadline out.
//!
//! How it is used: [`ask`](Session::ask), then, until [`outcome`](Session::outcome) has something to say, send what
//! [`output`](Session::output) gives and hand in what arrives with [`input`](Session::input), at
//! [`next_deadline`](Session::next_deadline) at the latest. Time is counted from any fixed moment.
//!
//! After a fault nobody knows what the other side will still send. The session then refuses to ask until
//! [`settle`](Session::settle) says that the link is new or was cleared, or a [`synchronise`](Session::synchronise)
//! question with a number of its own came back: all bytes before that number are answers of before.

mod exchange;
mod fault;
#[cfg(test)]
mod tests;

use std::time::Duration;

use crate::excerpt;
use exchange::Exchange;
pub use fault::{Fault, NotReady};

/// What is expected in return.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Expect {
    /// Nothing.
    Nothing,
    /// One line.
    Line {
        /// Most bytes, without its end.
        limit: usize,
    },
    /// A definite or indefinite block.
    Block {
        /// Most bytes of data.
        limit: usize,
    },
}

/// What came back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Nothing was expected; the message is on its way.
    Sent,
    /// A line without its end.
    Line(Vec<u8>),
    /// The data of a block.
    Block(Vec<u8>),
    /// The link is in step again.
    Synchronised {
        /// Bytes of earlier answers that came first.
        late: usize,
        /// Their start.
        excerpt: String,
    },
}

/// What the link says about the end of a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Boundary {
    /// The link marks ends, and a message ends with these bytes.
    End,
    /// The link marks no ends, or not here.
    Unmarked,
}

/// How long a link without marks must be silent behind an indefinite block, or behind a definite one that has no line
/// feed, until the answer counts as ended.
pub const QUIET: Duration = Duration::from_millis(150);

/// Bytes of a stray answer that are kept to be shown.
const KEPT: usize = excerpt::LONGEST + 1;

/// The exchanges with one instrument.
#[derive(Clone, Debug)]
pub struct Session {
    state: State,
    output: Vec<u8>,
    /// What came without having been asked for: number of bytes, and their start.
    stray: (usize, Vec<u8>),
    /// The last question that was sent, for messages.
    last: String,
    /// Number of the next synchronising question, 1 to 255.
    mark: u8,
}

#[derive(Clone, Debug)]
enum State {
    Idle,
    Asking(Exchange),
    Over(Result<Answer, Fault>),
    /// After a fault.
    Unsettled,
}

impl Default for Session {
    fn default() -> Self {
        Self::new()
    }
}

impl Session {
    /// A session on a new link.
    pub const fn new() -> Self {
        Self { state: State::Idle, output: Vec::new(), stray: (0, Vec::new()), last: String::new(), mark: 0 }
    }

    /// Sends `message`, with `ending` behind it, and expects an answer within `time_limit`.
    ///
    /// Bytes that have arrived unasked since the last answer are an answer of before: then nothing is sent, and the
    /// outcome is [`Fault::Late`].
    ///
    /// # Errors
    /// Another question is under way, or a fault has not been settled.
    pub fn ask(
        &mut self,
        now: Duration,
        message: &[u8],
        ending: &[u8],
        expect: Expect,
        time_limit: Duration,
    ) -> Result<(), NotReady> {
        match self.state {
            State::Idle => {}
            State::Unsettled => return Err(NotReady::Unsettled),
            _ => return Err(NotReady::Busy),
        }
        let (bytes, start) = std::mem::take(&mut self.stray);
        if bytes > 0 {
            let late = Fault::Late { question: self.last.clone(), bytes, excerpt: excerpt::excerpt(&start) };
            self.state = State::Over(Err(late));
            return Ok(());
        }
        self.last = excerpt::escape(message);
        self.output = [message, ending].concat();
        self.state = State::Asking(Exchange::new(self.last.clone(), expect, now, time_limit));
        Ok(())
    }

    /// Sends a question whose answer is a number that no earlier answer ends with by intent, and drops all that comes
    /// before it. `question` makes the message of the number; `*ESE 17;*ESE?` does with every instrument after IEEE 488.2.
    ///
    /// # Errors
    /// Another question is under way.
    pub fn synchronise(
        &mut self,
        now: Duration,
        question: &dyn Fn(u8) -> Vec<u8>,
        limit: usize,
        time_limit: Duration,
    ) -> Result<(), NotReady> {
        if matches!(self.state, State::Asking(_) | State::Over(_)) {
            return Err(NotReady::Busy);
        }
        self.mark = if self.mark == u8::MAX { 1 } else { self.mark + 1 };
        let message = question(self.mark);
        let (bytes, start) = std::mem::take(&mut self.stray);
        let mut exchange = Exchange::mark(excerpt::escape(&message), self.mark, limit, now, time_limit);
        exchange.stray(bytes, &start);
        self.output = message;
        self.state = State::Asking(exchange);
        Ok(())
    }

    /// The link is new, or was cleared: nothing of before can arrive any more.
    pub fn settle(&mut self) {
        *self = Self { mark: self.mark, ..Self::new() };
    }

    /// Bytes to be sent, all of one message. They count as sent.
    pub fn output(&mut self) -> Vec<u8> {
        let output = std::mem::take(&mut self.output);
        if let State::Asking(exchange) = &mut self.state
            && exchange.expects_nothing()
        {
            self.state = State::Over(Ok(Answer::Sent));
        }
        output
    }

    /// Takes bytes that have arrived.
    pub fn input(&mut self, now: Duration, bytes: &[u8], boundary: Boundary) {
        if let State::Asking(exchange) = &mut self.state {
            if let Some(outcome) = exchange.input(now, bytes, boundary) {
                self.state = State::Over(outcome);
            }
            return;
        }
        if matches!(self.state, State::Idle | State::Over(Ok(_))) {
            let (count, start) = &mut self.stray;
            *count = count.saturating_add(bytes.len());
            let room = KEPT.saturating_sub(start.len()).min(bytes.len());
            start.extend_from_slice(&bytes[..room]);
        }
        // After a fault all of it is dropped.
    }

    /// The other side has closed the link.
    pub fn closed(&mut self) {
        if let State::Asking(exchange) = &mut self.state {
            self.state = State::Over(Err(exchange.closed()));
        }
    }

    /// When to look again at the latest, while a question is under way.
    pub fn next_deadline(&self) -> Option<Duration> {
        match &self.state {
            State::Asking(exchange) => Some(exchange.next_deadline()),
            _ => None,
        }
    }

    /// What has become of the question, if it is known at `now`; once. After a fault the session is unsettled.
    pub fn outcome(&mut self, now: Duration) -> Option<Result<Answer, Fault>> {
        if let State::Asking(exchange) = &mut self.state
            && let Some(outcome) = exchange.at(now)
        {
            self.state = State::Over(outcome);
        }
        match std::mem::replace(&mut self.state, State::Idle) {
            State::Over(outcome) => {
                if outcome.is_err() {
                    self.output.clear();
                    self.state = State::Unsettled;
                }
                Some(outcome)
            }
            other => {
                self.state = other;
                None
            }
        }
    }
}
