//! What the instrument says of itself: events, errors, the status byte (IEEE 488.2-1992, 11; SCPI-1999, volume 1, 9).

use flattop_scpi::status::{DeviceError, ErrorQueue, byte, event};

/// Errors that are kept.
const MOST_ERRORS: usize = 16;
/// Bit of the operation status: measuring (SCPI-1999, volume 1, 9.3).
pub(super) const MEASURING: u16 = 1 << 4;

/// Registers and queue.
#[derive(Clone, Debug)]
pub(super) struct Status {
    pub(super) events: u8,
    pub(super) event_enable: u8,
    pub(super) service_enable: u8,
    pub(super) operation_events: u16,
    pub(super) operation_enable: u16,
    pub(super) questionable_enable: u16,
    pub(super) errors: ErrorQueue,
}

impl Status {
    /// As after power-on.
    pub(super) fn new() -> Self {
        Self {
            events: event::POWER_ON,
            event_enable: 0,
            service_enable: 0,
            operation_events: 0,
            operation_enable: 0,
            questionable_enable: 0,
            errors: ErrorQueue::new(MOST_ERRORS),
        }
    }

    /// Something went wrong.
    pub(super) fn error(&mut self, number: i32) {
        let error = DeviceError::standard(number);
        self.events |= error.event_bit();
        self.errors.push(error);
    }

    /// `*CLS`
    pub(super) fn clear(&mut self) {
        self.events = 0;
        self.operation_events = 0;
        self.errors.clear();
    }

    /// The status byte; `has_answer` where one waits to be read.
    pub(super) fn byte(&self, has_answer: bool) -> u8 {
        let bit = |is_set: bool, bit: u8| if is_set { bit } else { 0 };
        let summary = bit(!self.errors.is_empty(), byte::ERROR_QUEUE)
            | bit(has_answer, byte::MESSAGE_AVAILABLE)
            | bit(self.events & self.event_enable != 0, byte::EVENT_SUMMARY)
            | bit(self.operation_events & self.operation_enable != 0, byte::OPERATION);
        summary | bit(summary & self.service_enable & !byte::MASTER_SUMMARY != 0, byte::MASTER_SUMMARY)
    }
}
