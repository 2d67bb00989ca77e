//! The logbook: its entries in words and JSON, and how e of a pairing went over time as a drawing.

pub mod batch;
pub mod json;
pub mod plot;
pub mod terminal;
pub mod text;

use flattop_core::bench::Pairing;
use flattop_register::Series;

/// The series of one pairing, ready to be shown.
#[derive(Clone, Debug)]
pub struct History {
    /// The pairing.
    pub pairing: Pairing,
    /// Its assessments and drift.
    pub series: Series,
    /// The |e| that is accepted now; of the last assessment where the pairing names none.
    pub tolerance: Option<f64>,
    /// Offset in which days are written, minutes east of UTC.
    pub offset_minutes: i16,
}

#[cfg(test)]
mod tests;
