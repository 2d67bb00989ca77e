//! The logbook: entries, what they rest on, whether they still hold; trends; what is due; records to print.

use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use flattop_core::assessment::Verdict;
use flattop_record::compose::Issue;
use flattop_record::pdf::Paper;
use flattop_record::{html, pdf};
use flattop_register::{Effect, EntryKind, Event, Filter, Order, Register, Subject, Thing, Voids};
use flattop_report::logbook::text::Recomputed;
use flattop_report::{bench, logbook};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use super::answer::{Answer, Asked, Json, Named, Problem, Typed, Written, work};
use super::bench::{EntryMade, change, must_read, read, told};
use super::drawing::Drawing;
use super::state::Shared;
use super::stored::attachment;
use super::typed::{DoingAsked, Reader, Text, Unknown};
use crate::logged::Kept;
use crate::report::{self, About};
use crate::workbench::{PROGRAM, input_id, now, probe_id};
use crate::{log, values};

/// Entries of one answer at most.
const MOST_ENTRIES: usize = 500;

/// Query of the logbook.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct LogAsked {
    /// Number of a pairing.
    #[param(value_type = Option<i64>)]
    pairing: Option<Text>,
    probe: Option<String>,
    input: Option<String>,
    /// From this day or time on.
    #[param(value_type = Option<String>)]
    from: Option<Text>,
    /// Before this day or time.
    #[param(value_type = Option<String>)]
    until: Option<Text>,
    /// Kinds of entries, with commas between.
    kind: Option<String>,
    /// Only assessments with this verdict.
    #[param(value_type = Option<String>)]
    verdict: Option<Text>,
    /// Only entries with smaller numbers: the next page.
    #[param(value_type = Option<i64>)]
    before_seq: Option<Text>,
    /// Most entries; 50 where it is left out, 500 at most.
    #[param(value_type = Option<u32>)]
    limit: Option<Text>,
}

fn whole(text: &str) -> Result<i64, String> {
    text.parse().map_err(|_| format!("\"{text}\" is no whole number"))
}

impl LogAsked {
    /// The filter, without limit, newest first.
    fn filter(&self, reader: &mut Reader) -> Filter {
        let typed = |text: &Option<String>| text.clone().map(Text);
        let mut kinds = Vec::new();
        for word in
            self.kind.as_deref().unwrap_or("").split(',').map(str::trim).filter(|word| !word.is_empty())
        {
            match EntryKind::ALL.iter().find(|kind| kind.code() == word) {
                Some(kind) => kinds.push(*kind),
                None => {
                    let all: Vec<_> = EntryKind::ALL.iter().map(|kind| kind.code()).collect();
                    reader.wrong(
                        "kind",
                        format!("\"{word}\" is no kind of entry; the kinds are {}", all.join(", ")),
                    );
                }
            }
        }
        Filter {
            pairing: reader.read("pairing", self.pairing.as_ref(), whole),
            probe: reader.read("probe", typed(&self.probe).as_ref(), probe_id),
            input: reader.read("input", typed(&self.input).as_ref(), input_id),
            from_unix_ms: reader.read("from", self.from.as_ref(), values::since),
            until_unix_ms: reader.read("until", self.until.as_ref(), values::since),
            kinds,
            verdict: reader.read("verdict", self.verdict.as_ref(), |text| match text {
                "within-tolerance" => Ok(Verdict::WithinTolerance),
                "undercompensated" => Ok(Verdict::Undercompensated),
                "overcompensated" => Ok(Verdict::Overcompensated),
                "undetermined" => Ok(Verdict::Undetermined),
                _ => Err(format!("\"{text}\" is no verdict")),
            }),
            order: Order::NewestFirst,
            limit: None,
        }
    }
}

/// A page of the logbook.
#[derive(Serialize, ToSchema)]
pub(super) struct Page {
    /// Newest first: docs/bench-json.md.
    #[schema(value_type = Vec<Object>)]
    entries: Value,
    /// For the next page; null at the end.
    next_before_seq: Option<i64>,
    /// How many entries fit the filter.
    total: usize,
}

/// Entries of the logbook, newest first
#[utoipa::path(get, path = "/api/log", tag = "logbook", params(LogAsked), responses((status = 200, body = Page)))]
pub(super) async fn list(State(app): State<Shared>, Asked(asked): Asked<LogAsked>) -> Answer<Json<Page>> {
    work(move || {
        let mut reader = Reader::default();
        let filter = asked.filter(&mut reader);
        let before = reader.read("before_seq", asked.before_seq.as_ref(), whole);
        let limit = reader.read("limit", asked.limit.as_ref(), whole).unwrap_or(50);
        reader.finish()?;
        let limit = usize::try_from(limit).unwrap_or(1).clamp(1, MOST_ENTRIES);
        let Some(register) = read(&app)? else {
            return Ok(Json(Page { entries: Value::Array(Vec::new()), next_before_seq: None, total: 0 }));
        };
        let mut all = register.entries(&filter).map_err(told)?;
        all.sort_by_key(|entry| std::cmp::Reverse(entry.seq));
        let total = all.len();
        all.retain(|entry| before.is_none_or(|before| entry.seq < before));
        let has_more = all.len() > limit;
        all.truncate(limit);
        let next_before_seq = all.last().filter(|_| has_more).map(|entry| entry.seq);
        let entries = serde_json::from_str(&logbook::json::list(&all)).map_err(|_| Problem::internal())?;
        Ok(Json(Page { entries, next_before_seq, total }))
    })
    .await
}

/// The logbook as CSV
#[utoipa::path(get, path = "/api/log.csv", tag = "logbook", params(LogAsked), responses((status = 200, content_type = "text/csv", body = String)))]
pub(super) async fn csv(State(app): State<Shared>, Asked(asked): Asked<LogAsked>) -> Answer<Response> {
    let text = work(move || {
        let mut reader = Reader::default();
        let filter = Filter { order: Order::OldestFirst, ..asked.filter(&mut reader) };
        reader.finish()?;
        must_read(&app)?.log_csv(&filter).map_err(told)
    })
    .await?;
    Ok(super::bench::file("logbook.csv", "text/csv; charset=utf-8", text))
}

/// An entry with its settings and its whole result
#[utoipa::path(get, path = "/api/log/{seq}", tag = "logbook", params(("seq" = i64, Path,)), responses((status = 200, body = super::openapi::LogEntry)))]
pub(super) async fn show(State(app): State<Shared>, Named(seq): Named<i64>) -> Answer<Written> {
    work(move || Ok(Written(logbook::json::entry(&must_read(&app)?.entry(seq).map_err(told)?)))).await
}

/// What the page draws of an entry.
#[derive(Serialize, ToSchema)]
pub(super) struct EntryDrawing {
    drawing: Drawing,
}

/// An assessment of the logbook worked out again from its capture, to be drawn
#[utoipa::path(get, path = "/api/log/{seq}/plot", tag = "logbook", params(("seq" = i64, Path,)), responses((status = 200, body = EntryDrawing)))]
pub(super) async fn plot(State(app): State<Shared>, Named(seq): Named<i64>) -> Answer<Json<EntryDrawing>> {
    work(move || {
        let register = must_read(&app)?;
        let entry = register.entry(seq).map_err(told)?;
        let subject =
            Kept::of(&register, &entry).and_then(|kept| kept.assess()).map_err(Problem::undetermined)?;
        Ok(Json(EntryDrawing { drawing: Drawing::of(&subject.assessment) }))
    })
    .await
}

/// Which capture of an entry.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct NumberAsked {
    /// From 1; without it the only one.
    number: Option<usize>,
}

/// The capture that an entry rests on
#[utoipa::path(get, path = "/api/log/{seq}/capture", tag = "logbook", params(("seq" = i64, Path,), NumberAsked),
    responses((status = 200, content_type = "application/octet-stream", body = Vec<u8>)))]
pub(super) async fn capture(
    State(app): State<Shared>,
    Named(seq): Named<i64>,
    Asked(asked): Asked<NumberAsked>,
) -> Answer<Response> {
    work(move || {
        let register = must_read(&app)?;
        let entry = register.entry(seq).map_err(told)?;
        let digests = match &entry.event {
            Event::Assessment(record) => record.captures.as_slice(),
            Event::Measurement(record) => record.captures.as_slice(),
            _ => &[],
        };
        let place = asked.number.unwrap_or(1).checked_sub(1);
        let digest = place.and_then(|place| digests.get(place)).ok_or_else(|| {
            Problem::not_found(format!(
                "entry {seq} rests on {} captures; there is none of this number",
                digests.len()
            ))
        })?;
        let bytes = register.capture(digest).map_err(told)?;
        Ok((attachment(&format!("entry-{seq}.capture")), bytes).into_response())
    })
    .await
}

/// No fields.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Nothing {}

/// Work an entry out again
#[utoipa::path(post, path = "/api/log/{seq}/recompute", tag = "logbook", params(("seq" = i64, Path,)), request_body = Nothing, responses((status = 200, body = super::openapi::RecomputedEntry)))]
pub(super) async fn recompute(
    State(app): State<Shared>,
    Named(seq): Named<i64>,
    Typed(_): Typed<Nothing>,
) -> Answer<Json<Value>> {
    work(move || {
        let register = must_read(&app)?;
        let entry = register.entry(seq).map_err(told)?;
        let outcome = Kept::of(&register, &entry).and_then(|kept| kept.differences());
        let one = Recomputed { seq, logged_with: entry.act.program.clone(), outcome };
        let list: Vec<Value> = serde_json::from_str(&logbook::json::recomputed(&[one], PROGRAM))
            .map_err(|_| Problem::internal())?;
        list.into_iter().next().map(Json).ok_or_else(Problem::internal)
    })
    .await
}

/// What is wrong with an entry.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct CorrectAsked {
    text: String,
    /// Whether the entry no longer counts.
    #[serde(default)]
    withdraw: bool,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

fn act_with(text: &str, doing: &DoingAsked, unknown: &Unknown) -> Answer<flattop_register::Act> {
    let mut reader = Reader::default();
    reader.refuse(unknown);
    if text.trim().is_empty() {
        reader.wrong("text", "say something");
    }
    let doing = doing.read(&mut reader);
    reader.finish()?;
    let mut act = doing.act().map_err(|message| Problem::field("at", message))?;
    act.note = Some(match act.note {
        Some(more) => format!("{text}\n{more}"),
        None => text.to_owned(),
    });
    Ok(act)
}

/// Remark on an entry, or withdraw it
#[utoipa::path(post, path = "/api/log/{seq}/correct", tag = "logbook", params(("seq" = i64, Path,)), request_body = CorrectAsked, responses((status = 200, body = EntryMade)))]
pub(super) async fn correct(
    State(app): State<Shared>,
    Named(seq): Named<i64>,
    Typed(asked): Typed<CorrectAsked>,
) -> Answer<Json<EntryMade>> {
    work(move || {
        let act = act_with(&asked.text, &asked.doing, &asked.unknown)?;
        must_read(&app)?;
        let effect = if asked.withdraw { Effect::Withdraws } else { Effect::Remarks };
        let head = change(&app)?.log_correction(seq, effect, &act).map_err(told)?;
        Ok(Json(EntryMade::of(head)))
    })
    .await
}

/// A remark for the logbook.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct NoteAsked {
    text: String,
    /// What it is about: `probe-07`, `bench-a/ch1`, the number of a pairing.
    about: Option<String>,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Write a remark into the logbook
#[utoipa::path(post, path = "/api/log/notes", tag = "logbook", request_body = NoteAsked, responses((status = 200, body = EntryMade)))]
pub(super) async fn note(
    State(app): State<Shared>,
    Typed(asked): Typed<NoteAsked>,
) -> Answer<Json<EntryMade>> {
    work(move || {
        let act = act_with(&asked.text, &asked.doing, &asked.unknown)?;
        must_read(&app)?;
        let mut register = change(&app)?;
        let about = asked.about.as_deref().filter(|about| !about.trim().is_empty());
        let thing = about.map(|text| crate::workbench::thing(&register, text)).transpose();
        let subject = match thing.map_err(|message| Problem::field("about", message))? {
            None => Subject::default(),
            Some(Thing::Pairing(number)) => Subject { pairing: Some(number), ..Subject::default() },
            Some(Thing::Probe(id) | Thing::Ground(id, _)) => Subject::of_probe(&id),
            Some(Thing::Input(id)) => Subject::of_input(&id),
            Some(Thing::Oscilloscope(id)) => Subject { oscilloscope: Some(id), ..Subject::default() },
        };
        Ok(Json(EntryMade::of(register.log_note(&subject, &act).map_err(told)?)))
    })
    .await
}

/// Whether the logbook is as it was written
#[utoipa::path(get, path = "/api/log/verify", tag = "logbook", responses((status = 200, body = super::openapi::Verification)))]
pub(super) async fn verify(State(app): State<Shared>) -> Answer<Written> {
    work(move || Ok(Written(logbook::json::verification(&must_read(&app)?.verify(None).map_err(told)?))))
        .await
}

/// Pairings that want attention
#[utoipa::path(get, path = "/api/log/due", tag = "logbook", responses((status = 200, body = Vec<Object>)))]
pub(super) async fn due(State(app): State<Shared>) -> Answer<Written> {
    work(move || {
        let due = match read(&app)? {
            Some(register) => register.due(now().unix_ms).map_err(told)?,
            None => Vec::new(),
        };
        Ok(Written(bench::json::pairings(&due)))
    })
    .await
}

/// Query of trends.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct TrendsAsked {
    /// Number of a pairing, in force or not.
    pairing: Option<i64>,
    /// Only pairings of this probe.
    probe: Option<String>,
    /// Only pairings with this input.
    input: Option<String>,
}

/// How the compensation error of pairings went
#[utoipa::path(get, path = "/api/trends", tag = "logbook", params(TrendsAsked), responses((status = 200, body = Vec<Object>)))]
pub(super) async fn trends(State(app): State<Shared>, Asked(asked): Asked<TrendsAsked>) -> Answer<Written> {
    work(move || {
        let Some(register) = read(&app)? else { return Ok(Written("[]".to_owned())) };
        let numbers = match asked.pairing {
            Some(number) => vec![number],
            None => {
                let all = register.pairings(Voids::Hidden).map_err(told)?;
                let fits = |wanted: &Option<String>, found: &dyn std::fmt::Display| {
                    wanted.as_deref().is_none_or(|wanted| wanted.is_empty() || wanted == found.to_string())
                };
                let kept =
                    all.iter().filter(|p| fits(&asked.probe, &p.probe) && fits(&asked.input, &p.input));
                kept.map(|p| p.number).collect()
            }
        };
        let histories =
            numbers.iter().map(|number| history(&register, *number)).collect::<Answer<Vec<_>>>()?;
        Ok(Written(logbook::json::histories(&histories)))
    })
    .await
}

fn history(register: &Register, number: i64) -> Answer<logbook::History> {
    register.pairing(number).map_err(told)?;
    log::history(register, number).map_err(Problem::bench)
}

/// Query of a record.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct RecordAsked {
    /// Of an assessment: number of its entry.
    entry: Option<i64>,
    /// Of a period: its first day, or the time when it begins.
    #[param(value_type = Option<String>)]
    from: Option<Text>,
    /// Of a period: its last day, which belongs to it, or the time when it ends.
    #[param(value_type = Option<String>)]
    to: Option<Text>,
    /// `a4` or `letter`.
    paper: Option<String>,
    /// Whether it is to be saved rather than shown.
    #[serde(default)]
    save: bool,
    #[param(value_type = Option<String>)]
    laboratory: Option<Text>,
    #[param(value_type = Option<String>)]
    address: Option<Text>,
    #[param(value_type = Option<String>)]
    place: Option<Text>,
    #[param(value_type = Option<String>)]
    customer: Option<Text>,
    #[param(value_type = Option<String>)]
    issued_by: Option<Text>,
    #[param(value_type = Option<String>)]
    reference: Option<Text>,
    #[param(value_type = Option<String>)]
    received: Option<Text>,
    #[param(value_type = Option<String>)]
    condition: Option<Text>,
    #[param(value_type = Option<String>)]
    deviations: Option<Text>,
    #[param(value_type = Option<String>)]
    traceability: Option<Text>,
}

impl RecordAsked {
    fn issue(&self, reader: &mut Reader) -> Issue {
        let mut said = |at: &str, text: &Option<Text>| reader.read(at, text.as_ref(), report::line);
        Issue {
            at: now(),
            program: PROGRAM.to_owned(),
            laboratory: said("laboratory", &self.laboratory),
            address: said("address", &self.address),
            location: said("place", &self.place),
            customer: said("customer", &self.customer),
            issued_by: said("issued_by", &self.issued_by),
            reference: said("reference", &self.reference),
            received: said("received", &self.received),
            condition: said("condition", &self.condition),
            deviations: said("deviations", &self.deviations),
            traceability: said("traceability", &self.traceability),
        }
    }
}

/// A record holds nothing active: its own styles and pictures, and nothing else.
const RECORD_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; \
                             frame-ancestors 'none'; sandbox allow-modals";

/// A record to print: `assessment.html`, `bench.pdf`, `period.html` and so on
#[utoipa::path(get, path = "/api/records/{file}", tag = "logbook", params(("file" = String, Path,), RecordAsked),
    responses((status = 200, content_type = "text/html", body = String)))]
pub(super) async fn record(
    State(app): State<Shared>,
    Named(file): Named<String>,
    Asked(asked): Asked<RecordAsked>,
) -> Answer<Response> {
    work(move || {
        let unknown = || Problem::not_found("records are assessment, bench and period, each .html or .pdf");
        let (what, form) = file.rsplit_once('.').ok_or_else(unknown)?;
        if !matches!(form, "html" | "pdf") {
            return Err(unknown());
        }
        let mut reader = Reader::default();
        let paper = match asked.paper.as_deref() {
            None | Some("" | "a4") => Paper::A4,
            Some("letter") => Paper::Letter,
            Some(other) => {
                reader.wrong("paper", format!("\"{other}\" is no paper; write a4 or letter"));
                Paper::A4
            }
        };
        let issue = asked.issue(&mut reader);
        let about = match what {
            "assessment" => asked.entry.map(About::Assessment),
            "bench" => Some(About::Bench),
            "period" => {
                let from = reader.read("from", asked.from.as_ref(), values::since);
                let to = reader.read("to", asked.to.as_ref(), report::through);
                match (from, to) {
                    (Some(from), Some(to)) if to <= from => {
                        reader.wrong("to", "the period ends before it begins; give from the earlier day");
                    }
                    (Some(_), Some(_)) => {}
                    _ => reader.wrong("from", "give the first and the last day, from and to"),
                }
                from.zip(to).map(|(from, to)| About::Period(from, to))
            }
            _ => return Err(unknown()),
        };
        if about.is_none() && what == "assessment" {
            reader.wrong("entry", "give the number of the entry");
        }
        reader.finish()?;
        let about = about.ok_or_else(Problem::internal)?;
        let register = must_read(&app)?;
        if let About::Assessment(seq) = about {
            register.entry(seq).map_err(told)?;
        }
        let (document, _) = report::composed(&register, about, &issue).map_err(Problem::undetermined)?;
        let (media_type, policy, bytes) = match form {
            // The viewer of a browser is part of it, and a sandbox would keep it out.
            "pdf" => (
                "application/pdf",
                "frame-ancestors 'none'",
                pdf::write(&document, paper).map_err(|error| Problem::undetermined(error.to_string()))?,
            ),
            _ => ("text/html; charset=utf-8", RECORD_POLICY, html::write(&document, paper).into_bytes()),
        };
        let mut headers = attachment(&file);
        if !asked.save {
            headers.insert(header::CONTENT_DISPOSITION, HeaderValue::from_static("inline"));
        }
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(media_type));
        headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
        Ok((StatusCode::OK, headers, bytes).into_response())
    })
    .await
}
