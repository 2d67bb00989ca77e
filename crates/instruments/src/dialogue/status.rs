//! What an instrument has to say after a fault: its status byte, its events (IEEE 488.2, 11.2 and 11.5.1) and its list of errors.

use std::time::Duration;

use flattop_scpi::numbers::number;
use flattop_scpi::status::{DeviceError, byte, event};

use super::Instrument;
use crate::transport::Transport;

/// Longest wait for each of these answers: an instrument that does not know the question says nothing.
const PATIENCE: Duration = Duration::from_secs(2);
/// Most errors that are read.
const MOST_ERRORS: usize = 20;

/// Events in words, as IEEE 488.2 defines the register.
const EVENTS: [(u8, &str); 6] = [
    (event::QUERY_ERROR, "an answer was asked for that was not there, or lost (query error)"),
    (event::DEVICE_ERROR, "something is wrong with the device (device-dependent error)"),
    (event::EXECUTION_ERROR, "a command could not be carried out (execution error)"),
    (event::COMMAND_ERROR, "a message was not understood (command error)"),
    (event::USER_REQUEST, "somebody used the front panel (user request)"),
    (event::POWER_ON, "the power was switched on"),
];
/// Bits of the status byte in words.
const SUMMARIES: [(u8, &str); 4] = [
    (byte::ERROR_QUEUE, "errors are listed"),
    (byte::QUESTIONABLE, "data are questionable"),
    (byte::EVENT_SUMMARY, "an enabled event"),
    (byte::OPERATION, "operation status"),
];

impl<T: Transport> Instrument<T> {
    /// After a fault: gets back in step, and asks what the instrument has to say. Nothing where it does not answer, or has
    /// nothing to say.
    pub fn ask_status(&mut self) -> Vec<String> {
        let mut said = Vec::new();
        if !self.is_in_step() && self.recover().is_err() {
            return said;
        }
        let answer_time = self.answer_time().min(PATIENCE);
        for (question, bits) in [("*ESR?", &EVENTS[..]), ("*STB?", &SUMMARIES[..])] {
            let Ok(answer) = self.line(question, answer_time) else { return said };
            let Some(value) = number(answer.trim_ascii()).filter(|value| (0.0..256.0).contains(value)) else {
                continue;
            };
            let words: Vec<&str> =
                bits.iter().filter(|(bit, _)| value as u8 & bit != 0).map(|(_, words)| *words).collect();
            if !words.is_empty() {
                said.push(format!("{question} {value}: {}", words.join("; ")));
            }
        }
        let Some(question) = self.errors_question() else { return said };
        for _ in 0..MOST_ERRORS {
            let error = self.line(&question, answer_time).ok().and_then(|answer| DeviceError::parse(&answer));
            match error {
                Some(error) if error.number != 0 => said.push(format!("{question} {}", error.answer())),
                _ => break,
            }
        }
        said
    }
}
