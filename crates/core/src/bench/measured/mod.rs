//! What a data sheet doesn't say, found from captures: an input's capacitance, a probe's real compensation range, and the
//! capacitance at its tip.
//!
//! | function | captures | answer |
//! | --- | --- | --- |
//! | [`input_capacitance`] | one probe on a known and on an unknown input, its trimmer untouched | the unknown input's capacitance |
//! | [`compensation_range`] | one probe on a known input, at both stops of its trimmer | the input capacitances that it can balance |
//! | [`tip_capacitance`] | one probe on one input; and again through a known resistor | what the circuit sees at the tip |
//!
//! All rest on one thing that a capture tells: e and τp of the divider, [`crate::divider`]. With S = C1+C2,
//! S = τp/(R1∥R2) and C1 = τz/R1, where τz = (1+e)·τp. Note that R2, most of which is the input's own resistance, has no
//! part in C1, and that τz is the same on any input as long as nobody turns a trimmer at the tip.
//!
//! Uncertainty: law of propagation (JCGM 100:2008, 5.1.2 and 5.2.2). What two captures share (R1, the known input) is one
//! quantity in the model and so fully correlated; what they don't share (noise) is independent.

mod pool;
mod propagate;
mod range;
mod substitution;
mod tip;

#[cfg(test)]
mod tests;

pub use range::{RangeFound, Stops, compensation_range};
pub use substitution::{KnownInput, Shunts, Substituted, Substitution, input_capacitance};
pub use tip::{SeriesLook, TipFound, TipLooks, tip_capacitance};

use thiserror::Error;

use crate::assessment::{Compensation, Estimate};
use crate::finding::{Finding, Severity};
use crate::numeric::stats::{COVERAGE_FACTOR_95, normal_cdf};
use crate::quantity::{self, Unit};

/// e and τp of one capture, with their covariance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// e.
    pub error: Estimate,
    /// τp, s.
    pub time_constant_s: Estimate,
    /// Their correlation coefficient.
    pub correlation: f64,
}

impl From<&Compensation> for Reading {
    fn from(found: &Compensation) -> Self {
        let Compensation { error, time_constant_s, correlation, .. } = *found;
        Self { error, time_constant_s, correlation }
    }
}

/// How much of an uncertainty comes from one source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// The source, in words.
    pub of: &'static str,
    /// Standard uncertainty that it alone would leave, in the unit of the result.
    pub standard_uncertainty: f64,
}

/// How well two figures agree that ought to be the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// Second over first, less one, with its standard uncertainty.
    pub difference: Estimate,
    /// Chance of a difference of this size or more where there is none (two-sided, normal).
    pub chance: f64,
}

impl Agreement {
    fn of(difference: Estimate) -> Self {
        let z = difference.value.abs() / difference.standard_uncertainty.max(f64::MIN_POSITIVE);
        Self { difference, chance: 2.0 * normal_cdf(-z) }
    }
}

/// Below this chance two figures are said to differ.
const DIFFERENT: f64 = 0.001;
/// Below this chance they are said to agree badly.
const DOUBTFUL: f64 = 0.05;

/// Why captures cannot be used for this at all. What they show and what speaks against it are findings.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum MeasureError {
    /// None given.
    #[error("there is no capture {of}: give at least one")]
    None {
        /// Of what.
        of: &'static str,
    },
    /// A value outside what the formulas mean.
    #[error("{quantity} is {value}: {remedy}")]
    Value {
        /// The quantity.
        quantity: &'static str,
        /// Its value.
        value: f64,
        /// What to do.
        remedy: &'static str,
    },
}

/// A value above nil with a usable uncertainty.
fn positive(quantity: &'static str, estimate: Estimate) -> Result<(), MeasureError> {
    if !(estimate.value > 0.0 && estimate.value.is_finite()) {
        let remedy = "give a finite value above zero, in SI units";
        return Err(MeasureError::Value { quantity, value: estimate.value, remedy });
    }
    uncertain(quantity, estimate.standard_uncertainty)
}

fn uncertain(quantity: &'static str, value: f64) -> Result<(), MeasureError> {
    if value >= 0.0 && value.is_finite() {
        return Ok(());
    }
    let remedy = "its standard uncertainty cannot be that; state its tolerance";
    Err(MeasureError::Value { quantity, value, remedy })
}

/// "3.20 % ± 0.10 % (95 %)".
fn per_cent(estimate: Estimate) -> String {
    stated(estimate, Unit::Ratio)
}

/// "13.02 pF ± 0.31 pF (95 %)".
fn farads(estimate: Estimate) -> String {
    stated(estimate, Unit::Farad)
}

fn stated(estimate: Estimate, unit: Unit) -> String {
    let expanded = COVERAGE_FACTOR_95 * estimate.standard_uncertainty;
    format!("{} (95 %)", quantity::format_estimate(estimate.value, expanded, unit))
}

fn withheld(findings: &[Finding]) -> bool {
    findings.iter().any(|f| f.severity == Severity::Fault)
}

/// Says so when the inputs were taken as flat.
fn flat(flatness: f64, findings: &mut Vec<Finding>) -> Result<(), MeasureError> {
    uncertain("the flatness of the input's own response", flatness)?;
    if flatness == 0.0 {
        findings.push(Finding::note(
            "input-taken-as-flat",
            "the input's own response was taken as flat: whatever it adds to a step counts as the probe's",
            "state how flat the input is, or look at the same square wave without a probe",
        ));
    }
    Ok(())
}
