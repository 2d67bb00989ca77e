//! An entry as columns and as the bytes that are digested. `LOGBOOK.md` describes the bytes.

use flattop_core::assessment::Verdict;
use flattop_core::bench::Stage;
use rusqlite::types::{Value as Cell, ValueRef};
use sha2::Digest as _;

use super::{Act, Digest, Effect, Event, Subject, json, line, number, stamp, text};
use crate::error::RegisterError;

/// Columns of the table `log` in the order in which they are digested. New ones are added at the end only: a column
/// without a value leaves no trace in the bytes, so old digests stay.
pub(super) const COLUMNS: [&str; 36] = [
    "seq",
    "previous",
    "at_utc",
    "offset_minutes",
    "author",
    "program",
    "kind",
    "pairing",
    "probe",
    "oscilloscope",
    "input",
    "stage",
    "capture",
    "settings",
    "tolerance",
    "verdict",
    "compensation_error",
    "compensation_error_u",
    "time_constant_s",
    "time_constant_u_s",
    "correlation",
    "tip_resistance_ohm",
    "shunt_resistance_ohm",
    "resistor_uncertainty",
    "method",
    "temperature_c",
    "corrects",
    "effect",
    "result",
    "note",
    "quantity",
    "value",
    "value_u",
    "upper",
    "upper_u",
    "captures",
];

/// First line of the digested bytes.
const HEADER: &[u8] = b"flattop-log-1\n";

/// The cells of [`COLUMNS`] for an entry.
pub(super) fn cells(
    seq: i64,
    previous: Digest,
    act: &Act,
    subject: &Subject,
    event: &Event,
) -> Result<Vec<Cell>, RegisterError> {
    let (at_utc, offset_minutes) = stamp(act);
    let word = |value: Option<String>| value.map_or(Cell::Null, Cell::Text);
    let id = |value: &Option<flattop_core::bench::Id>| word(value.as_ref().map(ToString::to_string));
    let mut cells = vec![
        Cell::Integer(seq),
        Cell::Text(previous.to_string()),
        Cell::Text(at_utc),
        Cell::Integer(offset_minutes),
        word(act.by.clone()),
        Cell::Text(act.program.clone()),
        Cell::Text(event.kind().code().to_owned()),
        subject.pairing.map_or(Cell::Null, Cell::Integer),
        id(&subject.probe),
        id(&subject.oscilloscope),
        id(&subject.input),
    ];
    cells.resize(COLUMNS.len(), Cell::Null);
    let mut put = |column: &str, cell: Cell| {
        if let Some(at) = COLUMNS.iter().position(|c| *c == column) {
            cells[at] = cell;
        }
    };
    put("note", word(act.note.clone()));
    match event {
        Event::Assessment(record) => {
            json("the settings", record.settings_json.as_deref())?;
            json("the result", record.result_json.as_deref())?;
            line("the method", Some(&record.method))?;
            put("stage", Cell::Text(stage_code(record.stage).to_owned()));
            // One capture stands where it always stood, so that old digests stay.
            match record.captures.as_slice() {
                [] => {}
                [one] => put("capture", Cell::Text(one.to_string())),
                several => put("captures", Cell::Text(digests(several))),
            }
            put("settings", word(record.settings_json.clone()));
            put("tolerance", number("the tolerance", record.tolerance)?);
            put("verdict", Cell::Text(verdict_code(record.verdict).to_owned()));
            if let Some(c) = &record.compensation {
                for (column, value) in [
                    ("compensation_error", c.error.value),
                    ("compensation_error_u", c.error.standard_uncertainty),
                    ("time_constant_s", c.time_constant_s.value),
                    ("time_constant_u_s", c.time_constant_s.standard_uncertainty),
                    ("correlation", c.correlation),
                    ("tip_resistance_ohm", c.divider.tip_resistance_ohm),
                    ("shunt_resistance_ohm", c.divider.shunt_resistance_ohm),
                    ("resistor_uncertainty", c.resistor_uncertainty),
                ] {
                    put(column, number(column, value)?);
                }
            }
            put("method", Cell::Text(record.method.clone()));
            if let Some(temperature_c) = record.temperature_c {
                put("temperature_c", number("the temperature", temperature_c)?);
            }
            put("result", word(record.result_json.clone()));
        }
        Event::Measurement(record) => {
            json("the settings", record.settings_json.as_deref())?;
            json("the result", record.result_json.as_deref())?;
            line("the method", Some(&record.method))?;
            put("quantity", Cell::Text(record.quantity.code().to_owned()));
            put("value", number("the measured value", record.value.value)?);
            put("value_u", number("its standard uncertainty", record.value.standard_uncertainty)?);
            if let Some(upper) = record.upper {
                put("upper", number("the upper limit", upper.value)?);
                put("upper_u", number("its standard uncertainty", upper.standard_uncertainty)?);
            }
            put("captures", Cell::Text(digests(&record.captures)));
            put("method", Cell::Text(record.method.clone()));
            put("settings", word(record.settings_json.clone()));
            if let Some(temperature_c) = record.temperature_c {
                put("temperature_c", number("the temperature", temperature_c)?);
            }
            put("result", word(record.result_json.clone()));
        }
        Event::Correction { corrects, effect } => {
            put("corrects", Cell::Integer(*corrects));
            put("effect", Cell::Text(effect_code(*effect).to_owned()));
        }
        _ => {}
    }
    text("the note", act.note.as_deref())?;
    Ok(cells)
}

/// Digests with one space between.
pub(crate) fn digests(all: &[Digest]) -> String {
    all.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
}

/// Digest of the cells of [`COLUMNS`].
pub(super) fn digest(cells: &[Cell]) -> Digest {
    digest_of(cells.iter().map(ValueRef::from))
}

/// Digest of stored values, whatever they hold, in the order of [`COLUMNS`].
pub(super) fn digest_of<'a>(values: impl Iterator<Item = ValueRef<'a>>) -> Digest {
    let mut hasher = sha2::Sha256::new();
    hasher.update(HEADER);
    let mut field = |name: &str, kind: &str, value: &[u8]| {
        hasher.update(format!("{name} {kind} {}\n", value.len()));
        hasher.update(value);
        hasher.update(b"\n");
    };
    for (name, value) in COLUMNS.iter().zip(values) {
        match value {
            ValueRef::Null => {}
            ValueRef::Integer(v) => field(name, "integer", v.to_string().as_bytes()),
            ValueRef::Real(v) => field(name, "real", format!("{:016x}", v.to_bits()).as_bytes()),
            ValueRef::Text(v) => field(name, "text", v),
            ValueRef::Blob(v) => field(name, "blob", v),
        }
    }
    Digest(hasher.finalize().into())
}

pub(crate) fn stage_code(stage: Stage) -> &'static str {
    match stage {
        Stage::Check => "check",
        Stage::BeforeAdjustment => "before-adjustment",
        Stage::AfterAdjustment => "after-adjustment",
    }
}

pub(super) fn read_stage(code: &str) -> Option<Stage> {
    [Stage::Check, Stage::BeforeAdjustment, Stage::AfterAdjustment]
        .into_iter()
        .find(|s| stage_code(*s) == code)
}

pub(crate) fn verdict_code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::WithinTolerance => "within-tolerance",
        Verdict::Undercompensated => "undercompensated",
        Verdict::Overcompensated => "overcompensated",
        Verdict::Undetermined => "undetermined",
    }
}

pub(super) fn read_verdict(code: &str) -> Option<Verdict> {
    [Verdict::WithinTolerance, Verdict::Undercompensated, Verdict::Overcompensated, Verdict::Undetermined]
        .into_iter()
        .find(|v| verdict_code(*v) == code)
}

pub(super) fn effect_code(effect: Effect) -> &'static str {
    match effect {
        Effect::Remarks => "remarks",
        Effect::Withdraws => "withdraws",
    }
}

pub(super) fn read_effect(code: &str) -> Option<Effect> {
    [Effect::Remarks, Effect::Withdraws].into_iter().find(|e| effect_code(*e) == code)
}
