//! Two probes together: words, JSON and a drawing.

pub mod json;
pub mod plot;
pub mod text;

use flattop_core::assessment::Estimate;
use flattop_core::finding::Finding;
use flattop_core::pair::edges::Comparison;
use flattop_core::pair::{Balance, BestTrim, Rejection};

/// Everything that is told of a pair.
#[derive(Clone, Debug)]
pub struct Subject {
    /// Where the response of A comes from.
    pub a: String,
    /// Where the response of B comes from.
    pub b: String,
    /// e of A and of B, where they come from assessments.
    pub errors: Option<[Estimate; 2]>,
    /// Gain ratio and skew that were reckoned with.
    pub balance: Balance,
    /// Where gain ratio and skew come from; `None` when nothing was said, so that they count as exact.
    pub balance_from: Option<String>,
    /// The comparison of the same edges, if there was one.
    pub edges: Option<Comparison>,
    /// The rejection as the two stand.
    pub rejection: Vec<Rejection>,
    /// With both flat, and with B turned to A; where they come from assessments.
    pub trimmed: Option<Trimmed>,
    /// What follows for a measurement that was described.
    pub consequences: Vec<Consequence>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// What trimming can do.
#[derive(Clone, Debug)]
pub struct Trimmed {
    /// Both compensated.
    pub both_flat: Vec<Rejection>,
    /// B turned until it does what A does.
    pub b_to_a: BestTrim,
}

/// One consequence for a measurement.
#[derive(Clone, Debug)]
pub struct Consequence {
    /// Stable name: `power-error`, `switching-energy-error`, `delay-error`, `difference-error`.
    pub code: &'static str,
    /// What was measured, in words.
    pub of: String,
    /// The error.
    pub error: Estimate,
    /// Its unit; empty for a share.
    pub unit: &'static str,
}
