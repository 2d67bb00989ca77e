//! The words for people: bandwidth first, then transition, flatness, table, what was taken for granted.

use flattop_core::characterise::{Bandwidth, End, Method};

use super::{Subject, expanded_share, headline};
use crate::format::{degrees, percent, plain, plain_percent, quantity, significant};
use crate::subject::severity_code;
use crate::text::columns::{Columns, Flush};
use crate::text::wrap::Page;
use crate::text::{capitalised, sentence};

/// Rows of the table at most.
const ROWS: usize = 13;

/// The report, at most 80 columns wide, with a final line feed.
pub fn of(subject: &Subject) -> String {
    let found = &subject.found;
    let mut page = Page::default();
    page.paragraph("", &headline(subject));
    if !found.points.is_empty() {
        page.paragraph("", &range_sentence(subject));
        figures(&mut page, subject);
        table(&mut page, subject);
    }
    basis(&mut page, subject);
    findings(&mut page, subject);
    page.into_text()
}

/// How far the response is known, and why no further.
pub(super) fn range_sentence(subject: &Subject) -> String {
    let found = &subject.found;
    let Some((low, high)) = found.range_hz() else { return String::new() };
    let limit = plain_percent(found.expanded_limit, 3);
    let why = match found.end {
        End::Uncertainty => format!("beyond that the gain is not known within {limit} (95 %)"),
        End::Sampling => "0.4 times the sampling rate".into(),
        End::Sweep => "the highest sine".into(),
    };
    format!("Known from {} to {}: {why}. Nothing is said outside.", plain(low, "Hz", 3), plain(high, "Hz", 3))
}

fn figures(page: &mut Page, subject: &Subject) {
    let found = &subject.found;
    page.heading("Figures (± is 95 %)");
    let bandwidth = match found.bandwidth {
        Some(Bandwidth::At(f)) => quantity(f, "Hz").with_units(),
        Some(Bandwidth::Above(f)) => format!("above {}", plain(f, "Hz", 3)),
        None => "not known".into(),
    };
    page.entry("bandwidth", &bandwidth);
    if let Some(t) = found.transition {
        let shown = quantity(t.recorded_s, "s").with_units();
        let words = match (t.pairing_s, t.source_s) {
            (Some(own), Some(source)) => format!(
                "{} (10-90 %): {shown} recorded, less {} of the source by root-sum-square (exact for Gaussian steps)",
                quantity(own, "s").with_units(),
                quantity(source, "s").with_units()
            ),
            (None, Some(source)) => format!(
                "not known: {shown} recorded, and the source takes {}",
                quantity(source, "s").with_units()
            ),
            _ => format!("{shown}, the source's share in it"),
        };
        page.entry("transition", &words);
    }
    if let Some(f) = found.flatness {
        page.entry(
            "flatness",
            &format!(
                "{} at {}, the most from {} to {}",
                percent(f.deviation).signed().with_units(),
                plain(f.frequency_hz, "Hz", 3),
                plain(f.band_hz.0, "Hz", 3),
                plain(f.band_hz.1, "Hz", 3)
            ),
        );
    }
    if let Some(a) = found.aberrations {
        let share = |estimate| percent(estimate).with_units();
        page.entry("overshoot", &format!("{} of the step as recorded", share(a.overshoot)));
        page.entry("preshoot", &share(a.preshoot));
        page.entry("undershoot", &share(a.undershoot));
    }
    if let Some(gain) = found.low_frequency_gain {
        let pair = quantity(gain, "");
        let words = pair.with_units();
        page.entry("gain", &format!("{} times the reference at low frequencies", words.trim_end()));
    }
    if let Some(delay) = found.delay_s {
        page.entry("delay", &format!("{}, taken out of the phase", quantity(delay, "s").with_units()));
    }
}

fn table(page: &mut Page, subject: &Subject) {
    let points = &subject.found.points;
    page.heading("Response");
    let mut columns = Columns::new(
        &[
            ("frequency", Flush::Right),
            ("gain", Flush::Right),
            ("dB", Flush::Right),
            ("± 95 %", Flush::Right),
            ("phase", Flush::Right),
            ("± 95 %", Flush::Right),
        ],
        0,
    );
    let last = points.len() - 1;
    let count = ROWS.min(points.len());
    for row in 0..count {
        let p = &points[if count > 1 { row * last / (count - 1) } else { 0 }];
        let phase = degrees(p.phase_rad);
        columns.row(vec![
            plain(p.frequency_hz, "Hz", 3),
            format!("{:.4}", p.gain.value),
            decibels(p.gain.value),
            format!("{} %", significant(100.0 * expanded_share(p.gain), 2)),
            format!("{} °", phase.value),
            if phase.half_width.is_empty() { String::new() } else { format!("{} °", phase.half_width) },
        ]);
    }
    columns.write(page, "  ");
    page.paragraph(
        "  ",
        "Gain is relative to that at low frequencies; all points are in --json, --csv and -o.",
    );
}

/// To two places, without a sign where that is nil.
fn decibels(gain: f64) -> String {
    let text = format!("{:+.2}", 20.0 * gain.log10());
    if text.ends_with("0.00") && text.len() == 5 { "0.00".into() } else { text }
}

fn basis(page: &mut Page, subject: &Subject) {
    let found = &subject.found;
    page.heading("From");
    let what = match found.method {
        Method::EdgesAgainstReference => "edges against the reference column",
        Method::EdgesAlone => "edges alone; time counts from their 50 % instants, so no delay is known",
        Method::Sines => "sines against the reference column",
    };
    page.entry("method", what);
    let counted = if found.method == Method::Sines { "captures" } else { "edges" };
    page.entry(counted, &found.edges.to_string());
    if let Some(noise) = found.noise {
        page.entry("noise", &format!("{} of the step, rms", plain_percent(noise, 2)));
    }
    if let Some(stated) = subject.stated_source_s {
        let doubt = if stated.standard_uncertainty > 0.0 { "" } else { ", taken as exact" };
        page.entry("source", &format!("Gaussian step of {}{doubt}", quantity(stated, "s").with_units()));
    }
    for (file, facts) in &subject.captures {
        page.entry(
            "capture",
            &format!("{file}: {} points, {} apart", facts.points, plain(facts.interval_s, "s", 4)),
        );
    }
    if let Some(file) = &subject.written_to {
        page.entry("written to", file);
        if file.ends_with(".s2p") {
            page.paragraph("  ", "Into a plan for flattop predict or flattop correct it goes as");
            for line in [
                "[[measured]]",
                "place = \"before-input\"",
                &format!("file = \"{file}\""),
                "use = \"response\"",
            ] {
                page.line(&format!("    {line}"));
            }
            page.paragraph(
                "  ",
                "It is the whole pairing: the plan's probe, cable and input have to be without limits of their own, or count twice.",
            );
        }
    }
}

fn findings(page: &mut Page, subject: &Subject) {
    let mut all: Vec<_> = subject.found.findings.iter().collect();
    if all.is_empty() {
        return;
    }
    all.sort_by_key(|f| std::cmp::Reverse(f.severity));
    page.heading("Findings");
    for finding in all {
        let message = capitalised(&sentence(&finding.message));
        page.entry(severity_code(finding.severity), &format!("{message} ({})", finding.code));
        if !finding.remedy.is_empty() {
            page.entry("", &format!("Remedy: {}", capitalised(&sentence(&finding.remedy))));
        }
    }
}
