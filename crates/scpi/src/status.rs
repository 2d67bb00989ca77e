//! The status byte, the standard event status, the error queue, and who an instrument says it is.
//!
//! IEEE 488.2-1992, 11.2 (status byte), 11.5.1 (standard event status), 10.14 (`*IDN?`); SCPI-1999, volume 2, 21.8
//! (`SYSTem:ERRor?`, error numbers; −350 takes the last place of a full queue).

use std::collections::VecDeque;

use crate::message::{Datum, response};

/// Bits of the standard event status register (`*ESR?`).
pub mod event {
    /// Operation complete.
    pub const OPERATION_COMPLETE: u8 = 1;
    /// Request control.
    pub const REQUEST_CONTROL: u8 = 1 << 1;
    /// An answer was asked for that was not there, or lost.
    pub const QUERY_ERROR: u8 = 1 << 2;
    /// Something is wrong with the device.
    pub const DEVICE_ERROR: u8 = 1 << 3;
    /// A command could not be carried out.
    pub const EXECUTION_ERROR: u8 = 1 << 4;
    /// A message was not understood.
    pub const COMMAND_ERROR: u8 = 1 << 5;
    /// Somebody used the front panel.
    pub const USER_REQUEST: u8 = 1 << 6;
    /// The power was switched on.
    pub const POWER_ON: u8 = 1 << 7;
}

/// Bits of the status byte (`*STB?`).
pub mod byte {
    /// The error queue holds something (SCPI-1999, volume 1, 9.1).
    pub const ERROR_QUEUE: u8 = 1 << 2;
    /// Questionable data.
    pub const QUESTIONABLE: u8 = 1 << 3;
    /// An answer waits.
    pub const MESSAGE_AVAILABLE: u8 = 1 << 4;
    /// An enabled standard event.
    pub const EVENT_SUMMARY: u8 = 1 << 5;
    /// An enabled bit of this byte (`*STB?`).
    pub const MASTER_SUMMARY: u8 = 1 << 6;
    /// Operation status.
    pub const OPERATION: u8 = 1 << 7;
}

/// What an instrument says is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceError {
    /// Number; 0 is no error, negative ones are those of SCPI-1999.
    pub number: i32,
    /// Its words.
    pub text: String,
}

/// The class of an error, which is a bit of the standard event status (SCPI-1999, volume 2, 21.8.9 to 21.8.12).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ErrorClass {
    /// Number 0.
    None,
    /// −100 to −199.
    Command,
    /// −200 to −299.
    Execution,
    /// −300 to −399, and positive numbers.
    Device,
    /// −400 to −499.
    Query,
    /// Other negative numbers: events that are no errors, or reserved.
    Other,
}

impl DeviceError {
    /// An error of SCPI-1999 with the standard's words; others without words.
    pub fn standard(number: i32) -> Self {
        let text = STANDARD.iter().find(|(n, _)| *n == number).map_or("", |(_, text)| text);
        Self { number, text: text.to_owned() }
    }

    /// Its class.
    pub fn class(&self) -> ErrorClass {
        match self.number {
            0 => ErrorClass::None,
            1.. | -399..=-300 => ErrorClass::Device,
            -199..=-100 => ErrorClass::Command,
            -299..=-200 => ErrorClass::Execution,
            -499..=-400 => ErrorClass::Query,
            _ => ErrorClass::Other,
        }
    }

    /// The bit of the standard event status that it sets; 0 for none.
    pub fn event_bit(&self) -> u8 {
        match self.class() {
            ErrorClass::Command => event::COMMAND_ERROR,
            ErrorClass::Execution => event::EXECUTION_ERROR,
            ErrorClass::Device => event::DEVICE_ERROR,
            ErrorClass::Query => event::QUERY_ERROR,
            ErrorClass::None | ErrorClass::Other => 0,
        }
    }

    /// The answer of `SYSTem:ERRor?`: number and text in quotes. `None` where it is none.
    pub fn parse(answer: &[u8]) -> Option<Self> {
        let units = response(answer).ok()?;
        match units.first()?.as_slice() {
            [Datum::Number(number), rest @ ..] => {
                // As `as` would cut.
                let whole = number.round();
                if !(-32768.0..=32767.0).contains(&whole) {
                    return None;
                }
                let text = match rest {
                    [Datum::Text(text), ..] => String::from_utf8_lossy(text).into_owned(),
                    _ => String::new(),
                };
                Some(Self { number: whole as i32, text })
            }
            _ => None,
        }
    }

    /// As `SYSTem:ERRor?` answers it.
    pub fn answer(&self) -> String {
        format!("{},\"{}\"", self.number, self.text.replace('"', "\"\""))
    }
}

/// Errors of SCPI-1999 that a digitizer is likely to give. Numbers and words from memory of volume 2, 21.8.9 to 21.8.12.
pub const STANDARD: [(i32, &str); 33] = [
    (0, "No error"),
    (-100, "Command error"),
    (-101, "Invalid character"),
    (-102, "Syntax error"),
    (-103, "Invalid separator"),
    (-104, "Data type error"),
    (-108, "Parameter not allowed"),
    (-109, "Missing parameter"),
    (-113, "Undefined header"),
    (-120, "Numeric data error"),
    (-131, "Invalid suffix"),
    (-138, "Suffix not allowed"),
    (-141, "Invalid character data"),
    (-161, "Invalid block data"),
    (-200, "Execution error"),
    (-211, "Trigger ignored"),
    (-213, "Init ignored"),
    (-220, "Parameter error"),
    (-221, "Settings conflict"),
    (-222, "Data out of range"),
    (-223, "Too much data"),
    (-224, "Illegal parameter value"),
    (-230, "Data corrupt or stale"),
    (-300, "Device-specific error"),
    (-310, "System error"),
    (-350, "Queue overflow"),
    (-363, "Input buffer overrun"),
    (-365, "Time out error"),
    (-400, "Query error"),
    (-410, "Query INTERRUPTED"),
    (-420, "Query UNTERMINATED"),
    (-430, "Query DEADLOCKED"),
    (-440, "Query UNTERMINATED after indefinite response"),
];

/// First in, first out, with a fixed length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorQueue {
    errors: VecDeque<DeviceError>,
    capacity: usize,
}

impl ErrorQueue {
    /// A queue of at least two places: SCPI-1999, volume 2, 21.8.1.
    pub fn new(capacity: usize) -> Self {
        Self { errors: VecDeque::new(), capacity: capacity.max(2) }
    }

    /// Puts an error in. In a full queue the last place says so instead.
    pub fn push(&mut self, error: DeviceError) {
        if self.errors.len() < self.capacity {
            self.errors.push_back(error);
        } else if let Some(last) = self.errors.back_mut() {
            *last = DeviceError::standard(-350);
        }
    }

    /// Takes the oldest out; number 0 where there is none.
    pub fn pop(&mut self) -> DeviceError {
        self.errors.pop_front().unwrap_or_else(|| DeviceError::standard(0))
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.errors.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.errors.is_empty()
    }

    /// Empties it, as `*CLS` does.
    pub fn clear(&mut self) {
        self.errors.clear();
    }
}

/// The answer of `*IDN?`: four fields between commas.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Who made it.
    pub maker: String,
    /// Model.
    pub model: String,
    /// Serial number, 0 where it has none.
    pub serial: String,
    /// Level of its firmware, 0 where it has none.
    pub firmware: String,
}

impl Identity {
    /// Reads the answer; `None` where it has not the four fields. Commas in the last field stay.
    pub fn parse(answer: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(answer.trim_ascii()).ok()?;
        let mut fields = text.splitn(4, ',').map(|field| field.trim().to_owned());
        Some(Self {
            maker: fields.next()?,
            model: fields.next()?,
            serial: fields.next()?,
            firmware: fields.next()?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn errors_are_read_and_written() {
        let undefined = DeviceError::standard(-113);
        assert_eq!(undefined.answer(), "-113,\"Undefined header\"");
        assert_eq!(DeviceError::parse(b"-113,\"Undefined header\"\n"), Some(undefined.clone()));
        assert_eq!(undefined.class(), ErrorClass::Command);
        assert_eq!(undefined.event_bit(), 0x20);
        assert_eq!(DeviceError::parse(b"+0,\"No error\"\n"), Some(DeviceError::standard(0)));
        assert_eq!(DeviceError::parse(b"7\n").map(|e| (e.number, e.class())), Some((7, ErrorClass::Device)));
        for bad in [&b"nonsense\n"[..], b"\n", b"1e9,\"x\"", b"9.91E37", b"\"a\",1"] {
            assert_eq!(DeviceError::parse(bad), None);
        }
    }

    #[test]
    fn a_full_queue_says_so_in_its_last_place() {
        let mut queue = ErrorQueue::new(2);
        for number in [-113, -222, -104] {
            queue.push(DeviceError::standard(number));
        }
        assert_eq!([queue.pop().number, queue.pop().number, queue.pop().number], [-113, -350, 0]);
        queue.push(DeviceError::standard(-410));
        assert_eq!((queue.len(), queue.is_empty()), (1, false));
        queue.clear();
        assert!(queue.is_empty());
    }

    #[test]
    fn numbers_are_listed_once_and_in_their_class() {
        for window in STANDARD.windows(2) {
            assert!(window[0].0 > window[1].0, "{window:?}");
        }
    }

    #[test]
    fn identities() {
        let identity = Identity::parse(b"Harrow Lane Lift Works,Bench A scope,0007,1.0, b\n").unwrap();
        assert_eq!(identity.model, "Bench A scope");
        assert_eq!(identity.firmware, "1.0, b");
        assert_eq!(Identity::parse(b"a,b,c\n"), None);
    }

    proptest! {
        #[test]
        fn prop_any_answer_is_read_or_refused(answer: Vec<u8>) {
            let _ = DeviceError::parse(&answer);
            let _ = Identity::parse(&answer);
        }

        #[test]
        fn prop_errors_come_back(number in -32768i32..32767, text in "[ -~]{0,30}") {
            let error = DeviceError { number, text };
            prop_assert_eq!(DeviceError::parse(error.answer().as_bytes()), Some(error));
        }
    }
}
