//! An instrument as a source: capture after capture, and after a fault it tries again, more and more patiently.

use std::time::Duration;

use flattop_captures::ReadOptions;

use super::{Cause, Problem, Source, Step, read};
use crate::Trouble;
use crate::clock::SharedClock;
use crate::dialogue::{Acquired, Dialogue, Instrument};
use crate::transport::Transport;

/// Makes a connection to the one instrument that the user named.
pub type Connect = Box<dyn FnMut() -> Result<Box<dyn Transport>, Trouble> + Send>;

/// Pause after a first fault; it doubles from fault to fault.
const FIRST_PAUSE: Duration = Duration::from_millis(250);
/// Longest pause.
const LONGEST_PAUSE: Duration = Duration::from_secs(8);

/// An instrument behind a dialogue.
pub struct FromInstrument {
    name: String,
    dialogue: Dialogue,
    connect: Connect,
    clock: SharedClock,
    instrument: Option<Instrument<Box<dyn Transport>>>,
    number: u64,
    /// Whether it is asked for its status after a fault.
    asks_status: bool,
    pause: Duration,
    /// Not before this time.
    next_try: Duration,
}

impl FromInstrument {
    /// An instrument that is spoken to by `dialogue`, and reached by `connect`, which is called at the first capture and
    /// after a fault that the link did not survive.
    pub fn new(name: &str, dialogue: Dialogue, connect: Connect, clock: SharedClock) -> Self {
        Self {
            name: name.to_owned(),
            dialogue,
            connect,
            clock,
            instrument: None,
            number: 0,
            asks_status: false,
            pause: FIRST_PAUSE,
            next_try: Duration::ZERO,
        }
    }

    /// After a fault, asks what the instrument itself has to say: its status byte, its events and its list of errors. That takes
    /// a few answers' time.
    pub fn asking_status(self) -> Self {
        Self { asks_status: true, ..self }
    }

    /// What went wrong, with what the instrument says of it.
    fn explained(&mut self, trouble: Trouble) -> Cause {
        let answers = !matches!(
            trouble,
            Trouble::Refused { .. } | Trouble::Closed { .. } | Trouble::Unavailable { .. }
        );
        let said = match &mut self.instrument {
            Some(instrument) if self.asks_status && answers => instrument.ask_status(),
            _ => Vec::new(),
        };
        if said.is_empty() {
            Cause::Link(trouble)
        } else {
            Cause::Explained { trouble, said: said.join(", ") }
        }
    }

    /// What the instrument said it is; empty before the first answer.
    pub fn identity(&self) -> &str {
        self.instrument.as_ref().map_or("", |instrument| instrument.identity())
    }

    fn capture(&mut self) -> Result<Acquired, Trouble> {
        let instrument = match &mut self.instrument {
            Some(instrument) => instrument,
            None => {
                let transport = (self.connect)()?;
                let new = Instrument::new(self.dialogue.clone(), transport, self.clock.clone());
                self.instrument.insert(new)
            }
        };
        instrument.capture()
    }

    fn step(&mut self, acquired: Acquired) -> Step {
        self.number += 1;
        let Acquired { volts, interval_s, start_s, findings, .. } = acquired;
        let bytes = npy(&volts);
        let options = ReadOptions { interval_s: Some(interval_s), ..ReadOptions::default() };
        let name = format!("{} {}", self.name, self.number);
        let mut step = read(name, bytes, &options, self.clock.now());
        if let Step::Arrived(arrived) = &mut step {
            arrived.capture.start_s = start_s;
            // The dialogue says what the numbers are.
            arrived.capture.findings.retain(|finding| finding.code != "unit-assumed");
            arrived.findings = findings;
        }
        step
    }
}

impl Source for FromInstrument {
    fn next(&mut self, time_limit: Duration) -> Step {
        let now = self.clock.now();
        if now < self.next_try {
            let wait = self.next_try - now;
            self.clock.pause(wait.min(time_limit));
            if wait > time_limit {
                return Step::Nothing;
            }
        }
        match self.capture() {
            Ok(acquired) => {
                self.pause = FIRST_PAUSE;
                self.step(acquired)
            }
            Err(trouble) => {
                let cause = self.explained(trouble);
                let at = self.clock.now();
                self.next_try = at + self.pause;
                self.pause = (self.pause * 2).min(LONGEST_PAUSE);
                Step::Problem(Problem { name: self.name.clone(), at, cause, times: 1 })
            }
        }
    }

    fn name(&self) -> String {
        self.name.clone()
    }
}

/// Voltages as an NPY array of one axis, version 1.0 of the format, double precision, least significant byte first.
fn npy(volts: &[f64]) -> Vec<u8> {
    let mut header = format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({},), }}", volts.len());
    // The whole head ends at a multiple of 64 bytes, with a line feed.
    let bare = 10 + header.len() + 1;
    header.extend(std::iter::repeat_n(' ', bare.next_multiple_of(64) - bare));
    header.push('\n');
    let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
    bytes.extend((header.len() as u16).to_le_bytes());
    bytes.extend(header.bytes());
    bytes.extend(volts.iter().flat_map(|v| v.to_le_bytes()));
    bytes
}
