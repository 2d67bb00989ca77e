//! Questions and answers over any transport: the session says what to do, the transport does it, the clock tells when.

use std::time::Duration;

use flattop_core::finding::Finding;
use flattop_scpi::session::{Answer, Expect, Session};

use crate::Trouble;
use crate::clock::SharedClock;
use crate::transport::{Received, Transport};

/// Most pieces that are looked at before a question; more are a flood.
const MOST_PIECES: usize = 16;
/// Most bytes of late answers that are passed over when getting back in step.
const MOST_LATE: usize = 64 << 20;

/// How a link is spoken on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Manner {
    /// What ends each message sent.
    pub ending: Vec<u8>,
    /// What is sent first after a fault, such as `ABORt`.
    pub after_fault: Vec<String>,
    /// The question that brings both sides in step, with `{number}` in it; its answer is the number.
    pub synchronise: Option<String>,
    /// How long each of these, and connecting, may take.
    pub time_limit: Duration,
}

/// A link to one instrument.
pub struct Link<T> {
    transport: T,
    session: Session,
    clock: SharedClock,
    manner: Manner,
    is_in_step: bool,
    remarks: Vec<Finding>,
}

impl<T: Transport> Link<T> {
    /// A link over `transport`, which is open.
    pub fn new(transport: T, clock: SharedClock, manner: Manner) -> Self {
        Self { transport, session: Session::new(), clock, manner, is_in_step: true, remarks: Vec::new() }
    }

    /// Sends `message`, which has no answer.
    ///
    /// # Errors
    /// It was not taken, or something came that nothing asked for. See [`recover`](Self::recover).
    pub fn tell(&mut self, message: &str) -> Result<(), Trouble> {
        self.ask(message, Expect::Nothing, self.manner.time_limit).map(|_| ())
    }

    /// Asks, and waits for the answer for at most `time_limit`.
    ///
    /// # Errors
    /// Something went wrong, named for what it was. The link is then out of step until [`recover`](Self::recover).
    pub fn ask(&mut self, message: &str, expect: Expect, time_limit: Duration) -> Result<Answer, Trouble> {
        let outcome = self.try_to_ask(message, expect, time_limit);
        self.is_in_step &= outcome.is_ok();
        outcome
    }

    fn try_to_ask(&mut self, message: &str, expect: Expect, time_limit: Duration) -> Result<Answer, Trouble> {
        // What lies there was not asked for.
        for _ in 0..MOST_PIECES {
            match self.transport.receive(Duration::ZERO)? {
                Received::Bytes(bytes, boundary) => self.session.input(self.clock.now(), &bytes, boundary),
                Received::Late { bytes, excerpt } => self.late(bytes, &excerpt),
                Received::Nothing => break,
                Received::Closed => {
                    return Err(Trouble::Closed { doing: self.transport.name(), received: 0 });
                }
            }
        }
        let now = self.clock.now();
        self.session.ask(now, message.as_bytes(), &self.manner.ending, expect, time_limit)?;
        self.run(time_limit)
    }

    /// Carries bytes until the session has an outcome, which it has by its deadline.
    fn run(&mut self, time_limit: Duration) -> Result<Answer, Trouble> {
        let output = self.session.output();
        if !output.is_empty() {
            self.transport.send(&output, time_limit)?;
        }
        loop {
            let now = self.clock.now();
            if let Some(outcome) = self.session.outcome(now) {
                return Ok(outcome?);
            }
            let wait = self.session.next_deadline().map_or(Duration::ZERO, |at| at.saturating_sub(now));
            match self.transport.receive(wait)? {
                Received::Nothing => {}
                Received::Bytes(bytes, boundary) => self.session.input(self.clock.now(), &bytes, boundary),
                Received::Late { bytes, excerpt } => self.late(bytes, &excerpt),
                Received::Closed => self.session.closed(),
            }
        }
    }

    /// Gets back in step after a fault: clears the transport, stops what the instrument does, and asks the synchronising
    /// question, before whose answer everything is late.
    ///
    /// # Errors
    /// The instrument does not answer. Try again later.
    pub fn recover(&mut self) -> Result<(), Trouble> {
        self.is_in_step = false;
        self.transport.clear(self.manner.time_limit)?;
        self.session.settle();
        for message in self.manner.after_fault.clone() {
            let now = self.clock.now();
            let limit = self.manner.time_limit;
            self.session.ask(now, message.as_bytes(), &self.manner.ending, Expect::Nothing, limit)?;
            self.run(limit)?;
        }
        if let Some(question) = self.manner.synchronise.clone() {
            let ending = self.manner.ending.clone();
            let mark = move |number: u8| {
                let text = question.replace("{number}", &number.to_string());
                [text.as_bytes(), &ending].concat()
            };
            self.session.synchronise(self.clock.now(), &mark, MOST_LATE, self.manner.time_limit)?;
            if let Answer::Synchronised { late, excerpt } = self.run(self.manner.time_limit)?
                && late > 0
            {
                self.late(late, &excerpt);
            }
        }
        self.is_in_step = true;
        Ok(())
    }

    fn late(&mut self, bytes: usize, excerpt: &str) {
        let message = format!("a late answer of {bytes} bytes was left out: {excerpt}");
        let remedy = "allow the question before it more time if this comes back";
        self.remarks.push(Finding::note("late-answer", message, remedy));
    }

    /// Whether questions can be asked.
    pub fn is_in_step(&self) -> bool {
        self.is_in_step
    }

    /// Remarks since the last call.
    pub fn remarks(&mut self) -> Vec<Finding> {
        std::mem::take(&mut self.remarks)
    }

    /// The clock that it goes by.
    pub fn clock(&self) -> &SharedClock {
        &self.clock
    }

    /// What carries it.
    pub fn transport(&self) -> &T {
        &self.transport
    }

    /// Where it leads.
    pub fn name(&self) -> String {
        self.transport.name()
    }

    /// Lets the instrument go; [`recover`](Self::recover) connects again.
    pub fn close(&mut self) {
        self.transport.close();
        self.is_in_step = false;
    }
}
