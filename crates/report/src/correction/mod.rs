//! What people and programs read of a corrected record: JSON, words, plot.
//!
//! Reading order: [`Subject`], [`json`], [`text`], [`plot`].

pub mod json;
pub mod plot;
mod pulses;
pub mod text;

use flattop_core::correction::Inside;
use flattop_core::correction::chain::{ChainSummary, Chosen, Reference, Wish};
use flattop_core::correction::noise::Noise;
use flattop_core::correction::shelf::{Before, KnownShelf, Summary};
use flattop_core::finding::{Finding, Severity};
use flattop_core::pulse::Figures;

use crate::format::plain;
use crate::subject::RecordFacts;

/// One corrected record and where it came from.
#[derive(Clone, Debug)]
pub struct Subject {
    /// The capture as the user named it.
    pub file: String,
    /// Where the corrected record was written.
    pub output: String,
    /// What was undone, and what came of it.
    pub undone: Undone,
    /// What that is known from, as the user named it: a file, an entry of the logbook, `options`.
    pub known_from: String,
    /// Facts about the capture.
    pub record: RecordFacts,
    /// Unit of the record's values as its file writes it; V where it writes none.
    pub unit: String,
    /// Volts per value of the record.
    pub volts_per_unit: f64,
    /// Noise and range of the record.
    pub noise: Noise,
    /// IEEE 181 figures, in the record's unit, from so many of its first samples.
    pub pulses: Option<Pulses>,
    /// For drawing.
    pub trace: Trace,
    /// All remarks.
    pub findings: Vec<Finding>,
}

/// What was undone.
#[derive(Clone, Copy, Debug)]
pub enum Undone {
    /// The first-order shelf.
    Shelf {
        /// e and τp.
        known: KnownShelf,
        /// What came before the record.
        before: Before,
        /// What came out beside the samples.
        summary: Summary,
    },
    /// The whole chain of a plan.
    Chain {
        /// What the corrected record shows.
        reference: Reference,
        /// What bandwidth was wished for.
        wish: Wish,
        /// To which bandwidth.
        chosen: Chosen,
        /// What came before the record.
        before: Before,
        /// What came out beside the samples.
        summary: ChainSummary,
    },
}

/// IEEE 181 figures before and after.
#[derive(Clone, Debug)]
pub struct Pulses {
    /// First samples of the record that were looked at.
    pub samples: usize,
    /// Of the record as it was.
    pub before: Figures,
    /// Of the corrected one.
    pub after: Figures,
}

/// A record thinned out for drawing.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    /// All of it: for each stretch the least and greatest value.
    pub whole: Vec<Stretch>,
    /// About the first transition, sample by sample.
    pub close: Vec<Point>,
}

/// A stretch of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Its middle, s.
    pub time_s: f64,
    /// Least and greatest value before.
    pub before: (f64, f64),
    /// Least and greatest value after.
    pub after: (f64, f64),
    /// Largest standard uncertainty.
    pub u: f64,
}

/// One sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// s.
    pub time_s: f64,
    /// As it was.
    pub before: f64,
    /// Corrected.
    pub after: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Subject {
    /// The first reason not to use the corrected record.
    pub fn fault(&self) -> Option<&Finding> {
        self.findings.iter().find(|f| f.severity == Severity::Fault)
    }

    /// The standard uncertainties of all samples, in the record's unit.
    pub(crate) fn uncertainties(&self) -> Uncertainties {
        match &self.undone {
            Undone::Shelf { summary: s, .. } => {
                Uncertainties { least: s.least_u, rms: s.rms_u, greatest: s.greatest_u, inside: s.inside }
            }
            Undone::Chain { summary: s, .. } => {
                Uncertainties { least: s.least_u, rms: s.rms_u, greatest: s.greatest_u, inside: s.inside }
            }
        }
    }

    /// How many samples at the start and at the end are marked as uncertain because of what lies beyond, and do not count for the median.
    fn ends(&self) -> (u64, u64) {
        match &self.undone {
            Undone::Shelf { summary, .. } => (summary.start_up_samples, 0),
            Undone::Chain { summary, .. } => (summary.start_samples, summary.end_samples),
        }
    }

    /// First samples whose uncertainty is raised by not knowing what came before the record, in whatever way.
    pub(crate) fn start_up_samples(&self) -> u64 {
        match &self.undone {
            Undone::Shelf { summary, .. } => summary.start_up_samples,
            Undone::Chain { summary, .. } => summary.start_samples.max(summary.slow_start_samples),
        }
    }

    /// Largest change of a sample, in the record's unit.
    pub(crate) fn greatest_change(&self) -> f64 {
        match &self.undone {
            Undone::Shelf { summary, .. } => summary.greatest_change,
            Undone::Chain { summary, .. } => summary.greatest_change,
        }
    }

    /// White noise after over before.
    pub(crate) fn noise_gain(&self) -> f64 {
        match &self.undone {
            Undone::Shelf { summary, .. } => summary.noise_gain,
            Undone::Chain { summary, .. } => summary.noise_gain,
        }
    }

    /// The most that is left of what cannot be undone, in the record's unit.
    pub(crate) fn bias_bound(&self) -> f64 {
        match &self.undone {
            Undone::Shelf { summary, .. } => summary.bias_bound,
            Undone::Chain { summary, .. } => summary.bias_bound,
        }
    }

    /// What is known of the time before the record.
    pub(crate) fn before(&self) -> Before {
        match self.undone {
            Undone::Shelf { before, .. } | Undone::Chain { before, .. } => before,
        }
    }

    /// A value of the record in volts with a prefix, or in its own unit where that is no voltage.
    pub(crate) fn value(&self, value: f64, digits: usize) -> String {
        plain(self.volts_per_unit * value, "V", digits)
    }
}

/// Standard uncertainties of samples.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Uncertainties {
    pub(crate) least: f64,
    pub(crate) rms: f64,
    pub(crate) greatest: f64,
    /// Of those between the marked ends.
    pub(crate) inside: Option<Inside>,
}

/// What a corrected record shows, as the JSON contract writes it.
pub(crate) fn reference_code(reference: Reference) -> &'static str {
    match reference {
        Reference::Tip => "tip",
        Reference::UnloadedNode => "unloaded-node",
    }
}

/// The same for people.
fn reference_words(reference: Reference) -> &'static str {
    match reference {
        Reference::Tip => "to the voltage at the tip with the probe on it",
        Reference::UnloadedNode => "to the voltage without the probe",
    }
}

/// What was undone, and what it came to, in one sentence.
pub(crate) fn headline(subject: &Subject) -> String {
    let what = match &subject.undone {
        Undone::Shelf { known, .. } => format!(
            "a compensation error of {:+.2} % with {} undone",
            100.0 * known.shelf.error,
            plain(known.shelf.time_constant_s, "s", 3)
        ),
        Undone::Chain { chosen, reference, .. } => format!(
            "the chain of {} undone up to {}, {}",
            subject.known_from,
            plain(chosen.bandwidth_hz, "Hz", 3),
            reference_words(*reference)
        ),
    };
    let start = if subject.fault().is_some() { "NOT SOUND" } else { "CORRECTED" };
    format!(
        "{start}: {what}; samples changed by up to {}, standard uncertainty {}.",
        subject.value(subject.greatest_change(), 3),
        uncertainty(subject)
    )
}

/// The standard uncertainty of most samples, and what is worse at the ends for how long.
fn uncertainty(subject: &Subject) -> String {
    let all = subject.uncertainties();
    let greatest = subject.value(all.greatest, 2);
    let Some(inside) = all.inside else { return format!("up to {greatest}") };
    let median = format!("{} (median)", subject.value(inside.median_u, 2));
    let lasts = |samples: u64| plain(samples as f64 * subject.record.interval_s, "s", 2);
    let ends = match subject.ends() {
        _ if !(all.greatest > inside.greatest_u) => return median,
        (0, 0) => return median,
        (first, 0) => format!("first {}", lasts(first)),
        (0, last) => format!("last {}", lasts(last)),
        (first, last) => format!("first {} and last {}", lasts(first), lasts(last)),
    };
    format!("{median}, up to {greatest} in the {ends}")
}

#[cfg(test)]
mod tests;
