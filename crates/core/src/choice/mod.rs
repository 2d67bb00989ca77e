//! Which probe on which input suits a measurement: every pairing judged alike, with the reason why it lost.
//!
//! A pairing is refused when the signal is beyond a rating, when the probe's compensation range is out of reach of the input, or when
//! the wanted figure cannot be read at all. The others are ranked by their total error: the size of the predicted error plus its
//! expanded uncertainty (95 %, factor 1.96, JCGM 100:2008, 6.2.1), so that doubt counts against a pairing.

use crate::chain::{Cause, Chain};
use crate::finding::{Finding, Severity};
use crate::numeric::stats::COVERAGE_FACTOR_95;
use crate::prediction::{Doubt, Measure, MeasuredError, Prediction, PredictionError, Question, predict};
use crate::quantity::{Unit, format_engineering};
use crate::rating::{Circuit, RatedPart, SignalFault, survey};
use crate::reach::{self, InputCapacitance, Reach, ReachError, ReachProbe};
use crate::signal::Signal;

/// What is to be read, and how well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// The figure.
    pub measure: Measure,
    /// Largest error that is still accepted, as a share.
    pub tolerance: f64,
}

/// One pairing that may be used.
#[derive(Clone, Debug)]
pub struct Candidate<'a> {
    /// The probe's name.
    pub probe: &'a str,
    /// The input's name.
    pub input: &'a str,
    /// The cascade with this probe on this input.
    pub chain: &'a Chain,
    /// What is not known exactly about it.
    pub doubts: &'a [Doubt],
    /// The probe's reach and the input's capacitance, where the probe states a range.
    pub reach: Option<(ReachProbe, InputCapacitance)>,
    /// What the signal reaches, with its ratings.
    pub parts: &'a [RatedPart],
    /// The circuit under test.
    pub circuit: Circuit,
}

/// How a pairing stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Total error within the tolerance.
    Suits,
    /// Error plus doubt exceed the tolerance, but the error alone does not.
    MaySuit,
    /// The error exceeds the tolerance.
    TooFarOff,
    /// Beyond a rating, out of reach, or the figure cannot be read.
    Refused,
}

/// A pairing with the judgement on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The probe's name.
    pub probe: String,
    /// The input's name.
    pub input: String,
    /// How it stands.
    pub standing: Standing,
    /// The predicted error of the wanted figure, with each cause's share.
    pub error: Option<MeasuredError>,
    /// Its standard uncertainty; `None` where all numbers were taken as exact.
    pub standard_uncertainty: Option<f64>,
    /// |error| plus expanded uncertainty.
    pub total: Option<f64>,
    /// −3 dB bandwidth of the combination, Hz.
    pub bandwidth_hz: Option<f64>,
    /// Capacitance at the tip, F.
    pub input_capacitance_f: f64,
    /// The reach of the probe, where it states a range.
    pub reach: Option<Reach>,
    /// Why it stands where it does, in a sentence.
    pub reason: String,
    /// Remarks: ratings, reach, prediction.
    pub findings: Vec<Finding>,
}

/// Why a pairing cannot be judged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ChoiceError {
    /// The chain, or the signal in it.
    #[error(transparent)]
    Prediction(#[from] PredictionError),
    /// The signal against ratings.
    #[error(transparent)]
    Signal(#[from] SignalFault),
    /// The probe's reach.
    #[error(transparent)]
    Reach(#[from] ReachError),
}

/// Judges one pairing.
///
/// # Errors
/// [`ChoiceError`] for numbers that make no sense.
pub fn judge(candidate: &Candidate<'_>, signal: &Signal, wanted: Wanted) -> Result<Judged, ChoiceError> {
    let question = Question {
        chain: candidate.chain,
        signal,
        frequency_hz: &[],
        time_s: &[],
        accepted_error: wanted.tolerance,
        doubts: candidate.doubts,
    };
    let prediction = predict(&question)?;
    let survey = survey(signal, candidate.parts, candidate.circuit)?;
    let reach = candidate.reach.map(|(probe, input)| reach::reach(&probe, input)).transpose()?;
    let error = prediction.errors.iter().find(|e| e.measure == wanted.measure).cloned();
    let doubts = prediction.doubts.as_ref();
    let standard_uncertainty =
        doubts.and_then(|d| d.errors.iter().find(|(m, _)| *m == wanted.measure)).map(|(_, u)| *u);
    let total =
        error.as_ref().map(|e| e.total.abs() + COVERAGE_FACTOR_95 * standard_uncertainty.unwrap_or(0.0));
    let over_rating = survey.findings.iter().find(|f| f.severity == Severity::Fault);
    let out_of_reach = reach.as_ref().filter(|r| r.margin.verdict == reach::Verdict::OutOfReach);
    let (standing, reason) = match (over_rating, out_of_reach, &error, total) {
        (Some(fault), ..) => (Standing::Refused, fault.message.clone()),
        (_, Some(reach), ..) => (Standing::Refused, reach_reason(reach)),
        (.., Some(error), Some(total)) => {
            let standing = if total <= wanted.tolerance {
                Standing::Suits
            } else if error.total.abs() <= wanted.tolerance {
                Standing::MaySuit
            } else {
                Standing::TooFarOff
            };
            (standing, error_reason(error, standard_uncertainty))
        }
        _ => (Standing::Refused, format!("the {} cannot be read off this signal", wanted.measure.words())),
    };
    let mut findings = survey.findings;
    findings.extend(reach.iter().flat_map(|r| r.findings.iter().cloned()));
    findings.extend(prediction.findings.iter().cloned());
    Ok(Judged {
        probe: candidate.probe.to_owned(),
        input: candidate.input.to_owned(),
        standing,
        error,
        standard_uncertainty,
        total,
        bandwidth_hz: prediction.summary.bandwidth_hz,
        input_capacitance_f: tip_capacitance(&prediction),
        reach,
        reason,
        findings,
    })
}

/// Best first: by standing, then by total error, then by the smaller load on the circuit.
pub fn rank(judged: &mut [Judged]) {
    let total = |j: &Judged| j.total.unwrap_or(f64::INFINITY);
    judged.sort_by(|a, b| {
        a.standing
            .cmp(&b.standing)
            .then(total(a).total_cmp(&total(b)))
            .then(a.input_capacitance_f.total_cmp(&b.input_capacitance_f))
    });
}

fn tip_capacitance(prediction: &Prediction) -> f64 {
    prediction.summary.input.capacitance_f
}

fn reach_reason(reach: &Reach) -> String {
    reach.findings.first().map_or_else(|| "out of reach".to_owned(), |f| f.message.clone())
}

/// The error, and the cause that makes most of it.
fn error_reason(error: &MeasuredError, standard_uncertainty: Option<f64>) -> String {
    let percent = |v: f64| format_engineering(v, Unit::Ratio, 2);
    let side = if error.total < 0.0 { "low" } else { "high" };
    let doubt = standard_uncertainty
        .filter(|u| *u > 0.0)
        .map_or_else(String::new, |u| format!(" ± {} (95 %)", percent(COVERAGE_FACTOR_95 * u)));
    let largest = error
        .shares
        .iter()
        .filter_map(|s| Some((s.cause, s.share?)))
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .filter(|(_, share)| share.abs() > 0.25 * error.total.abs() && share.abs() > 1e-4);
    let because = largest.map_or_else(String::new, |(cause, share)| {
        format!(
            ", mostly {} ({}{})",
            cause_words(cause),
            if share < 0.0 { "-" } else { "+" },
            percent(share.abs())
        )
    });
    format!("{} reads {}{doubt} {side}{because}", error.measure.words(), percent(error.total.abs()))
}

fn cause_words(cause: Cause) -> &'static str {
    match cause {
        Cause::Loading => "the load on the node",
        Cause::Compensation => "the compensation",
        Cause::Contact => "the ground lead",
        Cause::Cable => "the cable",
        Cause::Input => "the input's bandwidth",
        Cause::Measured => "the measured response",
    }
}
