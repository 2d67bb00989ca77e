//! A compensation that was found before: from the JSON of an assessment, or from the logbook.

use std::path::Path;

use flattop_core::assessment::{AdjustedAt, Compensation, Estimate};
use flattop_core::divider::Divider;
use flattop_register::{Entry, Event};
use serde_json::Value;

use crate::values;

/// A compensation and what it belongs to.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    /// e, τp and the divider.
    pub(crate) compensation: Compensation,
    /// Where the probe is adjusted.
    pub(crate) adjusted_at: AdjustedAt,
    /// Where it comes from, in words.
    pub(crate) from: String,
}

/// Why there is none.
#[derive(Debug)]
pub(crate) enum Trouble {
    /// A file or entry cannot be used.
    Unusable(String),
    /// It can be read, but holds no result to rely on.
    Undetermined(String),
}

/// From a file that `flattop assess CAPTURE --json` wrote.
pub(crate) fn from_file(file: &Path) -> Result<Found, Trouble> {
    let name = file.display().to_string();
    let text = values::read_text(file).map_err(Trouble::Unusable)?;
    from_json(&name, &text)
}

/// From such a text.
pub(crate) fn from_json(name: &str, text: &str) -> Result<Found, Trouble> {
    let unusable = |what: &str| {
        Trouble::Unusable(format!("{name}: {what}; name the file that 'flattop assess CAPTURE --json' wrote"))
    };
    let all: Value =
        serde_json::from_str(text).map_err(|error| unusable(&format!("is no JSON ({error})")))?;
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
        return Err(unusable("holds no assessment"));
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
    let number = |at: &str| one.pointer(at).and_then(Value::as_f64);
    let estimate = |at: &str| {
        let value = number(&format!("{at}/value"))?;
        Some(Estimate { value, standard_uncertainty: number(&format!("{at}/standard_uncertainty"))? })
    };
    let (Some(error), Some(time_constant_s)) =
        (estimate("/compensation_error"), estimate("/time_constant_s"))
    else {
        return Err(Trouble::Undetermined(format!(
            "{name}: the assessment found no compensation error; assess a better capture"
        )));
    };
    let resistors = (number("/assumptions/tip_resistance_ohm"), number("/assumptions/shunt_resistance_ohm"));
    let (Some(tip_resistance_ohm), Some(shunt_resistance_ohm)) = resistors else {
        return Err(unusable("does not say which resistors were assumed"));
    };
    Ok(Found {
        compensation: Compensation {
            error,
            time_constant_s,
            correlation: number("/correlation").unwrap_or(0.0),
            divider: Divider { tip_resistance_ohm, shunt_resistance_ohm },
            resistor_uncertainty: number("/assumptions/resistor_standard_uncertainty").unwrap_or(0.0),
        },
        adjusted_at: match one.pointer("/assumptions/adjusted_at").and_then(Value::as_str) {
            Some("base") => AdjustedAt::Base,
            _ => AdjustedAt::Tip,
        },
        from: name.to_owned(),
    })
}

/// From an entry of the logbook.
pub(crate) fn from_entry(entry: &Entry) -> Result<Found, Trouble> {
    let Event::Assessment(record) = &entry.event else {
        return Err(Trouble::Unusable(format!(
            "entry {} of the logbook is no assessment; 'flattop log' lists which are",
            entry.seq
        )));
    };
    let compensation = record.compensation.ok_or_else(|| {
        Trouble::Undetermined(format!(
            "entry {} of the logbook found no compensation error; name another one, or assess a better capture",
            entry.seq
        ))
    })?;
    let settings = record.settings_json.as_deref().and_then(|text| serde_json::from_str::<Value>(text).ok());
    let at_base = settings.is_some_and(|s| s["adjusted_at"] == "base");
    Ok(Found {
        compensation,
        adjusted_at: if at_base { AdjustedAt::Base } else { AdjustedAt::Tip },
        from: format!(
            "{}, entry {} of {}",
            flattop_report::logbook::text::subject(entry),
            entry.seq,
            flattop_register::time::local(entry.act.at).chars().take(10).collect::<String>()
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_assessment_without_a_usable_result_is_told_apart_from_no_assessment() {
        let kind = |text: &str| match from_json("a.json", text) {
            Ok(found) => format!("{} {}", found.compensation.error.value, found.compensation.correlation),
            Err(Trouble::Unusable(message)) => format!("unusable {message}"),
            Err(Trouble::Undetermined(message)) => format!("undetermined {message}"),
        };
        let figures = r#""compensation_error": {"value": -0.08, "standard_uncertainty": 0.001},
            "time_constant_s": {"value": 8e-5, "standard_uncertainty": 1e-6}, "correlation": 0.5,
            "assumptions": {"tip_resistance_ohm": 9e6, "shunt_resistance_ohm": 1e6}"#;
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
