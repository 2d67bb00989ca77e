//! Every probe of a bench against every input: which trimmer reaches which input, with what margin, and what the combination carries.
//!
//! Reading order: this file (what is said of a pair), `sides` (probes and inputs made ready, as columns of numbers), `row` (one probe on
//! all inputs), `summary` (what is worst in a row, and how candidates rank), `bandwidth`.
//!
//! Verdict, margin and e are those of [`crate::reach::reach`], to the last bit. What a data sheet does not print is not filled in: the
//! pair says which value is missing. Three things go beyond a single reach:
//!
//! - A probe without a trimmer balances the middle of its stated range; the range is what it was made for, so its half-width counts as
//!   tolerance. It may reach an input, and never surely does.
//! - A probe that works into a resistance of at most [`MATCHED_OHM`], or does not divide, has nothing to balance.
//! - A divider of R1 and ratio N is made for an input of R1/(N−1). On R it divides by (R1+R)/R, so that a reading taken times N is off by
//!   the factor N·R/(R1+R): [`Cell::reads`].

mod bandwidth;
mod row;
mod sides;
mod summary;

pub use bandwidth::{combined_bandwidth_hz, combined_transition_s, transition_bandwidth};
pub use row::{Cell, Row};
pub use sides::{Inputs, Probes};
pub use summary::{Least, Summary, rank};

/// Input resistance, Ω, up to which a probe made for it is a resistive divider on a matched cable, without compensation.
pub const MATCHED_OHM: f64 = 1e3;

/// How far a reading may be off by the wrong load before it is said: above what the tolerances of resistors make, far below what a wrong
/// input makes. Our own choice.
pub const LOAD_ALLOWANCE: f64 = 0.05;

/// What is said of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// The trimmer balances the input with every value that the tolerances allow.
    Reaches,
    /// There is nothing to balance.
    NothingToBalance,
    /// With some of the values.
    MayReach,
    /// A value is not known, or the probe's values cannot be true together.
    CannotBeSaid,
    /// With none of the values.
    OutOfReach,
}

impl Standing {
    /// All of them, best first.
    pub const ALL: [Standing; 5] = [
        Standing::Reaches,
        Standing::NothingToBalance,
        Standing::MayReach,
        Standing::CannotBeSaid,
        Standing::OutOfReach,
    ];
}

/// A value that no data sheet gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Lacking {
    /// Of the probe; verdict and margin need it.
    CompensationRange,
    /// Of the input; verdict and margin need it.
    InputCapacitance,
    /// Of the probe; e needs it.
    Ratio,
    /// Of the probe; e needs it.
    TipCapacitance,
    /// Of the probe; e needs it.
    AdjustedAt,
    /// Of the probe; the bandwidth of both needs it.
    ProbeBandwidth,
    /// Of the input; the bandwidth of both needs it.
    InputBandwidth,
}

impl Lacking {
    /// All of them.
    pub const ALL: [Lacking; 7] = [
        Lacking::CompensationRange,
        Lacking::InputCapacitance,
        Lacking::Ratio,
        Lacking::TipCapacitance,
        Lacking::AdjustedAt,
        Lacking::ProbeBandwidth,
        Lacking::InputBandwidth,
    ];

    /// The field of the bench that holds it: of the input for the two that name it, else of the probe.
    pub fn key(self) -> &'static str {
        match self {
            Lacking::CompensationRange => "compensation_range",
            Lacking::InputCapacitance => "capacitance",
            Lacking::Ratio => "ratio",
            Lacking::TipCapacitance => "tip_capacitance",
            Lacking::AdjustedAt => "adjusted_at",
            Lacking::ProbeBandwidth | Lacking::InputBandwidth => "bandwidth",
        }
    }

    /// Whether it is the input's.
    pub fn is_of_input(self) -> bool {
        matches!(self, Lacking::InputCapacitance | Lacking::InputBandwidth)
    }
}

/// A set of missing values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LackingSet(u8);

impl LackingSet {
    /// Without it there is no verdict.
    const VERDICT: LackingSet = LackingSet(0b000_0011);
    /// Without it there is no e.
    const ERROR: LackingSet = LackingSet(0b001_1111);

    /// Without it there is no bandwidth.
    const BANDWIDTH: LackingSet = LackingSet(0b110_0000);

    fn add(&mut self, value: Lacking) {
        self.0 |= 1 << value as u8;
    }

    fn and(self, other: LackingSet) -> LackingSet {
        LackingSet(self.0 | other.0)
    }

    fn within(self, other: LackingSet) -> LackingSet {
        LackingSet(self.0 & other.0)
    }

    /// Whether nothing is missing.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether `value` is in it.
    pub fn has(self, value: Lacking) -> bool {
        self.0 & (1 << value as u8) != 0
    }

    /// The values, in the order of [`Lacking::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Lacking> {
        Lacking::ALL.into_iter().filter(move |value| self.has(*value))
    }
}

#[cfg(test)]
mod tests;
