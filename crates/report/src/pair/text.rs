//! The words, at most 80 columns wide.

use flattop_core::assessment::{AdjustedAt, Estimate};
use flattop_core::pair::Rejection;

use super::{Consequence, Subject};
use crate::format::{percent, plain, quantity, significant};
use crate::subject::severity_code;
use crate::text::columns::{Columns, Flush::*};
use crate::text::wrap::Page;

/// The report.
pub fn report(subject: &Subject) -> String {
    let mut page = Page::default();
    page.paragraph("", &format!("A: {}", subject.a));
    page.paragraph("", &format!("B: {}", subject.b));
    page.line("");
    page.paragraph("", &headline(subject));
    if let Some(edges) = &subject.edges {
        page.heading("The same edges on both");
        page.entry("skew", &format!("B is {} later than A (95 %)", quantity(edges.skew_s, "s").with_units()));
        page.entry("deskew", &deskew(edges.skew_s));
        page.entry("at 20, 80 %", &edges.skew_at_20_80_s.map(|e| quantity(e, "s").with_units()).join(", "));
        page.entry("gain B/A", &format!("{} (95 %)", ratio(edges.gain_ratio)));
        let duration = |t: Option<f64>| t.map_or("not known".into(), |t| plain(t, "s", 3));
        let [a, b] = edges.transition_s.map(duration);
        page.entry("transition", &format!("A {a}, B {b} (10 to 90 %)"));
        page.entry("edges", &edges.edges.to_string());
    } else if let Some(from) = &subject.balance_from {
        page.heading("Gain and skew");
        page.entry("from", from);
        page.entry("gain B/A", &ratio(subject.balance.gain_ratio));
        page.entry("skew", &quantity(subject.balance.skew_s, "s").with_units());
    }
    page.heading("Common-mode rejection of A - B, dB (at least, with 95 %)");
    table(&mut page, subject);
    if let Some(trimmed) = &subject.trimmed {
        let best = &trimmed.b_to_a;
        let place = match best.at {
            AdjustedAt::Tip => "at the tip",
            AdjustedAt::Base => "in its box",
        };
        let way = if best.change_f < 0.0 { "less" } else { "more" };
        page.line("");
        page.paragraph(
            "",
            &format!(
                "B does most nearly what A does with {} pF {way} {place}; its e is then {} %. Compensating both is better where \
                 their time constants differ.",
                significant(1e12 * best.change_f.abs(), 3),
                significant(100.0 * best.error, 3)
            ),
        );
    }
    if !subject.consequences.is_empty() {
        page.heading("What it does to the measurement");
        for one in &subject.consequences {
            page.entry(name(one.code), &format!("{} ({})", value(one), one.of));
        }
    }
    if !subject.findings.is_empty() {
        page.heading("Findings");
        for finding in &subject.findings {
            let remedy = if finding.remedy.is_empty() {
                String::new()
            } else {
                format!(" {}.", capital(&finding.remedy))
            };
            let words = format!("{}.{remedy} ({})", capital(&finding.message), finding.code);
            page.entry(severity_code(finding.severity), &words);
        }
    }
    page.into_text()
}

/// The worst rejection in one sentence.
pub fn headline(subject: &Subject) -> String {
    let worst = subject.rejection.iter().max_by(|a, b| a.share().total_cmp(&b.share()));
    let Some(worst) = worst else { return "No frequency was asked for.".into() };
    format!(
        "A - B rejects what both tips share by {} dB at worst, at {} (at least {} dB, 95 %): of 100 V common to both, {} V \
         show.",
        decibels(worst.decibels()),
        plain(worst.frequency_hz, "Hz", 3),
        decibels(worst.at_least_decibels()),
        significant(100.0 * worst.share(), 3)
    )
}

fn table(page: &mut Page, subject: &Subject) {
    let mut heads = vec![("frequency", Right), ("as they are", Right)];
    if subject.trimmed.is_some() {
        heads.extend([("both flat", Right), ("B as A", Right)]);
    }
    let mut table = Columns::new(&heads, 0);
    // A long list is for the drawing and for programs: about a dozen lines of it are shown.
    let step = subject.rejection.len().div_ceil(13).max(1);
    for (k, one) in subject.rejection.iter().enumerate().filter(|(k, _)| k % step == 0) {
        let mut row = vec![plain(one.frequency_hz, "Hz", 3), cell(one)];
        if let Some(trimmed) = &subject.trimmed {
            row.push(trimmed.both_flat.get(k).map_or(String::new(), cell));
            row.push(trimmed.b_to_a.left.get(k).map_or(String::new(), cell));
        }
        table.row(row);
    }
    table.write(page, "  ");
}

fn cell(one: &Rejection) -> String {
    format!("{} ({})", decibels(one.decibels()), decibels(one.at_least_decibels()))
}

/// `34.99`, or that nothing is left.
fn decibels(value: f64) -> String {
    if value.is_finite() && value < 200.0 { format!("{value:.1}") } else { "> 200".into() }
}

/// What to enter at the oscilloscope.
fn deskew(skew: Estimate) -> String {
    let size = quantity(Estimate { value: skew.value.abs(), standard_uncertainty: 0.0 }, "s").with_units();
    let later = if skew.value > 0.0 { "A" } else { "B" };
    format!("delay {later} by {size}, so that both show the edge at the same time")
}

fn ratio(ratio: Estimate) -> String {
    let off = Estimate { value: ratio.value - 1.0, ..ratio };
    format!("1 {}", percent(off).signed().with_units())
}

fn value(one: &Consequence) -> String {
    if one.unit.is_empty() {
        percent(one.error).signed().with_units()
    } else {
        quantity(one.error, one.unit).signed().with_units()
    }
}

fn name(code: &str) -> &'static str {
    match code {
        "power-error" => "power",
        "switching-energy-error" => "edge energy",
        "delay-error" => "delay",
        _ => "difference",
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
