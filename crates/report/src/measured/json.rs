//! Measured values as JSON. The fields are described in `docs/measure-json.md`; what is not known is null.

use flattop_core::assessment::Estimate;
use flattop_core::numeric::stats::COVERAGE_FACTOR_95;
use flattop_register::MeasurementRecord;
use serde::Serialize;

use super::Shown;
use crate::json::{Uncertain, write};
use crate::subject::severity_code;

#[derive(Serialize)]
struct ShownJson<'a> {
    flattop_version: &'static str,
    quantity: &'a str,
    of: &'a str,
    method: &'a str,
    determined: bool,
    coverage: CoverageJson,
    value_f: Option<Uncertain>,
    upper_f: Option<Uncertain>,
    others: serde_json::Map<String, serde_json::Value>,
    uncertainty_shares: Vec<ShareJson>,
    findings: Vec<FindingJson<'a>>,
    captures: Vec<CaptureJson<'a>>,
    entries: &'a [i64],
}

#[derive(Serialize)]
struct CoverageJson {
    probability: f64,
    factor: f64,
}

#[derive(Serialize)]
struct ShareJson {
    of: &'static str,
    standard_uncertainty_f: f64,
}

#[derive(Serialize)]
struct FindingJson<'a> {
    code: &'a str,
    severity: &'static str,
    message: &'a str,
    remedy: &'a str,
}

#[derive(Serialize)]
struct CaptureJson<'a> {
    role: &'a str,
    file: &'a str,
    sha256: &'a str,
}

/// One result.
pub fn one(shown: &Shown) -> String {
    let uncertain = |value: Option<Estimate>| value.and_then(Uncertain::of);
    let others = shown.others.iter().map(|(key, _, value)| {
        let json = Uncertain::of(*value).and_then(|u| serde_json::to_value(u).ok());
        ((*key).to_owned(), json.unwrap_or(serde_json::Value::Null))
    });
    write(&ShownJson {
        flattop_version: env!("CARGO_PKG_VERSION"),
        quantity: shown.quantity,
        of: &shown.of,
        method: shown.method,
        determined: shown.is_determined(),
        coverage: CoverageJson { probability: 0.95, factor: COVERAGE_FACTOR_95 },
        value_f: uncertain(shown.value_f),
        upper_f: uncertain(shown.upper_f),
        others: others.collect(),
        uncertainty_shares: shown
            .shares
            .iter()
            .map(|s| ShareJson { of: s.of, standard_uncertainty_f: s.standard_uncertainty })
            .collect(),
        findings: shown
            .findings
            .iter()
            .map(|f| FindingJson {
                code: f.code,
                severity: severity_code(f.severity),
                message: &f.message,
                remedy: &f.remedy,
            })
            .collect(),
        captures: shown
            .captures
            .iter()
            .map(|c| CaptureJson { role: c.role, file: &c.file, sha256: &c.sha256 })
            .collect(),
        entries: &shown.entries,
    })
}

/// A measured value in an entry of the logbook.
#[derive(Serialize)]
pub(crate) struct MeasurementJson {
    quantity: &'static str,
    value_f: Option<Uncertain>,
    upper_f: Option<Uncertain>,
    method: String,
    temperature_c: Option<f64>,
    captures_sha256: Vec<String>,
}

impl MeasurementJson {
    pub(crate) fn of(record: &MeasurementRecord) -> Self {
        Self {
            quantity: record.quantity.code(),
            value_f: Uncertain::of(record.value),
            upper_f: record.upper.and_then(Uncertain::of),
            method: record.method.clone(),
            temperature_c: record.temperature_c,
            captures_sha256: record.captures.iter().map(ToString::to_string).collect(),
        }
    }
}
