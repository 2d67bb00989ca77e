//! Entries of the logbook in words, at most 80 columns wide.

use flattop_core::assessment::Estimate;
use flattop_core::bench::{Significance, Stage};
use flattop_register::{Act, Effect, Entry, Event, Series, Verification, time};

use super::History;
use crate::bench::text::{day, error_cell};
use crate::format::{counted, percent, plain, plain_percent, significant};
use crate::subject::verdict_code;
use crate::text::columns::{Columns, Flush::*};
use crate::text::wrap::Page;

/// What the entries of a table are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// All sorts of things: a column says which.
    Anything,
    /// One pairing.
    OnePairing,
}

/// A table of entries.
pub fn list(entries: &[Entry]) -> String {
    let mut page = Page::default();
    if entries.is_empty() {
        page.line("No entry of the logbook fits.");
    } else {
        table(&mut page, entries, About::Anything);
    }
    page.into_text()
}

pub(crate) fn table(page: &mut Page, entries: &[Entry], about: About) {
    let mut heads = vec![("no.", Right), ("when", Left)];
    if about == About::Anything {
        heads.push(("about", Left));
    }
    heads.push(("what", Left));
    let mut table = Columns::new(&heads, heads.len() - 1);
    for entry in entries {
        let mut row = vec![entry.seq.to_string(), minute(&entry.act)];
        if about == About::Anything {
            row.push(subject(entry));
        }
        row.push(what(entry));
        table.row(row);
    }
    table.write(page, "  ");
}

fn minute(act: &Act) -> String {
    time::local(act.at).chars().take(16).collect::<String>().replace('T', " ")
}

/// What an entry is about: probe and input, or whichever is known.
pub fn subject(entry: &Entry) -> String {
    let subject = &entry.subject;
    let place = match (subject.input_id(), &subject.oscilloscope) {
        (Some(input), _) => Some(input.to_string()),
        (None, Some(scope)) => Some(scope.to_string()),
        (None, None) => None,
    };
    match (&subject.probe, place) {
        (Some(probe), Some(place)) => format!("{probe} {place}"),
        (Some(probe), None) => probe.to_string(),
        (None, Some(place)) => place,
        (None, None) => "bench".into(),
    }
}

/// What an entry says, in one line.
pub fn what(entry: &Entry) -> String {
    let note = entry.act.note.as_deref().map(|n| n.lines().collect::<Vec<_>>().join("; "));
    let said = match &entry.event {
        Event::PairingMade => "pairing made".to_owned(),
        Event::PairingVoided => "pairing ended".to_owned(),
        Event::Measurement(record) => crate::measured::text::in_short(record),
        Event::Adjustment => "trimmer turned".to_owned(),
        Event::Note => return note.unwrap_or_else(|| "note".into()),
        Event::Retirement => "taken out of use".to_owned(),
        Event::Reinstatement => "taken into use again".to_owned(),
        Event::Correction { corrects, effect: Effect::Withdraws } => format!("withdraws entry {corrects}"),
        Event::Correction { corrects, effect: Effect::Remarks } => format!("on entry {corrects}"),
        Event::Assessment(record) => {
            let e = record.compensation.map(|c| {
                format!("e {} %, ", error_cell(Some(c.error.value), Some(c.error.standard_uncertainty)))
            });
            let stage = match record.stage {
                Stage::Check => "check",
                Stage::BeforeAdjustment => "before",
                Stage::AfterAdjustment => "after",
            };
            format!("{stage}: {}{}", e.unwrap_or_default(), verdict_code(record.verdict))
        }
    };
    match note {
        Some(note) => format!("{said}: {note}"),
        None => said,
    }
}

/// Everything that one entry says.
pub fn entry(entry: &Entry) -> String {
    let mut page = Page::default();
    page.line(&format!("Entry {}: {}", entry.seq, entry.event.kind().code()));
    page.entry("when", &time::local(entry.act.at));
    if let Some(by) = &entry.act.by {
        page.entry("by", by);
    }
    page.entry("about", &subject(entry));
    if let Some(number) = entry.subject.pairing {
        page.entry("pairing", &number.to_string());
    }
    match &entry.event {
        Event::Assessment(record) => {
            page.entry("stage", stage_words(record.stage));
            page.entry("verdict", verdict_code(record.verdict));
            page.entry("tolerance", &plain_percent(record.tolerance, 3));
            if let Some(found) = &record.compensation {
                page.entry("e", &format!("{} (95 %)", percent(found.error).signed().with_units()));
                page.entry(
                    "time constant",
                    &crate::format::quantity(found.time_constant_s, "s").with_units(),
                );
                let c = found.divider;
                page.entry(
                    "divider",
                    &format!(
                        "{} : {}",
                        plain(c.tip_resistance_ohm, "Ω", 5),
                        plain(c.shunt_resistance_ohm, "Ω", 5)
                    ),
                );
            }
            page.entry("method", &record.method);
            if let Some(celsius) = record.temperature_c {
                page.entry("temperature", &format!("{} °C", significant(celsius, 4)));
            }
            if record.captures.is_empty() {
                page.entry("capture", "not kept");
            }
            for digest in &record.captures {
                page.line(&format!("  capture   {digest}"));
            }
        }
        Event::Measurement(record) => crate::measured::text::entry(&mut page, record),
        Event::Correction { corrects, effect } => {
            let does = match effect {
                Effect::Withdraws => "takes it out of states and trends",
                Effect::Remarks => "a remark; it stays as it is",
            };
            page.entry("corrects", &format!("entry {corrects}: {does}"));
        }
        _ => {}
    }
    if let Some(note) = &entry.act.note {
        page.entry("note", note);
    }
    page.entry("program", &entry.act.program);
    // Whole, so that they can be copied.
    page.line(&format!("  digest    {}", entry.digest));
    page.line(&format!("  previous  {}", entry.previous));
    page.into_text()
}

/// A stage in words.
pub fn stage_words(stage: Stage) -> &'static str {
    match stage {
        Stage::Check => "check",
        Stage::BeforeAdjustment => "before an adjustment",
        Stage::AfterAdjustment => "after an adjustment",
    }
}

/// The drift of a series in one sentence; `None` without any assessment.
pub fn drift(series: &Series) -> Option<String> {
    if series.points.is_empty() {
        return None;
    }
    Some(match &series.trend {
        Err(why) => crate::text::sentence(&why.to_string()),
        Ok(trend) => {
            let slope =
                Estimate { value: trend.drift_per_month, standard_uncertainty: trend.standard_uncertainty };
            let stands_out = match trend.significance {
                Significance::Significant => "stands out from the scatter",
                Significance::NotSignificant => "does not stand out from the scatter",
            };
            format!(
                "{} a month (95 %), from {} assessments; it {stands_out}.",
                percent(slope).signed().with_units(),
                trend.points
            )
        }
    })
}

/// The history of a pairing: what it is, its drift, a drawing in letters, its assessments.
pub fn history(history: &History) -> String {
    let mut page = Page::default();
    let pairing = &history.pairing;
    page.line(&format!("Pairing {}: {} on {}", pairing.number, pairing.probe, pairing.input));
    let Some(said) = drift(&history.series) else {
        page.line("  no assessment with a determined e in the logbook yet");
        return page.into_text();
    };
    page.paragraph("  ", &format!("drift {said}"));
    if let (Ok(trend), Some(tolerance)) = (&history.series.trend, history.tolerance)
        && trend.significance == Significance::Significant
        && let Some((_, last)) = history.series.points.last()
    {
        page.paragraph("  ", &ahead(last.compensation_error, trend.drift_per_month, tolerance));
    }
    page.line("");
    for line in super::terminal::draw(history) {
        page.line(&line);
    }
    page.line("");
    let mut table =
        Columns::new(&[("entry", Right), ("day", Left), ("stage", Left), ("e ± 95 %, %", Right)], 2);
    for (seq, point) in &history.series.points {
        table.row(vec![
            seq.to_string(),
            day(point.at),
            stage_words(point.stage).to_owned(),
            error_cell(Some(point.compensation_error), point.standard_uncertainty),
        ]);
    }
    table.write(&mut page, "  ");
    page.into_text()
}

/// When a steady drift reaches the tolerance.
fn ahead(e: f64, per_month: f64, tolerance: f64) -> String {
    let limit = if per_month > 0.0 { tolerance } else { -tolerance };
    let months = (limit - e) / per_month;
    if e.abs() > tolerance {
        "It is outside its tolerance now: adjust it.".to_owned()
    } else if months < 120.0 {
        format!(
            "At this rate it leaves its tolerance of {} in about {} months; check it before then.",
            plain_percent(tolerance, 3),
            significant(months, 2)
        )
    } else {
        format!(
            "At this rate it stays within its tolerance of {} for ten years.",
            plain_percent(tolerance, 3)
        )
    }
}

/// An assessment or a measured value worked out again.
#[derive(Clone, Debug, PartialEq)]
pub struct Recomputed {
    /// The entry.
    pub seq: i64,
    /// The program that logged it.
    pub logged_with: String,
    /// What differs from what was logged (nothing: the same figures), or why it cannot be worked out.
    pub outcome: Result<Vec<String>, String>,
}

/// Results worked out again by `program`.
pub fn recomputed(all: &[Recomputed], program: &str) -> String {
    let mut page = Page::default();
    let count = |f: fn(&Recomputed) -> bool| all.iter().filter(|one| f(one)).count();
    let same = count(|one| one.outcome.as_ref().is_ok_and(Vec::is_empty));
    let failed = count(|one| one.outcome.is_err());
    let differing = all.len() - same - failed;
    page.paragraph(
        "",
        &format!(
            "{} worked out again: {same} the same, {differing} other figures, {failed} not possible.",
            counted(all.len(), "result")
        ),
    );
    for one in all {
        match &one.outcome {
            Ok(differences) if differences.is_empty() => {}
            Ok(differences) => {
                let why = if one.logged_with == program {
                    "by the same version of the program".to_owned()
                } else {
                    format!("logged by {}, worked out by {program}", one.logged_with)
                };
                page.hanging("  ", "    ", &format!("entry {}: {}; {why}", one.seq, differences.join("; ")));
            }
            Err(why) => page.hanging("  ", "    ", &format!("entry {}: {why}", one.seq)),
        }
    }
    page.into_text()
}

/// What a walk through the logbook found.
pub fn verification(found: &Verification) -> String {
    let mut page = Page::default();
    let entries =
        if found.entries == 1 { "1 entry".to_owned() } else { format!("{} entries", found.entries) };
    let what = format!("{entries} and {}", counted(found.captures, "capture"));
    if found.problems.is_empty() {
        page.paragraph("", &format!("INTACT: {what} are as they were written."));
    } else {
        page.paragraph("", &format!("NOT INTACT: {} in {what}:", counted(found.problems.len(), "problem")));
        for problem in &found.problems {
            page.hanging("  - ", "    ", &problem.to_string());
        }
        page.paragraph("", "Keep a copy of the file, and compare it with the last backup.");
    }
    if let Some(head) = found.head {
        page.line(&format!("  last entry {}:{}", head.seq, head.digest));
        page.paragraph(
            "",
            "An end that was cut off cannot be told from the file alone: note the last entry elsewhere, and give it at the \
             next look with --noted.",
        );
    }
    page.into_text()
}
