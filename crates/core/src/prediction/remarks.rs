//! What has to be said beside the figures.

use super::{Doubts, Question, Summary};
use crate::chain::Coupling;
use crate::chain::answers::Ringing;
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};
use crate::signal::{Shape, Signal};
use std::f64::consts::PI;

/// Damping ratio below which a pair of poles is worth a remark: its step overshoots by more than a fifth.
const RINGS_BELOW: f64 = 0.45;

/// Share of a step that has to be left in the ringing, softened as the signal's edges soften it.
const RINGS_ABOVE: f64 = 0.02;

/// Gain at dc may be off by this much before it is remarked on.
const LOADING_REMARK: f64 = 0.005;

pub(super) fn remarks(question: &Question<'_>, summary: &Summary, doubts: &Option<Doubts>) -> Vec<Finding> {
    let chain = question.chain;
    let mut found = Vec::new();
    if let Some((from_hz, to_hz)) = chain.covered_hz() {
        let asked = question.frequency_hz.iter().copied().filter(|f| *f > 0.0);
        let low = asked.clone().fold(f64::INFINITY, f64::min);
        let high = asked.fold(0.0, f64::max);
        if low < from_hz || high > to_hz {
            found.push(Finding::warning(
                "measured-range",
                format!(
                    "a measured element covers {} to {} only; beyond that it was continued",
                    hertz(from_hz),
                    hertz(to_hz)
                ),
                "trust nothing outside that range, or measure the element over a wider one, with a row at 0 Hz",
            ));
        }
    }
    let rings = |r: &Ringing| {
        r.damping_ratio < RINGS_BELOW
            && r.step_share.abs() * excited(question.signal, r.frequency_hz) > RINGS_ABOVE
    };
    if let Some(ringing) = summary.ringing.filter(rings) {
        found.push(Finding::warning(
            "lead-rings",
            format!(
                "the loop of tip and ground lead rings at {} with a damping ratio of {:.2}",
                hertz(ringing.frequency_hz),
                ringing.damping_ratio
            ),
            "shorten the ground lead, or put a resistor of some tens of ohms at the tip; what rings in the loop is not in the circuit",
        ));
    }
    if (summary.passband_gain - 1.0).abs() > LOADING_REMARK {
        found.push(Finding::warning(
            "reads-off-at-dc",
            format!(
                "even a slow signal reads {} {}: the node's resistance, the divider and the input do not make 1/{}",
                format_engineering((summary.passband_gain - 1.0).abs(), Unit::Ratio, 2),
                if summary.passband_gain < 1.0 { "low" } else { "high" },
                chain.ratio
            ),
            "allow for the load on the node, or check the probe's factor and the input's resistance",
        ));
    }
    if let Coupling::Ac { corner_hz } = chain.input.coupling {
        found.push(Finding::note(
            "coupled-ac",
            format!(
                "the input is coupled from {} up: slow parts and the mean are not shown",
                hertz(corner_hz)
            ),
            "couple the input to dc where levels matter",
        ));
    }
    if doubts.is_none() {
        found.push(Finding::note(
            "values-taken-as-exact",
            "no value of the chain was given with a tolerance, so these figures carry no uncertainty",
            "give tolerances, such as \"15 pF ± 1 pF\", to see what they make of the answer",
        ));
    }
    found
}

/// How much of a pair of poles at a frequency a signal excites, against an ideal step: the envelope of its spectrum.
fn excited(signal: &Signal, frequency_hz: f64) -> f64 {
    let softened = |ramp_s: f64| (1.0 / (PI * frequency_hz * ramp_s)).min(1.0);
    match signal.shape {
        Shape::Sine { frequency_hz: own } | Shape::Burst { frequency_hz: own, .. } => {
            (own / frequency_hz).min(1.0).powi(2)
        }
        Shape::Exponential { time_constant_s, .. } => softened(2.0 * time_constant_s),
        _ => super::window::shortest_ramp_s(signal).map_or(1.0, softened),
    }
}

fn hertz(value: f64) -> String {
    format_engineering(value, Unit::Hertz, 3)
}
