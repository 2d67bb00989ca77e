//! What stands on a bench and how its pairings stand: words and JSON.

pub mod json;
pub mod text;

use flattop_core::bench::{GroundAccessory, InputId, Oscilloscope, PairingState, Probe};
use flattop_register::{Entry, Measured, Series, Standing};

/// A whole bench at one time.
#[derive(Clone, Debug)]
pub struct Overview {
    /// Oscilloscopes with their inputs.
    pub oscilloscopes: Vec<Oscilloscope>,
    /// Probes.
    pub probes: Vec<Probe>,
    /// Pairings and how they stand.
    pub standings: Vec<Standing>,
    /// The time of this look, ms since 1970 UTC.
    pub now_unix_ms: i64,
    /// Offset in which days are written, minutes east of UTC.
    pub offset_minutes: i16,
}

/// One thing and all that is known of it.
#[derive(Clone, Debug)]
pub enum Shown {
    /// An oscilloscope with its inputs.
    Oscilloscope(Oscilloscope),
    /// An input, with the pairings in force on it and the fields that hold measured values.
    Input(InputId, flattop_core::bench::Input, Vec<Standing>, Vec<Measured>),
    /// A probe, with its pairings, those that ended too, and the fields that hold measured values.
    Probe(Box<Probe>, Vec<Standing>, Vec<Measured>),
    /// A ground accessory of a probe.
    Ground(flattop_core::bench::Id, GroundAccessory),
    /// A pairing with its series and its entries of the logbook.
    Pairing(Box<Standing>, Series, Vec<Entry>),
}

/// A state in words.
pub fn state_words(state: PairingState) -> &'static str {
    match state {
        PairingState::VoidMoved => "void (moved)",
        PairingState::OutOfReach => "out of reach",
        PairingState::OutOfTolerance => "out of tolerance",
        PairingState::NeverChecked => "never checked",
        PairingState::Due => "due",
        PairingState::InTolerance => "in tolerance",
    }
}

#[cfg(test)]
mod tests;
