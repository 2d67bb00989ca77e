//! The bench: what stands on it and the rules about it, without any storage.
//!
//! | module | idea |
//! | --- | --- |
//! | `id` | the short names that people give to things |
//! | `entities` | oscilloscopes, inputs, probes, pairings: plain data, `None` where a value is not known |
//! | `check` | what a value may be, with messages that name quantity, value and remedy |
//! | `state` | how a pairing stands at a given time |
//! | `measured` | what the data sheet doesn't say, found from captures: an input's capacitance, a probe's range, its tip |
//! | `moving` | the error to expect when a probe moves to another input, before any capture |
//! | `trend` | how e drifts over the months |
//!
//! People are free text. Times come in as [`Moment`]; nothing here knows a clock.

mod check;
mod entities;
mod id;
pub mod measured;
mod moving;
mod state;
mod trend;

pub use check::EntityError;
pub use entities::{
    GroundAccessory, Input, Moment, Oscilloscope, Pairing, Probe, ProbeBox, ProbeCable, Range, Toleranced,
    Trimmer, Voided,
};
pub use id::{Id, IdError, InputId};
pub use moving::{Before, InputLoad, MoveError, MoveForecast, Setting, expected_after_move};
pub use state::{Check, PairingHistory, PairingState, PairingStatus, ReachKnown, pairing_status};
pub use trend::{MONTH_MS, SIGNIFICANCE_LEVEL, Significance, Stage, Trend, TrendError, TrendPoint, trend};
