//! What stands in records.

use std::collections::BTreeMap;

use flattop_core::bench::{Stage, Toleranced};
use flattop_record::clauses::CLAUSES;
use flattop_record::compose::assessment::Again;
use flattop_record::compose::period::Period;
use flattop_record::compose::{Issue, RecordError, assessment, bench, period};
use flattop_record::document::{Block, Document, Table};

use crate::bench::{
    Bench, Everything, act, at, id, input_id, issue, nobody, nothing_found, plain, probe, scope, subject,
};

pub(crate) fn of_assessment(all: &Everything, seq: i64, again: Again<'_>, issue: &Issue) -> Document {
    assessment::compose(&all.source(), seq, &all.captures, again, issue).unwrap()
}

pub(crate) fn of_bench(all: &Everything, issue: &Issue) -> Document {
    bench::compose(&all.source(), &all.standings, issue)
}

pub(crate) fn of_period(all: &Everything, issue: &Issue) -> Document {
    period::compose(&all.source(), Period { from: at(0), until: at(320) }, &all.series, issue)
}

/// The three records of the bench with a year behind it.
pub(crate) fn three(issue: &Issue) -> Vec<(&'static str, Document)> {
    let all = Bench::year().read();
    let after = subject(10.9e-12, 98e-12);
    vec![
        ("assessment", of_assessment(&all, 8, Again::Assessed(&after), issue)),
        ("bench", of_bench(&all, issue)),
        ("period", of_period(&all, issue)),
    ]
}

/// All text of a document, in order.
pub(crate) fn words(document: &Document) -> String {
    let mut out = vec![document.title.clone(), document.subtitle.clone(), document.identification.clone()];
    for block in &document.blocks {
        match block {
            Block::Heading(_, text) | Block::Paragraph(text) | Block::Quotation(text) | Block::End(text) => {
                out.push(text.clone());
            }
            Block::Facts(facts) => {
                out.extend(facts.iter().map(|f| format!("{}: {}", f.name, f.value.shown())))
            }
            Block::Table(table) => {
                out.push(table.caption.clone());
                out.extend(table.rows.iter().map(|row| row.cells.join(" | ")));
            }
            Block::Figure(figure) => out.push(figure.caption.clone()),
            Block::Notice(notice) => {
                out.push(notice.title.clone());
                out.extend(notice.paragraphs.clone());
            }
            Block::Statement(statement) => {
                out.push(statement.sentence.clone());
                out.extend(statement.detail.clone());
            }
        }
    }
    out.join("\n")
}

fn tables(document: &Document) -> Vec<&Table> {
    document
        .blocks
        .iter()
        .filter_map(|block| if let Block::Table(table) = block { Some(table) } else { None })
        .collect()
}

#[test]
fn every_table_has_a_cell_for_each_column() {
    for (name, document) in three(&issue()) {
        for table in tables(&document) {
            assert!(
                table.rows.iter().all(|row| row.cells.len() == table.columns.len()),
                "{name}: {}",
                table.caption
            );
        }
    }
}

#[test]
fn what_nobody_stated_is_printed_as_such() {
    for (name, document) in three(&nobody()) {
        let words = words(&document);
        for label in ["Laboratory", "Address", "Customer", "Issued by", "Item received", "Traceability"] {
            assert!(words.contains(&format!("{label}: not stated")), "{name}: {label}");
        }
        assert!(words.contains("No accreditation is claimed"), "{name}");
        assert!(document.laboratory.is_none() && document.author.is_none());
    }
}

#[test]
fn cautions_stand_in_every_record_with_the_ratings_of_the_probe() {
    for (name, document) in three(&issue()) {
        let words = words(&document);
        assert!(words.contains("joined to earth through the oscilloscope"), "{name}");
        assert!(words.contains("30 V rms, 42.4 V peak or 60 V dc"), "{name}");
        assert!(words.contains("Local codes"), "{name}");
        let rating = "Probe 07 (probe-07): rated 600 V peak at low frequencies, 100 V peak at 10 MHz; measurement category II \
                      up to 300 V to earth.";
        assert!(words.contains(rating), "{name}: {words}");
    }
    let all = Bench::year().read();
    let words = words(&of_assessment(&all, 7, Again::Not("the capture was not kept"), &issue()));
    assert!(
        words.contains("no measurement category stated: not for circuits joined to the mains"),
        "{words}"
    );
}

#[test]
fn an_assessment_states_verdict_rule_figures_and_how_to_verify() {
    let all = Bench::year().read();
    let after = subject(10.9e-12, 98e-12);
    let document = of_assessment(&all, 8, Again::Assessed(&after), &issue());
    let words = words(&document);
    let (entry, head) = (&all.entries[7], all.verification.head.unwrap());
    for part in [
        "Within tolerance: |e| is at most 1 %.",
        "|e| + 1.645·u(e) ≤ T",
        "At least 95 % sure",
        "as logged",
        "Both assessments of this adjustment",
        "Temperature of the room: 21.5 °C",
        "Assessed by: door shop, early shift",
        "resistor_tolerance = 0.01",
        "Note with entry 8",
        &format!("Digest of the entry: {}", entry.digest),
        &format!("Head of the logbook: entry {}\nDigest of the head: {}", head.seq, head.digest),
        "flattop log verify",
        "LOGBOOK.md",
        "all as they were written",
        "End of the record: Entry 8",
    ] {
        assert!(words.contains(part), "{part}: {words}");
    }
    // C1 has a type A and a type B part; R2 does not enter it (`budget`).
    let budget = tables(&document)
        .into_iter()
        .find(|t| t.caption.starts_with("Capacitance at the tip resistor C1"))
        .unwrap();
    let first: Vec<&str> = budget.rows.iter().map(|row| row.cells[0].as_str()).collect();
    assert!(
        first.iter().any(|cell| cell.starts_with("R1")) && !first.iter().any(|cell| cell.starts_with("R2")),
        "{first:?}"
    );
    assert!(first.last().unwrap().starts_with("Expanded uncertainty U, k = 1.96"));
}

#[test]
fn withheld_lost_and_withdrawn_results_are_said() {
    let all = Bench::year().read();
    let nothing = words(&of_assessment(&all, 7, Again::Not("the capture of entry 7 is not kept"), &issue()));
    for part in [
        "Undetermined: the capture carries no compensation error.",
        "No statement of conformity is made",
        "not drawn: the capture of entry 7 is not kept.",
        "not kept: the entry holds the figures only",
        "There is none: no compensation error was found.",
    ] {
        assert!(nothing.contains(part), "{part}: {nothing}");
    }
    let withdrawn = words(&of_assessment(&all, 10, Again::Not("the capture is not kept"), &issue()));
    assert!(withdrawn.contains("This assessment was withdrawn"), "{withdrawn}");
    assert!(withdrawn.contains("the wrong probe was on the input"), "{withdrawn}");
    let other = subject(10e-12, 98e-12);
    let differs = words(&of_assessment(&all, 8, Again::Assessed(&other), &issue()));
    assert!(differs.contains("The logged figures count"), "{differs}");
}

#[test]
fn entries_that_are_none_or_no_assessments_are_refused_with_a_remedy() {
    let all = Bench::year().read();
    let refused = |seq| assessment::compose(&all.source(), seq, &[], Again::Not("-"), &issue()).unwrap_err();
    assert_eq!(refused(99), RecordError::NoEntry { seq: 99, last: all.entries.len() as i64 });
    assert!(refused(6).to_string().contains("of the kind adjustment"), "{}", refused(6));
    let empty = Bench::empty().read();
    let none = assessment::compose(&empty.source(), 1, &[], Again::Not("-"), &issue()).unwrap_err();
    assert!(none.to_string().contains("the logbook is empty"));
}

#[test]
fn a_period_shows_withdrawn_entries_struck_through_and_adjustments_on_both_sides() {
    use flattop_record::document::RowKind;
    let all = Bench::year().read();
    let document = of_period(&all, &issue());
    let tables = tables(&document);
    let entries = tables.iter().find(|t| t.caption.starts_with("All entries")).unwrap();
    assert_eq!(entries.rows.len(), all.entries.len());
    let struck: Vec<&str> =
        entries.rows.iter().filter(|r| r.kind == RowKind::Withdrawn).map(|r| r.cells[0].as_str()).collect();
    assert_eq!(struck, ["10"]);
    let adjusted = tables.iter().find(|t| t.caption.starts_with("e before and after")).unwrap();
    assert_eq!(adjusted.rows.len(), 1);
    assert!(adjusted.rows[0].cells[2].starts_with("−7.4"), "{:?}", adjusted.rows);
    let words = words(&document);
    assert!(words.contains("Drift ") && words.contains("withdraws entry 10"), "{words}");
    // One drawing for each pairing with a figure.
    let figures = document.blocks.iter().filter(|block| matches!(block, Block::Figure(_))).count();
    assert_eq!(figures, 2);
}

#[test]
fn an_empty_bench_and_an_empty_period_are_records_too() {
    let all = Bench::empty().read();
    let bench = words(&of_bench(&all, &nobody()));
    assert!(bench.contains("0 pairings in force") && bench.contains("none: the logbook is empty"), "{bench}");
    let period = words(&period::compose(
        &all.source(),
        Period { from: at(0), until: at(1) },
        &BTreeMap::new(),
        &nobody(),
    ));
    assert!(period.contains("The logbook holds no entry of this period."), "{period}");
}

#[test]
fn the_state_of_a_bench_names_last_error_due_day_and_void_pairings() {
    let mut bench = Bench::year();
    bench.register.void_pairing(3, "probe taken to the test tower", &act(310, None)).unwrap();
    let all = bench.read();
    let document = of_bench(&all, &issue());
    let pairings = tables(&document).into_iter().find(|t| t.caption.starts_with("Pairings with")).unwrap();
    let row = |number: &str| pairings.rows.iter().find(|r| r.cells[0] == number).unwrap();
    // 30 days after 2026-01-12, and 90 more.
    assert_eq!(row("1").cells[7..9], ["2026-02-11", "2026-05-12"]);
    assert_eq!(row("1").cells[3], "due");
    // Checked within its 90 days; the last check is the closed form of `year` with its printed digits.
    assert_eq!(row("2").cells[3], "in tolerance");
    assert!(row("3").cells[3].starts_with("void"));
    assert!(row("2").cells[4].contains('.') && row("2").cells[5] == "0.078", "{:?}", row("2"));
}

#[test]
fn every_field_of_the_table_of_clauses_is_in_every_record() {
    for (name, document) in three(&issue()) {
        let words = words(&document);
        for clause in CLAUSES {
            assert!(words.contains(clause.field), "{name}: {} {}", clause.number, clause.field);
        }
    }
}

#[test]
#[allow(clippy::disallowed_methods)] // the document stands in the repository
fn the_readers_table_of_clauses_is_the_same() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/records.md");
    let text = std::fs::read_to_string(path).unwrap();
    for clause in CLAUSES {
        let line = format!("| {} | {} | {} |", clause.number, clause.asks, clause.field);
        assert!(text.contains(&line), "docs/records.md lacks: {line}");
    }
    let rows = text.lines().filter(|line| line.starts_with("| 7.8")).count();
    assert_eq!(rows, CLAUSES.len(), "rows of docs/records.md");
    assert!(text.contains("from memory"));
}

/// A bench that strains everything: long labels, no values, a very long note.
pub(crate) fn strained() -> Everything {
    let mut bench = Bench::empty();
    let r = &mut bench.register;
    let long = "A label that goes on and on — Ω µ τ √ ≤ − “Prüfplatz” ".repeat(3);
    let mut scope = scope("bench-with-a-name-of-forty-letters-abcde", &long);
    scope.inputs.truncate(1);
    scope.inputs[0].capacitance_f = Some(Toleranced { value: 18e-12, tolerance: None });
    r.add_oscilloscope(&scope).unwrap();
    let mut probe = probe(9);
    probe.label = Some("x".repeat(180));
    r.add_probe(&probe).unwrap();
    let input = input_id("bench-with-a-name-of-forty-letters-abcde/ch1");
    let terms = flattop_register::Terms { tolerance: None, recheck_interval_days: None };
    r.pair(&id("probe-09"), &input, terms, &act(0, None)).unwrap();
    let note = "A very long note with everything that went wrong on the day. ".repeat(160);
    let mut by = act(1, Some(&note));
    by.by = None;
    r.log_assessment(1, &plain(-0.3, Stage::Check), &[], &by).unwrap();
    r.log_assessment(1, &nothing_found(), &[], &act(2, None)).unwrap();
    bench.read()
}
