//! The JSON contract of `flattop pair`, described in `docs/pair-json.md`.

use flattop_core::assessment::AdjustedAt;
use flattop_core::pair::Rejection;
use serde::Serialize;

use super::Subject;
use crate::json::{Finding, Uncertain, finding, finite, write};

/// The whole object.
pub fn write_json(subject: &Subject) -> String {
    write(&PairJson {
        flattop_version: env!("CARGO_PKG_VERSION"),
        a: subject.a.clone(),
        b: subject.b.clone(),
        compensation_errors: subject.errors.map(|both| both.map(Uncertain::of)),
        gain_ratio: Uncertain::of(subject.balance.gain_ratio),
        skew_s: Uncertain::of(subject.balance.skew_s),
        balance_from: subject.balance_from.clone(),
        edges: subject.edges.as_ref().map(|edges| EdgesJson {
            count: edges.edges,
            skew_at_20_s: Uncertain::of(edges.skew_at_20_80_s[0]),
            skew_at_80_s: Uncertain::of(edges.skew_at_20_80_s[1]),
            transition_a_s: edges.transition_s[0],
            transition_b_s: edges.transition_s[1],
        }),
        rejection: list(&subject.rejection),
        both_flat: subject.trimmed.as_ref().map(|t| list(&t.both_flat)),
        b_to_a: subject.trimmed.as_ref().map(|t| TrimJson {
            at: match t.b_to_a.at {
                AdjustedAt::Tip => "tip",
                AdjustedAt::Base => "base",
            },
            change_f: t.b_to_a.change_f,
            compensation_error: t.b_to_a.error,
            rejection: list(&t.b_to_a.left),
        }),
        consequences: subject
            .consequences
            .iter()
            .map(|one| ConsequenceJson {
                code: one.code,
                of: one.of.clone(),
                unit: if one.unit.is_empty() { "1" } else { one.unit },
                error: Uncertain::of(one.error),
            })
            .collect(),
        findings: subject.findings.iter().map(finding).collect(),
    })
}

#[derive(Serialize)]
struct PairJson {
    flattop_version: &'static str,
    a: String,
    b: String,
    compensation_errors: Option<[Option<Uncertain>; 2]>,
    gain_ratio: Option<Uncertain>,
    skew_s: Option<Uncertain>,
    balance_from: Option<String>,
    edges: Option<EdgesJson>,
    rejection: Vec<RejectionJson>,
    both_flat: Option<Vec<RejectionJson>>,
    b_to_a: Option<TrimJson>,
    consequences: Vec<ConsequenceJson>,
    findings: Vec<Finding>,
}

#[derive(Serialize)]
struct EdgesJson {
    count: usize,
    skew_at_20_s: Option<Uncertain>,
    skew_at_80_s: Option<Uncertain>,
    transition_a_s: Option<f64>,
    transition_b_s: Option<f64>,
}

#[derive(Serialize)]
struct RejectionJson {
    frequency_hz: f64,
    mismatch_real: f64,
    mismatch_imaginary: f64,
    mismatch_standard_uncertainty: Option<f64>,
    rejection_db: Option<f64>,
    at_least_db: Option<f64>,
}

#[derive(Serialize)]
struct TrimJson {
    at: &'static str,
    change_f: f64,
    compensation_error: f64,
    rejection: Vec<RejectionJson>,
}

#[derive(Serialize)]
struct ConsequenceJson {
    code: &'static str,
    of: String,
    unit: &'static str,
    error: Option<Uncertain>,
}

fn list(all: &[Rejection]) -> Vec<RejectionJson> {
    all.iter()
        .map(|one| RejectionJson {
            frequency_hz: one.frequency_hz,
            mismatch_real: one.mismatch.re,
            mismatch_imaginary: one.mismatch.im,
            mismatch_standard_uncertainty: finite(one.mismatch_u),
            rejection_db: finite(one.decibels()),
            at_least_db: finite(one.at_least_decibels()),
        })
        .collect()
}
