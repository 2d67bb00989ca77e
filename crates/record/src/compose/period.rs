//! The record of a period: every entry, counts, adjustments, and how each pairing went.

use std::collections::{BTreeMap, BTreeSet};

use flattop_core::assessment::Verdict;
use flattop_core::bench::{Moment, Stage};
use flattop_register::{Effect, Entry, EntryKind, Event, Series};
use flattop_report::format::{percent, plain_percent};

use super::admin::{self, heading};
use super::bench::{capital, conditions};
use super::{
    Issue, Source, assessment_of, cautions, counted, maybe_error, or_dash, result, stage_words, trends,
    verdict_words, verify, with_units,
};
use crate::document::{Align, Block, Column, Document, Level, NOTHING, Row, RowKind, Table};
use crate::when;

/// A period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    /// Its start; what happened at this time belongs to it.
    pub from: Moment,
    /// Its end; what happened at this time does not.
    pub until: Moment,
}

/// Composes the record of a period. `series` holds the drift of each pairing over its whole life, by number.
pub fn compose(
    source: &Source<'_>,
    period: Period,
    series: &BTreeMap<i64, Series>,
    issue: &Issue,
) -> Document {
    let inside = |entry: &&Entry| {
        period.from.unix_ms <= entry.act.at.unix_ms && entry.act.at.unix_ms < period.until.unix_ms
    };
    let entries: Vec<&Entry> = source.entries.iter().filter(inside).collect();
    let withdrawn = source.withdrawn();
    // The last day that belongs to it: the end itself does not.
    let last_day = Moment { unix_ms: period.until.unix_ms.saturating_sub(1), ..period.until };
    let span = format!("{} to {}", when::day(period.from), when::day(last_day));
    let identification = match (entries.first(), entries.last()) {
        (Some(first), Some(last)) => {
            let digest = last.digest.to_string();
            let digest = digest.get(..16).unwrap_or(&digest);
            format!("Period {span}, entries {} to {}, digest {digest}", first.seq, last.seq)
        }
        _ => format!("Period {span}, no entries"),
    };

    let mut blocks = admin::identification(issue, &identification, &span);
    blocks.push(Block::Heading(Level::Section, heading::RESULT.into()));
    if entries.is_empty() {
        blocks.push(Block::Paragraph("The logbook holds no entry of this period.".into()));
    } else {
        blocks.push(Block::Paragraph(summary(&entries, &withdrawn)));
        blocks.push(Block::Table(counts(&entries, &withdrawn)));
    }
    blocks.push(Block::Heading(Level::Part, heading::RULE.into()));
    blocks.push(Block::Paragraph(result::rule_words()));
    blocks.push(Block::Facts(conditions(issue)));

    blocks.push(Block::Heading(Level::Section, heading::BEFORE_AFTER.into()));
    blocks.push(adjustments(source, &entries, &withdrawn));

    let numbers: BTreeSet<i64> = entries.iter().filter_map(|entry| entry.subject.pairing).collect();
    blocks.push(Block::Heading(Level::Section, "Pairings over the period".into()));
    if numbers.is_empty() {
        blocks.push(Block::Paragraph("No pairing was touched in this period.".into()));
    }
    for number in &numbers {
        blocks.extend(pairing(source, *number, &entries, &withdrawn, series, (period.from, last_day)));
    }

    blocks.push(Block::Heading(Level::Section, "Entries".into()));
    if entries.is_empty() {
        blocks.push(Block::Paragraph("None.".into()));
    } else {
        blocks.push(Block::Table(all(source, &entries, &withdrawn)));
    }
    let touched: BTreeSet<_> = entries.iter().filter_map(|entry| entry.subject.probe.as_ref()).collect();
    let probes: Vec<_> = touched.into_iter().filter_map(|id| source.probe(id)).collect();
    blocks.extend(cautions::blocks(&probes, &[]));
    blocks.extend(verify::blocks(source, None));
    let own = "The results hold for the pairings named here, each at the time of its entry. Entries that were withdrawn are \
               struck through and count neither for states nor for trends; they are printed because the logbook keeps them.";
    blocks.extend(admin::limits(&identification, own));
    Document {
        title: "Record of a period".into(),
        subtitle: format!("{span}, {}", counted(entries.len(), "entry", "entries")),
        identification,
        laboratory: issue.laboratory.clone(),
        author: issue.issued_by.clone(),
        issued_at: issue.at,
        program: issue.program.clone(),
        blocks,
    }
}

fn summary(entries: &[&Entry], withdrawn: &BTreeMap<i64, i64>) -> String {
    let out = entries.iter().filter(|entry| withdrawn.contains_key(&entry.seq)).count();
    let assessments = entries.iter().filter(|entry| assessment_of(entry).is_some()).count();
    format!(
        "{}, {} among them; {} withdrawn since.",
        capital(&counted(entries.len(), "entry", "entries")),
        counted(assessments, "assessment", "assessments"),
        counted(out, "entry was", "entries were"),
    )
}

fn kind_words(kind: EntryKind) -> &'static str {
    match kind {
        EntryKind::PairingMade => "pairing made",
        EntryKind::PairingVoided => "pairing voided",
        EntryKind::Assessment => "assessment",
        EntryKind::Adjustment => "adjustment",
        EntryKind::Correction => "correction",
        EntryKind::Note => "note",
        EntryKind::Retirement => "retirement",
        EntryKind::Reinstatement => "reinstatement",
        EntryKind::Measurement => "measured value",
    }
}

fn counts(entries: &[&Entry], withdrawn: &BTreeMap<i64, i64>) -> Table {
    let mut rows = Vec::new();
    let mut push = |name: String, of: &dyn Fn(&Entry) -> bool| {
        let fitting: Vec<_> = entries.iter().filter(|entry| of(entry)).collect();
        let out = fitting.iter().filter(|entry| withdrawn.contains_key(&entry.seq)).count();
        if !fitting.is_empty() {
            rows.push(Row::plain(vec![name, fitting.len().to_string(), out.to_string()]));
        }
    };
    for kind in EntryKind::ALL {
        push(capital(kind_words(kind)), &|entry| entry.event.kind() == kind);
        if kind == EntryKind::Assessment {
            let verdicts = [
                Verdict::WithinTolerance,
                Verdict::Undercompensated,
                Verdict::Overcompensated,
                Verdict::Undetermined,
            ];
            for verdict in verdicts {
                let name = format!("\u{a0}\u{a0}of these {}", verdict_words(verdict));
                push(name, &|entry| assessment_of(entry).is_some_and(|record| record.verdict == verdict));
            }
        }
    }
    let columns = vec![
        Column::new("Kind of entry", Align::Words),
        Column::new("Entries", Align::Decimal),
        Column::new("Withdrawn since", Align::Decimal),
    ];
    Table { caption: "Entries of the period by kind".into(), columns, rows }
}

/// Each assessment after an adjustment with the last one before it.
pub(super) fn adjustments(source: &Source<'_>, entries: &[&Entry], withdrawn: &BTreeMap<i64, i64>) -> Block {
    let mut rows = Vec::new();
    for entry in entries.iter().filter(|entry| !withdrawn.contains_key(&entry.seq)) {
        let Some(after) = assessment_of(entry).filter(|record| record.stage == Stage::AfterAdjustment) else {
            continue;
        };
        // The one before may be older than the period.
        let before = source
            .entries
            .iter()
            .rev()
            .filter(|e| e.seq < entry.seq && e.subject.pairing == entry.subject.pairing)
            .filter(|e| !withdrawn.contains_key(&e.seq))
            .filter_map(assessment_of)
            .take_while(|record| record.stage != Stage::AfterAdjustment)
            .find(|record| record.stage == Stage::BeforeAdjustment);
        let [e0, u0] = maybe_error(before.and_then(|record| record.compensation).map(|c| c.error));
        let [e1, u1] = maybe_error(after.compensation.map(|c| c.error));
        rows.push(Row::plain(vec![
            when::day(entry.act.at),
            pairing_words(source, entry),
            e0,
            u0,
            e1,
            u1,
            verdict_words(after.verdict).into(),
        ]));
    }
    if rows.is_empty() {
        return Block::Paragraph("The logbook holds no assessment after an adjustment here.".into());
    }
    let columns = vec![
        Column::new("Day", Align::Short),
        Column::new("Pairing", Align::Words),
        Column::new("Before, %", Align::Decimal),
        Column::new("U, %", Align::Decimal),
        Column::new("After, %", Align::Decimal),
        Column::new("U, %", Align::Decimal),
        Column::new("Verdict after", Align::Words),
    ];
    let caption = "e before and after each adjustment; U is for 95 %".into();
    Block::Table(Table { caption, columns, rows })
}

fn pairing_words(source: &Source<'_>, entry: &Entry) -> String {
    let subject = &entry.subject;
    let probe = subject.probe.as_ref().map(|id| source.probe_name(id));
    let input = subject.input_id().map(|id| id.to_string());
    let scope = subject.oscilloscope.as_ref().map(ToString::to_string);
    match (probe, input.or(scope)) {
        (Some(probe), Some(input)) => format!("{probe} on {input}"),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => NOTHING.to_owned(),
    }
}

fn pairing(
    source: &Source<'_>,
    number: i64,
    entries: &[&Entry],
    withdrawn: &BTreeMap<i64, i64>,
    series: &BTreeMap<i64, Series>,
    span: (Moment, Moment),
) -> Vec<Block> {
    let own: Vec<&Entry> = entries.iter().copied().filter(|e| e.subject.pairing == Some(number)).collect();
    let name = own.first().map(|entry| pairing_words(source, entry)).unwrap_or_default();
    let held = source.pairing(number);
    let last = own.iter().rev().filter_map(|entry| assessment_of(entry)).next();
    let tolerance = held.and_then(|pairing| pairing.tolerance).or(last.map(|record| record.tolerance));
    let mut words = vec![counted(own.len(), "entry", "entries")];
    words.extend(tolerance.map(|t| format!("tolerance on |e| {}", plain_percent(t, 3))));
    if let Some(voided) = held.and_then(|pairing| pairing.voided.as_ref()) {
        words.push(format!("ended {}: {}", when::day(voided.at), voided.why));
    }
    let mut blocks = vec![
        Block::Heading(Level::Part, format!("Pairing {number}: {name}")),
        Block::Paragraph(format!("{}.", capital(&words.join("; ")))),
    ];
    let assessed =
        own.iter().any(|entry| assessment_of(entry).is_some_and(|record| record.compensation.is_some()));
    if assessed {
        blocks.push(Block::Figure(trends::figure_of(&name, &own, withdrawn, tolerance, span)));
    }
    if let Some(series) = series.get(&number) {
        blocks
            .push(Block::Paragraph(format!("Over the whole life of the pairing: {}", trends::drift(series))));
    }
    blocks
}

fn all(source: &Source<'_>, entries: &[&Entry], withdrawn: &BTreeMap<i64, i64>) -> Table {
    let columns = vec![
        Column::new("No.", Align::Decimal),
        Column::new("When", Align::Short),
        Column::new("Kind", Align::Words),
        Column::new("About", Align::Words),
        Column::new("What it says", Align::Words),
        Column::new("By", Align::Words),
        Column::new("Digest", Align::Short),
    ];
    let rows = entries
        .iter()
        .map(|entry| {
            let out = withdrawn.get(&entry.seq);
            let mut says = says(entry);
            if let Some(by) = out {
                says.push(format!("Withdrawn by entry {by}."));
            }
            let digest = entry.digest.to_string();
            let cells = vec![
                entry.seq.to_string(),
                when::minute(entry.act.at).replacen(' ', "\n", 1),
                kind_words(entry.event.kind()).into(),
                pairing_words(source, entry),
                or_dash((!says.is_empty()).then(|| says.join("\n"))),
                or_dash(entry.act.by.clone()),
                digest.get(..8).unwrap_or(&digest).into(),
            ];
            let kind = if out.is_some() { RowKind::Withdrawn } else { RowKind::Plain };
            Row { kind, cells }
        })
        .collect();
    let caption = "All entries of the period, by number; those withdrawn are struck through; times with their offset from \
                   UTC; first eight digits of each digest"
        .into();
    Table { caption, columns, rows }
}

fn says(entry: &Entry) -> Vec<String> {
    let mut says = Vec::new();
    match &entry.event {
        Event::Assessment(record) => {
            let stage = match record.stage {
                Stage::Check => String::new(),
                other => format!(", {}", stage_words(other)),
            };
            says.push(match record.compensation {
                Some(c) => {
                    format!(
                        "{}, e = {}{stage}",
                        verdict_words(record.verdict),
                        with_units(&percent(c.error).signed())
                    )
                }
                None => format!("{}, no figures{stage}", verdict_words(record.verdict)),
            });
        }
        // What was measured, with its note.
        Event::Measurement(_) => return vec![flattop_report::logbook::text::what(entry)],
        Event::Correction { corrects, effect: Effect::Withdraws } => {
            says.push(format!("withdraws entry {corrects}"))
        }
        Event::Correction { corrects, effect: Effect::Remarks } => {
            says.push(format!("about entry {corrects}"))
        }
        _ => {}
    }
    says.extend(entry.act.note.clone());
    says
}
