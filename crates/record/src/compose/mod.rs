//! From the register to documents: one assessment, the state of a bench, a period.
//!
//! Values in, a [`Document`](crate::document::Document) out. What nobody stated is printed as "not stated".

mod admin;
pub mod assessment;
pub mod bench;
mod budgets;
mod cautions;
mod instruments;
pub mod period;
mod result;
mod trends;
mod verify;

pub(crate) mod field {
    pub(crate) use super::admin::{heading, name};
}

use std::collections::BTreeMap;

use flattop_core::assessment::{Estimate, Verdict};
use flattop_core::bench::{Id, InputId, Moment, Oscilloscope, Pairing, Probe};
use flattop_register::{AssessmentRecord, Effect, Entry, EntryKind, Event, Head, Verification};
use flattop_report::format::{Pair, percent};
use flattop_report::logbook::text::stage_words;

use crate::document::NOTHING;
use crate::when;

/// What those who hand out a record say about it and themselves. Nothing is made up where they say nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Issue {
    /// When the record is made.
    pub at: Moment,
    /// Name and version of the program.
    pub program: String,
    /// Name of the laboratory.
    pub laboratory: Option<String>,
    /// Its address.
    pub address: Option<String>,
    /// Where the work was done.
    pub location: Option<String>,
    /// For whom, and how to reach them.
    pub customer: Option<String>,
    /// Who answers for the record.
    pub issued_by: Option<String>,
    /// A number of the laboratory's own.
    pub reference: Option<String>,
    /// When the item was received.
    pub received: Option<String>,
    /// In which condition the item was.
    pub condition: Option<String>,
    /// Additions to, deviations from or exclusions from the method.
    pub deviations: Option<String>,
    /// How the results are traceable.
    pub traceability: Option<String>,
}

/// What is on the bench and in its logbook.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// All oscilloscopes, retired ones too.
    pub oscilloscopes: &'a [Oscilloscope],
    /// All probes, retired ones too.
    pub probes: &'a [Probe],
    /// All pairings, void ones too.
    pub pairings: &'a [Pairing],
    /// The whole logbook, oldest first.
    pub entries: &'a [Entry],
    /// Its last entry.
    pub head: Option<Head>,
    /// What a walk through the logbook found when the record was made.
    pub verification: &'a Verification,
}

/// Why there is no record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RecordError {
    /// No such entry.
    NoEntry {
        /// Its number.
        seq: i64,
        /// The last one there is.
        last: i64,
    },
    /// The entry is something else.
    NotAnAssessment {
        /// Its number.
        seq: i64,
        /// What it is.
        kind: EntryKind,
    },
}

impl std::fmt::Display for RecordError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoEntry { seq, last: 0 } => {
                write!(f, "the logbook is empty, there is no entry {seq}; log an assessment first")
            }
            Self::NoEntry { seq, last } => {
                write!(
                    f,
                    "there is no entry {seq}; the logbook holds entries 1 to {last}, list it to see them"
                )
            }
            Self::NotAnAssessment { seq, kind } => write!(
                f,
                "entry {seq} is no assessment but of the kind {}; give the number of an assessment, or report the period \
                 it is in",
                kind.code()
            ),
        }
    }
}

impl std::error::Error for RecordError {}

impl<'a> Source<'a> {
    fn probe(&self, id: &Id) -> Option<&'a Probe> {
        self.probes.iter().find(|probe| probe.id == *id)
    }

    fn oscilloscope(&self, id: &Id) -> Option<&'a Oscilloscope> {
        self.oscilloscopes.iter().find(|scope| scope.id == *id)
    }

    fn pairing(&self, number: i64) -> Option<&'a Pairing> {
        self.pairings.iter().find(|pairing| pairing.number == number)
    }

    /// Numbers of entries that were taken out, each with the entry that took it out. Later corrections come first, so
    /// that a withdrawn one takes nothing out.
    fn withdrawn(&self) -> BTreeMap<i64, i64> {
        let mut out = BTreeMap::new();
        for entry in self.entries.iter().rev() {
            if let Event::Correction { corrects, effect: Effect::Withdraws } = entry.event
                && !out.contains_key(&entry.seq)
            {
                out.insert(corrects, entry.seq);
            }
        }
        out
    }

    /// What a probe is called: its label with its id, or its id alone.
    fn probe_name(&self, id: &Id) -> String {
        called(self.probe(id).and_then(|probe| probe.label.as_deref()), id.as_str())
    }

    /// What an input is called.
    fn input_name(&self, id: &InputId) -> String {
        let scope = self.oscilloscope(&id.oscilloscope);
        called(scope.and_then(|scope| scope.label.as_deref()), &id.to_string())
    }
}

/// `Probe 07 (probe-07)`.
fn called(label: Option<&str>, id: &str) -> String {
    label.map_or_else(|| id.to_owned(), |label| format!("{label} ({id})"))
}

fn assessment_of(entry: &Entry) -> Option<&AssessmentRecord> {
    match &entry.event {
        Event::Assessment(record) => Some(record),
        _ => None,
    }
}

/// A figure with the true minus sign.
fn figure(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) => format!("−{rest}"),
        None => text.to_owned(),
    }
}

/// A cell with what is known, or the dash of what is not.
fn or_dash(text: Option<impl Into<String>>) -> String {
    text.map_or_else(|| NOTHING.to_owned(), Into::into)
}

/// e and its U as cells, or dashes.
fn maybe_error(error: Option<Estimate>) -> [String; 2] {
    error.map_or_else(|| [NOTHING.to_owned(), NOTHING.to_owned()], error_cells)
}

/// e as `−7.407` and `0.078`, both in percent.
fn error_cells(error: Estimate) -> [String; 2] {
    let pair = percent(error);
    let half_width = if pair.half_width.is_empty() { NOTHING.to_owned() } else { pair.half_width };
    [figure(&pair.value), half_width]
}

/// `−7.407 % ± 0.078 %`.
fn with_units(pair: &Pair) -> String {
    figure(&pair.with_units())
}

fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::WithinTolerance => "within tolerance",
        Verdict::Undercompensated => "undercompensated",
        Verdict::Overcompensated => "overcompensated",
        Verdict::Undetermined => "undetermined",
    }
}

/// The same name for each of several things, with a number where there is more than one.
fn numbered(name: &str, several: usize) -> impl Iterator<Item = String> {
    (1..=several).map(move |k| if several == 1 { name.to_owned() } else { format!("{name} {k}") })
}

/// `1 entry`, `3 entries`.
fn counted(count: usize, one: &str, several: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { several })
}

/// `entry 12`.
fn head_words(head: Head) -> String {
    format!("entry {}", head.seq)
}

fn day_of(unix_ms: i64, like: Moment) -> String {
    when::day(Moment { unix_ms, ..like })
}
