//! The JSON contract: every field a caller may rely on.
//!
//! | field | unit | meaning |
//! | --- | --- | --- |
//! | `flattop_version` | | version of the program that made this |
//! | `file` | | the capture as it was named; null for readings by eye |
//! | `method` | | `square-wave`, `reference-column`, `sine` or `by-eye` |
//! | `verdict` | | `within-tolerance`, `undercompensated`, `overcompensated` or `undetermined` |
//! | `tolerance` | 1 | the \|e\| that was still accepted |
//! | `coverage` | | `probability` and `factor`: expanded uncertainty = `factor` · standard uncertainty |
//! | `compensation_error` | 1 | e: high-frequency gain over low-frequency gain, minus one |
//! | `time_constant_s` | s | τp, the time constant with which the error of a step dies away |
//! | `correlation` | 1 | correlation coefficient of the two above |
//! | `tip_capacitance_f` | F | C1, across the tip resistor |
//! | `shunt_capacitance_f` | F | C2: cable, compensation box and input together |
//! | `seen_at_tip_f` | F | capacitance the circuit sees at the tip, without the body's |
//! | `adjustment` | F | `at` (`tip` or `base`), signed `change_f`, `change_standard_uncertainty_f`, `direction` (`increase`, `decrease`, or `none` when the change is exactly nil); null when nothing should be turned on this evidence |
//! | `square_wave` | Hz, 1, V, s | see [`SquareWave`] |
//! | `amplitude_error` | 1 | list of `frequency_hz`, `value`, `standard_uncertainty`: error of a sine's amplitude |
//! | `phase_error` | rad | list of the same shape: error of a sine's phase, positive leads |
//! | `measured_response` | 1, rad | list, only with a reference column: `frequency_hz`, `relative_gain`, `phase_rad` |
//! | `findings` | | list of `code`, `severity` (`note`, `warning`, `fault`), `message`, `remedy` (empty when there is nothing to do) |
//! | `assumptions` | | divider's resistors, their tolerance and standard uncertainty, source amplitude |
//! | `pairing` | | `number` (null where the two are not paired), `probe`, `input`, and `logged_as`: `entry` and `digest`, null where it was not logged; null where no pairing was named |
//! | `captures` | | only where several captures make one result: list of `file` and `record`; then `file` and `record` are null |
//! | `record` | | `points`, `interval_s`, `columns` (how many), `column` (the probe's, from 1), `column_name`, `format`, `sha256` of the file's bytes |
//!
//! An uncertain quantity is an object `{"value": …, "standard_uncertainty": …}`.
//! What cannot be determined is null: never absent, never 0. No number is ever NaN or infinite.
//! One capture gives one object, several give an array in the order they were named.
//! A capture that could not be assessed gives `{"file": …, "error": …}`.

use flattop_core::assessment::{self, Assessment};
use serde::Serialize;

use crate::subject::{
    COVERAGE_FACTOR_95, Failure, OnBench, RecordFacts, STATED_FREQUENCIES_HZ, Subject, adjusted_at_code,
    severity_code, verdict_code,
};

/// The JSON text of one result, with a final line feed.
pub fn one(result: &Result<Subject, Failure>) -> String {
    write(&Element::of(result))
}

/// The JSON text of several results: an array in their order, with a final line feed.
pub fn several(results: &[Result<Subject, Failure>]) -> String {
    write(&results.iter().map(Element::of).collect::<Vec<_>>())
}

pub(crate) fn write<T: Serialize>(value: &T) -> String {
    // Serialising these types cannot fail: every key is text and no field has a serialiser of its own.
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}

/// One element of what is written.
#[derive(Serialize)]
#[serde(untagged)]
enum Element {
    Report(Box<Report>),
    Failed { file: Option<String>, error: String },
}

impl Element {
    fn of(result: &Result<Subject, Failure>) -> Self {
        match result {
            Ok(subject) => Self::Report(Box::new(Report::of(subject))),
            Err(failure) => Self::Failed {
                file: Some(failure.file.clone()).filter(|name| !name.is_empty()),
                error: failure.message.clone(),
            },
        }
    }
}

/// A whole assessment. The module documentation describes each field.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Report {
    pub flattop_version: &'static str,
    pub file: Option<String>,
    pub method: &'static str,
    pub verdict: &'static str,
    pub tolerance: Option<f64>,
    pub coverage: Coverage,
    pub compensation_error: Option<Uncertain>,
    pub time_constant_s: Option<Uncertain>,
    pub correlation: Option<f64>,
    pub tip_capacitance_f: Option<Uncertain>,
    pub shunt_capacitance_f: Option<Uncertain>,
    pub seen_at_tip_f: Option<Uncertain>,
    pub adjustment: Option<Adjustment>,
    pub square_wave: Option<SquareWave>,
    pub amplitude_error: Option<Vec<AtFrequency>>,
    pub phase_error: Option<Vec<AtFrequency>>,
    pub measured_response: Option<Vec<MeasuredAt>>,
    pub findings: Vec<Finding>,
    pub assumptions: Assumptions,
    pub pairing: Option<Pairing>,
    pub captures: Option<Vec<Capture>>,
    pub record: Option<Record>,
}

/// The pairing of the bench that was assessed.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Pairing {
    pub number: Option<i64>,
    pub probe: String,
    pub input: String,
    pub logged_as: Option<LoggedAs>,
}

/// The entry of the logbook.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct LoggedAs {
    pub entry: i64,
    pub digest: String,
}

/// One of several captures behind one result.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Capture {
    pub file: String,
    pub record: Record,
}

/// What turns a standard uncertainty into an interval.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Coverage {
    pub probability: f64,
    pub factor: f64,
}

/// A value with its standard uncertainty.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Uncertain {
    pub value: f64,
    pub standard_uncertainty: Option<f64>,
}

impl Uncertain {
    /// `None` when there is no finite value; an uncertainty that is not finite is null.
    pub(crate) fn of(estimate: assessment::Estimate) -> Option<Self> {
        let value = finite(estimate.value)?;
        Some(Self { value, standard_uncertainty: finite(estimate.standard_uncertainty) })
    }
}

/// What to turn.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Adjustment {
    pub at: &'static str,
    pub change_f: f64,
    pub change_standard_uncertainty_f: Option<f64>,
    pub direction: &'static str,
}

/// The square wave as recorded. Levels are settled ones in the volts of the file; `transition_s` is the 10–90 %
/// transition duration; `noise_rms_v` the standard deviation of the noise.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct SquareWave {
    pub frequency_hz: Option<f64>,
    pub frequency_standard_uncertainty_hz: Option<f64>,
    pub duty: Option<f64>,
    pub low_level: Option<f64>,
    pub low_level_standard_uncertainty: Option<f64>,
    pub high_level: Option<f64>,
    pub high_level_standard_uncertainty: Option<f64>,
    pub edges: usize,
    pub transition_s: Option<f64>,
    pub noise_rms_v: Option<f64>,
}

/// An uncertain quantity at one frequency.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct AtFrequency {
    pub frequency_hz: f64,
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
}

/// Probe against reference column at one frequency.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct MeasuredAt {
    pub frequency_hz: Option<f64>,
    pub relative_gain: Option<Uncertain>,
    pub phase_rad: Option<Uncertain>,
}

/// One remark.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Finding {
    pub code: &'static str,
    pub severity: &'static str,
    pub message: String,
    pub remedy: String,
}

/// What was assumed because nobody measured it.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Assumptions {
    pub tip_resistance_ohm: f64,
    pub shunt_resistance_ohm: f64,
    pub resistor_tolerance: Option<f64>,
    pub resistor_standard_uncertainty: Option<f64>,
    pub adjusted_at: &'static str,
    pub source_amplitude_v: Option<f64>,
}

/// The record the result came from.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Record {
    pub points: usize,
    pub interval_s: Option<f64>,
    pub columns: usize,
    pub column: usize,
    pub column_name: Option<String>,
    pub format: String,
    pub sha256: String,
}

impl Report {
    /// The contract's shape of an assessment.
    pub fn of(subject: &Subject) -> Self {
        let found = &subject.assessment;
        let compensation = found.compensation.as_ref();
        let points: Option<Vec<_>> =
            compensation.map(|c| STATED_FREQUENCIES_HZ.iter().map(|&f| c.response_at(f)).collect());
        Self {
            flattop_version: env!("CARGO_PKG_VERSION"),
            file: subject.record.is_some().then(|| subject.file.clone()),
            method: subject.method.code(),
            verdict: verdict_code(found.verdict),
            tolerance: finite(found.tolerance),
            coverage: Coverage { probability: 0.95, factor: COVERAGE_FACTOR_95 },
            compensation_error: compensation.and_then(|c| Uncertain::of(c.error)),
            time_constant_s: compensation.and_then(|c| Uncertain::of(c.time_constant_s)),
            correlation: compensation.and_then(|c| finite(c.correlation)),
            tip_capacitance_f: compensation.and_then(|c| Uncertain::of(c.tip_capacitance_f())),
            shunt_capacitance_f: compensation.and_then(|c| Uncertain::of(c.shunt_capacitance_f())),
            seen_at_tip_f: compensation.and_then(|c| Uncertain::of(c.seen_at_tip_f())),
            adjustment: adjustment(subject),
            square_wave: found.square_wave.as_ref().map(square_wave),
            amplitude_error: points.as_ref().map(|points| at_frequencies(points, |p| p.amplitude_error)),
            phase_error: points.as_ref().map(|points| at_frequencies(points, |p| p.phase_error_rad)),
            measured_response: measured_response(found),
            findings: found.findings.iter().map(finding).collect(),
            assumptions: assumptions(subject),
            pairing: subject.on_bench.as_ref().map(pairing),
            captures: captures(subject),
            record: subject.record.as_ref().map(record),
        }
    }
}

fn adjustment(subject: &Subject) -> Option<Adjustment> {
    if !subject.can_be_acted_on() {
        return None;
    }
    Adjustment::of(subject.assessment.compensation.as_ref()?, subject.assumptions.adjusted_at)
}

impl Adjustment {
    /// What compensates the pairing; `None` when that is no finite number.
    pub(crate) fn of(compensation: &assessment::Compensation, at: assessment::AdjustedAt) -> Option<Self> {
        let adjustment = compensation.adjustment(at);
        let change_f = finite(adjustment.change_f.value)?;
        Some(Self {
            at: adjusted_at_code(adjustment.at),
            change_f,
            change_standard_uncertainty_f: finite(adjustment.change_f.standard_uncertainty),
            direction: match change_f {
                change if change > 0.0 => "increase",
                change if change < 0.0 => "decrease",
                _ => "none",
            },
        })
    }
}

fn square_wave(wave: &assessment::SquareWave) -> SquareWave {
    SquareWave {
        frequency_hz: wave.frequency_hz.and_then(|f| finite(f.value)),
        frequency_standard_uncertainty_hz: wave.frequency_hz.and_then(|f| finite(f.standard_uncertainty)),
        duty: wave.duty.and_then(finite),
        low_level: finite(wave.low_level.value),
        low_level_standard_uncertainty: finite(wave.low_level.standard_uncertainty),
        high_level: finite(wave.high_level.value),
        high_level_standard_uncertainty: finite(wave.high_level.standard_uncertainty),
        edges: wave.edges,
        transition_s: wave.transition_s.and_then(finite),
        noise_rms_v: finite(wave.noise_rms),
    }
}

fn at_frequencies(
    points: &[assessment::ResponsePoint],
    quantity: impl Fn(&assessment::ResponsePoint) -> assessment::Estimate,
) -> Vec<AtFrequency> {
    let at = |point| {
        let estimate = quantity(point);
        AtFrequency {
            frequency_hz: point.frequency_hz,
            value: finite(estimate.value),
            standard_uncertainty: finite(estimate.standard_uncertainty),
        }
    };
    points.iter().map(at).collect()
}

fn measured_response(found: &Assessment) -> Option<Vec<MeasuredAt>> {
    let points = found.measured_response.iter().map(|point| MeasuredAt {
        frequency_hz: finite(point.frequency_hz),
        relative_gain: Uncertain::of(point.relative_gain),
        phase_rad: Uncertain::of(point.phase_rad),
    });
    let points: Vec<_> = points.collect();
    (!points.is_empty()).then_some(points)
}

pub(crate) fn finding(finding: &flattop_core::finding::Finding) -> Finding {
    Finding {
        code: finding.code,
        severity: severity_code(finding.severity),
        message: finding.message.clone(),
        remedy: finding.remedy.clone(),
    }
}

fn assumptions(subject: &Subject) -> Assumptions {
    let assumed = &subject.assumptions;
    let uncertainty = subject
        .assessment
        .compensation
        .map_or_else(|| assumed.resistor_standard_uncertainty(), |c| c.resistor_uncertainty);
    Assumptions {
        tip_resistance_ohm: assumed.divider.tip_resistance_ohm,
        shunt_resistance_ohm: assumed.divider.shunt_resistance_ohm,
        resistor_tolerance: finite(assumed.resistor_tolerance),
        resistor_standard_uncertainty: finite(uncertainty),
        adjusted_at: adjusted_at_code(assumed.adjusted_at),
        source_amplitude_v: assumed.source_amplitude_v.and_then(finite),
    }
}

fn pairing(on_bench: &OnBench) -> Pairing {
    Pairing {
        number: on_bench.pairing,
        probe: on_bench.probe.clone(),
        input: on_bench.input.clone(),
        logged_as: on_bench
            .logged
            .as_ref()
            .map(|(entry, digest)| LoggedAs { entry: *entry, digest: digest.clone() }),
    }
}

fn captures(subject: &Subject) -> Option<Vec<Capture>> {
    let capture =
        |(file, facts): &(String, RecordFacts)| Capture { file: file.clone(), record: record(facts) };
    (!subject.captures.is_empty()).then(|| subject.captures.iter().map(capture).collect())
}

fn record(facts: &RecordFacts) -> Record {
    Record {
        points: facts.points,
        interval_s: finite(facts.interval_s),
        columns: facts.columns,
        column: facts.column,
        column_name: facts.column_name.clone(),
        format: facts.format.clone(),
        sha256: facts.sha256.clone(),
    }
}

pub(crate) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests;
