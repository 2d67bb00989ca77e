//! The simulated digitizer: messages and time in, answers and next time out.
//!
//! It knows headers of IEEE 488.2 and SCPI-1999 only ([`headers`]). Commands are carried out in the order in which they
//! come; `*OPC?`, `*WAI`, `FETCh?` and `READ?` wait for the capture that is under way, and hold what stands behind them.

mod data;
mod headers;
mod status;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;
use std::time::Duration;

use flattop_scpi::block;
use flattop_scpi::message::{Datum, Unit, UnitKind, program};
use flattop_scpi::numbers::{Code, Order, encode};
use flattop_scpi::status::event;

use crate::bench::{Bench, Capture, Timing};
use data::{Error, ILLEGAL_VALUE, Numeric, channel, is_word, none, one, whole};
use headers::Header;
use status::{MEASURING, Status};

/// Longest message that is taken, bytes.
pub const MOST_MESSAGE: usize = 1 << 16;
/// Commands that may wait.
const MOST_WAITING: usize = 4096;

const POINTS: Numeric = Numeric { least: 100.0, most: 1e6, default: 10_000.0, is_time: false };
const INTERVAL: Numeric = Numeric { least: 1e-9, most: 1e-3, default: 1e-6, is_time: true };

const INIT_IGNORED: Error = -213;
const TRIGGER_IGNORED: Error = -211;
const DATA_STALE: Error = -230;
const SYNTAX: Error = -102;
const UNDEFINED_HEADER: Error = -113;
const OVERRUN: Error = -363;

/// The headers with a few words about each, for documents and help.
pub fn headers() -> impl Iterator<Item = (&'static str, &'static str)> {
    headers::HEADERS.iter().map(|(print, _, _, words)| (*print, *words))
}

/// How samples are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Format {
    Ascii,
    Block(Code),
}

/// What comes next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Next {
    /// An answer to be sent, its line feed at the end.
    Answer(Vec<u8>),
    /// Nothing before this time.
    At(Duration),
    /// Nothing until another message comes.
    Idle,
}

/// Something to be done.
#[derive(Clone, Debug)]
enum Job {
    Unit(Unit),
    /// The message ends: what was answered goes out.
    End,
}

/// One controller's view of the instrument.
#[derive(Clone, Debug)]
pub struct Digitizer {
    /// Least time from one capture's end to the next one's.
    cycle: Duration,
    jobs: VecDeque<Job>,
    answers: Vec<Vec<u8>>,
    status: Status,
    format: Format,
    order: Order,
    timing: Timing,
    /// Counted from 0.
    input: usize,
    /// When the capture that is under way is complete.
    complete_at: Option<Duration>,
    last_complete: Option<Duration>,
    capture: Option<Capture>,
    /// Whether `*OPC` waits for the capture.
    tells_complete: bool,
    /// Whether the `READ?` in front has begun its capture.
    is_reading: bool,
}

impl Digitizer {
    /// An instrument that completes at most so many captures a second.
    pub fn new(most_per_second: f64) -> Self {
        let cycle = Duration::try_from_secs_f64(1.0 / most_per_second).unwrap_or(Duration::ZERO);
        Self {
            cycle,
            jobs: VecDeque::new(),
            answers: Vec::new(),
            status: Status::new(),
            format: Format::Ascii,
            order: Order::MostSignificantFirst,
            timing: Timing { points: POINTS.default as usize, interval_s: INTERVAL.default },
            input: 0,
            complete_at: None,
            last_complete: None,
            capture: None,
            tells_complete: false,
            is_reading: false,
        }
    }

    /// Takes a whole message.
    pub fn message(&mut self, message: &[u8]) {
        if message.len() > MOST_MESSAGE {
            return self.overrun();
        }
        match program(message) {
            Ok(units) if self.jobs.len() + units.len() >= MOST_WAITING => self.overrun(),
            Ok(units) => {
                self.jobs.extend(units.into_iter().map(Job::Unit));
                self.jobs.push_back(Job::End);
            }
            Err(_) => self.status.error(SYNTAX),
        }
    }

    /// More came than it can hold.
    pub fn overrun(&mut self) {
        self.status.error(OVERRUN);
    }

    /// Device clear (IEEE 488.2-1992, 5.8): forgets what waits; settings and errors stay.
    pub fn clear(&mut self) {
        self.jobs.clear();
        self.answers.clear();
        self.is_reading = false;
        self.tells_complete = false;
    }

    /// A trigger that came beside the messages.
    pub fn trigger(&mut self) {
        self.status.error(TRIGGER_IGNORED);
    }

    /// The status byte, as a serial poll reads it.
    pub fn status_byte(&self) -> u8 {
        self.status.byte(!self.answers.is_empty())
    }

    /// Whether a message is still to be carried out.
    pub fn has_work(&self) -> bool {
        !self.jobs.is_empty()
    }

    /// Goes on as far as it can by the time `now`, and tells what comes next.
    pub fn next(&mut self, bench: &mut Bench, now: Duration) -> Next {
        loop {
            self.catch_up(bench, now);
            let Some(job) = self.jobs.front().cloned() else {
                return self.complete_at.map_or(Next::Idle, Next::At);
            };
            match job {
                Job::End => {
                    self.jobs.pop_front();
                    if !self.answers.is_empty() {
                        let mut answer = std::mem::take(&mut self.answers).join(&b';');
                        answer.push(b'\n');
                        return Next::Answer(answer);
                    }
                }
                Job::Unit(unit) => {
                    let header = headers::find(&unit);
                    if let Some(wait) = header.and_then(|header| self.wait(header, &unit, now)) {
                        return Next::At(wait);
                    }
                    self.jobs.pop_front();
                    self.is_reading = false;
                    let done = header
                        .ok_or(UNDEFINED_HEADER)
                        .and_then(|header| self.carry_out(header, &unit, bench, now));
                    match done {
                        Ok(answer) => self.answers.extend(answer),
                        Err(number) => self.status.error(number),
                    }
                }
            }
        }
    }

    /// Until when a unit has to wait, if it has to.
    fn wait(&mut self, header: Header, unit: &Unit, now: Duration) -> Option<Duration> {
        let is_query = unit.kind == UnitKind::Query;
        match header {
            Header::Read if !self.is_reading && unit.data.is_empty() => {
                self.begin(now);
                self.is_reading = true;
                self.complete_at
            }
            Header::OperationComplete if is_query => self.complete_at,
            Header::Wait | Header::Fetch | Header::Read => self.complete_at,
            _ => None,
        }
    }

    fn begin(&mut self, now: Duration) {
        let record = Duration::from_secs_f64(self.timing.points as f64 * self.timing.interval_s);
        let next = self.last_complete.map_or(Duration::ZERO, |last| last + self.cycle);
        self.capture = None;
        self.complete_at = Some((now + record).max(next));
    }

    /// Completes a capture whose time has come.
    fn catch_up(&mut self, bench: &mut Bench, now: Duration) {
        let Some(at) = self.complete_at.filter(|at| *at <= now) else { return };
        self.capture = bench.capture(self.input, self.timing);
        self.complete_at = None;
        self.last_complete = Some(at);
        self.status.operation_events |= MEASURING;
        if std::mem::take(&mut self.tells_complete) {
            self.status.events |= event::OPERATION_COMPLETE;
        }
    }

    /// Gives up what is under way.
    fn abort(&mut self) {
        self.complete_at = None;
        if std::mem::take(&mut self.tells_complete) {
            self.status.events |= event::OPERATION_COMPLETE;
        }
    }

    fn carry_out(
        &mut self,
        header: Header,
        unit: &Unit,
        bench: &Bench,
        now: Duration,
    ) -> Result<Option<Vec<u8>>, Error> {
        match unit.kind {
            UnitKind::Query => self.answer(header, &unit.data).map(|answer| Some(answer.into_bytes())),
            UnitKind::Command => self.command(header, &unit.data, bench, now).map(|()| None),
        }
    }

    fn command(&mut self, header: Header, data: &[Datum], bench: &Bench, now: Duration) -> Result<(), Error> {
        match header {
            Header::Initiate => {
                none(data)?;
                if self.complete_at.is_some() {
                    return Err(INIT_IGNORED);
                }
                self.begin(now);
            }
            Header::EventEnable => self.status.event_enable = whole(data, 0, 255)? as u8,
            Header::ServiceEnable => self.status.service_enable = whole(data, 0, 255)? as u8,
            Header::OperationEnable => self.status.operation_enable = whole(data, 0, 65_535)? as u16,
            Header::QuestionableEnable => self.status.questionable_enable = whole(data, 0, 65_535)? as u16,
            Header::Points => self.retime(POINTS.read(one(data)?)?.round() as usize, self.timing.interval_s),
            Header::Interval => self.retime(self.timing.points, INTERVAL.read(one(data)?)?),
            Header::Close => {
                self.input = channel(data, bench.inputs().len())? - 1;
                self.stale();
            }
            Header::Format => self.format = format_of(data)?,
            Header::ByteOrder => {
                self.order = match one(data)? {
                    Datum::Word(word) if is_word(word, "NORMal") => Order::MostSignificantFirst,
                    Datum::Word(word) if is_word(word, "SWAPped") => Order::LeastSignificantFirst,
                    Datum::Word(_) => return Err(ILLEGAL_VALUE),
                    _ => return Err(data::DATA_TYPE),
                }
            }
            _ => {
                none(data)?;
                self.plain(header);
            }
        }
        Ok(())
    }

    /// Commands without data. What they wait for has been waited for.
    fn plain(&mut self, header: Header) {
        match header {
            Header::ClearStatus => {
                self.status.clear();
                self.tells_complete = false;
            }
            Header::OperationComplete if self.complete_at.is_some() => self.tells_complete = true,
            Header::OperationComplete => self.status.events |= event::OPERATION_COMPLETE,
            Header::Reset => {
                self.tells_complete = false;
                let fresh = Self::new(1.0);
                let (cycle, last_complete) = (self.cycle, self.last_complete);
                let (jobs, answers, status) = (
                    std::mem::take(&mut self.jobs),
                    std::mem::take(&mut self.answers),
                    std::mem::replace(&mut self.status, Status::new()),
                );
                *self = Self { cycle, last_complete, jobs, answers, status, ..fresh };
            }
            Header::Trigger => self.status.error(TRIGGER_IGNORED),
            Header::Abort => self.abort(),
            Header::Preset => {
                self.status.operation_enable = 0;
                self.status.questionable_enable = 0;
            }
            _ => {}
        }
    }

    fn retime(&mut self, points: usize, interval_s: f64) {
        self.timing = Timing { points, interval_s };
        self.stale();
    }

    /// What was captured, or is being, was under other settings.
    fn stale(&mut self) {
        self.abort();
        self.capture = None;
    }

    fn fetched(&self) -> Result<&Capture, Error> {
        self.capture.as_ref().ok_or(DATA_STALE)
    }

    fn answer(&mut self, header: Header, data: &[Datum]) -> Result<Answer, Error> {
        // Only numbers with limits take MINimum, MAXimum and DEFault behind the question mark.
        match header {
            Header::Points if !data.is_empty() => {
                return Ok(Answer::Text(POINTS.read(one(data)?)?.to_string()));
            }
            Header::Interval if !data.is_empty() => {
                return Ok(Answer::Text(scientific(INTERVAL.read(one(data)?)?)));
            }
            _ => none(data)?,
        }
        let status = &mut self.status;
        Ok(Answer::Text(match header {
            Header::EventEnable => status.event_enable.to_string(),
            Header::Events => std::mem::take(&mut status.events).to_string(),
            Header::Identity => {
                concat!("HARROW LANE LIFT WORKS,PRACTICE DIGITIZER,0,", env!("CARGO_PKG_VERSION")).to_owned()
            }
            Header::OperationComplete => "1".to_owned(),
            Header::ServiceEnable => status.service_enable.to_string(),
            Header::StatusByte => status.byte(!self.answers.is_empty()).to_string(),
            Header::Fetch | Header::Read => return self.samples().map(Answer::Bytes),
            Header::Format => format_text(self.format).to_owned(),
            Header::ByteOrder => match self.order {
                Order::MostSignificantFirst => "NORM".to_owned(),
                Order::LeastSignificantFirst => "SWAP".to_owned(),
            },
            Header::CloseState => format!("(@{})", self.input + 1),
            Header::Points => self.timing.points.to_string(),
            Header::Interval => scientific(self.timing.interval_s),
            Header::RecordTime => scientific(self.timing.interval_s * self.timing.points as f64),
            Header::Resolution => scientific(self.fetched()?.step_v * self.coarser()?),
            Header::Offset => scientific(self.fetched()?.origin_v),
            Header::OperationEvents => std::mem::take(&mut status.operation_events).to_string(),
            Header::OperationCondition => if self.complete_at.is_some() { MEASURING } else { 0 }.to_string(),
            Header::OperationEnable => status.operation_enable.to_string(),
            Header::QuestionableEvents | Header::QuestionableCondition | Header::SelfTest => "0".to_owned(),
            Header::QuestionableEnable => status.questionable_enable.to_string(),
            Header::NextError => status.errors.pop().answer(),
            Header::ErrorCount => status.errors.len().to_string(),
            Header::Version => "1999.0".to_owned(),
            // The table lets no command through as a question.
            _ => return Err(UNDEFINED_HEADER),
        }))
    }

    /// Codes of the converter in one code as it is sent: more than 1 where the code sent is too narrow for them.
    fn coarser(&self) -> Result<f64, Error> {
        let capture = self.fetched()?;
        let Format::Block(Code::Signed8) = self.format else { return Ok(1.0) };
        let largest = capture.codes.iter().fold(0.0f64, |most, code| most.max(code.abs()));
        // Powers of two, as a converter leaves bits away.
        let mut factor = 1.0;
        while largest / factor > 127.0 {
            factor *= 2.0;
        }
        Ok(factor)
    }

    fn samples(&self) -> Result<Vec<u8>, Error> {
        let capture = self.fetched()?;
        let code = match self.format {
            Format::Ascii => {
                let list: Vec<String> = capture.volts().into_iter().map(scientific).collect();
                return Ok(list.join(",").into_bytes());
            }
            Format::Block(code) => code,
        };
        let bytes = match code {
            Code::Float32 | Code::Float64 => encode(&capture.volts(), code, self.order),
            _ => {
                let factor = self.coarser()?;
                let codes: Vec<f64> = capture.codes.iter().map(|value| value / factor).collect();
                encode(&codes, code, self.order)
            }
        };
        // A million samples of eight bytes fit.
        block::definite(&bytes).map_err(|_| DATA_STALE)
    }
}

/// An answer before it is sent.
enum Answer {
    Text(String),
    Bytes(Vec<u8>),
}

impl Answer {
    fn into_bytes(self) -> Vec<u8> {
        match self {
            Answer::Text(text) => text.into_bytes(),
            Answer::Bytes(bytes) => bytes,
        }
    }
}

/// NR3 of IEEE 488.2-1992, 8.7.4.
fn scientific(value: f64) -> String {
    let text = format!("{value:.9E}");
    // The exponent has its sign and two digits.
    let Some((mantissa, exponent)) = text.split_once('E') else { return text };
    let (sign, digits) = exponent.strip_prefix('-').map_or(('+', exponent), |digits| ('-', digits));
    format!("{mantissa}E{sign}{digits:0>2}")
}

const FORMATS: [(&str, u32, Code); 5] = [
    ("REAL", 32, Code::Float32),
    ("REAL", 64, Code::Float64),
    ("INTeger", 8, Code::Signed8),
    ("INTeger", 16, Code::Signed16),
    ("INTeger", 32, Code::Signed32),
];

fn format_of(data: &[Datum]) -> Result<Format, Error> {
    let (word, length) = match data {
        [] => return Err(data::MISSING),
        [Datum::Word(word)] => (word, None),
        [Datum::Word(word), Datum::Number(length)] => (word, Some(*length)),
        [Datum::Word(_), _] | [_] => return Err(data::DATA_TYPE),
        _ => return Err(data::NOT_ALLOWED),
    };
    if is_word(word, "ASCii") {
        // The number of digits is ours; SCPI lets an instrument round to what it has.
        return Ok(Format::Ascii);
    }
    let mut known = FORMATS.iter().filter(|(print, ..)| is_word(word, print)).peekable();
    if known.peek().is_none() {
        return Err(ILLEGAL_VALUE);
    }
    let wanted = length.unwrap_or(32.0);
    known
        .find(|(_, bits, _)| f64::from(*bits).total_cmp(&wanted).is_eq())
        .map(|(_, _, code)| Format::Block(*code))
        .ok_or(ILLEGAL_VALUE)
}

fn format_text(format: Format) -> &'static str {
    match format {
        Format::Ascii => "ASC,10",
        Format::Block(Code::Float32) => "REAL,32",
        Format::Block(Code::Float64) => "REAL,64",
        Format::Block(Code::Signed8) => "INT,8",
        Format::Block(Code::Signed16) => "INT,16",
        // No other code is among the formats.
        Format::Block(_) => "INT,32",
    }
}
