//! Several results in one table: one line each, and what the columns mean.

use flattop_core::assessment::{AdjustedAt, Verdict};
use flattop_core::finding::Severity;

use super::wrap::{Page, WIDTH};
use crate::format::{percent, picofarads, plain_percent};
use crate::subject::{Failure, Subject, verdict_code};

const HEADINGS: [&str; 5] = ["capture", "verdict", "e ± 95 %", "turn, pF", "findings"];

/// One line of the table.
enum Row {
    /// A cell for each heading.
    Cells([String; 5]),
    /// Capture and verdict, and in place of numbers why there are none.
    Reason([String; 2], String),
}

pub(super) fn several(results: &[Result<Subject, Failure>]) -> String {
    let rows: Vec<Row> = results.iter().map(row).collect();
    let mut widths = HEADINGS.map(|heading| heading.chars().count());
    for row in &rows {
        let cells = match row {
            Row::Cells(cells) => &cells[..],
            Row::Reason(cells, _) => &cells[..],
        };
        for (width, cell) in widths.iter_mut().zip(cells) {
            *width = (*width).max(cell.chars().count());
        }
    }
    // The name of the capture gives way; its end tells captures apart better than its start.
    let others: usize = widths[1..].iter().map(|width| width + 2).sum();
    let longest_reason =
        rows.iter().map(|row| if let Row::Reason(_, why) = row { why.chars().count() } else { 0 }).max();
    let others = others.max(widths[1] + 4 + longest_reason.unwrap_or(0));
    widths[0] = widths[0].min(WIDTH.saturating_sub(others).max(12));

    let mut page = Page::default();
    page.line(&cells(&HEADINGS.map(String::from), &widths));
    for row in &rows {
        page.line(&match row {
            Row::Cells(all) => cells(all, &widths),
            Row::Reason(start, why) => format!("{}  {why}", cells(start, &widths[..2])),
        });
    }
    page.line("");
    page.paragraph("", &legend(results));
    page.into_text()
}

fn row(result: &Result<Subject, Failure>) -> Row {
    let subject = match result {
        Ok(subject) => subject,
        Err(failure) => {
            return Row::Reason([failure.file.clone(), "not assessed".into()], "could not be read".into());
        }
    };
    let found = &subject.assessment;
    let start = [subject.file.clone(), verdict_code(found.verdict).to_string()];
    let Some(compensation) = found.compensation.filter(|_| !subject.is_withheld()) else {
        let why = subject.fault().map_or("nothing was found", |fault| fault.code);
        return Row::Reason(start, why.into());
    };
    let pair = percent(compensation.error).signed();
    let half_width =
        if pair.half_width.is_empty() { String::new() } else { format!(" ± {}", pair.half_width) };
    let remarks = || found.findings.iter().filter(|f| f.severity > Severity::Note);
    let remarks = match found.verdict {
        // The last warning is the one that withholds the verdict.
        Verdict::Undetermined => {
            remarks().next_back().map_or_else(|| "-".into(), |finding| finding.code.into())
        }
        _ => remarks().count().to_string(),
    };
    let [file, verdict] = start;
    Row::Cells([file, verdict, format!("{}{half_width} %", pair.value), turn(subject), remarks])
}

fn turn(subject: &Subject) -> String {
    let acts = matches!(subject.assessment.verdict, Verdict::Undercompensated | Verdict::Overcompensated);
    match subject.assessment.compensation {
        Some(compensation) if acts => {
            let adjustment = compensation.adjustment(subject.assumptions.adjusted_at);
            picofarads(adjustment.change_f).signed().value
        }
        _ if subject.assessment.verdict == Verdict::WithinTolerance => "none".into(),
        _ => "-".into(),
    }
}

fn legend(results: &[Result<Subject, Failure>]) -> String {
    let (place, tolerance) = match results.iter().flatten().next() {
        Some(subject) => (
            match subject.assumptions.adjusted_at {
                AdjustedAt::Tip => "at the tip",
                AdjustedAt::Base => "in the box at the oscilloscope end",
            },
            format!(" Tolerance: |e| up to {}.", plain_percent(subject.assessment.tolerance, 3)),
        ),
        None => ("", String::new()),
    };
    if place.is_empty() {
        return "No capture could be assessed.".into();
    }
    format!(
        "e: how much too high (+) or too low (-) fast parts read. turn: what to add to (+) or take from (-) the \
         trimmer {place}. findings: warnings, or what keeps \
         the verdict back; assess a capture alone to read about it.{tolerance}"
    )
}

fn cells(row: &[String], widths: &[usize]) -> String {
    let mut line = String::new();
    for (index, (cell, &width)) in row.iter().zip(widths).enumerate() {
        if index > 0 {
            line.push_str("  ");
        }
        let cell = shortened(cell, width);
        let pad = " ".repeat(width - cell.chars().count());
        // Words to the left, numbers to the right.
        if index < 2 {
            line.push_str(&cell);
            line.push_str(&pad);
        } else {
            line.push_str(&pad);
            line.push_str(&cell);
        }
    }
    line
}

fn shortened(text: &str, width: usize) -> String {
    let length = text.chars().count();
    if length <= width {
        return text.into();
    }
    std::iter::once('…').chain(text.chars().skip(length + 1 - width)).collect()
}
