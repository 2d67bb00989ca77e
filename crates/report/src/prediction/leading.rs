//! The one error that matters most for a signal, and the sentence about it.

use flattop_core::chain::{Cause, Transfer, Unloaded};
use flattop_core::prediction::{Measure, MeasuredError};
use flattop_core::pulse::Figures;
use flattop_core::signal::Shape;

use super::{Subject, cause_words};
use crate::format::{percent, plain, plain_percent, significant};

/// The error that the headline is about: of the amplitude for a sine, of the transition duration where there are transitions,
/// else of the peak-to-peak value.
pub fn leading(subject: &Subject) -> Option<&MeasuredError> {
    let order: &[Measure] = match subject.signal.shape {
        Shape::Sine { .. } => &[Measure::Amplitude],
        _ => &[Measure::TransitionDuration, Measure::Amplitude, Measure::PeakToPeak, Measure::Deviation],
    };
    let errors = &subject.prediction.errors;
    order.iter().find_map(|measure| errors.iter().find(|e| e.measure == *measure))
}

/// Whether all errors are within the accepted one; `None` where nothing could be read off the signal.
pub fn is_within(subject: &Subject) -> Option<bool> {
    leading(subject)?;
    Some(worst_beyond(subject).is_none())
}

/// The error that is furthest beyond the accepted one.
fn worst_beyond(subject: &Subject) -> Option<&MeasuredError> {
    let found = &subject.prediction;
    let beyond = found.errors.iter().filter(|e| !(e.total.abs() <= found.limits.accepted_error));
    beyond.max_by(|a, b| a.total.abs().total_cmp(&b.total.abs()))
}

/// The cause with the largest share of an error that goes the same way, where it makes more than a third of it and more than
/// causes do to each other.
pub fn main_cause(error: &MeasuredError) -> Option<Cause> {
    let along = |share: f64| share * error.total.signum();
    let shares = error.shares.iter().filter_map(|s| Some((s.cause, along(s.share?))));
    let (cause, share) = shares.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let least = (error.total.abs() / 3.0).max(error.remainder.map_or(0.0, f64::abs));
    (share > least).then_some(cause)
}

/// What is shown against what is there, in one sentence or two.
pub fn headline(subject: &Subject) -> String {
    let mut text = shown(subject);
    if let Some(verdict) = against_accepted(subject) {
        text.push(' ');
        text.push_str(&verdict);
    }
    text
}

fn shown(subject: &Subject) -> String {
    let prediction = &subject.prediction;
    let Some(error) = leading(subject) else {
        return "Shown: no figure can be read off this signal.".into();
    };
    let figures = prediction.true_figures.as_ref().zip(prediction.shown_figures.as_ref());
    match (error.measure, figures) {
        (Measure::TransitionDuration, Some((truth, shown))) => {
            transition(subject, truth, shown, error).unwrap_or_else(|| bare(subject, error))
        }
        (Measure::Amplitude, _) => amplitude(subject, error).unwrap_or_else(|| bare(subject, error)),
        _ => bare(subject, error),
    }
}

fn transition(subject: &Subject, truth: &Figures, shown: &Figures, error: &MeasuredError) -> Option<String> {
    let (there, seen) = (truth.transitions.first()?, shown.transitions.first()?);
    let (true_s, shown_s) = (there.duration_10_90_s.ok()?, seen.duration_10_90_s.ok()?);
    let how = if error.total > 9.0 {
        format!("{} times as long", significant(1.0 + error.total, 3))
    } else if subject.prediction.doubts.is_some() {
        percent(subject.total(error)).signed().with_units()
    } else {
        signed_percent(error.total)
    };
    let overshoot = match (there.overshoot, seen.overshoot) {
        (Ok(there), Ok(seen)) if (seen - there).abs() > 5e-4 => {
            format!(", overshoot {}", plain_percent(seen, 3))
        }
        _ => String::new(),
    };
    Some(format!(
        "Shown: {} edge (10–90 %) where {} is there ({how}){overshoot}.",
        plain(shown_s, "s", 3),
        plain(true_s, "s", 3)
    ))
}

fn amplitude(subject: &Subject, error: &MeasuredError) -> Option<String> {
    let (there_v, late) = match subject.signal.shape {
        Shape::Sine { frequency_hz } => {
            let swing_v = subject.signal.high_v - subject.signal.low_v;
            let node = Unloaded(subject.chain.node).at_frequency(frequency_hz).norm();
            let turn = subject.prediction.delay_s.map(|d| 360.0 * d * frequency_hz);
            (0.5 * swing_v.abs() * node, turn)
        }
        _ => (subject.prediction.true_figures.as_ref()?.levels.ok()?.amplitude_v(), None),
    };
    let late = late.filter(|degrees| degrees.abs() >= 0.05).map_or_else(String::new, |degrees| {
        format!(", {}° {}", significant(degrees.abs(), 3), if degrees > 0.0 { "late" } else { "early" })
    });
    Some(format!(
        "Shown: {} of amplitude where {} is there ({}){late}.",
        plain(there_v * (1.0 + error.total), "V", 3),
        plain(there_v, "V", 3),
        low_or_high(error.total),
    ))
}

/// Where there are no two values to put beside each other.
fn bare(subject: &Subject, error: &MeasuredError) -> String {
    let total = subject.total(error);
    match error.measure {
        Measure::Deviation => format!(
            "Shown: a waveform that departs from the true one by {} rms of its swing.",
            percent(total).with_units()
        ),
        measure => format!("Shown: {} {}.", measure_words(measure), low_or_high(error.total)),
    }
}

fn against_accepted(subject: &Subject) -> Option<String> {
    let accepted = plain_percent(subject.prediction.limits.accepted_error, 3);
    let leading = leading(subject)?;
    let Some(worst) = worst_beyond(subject) else {
        return Some(format!("Within the {accepted} accepted."));
    };
    let from = |error| {
        main_cause(error).map_or_else(
            || "from several causes together".into(),
            |cause| format!("chiefly from {}", cause_words(cause)),
        )
    };
    if !(leading.total.abs() <= subject.prediction.limits.accepted_error) {
        return Some(format!("More than the {accepted} accepted, {}.", from(leading)));
    }
    Some(format!(
        "That is within the {accepted} accepted, but the {} is not: {}, {}.",
        measure_words(worst.measure),
        signed_percent(worst.total),
        from(worst)
    ))
}

/// A measure as people say it.
pub(super) fn measure_words(measure: Measure) -> &'static str {
    match measure {
        Measure::Amplitude => "amplitude",
        Measure::PeakToPeak => "peak-to-peak value",
        Measure::TransitionDuration => "transition duration",
        Measure::Overshoot => "overshoot",
        Measure::Deviation => "rms deviation",
    }
}

/// `+102 %`.
pub(super) fn signed_percent(share: f64) -> String {
    let text = plain_percent(share, 3);
    if share > 0.0 && text != "0 %" { format!("+{text}") } else { text }
}

fn low_or_high(share: f64) -> String {
    let size = plain_percent(share.abs(), 3);
    if share.abs() < 5e-6 {
        "exact".into()
    } else {
        format!("{size} {}", if share < 0.0 { "low" } else { "high" })
    }
}
