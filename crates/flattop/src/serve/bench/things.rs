//! Oscilloscopes, inputs, probes and what goes with them: add, show, edit, remove.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::http::StatusCode;
use flattop_core::bench::{Id, InputId};
use flattop_register::{Change, Thing, ground_fields, input_fields, oscilloscope_fields, probe_fields};
use flattop_report::bench::{json, text};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::super::answer::{Answer, FieldProblem, Json, Named, Problem, Typed, work};
use super::super::assess::object;
use super::super::state::{App, Shared};
use super::super::typed::{DoingAsked, Reader, Unknown};
use super::draft::{Draft, Kind, typed};
use super::{Fields, change, must_read, told};
use crate::bench::shown;
use crate::workbench::now;

/// A thing to be put on the bench.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::serve) struct AddAsked {
    /// Its name: lower-case letters, digits and single hyphens.
    #[serde(alias = "name")]
    id: String,
    /// Name and value as typed.
    #[serde(default)]
    #[schema(value_type = Object)]
    fields: Fields,
}

/// What was put on the bench.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct Added {
    id: String,
}

/// Fields to be changed.
#[derive(Debug, Deserialize, ToSchema)]
pub(in crate::serve) struct EditAsked {
    /// Name and new value; null for not known.
    #[schema(value_type = Object)]
    fields: Fields,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// What was changed, in words.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct Changes {
    changes: Vec<String>,
}

impl Changes {
    pub(super) fn of(changes: &[Change]) -> Self {
        Self { changes: changes.iter().map(text::change).collect() }
    }
}

/// A thing was taken off the bench.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct Removed {
    /// Whether it is kept out of use, since pairings or the logbook speak of it.
    retired: bool,
    changes: Vec<String>,
}

/// Everything about a thing (docs/bench-json.md), and its fields as they would be typed.
#[derive(Serialize)]
pub(in crate::serve) struct ThingShown {
    #[serde(flatten)]
    result: Map<String, Value>,
    fields: BTreeMap<&'static str, String>,
}

fn id(at: &str, text: &str) -> Answer<Id> {
    Id::new(text).map_err(|error| Problem::field(at, error.to_string()))
}

/// A name in a path leads nowhere when it cannot be one.
fn known(text: &str) -> Answer<Id> {
    Id::new(text).map_err(|error| Problem::not_found(error.to_string()))
}

fn input(scope: &str, name: &str) -> Answer<InputId> {
    Ok(InputId { oscilloscope: known(scope)?, name: known(name)? })
}

fn add(app: &App, kind: Kind, of: Option<&str>, asked: &AddAsked) -> Answer<(StatusCode, Json<Added>)> {
    let name = id("id", &asked.id);
    let mut draft = match &name {
        Ok(name) => Draft::named(kind, name.clone()),
        Err(_) => Draft::new(kind).map_err(told)?,
    };
    let mut problems = draft.fill(&asked.fields);
    if let Err(error) = Id::new(&asked.id) {
        problems.insert(0, FieldProblem { at: "id".to_owned(), message: error.to_string() });
    }
    wrong(problems)?;
    let name = name?;
    let mut register = change(app)?;
    let done = match (&draft, of) {
        (Draft::Oscilloscope(scope), _) => register.add_oscilloscope(scope),
        (Draft::Probe(probe), _) => register.add_probe(probe),
        (Draft::Input(input), Some(of)) => register.add_input(&known(of)?, input),
        (Draft::Ground(accessory), Some(of)) => register.add_ground(&known(of)?, accessory),
        (Draft::Input(_) | Draft::Ground(_), None) => return Err(Problem::internal()),
    };
    done.map_err(told)?;
    let id = of.map_or_else(|| name.to_string(), |of| format!("{of}/{name}"));
    Ok((StatusCode::CREATED, Json(Added { id })))
}

fn wrong(problems: Vec<FieldProblem>) -> Answer<()> {
    let Some(first) = problems.first() else { return Ok(()) };
    let message = match problems.len() {
        1 => format!("{}: {}", first.at, first.message),
        n => format!("{n} fields cannot be used, the first is {}: {}", first.at, first.message),
    };
    let problem = Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "invalid-fields", message);
    Err(problem.with_fields(problems))
}

fn show(app: &App, thing: Thing) -> Answer<Json<ThingShown>> {
    let register = must_read(app)?;
    let fields = match &thing {
        Thing::Oscilloscope(id) => oscilloscope_fields(&register.oscilloscope(id).map_err(told)?),
        Thing::Input(id) => input_fields(&register.input(id).map_err(told)?),
        Thing::Probe(id) => probe_fields(&register.probe(id).map_err(told)?),
        Thing::Ground(probe, name) => {
            let all = register.probe(probe).map_err(told)?.ground_accessories;
            let found = all.iter().find(|accessory| accessory.name == *name);
            found.map(ground_fields).unwrap_or_default()
        }
        Thing::Pairing(_) => Vec::new(),
    };
    let shown = shown(&register, thing, now().unix_ms).map_err(told)?;
    Ok(Json(ThingShown { result: object(&json::show(&shown))?, fields: fields.into_iter().collect() }))
}

pub(super) fn edit(app: &App, thing: &Thing, asked: &EditAsked) -> Answer<Json<Changes>> {
    let mut reader = Reader::default();
    reader.refuse(&asked.unknown);
    let doing = asked.doing.read(&mut reader);
    reader.finish()?;
    let act = doing.act().map_err(|message| Problem::field("at", message))?;
    must_read(app)?;
    let mut register = change(app)?;
    if let Some(mut draft) = Draft::of(&register, thing).map_err(told)? {
        wrong(draft.fill(&asked.fields))?;
    }
    let fields: Vec<(&str, Option<&str>)> = typed(&asked.fields).collect();
    register.edit(thing, &fields, &act).map(|changes| Json(Changes::of(&changes))).map_err(told)
}

fn remove(app: &App, thing: &Thing) -> Answer<Json<Removed>> {
    must_read(app)?;
    let act = crate::workbench::Doing::default().act().map_err(Problem::bench)?;
    let change = change(app)?.remove(thing, &act).map_err(told)?;
    let retired = matches!(change, Change::Retired { .. });
    Ok(Json(Removed { retired, changes: vec![text::change(&change)] }))
}

/// Put an oscilloscope on the bench
#[utoipa::path(post, path = "/api/bench/oscilloscopes", tag = "bench", request_body = AddAsked, responses((status = 201, body = Added)))]
pub(in crate::serve) async fn add_oscilloscope(
    State(app): State<Shared>,
    Typed(asked): Typed<AddAsked>,
) -> Answer<(StatusCode, Json<Added>)> {
    work(move || add(&app, Kind::Oscilloscope, None, &asked)).await
}

/// Show an oscilloscope
#[utoipa::path(get, path = "/api/bench/oscilloscopes/{id}", tag = "bench", params(("id" = String, Path,)), responses((status = 200, body = Object)))]
pub(in crate::serve) async fn show_oscilloscope(
    State(app): State<Shared>,
    Named(id): Named<String>,
) -> Answer<Json<ThingShown>> {
    work(move || show(&app, Thing::Oscilloscope(known(&id)?))).await
}

/// Change fields of an oscilloscope
#[utoipa::path(patch, path = "/api/bench/oscilloscopes/{id}", tag = "bench", params(("id" = String, Path,)), request_body = EditAsked, responses((status = 200, body = Changes)))]
pub(in crate::serve) async fn edit_oscilloscope(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Typed(asked): Typed<EditAsked>,
) -> Answer<Json<Changes>> {
    work(move || edit(&app, &Thing::Oscilloscope(known(&id)?), &asked)).await
}

/// Take an oscilloscope off the bench
#[utoipa::path(delete, path = "/api/bench/oscilloscopes/{id}", tag = "bench", params(("id" = String, Path,)), responses((status = 200, body = Removed)))]
pub(in crate::serve) async fn remove_oscilloscope(
    State(app): State<Shared>,
    Named(id): Named<String>,
) -> Answer<Json<Removed>> {
    work(move || remove(&app, &Thing::Oscilloscope(known(&id)?))).await
}

/// Put an input on an oscilloscope
#[utoipa::path(post, path = "/api/bench/oscilloscopes/{id}/inputs", tag = "bench", params(("id" = String, Path,)), request_body = AddAsked, responses((status = 201, body = Added)))]
pub(in crate::serve) async fn add_input(
    State(app): State<Shared>,
    Named(of): Named<String>,
    Typed(asked): Typed<AddAsked>,
) -> Answer<(StatusCode, Json<Added>)> {
    work(move || add(&app, Kind::Input, Some(&of), &asked)).await
}

/// Show an input
#[utoipa::path(get, path = "/api/bench/oscilloscopes/{id}/inputs/{name}", tag = "bench", params(("id" = String, Path,), ("name" = String, Path,)), responses((status = 200, body = Object)))]
pub(in crate::serve) async fn show_input(
    State(app): State<Shared>,
    Named((of, name)): Named<(String, String)>,
) -> Answer<Json<ThingShown>> {
    work(move || show(&app, Thing::Input(input(&of, &name)?))).await
}

/// Change fields of an input
#[utoipa::path(patch, path = "/api/bench/oscilloscopes/{id}/inputs/{name}", tag = "bench", params(("id" = String, Path,), ("name" = String, Path,)), request_body = EditAsked, responses((status = 200, body = Changes)))]
pub(in crate::serve) async fn edit_input(
    State(app): State<Shared>,
    Named((of, name)): Named<(String, String)>,
    Typed(asked): Typed<EditAsked>,
) -> Answer<Json<Changes>> {
    work(move || edit(&app, &Thing::Input(input(&of, &name)?), &asked)).await
}

/// Take an input off the bench
#[utoipa::path(delete, path = "/api/bench/oscilloscopes/{id}/inputs/{name}", tag = "bench", params(("id" = String, Path,), ("name" = String, Path,)), responses((status = 200, body = Removed)))]
pub(in crate::serve) async fn remove_input(
    State(app): State<Shared>,
    Named((of, name)): Named<(String, String)>,
) -> Answer<Json<Removed>> {
    work(move || remove(&app, &Thing::Input(input(&of, &name)?))).await
}

/// Put a probe on the bench
#[utoipa::path(post, path = "/api/bench/probes", tag = "bench", request_body = AddAsked, responses((status = 201, body = Added)))]
pub(in crate::serve) async fn add_probe(
    State(app): State<Shared>,
    Typed(asked): Typed<AddAsked>,
) -> Answer<(StatusCode, Json<Added>)> {
    work(move || add(&app, Kind::Probe, None, &asked)).await
}

/// Show a probe
#[utoipa::path(get, path = "/api/bench/probes/{id}", tag = "bench", params(("id" = String, Path,)), responses((status = 200, body = Object)))]
pub(in crate::serve) async fn show_probe(
    State(app): State<Shared>,
    Named(id): Named<String>,
) -> Answer<Json<ThingShown>> {
    work(move || show(&app, Thing::Probe(known(&id)?))).await
}

/// Change fields of a probe
#[utoipa::path(patch, path = "/api/bench/probes/{id}", tag = "bench", params(("id" = String, Path,)), request_body = EditAsked, responses((status = 200, body = Changes)))]
pub(in crate::serve) async fn edit_probe(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Typed(asked): Typed<EditAsked>,
) -> Answer<Json<Changes>> {
    work(move || edit(&app, &Thing::Probe(known(&id)?), &asked)).await
}

/// Take a probe off the bench
#[utoipa::path(delete, path = "/api/bench/probes/{id}", tag = "bench", params(("id" = String, Path,)), responses((status = 200, body = Removed)))]
pub(in crate::serve) async fn remove_probe(
    State(app): State<Shared>,
    Named(id): Named<String>,
) -> Answer<Json<Removed>> {
    work(move || remove(&app, &Thing::Probe(known(&id)?))).await
}

/// Put a ground lead or spring to a probe
#[utoipa::path(post, path = "/api/bench/probes/{id}/grounds", tag = "bench", params(("id" = String, Path,)), request_body = AddAsked, responses((status = 201, body = Added)))]
pub(in crate::serve) async fn add_ground(
    State(app): State<Shared>,
    Named(of): Named<String>,
    Typed(asked): Typed<AddAsked>,
) -> Answer<(StatusCode, Json<Added>)> {
    work(move || add(&app, Kind::Ground, Some(&of), &asked)).await
}

/// Show a ground lead or spring
#[utoipa::path(get, path = "/api/bench/probes/{id}/grounds/{name}", tag = "bench", params(("id" = String, Path,), ("name" = String, Path,)), responses((status = 200, body = Object)))]
pub(in crate::serve) async fn show_ground(
    State(app): State<Shared>,
    Named((of, name)): Named<(String, String)>,
) -> Answer<Json<ThingShown>> {
    work(move || show(&app, Thing::Ground(known(&of)?, known(&name)?))).await
}

/// Change fields of a ground lead or spring
#[utoipa::path(patch, path = "/api/bench/probes/{id}/grounds/{name}", tag = "bench", params(("id" = String, Path,), ("name" = String, Path,)), request_body = EditAsked, responses((status = 200, body = Changes)))]
pub(in crate::serve) async fn edit_ground(
    State(app): State<Shared>,
    Named((of, name)): Named<(String, String)>,
    Typed(asked): Typed<EditAsked>,
) -> Answer<Json<Changes>> {
    work(move || edit(&app, &Thing::Ground(known(&of)?, known(&name)?), &asked)).await
}

/// Take a ground lead or spring from a probe
#[utoipa::path(delete, path = "/api/bench/probes/{id}/grounds/{name}", tag = "bench", params(("id" = String, Path,), ("name" = String, Path,)), responses((status = 200, body = Removed)))]
pub(in crate::serve) async fn remove_ground(
    State(app): State<Shared>,
    Named((of, name)): Named<(String, String)>,
) -> Answer<Json<Removed>> {
    work(move || remove(&app, &Thing::Ground(known(&of)?, known(&name)?))).await
}
