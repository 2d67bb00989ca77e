//! The words of a corrected record for people: what was done and how sure it is, figures before and after, what it rests on.

use flattop_core::assessment::Estimate;
use flattop_core::correction::chain::{Chosen, Wish};
use flattop_core::correction::noise::NoiseSource;
use flattop_core::correction::shelf::{Before, KnownShelf};
use flattop_core::finding::Severity;
use flattop_core::pulse::Figure;

use super::pulses::{In, Row};
use super::{Subject, Undone, headline, pulses};
use crate::format::{percent, plain, plain_percent, quantity, significant};
use crate::subject::severity_code;
use crate::text::wrap::Page;
use crate::text::{capitalised, sentence};

/// The report on one corrected record, at most 80 columns wide, with a final line feed.
pub fn of(subject: &Subject) -> String {
    let mut page = Page::default();
    page.paragraph("", &format!("{} → {}", subject.file, subject.output));
    page.paragraph("", &headline(subject));
    figures(&mut page, subject);
    basis(&mut page, subject);
    if !subject.findings.is_empty() {
        page.heading("Findings");
    }
    for severity in [Severity::Fault, Severity::Warning, Severity::Note] {
        for finding in subject.findings.iter().filter(|f| f.severity == severity) {
            page.entry(
                severity_code(severity),
                &format!("{} ({})", capitalised(&sentence(&finding.message)), finding.code),
            );
            if !finding.remedy.is_empty() {
                page.entry("", &format!("Remedy: {}", capitalised(&sentence(&finding.remedy))));
            }
        }
    }
    page.into_text()
}

fn figures(page: &mut Page, subject: &Subject) {
    let Some(pulses) = &subject.pulses else { return };
    let rows = pulses::rows(pulses);
    if rows.iter().all(|row| row.before.is_err() && row.after.is_err()) {
        return;
    }
    let of_part = if pulses.samples < subject.record.points {
        format!(", first {} samples", pulses.samples)
    } else {
        String::new()
    };
    page.heading(&format!("Figures (IEEE 181{of_part})"));
    page.line(&format!("  {:<22}{:>16}{:>16}", "", "before", "after"));
    for row in rows.iter().filter(|row| row.before.is_ok() || row.after.is_ok()) {
        let cell = |figure| cell(subject, row, figure);
        page.line(&format!("  {:<22}{:>16}{:>16}", row.words, cell(row.before), cell(row.after)));
    }
}

fn cell(subject: &Subject, row: &Row, figure: Figure) -> String {
    match (figure, row.unit) {
        (Err(_), _) => "-".to_owned(),
        (Ok(value), In::Values) => subject.value(value, 4),
        (Ok(value), In::Seconds) => plain(value, "s", 4),
        (Ok(value), In::Shares) => plain_percent(value, 3),
    }
}

fn basis(page: &mut Page, subject: &Subject) {
    page.heading("What it rests on");
    match &subject.undone {
        Undone::Shelf { known, .. } => shelf(page, subject, known),
        Undone::Chain { wish, chosen, summary, .. } => chain(page, subject, *wish, chosen, summary.delay_s),
    }
    let all = subject.uncertainties();
    let span = match all.inside {
        Some(inside) if all.greatest > inside.greatest_u => format!(
            "{} to {}, at the ends up to {}",
            subject.value(all.least, 2),
            subject.value(inside.greatest_u, 2),
            subject.value(all.greatest, 2)
        ),
        _ => format!("{} to {}", subject.value(all.least, 2), subject.value(all.greatest, 2)),
    };
    page.entry(
        "uncertainty",
        &format!(
            "a standard uncertainty for each sample, {span}; {}",
            match subject.undone {
                Undone::Shelf { .. } => "noise, e and time constant, start, edges between samples",
                Undone::Chain { .. } => "noise, tolerances of the plan, start and ends",
            }
        ),
    );
    let source = match subject.noise.source {
        NoiseSource::Record => "from the record itself",
        NoiseSource::Step => "the digitiser's step over √12",
        NoiseSource::Stated => "as stated",
    };
    page.entry(
        "noise",
        &format!(
            "{} rms, {source}; {} times as much after correction",
            subject.value(subject.noise.standard_deviation, 2),
            significant(subject.noise_gain(), 3)
        ),
    );
    page.entry(
        "start",
        match subject.before() {
            Before::Rest => "at rest at the first sample's level before the record, as stated",
            Before::Unknown => "not known what was before the record: anything within its range",
        },
    );
    if matches!(subject.undone, Undone::Shelf { .. }) {
        page.entry(
            "between samples",
            &format!(
                "straight lines; a jump between two samples puts those behind it off by no more than {}",
                subject.value(subject.bias_bound(), 2)
            ),
        );
    }
    page.entry(
        "added columns",
        &format!("corrected and standard_uncertainty, in the unit of column {}", subject.record.column),
    );
}

fn shelf(page: &mut Page, subject: &Subject, known: &KnownShelf) {
    let error = Estimate { value: known.shelf.error, standard_uncertainty: known.error_u };
    let constant =
        Estimate { value: known.shelf.time_constant_s, standard_uncertainty: known.time_constant_u_s };
    page.entry(
        "error e",
        &format!("{} (95 %), from {}", percent(error).signed().with_units(), subject.known_from),
    );
    page.entry("time constant", &quantity(constant, "s").with_units());
}

fn chain(page: &mut Page, subject: &Subject, wish: Wish, chosen: &Chosen, delay_s: f64) {
    let hertz = |hz| plain(hz, "Hz", 3);
    let why = match (chosen.limited_from_hz, chosen.sampling_from_hz, wish) {
        (Some(_), _, _) => "where the limit of gain stops it",
        (None, _, _) if chosen.measured_from_hz.is_some() => "as far as the plan's measured element is known",
        (None, Some(_), _) => "as much as the sampling carries",
        (None, None, Wish::Bandwidth(_)) => "as asked",
        (None, None, Wish::LeastError) => "where noise and loss together are least",
    };
    page.entry(
        "bandwidth",
        &format!(
            "a Gaussian of {} (-3 dB), {why}; sines up to {} come out within 1 %, edges take {} (10–90 %) at least",
            hertz(chosen.bandwidth_hz),
            hertz(chosen.flat_to_hz),
            // Of a Gaussian: 2·1.2816·√(ln 2)/(2πF).
            plain(0.339_624 / chosen.bandwidth_hz, "s", 3)
        ),
    );
    let (gain, at_hz) = chosen.greatest_gain;
    page.entry("largest gain", &format!("{} times at {}", significant(gain, 3), hertz(at_hz)));
    page.entry(
        "taken away",
        &format!(
            "{} rms of the record's own content lies beyond that bandwidth",
            subject.value(chosen.lost_rms, 2)
        ),
    );
    page.entry(
        "delay",
        &format!(
            "{} left in: the record keeps the time of the screen, the signal was that much earlier",
            plain(delay_s, "s", 3)
        ),
    );
}
