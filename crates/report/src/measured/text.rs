//! Measured values in words, at most 80 columns wide.

use flattop_core::assessment::Estimate;
use flattop_core::finding::Severity;
use flattop_core::numeric::stats::COVERAGE_FACTOR_95;
use flattop_core::quantity::{Unit, format_estimate};
use flattop_register::MeasurementRecord;

use super::Shown;
use crate::format::plain;
use crate::subject::severity_code;
use crate::text::wrap::Page;

/// Shares of the uncertainty below this part of the largest are not worth a line.
const WORTH_SHOWING: f64 = 0.05;

/// One result.
pub fn one(shown: &Shown) -> String {
    let mut page = Page::default();
    let title = words(shown.quantity);
    match (shown.value_f, shown.upper_f) {
        (Some(value), None) => page.line(&format!("{title} of {}: {}", shown.of, expanded(value))),
        (Some(low), Some(high)) => {
            page.line(&format!("{title} of {}:", shown.of));
            page.entry("from", &expanded(low));
            page.entry("to", &expanded(high));
        }
        (None, _) => {
            page.line(&format!("{title} of {}: undetermined", shown.of));
            if let Some(fault) = shown.findings.iter().find(|f| f.severity == Severity::Fault) {
                page.entry("why", &fault.message);
                page.entry("what to do", &fault.remedy);
            }
        }
    }
    for (_, words, value) in &shown.others {
        page.entry(words, &expanded(*value));
    }
    let largest = shown.shares.first().map_or(0.0, |s| s.standard_uncertainty);
    if shown.value_f.is_some() && largest > 0.0 {
        page.heading("Standard uncertainty, by where it comes from");
        for share in shown.shares.iter().filter(|s| s.standard_uncertainty > WORTH_SHOWING * largest) {
            page.paragraph("  ", &format!("{}: {}", share.of, plain(share.standard_uncertainty, "F", 2)));
        }
    }
    let remarks: Vec<_> = shown.findings.iter().filter(|f| f.severity != Severity::Fault).collect();
    if !remarks.is_empty() {
        page.heading("Findings");
        for finding in remarks {
            page.entry(severity_code(finding.severity), &format!("{} ({})", finding.message, finding.code));
            page.entry("", &format!("Remedy: {}", finding.remedy));
        }
    }
    if !shown.entries.is_empty() {
        let numbers: Vec<String> = shown.entries.iter().map(ToString::to_string).collect();
        page.heading(&format!("Stored on the bench, with its captures; logbook: {}", numbers.join(", ")));
    }
    page.into_text()
}

fn words(quantity: &str) -> &'static str {
    match quantity {
        "input-capacitance" => "Capacitance",
        "compensation-range" => "Input capacitances that the trimmer balances,",
        "tip-capacitance" => "Capacitance at the tip",
        _ => "Capacitance of the body",
    }
}

fn expanded(estimate: Estimate) -> String {
    let half_width = COVERAGE_FACTOR_95 * estimate.standard_uncertainty;
    format!("{} (95 %)", format_estimate(estimate.value, half_width, Unit::Farad))
}

/// What an entry says, in short.
pub(crate) fn in_short(record: &MeasurementRecord) -> String {
    let value = match record.upper {
        None => expanded(record.value),
        Some(upper) => format!("{} to {}", plain(record.value.value, "F", 3), plain(upper.value, "F", 3)),
    };
    format!("measured: {} {value}", record.quantity.code())
}

/// What an entry says, on its page.
pub(crate) fn entry(page: &mut Page, record: &MeasurementRecord) {
    page.entry("quantity", record.quantity.code());
    page.entry("value", &expanded(record.value));
    if let Some(upper) = record.upper {
        page.entry("to", &expanded(upper));
    }
    page.entry("method", &record.method);
    for digest in &record.captures {
        page.entry("capture", &format!("SHA-256 {digest}"));
    }
}
