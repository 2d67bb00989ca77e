//! Assessments in the logbook: written with everything that is needed to work them out again, and worked out again.

mod settings;

use std::path::Path;

use flattop_core::bench::Stage;
use flattop_register::{Act, AssessmentRecord, Digest, Entry, Event, Head, MeasurementRecord, Register};
use flattop_report::json;
use flattop_report::subject::{Subject, verdict_code};

use crate::assess::Request;
use crate::bench::Question;
use crate::output::bare_name;
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
    let one = subject.record.iter().map(|facts| (&subject.file, facts));
    let captures = one
        .chain(subject.captures.iter().map(|(file, facts)| (file, facts)))
        .map(|(file, facts)| capture_bytes(file, &facts.sha256))
        .collect::<Result<Vec<_>, _>>()?;
    let mut settings = Settings::of(request);
    settings.file = subject.record.is_some().then(|| bare_name(Path::new(&subject.file)));
    settings.sines = subject.captures.iter().map(|(file, _)| bare_name(Path::new(file))).collect();
    let record = record_of(subject, &settings, stage, temperature_c);
    let captures: Vec<&[u8]> = captures.iter().map(Vec::as_slice).collect();
    log_bytes(register, subject, &record, &captures, act)
}

/// Writes a result whose captures are at hand.
pub(crate) fn log_bytes(
    register: &mut Register,
    subject: &mut Subject,
    record: &AssessmentRecord,
    captures: &[&[u8]],
    act: &Act,
) -> Result<Head, String> {
    let place = subject.on_bench.as_mut().ok_or("no pairing was named; name one with --probe and --input")?;
    let pairing = place.pairing.ok_or_else(|| {
        format!("{} is not paired with {}; pair them first: flattop bench pair", place.probe, place.input)
    })?;
    let head = register.log_assessment(pairing, record, captures, act).map_err(|e| e.to_string())?;
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
        captures: Vec::new(),
        settings_json: Some(settings.to_json()),
        tolerance: found.tolerance,
        verdict: found.verdict,
        compensation: found.compensation.filter(|_| !subject.is_withheld()),
        method: subject.method.code().to_owned(),
        temperature_c,
        result_json: Some(json::one(&Ok(subject.clone()))),
    }
}

/// Everything that was kept to work an entry out again.
pub(crate) enum Kept<'a> {
    /// An assessment.
    Assessment(&'a AssessmentRecord, Box<Settings>, Vec<Vec<u8>>),
    /// A measured value.
    Measurement(&'a MeasurementRecord, Box<Question>, Vec<Vec<u8>>),
}

impl<'a> Kept<'a> {
    /// Takes it from the bench.
    pub(crate) fn of(register: &Register, entry: &'a Entry) -> Result<Self, String> {
        let settings = |text: &'a Option<String>| {
            text.as_deref()
                .ok_or_else(|| format!("entry {} kept no settings; it cannot be worked out anew", entry.seq))
        };
        let fetched = |digests: &[Digest]| {
            let all = digests.iter().map(|digest| register.capture(digest));
            all.collect::<Result<Vec<_>, _>>().map_err(|e| e.to_string())
        };
        match &entry.event {
            Event::Assessment(record) => {
                let settings = Settings::from_json(settings(&record.settings_json)?)?;
                Ok(Self::Assessment(record, Box::new(settings), fetched(&record.captures)?))
            }
            Event::Measurement(record) => {
                let question = Question::from_json(settings(&record.settings_json)?)?;
                let captures = fetched(&question.digests()?)?;
                Ok(Self::Measurement(record, Box::new(question), captures))
            }
            _ => Err(format!("entry {} is neither assessment nor measurement", entry.seq)),
        }
    }

    /// Works an assessment out.
    pub(crate) fn assess(&self) -> Result<Subject, String> {
        match self {
            Self::Assessment(_, settings, captures) => settings.assess(captures),
            Self::Measurement(..) => Err("this entry is a measured value, not an assessment".into()),
        }
    }

    /// Works it out and says what differs from what was logged: nothing, where the figures are the same.
    pub(crate) fn differences(&self) -> Result<Vec<String>, String> {
        match self {
            Self::Assessment(record, ..) => Ok(compare(record, &self.assess()?)),
            Self::Measurement(record, question, captures) => measured_anew(record, question, captures),
        }
    }
}

fn measured_anew(
    record: &MeasurementRecord,
    question: &Question,
    captures: &[Vec<u8>],
) -> Result<Vec<String>, String> {
    let answer = question.answer(captures)?;
    let main = answer.shown.quantity == record.quantity.code();
    let now = if main {
        [answer.shown.value_f.filter(|_| answer.shown.is_determined()), answer.shown.upper_f]
    } else {
        let found = answer.more.iter().find(|(quantity, _)| *quantity == record.quantity);
        [found.map(|(_, value)| *value), None]
    };
    let mut differs = Vec::new();
    for (name, then, now) in [("value", Some(record.value), now[0]), ("upper limit", record.upper, now[1])] {
        match (then, now) {
            (None, None) => {}
            (Some(then), Some(now)) => {
                for (name, then, now) in [
                    (name.to_owned(), then.value, now.value),
                    (format!("u({name})"), then.standard_uncertainty, now.standard_uncertainty),
                ] {
                    if !same(then, now) {
                        differs.push(format!("{name} was {then:e}, is {now:e}"));
                    }
                }
            }
            (Some(_), None) => differs.push(format!("there was a figure for the {name}, now there is none")),
            (None, Some(_)) => differs.push(format!("there was no figure for the {name}, now there is one")),
        }
    }
    Ok(differs)
}

/// What differs between a result worked out anew and what was logged, figure by figure.
fn compare(record: &AssessmentRecord, subject: &Subject) -> Vec<String> {
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
    differs
}

/// Equal but for the last digits, in which processors may differ.
fn same(then: f64, now: f64) -> bool {
    (then - now).abs() <= 1e-11 * then.abs().max(now.abs())
}
