//! What became of many captures: words and JSON.

use flattop_core::assessment::{Estimate, Verdict};
use serde::Serialize;

use crate::bench::text::error_cell;
use crate::format::counted;
use crate::json::{Uncertain, write};
use crate::subject::verdict_code;
use crate::text::columns::{Columns, Flush::*};
use crate::text::wrap::Page;

/// What became of many captures.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// Those that are in the logbook now.
    pub logged: Vec<Logged>,
    /// Those that were in it before.
    pub passed_over: Vec<String>,
    /// Those that failed.
    pub failed: Vec<Failed>,
    /// Files whose names do not fit the pattern.
    pub unnamed: Vec<String>,
    /// What would be assessed, where only that was asked.
    pub planned: Vec<Planned>,
}

/// A capture that was logged.
#[derive(Clone, Debug)]
pub struct Logged {
    /// The file.
    pub file: String,
    /// The entry.
    pub entry: i64,
    /// The probe.
    pub probe: String,
    /// The input.
    pub input: String,
    /// The pairing.
    pub pairing: i64,
    /// The verdict.
    pub verdict: Verdict,
    /// e, if it was determined.
    pub compensation_error: Option<Estimate>,
}

/// A capture that failed.
#[derive(Clone, Debug)]
pub struct Failed {
    /// The file.
    pub file: String,
    /// Why, and what to do.
    pub error: String,
}

/// A capture that would be assessed.
#[derive(Clone, Debug)]
pub struct Planned {
    /// The file.
    pub file: String,
    /// The probe.
    pub probe: String,
    /// The input.
    pub input: String,
    /// What it was made for.
    pub stage: &'static str,
}

/// The outcome in words; why captures failed is told on standard error.
pub fn text(outcome: &Outcome) -> String {
    let mut page = Page::default();
    if !outcome.logged.is_empty() {
        let heads = [
            ("entry", Right),
            ("capture", Left),
            ("pairing", Left),
            ("verdict", Left),
            ("e ± 95 %, %", Right),
        ];
        let mut table = Columns::new(&heads, 1);
        for one in &outcome.logged {
            let e = one.compensation_error;
            table.row(vec![
                one.entry.to_string(),
                one.file.clone(),
                format!("{} {}", one.probe, one.input),
                verdict_code(one.verdict).to_owned(),
                error_cell(e.map(|e| e.value), e.map(|e| e.standard_uncertainty)),
            ]);
        }
        table.write(&mut page, "  ");
        page.line("");
    }
    if !outcome.planned.is_empty() {
        let mut table = Columns::new(&[("capture", Left), ("pairing", Left), ("stage", Left)], 0);
        for one in &outcome.planned {
            table.row(vec![one.file.clone(), format!("{} {}", one.probe, one.input), one.stage.to_owned()]);
        }
        table.write(&mut page, "  ");
        page.line("");
        page.paragraph(
            "",
            &format!("{} would be assessed and logged.", counted(outcome.planned.len(), "capture")),
        );
    } else {
        page.paragraph(
            "",
            &format!(
                "{} logged, {} in the logbook before, {} failed.",
                counted(outcome.logged.len(), "capture"),
                outcome.passed_over.len(),
                outcome.failed.len()
            ),
        );
    }
    if !outcome.unnamed.is_empty() {
        page.heading("Not named as the pattern says, so left alone");
        page.hanging("  ", "  ", &outcome.unnamed.join(", "));
    }
    page.into_text()
}

/// The outcome as JSON.
pub fn json(outcome: &Outcome) -> String {
    write(&OutcomeJson {
        logged: outcome
            .logged
            .iter()
            .map(|one| LoggedJson {
                file: one.file.clone(),
                entry: one.entry,
                pairing: one.pairing,
                probe: one.probe.clone(),
                input: one.input.clone(),
                verdict: verdict_code(one.verdict),
                compensation_error: one.compensation_error.and_then(Uncertain::of),
            })
            .collect(),
        passed_over: outcome.passed_over.clone(),
        failed: outcome
            .failed
            .iter()
            .map(|one| FailedJson { file: one.file.clone(), error: one.error.clone() })
            .collect(),
        unnamed: outcome.unnamed.clone(),
        planned: outcome
            .planned
            .iter()
            .map(|one| PlannedJson {
                file: one.file.clone(),
                probe: one.probe.clone(),
                input: one.input.clone(),
                stage: one.stage,
            })
            .collect(),
    })
}

#[derive(Serialize)]
struct OutcomeJson {
    logged: Vec<LoggedJson>,
    passed_over: Vec<String>,
    failed: Vec<FailedJson>,
    unnamed: Vec<String>,
    planned: Vec<PlannedJson>,
}

#[derive(Serialize)]
struct LoggedJson {
    file: String,
    entry: i64,
    pairing: i64,
    probe: String,
    input: String,
    verdict: &'static str,
    compensation_error: Option<Uncertain>,
}

#[derive(Serialize)]
struct FailedJson {
    file: String,
    error: String,
}

#[derive(Serialize)]
struct PlannedJson {
    file: String,
    probe: String,
    input: String,
    stage: &'static str,
}
