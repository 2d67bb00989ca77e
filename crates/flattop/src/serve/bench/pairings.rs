//! Pairings: made, moved, ended, adjusted; what to expect of a move.

use axum::extract::State;
use axum::http::StatusCode;
use flattop_register::{Terms, Thing};
use flattop_report::bench::json;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use super::super::answer::{Answer, Asked, FieldProblem, Json, Named, Problem, Typed, Written, work};
use super::super::assess::object;
use super::super::state::Shared;
use super::super::typed::{DoingAsked, Reader, Text, Unknown};
use super::things::{Changes, EditAsked, edit};
use super::{change, must_read, told};
use crate::bench::shown;
use crate::values;
use crate::workbench::{Doing, input_id, now, probe_id};

/// A pairing to be made.
#[derive(Debug, Deserialize, ToSchema)]
pub(in crate::serve) struct PairAsked {
    probe: String,
    /// As `bench-a/ch1`.
    input: String,
    /// The |e| still accepted, `1%`.
    #[schema(value_type = Option<String>)]
    tolerance: Option<Text>,
    /// How long a check holds, `90 days`.
    #[schema(value_type = Option<String>)]
    interval: Option<Text>,
    /// Whether a pairing that the probe has ends.
    #[serde(default, rename = "move")]
    moves: bool,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Pair a probe with an input, or move it there
#[utoipa::path(post, path = "/api/bench/pairings", tag = "bench", request_body = PairAsked, responses((status = 201, body = super::super::openapi::PairingMade)))]
pub(in crate::serve) async fn pair(
    State(app): State<Shared>,
    Typed(asked): Typed<PairAsked>,
) -> Answer<(StatusCode, Written)> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let probe = reader.read("probe", Some(&Text(asked.probe.clone())), probe_id);
        let input = reader.read("input", Some(&Text(asked.input.clone())), input_id);
        for (at, is_empty) in
            [("probe", asked.probe.trim().is_empty()), ("input", asked.input.trim().is_empty())]
        {
            if is_empty {
                reader.wrong(at, "name one of the bench");
            }
        }
        let mut terms = Terms {
            tolerance: reader.read("tolerance", asked.tolerance.as_ref(), values::tolerance),
            recheck_interval_days: reader.read("interval", asked.interval.as_ref(), values::days),
        };
        let doing = asked.doing.read(&mut reader);
        reader.finish()?;
        let (Some(probe), Some(input)) = (probe, input) else { return Err(Problem::internal()) };
        let act = doing.act().map_err(|message| Problem::field("at", message))?;
        must_read(&app)?;
        let mut register = change(&app)?;
        let held = register.pairing_of(&probe).map_err(told)?;
        let text = match held.filter(|_| asked.moves) {
            Some(held) => {
                // Terms that nobody changes go along.
                terms.tolerance = terms.tolerance.or(held.tolerance);
                terms.recheck_interval_days = terms.recheck_interval_days.or(held.recheck_interval_days);
                let moved = register.move_probe(&probe, &input, terms, &act).map_err(told)?;
                json::made(moved.made, Some(moved.voided), Some(&moved.forecast))
            }
            None => json::made(register.pair(&probe, &input, terms, &act).map_err(told)?, None, None),
        };
        Ok((StatusCode::CREATED, Written(text)))
    })
    .await
}

/// A pairing with its trend and its entries
#[utoipa::path(get, path = "/api/bench/pairings/{number}", tag = "bench", params(("number" = i64, Path,)), responses((status = 200, body = Object)))]
pub(in crate::serve) async fn show_pairing(
    State(app): State<Shared>,
    Named(number): Named<i64>,
) -> Answer<Written> {
    work(move || {
        let register = must_read(&app)?;
        let shown = shown(&register, Thing::Pairing(number), now().unix_ms).map_err(told)?;
        Ok(Written(json::show(&shown)))
    })
    .await
}

/// Change the terms of a pairing
#[utoipa::path(patch, path = "/api/bench/pairings/{number}", tag = "bench", params(("number" = i64, Path,)), request_body = EditAsked, responses((status = 200, body = Changes)))]
pub(in crate::serve) async fn edit_pairing(
    State(app): State<Shared>,
    Named(number): Named<i64>,
    Typed(asked): Typed<EditAsked>,
) -> Answer<Json<Changes>> {
    work(move || edit(&app, &Thing::Pairing(number), &asked)).await
}

/// Why a pairing ends.
#[derive(Debug, Deserialize, ToSchema)]
pub(in crate::serve) struct VoidAsked {
    why: String,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// End a pairing
#[utoipa::path(post, path = "/api/bench/pairings/{number}/void", tag = "bench", params(("number" = i64, Path,)), request_body = VoidAsked, responses((status = 204, description = "ended")))]
pub(in crate::serve) async fn void(
    State(app): State<Shared>,
    Named(number): Named<i64>,
    Typed(asked): Typed<VoidAsked>,
) -> Answer<StatusCode> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        if asked.why.trim().is_empty() {
            reader.wrong("why", "say why the pairing ends");
        }
        let act = act(&asked.doing, reader)?;
        must_read(&app)?;
        change(&app)?.void_pairing(number, &asked.why, &act).map_err(told)?;
        Ok(StatusCode::NO_CONTENT)
    })
    .await
}

fn act(doing: &DoingAsked, mut reader: Reader) -> Answer<flattop_register::Act> {
    let doing: Doing = doing.read(&mut reader);
    reader.finish()?;
    doing.act().map_err(|message| Problem::field("at", message))
}

/// Who turned a trimmer.
#[derive(Debug, Deserialize, ToSchema)]
pub(in crate::serve) struct AdjustedAsked {
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// An entry of the logbook.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct EntryMade {
    entry: i64,
    digest: String,
}

impl EntryMade {
    pub(in crate::serve) fn of(head: flattop_register::Head) -> Self {
        Self { entry: head.seq, digest: head.digest.to_string() }
    }
}

/// Say that the trimmer was turned without a capture
#[utoipa::path(post, path = "/api/bench/pairings/{number}/adjusted", tag = "bench", params(("number" = i64, Path,)), request_body = AdjustedAsked, responses((status = 200, body = EntryMade)))]
pub(in crate::serve) async fn adjusted(
    State(app): State<Shared>,
    Named(number): Named<i64>,
    Typed(asked): Typed<AdjustedAsked>,
) -> Answer<Json<EntryMade>> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let act = act(&asked.doing, reader)?;
        must_read(&app)?;
        change(&app)?.log_adjustment(number, &act).map(|head| Json(EntryMade::of(head))).map_err(told)
    })
    .await
}

/// Query of a forecast.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(in crate::serve) struct ForecastAsked {
    probe: String,
    input: String,
}

/// What to expect.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct ForecastShown {
    /// The error to expect, or why nothing can be said: docs/bench-json.md.
    #[schema(value_type = Object)]
    expected: Value,
}

/// The error to expect if a probe moved to an input
#[utoipa::path(get, path = "/api/bench/forecast", tag = "bench", params(ForecastAsked), responses((status = 200, body = ForecastShown)))]
pub(in crate::serve) async fn forecast(
    State(app): State<Shared>,
    Asked(asked): Asked<ForecastAsked>,
) -> Answer<Json<ForecastShown>> {
    work(move || {
        let named = |at: &str, message: String| {
            Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "invalid-fields", message.clone())
                .with_fields(vec![FieldProblem { at: at.to_owned(), message }])
        };
        let probe = probe_id(&asked.probe).map_err(|message| named("probe", message))?;
        let input = input_id(&asked.input).map_err(|message| named("input", message))?;
        let register = must_read(&app)?;
        let held = register.pairing_of(&probe).map_err(told)?;
        let held = held.ok_or_else(|| {
            Problem::conflict(format!(
                "{probe} is not paired, so that nothing can be expected; pair it first"
            ))
        })?;
        let forecast = register.forecast(held.number, &input).map_err(told)?;
        let made = object(&json::made(0, None, Some(&forecast)))?;
        Ok(Json(ForecastShown { expected: made.get("expected").cloned().unwrap_or(Value::Null) }))
    })
    .await
}
