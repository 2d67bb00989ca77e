//! The words for people: the result first, then how it comes about.

use flattop_core::quantity::{Unit, format_concise, format_engineering};
use flattop_core::uncertainty::Verdict;
use flattop_core::uncertainty::reading::{BudgetResult, Measurand};

use super::{Subject, evaluation_code, symbol};
use crate::format::{plain, plain_percent, significant};
use crate::prediction::AssumedValue;
use crate::subject::severity_code;
use crate::text::wrap::Page;
use crate::text::{capitalised, sentence};

/// The report, at most 80 columns wide, with a final line feed.
pub fn of(subject: &Subject) -> String {
    let mut page = Page::default();
    let Some(worst) = subject.worst() else { return page.into_text() };
    page.paragraph("", &headline(subject));
    page.paragraph("", &known_error(subject, worst));
    page.paragraph("", &next(subject, worst));
    if subject.budget.results.len() > 1 {
        over_frequency(&mut page, subject);
    }
    result(&mut page, subject, worst);
    inputs(&mut page, subject, worst);
    contributions(&mut page, subject, worst);
    assumed(&mut page, subject);
    findings(&mut page, subject);
    page.into_text()
}

/// The measurand in words, with its frequency.
pub(super) fn name(measurand: Measurand, result: &BudgetResult) -> String {
    let what = match measurand {
        Measurand::Amplitude => "amplitude",
        Measurand::PeakToPeak => "peak-to-peak value",
        Measurand::TransitionDuration => "transition duration",
        Measurand::Delay => "delay of the second probe",
        Measurand::Mean => "mean",
        Measurand::Rms => "rms value",
    };
    match result.frequency_hz {
        Some(frequency) => format!("{what} at {}", plain(frequency, "Hz", 4)),
        None => what.to_owned(),
    }
}

/// The corrected reading with its Monte Carlo half-width, or both ends where they lie unevenly.
pub fn headline(subject: &Subject) -> String {
    let Some(worst) = subject.worst() else { return String::new() };
    let unit = subject.measurand.unit();
    let drawn = &worst.drawn;
    let (below, above) = (drawn.mean - drawn.symmetric.low, drawn.symmetric.high - drawn.mean);
    let uneven = (above - below).abs() > 0.1 * (above + below);
    let coverage = plain_percent(subject.probability, 4);
    let what = capitalised(&name(subject.measurand, worst));
    let worst_of = if subject.budget.results.len() > 1 { " (the least certain of all)" } else { "" };
    if uneven {
        let end = |v: f64| with_digits(v, drawn.standard_uncertainty, unit);
        format!(
            "{what}{worst_of}: {}, between {} and {} with {coverage}.",
            end(drawn.mean),
            end(drawn.symmetric.low),
            end(drawn.symmetric.high)
        )
    } else {
        let half = 0.5 * (above + below);
        format!(
            "{what}{worst_of}: {} ± {} with {coverage}{}.",
            with_digits(drawn.mean, drawn.standard_uncertainty, unit),
            format_engineering(half, unit, 2),
            relative(half, drawn.mean)
        )
    }
}

fn relative(part: f64, whole: f64) -> String {
    if whole.abs() > 0.0 { format!(" ({})", plain_percent((part / whole).abs(), 2)) } else { String::new() }
}

/// A value to the place of the second digit of its uncertainty.
fn with_digits(value: f64, uncertainty: f64, unit: Unit) -> String {
    let concise = format_concise(value, uncertainty, unit);
    match (concise.find('('), concise.find(')')) {
        (Some(open), Some(close)) => format!("{}{}", &concise[..open], &concise[close + 1..]),
        _ => concise,
    }
}

fn known_error(subject: &Subject, result: &BudgetResult) -> String {
    let unit = subject.measurand.unit();
    let u = result.propagation.standard_uncertainty;
    let error = result.known_error();
    let shown = with_digits(result.shown, u, unit);
    if error.abs() < 0.05 * u {
        return format!("The screen shows {shown}: the known error is small beside the uncertainty.");
    }
    let direction = if (error < 0.0) == (result.propagation.value >= 0.0) { "low" } else { "high" };
    format!(
        "The screen shows {shown}: {}{} too {direction}. That is known, and corrected above; uncorrected it stands beside the \
         uncertainty, not in it.",
        format_engineering(error.abs(), unit, 2),
        relative(error, result.propagation.value)
    )
}

fn next(subject: &Subject, result: &BudgetResult) -> String {
    let ranked = subject.ranked(result);
    let share = |k: usize| result.propagation.terms[k].share;
    match ranked.first() {
        Some(&first) if share(first) > 0.0 => format!(
            "Do next: {} makes {} of the variance; narrow that down first.",
            subject.inputs[first].0.name,
            plain_percent(share(first), 2)
        ),
        _ => {
            "Do next: Give the values of the plan tolerances; without them there is no uncertainty to state."
                .into()
        }
    }
}

fn over_frequency(page: &mut Page, subject: &Subject) {
    page.heading("Over frequency");
    let unit = subject.measurand.unit();
    let row = |cells: [&str; 6]| {
        let [f, shown, value, u, low, valid] = cells;
        format!("  {f:>9} {shown:>9} {value:>15} {u:>9}  {low:<22} {valid}")
    };
    let coverage = format!("{} Monte Carlo", plain_percent(subject.probability, 4));
    page.line(&row(["frequency", "shown", "corrected", "u, %", &coverage, "prop."]));
    for result in &subject.budget.results {
        let drawn = &result.drawn;
        let u = drawn.standard_uncertainty;
        let end = |v: f64| with_digits(v, u, unit);
        let interval = format!("{} to {}", end(drawn.symmetric.low), end(drawn.symmetric.high));
        page.line(&row([
            &plain(result.frequency_hz.unwrap_or(f64::NAN), "Hz", 4),
            &with_digits(result.shown, u, unit),
            &format_concise(drawn.mean, u, unit),
            &significant((100.0 * u / drawn.mean).abs(), 2),
            &interval,
            match result.validation.verdict {
                Verdict::Valid => "valid",
                Verdict::NotValid => "not",
                Verdict::Undecided => "open",
            },
        ]));
    }
    page.paragraph("  ", "prop.: whether the law of propagation is valid beside Monte Carlo. What follows is for the least certain one.");
}

fn result(page: &mut Page, subject: &Subject, result: &BudgetResult) {
    let unit = subject.measurand.unit();
    let propagation = &result.propagation;
    let drawn = &result.drawn;
    let (u, coverage) = (propagation.standard_uncertainty, &propagation.coverage);
    page.heading("Law of propagation (JCGM 100)");
    page.entry("corrected", &format_concise(propagation.value, u, unit));
    page.entry(
        "standard u",
        &format!("{}{}", format_engineering(u, unit, 3), relative(u, propagation.value)),
    );
    let freedom = freedom(coverage.freedom);
    page.entry(
        "degrees",
        &format!("{freedom} effective degrees of freedom, k = {}", significant(coverage.factor, 3)),
    );
    let interval = propagation.interval();
    let between = |low: f64, high: f64| {
        let digits = drawn.standard_uncertainty.max(u);
        format!("{} to {}", with_digits(low, digits, unit), with_digits(high, digits, unit))
    };
    page.entry(
        "expanded U",
        &format!(
            "{}, {}",
            format_engineering(coverage.expanded, unit, 2),
            between(interval.low, interval.high)
        ),
    );
    page.heading("Monte Carlo (JCGM 101)");
    page.entry("corrected", &format_concise(drawn.mean, drawn.standard_uncertainty, unit));
    page.entry("standard u", &format_engineering(drawn.standard_uncertainty, unit, 3));
    page.entry("symmetric", &between(drawn.symmetric.low, drawn.symmetric.high));
    page.entry("shortest", &between(drawn.shortest.low, drawn.shortest.high));
    let stable = match subject.budget.is_stable {
        Some(true) => ", stopped when stable",
        Some(false) => ", the most allowed, before it was stable",
        None => ", as asked for",
    };
    page.entry("trials", &format!("{}{stable}; seed {}", grouped(subject.budget.trials), subject.seed));
    if let Some(distance) = result.surface_distance {
        let share = distance / drawn.standard_uncertainty;
        page.entry("surface", &format!("stands for the chain within {} of u", plain_percent(share, 2)));
    }
    page.heading("Validity of the law of propagation (JCGM 101, clause 8)");
    let v = &result.validation;
    let words = match v.verdict {
        Verdict::Valid => "valid",
        Verdict::NotValid => "not valid: state the Monte Carlo interval",
        Verdict::Undecided => "open: more trials are needed to tell",
    };
    page.entry("verdict", words);
    let end = |v: f64| format_engineering(v, unit, 2);
    page.entry(
        "ends differ by",
        &format!(
            "{} and {}, tolerance {} ({} {} of u)",
            end(v.low),
            end(v.high),
            end(v.tolerance),
            subject.digits,
            if subject.digits == 1 { "digit" } else { "digits" }
        ),
    );
}

fn freedom(value: f64) -> String {
    if value.is_finite() && value < 1e4 { significant(value, 3) } else { "∞".into() }
}

fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (k, digit) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            out.push(' ');
        }
        out.push(digit);
    }
    out
}

/// A share of the variance; what does not count is not counted.
pub(super) fn share(value: f64) -> String {
    if value.abs() < 5e-4 { "< 0.1 %".into() } else { plain_percent(value, 2) }
}

/// A name that fits.
pub(super) fn short(name: &str, width: usize) -> String {
    let length = name.chars().count();
    if length <= width {
        return name.to_owned();
    }
    std::iter::once('…').chain(name.chars().skip(length + 1 - width)).collect()
}

const NAME: usize = 32;

fn inputs(page: &mut Page, subject: &Subject, result: &BudgetResult) {
    page.heading("Inputs");
    page.line(&format!(
        "  {:<NAME$}  {:>19}  {:<11} {:<4} {:>4}",
        "quantity", "value(u)", "form", "type", "ν"
    ));
    for k in subject.ranked(result) {
        let (quantity, unit) = &subject.inputs[k];
        let d = &quantity.distribution;
        let (mean, u) = (d.mean(), d.standard_uncertainty());
        let value = match unit {
            Some(unit) => format_concise(mean, u, *unit),
            None => format!("{} ± {}", significant(mean, 3), significant(u, 2)),
        };
        let form = match d.words() {
            "curvilinear-trapezoid" => "trapezoid",
            words => words,
        };
        page.line(&format!(
            "  {:<NAME$}  {value:>19}  {form:<11} {:<4} {:>4}",
            short(&quantity.name, NAME),
            evaluation_code(quantity.evaluation),
            freedom(quantity.effective_freedom())
        ));
    }
    for c in &subject.correlations {
        let name = |k: usize| subject.inputs.get(k).map_or("", |(q, _)| q.name.as_str());
        page.paragraph(
            "  ",
            &format!(
                "r = {} between {} and {}.",
                significant(c.coefficient, 3),
                name(c.first),
                name(c.second)
            ),
        );
    }
}

fn contributions(page: &mut Page, subject: &Subject, result: &BudgetResult) {
    let unit = subject.measurand.unit();
    page.heading("Contributions, largest first");
    page.line(&format!("  {:<NAME$}  {:>15}  {:>11}  {:>7}", "quantity", "sensitivity", "c·u", "share"));
    for k in subject.ranked(result) {
        let (quantity, of) = &subject.inputs[k];
        let term = &result.propagation.terms[k];
        let per = match symbol(*of) {
            "" => unit.symbol().to_owned(),
            of => format!("{}/{of}", unit.symbol()),
        };
        let mut line = format!(
            "  {:<NAME$}  {:>15}  {:>11}  {:>7}  ",
            short(&quantity.name, NAME),
            format!("{:.2e} {per}", term.sensitivity),
            format_engineering(term.contribution, unit, 2),
            share(term.share),
        );
        line.extend(std::iter::repeat_n('▪', (7.0 * term.share).round().clamp(0.0, 7.0) as usize));
        page.line(&line);
    }
}

fn assumed(page: &mut Page, subject: &Subject) {
    if subject.assumed.is_empty() {
        return;
    }
    page.heading("Assumed, since nobody says");
    for assumed in &subject.assumed {
        let value = match &assumed.value {
            AssumedValue::Number { value, unit: Some(unit), standard_uncertainty } => standard_uncertainty
                .map_or_else(|| format_engineering(*value, *unit, 3), |u| format_concise(*value, u, *unit)),
            AssumedValue::Number { value, .. } => significant(*value, 3),
            AssumedValue::Words(words) => words.clone(),
        };
        page.paragraph("  ", &format!("{}: {value}; {}", assumed.what, sentence(&assumed.why)));
    }
}

fn findings(page: &mut Page, subject: &Subject) {
    if subject.findings.is_empty() {
        return;
    }
    page.heading("Findings");
    for finding in &subject.findings {
        let message = capitalised(&sentence(&finding.message));
        page.entry(severity_code(finding.severity), &format!("{message} ({})", finding.code));
        if !finding.remedy.is_empty() {
            page.entry("", &format!("Remedy: {}", capitalised(&sentence(&finding.remedy))));
        }
    }
}
