//! HiSLIP over TCP: ends of messages are marked, late answers are told apart, and a device clear is part of it.

use std::collections::VecDeque;
use std::net::TcpStream;
use std::time::Duration;

use flattop_scpi::hislip::{Channel, Client, Event, HislipError};
use flattop_scpi::session::Boundary;

use super::{LEAST, Received, Transport, Trouble, tcp};
use crate::clock::SharedClock;

/// Largest part of an answer that is taken; answers may have any number of parts.
const PART: usize = 1 << 20;

/// A HiSLIP session.
pub struct Hislip {
    address: String,
    sub_address: String,
    clock: SharedClock,
    open: Option<Open>,
    waiting: VecDeque<Received>,
}

struct Open {
    client: Client,
    synchronous: TcpStream,
    asynchronous: Option<TcpStream>,
}

impl Hislip {
    /// Opens a session at `address`, such as "192.0.2.7:4880", with the device `sub_address`, usually "hislip0".
    ///
    /// # Errors
    /// No session in time.
    pub fn connect(
        address: &str,
        sub_address: &str,
        clock: SharedClock,
        time_limit: Duration,
    ) -> Result<Self, Trouble> {
        let mut hislip = Self {
            address: address.to_owned(),
            sub_address: sub_address.to_owned(),
            clock,
            open: None,
            waiting: VecDeque::new(),
        };
        hislip.open(time_limit)?;
        Ok(hislip)
    }

    fn open(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        let end = self.clock.now() + time_limit;
        self.waiting.clear();
        let synchronous = tcp::connect(&self.address, &self.clock, time_limit)?;
        let client = Client::new(&self.sub_address, PART);
        self.open = Some(Open { client, synchronous, asynchronous: None });
        self.until(end, time_limit, "opening the session", |client| client.session().is_some())?;
        let left = end.saturating_sub(self.clock.now());
        let asynchronous = tcp::connect(&self.address, &self.clock, left)?;
        if let Some(open) = &mut self.open {
            open.asynchronous = Some(asynchronous);
        }
        self.until(end, time_limit, "opening the session", Client::is_ready)?;
        self.waiting.clear();
        Ok(())
    }

    /// Carries bytes until `done`.
    fn until(
        &mut self,
        end: Duration,
        time_limit: Duration,
        doing: &str,
        done: impl Fn(&Client) -> bool,
    ) -> Result<(), Trouble> {
        while !self.open.as_ref().is_some_and(|open| done(&open.client)) {
            let now = self.clock.now();
            if now >= end {
                let doing = format!("{doing} with {}", self.address);
                return Err(Trouble::TimedOut { doing, waited: time_limit, received: 0 });
            }
            // Both channels in turn.
            self.carry((end - now).min(Duration::from_millis(20)))?;
            if self.open.is_none() {
                return Err(Trouble::Closed { doing: format!("{doing} with {}", self.address), received: 0 });
            }
        }
        Ok(())
    }

    /// Sends what is to be sent, and waits on the synchronous channel, then looks at the other.
    fn carry(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        let Some(open) = &mut self.open else { return Ok(()) };
        let outcome = open.carry(&self.clock, time_limit, &mut self.waiting);
        match outcome {
            Ok(true) => Ok(()),
            Ok(false) => {
                self.open = None;
                self.waiting.push_back(Received::Closed);
                Ok(())
            }
            Err(trouble) => {
                self.open = None;
                Err(trouble)
            }
        }
    }
}

impl Open {
    /// Whether the session still stands.
    fn carry(
        &mut self,
        clock: &SharedClock,
        time_limit: Duration,
        waiting: &mut VecDeque<Received>,
    ) -> Result<bool, Trouble> {
        let patience = time_limit.max(Duration::from_secs(1));
        let out = self.client.output(Channel::Synchronous);
        tcp::write(&mut self.synchronous, &out, clock, patience)?;
        if let Some(stream) = &mut self.asynchronous {
            let out = self.client.output(Channel::Asynchronous);
            tcp::write(stream, &out, clock, patience)?;
            match tcp::read(stream, LEAST)? {
                Some(bytes) if bytes.is_empty() => return Ok(false),
                Some(bytes) => self.client.feed(Channel::Asynchronous, &bytes).map_err(trouble)?,
                None => {}
            }
        }
        match tcp::read(&mut self.synchronous, time_limit)? {
            Some(bytes) if bytes.is_empty() => return Ok(false),
            Some(bytes) => self.client.feed(Channel::Synchronous, &bytes).map_err(trouble)?,
            None => {}
        }
        while let Some(event) = self.client.event() {
            match event {
                Event::Data(bytes) if bytes.is_empty() => {}
                Event::Data(bytes) => waiting.push_back(Received::Bytes(bytes, Boundary::Unmarked)),
                Event::DataEnd(bytes) => waiting.push_back(Received::Bytes(bytes, Boundary::End)),
                Event::Late { bytes, excerpt } => waiting.push_back(Received::Late { bytes, excerpt }),
                Event::Interrupted | Event::Cleared => waiting.clear(),
                Event::Ready | Event::ServiceRequest(_) => {}
            }
        }
        Ok(true)
    }
}

fn trouble(error: HislipError) -> Trouble {
    let doing = "HiSLIP".to_owned();
    match error {
        HislipError::NotHislip { found } => {
            Trouble::Nonsense { doing, expected: "a message, which begins with \"HS\"".to_owned(), found }
        }
        HislipError::TooLarge { announced, limit } => {
            Trouble::TooLarge { doing, announced, limit: limit as u64 }
        }
        HislipError::OutOfOrder { expected, found } => {
            Trouble::Nonsense { doing, expected: expected.to_owned(), found: format!("{found:?}") }
        }
        HislipError::Fatal { code, text } | HislipError::Rejected { code, text } => {
            Trouble::Reported { doing, number: i32::from(code), text }
        }
        HislipError::NoRoom { .. } => Trouble::Unavailable { what: doing, reason: error.to_string() },
    }
}

impl Transport for Hislip {
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble> {
        let Some(open) = &mut self.open else {
            return Err(Trouble::Closed { doing: self.address.clone(), received: 0 });
        };
        open.client.send(message);
        let out = open.client.output(Channel::Synchronous);
        tcp::write(&mut open.synchronous, &out, &self.clock, time_limit)
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        if let Some(received) = self.waiting.pop_front() {
            return Ok(received);
        }
        if self.open.is_none() {
            return Ok(Received::Closed);
        }
        self.carry(time_limit)?;
        Ok(self.waiting.pop_front().unwrap_or(Received::Nothing))
    }

    fn clear(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        let end = self.clock.now() + time_limit;
        self.waiting.clear();
        if let Some(open) = &mut self.open {
            open.client.clear();
            let half = self.clock.now() + time_limit / 2;
            let cleared = self.until(half, time_limit / 2, "clearing the session", Client::is_ready);
            self.waiting.clear();
            if cleared.is_ok() {
                return Ok(());
            }
        }
        // A session that doesn't even take a device clear is given up.
        self.open = None;
        self.open(end.saturating_sub(self.clock.now()).max(LEAST))
    }

    fn close(&mut self) {
        self.open = None;
        self.waiting.clear();
    }

    fn name(&self) -> String {
        format!("{} ({})", self.address, self.sub_address)
    }
}
