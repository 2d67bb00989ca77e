//! The hand on a practice trimmer over HTTP: what a program may ask of a practice bench, in a session or by itself.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use flattop_practice::disturbance::Key;
use serde::Deserialize;
use tokio::net::TcpListener;
use utoipa::ToSchema;

use super::answer::{Answer, FieldProblem, Json, Problem, Typed};
use super::guard::{self, Hosts};
use super::typed::Unknown;
use crate::practise::running::{Practice, Standing};

/// What the hand does; all of it, in this order, or nothing.
#[derive(Debug, Default, Deserialize, ToSchema)]
pub(super) struct Hand {
    /// Disturbances by name, as they are written: `{"noise": "3 mV", "bits": 12}`.
    #[serde(default)]
    #[schema(value_type = Object)]
    set: BTreeMap<String, serde_json::Value>,
    /// Turn by so many degrees; clockwise, towards more capacitance, is positive.
    #[serde(default)]
    turn_deg: Option<f64>,
    /// Which input is turned, from 1; the first one where it is left out.
    #[serde(default)]
    input: Option<usize>,
    /// Show the setting from now on.
    #[serde(default)]
    reveal: bool,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Text of a value that may be written as text or as a number.
pub(super) fn text(value: &serde_json::Value) -> Option<String> {
    match value {
        serde_json::Value::String(text) => Some(text.clone()),
        serde_json::Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

impl Hand {
    /// Does it.
    pub(super) fn act(&self, practice: &Practice) -> Answer<()> {
        let mut reader = super::typed::Reader::default();
        reader.refuse(&self.unknown);
        reader.finish()?;
        let mut changes = Vec::new();
        let mut wrong = Vec::new();
        for (name, value) in &self.set {
            match (Key::named(name), text(value)) {
                (Some(key), Some(text)) => changes.push((key, text)),
                (None, _) => wrong.push(field(
                    name,
                    "that is nothing that can be set; there are noise, hum, ringing, droop, hook and bits",
                )),
                (_, None) => wrong.push(field(name, "that is no value; write it as text, \"3 mV\"")),
            }
        }
        if wrong.is_empty()
            && let Err((key, message)) = practice.set_all(&changes)
        {
            wrong.push(field(key.name(), &message));
        }
        if let [first, ..] = wrong.as_slice() {
            return Err(Problem::field(&first.at, first.message.clone()).with_fields(wrong));
        }
        if let Some(by_deg) = self.turn_deg {
            practice
                .turn(by_deg, Some(self.input.unwrap_or(1)))
                .map_err(|message| Problem::field("turn_deg", message))?;
        }
        if self.reveal {
            practice.reveal();
        }
        Ok(())
    }
}

fn field(name: &str, message: &str) -> FieldProblem {
    FieldProblem { at: format!("set.{name}"), message: message.to_owned() }
}

/// Serves one bench by itself until `end` comes: `GET` and `POST /api/practice`.
pub(crate) async fn serve(listener: TcpListener, practice: Arc<Practice>, end: impl Future<Output = ()>) {
    let Ok(bound) = listener.local_addr() else { return };
    let hosts = Arc::new(Hosts::of(bound, &[]));
    let router = Router::new()
        .route("/api/practice", get(show).post(act))
        .fallback(nothing)
        .method_not_allowed_fallback(super::page::wrong_method)
        .layer(from_fn_with_state(hosts, guarded))
        .with_state(practice);
    super::listen::serve(listener, router, end).await;
}

async fn guarded(State(hosts): State<Arc<Hosts>>, request: Request, next: Next) -> Response {
    match guard::is_ours(&hosts, &request) {
        Ok(()) => next.run(request).await,
        Err(problem) => problem.into_response(),
    }
}

async fn nothing() -> Problem {
    Problem::not_found("there is nothing at this path; the bench is at /api/practice")
}

async fn show(State(practice): State<Arc<Practice>>) -> Json<Standing> {
    Json(practice.standing())
}

async fn act(State(practice): State<Arc<Practice>>, Typed(hand): Typed<Hand>) -> Answer<Json<Standing>> {
    hand.act(&practice)?;
    Ok(Json(practice.standing()))
}
