//! Assessments in the logbook: written with everything that is needed to work them out again, and worked out again.

mod settings;

use std::path::Path;

use flattop_core::bench::Stage;
use flattop_register::{Act, AssessmentRecord, Digest, Entry, Event, Head, Register};
use flattop_report::json;
use flattop_report::subject::{Subject, verdict_code};

use crate::assess::Request;
pub(crate) use settings::Settings;

/// Writes one result into the logbook with its capture, and into the result where it went.
pub(crate) fn log(
    register: &mut Register,
    subject: &mut Subject,
    request: &Request,
    stage: Stage,
    temperature_c: Option<f64>,
    act: &Act,
) -> Result<Head, String> {
    let bytes = match &subject.record {
        Some(facts) => Some(capture_bytes(&subject.file, &facts.sha256)?),
        None => None,
    };
    let name = Path::new(&subject.file).file_name().map(|name| name.to_string_lossy().into_owned());
    let mut settings = Settings::of(request);
    settings.file = name;
    let record = record_of(subject, &settings, stage, temperature_c);
    log_bytes(register, subject, &record, bytes.as_deref(), act)
}

/// Writes a result whose capture is at hand.
pub(crate) fn log_bytes(
    register: &mut Register,
    subject: &mut Subject,
    record: &AssessmentRecord,
    bytes: Option<&[u8]>,
    act: &Act,
) -> Result<Head, String> {
    let place = subject.on_bench.as_mut().ok_or("no pairing was named; name one with --probe and --input")?;
    let pairing = place.pairing.ok_or_else(|| {
        format!("{} is not paired with {}; pair them first: flattop bench pair", place.probe, place.input)
    })?;
    let head = register.log_assessment(pairing, record, bytes, act).map_err(|e| e.to_string())?;
    place.logged = Some((head.seq, head.digest.to_string()));
    Ok(head)
}

/// The bytes of a capture, which must still be those that were assessed.
#[allow(clippy::disallowed_methods)] // reading files is the program's part
fn capture_bytes(file: &str, sha256: &str) -> Result<Vec<u8>, String> {
    let bytes = std::fs::read(Path::new(file)).map_err(|e| format!("{file}: cannot be read again: {e}"))?;
    if Digest::of(&bytes).to_string() != sha256 {
        return Err(format!(
            "{file}: changed after it was assessed; assess it again once the export has finished"
        ));
    }
    Ok(bytes)
}

/// What the logbook keeps of a result.
pub(crate) fn record_of(
    subject: &Subject,
    settings: &Settings,
    stage: Stage,
    temperature_c: Option<f64>,
) -> AssessmentRecord {
    let found = &subject.assessment;
    AssessmentRecord {
        stage,
        capture: None,
        settings_json: Some(settings.to_json()),
        tolerance: found.tolerance,
        verdict: found.verdict,
        compensation: found.compensation.filter(|_| !subject.is_withheld()),
        method: subject.method.code().to_owned(),
        temperature_c,
        result_json: Some(json::one(&Ok(subject.clone()))),
    }
}

/// How a result worked out anew compares with what was logged.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Comparison {
    /// The same figures.
    Same,
    /// Other figures: what, then and now.
    Differs(Vec<String>),
}

/// Everything that was kept to work an assessment out again.
pub(crate) struct Kept {
    settings: Settings,
    bytes: Option<Vec<u8>>,
}

impl Kept {
    /// Takes it from the bench.
    pub(crate) fn of(register: &Register, entry: &Entry) -> Result<Self, String> {
        let Event::Assessment(record) = &entry.event else {
            return Err(format!("entry {} is no assessment", entry.seq));
        };
        let text = record
            .settings_json
            .as_deref()
            .ok_or_else(|| format!("entry {} kept no settings; it cannot be worked out anew", entry.seq))?;
        let bytes = match &record.capture {
            Some(digest) => Some(register.capture(digest).map_err(|e| e.to_string())?),
            None => None,
        };
        Ok(Self { settings: Settings::from_json(text)?, bytes })
    }

    /// Works it out.
    pub(crate) fn assess(&self) -> Result<Subject, String> {
        self.settings.assess(self.bytes.as_deref())
    }
}

/// Compares a result worked out anew with what was logged, figure by figure.
pub(crate) fn compare(record: &AssessmentRecord, subject: &Subject) -> Comparison {
    let mut differs = Vec::new();
    let found = &subject.assessment;
    if found.verdict != record.verdict {
        let (then, now) = (verdict_code(record.verdict), verdict_code(found.verdict));
        differs.push(format!("verdict was {then}, is {now}"));
    }
    let now = found.compensation.filter(|_| !subject.is_withheld());
    match (record.compensation, now) {
        (None, None) => {}
        (Some(then), Some(now)) => {
            let figures = [
                ("e", then.error.value, now.error.value),
                ("u(e)", then.error.standard_uncertainty, now.error.standard_uncertainty),
                ("time constant", then.time_constant_s.value, now.time_constant_s.value),
                (
                    "u(time constant)",
                    then.time_constant_s.standard_uncertainty,
                    now.time_constant_s.standard_uncertainty,
                ),
                ("correlation", then.correlation, now.correlation),
            ];
            for (name, then, now) in figures {
                if !same(then, now) {
                    differs.push(format!("{name} was {then:e}, is {now:e}"));
                }
            }
        }
        (Some(_), None) => differs.push("there were figures, now they are withheld".into()),
        (None, Some(_)) => differs.push("the figures were withheld, now there are some".into()),
    }
    if differs.is_empty() { Comparison::Same } else { Comparison::Differs(differs) }
}

/// Equal but for the last digits, in which processors may differ.
fn same(then: f64, now: f64) -> bool {
    (then - now).abs() <= 1e-11 * then.abs().max(now.abs())
}
