//! The JSON contract of a ranked list. `docs/choose-json.md` describes each field.

use flattop_core::choice::Judged;
use serde::Serialize;

use super::{Subject, standing_code};
use crate::json::{Finding, finding, finite, write};
use crate::prediction::cause_code;

/// The JSON text, with a final line feed.
pub fn of(subject: &Subject) -> String {
    write(&List {
        flattop_version: env!("CARGO_PKG_VERSION"),
        list: &subject.list,
        measure: subject.wanted.measure.code(),
        tolerance: finite(subject.wanted.tolerance),
        best: subject.best().map(|best| Pairing { probe: &best.probe, input: &best.input }),
        ranking: subject.judged.iter().map(entry).collect(),
        findings: subject.findings.iter().map(finding).collect(),
    })
}

#[derive(Serialize)]
struct List<'a> {
    flattop_version: &'static str,
    list: &'a str,
    measure: &'static str,
    tolerance: Option<f64>,
    best: Option<Pairing<'a>>,
    ranking: Vec<Entry<'a>>,
    findings: Vec<Finding>,
}

#[derive(Serialize)]
struct Pairing<'a> {
    probe: &'a str,
    input: &'a str,
}

#[derive(Serialize)]
struct Entry<'a> {
    probe: &'a str,
    input: &'a str,
    standing: &'static str,
    reason: &'a str,
    error: Option<Error>,
    total_error: Option<f64>,
    shares: Vec<Share>,
    reach: Option<Reach>,
    bandwidth_hz: Option<f64>,
    input_capacitance_f: Option<f64>,
    findings: Vec<Finding>,
}

#[derive(Serialize)]
struct Error {
    value: Option<f64>,
    standard_uncertainty: Option<f64>,
}

#[derive(Serialize)]
struct Share {
    cause: &'static str,
    share: Option<f64>,
}

#[derive(Serialize)]
struct Reach {
    verdict: &'static str,
    margin_f: Option<f64>,
    residual_error: Option<f64>,
}

fn entry(judged: &Judged) -> Entry<'_> {
    Entry {
        probe: &judged.probe,
        input: &judged.input,
        standing: standing_code(judged.standing),
        reason: &judged.reason,
        error: judged.error.as_ref().map(|error| Error {
            value: finite(error.total),
            standard_uncertainty: judged.standard_uncertainty.and_then(finite),
        }),
        total_error: judged.total.and_then(finite),
        shares: judged
            .error
            .iter()
            .flat_map(|error| &error.shares)
            .map(|share| Share { cause: cause_code(share.cause), share: share.share.and_then(finite) })
            .collect(),
        reach: judged.reach.as_ref().map(|reach| Reach {
            verdict: crate::reach::verdict_code(reach.margin.verdict),
            margin_f: finite(reach.margin.margin_f),
            residual_error: finite(reach.residual.error),
        }),
        bandwidth_hz: judged.bandwidth_hz.and_then(finite),
        input_capacitance_f: finite(judged.input_capacitance_f),
        findings: judged.findings.iter().map(finding).collect(),
    }
}
