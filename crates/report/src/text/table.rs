//! Several results in one table: one line each, and what the columns mean.

use flattop_core::assessment::{AdjustedAt, Verdict};
use flattop_core::finding::Severity;

use super::wrap::{Page, WIDTH};
use crate::format::{percent, picofarads, plain_percent};
use crate::subject::{Failure, Subject, verdict_code};

const HEADINGS: [&str; 5] = ["capture", "verdict", "e ± 95 %", "turn, pF", "findings"];

pub(super) fn several(results: &[Result<Subject, Failure>]) -> String {
    let rows: Vec<[String; 5]> = results.iter().map(row).collect();
    let mut widths = HEADINGS.map(|heading| heading.chars().count());
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    // The name of the capture gives way; its end tells captures apart better than its start.
    let others: usize = widths[1..].iter().map(|width| width + 2).sum();
    widths[0] = widths[0].min(WIDTH.saturating_sub(others).max(12));

    let mut page = Page::default();
    page.line(&cells(&HEADINGS.map(String::from), &widths));
    for row in &rows {
        page.line(&cells(row, &widths));
    }
    page.line("");
    page.paragraph("", &legend(results));
    page.into_text()
}

fn row(result: &Result<Subject, Failure>) -> [String; 5] {
    let empty = || "-".to_string();
    match result {
        Err(failure) => [failure.file.clone(), "not assessed".into(), empty(), empty(), empty()],
        Ok(subject) => {
            let found = &subject.assessment;
            let error = found.compensation.map_or_else(empty, |c| {
                let pair = percent(c.error).signed();
                let half_width = if pair.half_width.is_empty() {
                    String::new()
                } else {
                    format!(" ± {}", pair.half_width)
                };
                format!("{}{half_width} %", pair.value)
            });
            [subject.file.clone(), verdict_code(found.verdict).into(), error, turn(subject), {
                found.findings.iter().filter(|f| f.severity > Severity::Note).count().to_string()
            }]
        }
    }
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
         trimmer {place}. findings: warnings and faults; assess a capture alone to read them.{tolerance}"
    )
}

fn cells(row: &[String; 5], widths: &[usize; 5]) -> String {
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
