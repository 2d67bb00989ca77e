//! The words for people: verdict first, then what to turn, then the evidence.

mod table;
mod wrap;

use flattop_core::assessment::{AdjustedAt, Compensation, Estimate, SquareWave, Verdict};
use flattop_core::finding::Severity;

use crate::format::{degrees, percent, picofarads, plain, plain_percent, quantity};
use crate::subject::{COVERAGE_FACTOR_95, Failure, Method, STATED_FREQUENCIES_HZ, Subject, severity_code};
use wrap::Page;

/// The report on one assessment, at most 80 columns wide, with a final line feed.
pub fn one(subject: &Subject) -> String {
    let mut page = Page::default();
    report(&mut page, subject);
    page.into_text()
}

/// A table of several results, one line each, at most 80 columns wide, with a final line feed.
pub fn several(results: &[Result<Subject, Failure>]) -> String {
    table::several(results)
}

/// The verdict in one sentence, as a technician would say it.
pub fn verdict_sentence(subject: &Subject) -> String {
    let found = &subject.assessment;
    let Some(compensation) = &found.compensation else {
        return format!("UNDETERMINED: {}", sentence(&reason(subject)));
    };
    let error = compensation.error;
    let magnitude = percent(Estimate { value: error.value.abs(), ..error });
    let doubt = if magnitude.half_width.is_empty() {
        String::new()
    } else {
        format!(" (± {} %, 95 %)", magnitude.half_width)
    };
    match found.verdict {
        Verdict::Undercompensated => {
            format!("UNDERCOMPENSATED: fast parts read {} % low{doubt}.", magnitude.value)
        }
        Verdict::Overcompensated => {
            format!("OVERCOMPENSATED: fast parts read {} % high{doubt}.", magnitude.value)
        }
        Verdict::WithinTolerance => format!(
            "WITHIN TOLERANCE: fast parts read {} % {}{doubt}, {} allowed.",
            magnitude.value,
            side(error.value),
            plain_percent(found.tolerance, 3)
        ),
        Verdict::Undetermined if subject.fault().is_some() => {
            format!("UNDETERMINED: {}", sentence(&reason(subject)))
        }
        Verdict::Undetermined => format!(
            "UNDETERMINED: fast parts read {} % {}{doubt}: too close to the tolerance of {} to call.",
            magnitude.value,
            side(error.value),
            plain_percent(found.tolerance, 3)
        ),
    }
}

/// What to do with the trimmer, in one sentence; `None` when there is nothing to act on.
pub fn turn_sentence(subject: &Subject) -> Option<String> {
    if !subject.can_be_acted_on() {
        return None;
    }
    let adjustment = subject.assessment.compensation?.adjustment(subject.assumptions.adjusted_at);
    let change = adjustment.change_f;
    let size = picofarads(Estimate { value: change.value.abs(), ..change });
    let amount = if size.half_width.is_empty() {
        format!("{} pF", size.value)
    } else {
        format!("{} pF (± {} pF, 95 %)", size.value, size.half_width)
    };
    let way = if change.value < 0.0 { "decrease" } else { "increase" };
    let place = match adjustment.at {
        AdjustedAt::Tip => "the trimmer at the tip",
        AdjustedAt::Base => "the trimmer in the box at the oscilloscope end",
    };
    let is_vague = COVERAGE_FACTOR_95 * change.standard_uncertainty > change.value.abs();
    Some(match subject.assessment.verdict {
        Verdict::WithinTolerance => {
            format!("Nothing needs turning. Exactly flat would be: {way} {place} by {amount}.")
        }
        Verdict::Undetermined => {
            format!("Best guess, not yet sure: {way} {place} by {amount}.")
        }
        _ if is_vague => format!("Turn: {way} {place}; how far is not well known, {amount}."),
        _ => format!("Turn: {way} {place} by {amount}."),
    })
}

/// The caution on hazardous voltage, when the capture or the stated source shows one.
///
/// Limits of hazardous live parts for hand-held probe assemblies: 30 V rms, 42.4 V peak, 60 V dc (IEC 61010-031:2015,
/// as in its published abstract).
pub fn hazard_caution(subject: &Subject) -> Option<String> {
    let by_source = subject.assumptions.source_amplitude_v.is_some_and(|v| v.abs() > 42.4);
    let by_levels = subject.assessment.square_wave.as_ref().is_some_and(|wave| {
        let (low, high) = (wave.low_level.value, wave.high_level.value);
        let duty = wave.duty.unwrap_or(0.5);
        let rms = (duty * high * high + (1.0 - duty) * low * low).sqrt();
        let mean = duty * high + (1.0 - duty) * low;
        low.abs().max(high.abs()) > 42.4 || rms > 30.0 || mean.abs() > 60.0
    });
    (by_source || by_levels).then(|| {
        "Caution: this signal is above 30 V rms, 42.4 V peak or 60 V dc, where a bare part counts as hazardous \
         live (IEC 61010-031). Keep within the rated voltage of the probe at this frequency, and its ground clip \
         on earth potential only."
            .into()
    })
}

/// Text broken at spaces into lines of at most `width` characters.
pub(crate) fn wrapped(text: &str, width: usize) -> Vec<String> {
    wrap::wrap(text, width)
}

fn report(page: &mut Page, subject: &Subject) {
    let found = &subject.assessment;
    if !subject.file.is_empty() {
        page.paragraph("", &subject.file);
    }
    page.paragraph("", &verdict_sentence(subject));
    match turn_sentence(subject) {
        Some(turn) => page.paragraph("", &turn),
        None => page.paragraph("", &format!("Do next: {}", capitalised(&next_step(subject)))),
    }
    if found.verdict == Verdict::Undetermined && subject.can_be_acted_on() {
        page.paragraph("", &format!("Do next: {}", capitalised(&next_step(subject))));
    }
    if let Some(caution) = hazard_caution(subject) {
        page.paragraph("", &caution);
    }
    if let Some(compensation) = &found.compensation {
        errors(page, compensation);
    }
    if let Some(wave) = &found.square_wave {
        square_wave(page, wave);
    }
    measured(page, subject);
    if let Some(compensation) = &found.compensation {
        circuit(page, compensation);
    }
    assumed(page, subject);
    findings(page, subject);
}

/// Why there is no verdict: the fault that withholds it, in the core's words.
fn reason(subject: &Subject) -> String {
    match subject.fault() {
        Some(fault) => fault.message.clone(),
        None => "the record does not carry a compensation error".into(),
    }
}

fn next_step(subject: &Subject) -> String {
    let remedy =
        subject.remedy().unwrap_or("capture again, with more periods or averaged in the oscilloscope");
    sentence(remedy)
}

fn errors(page: &mut Page, compensation: &Compensation) {
    page.heading("Error of a sine against its frequency (± is a 95 % interval)");
    page.line(&format!("  {:>9}   {:>21}   {:>20}", "frequency", "amplitude", "phase"));
    for frequency_hz in STATED_FREQUENCIES_HZ {
        let point = compensation.response_at(frequency_hz);
        let amplitude = percent(point.amplitude_error).signed();
        let phase = degrees(point.phase_error_rad).signed();
        page.line(&format!(
            "  {:>9}   {:>21}   {:>20}",
            plain(frequency_hz, "Hz", 3),
            beside(&amplitude.value, &amplitude.half_width, " %"),
            beside(&phase.value, &phase.half_width, "°"),
        ));
    }
}

fn beside(value: &str, half_width: &str, unit: &str) -> String {
    if half_width.is_empty() {
        format!("{value}{unit}")
    } else {
        format!("{value}{unit} ± {half_width}{unit}")
    }
}

fn square_wave(page: &mut Page, wave: &SquareWave) {
    page.heading("Square wave as recorded");
    if let Some(frequency) = wave.frequency_hz {
        page.entry("frequency", &quantity(frequency, "Hz").with_units());
    }
    if let Some(duty) = wave.duty {
        page.entry("duty", &plain_percent(duty, 4));
    }
    page.entry("low level", &quantity(wave.low_level, "V").with_units());
    page.entry("high level", &quantity(wave.high_level, "V").with_units());
    page.entry("edges used", &wave.edges.to_string());
    if let Some(transition_s) = wave.transition_s {
        page.entry("transition", &format!("{} (10–90 %)", plain(transition_s, "s", 3)));
    }
    if wave.noise_rms > 0.0 {
        page.entry("noise", &format!("{} rms", plain(wave.noise_rms, "V", 2)));
    }
}

fn measured(page: &mut Page, subject: &Subject) {
    let points = &subject.assessment.measured_response;
    if points.is_empty() {
        return;
    }
    page.heading("Measured against the reference column, gain over that at the lowest frequency");
    page.line(&format!("  {:>9}   {:>21}   {:>20}", "frequency", "gain change", "phase"));
    for point in points.iter().step_by(points.len().div_ceil(20)) {
        let gain = Estimate { value: point.relative_gain.value - 1.0, ..point.relative_gain };
        let gain = percent(gain).signed();
        let phase = degrees(point.phase_rad).signed();
        page.line(&format!(
            "  {:>9}   {:>21}   {:>20}",
            plain(point.frequency_hz, "Hz", 3),
            beside(&gain.value, &gain.half_width, " %"),
            beside(&phase.value, &phase.half_width, "°"),
        ));
    }
    if points.len() > 20 {
        page.paragraph("  ", &format!("{} points measured; --json has them all.", points.len()));
    }
}

fn circuit(page: &mut Page, compensation: &Compensation) {
    page.heading("Circuit (± is a 95 % interval)");
    page.entry("error e", &percent(compensation.error).signed().with_units());
    page.entry("time constant", &quantity(compensation.time_constant_s, "s").with_units());
    page.entry("at the tip, C1", &picofarads(compensation.tip_capacitance_f()).with_units());
    page.entry("shunt, C2", &picofarads(compensation.shunt_capacitance_f()).with_units());
    page.entry("seen at the tip", &picofarads(compensation.seen_at_tip_f()).with_units());
}

fn assumed(page: &mut Page, subject: &Subject) {
    let assumed = &subject.assumptions;
    page.heading("Assumed");
    let tolerance = assumed.resistor_tolerance;
    page.entry(
        "divider",
        &format!(
            "{} : {}, each within ± {} (rectangular; standard uncertainty {})",
            plain(assumed.divider.tip_resistance_ohm, "Ω", 6),
            plain(assumed.divider.shunt_resistance_ohm, "Ω", 6),
            plain_percent(tolerance, 3),
            plain_percent(assumed.resistor_standard_uncertainty(), 2),
        ),
    );
    if let Some(amplitude_v) = assumed.source_amplitude_v {
        page.entry("source", &format!("{} peak to peak, as stated", plain(amplitude_v, "V", 4)));
    }
    page.entry("tolerance", &format!("|e| up to {}", plain_percent(subject.assessment.tolerance, 3)));
    let method = match subject.method {
        Method::SquareWave => "first-order divider response fitted to the square wave",
        Method::Reference => "first-order divider response fitted against the reference column",
        Method::Sine => "first-order divider response fitted to sines against their reference",
        Method::ByEye => "first-order divider response through the levels read off the screen",
    };
    page.entry("method", method);
    let facts = subject.record.iter().chain(subject.captures.iter().map(|(_, facts)| facts));
    for record in facts {
        let name = record.column_name.as_ref().map_or_else(String::new, |name| format!(" ({name})"));
        page.entry(
            "record",
            &format!(
                "{}, {} points, {} apart, column {}{name} of {}",
                record.format,
                record.points,
                plain(record.interval_s, "s", 6),
                record.column,
                record.columns
            ),
        );
    }
}

fn findings(page: &mut Page, subject: &Subject) {
    let all = &subject.assessment.findings;
    if all.is_empty() {
        return;
    }
    page.heading("Findings");
    for severity in [Severity::Fault, Severity::Warning, Severity::Note] {
        for finding in all.iter().filter(|finding| finding.severity == severity) {
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

fn side(error: f64) -> &'static str {
    if error < 0.0 { "low" } else { "high" }
}

/// A sentence that starts with a capital, whoever wrote it.
fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}

/// Closes a sentence that may already be closed.
fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) { text.into() } else { format!("{text}.") }
}

#[cfg(test)]
mod tests;
