//! Assessing: bytes of a capture, readings off a screen, a stored capture into the logbook.

use axum::extract::State;
use flattop_captures::{Capture, ReadOptions};
use flattop_report::json;
use flattop_report::subject::{Assumptions, Subject};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::{IntoParams, ToSchema};

use super::answer::{Answer, Asked, CaptureBytes, Json, Problem, Typed, work};
use super::drawing::Drawing;
use super::state::Shared;
use super::stored::tidy_name;
use super::typed::{CircuitAsked, ColumnsAsked, LogAsked, Reader, Text, Unknown};
use crate::assess::{self, Known, Levels};
use crate::logged::{self, Settings};
use crate::values;

/// Query of an assessment.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct AssessAsked {
    /// Name of the capture.
    #[serde(default)]
    name: String,
    /// Whether the capture is stored, for zooming and for the logbook.
    #[serde(default)]
    keep: Option<String>,
    #[serde(flatten)]
    #[param(inline, value_type = CircuitAsked)]
    circuit: CircuitAsked,
    #[serde(flatten)]
    #[param(inline, value_type = ColumnsAsked)]
    columns: ColumnsAsked,
    #[serde(flatten)]
    #[param(ignore)]
    unknown: Unknown,
}

/// An assessment as `flattop assess --json` writes it (docs/json.md), and what the page draws of it.
#[derive(Serialize)]
pub(super) struct Assessed {
    #[serde(flatten)]
    result: Map<String, Value>,
    /// Id of the stored capture.
    stored: Option<String>,
    drawing: Drawing,
}

impl Assessed {
    pub(super) fn of(subject: Subject, stored: Option<String>) -> Answer<Self> {
        let drawing = Drawing::of(&subject.assessment);
        let result = object(&json::one(&Ok(subject)))?;
        Ok(Self { result, stored, drawing })
    }
}

/// The object that one of the program's writers of JSON wrote.
pub(super) fn object(text: &str) -> Answer<Map<String, Value>> {
    serde_json::from_str(text).map_err(|_| Problem::internal())
}

/// Assess a capture of a square wave, or one with the source in a second column
#[utoipa::path(post, path = "/api/assess", tag = "assess", params(AssessAsked),
    request_body(content_type = "application/octet-stream", content = Vec<u8>, description = "text, NPY or WAV, also packed"),
    responses((status = 200, body = super::openapi::Assessment)))]
pub(super) async fn assess(
    State(app): State<Shared>,
    Asked(asked): Asked<AssessAsked>,
    CaptureBytes(bytes): CaptureBytes,
) -> Answer<Json<Assessed>> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let circuit = asked.circuit.read(&mut reader);
        let read = asked.columns.read(&mut reader);
        reader.finish()?;
        let known = asked.circuit.known(&app, &circuit, false)?;
        let (assumptions, tolerance) = circuit.assumed(&known);
        let name = tidy_name(&asked.name);
        let capture = capture_of(&name, &bytes, &read)?;
        let subject = squared(name.clone(), &capture, &assumptions, tolerance, &known);
        let is_text = capture.format.content == flattop_captures::Content::Text;
        let keeps = asked.keep.as_deref().is_some_and(|keep| matches!(keep, "true" | "yes" | "1"));
        let stored = keeps.then(|| app.store.keep(&name, &bytes, is_text, app.clock.now())).transpose()?;
        Assessed::of(subject, stored).map(Json)
    })
    .await
}

/// Reads a capture; what is wrong with it is the sender's.
pub(super) fn capture_of(name: &str, bytes: &[u8], read: &ReadOptions) -> Answer<Capture> {
    flattop_captures::read_bytes(name, bytes, read).map_err(|error| Problem::unreadable(error.to_string()))
}

/// As `flattop assess CAPTURE` does it.
pub(super) fn squared(
    name: String,
    capture: &Capture,
    assumptions: &Assumptions,
    tolerance: f64,
    known: &Known,
) -> Subject {
    let mut subject = assess::square(name, capture, assumptions, tolerance);
    finish(&mut subject, known);
    subject
}

fn finish(subject: &mut Subject, known: &Known) {
    assess::remark_on_divider(subject);
    subject.assessment.findings.splice(0..0, known.findings.iter().cloned());
    subject.on_bench = known.on_bench.clone();
}

/// Readings off a screen.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct ByEyeAsked {
    /// Level just after the rising edge, counted from the level before it; divisions, or volts with a unit.
    #[schema(value_type = String)]
    start: Text,
    /// Level just before the falling edge.
    #[schema(value_type = String)]
    end: Text,
    /// Finest step that could be told apart.
    #[schema(value_type = Option<String>)]
    resolution: Option<Text>,
    /// Of the square wave; 1 kHz where it is left out.
    #[schema(value_type = Option<String>)]
    frequency: Option<Text>,
    /// Time from the edge until 37 % of the way from start to end is left.
    #[schema(value_type = Option<String>)]
    time_to_37: Option<Text>,
    #[serde(flatten)]
    circuit: CircuitAsked,
    /// Into the logbook.
    log: Option<LogAsked>,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Assess what the eye read off a screen
#[utoipa::path(post, path = "/api/assess/by-eye", tag = "assess", request_body = ByEyeAsked,
    responses((status = 200, body = super::openapi::Assessment)))]
pub(super) async fn by_eye(
    State(app): State<Shared>,
    Typed(asked): Typed<ByEyeAsked>,
) -> Answer<Json<Assessed>> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let start = reader.read("start", Some(&asked.start), values::level);
        let end = reader.read("end", Some(&asked.end), values::level);
        for (at, text) in [("start", &asked.start), ("end", &asked.end)] {
            if text.0.trim().is_empty() {
                reader.wrong(
                    at,
                    "no level is given; write divisions, for example 4.6, or a voltage, for example 460mV",
                );
            }
        }
        let resolution = reader.read("resolution", asked.resolution.as_ref(), values::level);
        let scale = start.map(|start| start.scale);
        for (at, level) in [("end", end), ("resolution", resolution)] {
            if level.is_some_and(|level| Some(level.scale) != scale && scale.is_some()) {
                reader.wrong(at, "start, end and resolution must all be in divisions, or all in volts");
            }
        }
        let frequency_hz = reader.read("frequency", asked.frequency.as_ref(), values::hertz);
        let time_to_37 = reader.read("time_to_37", asked.time_to_37.as_ref(), values::time_read);
        let circuit = asked.circuit.read(&mut reader);
        let log = asked.log.as_ref().map(|log| log.read(&app, &mut reader));
        reader.finish()?;
        let (Some(start), Some(end)) = (start, end) else { return Err(Problem::internal()) };
        let known = asked.circuit.known(&app, &circuit, log.is_some())?;
        let (assumptions, tolerance) = circuit.assumed(&known);
        let levels = Levels { start, end, resolution, frequency_hz, time_to_37 };
        let mut subject = assess::by_eye(&assumptions, tolerance, &levels)
            .map_err(|failure| Problem::undetermined(failure.message))?;
        finish(&mut subject, &known);
        if let Some((stage, place)) = log {
            let settings = Settings::of_levels(&levels, &assumptions, tolerance);
            enter(&mut subject, &settings, stage, &place, &[])?;
        }
        Assessed::of(subject, None).map(Json)
    })
    .await
}

/// A stored capture to be assessed and logged.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct LogStoredAsked {
    /// Id of the stored capture.
    stored: String,
    #[serde(flatten)]
    circuit: CircuitAsked,
    #[serde(flatten)]
    columns: ColumnsAsked,
    log: LogAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Assess a stored capture and write it into the logbook
#[utoipa::path(post, path = "/api/assess/log", tag = "assess", request_body = LogStoredAsked,
    responses((status = 200, body = super::openapi::Assessment)))]
pub(super) async fn log(
    State(app): State<Shared>,
    Typed(asked): Typed<LogStoredAsked>,
) -> Answer<Json<Assessed>> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let circuit = asked.circuit.read(&mut reader);
        let read = asked.columns.read(&mut reader);
        let (stage, place) = asked.log.read(&app, &mut reader);
        reader.finish()?;
        let known = asked.circuit.known(&app, &circuit, true)?;
        let (assumptions, tolerance) = circuit.assumed(&known);
        let file = app.store.find(&asked.stored, app.clock.now())?;
        let bytes = file.read(MOST_LOGGED)?;
        let capture = capture_of(&file.name, &bytes, &read)?;
        let mut subject = squared(file.name.clone(), &capture, &assumptions, tolerance, &known);
        let settings = Settings::of_capture(Some(file.name.clone()), &read, &assumptions, tolerance);
        enter(&mut subject, &settings, stage, &place, &[&bytes])?;
        Assessed::of(subject, Some(asked.stored)).map(Json)
    })
    .await
}

/// Most bytes of a capture that goes into the logbook from here.
const MOST_LOGGED: u64 = 256 << 20;

fn enter(
    subject: &mut Subject,
    settings: &Settings,
    stage: flattop_core::bench::Stage,
    place: &crate::trim::session::Place,
    captures: &[&[u8]],
) -> Answer<()> {
    let mut go = || {
        let act = place.doing.act()?;
        let mut register = place.bench.change()?;
        let record = logged::record_of(subject, settings, stage, place.temperature_c);
        logged::log_bytes(&mut register, subject, &record, captures, &act).map(|_| ())
    };
    go().map_err(Problem::conflict)
}
