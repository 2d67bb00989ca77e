//! The words of a prediction for people: what is shown first, then why, then the figures, cautions last and plain to see.

pub(super) mod tables;

use flattop_core::assessment::Estimate;
use flattop_core::chain::answers::Extreme;
use flattop_core::finding::{Finding, Severity};
use flattop_core::prediction::{DATA_SHEET_HZ, HIGHEST_HZ, SLOWEST_EDGE_S};
use flattop_core::quantity::{Unit, format_engineering, format_estimate};
use flattop_core::rating::{Allowed, Check, Quantity};

use super::{Assumed, AssumedValue, Subject};
use crate::format::{plain, plain_percent, quantity};
use crate::subject::severity_code;
use crate::text::wrap::Page;
use crate::text::{capitalised, sentence};

/// The report on one prediction, at most 80 columns wide, with a final line feed.
pub fn of(subject: &Subject) -> String {
    let mut page = Page::default();
    if !subject.plan.is_empty() {
        page.paragraph("", &subject.plan);
    }
    page.paragraph("", &super::headline(subject));
    page.paragraph("", &limits_sentence(subject));
    if subject.findings.iter().any(|f| subject.is_caution(f) && f.severity >= Severity::Warning) {
        page.paragraph("", "Read the CAUTIONS at the end before you touch anything.");
    }
    tables::errors(&mut page, subject);
    tables::figures(&mut page, subject);
    tables::response(&mut page, subject);
    data_sheet(&mut page, subject);
    ratings(&mut page, subject);
    assumed(&mut page, subject);
    remarks(&mut page, subject);
    cautions(&mut page, subject);
    page.into_text()
}

/// What is carried within the accepted error, in one sentence.
pub fn limits_sentence(subject: &Subject) -> String {
    let limits = &subject.prediction.limits;
    let doubts = subject.prediction.doubts.as_ref();
    let hertz = |value, u: Option<f64>| with_doubt(value, u, "Hz");
    let sines = match limits.sines {
        None => "no sines: even slow ones are further off".into(),
        Some(band) => {
            let from = if band.from_hz > 0.0 { plain(band.from_hz, "Hz", 3) } else { "0".into() };
            let to = band.to_hz.map_or_else(
                || plain(HIGHEST_HZ, "Hz", 3),
                |to_hz| hertz(to_hz, doubts.and_then(|d| d.highest_sine_hz)),
            );
            format!("sines from {from} to {to}")
        }
    };
    let edges = match limits.fastest_edge_s {
        None => format!("no edges up to {} (10–90 %)", plain(0.8 * SLOWEST_EDGE_S, "s", 3)),
        Some(edge_s) if edge_s > 0.0 => {
            format!(
                "edges of {} (10–90 %) and slower",
                with_doubt(edge_s, doubts.and_then(|d| d.fastest_edge_s), "s")
            )
        }
        Some(_) => "edges of any duration".into(),
    };
    format!("Within {}: {sines}; {edges}.", plain_percent(limits.accepted_error, 3))
}

/// Three digits, or what the uncertainty allows where there is one.
fn with_doubt(value: f64, standard_uncertainty: Option<f64>, unit: &str) -> String {
    match standard_uncertainty.filter(|u| *u > 0.0 && u.is_finite()) {
        Some(standard_uncertainty) => quantity(Estimate { value, standard_uncertainty }, unit).with_units(),
        None => plain(value, unit, 3),
    }
}

fn data_sheet(page: &mut Page, subject: &Subject) {
    let found = &subject.prediction.summary;
    let doubts = subject.prediction.doubts.as_ref();
    page.heading("Probe and input together, as a data sheet would print them");
    page.entry("gain at dc", &format!("{} of the source", plain_percent(found.passband_gain, 5)));
    page.entry(
        "bandwidth",
        &found.bandwidth_hz.map_or_else(
            || format!("above {}", plain(HIGHEST_HZ, "Hz", 3)),
            |f| format!("{} (−3 dB)", with_doubt(f, doubts.and_then(|d| d.bandwidth_hz), "Hz")),
        ),
    );
    let at = |extreme: Extreme| {
        let sign = if extreme.deviation > 0.0 { "+" } else { "" };
        let size = plain_percent(extreme.deviation, 2);
        if extreme.frequency_hz > 0.0 {
            format!("{sign}{size} at {}", plain(extreme.frequency_hz, "Hz", 3))
        } else {
            size
        }
    };
    page.entry(
        "flatness",
        &format!(
            "{} and {}, up to {}",
            at(found.flatness.highest),
            at(found.flatness.lowest),
            plain(found.flatness_up_to_hz, "Hz", 3)
        ),
    );
    page.entry("noise bandwidth", &plain(found.noise_bandwidth.up_to_limit_hz, "Hz", 3));
    if let Some(duration_s) = found.transition_duration_s {
        let duration = with_doubt(duration_s, doubts.and_then(|d| d.transition_duration_s), "s");
        page.entry("ideal step", &format!("{duration} (10–90 %)"));
    }
    if let Some(ringing) = found.ringing {
        page.entry(
            "ringing",
            &format!(
                "{}, damping ratio {}, Q {}",
                plain(ringing.frequency_hz, "Hz", 3),
                crate::format::significant(ringing.damping_ratio, 2),
                crate::format::significant(ringing.quality, 2)
            ),
        );
    }
    if let Some(shelf) = found.compensation {
        page.entry(
            "compensation",
            &format!(
                "error e {}, time constant {}",
                super::leading::signed_percent(shelf.error),
                plain(shelf.time_constant_s, "s", 3)
            ),
        );
    }
    page.entry(
        "input",
        &format!(
            "{} at dc; {} parallel to {} at {}",
            plain(found.input_resistance_ohm, "Ω", 4),
            plain(found.input.resistance_ohm, "Ω", 3),
            plain(found.input.capacitance_f, "F", 3),
            plain(DATA_SHEET_HZ, "Hz", 3)
        ),
    );
}

/// For each part the comparison that uses most of its rating, worst part first.
fn ratings(page: &mut Page, subject: &Subject) {
    let Some(survey) = &subject.survey else { return };
    let weight = |check: &&Check| check.used().unwrap_or(f64::INFINITY);
    let mut worst: Vec<&Check> = (0..subject.part_names.len())
        .filter_map(|part| {
            let own = survey.checks.iter().filter(|check| check.part == part);
            own.max_by(|a, b| weight(a).total_cmp(&weight(b)))
        })
        .collect();
    worst.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    if worst.is_empty() {
        return;
    }
    page.heading("Nearest to each rating");
    for check in worst {
        let name = subject.part_names.get(check.part).map_or("", String::as_str);
        page.paragraph("  ", &format!("{name}: {}", comparison(check)));
    }
}

fn comparison(check: &Check) -> String {
    let at = if !check.frequency_hz.is_finite() {
        " for a jump".into()
    } else if check.frequency_hz > 0.0 {
        format!(" at {}", plain(check.frequency_hz, "Hz", 3))
    } else {
        String::new()
    };
    let value = format!("{} {}", plain(check.value, "V", 3), check.kind.word());
    match (check.quantity, check.limit) {
        (Quantity::Together, _) => {
            format!("{} of the rating for all its sines together", plain_percent(check.value, 3))
        }
        (_, Allowed::UpTo(limit)) => format!(
            "{value} of {} allowed{at} ({})",
            plain(limit, "V", 3),
            plain_percent(check.value / limit, 2)
        ),
        (_, Allowed::NotRated { last_hz }) => {
            let end = if last_hz > 0.0 { plain(last_hz, "Hz", 3) } else { "0 Hz".into() };
            format!("{value}{at}: NOT RATED there, the rating ends at {end}")
        }
    }
}

fn assumed(page: &mut Page, subject: &Subject) {
    if subject.assumed.is_empty() {
        return;
    }
    page.heading("Assumed, because nobody stated it (± is one standard uncertainty)");
    for Assumed { what, value, why } in &subject.assumed {
        let value = match value {
            AssumedValue::Words(words) => words.clone(),
            AssumedValue::Number { value, unit, standard_uncertainty } => {
                number(*value, *unit, *standard_uncertainty)
            }
        };
        page.paragraph("  ", &format!("{what} = {value}: {why}"));
    }
}

fn number(value: f64, unit: Option<Unit>, standard_uncertainty: Option<f64>) -> String {
    match (unit, standard_uncertainty) {
        (Some(unit), Some(u)) => format_estimate(value, u, unit),
        (Some(unit), None) => format_engineering(value, unit, 4),
        // Conductance per metre is the only one without a unit that is typed.
        (None, Some(u)) => format!("{value:.3e} ± {u:.1e} S/m"),
        (None, None) => format!("{value:.3e} S/m"),
    }
}

fn remarks(page: &mut Page, subject: &Subject) {
    let all: Vec<&Finding> = subject.findings.iter().filter(|f| !subject.is_caution(f)).collect();
    if all.is_empty() {
        return;
    }
    page.heading("Findings");
    for severity in [Severity::Fault, Severity::Warning, Severity::Note] {
        for finding in all.iter().filter(|f| f.severity == severity) {
            page.entry(
                severity_code(severity),
                &format!("{} ({})", capitalised(&sentence(&finding.message)), finding.code),
            );
            if !finding.remedy.is_empty() {
                page.entry("", &format!("Remedy: {}", capitalised(&sentence(&finding.remedy))));
            }
        }
    }
}

fn cautions(page: &mut Page, subject: &Subject) {
    let all: Vec<&Finding> = subject.findings.iter().filter(|f| subject.is_caution(f)).collect();
    if all.is_empty() {
        return;
    }
    page.heading("CAUTIONS");
    for severity in [Severity::Fault, Severity::Warning, Severity::Note] {
        for finding in all.iter().filter(|f| f.severity == severity) {
            let mark = match severity {
                Severity::Fault => "!! STOP",
                Severity::Warning => "!  caution",
                Severity::Note => "   note",
            };
            page.entry(mark, &format!("{} ({})", capitalised(&sentence(&finding.message)), finding.code));
            if !finding.remedy.is_empty() {
                page.entry("", &format!("Do: {}", capitalised(&sentence(&finding.remedy))));
            }
        }
    }
}
