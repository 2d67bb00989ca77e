//! How large each error is, and how much of it each cause makes.

use super::body::Body;
use super::readings::Measure;
use crate::chain::Cause;

/// What one cause makes of an error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// The cause.
    pub cause: Cause,
    /// The error that would be left without it; `None` where it cannot be read off that waveform.
    pub without: Option<f64>,
    /// The error less the one without it.
    pub share: Option<f64>,
}

/// The error of one measure.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredError {
    /// Of what.
    pub measure: Measure,
    /// Shown against true: relative, of [`Measure::Overshoot`] and [`Measure::Deviation`] in shares of the amplitude.
    pub total: f64,
    /// Each cause's part.
    pub shares: Vec<Share>,
    /// The total less all shares: what causes do to each other, and what no single cause makes (the divider's own gain).
    pub remainder: Option<f64>,
}

/// The errors of all measures that this signal has.
pub(super) fn errors(body: &Body) -> Vec<MeasuredError> {
    Measure::ALL.into_iter().filter_map(|measure| one(body, measure)).collect()
}

fn one(body: &Body, measure: Measure) -> Option<MeasuredError> {
    let total = body.shown.error(&body.truth, measure)?;
    let rough = &body.rough;
    let whole = rough.shown.error(&rough.truth, measure);
    let shares: Vec<Share> = rough
        .without
        .iter()
        .map(|(cause, readings)| {
            let share =
                readings.error(&rough.truth, measure).zip(whole).map(|(without, whole)| whole - without);
            Share { cause: *cause, without: share.map(|s| total - s), share }
        })
        .collect();
    let all: Option<f64> = shares.iter().map(|s| s.share).sum();
    let remainder = all.filter(|_| !shares.is_empty()).map(|sum| total - sum);
    Some(MeasuredError { measure, total, shares, remainder })
}
