//! Reading the logbook: all entries, or those that a filter lets through.

use flattop_core::assessment::{Compensation, Estimate, Verdict};
use flattop_core::bench::{Id, InputId, Moment};
use flattop_core::divider::Divider;
use rusqlite::types::Value as Cell;
use rusqlite::{Connection, Row, params_from_iter};

use super::{
    Act, AssessmentRecord, Digest, Entry, EntryKind, Event, MeasuredQuantity, MeasurementRecord, Subject,
    canonical,
};
use crate::error::{RegisterError, corrupt};
use crate::store::Register;
use crate::{rows, time};

/// Which entries are wanted; what is `None` or empty lets all through.
#[derive(Clone, Debug, PartialEq)]
pub struct Filter {
    /// Of this pairing.
    pub pairing: Option<i64>,
    /// Of this probe.
    pub probe: Option<Id>,
    /// Of this input.
    pub input: Option<InputId>,
    /// Not before this time, ms since 1970 UTC.
    pub from_unix_ms: Option<i64>,
    /// Before this time, ms since 1970 UTC.
    pub until_unix_ms: Option<i64>,
    /// Of one of these kinds.
    pub kinds: Vec<EntryKind>,
    /// Assessments with this verdict.
    pub verdict: Option<Verdict>,
    /// In this order.
    pub order: Order,
    /// At most so many.
    pub limit: Option<usize>,
}

impl Filter {
    /// Every entry, oldest first.
    pub fn all() -> Self {
        Self {
            pairing: None,
            probe: None,
            input: None,
            from_unix_ms: None,
            until_unix_ms: None,
            kinds: Vec::new(),
            verdict: None,
            order: Order::OldestFirst,
            limit: None,
        }
    }
}

/// Order of entries, by their numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// As they were written.
    OldestFirst,
    /// The last one first.
    NewestFirst,
}

impl Register {
    /// The entries that `filter` lets through.
    ///
    /// # Errors
    /// The file cannot be read, or an entry holds what no program of this name wrote (see [`Register::verify`]).
    pub fn entries(&self, filter: &Filter) -> Result<Vec<Entry>, RegisterError> {
        entries(&self.db, filter, Texts::Read)
    }

    /// The entry with this number.
    ///
    /// # Errors
    /// There is none.
    pub fn entry(&self, seq: i64) -> Result<Entry, RegisterError> {
        one(&self.db, seq)
    }
}

pub(super) fn one(db: &Connection, seq: i64) -> Result<Entry, RegisterError> {
    let found = select(db, "WHERE seq = ?", vec![Cell::Integer(seq)], Texts::Read)?;
    let remedy = "list the logbook to see its numbers";
    found.into_iter().next().ok_or(RegisterError::NotFound { kind: "entry", id: seq.to_string(), remedy })
}

/// Whether the long texts and the digest of each entry are read too. They fill most of the file, and states and
/// trends do not need them. Measured values stand behind them, so that entries of that kind need `Read`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Texts {
    Read,
    Skipped,
}

pub(crate) fn entries(db: &Connection, filter: &Filter, texts: Texts) -> Result<Vec<Entry>, RegisterError> {
    let mut clauses: Vec<String> = Vec::new();
    let mut values: Vec<Cell> = Vec::new();
    let mut want = |clause: &str, value: Cell| {
        clauses.push(clause.to_owned());
        values.push(value);
    };
    if let Some(number) = filter.pairing {
        want("pairing = ?", Cell::Integer(number));
    }
    if let Some(id) = &filter.probe {
        want("probe = ?", Cell::Text(id.to_string()));
    }
    if let Some(id) = &filter.input {
        want("oscilloscope = ?", Cell::Text(id.oscilloscope.to_string()));
        want("input = ?", Cell::Text(id.name.to_string()));
    }
    if let Some(from) = filter.from_unix_ms {
        want("at_utc >= ?", Cell::Text(time::utc(from)));
    }
    if let Some(until) = filter.until_unix_ms {
        want("at_utc < ?", Cell::Text(time::utc(until)));
    }
    if let Some(verdict) = filter.verdict {
        want("verdict = ?", Cell::Text(canonical::verdict_code(verdict).to_owned()));
    }
    if !filter.kinds.is_empty() {
        clauses.push(format!("kind IN ({})", vec!["?"; filter.kinds.len()].join(", ")));
        values.extend(filter.kinds.iter().map(|k| Cell::Text(k.code().to_owned())));
    }
    let mut rest = String::new();
    if !clauses.is_empty() {
        rest = format!("WHERE {}", clauses.join(" AND "));
    }
    rest.push_str(match filter.order {
        Order::OldestFirst => " ORDER BY seq",
        Order::NewestFirst => " ORDER BY seq DESC",
    });
    if let Some(limit) = filter.limit {
        rest.push_str(" LIMIT ?");
        values.push(Cell::Integer(i64::try_from(limit).unwrap_or(i64::MAX)));
    }
    select(db, &rest, values, texts)
}

fn select(db: &Connection, rest: &str, values: Vec<Cell>, texts: Texts) -> Result<Vec<Entry>, RegisterError> {
    // In the file the long texts stand behind all figures: without them and what follows, SQLite need not go that far.
    let sql = match texts {
        Texts::Read => format!("SELECT {}, digest FROM log {rest}", canonical::COLUMNS.join(", ")),
        Texts::Skipped => {
            let long = |column: &str| {
                ["settings", "result", "note", "quantity", "value", "value_u", "upper", "upper_u", "captures"]
                    .contains(&column)
            };
            let columns = canonical::COLUMNS.map(|c| if long(c) { "NULL" } else { c });
            format!("SELECT {}, '{}' FROM log {rest}", columns.join(", "), Digest::NONE)
        }
    };
    let mut statement = db.prepare(&sql)?;
    let mut rows = statement.query(params_from_iter(values))?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        all.push(entry_of(row)?);
    }
    Ok(all)
}

fn entry_of(row: &Row<'_>) -> Result<Entry, RegisterError> {
    let seq: i64 = row.get(0)?;
    let wrong = |what: &str| corrupt(format!("entry {seq} of the logbook has no usable {what}"));
    let at = |column: &str| canonical::COLUMNS.iter().position(|c| *c == column).unwrap_or(usize::MAX);
    let text = |column: &str| -> Result<Option<String>, RegisterError> {
        row.get(at(column)).map_err(|_| wrong(column))
    };
    let real = |column: &str| -> Result<Option<f64>, RegisterError> {
        row.get(at(column)).map_err(|_| wrong(column))
    };
    let whole = |column: &str| -> Result<Option<i64>, RegisterError> {
        row.get(at(column)).map_err(|_| wrong(column))
    };
    let name = |column: &str| -> Result<Option<Id>, RegisterError> {
        text(column)?.map(|t| rows::id(&t)).transpose()
    };
    let digest = |value: Option<String>, what: &str| -> Result<Digest, RegisterError> {
        value.ok_or_else(|| wrong(what))?.parse().map_err(|_| wrong(what))
    };
    let several = |texts: &str| -> Result<Vec<Digest>, RegisterError> {
        texts.split(' ').map(|t| digest(Some(t.to_owned()), "captures")).collect()
    };
    let estimate = |value: &str, u: &str| -> Result<Estimate, RegisterError> {
        Ok(Estimate {
            value: real(value)?.ok_or_else(|| wrong(value))?,
            standard_uncertainty: real(u)?.ok_or_else(|| wrong(u))?,
        })
    };
    let stamp = text("at_utc")?.ok_or_else(|| wrong("time"))?;
    let offset = whole("offset_minutes")?.and_then(|v| i16::try_from(v).ok());
    let act = Act {
        at: Moment {
            unix_ms: time::read_utc(&stamp).map_err(|_| wrong("time"))?,
            offset_minutes: offset.ok_or_else(|| wrong("offset"))?,
        },
        by: text("author")?,
        program: text("program")?.ok_or_else(|| wrong("program"))?,
        note: text("note")?,
    };
    let subject = Subject {
        pairing: whole("pairing")?,
        probe: name("probe")?,
        oscilloscope: name("oscilloscope")?,
        input: name("input")?,
    };
    let kind = text("kind")?.and_then(|t| EntryKind::ALL.into_iter().find(|k| k.code() == t));
    let event = match kind.ok_or_else(|| wrong("kind"))? {
        EntryKind::PairingMade => Event::PairingMade,
        EntryKind::PairingVoided => Event::PairingVoided,
        EntryKind::Adjustment => Event::Adjustment,
        EntryKind::Note => Event::Note,
        EntryKind::Retirement => Event::Retirement,
        EntryKind::Reinstatement => Event::Reinstatement,
        EntryKind::Correction => Event::Correction {
            corrects: whole("corrects")?.ok_or_else(|| wrong("corrected entry"))?,
            effect: text("effect")?
                .and_then(|t| canonical::read_effect(&t))
                .ok_or_else(|| wrong("effect"))?,
        },
        EntryKind::Measurement => {
            let quantity = text("quantity")?
                .and_then(|t| MeasuredQuantity::ALL.into_iter().find(|q| q.code() == t))
                .ok_or_else(|| wrong("quantity"))?;
            let captures = text("captures")?.ok_or_else(|| wrong("captures"))?;
            Event::Measurement(Box::new(MeasurementRecord {
                quantity,
                value: estimate("value", "value_u")?,
                upper: match real("upper")? {
                    None => None,
                    Some(_) => Some(estimate("upper", "upper_u")?),
                },
                method: text("method")?.ok_or_else(|| wrong("method"))?,
                captures: several(&captures)?,
                settings_json: text("settings")?,
                temperature_c: real("temperature_c")?,
                result_json: text("result")?,
            }))
        }
        EntryKind::Assessment => {
            let needed = |column: &str| real(column)?.ok_or_else(|| wrong(column));
            let compensation = match real("compensation_error")? {
                None => None,
                Some(_) => Some(Compensation {
                    error: estimate("compensation_error", "compensation_error_u")?,
                    time_constant_s: estimate("time_constant_s", "time_constant_u_s")?,
                    correlation: needed("correlation")?,
                    divider: Divider {
                        tip_resistance_ohm: needed("tip_resistance_ohm")?,
                        shunt_resistance_ohm: needed("shunt_resistance_ohm")?,
                    },
                    resistor_uncertainty: needed("resistor_uncertainty")?,
                }),
            };
            let stage = text("stage")?.and_then(|t| canonical::read_stage(&t));
            let verdict = text("verdict")?.and_then(|t| canonical::read_verdict(&t));
            Event::Assessment(Box::new(AssessmentRecord {
                stage: stage.ok_or_else(|| wrong("stage"))?,
                captures: match text("capture")? {
                    Some(one) => several(&one)?,
                    None => text("captures")?.map_or(Ok(Vec::new()), |all| several(&all))?,
                },
                settings_json: text("settings")?,
                tolerance: needed("tolerance")?,
                verdict: verdict.ok_or_else(|| wrong("verdict"))?,
                compensation,
                method: text("method")?.ok_or_else(|| wrong("method"))?,
                temperature_c: real("temperature_c")?,
                result_json: text("result")?,
            }))
        }
    };
    Ok(Entry {
        seq,
        previous: digest(text("previous")?, "previous digest")?,
        digest: digest(row.get(canonical::COLUMNS.len()).map_err(|_| wrong("digest"))?, "digest")?,
        act,
        subject,
        event,
    })
}
