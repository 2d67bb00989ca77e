//! Measurement models of readings off a screen: what the true value is, given what is shown and what is known of the chain.
//!
//! True is the voltage of the node without the probe. With the reading X, its noise n and quantisation q, the gain error g of the scope, its
//! offset o, and K(θ), what the chain makes of the signal:
//!
//! | measurand | model |
//! | --- | --- |
//! | amplitude at f, peak-to-peak | Y = (X + n + q)/[(1 + g)·K(θ)], K = shown/true |
//! | mean | Y = (X + n + q − o)/[(1 + g)·K(θ)] |
//! | rms | as amplitude, with √(X² − n_rms² − 2·o·mean − o²) for X: noise and offset add to what is shown |
//! | transition duration | Y = √(T² − D(θ)), D = shown² − true² of the signal as planned, T = X·(1 + b) + (n + q)·dt/dV |
//! | delay of probe 2 after probe 1 | Y = T − D(θ), D = delay of chain 2 less delay of chain 1 |
//!
//! b is the error of the time base; at a frequency it acts through the slope of K. θ are the numbers of the chain: an input moves them in
//! straight lines ([`Step`]). A known error (K, D, g, o) is corrected, and is no uncertainty; what is not known of it is one.
//!
//! K of a sine's amplitude is the exact cascade for each trial (`kernel`), unless a number of the cable or a measured element is in
//! doubt. Elsewhere a surface of second order about the estimates stands in for it (`surface`); its largest distance from the chain
//! itself, over trials drawn like the others, is part of the answer.

mod budget;
mod kernel;
mod model;
mod surface;
#[cfg(test)]
mod tests;
mod waveform;

pub use budget::{Budget, BudgetResult, SURFACE_LIMIT, budget};
pub use waveform::ReadingError;

use super::{Correlation, Quantity};
use crate::chain::Chain;
use crate::prediction::Parameter;
use crate::quantity::Unit;
use crate::signal::Signal;

/// What is read off the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measurand {
    /// Amplitude of a sine, V.
    Amplitude,
    /// Highest less lowest value, V.
    PeakToPeak,
    /// 10–90 % transition duration of the first transition, s.
    TransitionDuration,
    /// From the 50 % instant on the first probe to that on the second one, s.
    Delay,
    /// Mean over whole periods, V.
    Mean,
    /// Root mean square over whole periods, V.
    Rms,
}

impl Measurand {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Amplitude, Self::PeakToPeak, Self::TransitionDuration, Self::Delay, Self::Mean, Self::Rms];

    /// Its stable name.
    pub fn code(self) -> &'static str {
        match self {
            Self::Amplitude => "amplitude",
            Self::PeakToPeak => "peak-to-peak",
            Self::TransitionDuration => "transition-duration",
            Self::Delay => "delay",
            Self::Mean => "mean",
            Self::Rms => "rms",
        }
    }

    /// Its unit.
    pub fn unit(self) -> Unit {
        if self.is_time() { Unit::Second } else { Unit::Volt }
    }

    /// Whether it is a time.
    pub fn is_time(self) -> bool {
        matches!(self, Self::TransitionDuration | Self::Delay)
    }
}

/// Which chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Which {
    /// That of the reading, or of the first probe.
    First,
    /// That of the second probe.
    Second,
}

/// A number of a chain that an input moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Of which chain.
    pub of: Which,
    /// Which number.
    pub parameter: Parameter,
    /// Change of it per unit of the input, counted from the input's estimate.
    pub per_unit: f64,
}

/// What an input does besides moving numbers of the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Role {
    /// Nothing.
    Chain,
    /// It is the reading, V or s.
    Reading,
    /// Gain error of the scope, share.
    Gain,
    /// Temperature away from that for which the gain holds, K.
    Temperature {
        /// Change of the gain, share per kelvin.
        gain_per_kelvin: f64,
    },
    /// Offset of the scope at the tip, V.
    Offset,
    /// Noise or quantisation of the reading at the tip, V.
    Noise,
    /// Error of the time base, share.
    TimeBase,
    /// Error of a time read, s: resolution, or skew between channels (counted as coming late on the second one).
    Time,
    /// Where between the extremes of all forms of response the input's own lies, −1 to 1.
    Form(Which),
}

/// An input of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Its name, and what is known of it.
    pub quantity: Quantity,
    /// Its unit; `None` for one that has no symbol here.
    pub unit: Option<Unit>,
    /// What it does to the reading.
    pub role: Role,
    /// What it does to the chain.
    pub steps: Vec<Step>,
}

/// A reading with all that is known about it.
#[derive(Clone, Debug)]
pub struct Reading<'a> {
    /// What is read.
    pub measurand: Measurand,
    /// What the source does.
    pub signal: &'a Signal,
    /// At which frequencies the amplitude is read, Hz; empty for other measurands.
    pub frequency_hz: &'a [f64],
    /// The chain with all estimates in it.
    pub chain: &'a Chain,
    /// The chain of the second probe, for delays.
    pub second: Option<&'a Chain>,
    /// What is read, V or s; `None`: what the chain would show of the signal.
    pub shown: Option<f64>,
    /// Noise that is part of what is shown as rms, V; it is taken off there.
    pub noise_rms_v: f64,
    /// The inputs.
    pub inputs: &'a [Input],
    /// Their correlations.
    pub correlations: &'a [Correlation],
}
