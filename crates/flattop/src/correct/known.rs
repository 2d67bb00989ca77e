//! What is known of the pairing: from options, an assessment's file, or an entry of the logbook.

use std::path::Path;

use flattop_core::correction::shelf::KnownShelf;
use flattop_core::divider::Shelf;
use flattop_plan::Plan;
use flattop_register::Event;
use serde_json::Value;

use super::args::Known;
use crate::setup::{self, Around, Setup};
use crate::status::WrongUsage;
use crate::values;

/// What is undone, and where that comes from.
pub(super) struct Source {
    pub(super) known: What,
    pub(super) from: String,
}

/// What is undone.
pub(super) enum What {
    Shelf(KnownShelf),
    Chain(Box<Setup>),
}

/// Why there is none.
pub(super) enum Trouble {
    /// A file or entry cannot be used.
    Unusable(String),
    /// It can be read, but holds no result to rely on.
    Undetermined(String),
}

pub(super) fn find(known: &Known) -> Result<Result<Source, Trouble>, WrongUsage> {
    if let (Some(error), Some(constant)) = (known.error, known.time_constant) {
        let shelf = KnownShelf {
            shelf: Shelf { error: error.value, time_constant_s: constant.value },
            error_u: error.standard_uncertainty(),
            time_constant_u_s: constant.standard_uncertainty(),
            correlation: 0.0,
        };
        return Ok(Ok(Source { known: What::Shelf(shelf), from: "options".to_owned() }));
    }
    if let Some(file) = &known.from {
        let name = file.display().to_string();
        let shelf =
            values::read_text(file).map_err(Trouble::Unusable).and_then(|text| assessment(&name, &text));
        return Ok(shelf.map(|shelf| Source { known: What::Shelf(shelf), from: name }));
    }
    if let Some(number) = known.entry {
        return Ok(entry(known, number).map(|shelf| Source {
            known: What::Shelf(shelf),
            from: format!("entry {number} of the logbook"),
        }));
    }
    if let Some(file) = &known.plan {
        let name = file.display().to_string();
        let setup = chain(&name, file).map_err(Trouble::Unusable);
        return Ok(setup.map(|setup| Source { known: What::Chain(Box::new(setup)), from: name }));
    }
    let message = "what is to be undone is not said; name an assessment with --from FILE or --entry N, or give --error E \
                   and --time-constant TIME, or a plan with --plan FILE";
    Err(WrongUsage { message: message.to_owned() })
}

/// The chain of a plan with its doubts.
fn chain(name: &str, file: &Path) -> Result<Setup, String> {
    let plan = Plan::parse(name, &values::read_text(file)?).map_err(|problems| problems.to_string())?;
    let around = Around { node: &plan.node, contact: &plan.contact, input: &plan.input };
    let folder = file.parent().unwrap_or(Path::new(""));
    let setup = setup::chain(&plan.probe, &around)
        .and_then(|setup| setup::with_measured(setup, &plan.measured, folder))
        .map_err(|error| format!("{name}: {error}"))?;
    Ok(Setup { findings: plan.findings.into_iter().chain(setup.findings).collect(), ..setup })
}

/// The result of an assessment as `flattop assess --json` writes it.
fn assessment(name: &str, text: &str) -> Result<KnownShelf, Trouble> {
    let unusable = |what: &str| {
        Trouble::Unusable(format!("{name}: {what}; name the file that 'flattop assess CAPTURE --json' wrote"))
    };
    let all: Value = serde_json::from_str(text).map_err(|error| unusable(&format!("is no JSON: {error}")))?;
    let one = match &all {
        Value::Array(several) if several.len() == 1 => &several[0],
        Value::Array(several) => {
            return Err(unusable(&format!(
                "holds {} assessments, and it is not clear which is meant",
                several.len()
            )));
        }
        one => one,
    };
    if let Some(error) = one.get("error").and_then(Value::as_str) {
        return Err(Trouble::Undetermined(format!("{name}: the assessment failed: {error}")));
    }
    if one.get("verdict").and_then(Value::as_str).is_none() {
        return Err(unusable("is no assessment: it has no verdict"));
    }
    let fault = one.get("findings").and_then(Value::as_array).into_iter().flatten().find_map(|finding| {
        let is_fault = finding.get("severity").and_then(Value::as_str) == Some("fault");
        is_fault.then(|| finding.get("message").and_then(Value::as_str).unwrap_or("a fault").to_owned())
    });
    if let Some(fault) = fault {
        return Err(Trouble::Undetermined(format!(
            "{name}: the assessment cannot be relied on: {fault}; assess another capture"
        )));
    }
    let number = |field: &str, part: &str| one.get(field)?.get(part)?.as_f64();
    let figures = |field: &str| Some((number(field, "value")?, number(field, "standard_uncertainty")?));
    match (figures("compensation_error"), figures("time_constant_s")) {
        (Some((error, error_u)), Some((time_constant_s, time_constant_u_s))) => Ok(KnownShelf {
            shelf: Shelf { error, time_constant_s },
            error_u,
            time_constant_u_s,
            correlation: one.get("correlation").and_then(Value::as_f64).unwrap_or(0.0),
        }),
        _ => Err(Trouble::Undetermined(format!(
            "{name}: the assessment has no compensation error and time constant with their uncertainties; assess another capture"
        ))),
    }
}

fn entry(known: &Known, number: i64) -> Result<KnownShelf, Trouble> {
    let register = known.bench.read().map_err(Trouble::Unusable)?;
    let entry = register.entry(number).map_err(|error| Trouble::Unusable(error.to_string()))?;
    let Event::Assessment(record) = entry.event else {
        return Err(Trouble::Unusable(format!(
            "entry {number} of the logbook is no assessment; 'flattop log' lists which are"
        )));
    };
    match record.compensation {
        Some(found) => Ok(KnownShelf {
            shelf: Shelf { error: found.error.value, time_constant_s: found.time_constant_s.value },
            error_u: found.error.standard_uncertainty,
            time_constant_u_s: found.time_constant_s.standard_uncertainty,
            correlation: found.correlation,
        }),
        None => Err(Trouble::Undetermined(format!(
            "entry {number} of the logbook: the assessment found no compensation error; name another one"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_assessment_without_a_usable_result_is_told_apart_from_no_assessment() {
        let kind = |text: &str| match assessment("a.json", text) {
            Ok(shelf) => format!("{} {}", shelf.shelf.error, shelf.correlation),
            Err(Trouble::Unusable(message)) => format!("unusable {message}"),
            Err(Trouble::Undetermined(message)) => format!("undetermined {message}"),
        };
        let figures = r#""compensation_error": {"value": -0.08, "standard_uncertainty": 0.001},
            "time_constant_s": {"value": 8e-5, "standard_uncertainty": 1e-6}, "correlation": 0.5"#;
        assert_eq!(
            kind(&format!(r#"{{"verdict": "undercompensated", "findings": [], {figures}}}"#)),
            "-0.08 0.5"
        );
        assert_eq!(kind(&format!(r#"[{{"verdict": "undercompensated", {figures}}}]"#)), "-0.08 0.5");
        let fault = format!(
            r#"{{"verdict": "undetermined", {figures}, "findings": [{{"severity": "fault", "message": "clipped"}}]}}"#
        );
        assert!(kind(&fault).starts_with("undetermined a.json: the assessment cannot be relied on: clipped"));
        assert!(
            kind(r#"{"verdict": "undetermined", "compensation_error": null}"#).starts_with("undetermined")
        );
        assert!(
            kind(r#"{"file": "x", "error": "empty"}"#)
                .starts_with("undetermined a.json: the assessment failed: empty")
        );
        for text in ["", "[]", "{}", "[{}, {}]", "3"] {
            assert!(kind(text).starts_with("unusable"), "{text}");
        }
    }
}
