//! What people and programs read of a prediction: JSON, words, plot.
//!
//! Reading order: [`Subject`], `leading`, [`json`], [`text`], [`plot`].

pub mod json;
mod json_lines;
mod leading;
pub mod plot;
pub mod text;

use flattop_core::assessment::Estimate;
use flattop_core::chain::{Cause, Chain};
use flattop_core::finding::Finding;
use flattop_core::prediction::{MeasuredError, Prediction};
use flattop_core::quantity::Unit;
use flattop_core::rating::Survey;
use flattop_core::signal::Signal;

pub use leading::{headline, is_within, leading, main_cause};

/// One prediction and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// The plan as the user named it; `options` where the command line said it all.
    pub plan: String,
    /// The cascade that was predicted.
    pub chain: Chain,
    /// What the source does.
    pub signal: Signal,
    /// Frequencies that were asked for, Hz.
    pub frequency_hz: Vec<f64>,
    /// What the core found.
    pub prediction: Prediction,
    /// The signal against the ratings of what it reaches, where that was looked at.
    pub survey: Option<Survey>,
    /// Names of the parts of the survey, in its order.
    pub part_names: Vec<String>,
    /// What nobody stated and a model had to assume.
    pub assumed: Vec<Assumed>,
    /// All remarks: of the reader, the model, the core and the survey.
    pub findings: Vec<Finding>,
}

/// Something that was assumed because nobody stated it.
#[derive(Clone, Debug, PartialEq)]
pub struct Assumed {
    /// What, such as `probe.cable.length`.
    pub what: String,
    /// How much.
    pub value: AssumedValue,
    /// Why that much.
    pub why: String,
}

/// How much was assumed.
#[derive(Clone, Debug, PartialEq)]
pub enum AssumedValue {
    /// A number with its unit.
    Number {
        /// In SI units.
        value: f64,
        /// Its unit; `None` for one that nobody types.
        unit: Option<Unit>,
        /// In the same unit, where there is one to state.
        standard_uncertainty: Option<f64>,
    },
    /// Something that is no number, such as the shape of a response.
    Words(String),
}

impl Subject {
    /// The cautions: what the survey had to say. All other findings are plain remarks.
    pub fn is_caution(&self, finding: &Finding) -> bool {
        self.survey.as_ref().is_some_and(|survey| survey.findings.iter().any(|f| f.code == finding.code))
    }

    /// An error as a whole, with its uncertainty; that is nil where every number was taken as exact.
    pub(crate) fn total(&self, error: &MeasuredError) -> Estimate {
        let doubts = self.prediction.doubts.as_ref();
        let own = doubts.and_then(|d| d.errors.iter().find(|(measure, _)| *measure == error.measure));
        Estimate { value: error.total, standard_uncertainty: own.map_or(0.0, |(_, u)| *u) }
    }
}

/// The stable name of a cause, as the JSON contract writes it.
pub fn cause_code(cause: Cause) -> &'static str {
    match cause {
        Cause::Loading => "loading",
        Cause::Contact => "contact",
        Cause::Compensation => "compensation",
        Cause::Cable => "cable",
        Cause::Input => "input",
        Cause::Measured => "measured",
    }
}

/// A cause as people say it.
pub(crate) fn cause_words(cause: Cause) -> &'static str {
    match cause {
        Cause::Loading => "the load on the node",
        Cause::Contact => "contact and ground lead",
        Cause::Compensation => "the compensation",
        Cause::Cable => "the cable",
        Cause::Input => "the input",
        Cause::Measured => "the measured response",
    }
}

#[cfg(test)]
mod fixtures;
#[cfg(test)]
mod tests;
