//! The OpenAPI document, made of the same routes that are served; and what the program's own objects of JSON hold at the top.
//!
//! The types here are never made: they say to the document which fields the writers of `flattop-report` write. A test holds
//! them against real answers.

use axum::extract::State;
use serde_json::Value;
use utoipa::{OpenApi, ToSchema};

use super::answer::{ErrorAnswer, Json};
use super::drawing::Drawing;
use super::state::Shared;

/// The document's head.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "flattop serve",
        description = "What the page of flattop asks its server. Units are SI; docs/http.md says the rules for every request.",
        license(name = "MIT OR Apache-2.0")
    ),
    components(schemas(ErrorAnswer))
)]
pub(super) struct Document;

/// Gives each operation a name of its own, made of method and path: `get_log_by_seq`.
pub(super) fn named(mut document: utoipa::openapi::OpenApi) -> utoipa::openapi::OpenApi {
    for (path, item) in &mut document.paths.paths {
        let words: Vec<String> = path
            .trim_start_matches("/api/")
            .split(['/', '-', '.'])
            .map(|part| match part.strip_prefix('{').and_then(|part| part.strip_suffix('}')) {
                Some(name) => format!("by_{name}"),
                None => part.to_owned(),
            })
            .collect();
        let name = words.join("_");
        let all = [
            ("get", &mut item.get),
            ("post", &mut item.post),
            ("patch", &mut item.patch),
            ("put", &mut item.put),
            ("delete", &mut item.delete),
        ];
        for (method, operation) in all {
            if let Some(operation) = operation {
                operation.operation_id = Some(format!("{method}_{name}"));
            }
        }
    }
    document
}

/// The document
#[utoipa::path(get, path = "/api/openapi.json", tag = "about", responses((status = 200, body = Value)))]
pub(super) async fn document(State(app): State<Shared>) -> Json<utoipa::openapi::OpenApi> {
    Json(app.openapi.clone())
}

/// A value with its standard uncertainty.
#[derive(ToSchema)]
#[allow(dead_code)]
pub(super) struct Uncertain {
    value: f64,
    standard_uncertainty: Option<f64>,
}

/// One remark.
#[derive(ToSchema)]
#[allow(dead_code)]
pub(super) struct Finding {
    code: String,
    /// `note`, `warning` or `fault`.
    severity: String,
    message: String,
    remedy: String,
}

/// An assessment: docs/json.md.
#[derive(ToSchema)]
#[allow(dead_code)]
pub(super) struct Assessment {
    flattop_version: String,
    file: Option<String>,
    method: String,
    /// `within-tolerance`, `undercompensated`, `overcompensated` or `undetermined`.
    verdict: String,
    tolerance: Option<f64>,
    #[schema(value_type = Object)]
    coverage: Value,
    compensation_error: Option<Uncertain>,
    time_constant_s: Option<Uncertain>,
    correlation: Option<f64>,
    tip_capacitance_f: Option<Uncertain>,
    shunt_capacitance_f: Option<Uncertain>,
    seen_at_tip_f: Option<Uncertain>,
    #[schema(value_type = Option<Object>)]
    adjustment: Value,
    #[schema(value_type = Option<Object>)]
    square_wave: Value,
    #[schema(value_type = Option<Vec<Object>>)]
    amplitude_error: Value,
    #[schema(value_type = Option<Vec<Object>>)]
    phase_error: Value,
    #[schema(value_type = Option<Vec<Object>>)]
    measured_response: Value,
    findings: Vec<Finding>,
    #[schema(value_type = Object)]
    assumptions: Value,
    #[schema(value_type = Option<Object>)]
    pairing: Value,
    #[schema(value_type = Option<Vec<Object>>)]
    captures: Value,
    #[schema(value_type = Option<Object>)]
    record: Value,
    /// Id of the stored capture.
    stored: Option<String>,
    drawing: Drawing,
}

/// What is told after a capture of a session: docs/trim-json.md, and what the page draws.
#[derive(ToSchema)]
#[allow(dead_code)]
pub(super) struct TrimLine {
    /// Captures that this reader was not told of, as newer ones had come.
    left_out: u64,
    flattop_version: String,
    capture: String,
    number: u64,
    time_s: f64,
    used: bool,
    verdict: String,
    tolerance: f64,
    compensation_error: Option<Uncertain>,
    averaging_standard_uncertainty: Option<f64>,
    time_constant_s: Option<Uncertain>,
    tip_capacitance_f: Option<Uncertain>,
    shunt_capacitance_f: Option<Uncertain>,
    #[schema(value_type = Option<Object>)]
    adjustment: Value,
    newest: Option<Uncertain>,
    phase: Option<String>,
    #[schema(value_type = Option<Object>)]
    since_change: Value,
    heading: Option<String>,
    #[schema(value_type = Option<Object>)]
    travel: Value,
    changes: u64,
    scatter_ratio: Option<f64>,
    held: u64,
    hold: u64,
    #[schema(value_type = Option<Object>)]
    source: Value,
    findings: Vec<Finding>,
    #[schema(value_type = Vec<Object>)]
    logged: Value,
    can_log: super::live::CanLog,
    adjusted_at: String,
    stored: Option<String>,
    drawing: Drawing,
}

/// An object that a document of its own describes, field by field: here its fields at the top.
macro_rules! described {
    ($(#[$doc:meta])* $name:ident { $($field:ident),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(ToSchema)]
        #[allow(dead_code)]
        pub(super) struct $name { $($field: Value),+ }
    };
}

described! {
    /// The whole bench: docs/bench-json.md.
    Bench { flattop_version, oscilloscopes, probes, pairings }
}
described! {
    /// A pairing that was made: docs/bench-json.md.
    PairingMade { pairing, voided_pairing, expected }
}
described! {
    /// Every probe on every input: docs/reach-json.md.
    Compatibility { flattop_version, kind, source, bandwidth_rule, counts, probes, inputs, pairs }
}
described! {
    /// What the screen would show, against what is there: docs/predict-json.md.
    Prediction {
        flattop_version, plan, ideal_ratio, headline, leading_measure, within_accepted_error, response, waveform, pulse, delay_s,
        summary, limits, errors, ratings, assumed, signal, chain, findings,
    }
}
described! {
    /// Pairings ranked for a measurement: docs/choose-json.md.
    Choice { flattop_version, list, measure, tolerance, best, ranking, findings }
}
described! {
    /// The uncertainty of a reading: docs/budget-json.md.
    Budget {
        flattop_version, plan, measurand, unit, coverage_probability, seed, trials, is_stable, digits, inputs, correlations, results,
        assumed, findings,
    }
}

described! {
    /// A corrected record: docs/correct-json.md, where it is, and what the page draws.
    Correction {
        flattop_version, file, output, undone, known_from, compensation_error, time_constant_s, correlation, chain, before,
        start_up_samples, missing, gaps, unit, noise, standard_uncertainty, bias_bound, greatest_change, pulse, findings, record,
        download, drawing,
    }
}
described! {
    /// A response against frequency: docs/characterise-json.md, and files of it.
    Characteristic {
        flattop_version, headline, method, coverage, expanded_limit, lowest_hz, highest_hz, ended_by, bandwidth_hz,
        bandwidth_above_hz, low_frequency_gain, delay_s, transition, aberrations, flatness, edges, noise, response, findings, captures,
        downloads,
    }
}
described! {
    /// Two probes together: docs/pair-json.md.
    Pair {
        flattop_version, a, b, compensation_errors, gain_ratio, skew_s, balance_from, edges, rejection, both_flat, b_to_a,
        consequences, findings,
    }
}
described! {
    /// An entry of the logbook with its settings and its whole result: docs/bench-json.md.
    LogEntry {
        seq, at, by, program, note, kind, pairing, probe, oscilloscope, input, assessment, measurement, corrects, effect, digest,
        previous, settings, result,
    }
}
described! {
    /// An entry worked out again: docs/bench-json.md.
    RecomputedEntry { entry, same, differences, logged_with, worked_out_with, error }
}
described! {
    /// Whether the logbook is as it was written: docs/bench-json.md.
    Verification { intact, entries, captures, last_entry, problems }
}
