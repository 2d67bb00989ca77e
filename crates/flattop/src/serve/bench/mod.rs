//! The bench: all of it, what fields things have, checks while somebody types, exchange with files.

mod draft;
mod measure;
mod pairings;
mod things;

use std::collections::BTreeMap;

use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use flattop_core::bench::Id;
use flattop_core::quantity::Unit;
use flattop_register::{Kind as FieldKind, RegisterError, Retired, Thing, fields_of};
use flattop_report::bench::{Overview, json};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::answer::{Answer, Asked, FieldProblem, Json, Named, Problem, Typed, Written, work};
use super::state::{App, Shared};
use super::stored::attachment;
use super::typed::{DoingAsked, Reader, Text, Unknown};
use crate::bench;
use crate::workbench::now;
use draft::{Draft, Kind};
pub(super) use measure::*;
pub(super) use pairings::*;
pub(super) use things::*;

/// Fields as typed; null or an empty text for not known.
pub(super) type Fields = BTreeMap<String, Option<Text>>;

/// Opens the bench to read it; `None` where there is none yet.
pub(super) fn read(app: &App) -> Answer<Option<flattop_register::Register>> {
    let path = app.bench.path().map_err(Problem::bench)?;
    if !path.exists() {
        return Ok(None);
    }
    app.bench.read().map(Some).map_err(Problem::bench)
}

/// Opens the bench to read it; there has to be one.
pub(super) fn must_read(app: &App) -> Answer<flattop_register::Register> {
    read(app)?.ok_or_else(|| {
        Problem::not_found("there is no bench yet; add an oscilloscope or a probe to begin one")
    })
}

/// Opens the bench to change it; it is made where there is none.
pub(super) fn change(app: &App) -> Answer<flattop_register::Register> {
    app.bench.change_or_make().map_err(Problem::bench)
}

/// What the bench says, for the one who asked.
pub(super) fn told(error: RegisterError) -> Problem {
    let message = error.to_string();
    match &error {
        RegisterError::NotFound { .. } => Problem::not_found(message),
        RegisterError::Taken { .. } => Problem::conflict(message.clone())
            .with_fields(vec![FieldProblem { at: "id".to_owned(), message }]),
        RegisterError::Retired { .. }
        | RegisterError::Paired { .. }
        | RegisterError::SamePlace { .. }
        | RegisterError::Void { .. } => Problem::conflict(message),
        RegisterError::UnknownKey { key, .. } => Problem::field(key, message),
        RegisterError::Entity(entity) => Problem::field(entity.key(), message),
        RegisterError::Id(_) => Problem::field("id", message),
        RegisterError::Value(_) => Problem::field("fields", message),
        RegisterError::Entry { quantity, .. } => Problem::field(quantity, message),
        RegisterError::Import(import) => {
            let at = import.to_string();
            let at = at.split([',', ':']).next().unwrap_or("line 1").to_owned();
            Problem::field(&at, message)
        }
        RegisterError::Locked => {
            Problem::new(StatusCode::SERVICE_UNAVAILABLE, "busy", message).retry_after(1)
        }
        RegisterError::Full => Problem::new(StatusCode::INSUFFICIENT_STORAGE, "storage-full", message),
        _ => Problem::bench(message),
    }
}

/// Query of the bench.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct BenchAsked {
    /// Also what is out of use, and pairings that ended.
    #[serde(default)]
    all: bool,
}

/// The whole bench
#[utoipa::path(get, path = "/api/bench", tag = "bench", params(BenchAsked), responses((status = 200, body = super::openapi::Bench)))]
pub(super) async fn all(State(app): State<Shared>, Asked(asked): Asked<BenchAsked>) -> Answer<Written> {
    work(move || {
        let overview = match read(&app)? {
            Some(register) => bench::overview(&register, asked.all).map_err(Problem::bench)?,
            None => {
                let now = now();
                Overview {
                    oscilloscopes: Vec::new(),
                    probes: Vec::new(),
                    standings: Vec::new(),
                    now_unix_ms: now.unix_ms,
                    offset_minutes: now.offset_minutes,
                }
            }
        };
        Ok(Written(json::overview(&overview)))
    })
    .await
}

/// A field of a thing.
#[derive(Serialize, ToSchema)]
pub(super) struct FieldShown {
    /// As it is named in requests.
    key: &'static str,
    /// How it is written: `text`, `number`, `quantity`, `toleranced`, `range`, `days`, `rating`, `word`.
    form: &'static str,
    /// One that could stand there.
    example: String,
    /// The words that may stand there; empty for other forms.
    words: Vec<&'static str>,
}

/// The fields of each kind of thing.
#[derive(Serialize, ToSchema)]
pub(super) struct AllFields {
    oscilloscope: Vec<FieldShown>,
    input: Vec<FieldShown>,
    probe: Vec<FieldShown>,
    ground: Vec<FieldShown>,
    pairing: Vec<FieldShown>,
}

/// A value that a thing of a bench could have.
fn example(unit: Unit) -> &'static str {
    match unit {
        Unit::Ohm => "1 MΩ",
        Unit::Farad => "15 pF",
        Unit::Henry => "150 nH",
        Unit::Hertz => "200 MHz",
        Unit::Volt => "300 V",
        Unit::Metre => "1.2 m",
        Unit::Ratio => "1 %",
        Unit::OhmPerMetre => "200",
        Unit::FaradPerMetre => "60p",
        Unit::HenryPerMetre => "300n",
        other => other.example(),
    }
}

fn shown(thing: &Thing) -> Vec<FieldShown> {
    let all = fields_of(thing).into_iter().map(|info| {
        let (form, words, example): (_, &[&'static str], String) = match info.kind {
            FieldKind::Text => ("text", &[], String::new()),
            FieldKind::Number => ("number", &[], "10".to_owned()),
            FieldKind::Quantity(unit) => ("quantity", &[], example(unit).to_owned()),
            FieldKind::Toleranced(unit) => ("toleranced", &[], format!("{} ± 5 %", example(unit))),
            FieldKind::Range(Unit::Farad) => ("range", &[], "8 pF to 18 pF".to_owned()),
            FieldKind::Range(unit) => ("range", &[], format!("1 {0} to 2 {0}", unit.symbol())),
            FieldKind::Days => ("days", &[], "90 days".to_owned()),
            FieldKind::Response => {
                let words = &[
                    "single-pole",
                    "gaussian",
                    "bessel-4",
                    "maximally-flat-2",
                    "maximally-flat-3",
                    "maximally-flat-4",
                ];
                ("word", words, String::new())
            }
            FieldKind::Trimmer => ("word", &["tip", "base", "fixed"], String::new()),
            FieldKind::Category => ("word", &["CAT II", "CAT III", "CAT IV"], String::new()),
            FieldKind::ValueKind => ("word", &["peak", "rms", "dc"], String::new()),
            FieldKind::Rating => ("rating", &[], "600 V at 0 Hz; 300 V at 10 MHz".to_owned()),
        };
        FieldShown { key: info.key, form, example, words: words.to_vec() }
    });
    all.collect()
}

/// Which fields things of a bench have
#[utoipa::path(get, path = "/api/bench/fields", tag = "bench", responses((status = 200, body = AllFields)))]
pub(super) async fn fields() -> Answer<Json<AllFields>> {
    let id = Id::new("x").map_err(|_| Problem::internal())?;
    let input = flattop_core::bench::InputId { oscilloscope: id.clone(), name: id.clone() };
    Ok(Json(AllFields {
        oscilloscope: shown(&Thing::Oscilloscope(id.clone())),
        input: shown(&Thing::Input(input)),
        probe: shown(&Thing::Probe(id.clone())),
        ground: shown(&Thing::Ground(id.clone(), id)),
        pairing: shown(&Thing::Pairing(1)),
    }))
}

/// Fields to be checked.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CheckAsked {
    kind: Kind,
    /// Name and value as typed.
    #[schema(value_type = Object)]
    fields: Fields,
}

/// What is wrong with fields; empty where all is well.
#[derive(Serialize, ToSchema)]
pub(super) struct Checked {
    fields: Vec<FieldProblem>,
}

/// Check fields while somebody types; nothing is changed
#[utoipa::path(post, path = "/api/bench/check", tag = "bench", request_body = CheckAsked, responses((status = 200, body = Checked)))]
pub(super) async fn check(Typed(asked): Typed<CheckAsked>) -> Answer<Json<Checked>> {
    Ok(Json(Checked { fields: Draft::new(asked.kind).map_err(told)?.fill(&asked.fields) }))
}

/// Something that is out of use.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct ReinstateAsked {
    /// `probe:probe-07`, `oscilloscope:bench-a`, `bench-a/ch1`, `probe-07/spring`.
    thing: String,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Take a thing into use again
#[utoipa::path(post, path = "/api/bench/reinstate", tag = "bench", request_body = ReinstateAsked, responses((status = 200, body = Changes)))]
pub(super) async fn reinstate(
    State(app): State<Shared>,
    Typed(asked): Typed<ReinstateAsked>,
) -> Answer<Json<Changes>> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let doing = asked.doing.read(&mut reader);
        reader.finish()?;
        let act = doing.act().map_err(|message| Problem::field("at", message))?;
        must_read(&app)?;
        let mut register = change(&app)?;
        let thing = crate::workbench::thing(&register, &asked.thing)
            .map_err(|message| Problem::not_found(message).at("thing"))?;
        Ok(Json(Changes::of(&[register.reinstate(&thing, &act).map_err(told)?])))
    })
    .await
}

/// The bench as TOML
#[utoipa::path(get, path = "/api/bench/export", tag = "bench", responses((status = 200, content_type = "application/toml", body = String)))]
pub(super) async fn export(State(app): State<Shared>) -> Answer<Response> {
    let text = work(move || must_read(&app)?.export_toml().map_err(told)).await?;
    Ok(file("bench.toml", "application/toml", text))
}

/// A list as CSV: `probes.csv` or `inputs.csv`
#[utoipa::path(get, path = "/api/bench/export/{list}", tag = "bench", params(("list" = String, Path,)), responses((status = 200, content_type = "text/csv", body = String)))]
pub(super) async fn export_list(State(app): State<Shared>, Named(list): Named<String>) -> Answer<Response> {
    let (name, text) = work(move || {
        let register = must_read(&app)?;
        match list.as_str() {
            "probes.csv" => Ok(("probes.csv", register.probes_csv(Retired::Shown).map_err(told)?)),
            "inputs.csv" => Ok(("inputs.csv", register.inputs_csv(Retired::Shown).map_err(told)?)),
            _ => Err(Problem::not_found("lists are probes.csv and inputs.csv")),
        }
    })
    .await?;
    Ok(file(name, "text/csv; charset=utf-8", text))
}

/// Text to be saved as a file.
pub(super) fn file(name: &str, media_type: &'static str, text: String) -> Response {
    let mut headers: HeaderMap = attachment(name);
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(media_type));
    (headers, text).into_response()
}

/// What is to be added.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct ImportAsked {
    /// A bench as TOML.
    toml: Option<String>,
    /// Or a list of probes or inputs as CSV.
    csv: Option<String>,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// How many were added.
#[derive(Serialize, ToSchema)]
pub(super) struct ImportedShown {
    oscilloscopes: usize,
    inputs: usize,
    probes: usize,
    pairings: usize,
    /// Number of the entry of the logbook.
    entry: i64,
}

/// Add everything from a file, or nothing
#[utoipa::path(post, path = "/api/bench/import", tag = "bench", request_body = ImportAsked, responses((status = 200, body = ImportedShown)))]
pub(super) async fn import(
    State(app): State<Shared>,
    Typed(asked): Typed<ImportAsked>,
) -> Answer<Json<ImportedShown>> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let doing = asked.doing.read(&mut reader);
        reader.finish()?;
        let act = doing.act().map_err(|message| Problem::field("at", message))?;
        let imported = match (&asked.toml, &asked.csv) {
            (Some(text), None) => change(&app)?.import_toml(text, &act),
            (None, Some(text)) => change(&app)?.import_csv(text, &act),
            _ => return Err(Problem::field("toml", "give the text of one file, as toml or as csv")),
        };
        let imported = imported.map_err(told)?;
        Ok(Json(ImportedShown {
            oscilloscopes: imported.oscilloscopes,
            inputs: imported.inputs,
            probes: imported.probes,
            pairings: imported.pairings.len(),
            entry: imported.entry.seq,
        }))
    })
    .await
}
