//! Has the conversation of a dialogue file: one capture after the other, over any transport.

use std::collections::BTreeMap;
use std::time::Duration;

use flattop_core::finding::Finding;
use flattop_scpi::excerpt::excerpt;
use flattop_scpi::message::{Datum, response};
use flattop_scpi::numbers;
use flattop_scpi::session::{Answer, Expect};

use super::{Coding, Dialogue, Reference, Term, When};
use crate::Trouble;
use crate::clock::SharedClock;
use crate::link::{Link, Manner};
use crate::transport::Transport;

/// Most errors that are read from an instrument's list.
const MOST_ERRORS: usize = 20;

/// A capture as an instrument gave it.
#[derive(Clone, Debug, PartialEq)]
pub struct Acquired {
    /// Voltages, V; not-a-number where the instrument had none.
    pub volts: Vec<f64>,
    /// Time between samples, s; above zero.
    pub interval_s: f64,
    /// Time of the first sample, s.
    pub start_s: f64,
    /// The factor for the probe that the voltages contain, if the dialogue tells it.
    pub probe_factor: Option<f64>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// An instrument that is spoken to.
pub struct Instrument<T> {
    dialogue: Dialogue,
    link: Link<T>,
    /// Answers of the queries that were asked once.
    once: Answers,
    /// What it said it is.
    identity: String,
    is_prepared: bool,
}

type Answers = BTreeMap<String, (String, Vec<Datum>)>;

impl<T: Transport> Instrument<T> {
    /// Speaks over `transport`, which is open. Nothing is said yet.
    pub fn new(dialogue: Dialogue, transport: T, clock: SharedClock) -> Self {
        let manner = Manner {
            ending: dialogue.ending.clone(),
            after_fault: dialogue.after_fault.clone(),
            synchronise: dialogue.synchronise.clone(),
            time_limit: dialogue.bounds.answer_time,
        };
        let link = Link::new(transport, clock, manner);
        Self { dialogue, link, once: Answers::new(), identity: String::new(), is_prepared: false }
    }

    /// Takes one capture. What is not yet done is done before: getting back in step after a fault, asking who it is, and
    /// preparing it.
    ///
    /// # Errors
    /// Something went wrong, named for what it was. The next call begins anew.
    pub fn capture(&mut self) -> Result<Acquired, Trouble> {
        let outcome = self.try_to_capture();
        if outcome.is_err() {
            self.is_prepared = false;
        }
        outcome
    }

    fn try_to_capture(&mut self) -> Result<Acquired, Trouble> {
        if !self.link.is_in_step() {
            self.link.recover()?;
        }
        if !self.is_prepared {
            self.prepare()?;
        }
        for message in self.dialogue.arm.clone() {
            self.link.tell(&message)?;
        }
        self.wait()?;
        let mut answers = self.once.clone();
        self.ask_all(When::EachCapture, &mut answers)?;
        let (samples, what) = self.samples()?;
        self.convert(samples, &what, &answers)
    }

    /// What it said it is; empty before the first capture.
    pub fn identity(&self) -> &str {
        &self.identity
    }

    /// What carries the conversation.
    pub fn transport(&self) -> &T {
        self.link.transport()
    }

    /// Where it is.
    pub fn name(&self) -> String {
        self.link.name()
    }

    /// Lets it go; the next capture connects again.
    pub fn close(&mut self) {
        self.link.close();
        self.is_prepared = false;
    }

    pub(super) fn is_in_step(&self) -> bool {
        self.link.is_in_step()
    }

    pub(super) fn recover(&mut self) -> Result<(), Trouble> {
        self.link.recover()
    }

    pub(super) fn answer_time(&self) -> Duration {
        self.dialogue.bounds.answer_time
    }

    pub(super) fn errors_question(&self) -> Option<String> {
        self.dialogue.errors.clone()
    }

    pub(super) fn line(&mut self, question: &str, time_limit: Duration) -> Result<Vec<u8>, Trouble> {
        let expect = Expect::Line { limit: self.dialogue.bounds.answer_bytes };
        match self.link.ask(question, expect, time_limit)? {
            Answer::Line(line) => Ok(line),
            _ => Ok(Vec::new()),
        }
    }

    fn prepare(&mut self) -> Result<(), Trouble> {
        let question = self.dialogue.identify.clone();
        let answer_time = self.dialogue.bounds.answer_time;
        let identity = self.line(&question, answer_time)?;
        if let Some(part) = &self.dialogue.identity_holds {
            let upper = |bytes: &[u8]| String::from_utf8_lossy(bytes).to_uppercase();
            if !upper(&identity).contains(&upper(part.as_bytes())) {
                return Err(Trouble::Nonsense {
                    doing: format!("{}: \"{question}\"", self.link.name()),
                    expected: format!("an instrument that calls itself \"{part}\""),
                    found: excerpt(&identity),
                });
            }
        }
        self.identity = String::from_utf8_lossy(&identity).trim().to_owned();
        for message in self.dialogue.prepare.clone() {
            self.link.tell(&message)?;
            if let Some(question) = self.dialogue.errors.clone() {
                self.errors(&question, &message)?;
            }
        }
        let mut answers = Answers::new();
        self.ask_all(When::Once, &mut answers)?;
        self.once = answers;
        self.is_prepared = true;
        Ok(())
    }

    /// Reads the instrument's list of errors until it is empty; the first one counts.
    fn errors(&mut self, question: &str, after: &str) -> Result<(), Trouble> {
        let mut first = None;
        for _ in 0..MOST_ERRORS {
            let answer = self.line(question, self.dialogue.bounds.answer_time)?;
            let error =
                flattop_scpi::status::DeviceError::parse(&answer).ok_or_else(|| Trouble::Nonsense {
                    doing: format!("\"{question}\""),
                    expected: "the number of an error, 0 for none".to_owned(),
                    found: excerpt(&answer),
                })?;
            if error.number == 0 {
                break;
            }
            first = first.or(Some(error));
        }
        match first {
            None => Ok(()),
            Some(error) => {
                let doing = format!("\"{after}\"");
                Err(Trouble::Reported { doing, number: error.number, text: error.text })
            }
        }
    }

    fn ask_all(&mut self, when: When, answers: &mut Answers) -> Result<(), Trouble> {
        for query in self.dialogue.queries.clone().into_iter().filter(|query| query.when == when) {
            let line = self.line(&query.ask, self.dialogue.bounds.answer_time)?;
            let units = response(&line).map_err(|fault| Trouble::Nonsense {
                doing: format!("\"{}\"", query.ask),
                expected: "numbers between commas".to_owned(),
                found: format!("{}: {fault}", excerpt(&line)),
            })?;
            answers.insert(query.name, (query.ask, units.into_iter().flatten().collect()));
        }
        Ok(())
    }

    fn wait(&mut self) -> Result<(), Trouble> {
        let Some(wait) = self.dialogue.wait.clone() else { return Ok(()) };
        let limit = self.dialogue.bounds.capture_time;
        let begin = self.link.clock().now();
        let number = |text: &str| numbers::number(text.as_bytes());
        loop {
            let left = limit.saturating_sub(self.link.clock().now().saturating_sub(begin));
            let timed_out = |received| Trouble::TimedOut {
                doing: format!("waiting for a capture (\"{}\"): no trigger?", wait.ask),
                waited: limit,
                received,
            };
            if left.is_zero() {
                return Err(timed_out(0));
            }
            let answer = match self.line(&wait.ask, left) {
                Err(Trouble::TimedOut { received, .. }) => return Err(timed_out(received)),
                other => other?,
            };
            let answer = String::from_utf8_lossy(&answer).trim().to_owned();
            let is_there = match (number(&answer), number(&wait.until)) {
                (Some(a), Some(b)) => a.total_cmp(&b).is_eq(),
                _ => answer.eq_ignore_ascii_case(&wait.until),
            };
            if is_there {
                return Ok(());
            }
            self.link.clock().pause(wait.every.max(Duration::from_millis(1)).min(left));
        }
    }

    /// The samples as numbers, and what was asked, for messages.
    fn samples(&mut self) -> Result<(Vec<f64>, String), Trouble> {
        let question = self.dialogue.samples.ask.clone();
        let doing = format!("\"{question}\"");
        let limit = self.dialogue.bounds.sample_bytes;
        let time_limit = self.dialogue.bounds.answer_time;
        let nonsense = |expected: &str, error: &numbers::NumberError| Trouble::Nonsense {
            doing: doing.clone(),
            expected: expected.to_owned(),
            found: error.to_string(),
        };
        let samples = match self.dialogue.samples.coding {
            Coding::List => match self.link.ask(&question, Expect::Line { limit }, time_limit)? {
                Answer::Line(line) => {
                    // Two bytes a number at least.
                    numbers::list(&line, limit).map_err(|e| nonsense("a list of numbers", &e))?
                }
                _ => Vec::new(),
            },
            Coding::Block(code, order) => {
                match self.link.ask(&question, Expect::Block { limit }, time_limit)? {
                    Answer::Block(bytes) => numbers::decode(&bytes, code, order).map_err(|e| match e {
                        numbers::NumberError::PartOfACode { size, bytes, .. } => Trouble::WrongLength {
                            doing: doing.clone(),
                            expected: format!("whole samples of {size} bytes each"),
                            found: format!("{bytes} bytes"),
                        },
                        other => nonsense("codes", &other),
                    })?,
                    _ => Vec::new(),
                }
            }
        };
        Ok((samples, doing))
    }

    fn convert(&mut self, samples: Vec<f64>, doing: &str, answers: &Answers) -> Result<Acquired, Trouble> {
        let value = |term: &Term| term.value(&mut |reference| number(answers, reference));
        if let Some(points) = &self.dialogue.samples.points {
            let points = value(points)?;
            if (points - samples.len() as f64).abs() > 0.5 || points.is_nan() {
                return Err(Trouble::WrongLength {
                    doing: doing.to_owned(),
                    expected: format!("{points} samples"),
                    found: format!("{} samples", samples.len()),
                });
            }
        }
        let volts = &self.dialogue.volts;
        let (offset, step, origin) = (value(&volts.code_offset)?, value(&volts.step)?, value(&volts.origin)?);
        let interval_s = value(&self.dialogue.interval)?;
        let start_s = self.dialogue.start.as_ref().map_or(Ok(0.0), value)?;
        let probe_factor = volts.probe_factor.as_ref().map(value).transpose()?;
        let must = |key: &str, expected: &str, found: f64, holds: bool| {
            if holds && found.is_finite() {
                return Ok(());
            }
            let (doing, expected) = (key.to_owned(), expected.to_owned());
            Err(Trouble::Nonsense { doing, expected, found: found.to_string() })
        };
        must("[seconds] interval", "a time above zero", interval_s, interval_s > 0.0)?;
        must("[seconds] start", "a time", start_s, true)?;
        must("[volts] step", "volts of one code, not 0", step, step != 0.0)?;
        must("[volts] code_offset", "a number", offset, true)?;
        must("[volts] origin", "a voltage", origin, true)?;
        if let Some(factor) = probe_factor {
            must("[volts] probe_factor", "a factor above zero", factor, factor > 0.0)?;
        }
        let mut findings = self.link.remarks();
        if let Some(factor) = probe_factor {
            let message = format!(
                "the instrument multiplies by {factor} for the probe; its voltages are taken as it gives them"
            );
            findings.push(Finding::note("instrument-probe-factor", message, ""));
        }
        let volts = samples.iter().map(|code| (code - offset) * step + origin).collect();
        Ok(Acquired { volts, interval_s, start_s, probe_factor, findings })
    }
}

/// An item of an answer as number.
fn number(answers: &Answers, reference: &Reference) -> Result<f64, Trouble> {
    let (question, data) = match answers.get(&reference.query) {
        Some((question, data)) => (question.as_str(), data.as_slice()),
        None => (reference.query.as_str(), &[][..]),
    };
    match data.get(reference.item - 1) {
        Some(Datum::Number(value)) if value.is_finite() => Ok(*value),
        other => Err(Trouble::Nonsense {
            doing: format!("\"{question}\""),
            expected: format!("a number as item {} of the answer", reference.item),
            found: match other {
                None => format!("{} items", data.len()),
                Some(Datum::Number(_)) => "no number, as SCPI writes it".to_owned(),
                Some(Datum::Word(text) | Datum::Expression(text)) => excerpt(text.as_bytes()),
                Some(Datum::Text(bytes)) => format!("the text {}", excerpt(bytes)),
                Some(Datum::Block(bytes)) => format!("a block of {} bytes", bytes.len()),
            },
        }),
    }
}
