//! The record of one assessment.

use flattop_core::assessment::AdjustedAt;
use flattop_core::bench::Stage;
use flattop_register::{AssessmentRecord, Effect, Entry, Event, KeptCapture};
use flattop_report::format::{percent, plain, plain_percent};
use flattop_report::plot;
use flattop_report::subject::{Subject, severity_code};
use serde_json::Value as Json;

use super::admin::{self, heading, name};
use super::{
    Issue, RecordError, Source, assessment_of, budgets, cautions, instruments, maybe_error, or_dash, result,
    stage_words, verdict_words, verify, with_units,
};
use crate::document::{
    Align, Block, Column, Document, Fact, Figure, Level, Notice, NoticeKind, Row, RowKind, Table,
};
use crate::when;

/// What the program found when it looked for the capture of the entry.
#[derive(Clone, Copy, Debug)]
pub enum Again<'a> {
    /// The kept capture was assessed again.
    Assessed(&'a Subject),
    /// It was not; this says why, as a clause without a stop.
    Not(&'a str),
}

/// Composes the record of the entry with this number. `kept` are the captures that the bench keeps.
///
/// # Errors
/// No such entry, or one that is no assessment.
pub fn compose(
    source: &Source<'_>,
    seq: i64,
    kept: &[KeptCapture],
    again: Again<'_>,
    issue: &Issue,
) -> Result<Document, RecordError> {
    let last = source.entries.last().map_or(0, |entry| entry.seq);
    let entry =
        source.entries.iter().find(|entry| entry.seq == seq).ok_or(RecordError::NoEntry { seq, last })?;
    let record =
        assessment_of(entry).ok_or(RecordError::NotAnAssessment { seq, kind: entry.event.kind() })?;
    let subject = match again {
        Again::Assessed(subject) => Some(subject),
        Again::Not(_) => None,
    };
    let parsed: Option<Json> = record.result_json.as_deref().and_then(|text| serde_json::from_str(text).ok());
    let input = entry.subject.input_id();
    let probe = entry.subject.probe.as_ref().and_then(|id| source.probe(id));
    let probe_name =
        entry.subject.probe.as_ref().map_or_else(|| "no probe".into(), |id| source.probe_name(id));
    let input_name = input.as_ref().map_or_else(|| "no input".into(), |id| source.input_name(id));
    let digest = entry.digest.to_string();
    let identification =
        format!("Entry {seq} of the logbook, digest {}", digest.get(..16).unwrap_or(&digest));
    let adjusted_at = adjusted_at(subject, probe, parsed.as_ref());

    let mut blocks = Vec::new();
    blocks.extend(withdrawal(source, entry));
    blocks.push(result::statement(record, reason(subject, parsed.as_ref()).as_deref()));
    blocks.extend(admin::identification(issue, &identification, &when::minute(entry.act.at)));

    blocks.push(Block::Heading(Level::Section, "Item and instruments".into()));
    let pairing = entry.subject.pairing.map(|number| match source.pairing(number) {
        Some(pairing) => format!("{number}, made {}", when::day(pairing.made_at)),
        None => number.to_string(),
    });
    let mut facts = vec![
        Fact::text(name::ITEM, format!("{probe_name} on {input_name}")),
        Fact::maybe("Pairing", pairing),
        Fact::maybe(name::CONDITION, issue.condition.as_deref()),
    ];
    facts.extend(instruments::facts(source, probe, input.as_ref()));
    blocks.push(Block::Facts(facts));

    blocks.push(Block::Heading(Level::Section, "Method and conditions".into()));
    blocks.push(Block::Facts(conditions(entry, record, issue)));
    blocks.push(Block::Paragraph(traceability_words().into()));

    blocks.push(Block::Heading(Level::Section, heading::RESULT.into()));
    match &record.compensation {
        Some(compensation) => {
            blocks.push(result::figures(compensation, adjusted_at));
            blocks.extend(result::rule(record));
            blocks.push(Block::Facts(vec![Fact::text(name::OPINIONS, "none are given")]));
            blocks.push(Block::Heading(Level::Section, "Error against frequency".into()));
            blocks.push(result::frequencies(compensation));
            let measured = subject.map_or(&[][..], |subject| &subject.assessment.measured_response);
            let caption =
                "Amplitude error of a sine, with its 95 % band; between the dashed lines lies the tolerance.";
            blocks.push(Block::Figure(Figure {
                scene: plot::error_scene(compensation, record.tolerance, measured),
                caption: caption.into(),
            }));
        }
        None => {
            let words = "The assessment gave no compensation error, so that there are no figures, no curve and no \
                         uncertainty budget to state.";
            blocks.push(Block::Paragraph(words.into()));
            blocks.extend(result::rule(record));
            blocks.push(Block::Facts(vec![Fact::text(name::OPINIONS, "none are given")]));
        }
    }
    blocks.extend(capture(record, kept, again, parsed.as_ref()));
    match &record.compensation {
        Some(compensation) => blocks.extend(budgets::blocks(compensation, adjusted_at, &record.method)),
        None => {
            blocks.push(Block::Heading(Level::Section, heading::BUDGET.into()));
            blocks.push(Block::Paragraph("There is none: no compensation error was found.".into()));
        }
    }
    blocks.extend(before_and_after(source, entry));
    blocks.extend(findings(subject, parsed.as_ref()));
    blocks.extend(remarks(source, entry));
    let rated: Vec<_> = input
        .as_ref()
        .and_then(|id| {
            let scope = source.oscilloscope(&id.oscilloscope)?;
            let input = scope.inputs.iter().find(|input| input.name == id.name)?;
            Some((id.to_string(), input))
        })
        .into_iter()
        .collect();
    blocks.extend(cautions::blocks(&probe.into_iter().collect::<Vec<_>>(), &rated));
    blocks.extend(verify::blocks(source, Some(entry)));
    let own = "The results hold for this probe on this input as they were when the capture was taken. Another input, \
               another accessory, a turn of the trimmer or time may change them.";
    blocks.extend(admin::limits(&identification, own));
    Ok(Document {
        title: "Record of a compensation assessment".into(),
        subtitle: format!("{probe_name} on {input_name}, {}", when::day(entry.act.at)),
        identification,
        laboratory: issue.laboratory.clone(),
        author: issue.issued_by.clone(),
        issued_at: issue.at,
        program: issue.program.clone(),
        blocks,
    })
}

/// Where the trimmer is: what was assessed says it first, then the bench.
fn adjusted_at(
    subject: Option<&Subject>,
    probe: Option<&flattop_core::bench::Probe>,
    parsed: Option<&Json>,
) -> Option<AdjustedAt> {
    let stored = || match parsed?.pointer("/adjustment/at")?.as_str()? {
        "tip" => Some(AdjustedAt::Tip),
        "base" => Some(AdjustedAt::Base),
        _ => None,
    };
    let assumed = subject.map(|subject| subject.assumptions.adjusted_at);
    assumed.or_else(stored).or_else(|| probe?.adjusted_at?.adjusted_at())
}

/// The first fault among the findings.
fn reason(subject: Option<&Subject>, parsed: Option<&Json>) -> Option<String> {
    if let Some(subject) = subject {
        return subject.fault().map(|fault| closed(&fault.message));
    }
    let all = parsed?.get("findings")?.as_array()?;
    let fault = all.iter().find(|f| f.get("severity").and_then(Json::as_str) == Some("fault"))?;
    fault.get("message")?.as_str().map(closed)
}

/// A sentence with a capital and a stop.
fn closed(text: &str) -> String {
    let text = text.trim();
    let mut letters = text.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    let stop = if text.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{stop}", letters.as_str())
}

fn withdrawal(source: &Source<'_>, entry: &Entry) -> Option<Block> {
    let by = *source.withdrawn().get(&entry.seq)?;
    let correction = source.entries.iter().find(|e| e.seq == by)?;
    let who = correction.act.by.as_deref().unwrap_or("somebody not stated");
    let mut paragraphs = vec![format!(
        "Entry {by} of {} by {who} withdraws entry {}: it no longer counts for the state and the trend of the pairing. What \
         follows is printed as it was logged.",
        when::minute(correction.act.at),
        entry.seq
    )];
    paragraphs.extend(correction.act.note.clone());
    Some(Block::Notice(Notice {
        kind: NoticeKind::Remark,
        title: "This assessment was withdrawn".into(),
        paragraphs,
    }))
}

fn method_words(method: &str) -> String {
    let words = match method {
        "square-wave" => "first-order divider response fitted to one captured square wave (least squares)",
        "reference-column" => {
            "first-order divider response fitted against a second column that shows the source"
        }
        "sine" => {
            "first-order divider response fitted to sines of several frequencies against their reference"
        }
        "by-eye" => "first-order divider response through levels read off the screen by a person",
        _ => return method.to_owned(),
    };
    format!("{method}: {words}")
}

fn conditions(entry: &Entry, record: &AssessmentRecord, issue: &Issue) -> Vec<Fact> {
    let mut facts = vec![
        Fact::text(name::METHOD, method_words(&record.method)),
        Fact::text("Made as", stage_words(record.stage)),
        Fact::text("Tolerance on |e|", plain_percent(record.tolerance, 3)),
        Fact::maybe("Assessed by", entry.act.by.as_deref()),
        Fact::text("Program", entry.act.program.clone()),
        Fact::maybe(name::CONDITIONS, record.temperature_c.map(|c| super::figure(&format!("{c:.1} °C")))),
        Fact::text(name::SAMPLING, "none: the item itself was measured"),
        Fact::maybe(name::DEVIATIONS, issue.deviations.as_deref()),
        Fact::text(name::EXTERNAL, "none are included"),
    ];
    if let Some(c) = &record.compensation {
        let ohm = |value: f64| plain(value, "Ω", 6);
        facts.push(Fact::text(
            "Divider, as stated",
            format!(
                "R1 {}, R2 {}; relative standard uncertainty of each {}",
                ohm(c.divider.tip_resistance_ohm),
                ohm(c.divider.shunt_resistance_ohm),
                plain_percent(c.resistor_uncertainty, 2)
            ),
        ));
    }
    if let Some(settings) = record.settings_json.as_deref() {
        facts.push(Fact::code("Settings", settings_words(settings)));
    }
    facts.push(Fact::maybe(name::TRACEABILITY, issue.traceability.as_deref()));
    facts
}

/// Settings as lines `name = value`; what is no JSON object stays as it is.
fn settings_words(text: &str) -> String {
    const MOST: usize = 40;
    let Ok(parsed) = serde_json::from_str::<Json>(text) else { return text.to_owned() };
    let mut lines = Vec::new();
    flatten("", &parsed, &mut lines);
    let more = lines.len().saturating_sub(MOST);
    lines.truncate(MOST);
    if more > 0 {
        lines.push(format!("… and {more} more in the logbook"));
    }
    lines.join("\n")
}

fn flatten(name: &str, value: &Json, lines: &mut Vec<String>) {
    match value {
        Json::Object(fields) => {
            for (key, value) in fields {
                let name = if name.is_empty() { key.clone() } else { format!("{name}.{key}") };
                flatten(&name, value, lines);
            }
        }
        // What was left open when it was assessed.
        Json::Null => {}
        Json::String(text) => lines.push(format!("{name} = {text}")),
        other => lines.push(format!("{name} = {other}")),
    }
}

fn traceability_words() -> &'static str {
    "e is a ratio of two parts of one waveform seen through one input: the scale of that input cancels. τp rests on the \
     time base of the oscilloscope, and the capacitances on τp and the resistors as stated. The logbook records no chain \
     of calibrations for the time base and the resistors; what is said of it above is what the issuer stated."
}

/// Where the capture is, what it holds, and the drawing of the fit.
fn capture(
    record: &AssessmentRecord,
    kept: &[KeptCapture],
    again: Again<'_>,
    parsed: Option<&Json>,
) -> Vec<Block> {
    let mut blocks = vec![Block::Heading(Level::Section, "Capture and fit".into())];
    let mut facts = Vec::new();
    if record.captures.is_empty() {
        facts.push(Fact::text("Capture", "not kept: the entry holds the figures only"));
    }
    let several = record.captures.len();
    let labels = super::numbered("Capture", several).zip(super::numbered("SHA-256 of the capture", several));
    for (digest, (label, sha256)) in record.captures.iter().zip(labels) {
        facts.push(Fact::text(
            &label,
            match kept.iter().find(|kept| kept.digest == *digest) {
                Some(kept) => format!("{} bytes, kept with the logbook", kept.bytes),
                None => "named by the entry, but not found in the logbook".into(),
            },
        ));
        facts.push(Fact::code(&sha256, digest.to_string()));
    }
    let text = |pointer: &str| parsed?.pointer(pointer)?.as_str().map(str::to_owned);
    let number = |pointer: &str| parsed?.pointer(pointer)?.as_f64();
    if let Some(file) = text("/file") {
        facts.push(Fact::text("File name", file));
    }
    let facts_of = |points: f64, interval_s: f64, format: &str| {
        format!("{points:.0} points, {} apart; {format}", plain(interval_s, "s", 5))
    };
    match again {
        Again::Assessed(Subject { record: Some(r), .. }) => {
            facts.push(Fact::text("Record", facts_of(r.points as f64, r.interval_s, &r.format)));
        }
        Again::Assessed(Subject { captures, .. }) if !captures.is_empty() => {
            for ((name, r), label) in captures.iter().zip(super::numbered("Record", captures.len())) {
                let said = facts_of(r.points as f64, r.interval_s, &r.format);
                facts.push(Fact::text(&label, format!("{name}: {said}")));
            }
        }
        _ => {
            if let (Some(points), Some(interval_s)) = (number("/record/points"), number("/record/interval_s"))
            {
                let format = text("/record/format").unwrap_or_else(|| "format not stated".into());
                facts.push(Fact::text("Record", facts_of(points, interval_s, &format)));
            }
        }
    }
    if let Some(frequency_hz) = number("/square_wave/frequency_hz/value") {
        facts.push(Fact::text("Square wave", plain(frequency_hz, "Hz", 5)));
    }
    blocks.push(Block::Facts(facts));
    match again {
        Again::Not(why) => {
            blocks.push(Block::Paragraph(format!(
                "The record and the fit are not drawn: {}",
                closed_lower(why)
            )));
        }
        Again::Assessed(subject) => {
            blocks.extend(plot::record_scene(subject).map(|scene| {
                let caption = "The kept capture with the fit, assessed again when this record was made; below, what is \
                               left between them.";
                Block::Figure(Figure { scene, caption: caption.into() })
            }));
            blocks.push(Block::Paragraph(agreement(record, subject)));
        }
    }
    blocks
}

fn closed_lower(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) { text.into() } else { format!("{text}.") }
}

/// Whether the capture, assessed again, gives what was logged.
fn agreement(record: &AssessmentRecord, subject: &Subject) -> String {
    let capture = match record.captures.len() {
        0 => "the readings give",
        1 => "the capture gives",
        _ => "the captures give",
    };
    let again = subject.assessment.compensation.filter(|_| !subject.is_withheld());
    match (&record.compensation, &again) {
        (Some(logged), Some(now)) => {
            let distance = (logged.error.value - now.error.value).abs();
            let now_words = with_units(&percent(now.error).signed());
            if distance <= 0.01 * logged.error.standard_uncertainty {
                format!("Assessed again, {capture} e = {now_words}, as logged.")
            } else {
                format!(
                    "Assessed again, {capture} e = {now_words}, where the logbook says {}. The logged figures count; \
                     the difference comes from the version of the program or from other settings.",
                    with_units(&percent(logged.error).signed())
                )
            }
        }
        (None, None) => format!("Assessed again, {capture} no compensation error, as logged."),
        (Some(_), None) => format!(
            "Assessed again, {capture} no compensation error, but one was logged: the logged figures count; the \
             version of the program or the settings differ."
        ),
        (None, Some(now)) => format!(
            "Assessed again, {capture} e = {}, but none was logged: the entry counts; the version of the program or \
             the settings differ.",
            with_units(&percent(now.error).signed())
        ),
    }
}

/// The assessments around the adjustment that this one belongs to.
fn before_and_after(source: &Source<'_>, entry: &Entry) -> Vec<Block> {
    let withdrawn = source.withdrawn();
    let same: Vec<&Entry> = source
        .entries
        .iter()
        .filter(|e| e.subject.pairing.is_some() && e.subject.pairing == entry.subject.pairing)
        .filter(|e| assessment_of(e).is_some() && (e.seq == entry.seq || !withdrawn.contains_key(&e.seq)))
        .collect();
    let stage = |e: &Entry| assessment_of(e).map(|r| r.stage);
    let here = same.iter().position(|e| e.seq == entry.seq);
    let pair = here.and_then(|here| match stage(entry) {
        Some(Stage::AfterAdjustment) => {
            let before = same[..here].iter().rev().take_while(|e| stage(e) != Some(Stage::AfterAdjustment));
            before.into_iter().find(|e| stage(e) == Some(Stage::BeforeAdjustment)).map(|b| [*b, same[here]])
        }
        Some(Stage::BeforeAdjustment) => {
            let after = same[here + 1..].iter().take_while(|e| stage(e) != Some(Stage::BeforeAdjustment));
            after.into_iter().find(|e| stage(e) == Some(Stage::AfterAdjustment)).map(|a| [same[here], *a])
        }
        _ => None,
    });
    let mut blocks = vec![Block::Heading(Level::Section, heading::BEFORE_AFTER.into())];
    match pair {
        Some(pair) => blocks
            .push(Block::Table(assessments("Both assessments of this adjustment; U is for 95 %", &pair))),
        None if stage(entry) == Some(Stage::Check) => {
            blocks.push(Block::Paragraph("This was a check without an adjustment.".into()));
        }
        None => blocks.push(Block::Paragraph(
            "The logbook holds no assessment on the other side of this adjustment.".into(),
        )),
    }
    blocks
}

/// A table of assessments, one a row.
fn assessments(caption: &str, all: &[&Entry]) -> Table {
    let columns = vec![
        Column::new("Entry", Align::Decimal),
        Column::new("When", Align::Short),
        Column::new("Made as", Align::Words),
        Column::new("e, %", Align::Decimal),
        Column::new("U, %", Align::Decimal),
        Column::new("Verdict", Align::Words),
    ];
    let rows = all
        .iter()
        .filter_map(|entry| {
            let record = assessment_of(entry)?;
            let [e, u] = maybe_error(record.compensation.map(|c| c.error));
            let cells = vec![
                entry.seq.to_string(),
                when::minute(entry.act.at),
                stage_words(record.stage).into(),
                e,
                u,
                verdict_words(record.verdict).into(),
            ];
            Some(Row { kind: RowKind::Plain, cells })
        })
        .collect();
    Table { caption: caption.into(), columns, rows }
}

fn findings(subject: Option<&Subject>, parsed: Option<&Json>) -> Vec<Block> {
    let columns = vec![
        Column::new("Severity", Align::Short),
        Column::new("Finding", Align::Words),
        Column::new("Remedy", Align::Words),
        Column::new("Code", Align::Words),
    ];
    let row = |severity: &str, message: &str, remedy: &str, code: &str| {
        let remedy = or_dash((!remedy.is_empty()).then(|| closed(remedy)));
        Row::plain(vec![severity.into(), closed(message), remedy, code.into()])
    };
    let rows: Vec<Row> = match (subject, parsed.and_then(|json| json.get("findings")?.as_array())) {
        (Some(subject), _) => {
            let all = &subject.assessment.findings;
            all.iter().map(|f| row(severity_code(f.severity), &f.message, &f.remedy, f.code)).collect()
        }
        (None, Some(all)) => all
            .iter()
            .map(|f| {
                let text = |key: &str| f.get(key).and_then(Json::as_str).unwrap_or("");
                row(text("severity"), text("message"), text("remedy"), text("code"))
            })
            .collect(),
        (None, None) => {
            return vec![
                Block::Heading(Level::Section, "Findings".into()),
                Block::Paragraph("The entry holds no list of findings.".into()),
            ];
        }
    };
    let mut blocks = vec![Block::Heading(Level::Section, "Findings".into())];
    if rows.is_empty() {
        blocks.push(Block::Paragraph("The assessment remarked on nothing.".into()));
    } else {
        let caption = "What the assessment remarked on, in its own words".into();
        blocks.push(Block::Table(Table { caption, columns, rows }));
    }
    blocks
}

/// The note of the entry and what was said about it later.
fn remarks(source: &Source<'_>, entry: &Entry) -> Vec<Block> {
    let withdrawn = source.withdrawn();
    let mut blocks = Vec::new();
    if let Some(note) = &entry.act.note {
        blocks.push(Block::Heading(Level::Part, format!("Note with entry {}", entry.seq)));
        blocks.push(Block::Quotation(note.clone()));
    }
    for later in source.entries {
        let Event::Correction { corrects, effect } = later.event else { continue };
        if corrects != entry.seq {
            continue;
        }
        let what = match effect {
            Effect::Remarks => "remarks",
            Effect::Withdraws => "withdraws it",
        };
        let void = withdrawn
            .get(&later.seq)
            .map(|by| format!(" (itself withdrawn by entry {by})"))
            .unwrap_or_default();
        let heading =
            format!("Correction, entry {} of {}: {what}{void}", later.seq, when::minute(later.act.at));
        blocks.push(Block::Heading(Level::Part, heading));
        blocks.push(Block::Quotation(later.act.note.clone().unwrap_or_default()));
    }
    if !blocks.is_empty() {
        blocks.insert(0, Block::Heading(Level::Section, "Notes and corrections".into()));
    }
    blocks
}
