//! A stored capture, corrected or made into a response; two probes together. Results that are files are for downloading.

use std::path::Path;

use axum::extract::State;
use flattop_captures::ReadOptions;
use flattop_core::characterise::Settings;
use flattop_report::correction::{Subject, json};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::answer::{Answer, Json, Problem, Typed, Written, work};
use super::assess::object;
use super::drawing::shorts;
use super::plan::PlanAsked;
use super::state::{App, Shared};
use super::stored::{Download, Stored, full};
use super::typed::{Reader, Text, Unknown};
use crate::characterise::{self, Evidence};
use crate::correct::{self, Against, Source, What};
use crate::found::{self, Trouble};
use crate::setup::{OnBench, Which};
use crate::{pair, values};

/// What a result is called that came from the page.
const SENT: &str = "the assessment that was sent";

pub(super) fn troubled(trouble: Trouble) -> Problem {
    match trouble {
        Trouble::Unusable(message) => Problem::unreadable(message),
        Trouble::Undetermined(message) => Problem::undetermined(message),
    }
}

/// What is known of the pairing; one of these.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct KnownAsked {
    /// Compensation error, `-8 % +- 0.2 %`; with `time_constant`.
    #[schema(value_type = Option<String>)]
    error: Option<Text>,
    /// Time constant, `81 us +- 1 us`.
    #[schema(value_type = Option<String>)]
    time_constant: Option<Text>,
    /// An assessment as it was answered.
    #[schema(value_type = Option<Object>)]
    assessment: Option<Value>,
    /// An entry of the logbook.
    entry: Option<i64>,
    #[serde(flatten)]
    plan: PlanAsked,
    /// With a plan: -3 dB bandwidth up to which the chain is undone; without it the record's noise decides.
    #[schema(value_type = Option<String>)]
    bandwidth: Option<Text>,
    /// With a plan: `tip` or `node`.
    against: Option<String>,
    /// With a plan: largest amplification, 4 where it is left out.
    largest_gain: Option<f64>,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// A stored capture to be corrected.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CorrectAsked {
    /// Id of the stored capture.
    stored: String,
    known: KnownAsked,
    #[schema(value_type = Option<u16>)]
    column: Option<Text>,
    #[schema(value_type = Option<String>)]
    interval: Option<Text>,
    /// Whether the signal rested at the level of the first sample before the record.
    #[serde(default)]
    at_rest: bool,
    /// Standard deviation of the noise, in the unit of the column.
    noise: Option<f64>,
    /// `same`, or `gzip` for a packed text.
    form: Option<String>,
}

/// A correction as `flattop correct --json` writes it (docs/correct-json.md), where the corrected record is, and what the page draws.
#[derive(Serialize)]
pub(super) struct Corrected {
    #[serde(flatten)]
    result: Map<String, Value>,
    download: Download,
    drawing: BeforeAfter,
}

/// The record before and after, in the unit of the column: lists of the same length.
#[derive(Debug, Default, Serialize, ToSchema)]
pub(super) struct BeforeAfter {
    time_s: Vec<f64>,
    before_low: Vec<Option<f32>>,
    before_high: Vec<Option<f32>>,
    after_low: Vec<Option<f32>>,
    after_high: Vec<Option<f32>>,
    /// The largest of each stretch.
    standard_uncertainty: Vec<Option<f32>>,
    close: Close,
}

/// The first edge from near; empty where all of it is near.
#[derive(Debug, Default, Serialize, ToSchema)]
pub(super) struct Close {
    time_s: Vec<f64>,
    before: Vec<Option<f32>>,
    after: Vec<Option<f32>>,
    standard_uncertainty: Vec<Option<f32>>,
}

impl BeforeAfter {
    fn of(subject: &Subject) -> Self {
        let (whole, close) = (&subject.trace.whole, &subject.trace.close);
        Self {
            time_s: whole.iter().map(|s| s.time_s).collect(),
            before_low: shorts(whole.iter().map(|s| s.before.0)),
            before_high: shorts(whole.iter().map(|s| s.before.1)),
            after_low: shorts(whole.iter().map(|s| s.after.0)),
            after_high: shorts(whole.iter().map(|s| s.after.1)),
            standard_uncertainty: shorts(whole.iter().map(|s| s.u)),
            close: Close {
                time_s: close.iter().map(|p| p.time_s).collect(),
                before: shorts(close.iter().map(|p| p.before)),
                after: shorts(close.iter().map(|p| p.after)),
                standard_uncertainty: shorts(close.iter().map(|p| p.u)),
            },
        }
    }
}

fn source(app: &App, asked: &KnownAsked, reader: Reader) -> Answer<Source> {
    let mut reader = reader;
    reader.refuse(&asked.unknown);
    let error = reader.read("known.error", asked.error.as_ref(), correct::error);
    let constant = reader.read("known.time_constant", asked.time_constant.as_ref(), correct::time_constant);
    reader.finish()?;
    match (error, constant) {
        (Some(error), Some(constant)) => {
            return Ok(Source {
                known: What::Shelf(correct::typed(error, constant)),
                from: "figures typed".to_owned(),
            });
        }
        (None, None) => {}
        (Some(_), None) => {
            return Err(Problem::field(
                "known.time_constant",
                "the error dies away with a time constant; give it, for example 81 us",
            ));
        }
        (None, Some(_)) => {
            return Err(Problem::field("known.error", "give the compensation error, for example -8 %"));
        }
    }
    if let Some(assessment) = &asked.assessment {
        let found = found::from_json(SENT, &assessment.to_string()).map_err(troubled)?;
        return Ok(Source { known: What::Shelf(correct::shelf(&found)), from: "an assessment".to_owned() });
    }
    if let Some(number) = asked.entry {
        return correct::entry(&app.bench, number).map_err(troubled);
    }
    if asked.plan.is_there() {
        let bench = OnBench::new(&app.bench, Which::InForce);
        let plan = asked.plan.read(&[], &bench)?;
        let setup = correct::setup_of("plan", plan, Path::new("")).map_err(super::plan::failed)?;
        return Ok(Source { known: What::Chain(Box::new(setup)), from: "a plan".to_owned() });
    }
    let message = "what is to be undone is not said; give error and time_constant, an assessment, an entry of the logbook, or a plan";
    Err(Problem::field("known", message))
}

/// Undo on a stored capture what the pairing did to it
#[utoipa::path(post, path = "/api/correct", tag = "correct", request_body = CorrectAsked, responses((status = 200, body = super::openapi::Correction)))]
pub(super) async fn correct_of(
    State(app): State<Shared>,
    Typed(asked): Typed<CorrectAsked>,
) -> Answer<Json<Corrected>> {
    work(move || {
        let mut reader = Reader::default();
        let column = reader.read("column", asked.column.as_ref(), values::column);
        let interval_s = reader.read("interval", asked.interval.as_ref(), values::seconds);
        let bandwidth_hz = reader.read("known.bandwidth", asked.known.bandwidth.as_ref(), values::hertz);
        let against = match asked.known.against.as_deref() {
            None | Some("" | "tip") => Against::Tip,
            Some("node") => Against::Node,
            Some(other) => {
                reader.wrong("known.against", format!("\"{other}\" is no place; write tip or node"));
                Against::Tip
            }
        };
        let is_packed = match asked.form.as_deref() {
            None | Some("" | "same") => false,
            Some("gzip") => true,
            Some(other) => {
                reader.wrong("form", format!("\"{other}\" is no form; write same or gzip"));
                false
            }
        };
        if asked.noise.is_some_and(|noise| !(noise >= 0.0 && noise.is_finite())) {
            reader.wrong("noise", "write a number from 0 up, in the unit of the column, such as 0.002");
        }
        let largest_gain = asked.known.largest_gain.unwrap_or(4.0);
        if !(largest_gain >= 1.0 && largest_gain.is_finite()) {
            reader.wrong("known.largest_gain", "write a number from 1 up, for example 4");
        }
        let source = source(&app, &asked.known, reader)?;
        let file = app.store.find(&asked.stored, app.clock.now())?;
        let stem = file.name.split('.').next().unwrap_or("capture");
        let ending = match (file.is_text, is_packed) {
            (true, false) => "csv",
            (true, true) => "csv.gz",
            (false, _) => "npy",
        };
        let (id, target) = app.store.place(&format!("{stem}-corrected.{ending}"))?;
        let request = correct::Request {
            capture: file.path.clone(),
            output: target.path.clone(),
            read: ReadOptions { column: column.map(usize::from), reference: None, interval_s },
            at_rest: asked.at_rest,
            noise: asked.noise,
            against,
            bandwidth_hz,
            largest_gain,
            draws: true,
            with_digest: true,
        };
        let mut subject =
            correct::correct(&request, &source).map_err(|trouble| without_path(trouble, &file))?;
        // Where things lie on the server is nobody's business.
        subject.file.clone_from(&file.name);
        subject.output.clone_from(&target.name);
        let download = app.store.offer(id, target, app.clock.now());
        Ok(Json(Corrected {
            result: object(&json::of(&subject))?,
            download,
            drawing: BeforeAfter::of(&subject),
        }))
    })
    .await
}

fn without_path(trouble: Trouble, file: &Stored) -> Problem {
    let path = file.path.display().to_string();
    let bare = |message: String| message.replace(&path, &file.name);
    troubled(match trouble {
        Trouble::Unusable(message) => Trouble::Unusable(bare(message)),
        Trouble::Undetermined(message) => Trouble::Undetermined(bare(message)),
    })
}

/// Stored captures to be made into a response.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CharacteriseAsked {
    /// Ids of stored captures: one of edges, or two or more of one sine each.
    stored: Vec<String>,
    #[schema(value_type = Option<u16>)]
    column: Option<Text>,
    #[schema(value_type = Option<u16>)]
    reference: Option<Text>,
    #[schema(value_type = Option<String>)]
    interval: Option<Text>,
    /// Whether the captures are sines.
    #[serde(default)]
    sine: bool,
    /// 10–90 % transition duration of the source, `1ns+-0.2ns`.
    #[schema(value_type = Option<String>)]
    source_transition: Option<Text>,
    /// Band over which flatness is stated, `10kHz:20MHz`.
    #[schema(value_type = Option<String>)]
    band: Option<Text>,
    /// Largest uncertainty of a gain that is still stated; 3 % where it is left out.
    #[schema(value_type = Option<String>)]
    limit: Option<Text>,
}

/// A response as `flattop characterise --json` writes it (docs/characterise-json.md), and files of it.
#[derive(Serialize)]
pub(super) struct Characterised {
    #[serde(flatten)]
    result: Map<String, Value>,
    /// Null where nothing could be found.
    downloads: Option<Downloads>,
}

/// The response as files.
#[derive(Serialize, ToSchema)]
pub(super) struct Downloads {
    /// Touchstone, for plans.
    s2p: Download,
    json: Download,
    csv: Download,
}

/// The response of a pairing from a fast edge or a sweep
#[utoipa::path(post, path = "/api/characterise", tag = "correct", request_body = CharacteriseAsked, responses((status = 200, body = super::openapi::Characteristic)))]
pub(super) async fn characterise_of(
    State(app): State<Shared>,
    Typed(asked): Typed<CharacteriseAsked>,
) -> Answer<Json<Characterised>> {
    work(move || {
        let mut reader = Reader::default();
        let column = reader.read("column", asked.column.as_ref(), values::column);
        let reference = reader.read("reference", asked.reference.as_ref(), values::column);
        let interval_s = reader.read("interval", asked.interval.as_ref(), values::seconds);
        let transition =
            reader.read("source_transition", asked.source_transition.as_ref(), characterise::transition);
        let band_hz = reader.read("band", asked.band.as_ref(), characterise::band);
        let limit = reader.read("limit", asked.limit.as_ref(), values::tolerance).unwrap_or(0.03);
        if column.is_some() && column == reference {
            reader.wrong(
                "reference",
                "this is the probe's own column; name the one that shows the source itself",
            );
        }
        match (asked.sine, asked.stored.len()) {
            (true, _) if reference.is_none() => {
                reader.wrong("reference", "sines need a column that shows the source itself");
            }
            (true, 0 | 1) => {
                reader.wrong("stored", "sines need captures at two frequencies or more, one file each")
            }
            (true, 17..) => reader.wrong("stored", "at most 16 captures at a time"),
            (false, 1) | (true, _) => {}
            (false, _) => {
                reader.wrong("stored", "edges come from one capture; give one file, or sines of several")
            }
        }
        if transition.is_some() && reference.is_some() {
            reader.wrong("source_transition", "the reference column shows the source; leave one of them out");
        }
        reader.finish()?;
        let files =
            asked.stored.iter().map(|id| app.store.find(id, app.clock.now())).collect::<Answer<Vec<_>>>()?;
        let request = characterise::Request {
            captures: files.iter().map(|file| file.path.clone()).collect(),
            read: ReadOptions {
                column: column.map(usize::from),
                reference: reference.map(usize::from),
                interval_s,
            },
            evidence: match (asked.sine, reference) {
                (true, _) => Evidence::Sines,
                (false, Some(_)) => Evidence::EdgesWithReference,
                (false, None) => Evidence::Edges(transition),
            },
            settings: Settings { expanded_limit: limit, band_hz },
        };
        let bare = |text: &str| {
            files.iter().fold(text.to_owned(), |text, file| {
                text.replace(&file.path.display().to_string(), &file.name)
            })
        };
        let mut subject =
            characterise::characterised(&request).map_err(|message| Problem::unreadable(bare(&message)))?;
        for ((name, _), file) in subject.captures.iter_mut().zip(&files) {
            name.clone_from(&file.name);
        }
        for finding in &mut subject.found.findings {
            finding.message = bare(&finding.message);
        }
        let text = flattop_report::characterise::json::of(&subject);
        let stem = files.first().and_then(|file| file.name.split('.').next()).unwrap_or("response");
        let downloads = if subject.found.points.is_empty() {
            None
        } else {
            let network = characterise::touchstone(&subject).map_err(Problem::undetermined)?;
            Some(Downloads {
                s2p: saved(&app, &format!("{stem}.s2p"), &network)?,
                json: saved(&app, &format!("{stem}-response.json"), &text)?,
                csv: saved(
                    &app,
                    &format!("{stem}-response.csv"),
                    &flattop_report::characterise::csv(&subject),
                )?,
            })
        };
        Ok(Json(Characterised { result: object(&text)?, downloads }))
    })
    .await
}

#[allow(clippy::disallowed_methods)] // our own file
fn saved(app: &App, name: &str, text: &str) -> Answer<Download> {
    let (id, file) = app.store.place(name)?;
    std::fs::write(&file.path, text).map_err(|error| full(&error))?;
    Ok(app.store.offer(id, file, app.clock.now()))
}

/// One probe of a pair: its id on the bench, an assessment, or a plan.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(untagged)]
pub(super) enum SideAsked {
    OnBench(String),
    Assessment {
        #[schema(value_type = Object)]
        assessment: Value,
    },
    Plan(PlanAsked),
}

/// Two probes, used as a difference or for the time between them.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PairAsked {
    a: SideAsked,
    b: SideAsked,
    /// A list, or `START:STOP:COUNT`.
    #[schema(value_type = Option<String>)]
    frequencies: Option<Text>,
    /// Ids of stored captures of the same edge on both: one with two columns, or two.
    #[serde(default)]
    edges: Vec<String>,
    #[schema(value_type = Option<u16>)]
    column_a: Option<Text>,
    #[schema(value_type = Option<u16>)]
    column_b: Option<Text>,
    #[schema(value_type = Option<String>)]
    interval: Option<Text>,
    #[schema(value_type = Option<String>)]
    skew: Option<Text>,
    #[schema(value_type = Option<String>)]
    gain_ratio: Option<Text>,
    #[schema(value_type = Option<String>)]
    common_mode: Option<Text>,
    #[schema(value_type = Option<String>)]
    power: Option<Text>,
    #[schema(value_type = Option<String>)]
    switching: Option<Text>,
    #[schema(value_type = Option<String>)]
    delay: Option<Text>,
}

fn side(app: &App, at: &str, asked: &SideAsked) -> Answer<pair::Side> {
    match asked {
        SideAsked::OnBench(probe) => {
            pair::on_bench(&app.bench, probe).map_err(|trouble| troubled(trouble).at(at))
        }
        SideAsked::Assessment { assessment } => {
            let found = found::from_json(SENT, &assessment.to_string())
                .map_err(|trouble| troubled(trouble).at(at))?;
            Ok(pair::Side::Found(Box::new(found)))
        }
        SideAsked::Plan(plan) => {
            let plan = plan.read(&[], &OnBench::new(&app.bench, Which::InForce))?;
            pair::planned(format!("plan of {at}"), &plan, Path::new("")).map_err(super::plan::failed)
        }
    }
}

/// How two probes do together
#[utoipa::path(post, path = "/api/plan/pair", tag = "plan", request_body = PairAsked, responses((status = 200, body = super::openapi::Pair)))]
pub(super) async fn pair_of(State(app): State<Shared>, Typed(asked): Typed<PairAsked>) -> Answer<Written> {
    work(move || {
        let mut reader = Reader::default();
        let usual = Text("100,1k,10k,100k,1M,10M".to_owned());
        let frequencies =
            asked.frequencies.as_ref().filter(|text| !text.0.trim().is_empty()).unwrap_or(&usual);
        let frequency_hz = reader.read("frequencies", Some(frequencies), values::frequencies);
        let column_a = reader.read("column_a", asked.column_a.as_ref(), values::column);
        let column_b = reader.read("column_b", asked.column_b.as_ref(), values::column);
        let interval_s = reader.read("interval", asked.interval.as_ref(), values::seconds);
        let skew_s = reader.read("skew", asked.skew.as_ref(), values::signed_seconds);
        let gain_ratio = reader.read("gain_ratio", asked.gain_ratio.as_ref(), values::gain_ratio);
        let common_mode_v = reader.read("common_mode", asked.common_mode.as_ref(), values::volts);
        let power = reader.read("power", asked.power.as_ref(), values::power);
        let switching = reader.read("switching", asked.switching.as_ref(), values::switching);
        let delay_s = reader.read("delay", asked.delay.as_ref(), values::seconds);
        if let Err(message) = pair::check_edges(asked.edges.len(), column_a, column_b) {
            reader.wrong("edges", message);
        }
        reader.finish()?;
        let files =
            asked.edges.iter().map(|id| app.store.find(id, app.clock.now())).collect::<Answer<Vec<_>>>()?;
        let request = pair::Request {
            a: side(&app, "a", &asked.a)?,
            b: side(&app, "b", &asked.b)?,
            frequency_hz: frequency_hz.unwrap_or_default(),
            edges: files.iter().map(|file| file.path.clone()).collect(),
            column_a,
            column_b,
            interval_s,
            skew_s,
            gain_ratio,
            common_mode_v,
            power,
            switching,
            delay_s,
        };
        let subject = pair::told(&request).map_err(|trouble| match files.first() {
            Some(file) => without_path(trouble, file),
            None => troubled(trouble),
        })?;
        let text = flattop_report::pair::json::write_json(&subject);
        // Where things lie on the server is nobody's business.
        let bare =
            files.iter().fold(text, |text, file| text.replace(&file.path.display().to_string(), &file.name));
        Ok(Written(bare))
    })
    .await
}
