//! Responses over time, exact at both ends of the time scale.
//!
//! A chain is given by H(s) ([`crate::chain::Transfer`]), a signal by [`crate::signal::Signal`]. What follows an elementary
//! event (a bend, the start of an exponential or of a sine) is tabulated up to the time at which it has died, by inverse
//! transform of H·X on a line Re s = σ to the right of all poles. What remains for longer is known in closed form: H(0), H'(0),
//! and the slow real poles with their residues. It goes on after the table, and what the table, being periodic, adds to itself is
//! taken off with it. So 0.5 ns edges and 16 ms of AC coupling stand in one answer.
//!
//! The spectrum is split into bands, each with a window of time as long as what it contains lasts: kinks are short and need
//! high frequencies, ringing is long and does not. Tables interpolate by quintics through value, slope and curvature.
//! Periodic signals whose harmonics are few are summed as Fourier series, which is the settled state by itself.
//!
//! Source: the damped line and its aliases, e.g. H. Dubner & J. Abate, J. ACM **15**, 115 (1968) (from memory); the split
//! with closed forms, and the bands, are worked out here.

mod excitation;
mod findings;
mod grid;
mod kernel;
mod motion;
mod poles;
mod table;
mod tail;

pub use excitation::Excitation;
pub use grid::Grid;
pub use motion::Motion;
pub use table::Workspace;

/// Why there is no response.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TransientError {
    /// A number of the signal is out of its range.
    #[error("signal: {what} is {value}; give a number that is finite and in range")]
    Signal {
        /// Which one, with its unit.
        what: &'static str,
        /// The value.
        value: f64,
    },
    /// Ramps are longer than the time between them.
    #[error("signal: {what} is {width_s} s, but half of both ramps takes {needed_s} s; shorten the ramps")]
    Ramps {
        /// Between which crossings.
        what: &'static str,
        /// Time between half-way crossings, s.
        width_s: f64,
        /// Half the sum of both ramps, s.
        needed_s: f64,
    },
    /// H is infinite or no number.
    #[error("the response at {frequency_hz} Hz is not finite; check the values of the chain")]
    NotFinite {
        /// Where, Hz.
        frequency_hz: f64,
    },
    /// The samples do not belong to the grid.
    #[error("{got} samples of the response for a grid of {wanted}; sample it at the grid's frequencies")]
    Samples {
        /// How many there are.
        got: usize,
        /// How many there should be.
        wanted: usize,
    },
    /// The signal needs another table.
    #[error("the grid was chosen for another kind of signal or another period; choose it for this signal")]
    OtherSignal,
    /// A grid for no chain.
    #[error("no chain to choose a grid for; give at least one")]
    NoChain,
    /// A transform of this length failed.
    #[error("a transform of {length} points failed; this is a defect of the program, please report it")]
    Transform {
        /// Its length.
        length: usize,
    },
}
