//! The words for people: verdict first, then what to turn, then the evidence.

pub(crate) mod columns;
mod table;
pub(crate) mod wrap;

use flattop_core::assessment::{AdjustedAt, Compensation, Estimate, SquareWave, Verdict};
use flattop_core::finding::Severity;

use crate::format::{degrees, percent, picofarads, plain, plain_percent, quantity};
use crate::subject::{
    COVERAGE_FACTOR_95, Failure, Method, RecordFacts, STATED_FREQUENCIES_HZ, Subject, severity_code,
};
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
    let Some(compensation) = found.compensation.filter(|_| !subject.is_withheld()) else {
        return format!("UNDETERMINED: {}", sentence(&reason(subject)));
    };
    let seen = seen(compensation.error);
    let tolerance = plain_percent(found.tolerance, 3);
    match found.verdict {
        Verdict::Undercompensated => format!("UNDERCOMPENSATED: {seen}."),
        Verdict::Overcompensated => format!("OVERCOMPENSATED: {seen}."),
        Verdict::WithinTolerance => format!("WITHIN TOLERANCE: {seen}, {tolerance} allowed."),
        Verdict::Undetermined
            if COVERAGE_FACTOR_95 * compensation.error.standard_uncertainty > found.tolerance =>
        {
            format!("UNDETERMINED: {seen}: not known well enough against the {tolerance} tolerance.")
        }
        Verdict::Undetermined => {
            format!("UNDETERMINED: {seen}: too close to the tolerance of {tolerance} to call.")
        }
    }
}

/// How far fast parts are off, with the doubt about it.
fn seen(error: Estimate) -> String {
    let magnitude = percent(Estimate { value: error.value.abs(), ..error });
    let is_nil = !magnitude.value.contains(|c: char| ('1'..='9').contains(&c));
    match (is_nil, magnitude.half_width.as_str()) {
        (true, "") => "fast parts read right".into(),
        (true, half_width) => format!("flat within ± {half_width} % (95 %)"),
        (false, "") => format!("fast parts read {} % {}", magnitude.value, side(error.value)),
        (false, half_width) => {
            format!("fast parts read {} % {} (± {half_width} %, 95 %)", magnitude.value, side(error.value))
        }
    }
}

/// What to do with the trimmer, in one sentence; `None` when there is nothing to act on.
pub fn turn_sentence(subject: &Subject) -> Option<String> {
    if !subject.can_be_acted_on() {
        return None;
    }
    let compensation = subject.assessment.compensation?;
    let adjustment = compensation.adjustment(subject.assumptions.adjusted_at);
    let change = adjustment.change_f;
    let size = picofarads(Estimate { value: change.value.abs(), ..change });
    let amount = if size.half_width.is_empty() {
        format!("{} pF", size.value)
    } else {
        format!("{} pF (± {} pF, 95 %)", size.value, size.half_width)
    };
    let place = match adjustment.at {
        AdjustedAt::Tip => "the trimmer at the tip",
        AdjustedAt::Base => "the trimmer in the box at the oscilloscope end",
    };
    let is_less = change.value < 0.0;
    let way = if is_less { "shrinks" } else { "grows" };
    // Wherever the trimmer is: what reads low at first comes up to the level at the end, and the other way round.
    let front = if compensation.error.value < 0.0 { "rises" } else { "falls" };
    let is_vague = COVERAGE_FACTOR_95 * change.standard_uncertainty > change.value.abs();
    // How far may be unknown where the way is not, when the time constant is.
    let error = compensation.error;
    let way_unknown = COVERAGE_FACTOR_95 * error.standard_uncertainty > error.value.abs();
    Some(match subject.assessment.verdict {
        Verdict::WithinTolerance if is_vague || change.value.abs() <= 0.0 => "Nothing needs turning.".into(),
        Verdict::WithinTolerance => {
            let more = if is_less { "less" } else { "more" };
            format!("Nothing needs turning. Exactly flat would take {amount} {more} in {place}.")
        }
        Verdict::Undetermined if way_unknown => {
            "Turn nothing yet: which way the trimmer would have to go is not known.".into()
        }
        Verdict::Undetermined if is_vague => format!(
            "Best guess, not yet sure: turn {place} so that its capacitance {way}, until the front of the top {front} \
             to meet its end."
        ),
        Verdict::Undetermined => {
            format!(
                "Best guess, not yet sure: turn {place} so that its capacitance {way} by {amount}; the front of the \
                 top then {front} to meet its end."
            )
        }
        _ if is_vague => format!(
            "Turn {place} so that its capacitance {way}, until the front of the top {front} to meet its end; how far \
             is not well known, {amount}."
        ),
        _ => format!(
            "Turn {place} so that its capacitance {way} by {amount}; the front of the top then {front} to meet its \
             end."
        ),
    })
}

/// The caution on hazardous voltage, when the capture or the stated source shows one.
///
/// Limits of hazardous live parts for hand-held probe assemblies: 30 V rms, 42.4 V peak, 60 V dc (IEC 61010-031:2015,
/// as in its published abstract).
pub fn hazard_caution(subject: &Subject) -> Option<String> {
    let by_source = subject.assumptions.source_amplitude_v.is_some_and(|v| v.abs() > 42.4);
    // Levels of a fit that was refused mean nothing.
    let accepted = subject.assessment.square_wave.filter(|_| subject.assessment.compensation.is_some());
    let by_levels = accepted.is_some_and(|wave| {
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
    if let Some(hint) = other_column(subject) {
        page.paragraph("", &hint);
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

/// Without a verdict, the column that was read may be the wrong one of several.
fn other_column(subject: &Subject) -> Option<String> {
    let record = subject.record.as_ref()?;
    let is_square = subject.method == Method::SquareWave;
    if subject.assessment.verdict != Verdict::Undetermined || !is_square || record.columns < 3 {
        return None;
    }
    // The first column is mostly time.
    let other = if record.column < record.columns { record.column + 1 } else { record.column - 1 };
    Some(format!(
        "Column {}{} was read; the file has {} columns: try --column {other}.",
        record.column,
        in_brackets(record.column_name.as_deref()),
        record.columns
    ))
}

fn in_brackets(name: Option<&str>) -> String {
    name.map_or_else(String::new, |name| format!(" ({name})"))
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
    let step = (wave.high_level.value - wave.low_level.value).abs();
    for (name, level) in [("low level", wave.low_level), ("high level", wave.high_level)] {
        // A level that is not known to half the step would only mislead.
        if COVERAGE_FACTOR_95 * level.standard_uncertainty <= 0.5 * step {
            page.entry(name, &quantity(level, "V").with_units());
        }
    }
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
    if let Some(record) = record(subject) {
        page.entry("record", &record);
    }
}

/// What was read, in one line: the range where several captures differ.
fn record(subject: &Subject) -> Option<String> {
    let all: Vec<&RecordFacts> =
        subject.record.iter().chain(subject.captures.iter().map(|(_, facts)| facts)).collect();
    let first = all.first()?;
    let range = |of: &dyn Fn(&RecordFacts) -> f64, show: &dyn Fn(f64) -> String| {
        let least = show(all.iter().map(|facts| of(facts)).fold(f64::INFINITY, f64::min));
        let most = show(all.iter().map(|facts| of(facts)).fold(f64::NEG_INFINITY, f64::max));
        if least == most { least } else { format!("{least} to {most}") }
    };
    let mut formats: Vec<&str> = all.iter().map(|facts| facts.format.as_str()).collect();
    formats.sort_unstable();
    formats.dedup();
    Some(format!(
        "{}{}, {} points, {} apart, column {}{} of {}",
        if all.len() > 1 { format!("{} captures, ", all.len()) } else { String::new() },
        formats.join(" and "),
        range(&|facts| facts.points as f64, &|points| points.to_string()),
        range(&|facts| facts.interval_s, &|interval_s| plain(interval_s, "s", 6)),
        first.column,
        in_brackets(first.column_name.as_deref()),
        range(&|facts| facts.columns as f64, &|columns| columns.to_string()),
    ))
}

fn findings(page: &mut Page, subject: &Subject) {
    let all = &subject.assessment.findings;
    if all.is_empty() {
        return;
    }
    page.heading("Findings");
    let told = subject.fault().filter(|_| subject.is_withheld());
    let next = (subject.assessment.verdict == Verdict::Undetermined).then(|| subject.remedy()).flatten();
    for severity in [Severity::Fault, Severity::Warning, Severity::Note] {
        for finding in all.iter().filter(|finding| finding.severity == severity) {
            if told.is_some_and(|told| std::ptr::eq(told, finding)) {
                page.entry(severity_code(severity), &format!("{} (see above)", finding.code));
                continue;
            }
            page.entry(
                severity_code(severity),
                &format!("{} ({})", capitalised(&sentence(&finding.message)), finding.code),
            );
            if next == Some(finding.remedy.as_str()) {
                page.entry("", "Remedy: see above.");
            } else if !finding.remedy.is_empty() {
                page.entry("", &format!("Remedy: {}", capitalised(&sentence(&finding.remedy))));
            }
        }
    }
}

fn side(error: f64) -> &'static str {
    if error < 0.0 { "low" } else { "high" }
}

/// A sentence that starts with a capital, whoever wrote it.
pub(crate) fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}

/// Closes a sentence that may already be closed.
pub(crate) fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) { text.into() } else { format!("{text}.") }
}

#[cfg(test)]
mod tests;
