//! Pulse figures as JSON: null where one is missing, and `why` says in words why it is.

use flattop_core::pulse::{self, Direction, Figure};
use serde::Serialize;
use std::collections::BTreeMap;

use crate::json::finite;

/// Reasons by the name of the field that is null.
type Why = BTreeMap<&'static str, String>;

#[derive(Serialize)]
pub(super) struct Figures {
    low_level_v: Option<f64>,
    high_level_v: Option<f64>,
    amplitude_v: Option<f64>,
    pulse_duration_s: Option<f64>,
    period_s: Option<f64>,
    duty: Option<f64>,
    why: Why,
    transitions: Vec<Transition>,
}

#[derive(Serialize)]
struct Transition {
    direction: &'static str,
    instant_10_s: Option<f64>,
    instant_20_s: Option<f64>,
    instant_50_s: Option<f64>,
    instant_80_s: Option<f64>,
    instant_90_s: Option<f64>,
    duration_10_90_s: Option<f64>,
    duration_20_80_s: Option<f64>,
    overshoot: Option<f64>,
    undershoot: Option<f64>,
    preshoot: Option<f64>,
    settling_duration_s: Option<f64>,
    tilt: Option<f64>,
    why: Why,
}

/// The value, or null and a line in `why`.
fn noted(why: &mut Why, name: &'static str, figure: Figure) -> Option<f64> {
    match figure {
        Ok(value) => {
            if !value.is_finite() {
                why.insert(name, "it has no finite value".into());
            }
            finite(value)
        }
        Err(reason) => {
            why.insert(name, reason.to_string());
            None
        }
    }
}

impl Figures {
    pub(super) fn of(figures: &pulse::Figures) -> Self {
        let mut why = Why::new();
        let mut get = |name, figure| noted(&mut why, name, figure);
        Self {
            low_level_v: get("low_level_v", figures.levels.map(|l| l.low_v)),
            high_level_v: get("high_level_v", figures.levels.map(|l| l.high_v)),
            amplitude_v: get("amplitude_v", figures.levels.map(|l| l.amplitude_v())),
            pulse_duration_s: get("pulse_duration_s", figures.pulse_duration_s),
            period_s: get("period_s", figures.period_s),
            duty: get("duty", figures.duty),
            why,
            transitions: figures.transitions.iter().map(Transition::of).collect(),
        }
    }
}

impl Transition {
    fn of(transition: &pulse::Transition) -> Self {
        let mut why = Why::new();
        let mut get = |name, figure| noted(&mut why, name, figure);
        let [at_10, at_20, at_50, at_80, at_90] = transition.instants_s;
        Self {
            direction: match transition.direction {
                Direction::Rising => "rising",
                Direction::Falling => "falling",
            },
            instant_10_s: get("instant_10_s", at_10),
            instant_20_s: get("instant_20_s", at_20),
            instant_50_s: get("instant_50_s", at_50),
            instant_80_s: get("instant_80_s", at_80),
            instant_90_s: get("instant_90_s", at_90),
            duration_10_90_s: get("duration_10_90_s", transition.duration_10_90_s),
            duration_20_80_s: get("duration_20_80_s", transition.duration_20_80_s),
            overshoot: get("overshoot", transition.overshoot),
            undershoot: get("undershoot", transition.undershoot),
            preshoot: get("preshoot", transition.preshoot),
            settling_duration_s: get("settling_duration_s", transition.settling_duration_s),
            tilt: get("tilt", transition.tilt),
            why,
        }
    }
}
