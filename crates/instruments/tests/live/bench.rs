//! An instrument that understands the dialogue that comes along. Each capture is another one, and can be told by its values.

use std::collections::BTreeMap;

use flattop_instruments::transport::Reply;
use flattop_scpi::block;
use flattop_scpi::header::Pattern;
use flattop_scpi::message::{Datum, UnitKind, program};
use flattop_scpi::numbers::{Code, Order, encode};
use flattop_scpi::status::{DeviceError, ErrorQueue};

pub(crate) const POINTS: usize = 40;
pub(crate) const INTERVAL_S: f64 = 1e-6;

/// The samples of the capture with this number, counted from 1: no two captures share a value.
pub(crate) fn samples(capture: u32) -> Vec<f64> {
    (0..POINTS).map(|i| f64::from(capture) + if i % 20 < 10 { 0.25 } else { 0.5 }).collect()
}

/// The simulated digitizer.
pub(crate) struct Digitizer {
    captures: u32,
    event_enable: u8,
    events: u8,
    errors: ErrorQueue,
    patterns: BTreeMap<&'static str, Pattern>,
}

const HEADERS: [&str; 14] = [
    "*CLS",
    "*ESE",
    "*ESR",
    "*STB",
    "*IDN",
    "*OPC",
    "ABORt",
    "FETCh",
    "FORMat:BORDer",
    "FORMat[:DATA]",
    "INITiate[:IMMediate]",
    "[SENSe:]SWEep:POINts",
    "[SENSe:]SWEep:TINTerval",
    "SYSTem:ERRor[:NEXT]",
];

impl Digitizer {
    pub(crate) fn new() -> Self {
        let patterns = HEADERS.map(|print| (print, Pattern::new(print).unwrap())).into();
        Self { captures: 0, event_enable: 0, events: 0, errors: ErrorQueue::new(8), patterns }
    }

    pub(crate) fn answer(&mut self, message: &[u8]) -> Vec<u8> {
        let Ok(units) = program(message) else {
            self.errors.push(DeviceError::standard(-102));
            return Vec::new();
        };
        let mut answers: Vec<Vec<u8>> = Vec::new();
        for unit in units {
            let header =
                self.patterns.iter().find(|(_, p)| p.numbers(&unit.header).is_some()).map(|(h, _)| *h);
            let is_query = unit.kind == UnitKind::Query;
            match (header, is_query, unit.data.as_slice()) {
                (Some("*CLS"), false, []) => self.errors.clear(),
                (Some("*ESE"), false, [Datum::Number(number)]) => self.event_enable = *number as u8,
                (Some("*ESE"), true, []) => answers.push(self.event_enable.to_string().into_bytes()),
                // Events of an error, which reading clears.
                (Some("*ESR"), true, []) => {
                    let events = std::mem::take(&mut self.events);
                    answers.push(events.to_string().into_bytes());
                }
                (Some("*STB"), true, []) => {
                    answers.push(if self.errors.is_empty() { b"0".to_vec() } else { b"4".to_vec() });
                }
                (Some("*IDN"), true, []) => {
                    answers.push(b"HARROW LANE LIFT WORKS,BENCH A SCOPE,0007,1.0".to_vec());
                }
                (Some("*OPC"), true, []) => answers.push(b"1".to_vec()),
                (Some("INITiate[:IMMediate]"), false, []) => self.captures += 1,
                (Some("[SENSe:]SWEep:POINts"), true, []) => answers.push(POINTS.to_string().into_bytes()),
                (Some("[SENSe:]SWEep:TINTerval"), true, []) => answers.push(b"+1.000000E-06".to_vec()),
                (Some("FETCh"), true, []) => {
                    let codes = encode(&samples(self.captures), Code::Float32, Order::MostSignificantFirst);
                    answers.push(block::definite(&codes).unwrap());
                }
                (Some("SYSTem:ERRor[:NEXT]"), true, []) => {
                    answers.push(self.errors.pop().answer().into_bytes())
                }
                (Some("ABORt" | "FORMat:BORDer" | "FORMat[:DATA]"), false, _) => {}
                _ => {
                    let error = DeviceError::standard(-113);
                    self.events |= error.event_bit();
                    self.errors.push(error);
                }
            }
        }
        if answers.is_empty() { Vec::new() } else { [answers.join(&b';'), b"\n".to_vec()].concat() }
    }

    /// As a loopback wants it.
    pub(crate) fn replies(mut self) -> impl FnMut(&[u8]) -> Vec<Reply> + Send {
        move |message| {
            let answer = self.answer(message);
            if answer.is_empty() { Vec::new() } else { vec![Reply::now(answer)] }
        }
    }
}

/// The number of the capture that these samples are, all of them; `None` for a mixture or nonsense.
pub(crate) fn capture_of(volts: &[f64]) -> Option<u32> {
    let number = volts.first()?.floor() as u32;
    (volts == samples(number)).then_some(number)
}
