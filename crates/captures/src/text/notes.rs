//! Findings of a text: what was assumed, passed over or missing.

use flattop_core::finding::Finding;

use super::block::Missing;
use super::columns::Columns;
use super::source::Parsed;
use crate::axis::{Axis, Quantum};
use crate::error::ReadError;
use crate::units::{self, Quantity, Unit};

/// Volts per written unit, with a finding where it is not stated.
pub(crate) fn value_unit(
    at: usize,
    name: Option<&str>,
    unit: Option<&str>,
    findings: &mut Vec<Finding>,
) -> f64 {
    let column = format!("column {}{}", at + 1, name.map(|n| format!(" \"{n}\"")).unwrap_or_default());
    let Some(written) = unit else {
        // "Volt" as the whole heading is a unit, too.
        if name.and_then(units::unit).is_none_or(|u| u.quantity != Quantity::Voltage) {
            findings.push(Finding::note(
                "unit-assumed",
                format!("{column} states no unit; taken as volts"),
                "",
            ));
            return 1.0;
        }
        return name.and_then(units::unit).map_or(1.0, Unit::scale);
    };
    match units::unit(written).filter(|u| u.quantity == Quantity::Voltage) {
        Some(unit) => unit.scale(),
        None => {
            let message = format!(
                "{column} is in \"{written}\", which is no unit of voltage that is known; taken as volts"
            );
            findings.push(Finding::warning(
                "unit-unknown",
                message,
                "ratios stand; voltages may be wrong by a factor",
            ));
            1.0
        }
    }
}

pub(crate) fn missing_samples(at: usize, missing: Missing, first_line: u64, findings: &mut Vec<Finding>) {
    if missing.count > 0 {
        let message = format!(
            "{} sample{} of column {} {} missing (blank, not a number or over range), first on line {}",
            missing.count,
            if missing.count == 1 { "" } else { "s" },
            at + 1,
            if missing.count == 1 { "is" } else { "are" },
            first_line + missing.first,
        );
        findings.push(Finding::warning(
            "missing-samples",
            message,
            "if the screen was overdriven, use a coarser range",
        ));
    }
}

/// Columns that were passed over in the search for the probe's, since they hold no numbers.
pub(crate) fn passed_over(columns: &Columns, looked_at: usize, chosen: usize, findings: &mut Vec<Finding>) {
    for &at in columns.without_numbers.iter().filter(|at| **at < chosen) {
        let name = columns.headings.get(at).and_then(|h| h.name.as_deref());
        let name = name.map(|n| format!(" \"{n}\"")).unwrap_or_default();
        let message = format!(
            "column {}{name} holds no numbers in the first {looked_at} lines; column {} is used",
            at + 1,
            chosen + 1
        );
        let remedy = "if that channel was the probe's, make sure that it is on, and export again";
        findings.push(Finding::warning("column-empty", message, remedy));
    }
}

/// Blank lines between samples are passed over; without a time column they could be missing samples.
pub(crate) fn blank_lines(
    file: &str,
    parsed: &Parsed,
    columns: &Columns,
    findings: &mut Vec<Finding>,
) -> Result<(), ReadError> {
    let Some(&first) = parsed.blank.first() else { return Ok(()) };
    let count = parsed.blank.len();
    if columns.time().is_none() && count + 1 < parsed.points {
        return Err(ReadError::Line {
            file: file.to_owned(),
            line: first,
            expected: "a number".into(),
            found: "a blank line inside the data".into(),
            remedy: "write NaN for a missing sample, or remove the line".into(),
        });
    }
    let message = format!(
        "{count} blank line{} between samples, first line {first}",
        if count == 1 { "" } else { "s" }
    );
    findings.push(Finding::note("blank-lines", message, ""));
    Ok(())
}

pub(crate) fn note_axis(
    axis: Axis,
    unit: Unit,
    quantum: Quantum,
    points: usize,
    findings: &mut Vec<Finding>,
) {
    let end = axis.start + axis.interval * (points - 1) as f64;
    let step = quantum.at(axis.start.abs().max(end.abs()));
    if axis.rounded {
        let message = format!(
            "time is printed in steps of {}, coarser than the interval; the interval {} comes from the whole record",
            units::seconds(unit.to_si(step), 5),
            units::seconds(unit.to_si(axis.interval), 7)
        );
        findings.push(Finding::note("time-rounded", message, "export time with more digits"));
    } else if axis.off > 0.51 * step + 1e-6 * axis.interval {
        let message = format!(
            "times differ by up to {:.1} % of the interval from even spacing",
            100.0 * axis.off / axis.interval
        );
        findings.push(Finding::note("time-jitter", message, ""));
    }
}
