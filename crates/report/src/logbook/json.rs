//! The logbook as JSON. The fields are described in `docs/bench-json.md`; what is not known is null.

use flattop_core::bench::Significance;
use flattop_register::{Effect, Entry, Event, Problem, Series, Verification, time};
use serde::Serialize;
use serde_json::value::RawValue;

use super::History;
use super::text::Recomputed;
use crate::json::{Uncertain, write};
use crate::subject::verdict_code;

/// A list of entries.
pub fn list(entries: &[Entry]) -> String {
    write(&entries.iter().map(EntryJson::of).collect::<Vec<_>>())
}

/// One entry with the texts that lists leave out.
pub fn entry(entry: &Entry) -> String {
    let raw =
        |text: &Option<String>| text.clone().and_then(|t| RawValue::from_string(t.trim().to_owned()).ok());
    let (settings, result) = match &entry.event {
        Event::Assessment(record) => (raw(&record.settings_json), raw(&record.result_json)),
        Event::Measurement(record) => (raw(&record.settings_json), raw(&record.result_json)),
        _ => (None, None),
    };
    write(&WholeEntry { entry: EntryJson::of(entry), settings, result })
}

/// The history of pairings.
pub fn histories(all: &[History]) -> String {
    let one = |history: &History| HistoryJson {
        pairing: history.pairing.number,
        probe: history.pairing.probe.to_string(),
        input: history.pairing.input.to_string(),
        tolerance: history.tolerance,
        trend: TrendJson::of(&history.series),
    };
    write(&all.iter().map(one).collect::<Vec<_>>())
}

/// What a walk found.
pub fn verification(found: &Verification) -> String {
    write(&VerificationJson {
        intact: found.problems.is_empty(),
        entries: found.entries,
        captures: found.captures,
        last_entry: found.head.map(|h| HeadJson { seq: h.seq, digest: h.digest.to_string() }),
        problems: found.problems.iter().map(ProblemJson::of).collect(),
    })
}

/// Assessments worked out again by `program`.
pub fn recomputed(all: &[Recomputed], program: &str) -> String {
    let one = |one: &Recomputed| RecomputedJson {
        entry: one.seq,
        same: one.outcome.as_ref().ok().map(Vec::is_empty),
        differences: one.outcome.clone().unwrap_or_default(),
        logged_with: one.logged_with.clone(),
        worked_out_with: program.to_owned(),
        error: one.outcome.as_ref().err().cloned(),
    };
    write(&all.iter().map(one).collect::<Vec<_>>())
}

#[derive(Serialize)]
struct RecomputedJson {
    entry: i64,
    same: Option<bool>,
    differences: Vec<String>,
    logged_with: String,
    worked_out_with: String,
    error: Option<String>,
}

#[derive(Serialize)]
struct HistoryJson {
    pairing: i64,
    probe: String,
    input: String,
    tolerance: Option<f64>,
    trend: TrendJson,
}

#[derive(Serialize)]
struct WholeEntry {
    #[serde(flatten)]
    entry: EntryJson,
    settings: Option<Box<RawValue>>,
    result: Option<Box<RawValue>>,
}

/// One entry.
#[derive(Serialize)]
pub(crate) struct EntryJson {
    seq: i64,
    at: String,
    by: Option<String>,
    program: String,
    note: Option<String>,
    kind: &'static str,
    pairing: Option<i64>,
    probe: Option<String>,
    oscilloscope: Option<String>,
    input: Option<String>,
    assessment: Option<AssessmentJson>,
    measurement: Option<crate::measured::json::MeasurementJson>,
    corrects: Option<i64>,
    effect: Option<&'static str>,
    digest: String,
    previous: String,
}

#[derive(Serialize)]
struct AssessmentJson {
    stage: &'static str,
    verdict: &'static str,
    tolerance: f64,
    compensation_error: Option<Uncertain>,
    time_constant_s: Option<Uncertain>,
    correlation: Option<f64>,
    tip_resistance_ohm: Option<f64>,
    shunt_resistance_ohm: Option<f64>,
    resistor_standard_uncertainty: Option<f64>,
    method: String,
    temperature_c: Option<f64>,
    captures_sha256: Vec<String>,
}

impl EntryJson {
    pub(crate) fn of(entry: &Entry) -> Self {
        let (mut assessment, mut measurement, mut corrects, mut effect) = (None, None, None, None);
        match &entry.event {
            Event::Assessment(record) => {
                let c = record.compensation.as_ref();
                assessment = Some(AssessmentJson {
                    stage: stage_code(record.stage),
                    verdict: verdict_code(record.verdict),
                    tolerance: record.tolerance,
                    compensation_error: c.and_then(|c| Uncertain::of(c.error)),
                    time_constant_s: c.and_then(|c| Uncertain::of(c.time_constant_s)),
                    correlation: c.map(|c| c.correlation),
                    tip_resistance_ohm: c.map(|c| c.divider.tip_resistance_ohm),
                    shunt_resistance_ohm: c.map(|c| c.divider.shunt_resistance_ohm),
                    resistor_standard_uncertainty: c.map(|c| c.resistor_uncertainty),
                    method: record.method.clone(),
                    temperature_c: record.temperature_c,
                    captures_sha256: record.captures.iter().map(ToString::to_string).collect(),
                });
            }
            Event::Measurement(record) => {
                measurement = Some(crate::measured::json::MeasurementJson::of(record));
            }
            Event::Correction { corrects: seq, effect: does } => {
                corrects = Some(*seq);
                effect = Some(match does {
                    Effect::Remarks => "remarks",
                    Effect::Withdraws => "withdraws",
                });
            }
            _ => {}
        }
        Self {
            seq: entry.seq,
            at: time::local(entry.act.at),
            by: entry.act.by.clone(),
            program: entry.act.program.clone(),
            note: entry.act.note.clone(),
            kind: entry.event.kind().code(),
            pairing: entry.subject.pairing,
            probe: entry.subject.probe.as_ref().map(ToString::to_string),
            oscilloscope: entry.subject.oscilloscope.as_ref().map(ToString::to_string),
            input: entry.subject.input_id().map(|i| i.to_string()),
            assessment,
            measurement,
            corrects,
            effect,
            digest: entry.digest.to_string(),
            previous: entry.previous.to_string(),
        }
    }
}

/// The stable name of a stage.
pub fn stage_code(stage: flattop_core::bench::Stage) -> &'static str {
    match stage {
        flattop_core::bench::Stage::Check => "check",
        flattop_core::bench::Stage::BeforeAdjustment => "before-adjustment",
        flattop_core::bench::Stage::AfterAdjustment => "after-adjustment",
    }
}

/// A series and its drift.
#[derive(Serialize)]
pub(crate) struct TrendJson {
    points: Vec<PointJson>,
    drift_per_month: Option<Uncertain>,
    stands_out: Option<bool>,
    chance: Option<f64>,
    no_drift_because: Option<String>,
}

#[derive(Serialize)]
struct PointJson {
    entry: i64,
    at: String,
    stage: &'static str,
    compensation_error: f64,
    standard_uncertainty: Option<f64>,
}

impl TrendJson {
    pub(crate) fn of(series: &Series) -> Self {
        let trend = series.trend.as_ref();
        Self {
            points: series
                .points
                .iter()
                .map(|(entry, point)| PointJson {
                    entry: *entry,
                    at: time::local(point.at),
                    stage: stage_code(point.stage),
                    compensation_error: point.compensation_error,
                    standard_uncertainty: point.standard_uncertainty,
                })
                .collect(),
            drift_per_month: trend.ok().and_then(|t| {
                Uncertain::of(flattop_core::assessment::Estimate {
                    value: t.drift_per_month,
                    standard_uncertainty: t.standard_uncertainty,
                })
            }),
            stands_out: trend.ok().map(|t| t.significance == Significance::Significant),
            chance: trend.ok().map(|t| t.chance),
            no_drift_because: trend.err().map(ToString::to_string),
        }
    }
}

#[derive(Serialize)]
struct VerificationJson {
    intact: bool,
    entries: usize,
    captures: usize,
    last_entry: Option<HeadJson>,
    problems: Vec<ProblemJson>,
}

#[derive(Serialize)]
struct HeadJson {
    seq: i64,
    digest: String,
}

#[derive(Serialize)]
struct ProblemJson {
    kind: &'static str,
    seq: Option<i64>,
    message: String,
}

impl ProblemJson {
    fn of(problem: &Problem) -> Self {
        let (kind, seq) = match problem {
            Problem::File { .. } => ("file-damaged", None),
            Problem::Guard { .. } => ("guard-missing", None),
            Problem::Changed { seq } => ("changed", Some(*seq)),
            Problem::Moved { seq, .. } => ("moved", Some(*seq)),
            Problem::Missing { first, .. } => ("missing", Some(*first)),
            Problem::Unlinked { seq } => ("unlinked", Some(*seq)),
            Problem::NotedHead { seq } => ("noted-entry-missing", Some(*seq)),
            Problem::CaptureMissing { seq, .. } => ("capture-missing", Some(*seq)),
            Problem::CaptureChanged { .. } => ("capture-changed", None),
            Problem::CaptureOrphan { .. } => ("capture-unused", None),
        };
        Self { kind, seq, message: problem.to_string() }
    }
}
