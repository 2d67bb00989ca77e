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

/// From a file that `flattop assess CAPTURE --json` wrote.
pub(crate) fn from_file(file: &Path) -> Result<Found, String> {
    let name = file.display().to_string();
    let text = values::read_text(file)?;
    from_json(&name, &text)
}

/// From such a text.
pub(crate) fn from_json(name: &str, text: &str) -> Result<Found, String> {
    let unusable =
        |what: &str| format!("{name}: {what}; name the file that 'flattop assess CAPTURE --json' wrote");
    let all: Value =
        serde_json::from_str(text).map_err(|error| unusable(&format!("is no JSON ({error})")))?;
    let one = match &all {
        Value::Array(several) if several.len() == 1 => &several[0],
        Value::Array(several) => {
            return Err(unusable(&format!("holds {} results, not one", several.len())));
        }
        one => one,
    };
    let number = |at: &str| one.pointer(at).and_then(Value::as_f64);
    let estimate = |at: &str| {
        let value = number(&format!("{at}/value"))?;
        Some(Estimate { value, standard_uncertainty: number(&format!("{at}/standard_uncertainty"))? })
    };
    if one.get("verdict").is_none() {
        return Err(unusable("holds no assessment"));
    }
    let (Some(error), Some(time_constant_s)) =
        (estimate("/compensation_error"), estimate("/time_constant_s"))
    else {
        return Err(format!("{name}: the assessment found no compensation error; assess a better capture"));
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
pub(crate) fn from_entry(entry: &Entry) -> Result<Found, String> {
    let Event::Assessment(record) = &entry.event else {
        return Err(format!("entry {} is no assessment", entry.seq));
    };
    let compensation = record
        .compensation
        .ok_or_else(|| format!("entry {} found no compensation error; assess a better capture", entry.seq))?;
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
