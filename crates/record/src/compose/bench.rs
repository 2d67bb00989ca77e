//! The record of how a bench stands.

use flattop_core::bench::{PairingState, Stage};
use flattop_register::{Entry, Standing};
use flattop_report::bench::state_words;
use flattop_report::format::plain_percent;

use super::admin::{self, heading, name};
use super::{
    Issue, Source, assessment_of, cautions, counted, day_of, instruments, maybe_error, or_dash, result,
    verify,
};
use crate::document::{Align, Block, Column, Document, Fact, Level, NOTHING, Row, RowKind, Table};
use crate::when;

/// Composes the record of all pairings as they stand when it is issued. `standings` may hold void ones.
pub fn compose(source: &Source<'_>, standings: &[Standing], issue: &Issue) -> Document {
    let identification = match source.head {
        Some(head) => {
            let digest = head.digest.to_string();
            format!(
                "Bench at entry {} of the logbook, digest {}",
                head.seq,
                digest.get(..16).unwrap_or(&digest)
            )
        }
        None => "Bench with an empty logbook".into(),
    };
    let in_force: Vec<&Standing> =
        standings.iter().filter(|s| s.status.state != PairingState::VoidMoved).collect();
    let attention = in_force.iter().filter(|s| s.status.state.wants_attention()).count();

    let mut blocks = admin::identification(issue, &identification, &performed(source));
    blocks.push(Block::Heading(Level::Section, heading::RESULT.into()));
    blocks.push(Block::Paragraph(format!(
        "{} in force, {} of them {} attention.",
        capital(&counted(in_force.len(), "pairing", "pairings")),
        attention,
        if attention == 1 { "wants" } else { "want" }
    )));
    blocks.push(Block::Table(counts(standings)));
    blocks.push(Block::Table(pairings(source, standings)));
    blocks.push(Block::Paragraph(states_words().into()));
    blocks.push(Block::Heading(Level::Part, heading::RULE.into()));
    blocks.push(Block::Paragraph(result::rule_words()));
    blocks.push(Block::Paragraph(
        "The state of a pairing compares the last decided |e| with the tolerance that the pairing asks for now; a tolerance \
         that was changed after the assessment is compared without a guard band."
            .into(),
    ));
    blocks.push(Block::Facts(conditions(issue)));
    blocks.push(Block::Heading(Level::Section, heading::BEFORE_AFTER.into()));
    blocks.push(last_adjustments(source));
    blocks.push(Block::Heading(Level::Section, "Instruments".into()));
    blocks.push(instruments::inputs(source.oscilloscopes));
    blocks.push(instruments::probes(source.probes));
    let probes: Vec<_> = source.probes.iter().filter(|probe| !probe.retired).collect();
    blocks.extend(cautions::blocks(&probes, &[]));
    blocks.extend(verify::blocks(source, None));
    let own = "The states hold for the pairings of this bench when the record was issued. A probe that moves to another \
               input, or a turned trimmer, changes them. Intervals between checks are those that the users of the bench \
               set; they are no recommendation.";
    blocks.extend(admin::limits(&identification, own));
    Document {
        title: "Record of the state of a bench".into(),
        subtitle: format!(
            "{}, {}",
            counted(in_force.len(), "pairing in force", "pairings in force"),
            when::minute(issue.at)
        ),
        identification,
        laboratory: issue.laboratory.clone(),
        author: issue.issued_by.clone(),
        issued_at: issue.at,
        program: issue.program.clone(),
        blocks,
    }
}

/// First and last assessment.
fn performed(source: &Source<'_>) -> String {
    let mut times: Vec<_> =
        source.entries.iter().filter(|e| assessment_of(e).is_some()).map(|e| e.act.at).collect();
    times.sort_by_key(|at| at.unix_ms);
    match (times.first(), times.last()) {
        (Some(first), Some(last)) => {
            format!("assessments from {} to {}", when::day(*first), when::day(*last))
        }
        _ => "no assessment yet".into(),
    }
}

/// What holds for all assessments of a bench or a period.
pub(super) fn conditions(issue: &Issue) -> Vec<Fact> {
    vec![
        Fact::text(name::ITEM, "the pairings of probes and inputs listed here"),
        Fact::maybe(name::CONDITION, issue.condition.as_deref()),
        Fact::text(
            name::METHOD,
            "first-order divider response fitted to captures of a square wave or a sine, or read off the screen; each entry \
             of the logbook names its own",
        ),
        Fact::text(name::SAMPLING, "none: the items themselves were measured"),
        Fact::maybe(name::DEVIATIONS, issue.deviations.as_deref()),
        Fact::text(name::CONDITIONS, "with each assessment, where it was logged"),
        Fact::maybe(name::TRACEABILITY, issue.traceability.as_deref()),
        Fact::text(name::EXTERNAL, "none are included"),
        Fact::text(name::OPINIONS, "none are given"),
        Fact::text(
            heading::BUDGET,
            "each assessment has a record of its own with its budget; U here is the expanded uncertainty of e, k = 1.96",
        ),
    ]
}

/// The last adjustment of each pairing in force with the assessments on both sides.
fn last_adjustments(source: &Source<'_>) -> Block {
    let withdrawn = source.withdrawn();
    let mut last = std::collections::BTreeMap::new();
    for entry in source.entries.iter().filter(|entry| !withdrawn.contains_key(&entry.seq)) {
        let is_after = assessment_of(entry).is_some_and(|record| record.stage == Stage::AfterAdjustment);
        let in_force = |number| source.pairing(number).is_some_and(|pairing| pairing.voided.is_none());
        if let Some(number) = entry.subject.pairing.filter(|number| is_after && in_force(*number)) {
            last.insert(number, entry);
        }
    }
    super::period::adjustments(source, &last.into_values().collect::<Vec<_>>(), &withdrawn)
}

fn counts(standings: &[Standing]) -> Table {
    let rows = PairingState::ALL
        .into_iter()
        .map(|state| {
            let count = standings.iter().filter(|s| s.status.state == state).count();
            Row::plain(vec![state_words(state).into(), count.to_string()])
        })
        .collect();
    Table {
        caption: "Pairings by state".into(),
        columns: vec![Column::new("State", Align::Words), Column::new("Pairings", Align::Decimal)],
        rows,
    }
}

fn pairings(source: &Source<'_>, standings: &[Standing]) -> Table {
    let withdrawn = source.withdrawn();
    let columns = vec![
        Column::new("No.", Align::Decimal),
        Column::new("Probe", Align::Words),
        Column::new("Input", Align::Words),
        Column::new("State", Align::Words),
        Column::new("Last e, %", Align::Decimal),
        Column::new("U, %", Align::Decimal),
        Column::new("Tolerance", Align::Short),
        Column::new("Checked", Align::Short),
        Column::new("Due", Align::Short),
    ];
    let row = |standing: &Standing| {
        let Standing { pairing, status } = standing;
        let check = status.last_check;
        let entry: Option<&Entry> = check.and_then(|check| {
            source.entries.iter().rev().find(|entry| {
                entry.subject.pairing == Some(pairing.number)
                    && entry.act.at == check.at
                    && !withdrawn.contains_key(&entry.seq)
                    && assessment_of(entry).is_some_and(|record| record.verdict == check.verdict)
            })
        });
        let record = entry.and_then(assessment_of);
        let [e, u] = maybe_error(record.and_then(|r| r.compensation).map(|c| c.error));
        let tolerance = pairing.tolerance.or(record.map(|r| r.tolerance));
        let state = state_words(status.state);
        let state = if status.adjusted_since { format!("{state}, adjusted since") } else { state.into() };
        let due = match (status.due_at_unix_ms, pairing.voided.is_some()) {
            (Some(due), false) => day_of(due, issue_like(pairing.made_at, check.map(|c| c.at))),
            _ => NOTHING.to_owned(),
        };
        let kind = if pairing.voided.is_some() { RowKind::Withdrawn } else { RowKind::Plain };
        let cells = vec![
            pairing.number.to_string(),
            source.probe_name(&pairing.probe),
            source.input_name(&pairing.input),
            state,
            e,
            u,
            or_dash(tolerance.map(|t| plain_percent(t, 3))),
            or_dash(check.map(|c| when::day(c.at))),
            due,
        ];
        Row { kind, cells }
    };
    let caption =
        "Pairings with the last decided assessment, U for 95 %; void pairings are struck through".into();
    Table { caption, columns, rows: standings.iter().map(row).collect() }
}

/// The clock on the wall of the last check, else of the pairing.
fn issue_like(
    made: flattop_core::bench::Moment,
    check: Option<flattop_core::bench::Moment>,
) -> flattop_core::bench::Moment {
    check.unwrap_or(made)
}

fn states_words() -> &'static str {
    "In tolerance: the last decided check was good. Due: it was good, but its interval has passed, or the trimmer was \
     turned since. Never checked: no assessment carries a judgement. Out of tolerance: the last decided check was outside. \
     Out of reach: the rated range of the trimmer does not hold the capacitance of the input."
}

pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    format!("{first}{}", letters.as_str())
}
