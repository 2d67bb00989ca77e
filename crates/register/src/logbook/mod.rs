//! The logbook: entries that are only ever added, each with the digest of the one before.
//!
//! The layout that is digested is in `LOGBOOK.md`, for those who want to check a logbook without this program.

mod canonical;
mod captures;
mod list;
mod measurement;
mod verify;

use std::fmt;
use std::str::FromStr;

use flattop_core::assessment::{Compensation, Verdict};
use flattop_core::bench::{Id, InputId, Moment, Stage};
use rusqlite::types::Value as Cell;
use rusqlite::{Connection, OptionalExtension as _};

use crate::error::{RegisterError, corrupt};
use crate::store::Register;
use crate::{pairings, time};

pub(crate) use canonical::{digests, stage_code, verdict_code};
pub use captures::KeptCapture;
pub use list::{Filter, Order};
pub(crate) use list::{Texts, entries as list_entries};
pub use measurement::{Measured, MeasuredQuantity, MeasurementRecord};
pub use verify::{Problem, Verification};

/// A SHA-256, written as 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// What stands in place of the digest before the first entry.
    pub const NONE: Digest = Digest([0; 32]);

    /// SHA-256 of `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        use sha2::Digest as _;
        Self(sha2::Sha256::digest(bytes).into())
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

impl FromStr for Digest {
    type Err = RegisterError;
    fn from_str(text: &str) -> Result<Self, RegisterError> {
        let wrong = || RegisterError::Entry {
            quantity: "the digest",
            problem: format!("\"{text}\""),
            remedy: "give 64 lower-case hexadecimal digits",
        };
        if text.len() != 64 || !text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b)) {
            return Err(wrong());
        }
        let mut out = [0; 32];
        for (at, byte) in out.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&text[2 * at..2 * at + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Self(out))
    }
}

/// Who does something, when, with what. The register has no clock of its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Act {
    /// When.
    pub at: Moment,
    /// Who, as free text.
    pub by: Option<String>,
    /// Name and version of the program.
    pub program: String,
    /// Remark.
    pub note: Option<String>,
}

impl Act {
    pub(crate) fn check(&self) -> Result<(), RegisterError> {
        self.at.check("the time of the entry")?;
        line("the person", self.by.as_deref())?;
        line("the program", Some(&self.program))?;
        text("the note", self.note.as_deref())
    }
}

/// What an entry is about.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Subject {
    /// The pairing.
    pub pairing: Option<i64>,
    /// The probe.
    pub probe: Option<Id>,
    /// The oscilloscope.
    pub oscilloscope: Option<Id>,
    /// The input's name on that oscilloscope.
    pub input: Option<Id>,
}

impl Subject {
    /// An entry about an input.
    pub fn of_input(id: &InputId) -> Self {
        let (oscilloscope, input) = (Some(id.oscilloscope.clone()), Some(id.name.clone()));
        Self { oscilloscope, input, ..Self::default() }
    }

    /// An entry about a probe.
    pub fn of_probe(id: &Id) -> Self {
        Self { probe: Some(id.clone()), ..Self::default() }
    }

    /// The input's full name.
    pub fn input_id(&self) -> Option<InputId> {
        Some(InputId { oscilloscope: self.oscilloscope.clone()?, name: self.input.clone()? })
    }
}

/// What an entry says.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A probe was paired with an input.
    PairingMade,
    /// A pairing ended; the note says why.
    PairingVoided,
    /// A capture was assessed.
    Assessment(Box<AssessmentRecord>),
    /// A value of an input or a probe was measured.
    Measurement(Box<MeasurementRecord>),
    /// The trimmer was turned.
    Adjustment,
    /// An earlier entry needs a word.
    Correction {
        /// Number of that entry.
        corrects: i64,
        /// What becomes of it.
        effect: Effect,
    },
    /// A remark.
    Note,
    /// A thing is not in use any more.
    Retirement,
    /// A retired thing is in use again.
    Reinstatement,
}

/// Kinds of entries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EntryKind {
    /// [`Event::PairingMade`].
    PairingMade,
    /// [`Event::PairingVoided`].
    PairingVoided,
    /// [`Event::Assessment`].
    Assessment,
    /// [`Event::Adjustment`].
    Adjustment,
    /// [`Event::Correction`].
    Correction,
    /// [`Event::Note`].
    Note,
    /// [`Event::Retirement`].
    Retirement,
    /// [`Event::Reinstatement`].
    Reinstatement,
    /// [`Event::Measurement`].
    Measurement,
}

impl EntryKind {
    /// All kinds.
    pub const ALL: [EntryKind; 9] = [
        EntryKind::PairingMade,
        EntryKind::PairingVoided,
        EntryKind::Assessment,
        EntryKind::Adjustment,
        EntryKind::Correction,
        EntryKind::Note,
        EntryKind::Retirement,
        EntryKind::Reinstatement,
        EntryKind::Measurement,
    ];

    /// Stable code in kebab case, as stored.
    pub fn code(self) -> &'static str {
        match self {
            EntryKind::PairingMade => "pairing-made",
            EntryKind::PairingVoided => "pairing-voided",
            EntryKind::Assessment => "assessment",
            EntryKind::Adjustment => "adjustment",
            EntryKind::Correction => "correction",
            EntryKind::Note => "note",
            EntryKind::Retirement => "retirement",
            EntryKind::Reinstatement => "reinstatement",
            EntryKind::Measurement => "measurement",
        }
    }
}

impl Event {
    /// Its kind.
    pub fn kind(&self) -> EntryKind {
        match self {
            Event::PairingMade => EntryKind::PairingMade,
            Event::PairingVoided => EntryKind::PairingVoided,
            Event::Assessment(_) => EntryKind::Assessment,
            Event::Adjustment => EntryKind::Adjustment,
            Event::Correction { .. } => EntryKind::Correction,
            Event::Note => EntryKind::Note,
            Event::Retirement => EntryKind::Retirement,
            Event::Reinstatement => EntryKind::Reinstatement,
            Event::Measurement(_) => EntryKind::Measurement,
        }
    }
}

/// What a correction does to the entry it corrects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// It stays as it is, with this remark.
    Remarks,
    /// It no longer counts for states and trends. A withdrawn correction does not withdraw.
    Withdraws,
}

/// One assessment of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct AssessmentRecord {
    /// What it was made for.
    pub stage: Stage,
    /// Digests of the raw captures that are kept, none for readings off a screen; set by the register when it is given the bytes.
    pub captures: Vec<Digest>,
    /// Settings used, as JSON.
    pub settings_json: Option<String>,
    /// The |e| still accepted.
    pub tolerance: f64,
    /// The judgement.
    pub verdict: Verdict,
    /// e and τp with their uncertainties, and the divider; `None` when they could not be told.
    pub compensation: Option<Compensation>,
    /// How it was estimated, for example "square-wave".
    pub method: String,
    /// Temperature of the room, °C.
    pub temperature_c: Option<f64>,
    /// The whole result, as JSON.
    pub result_json: Option<String>,
}

/// One entry of the logbook.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its number, from 1 without gaps.
    pub seq: i64,
    /// Digest of the entry before.
    pub previous: Digest,
    /// Digest of this entry.
    pub digest: Digest,
    /// Who, when, with what.
    pub act: Act,
    /// What it is about.
    pub subject: Subject,
    /// What it says.
    pub event: Event,
}

/// The last entry: whoever notes it elsewhere can tell later whether the logbook was cut off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// Its number.
    pub seq: i64,
    /// Its digest.
    pub digest: Digest,
}

impl Register {
    /// Logs an assessment of a pairing, and keeps the raw captures if their bytes are given.
    ///
    /// # Errors
    /// No such pairing, one that is void, or a value that cannot be kept.
    pub fn log_assessment(
        &mut self,
        pairing: i64,
        record: &AssessmentRecord,
        captures: &[&[u8]],
        act: &Act,
    ) -> Result<Head, RegisterError> {
        act.check()?;
        // Squeezing is the slow part: done before anybody has to wait.
        let packed = captures.iter().map(|raw| captures::Packed::new(raw)).collect::<Result<Vec<_>, _>>()?;
        let tx = self.write()?;
        let subject = pairings::subject_in_force(&tx, pairing)?;
        let mut record = record.clone();
        if packed.is_empty() {
            record.captures.iter().try_for_each(|digest| captures::known(&tx, digest))?;
        } else {
            packed.iter().try_for_each(|packed| packed.keep(&tx))?;
            record.captures = packed.iter().map(|packed| packed.digest).collect();
        }
        let head = append(&tx, act, &subject, &Event::Assessment(Box::new(record)))?;
        tx.commit()?;
        Ok(head)
    }

    /// Logs that the trimmer of a pairing was turned.
    ///
    /// # Errors
    /// No such pairing, or one that is void.
    pub fn log_adjustment(&mut self, pairing: i64, act: &Act) -> Result<Head, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let subject = pairings::subject_in_force(&tx, pairing)?;
        let head = append(&tx, act, &subject, &Event::Adjustment)?;
        tx.commit()?;
        Ok(head)
    }

    /// Logs a remark; it needs a note.
    ///
    /// # Errors
    /// No note, or a subject that is not on the bench.
    pub fn log_note(&mut self, subject: &Subject, act: &Act) -> Result<Head, RegisterError> {
        act.check()?;
        needs_note(act)?;
        let tx = self.write()?;
        let subject = check_subject(&tx, subject)?;
        let head = append(&tx, act, &subject, &Event::Note)?;
        tx.commit()?;
        Ok(head)
    }

    /// Logs a correction of an earlier entry; it needs a note.
    ///
    /// # Errors
    /// No note, or no such entry.
    pub fn log_correction(
        &mut self,
        corrects: i64,
        effect: Effect,
        act: &Act,
    ) -> Result<Head, RegisterError> {
        act.check()?;
        needs_note(act)?;
        let tx = self.write()?;
        let corrected = list::one(&tx, corrects)?;
        let head = append(&tx, act, &corrected.subject, &Event::Correction { corrects, effect })?;
        tx.commit()?;
        Ok(head)
    }

    /// The last entry; `None` while there is none.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn head(&self) -> Result<Option<Head>, RegisterError> {
        head(&self.db)
    }
}

fn needs_note(act: &Act) -> Result<(), RegisterError> {
    match act.note {
        Some(_) => Ok(()),
        None => Err(RegisterError::Entry {
            quantity: "the note",
            problem: "missing".to_owned(),
            remedy: "say in words what there is to say",
        }),
    }
}

/// A pairing brings its probe and input along.
fn check_subject(db: &Connection, subject: &Subject) -> Result<Subject, RegisterError> {
    if let Some(number) = subject.pairing {
        return Ok(pairings::subject_of(&pairings::get(db, number)?));
    }
    if let Some(id) = &subject.probe {
        crate::devices::get_probe(db, id)?;
    }
    match (&subject.oscilloscope, &subject.input) {
        (Some(id), None) => drop(crate::devices::get_oscilloscope(db, id)?),
        (None, Some(id)) => {
            return Err(RegisterError::NotFound {
                kind: "input",
                id: id.to_string(),
                remedy: "name its oscilloscope too",
            });
        }
        _ => {}
    }
    if let Some(id) = subject.input_id() {
        crate::devices::get_input(db, &id)?;
    }
    Ok(subject.clone())
}

fn head(db: &Connection) -> Result<Option<Head>, RegisterError> {
    let sql = "SELECT seq, digest FROM log ORDER BY seq DESC LIMIT 1";
    let found: Option<(i64, String)> =
        db.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
    found
        .map(|(seq, digest)| {
            let digest = digest.parse().map_err(|_| corrupt(format!("entry {seq} has no digest")))?;
            Ok(Head { seq, digest })
        })
        .transpose()
}

/// Adds an entry. The caller holds the lock for writing and has checked `act`.
pub(crate) fn append(
    db: &Connection,
    act: &Act,
    subject: &Subject,
    event: &Event,
) -> Result<Head, RegisterError> {
    let last = head(db)?;
    let seq = last.map_or(1, |head| head.seq + 1);
    let previous = last.map_or(Digest::NONE, |head| head.digest);
    let cells = canonical::cells(seq, previous, act, subject, event)?;
    let digest = canonical::digest(&cells);
    let marks = vec!["?"; cells.len() + 1].join(", ");
    let sql = format!("INSERT INTO log ({}, digest) VALUES ({marks})", canonical::COLUMNS.join(", "));
    let last = std::iter::once(Cell::Text(digest.to_string()));
    db.prepare(&sql)?.execute(rusqlite::params_from_iter(cells.into_iter().chain(last)))?;
    Ok(Head { seq, digest })
}

/// A line of text that can be kept.
fn line(quantity: &'static str, value: Option<&str>) -> Result<(), RegisterError> {
    kept(quantity, value, 200, |c| c.is_control())
}

/// Text of several lines that can be kept.
fn text(quantity: &'static str, value: Option<&str>) -> Result<(), RegisterError> {
    kept(quantity, value, 10_000, |c| c.is_control() && c != '\n' && c != '\t')
}

/// JSON that can be kept. Its form is the business of whoever wrote it.
fn json(quantity: &'static str, value: Option<&str>) -> Result<(), RegisterError> {
    kept(quantity, value, 100_000_000, |c| c == '\0')
}

fn kept(
    quantity: &'static str,
    value: Option<&str>,
    longest: usize,
    refused: fn(char) -> bool,
) -> Result<(), RegisterError> {
    let Some(value) = value else { return Ok(()) };
    let wrong = |problem: String, remedy| Err(RegisterError::Entry { quantity, problem, remedy });
    if value.trim().is_empty() {
        return wrong("empty".to_owned(), "leave it out when there is nothing to say");
    }
    if let Some(c) = value.chars().find(|c| refused(*c)) {
        return wrong(format!("text with the control character {c:?}"), "write plain text");
    }
    if longest < value.len() {
        return wrong(format!("{} bytes long", value.len()), "shorten it");
    }
    Ok(())
}

/// A number that can be kept and read back to the last bit: SQLite knows no NaN and no negative nil.
fn number(quantity: &'static str, value: f64) -> Result<Cell, RegisterError> {
    if value.is_finite() {
        return Ok(Cell::Real(value + 0.0));
    }
    let remedy = "log the assessment as undetermined, without figures";
    Err(RegisterError::Entry { quantity, problem: format!("{value}"), remedy })
}

pub(crate) fn stamp(act: &Act) -> (String, i64) {
    (time::utc(act.at.unix_ms), i64::from(act.at.offset_minutes))
}
