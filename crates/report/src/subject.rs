//! One assessment together with what has to be said about where it came from.

use flattop_core::assessment::{AdjustedAt, Assessment, Verdict};
use flattop_core::divider::Divider;
use flattop_core::finding::{Finding, Severity};

/// How the compensation error was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// The first-order model fitted to one captured square wave.
    SquareWave,
    /// The probe's column compared with a second column that shows the source.
    Reference,
    /// Captures of a sine at several frequencies, each with a reference column.
    Sine,
    /// Levels read off a screen by a person.
    ByEye,
}

impl Method {
    /// The stable name of the method, as the JSON contract writes it.
    pub fn code(self) -> &'static str {
        match self {
            Self::SquareWave => "square-wave",
            Self::Reference => "reference-column",
            Self::Sine => "sine",
            Self::ByEye => "by-eye",
        }
    }
}

/// Facts about the file a record was read from.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordFacts {
    /// Number of samples in the probe's column.
    pub points: usize,
    /// Time between samples, s.
    pub interval_s: f64,
    /// Number of columns in the file.
    pub columns: usize,
    /// Number of the probe's column among them, from 1.
    pub column: usize,
    /// Name of the probe's column as the file writes it.
    pub column_name: Option<String>,
    /// What the file was, in words.
    pub format: String,
    /// SHA-256 digest of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
}

/// What was assumed because nobody measured it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Assumptions {
    /// The resistors.
    pub divider: Divider,
    /// Half-width of the resistors' tolerance, relative; taken as rectangular (JCGM 100, 4.3.7).
    pub resistor_tolerance: f64,
    /// Where the probe is adjusted.
    pub adjusted_at: AdjustedAt,
    /// Peak-to-peak amplitude of the source, V, when it was stated.
    pub source_amplitude_v: Option<f64>,
}

/// Which pairing of the bench was assessed, and whether it went into the logbook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OnBench {
    /// The probe's name.
    pub probe: String,
    /// The input's name.
    pub input: String,
    /// Number of the pairing, where the two are paired.
    pub pairing: Option<i64>,
    /// Number and digest of the entry, where it was logged.
    pub logged: Option<(i64, String)>,
}

/// One assessment and where it came from: what every face of this crate shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// The capture as the user named it; empty for readings by eye; the names of all captures of one result.
    pub file: String,
    /// How it was assessed.
    pub method: Method,
    /// The record, when there was exactly one.
    pub record: Option<RecordFacts>,
    /// All captures that made this one result, when there were several: name and facts, in the order given.
    pub captures: Vec<(String, RecordFacts)>,
    /// The pairing, where it was named.
    pub on_bench: Option<OnBench>,
    /// What was assumed.
    pub assumptions: Assumptions,
    /// What the core found.
    pub assessment: Assessment,
}

/// Findings that name a cause of a large uncertainty, which their remedy takes away.
const UNCERTAIN_BY: [&str; 4] = ["short-flats", "coarse-codes", "edges-between-samples", "few-edges"];

/// A capture that gave no assessment at all.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// The capture as the user named it.
    pub file: String,
    /// What went wrong, where, and the remedy.
    pub message: String,
}

impl Subject {
    /// The first finding that withholds the result, if there is one.
    pub fn fault(&self) -> Option<&Finding> {
        self.assessment.findings.iter().find(|finding| finding.severity == Severity::Fault)
    }

    /// Whether there is no verdict because nothing was estimated, or because a fault speaks against the estimate.
    pub fn is_withheld(&self) -> bool {
        self.assessment.compensation.is_none()
            || (self.assessment.verdict == Verdict::Undetermined && self.fault().is_some())
    }

    /// What to do to get a verdict, in the core's words: the remedy of the fault; else, of an estimate too close to the
    /// tolerance, the remedy of what made it so uncertain; else of the last warning, which is where the judgement leaves
    /// its doubt.
    pub fn remedy(&self) -> Option<&str> {
        let all = &self.assessment.findings;
        let is_close = all.iter().any(|finding| finding.code == "too-close-to-call");
        let cause = || all.iter().filter(|_| is_close).find(|f| UNCERTAIN_BY.contains(&f.code));
        let last_warning = || all.iter().rfind(|f| f.severity == Severity::Warning);
        let finding = self.fault().or_else(cause).or_else(last_warning)?;
        (!finding.remedy.is_empty()).then_some(finding.remedy.as_str())
    }

    /// Whether the estimate may be acted on: there is one, and no fault speaks against it.
    pub fn can_be_acted_on(&self) -> bool {
        !self.is_withheld()
    }
}

/// The stable name of a verdict, as the JSON contract writes it.
pub fn verdict_code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::WithinTolerance => "within-tolerance",
        Verdict::Undercompensated => "undercompensated",
        Verdict::Overcompensated => "overcompensated",
        Verdict::Undetermined => "undetermined",
    }
}

/// The stable name of a severity, as the JSON contract writes it.
pub fn severity_code(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Fault => "fault",
    }
}

/// Where the trimmer is, as the JSON contract and the options write it.
pub fn adjusted_at_code(at: AdjustedAt) -> &'static str {
    match at {
        AdjustedAt::Tip => "tip",
        AdjustedAt::Base => "base",
    }
}

/// Frequencies at which the error is stated, Hz: every face states the same ones.
pub const STATED_FREQUENCIES_HZ: [f64; 9] = [100.0, 300.0, 1e3, 3e3, 1e4, 3e4, 1e5, 1e6, 1e7];

pub use flattop_core::numeric::stats::COVERAGE_FACTOR_95;

impl Assumptions {
    /// Relative standard uncertainty of each resistor: half-width over √3 for a rectangular distribution
    /// (JCGM 100, 4.3.7).
    pub fn resistor_standard_uncertainty(&self) -> f64 {
        self.resistor_tolerance / 3f64.sqrt()
    }
}
