//! The pulse figures that are compared: one row each, before and after, of the first transition where there are several.

use flattop_core::pulse::{Figure, Figures, Missing, Transition};

use super::Pulses;

/// What a figure is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum In {
    /// The record's unit.
    Values,
    /// Seconds.
    Seconds,
    /// A share.
    Shares,
}

/// One figure, before and after.
pub(super) struct Row {
    /// Field of the JSON contract.
    pub(super) field: &'static str,
    /// For people.
    pub(super) words: &'static str,
    pub(super) unit: In,
    pub(super) before: Figure,
    pub(super) after: Figure,
}

pub(super) fn rows(pulses: &Pulses) -> Vec<Row> {
    let row = |field, words, unit, of: &dyn Fn(&Figures) -> Figure| Row {
        field,
        words,
        unit,
        before: of(&pulses.before),
        after: of(&pulses.after),
    };
    let first = |of: fn(&Transition) -> Figure| {
        move |figures: &Figures| figures.transitions.first().ok_or(Missing::NoTransition).and_then(of)
    };
    vec![
        row("low_level", "low level", In::Values, &|f| f.levels.map(|l| l.low_v)),
        row("high_level", "high level", In::Values, &|f| f.levels.map(|l| l.high_v)),
        row("amplitude", "amplitude", In::Values, &|f| f.levels.map(|l| l.amplitude_v())),
        row("transition_duration_s", "transition (10–90 %)", In::Seconds, &first(|t| t.duration_10_90_s)),
        row("overshoot", "overshoot", In::Shares, &first(|t| t.overshoot)),
        row("undershoot", "undershoot", In::Shares, &first(|t| t.undershoot)),
        row("preshoot", "preshoot", In::Shares, &first(|t| t.preshoot)),
        row("settling_duration_s", "settling (1 %)", In::Seconds, &first(|t| t.settling_duration_s)),
        row("tilt", "tilt", In::Shares, &first(|t| t.tilt)),
        row("pulse_duration_s", "pulse duration", In::Seconds, &|f| f.pulse_duration_s),
        row("period_s", "period", In::Seconds, &|f| f.period_s),
        row("duty", "duty", In::Shares, &|f| f.duty),
    ]
}
