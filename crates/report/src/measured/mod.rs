//! Values that were measured because no data sheet says them: as words, as JSON, and as entries of the logbook.

pub mod json;
pub mod text;

use flattop_core::assessment::Estimate;
use flattop_core::bench::measured::Share;
use flattop_core::finding::{Finding, Severity};

/// A result, ready to be shown.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// What was measured, as the register names it: `input-capacitance` and so on.
    pub quantity: &'static str,
    /// Of what, by its name on the bench.
    pub of: String,
    /// How.
    pub method: &'static str,
    /// The value, or the lower limit of a range, F; `None` when it is withheld.
    pub value_f: Option<Estimate>,
    /// The upper limit of a range, F.
    pub upper_f: Option<Estimate>,
    /// Other figures: key, words, value in F.
    pub others: Vec<(&'static str, &'static str, Estimate)>,
    /// Where the uncertainty comes from, largest first, F.
    pub shares: Vec<Share>,
    /// Remarks.
    pub findings: Vec<Finding>,
    /// What each capture was for, its name, its SHA-256.
    pub captures: Vec<Capture>,
    /// Numbers of the entries of the logbook, once it is logged.
    pub entries: Vec<i64>,
}

/// A capture that a measurement rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Capture {
    /// What it was for: `known-input`, `unknown-input`, `one-stop`, `other-stop`, `straight`, `through-resistor`.
    pub role: &'static str,
    /// Its file, as the user named it.
    pub file: String,
    /// Digest of its bytes.
    pub sha256: String,
}

impl Shown {
    /// Whether there is a result.
    pub fn is_determined(&self) -> bool {
        self.value_f.is_some() && self.findings.iter().all(|f| f.severity != Severity::Fault)
    }
}
