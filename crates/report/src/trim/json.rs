//! One line of JSON for each capture. `docs/trim-json.md` describes every field.

use flattop_core::assessment::{Estimate, Verdict};
use flattop_core::tracking::{Heading, Phase};
use serde::Serialize;

use super::{Logged, Shown};
use crate::json::{Adjustment, Finding, Uncertain, finding, finite};
use crate::subject::verdict_code;

/// One capture of a session.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Line {
    pub flattop_version: &'static str,
    pub capture: String,
    pub number: usize,
    pub time_s: f64,
    pub used: bool,
    pub verdict: &'static str,
    pub tolerance: Option<f64>,
    pub compensation_error: Option<Uncertain>,
    pub averaging_standard_uncertainty: Option<f64>,
    pub time_constant_s: Option<Uncertain>,
    pub tip_capacitance_f: Option<Uncertain>,
    pub shunt_capacitance_f: Option<Uncertain>,
    pub adjustment: Option<Adjustment>,
    pub newest: Option<Uncertain>,
    pub phase: Option<&'static str>,
    pub since_change: Option<SinceChange>,
    pub heading: Option<&'static str>,
    pub travel: Option<Travel>,
    pub changes: usize,
    pub scatter_ratio: Option<f64>,
    pub held: usize,
    pub hold: usize,
    pub source: Option<Source>,
    pub findings: Vec<Finding>,
    pub logged: Vec<Entry>,
}

/// The captures since the last change.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct SinceChange {
    pub captures: usize,
    pub seconds: f64,
}

/// How far the trimmer has come.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Travel {
    pub compensation_error: Option<Uncertain>,
    pub trimmer_f: Option<Uncertain>,
}

/// The square wave.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Source {
    pub frequency_hz: Option<f64>,
    pub suits: Option<bool>,
    pub best_hz: Option<f64>,
    pub suits_from_hz: Option<f64>,
    pub suits_to_hz: Option<f64>,
    pub uncertainty_ratio: Option<f64>,
}

/// An entry of the logbook.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Entry {
    pub stage: &'static str,
    pub entry: i64,
    pub digest: String,
}

/// The line, with its line feed.
pub fn line(shown: &Shown<'_>) -> String {
    // Plain fields with text keys cannot fail.
    let mut text = serde_json::to_string(&Line::of(shown)).unwrap_or_default();
    text.push('\n');
    text
}

impl Line {
    fn of(shown: &Shown<'_>) -> Self {
        let state = shown.state;
        let compensation = state.map(|state| state.compensation);
        let uncertain = |of: fn(&flattop_core::assessment::Compensation) -> Estimate| {
            compensation.as_ref().and_then(|c| Uncertain::of(of(c)))
        };
        Self {
            flattop_version: env!("CARGO_PKG_VERSION"),
            capture: shown.capture.to_owned(),
            number: shown.number,
            time_s: shown.time_s,
            used: shown.is_used,
            verdict: verdict_code(state.map_or(Verdict::Undetermined, |state| state.verdict)),
            tolerance: finite(shown.tolerance),
            compensation_error: uncertain(|c| c.error),
            averaging_standard_uncertainty: state.and_then(|state| finite(state.averaging)),
            time_constant_s: uncertain(|c| c.time_constant_s),
            tip_capacitance_f: uncertain(|c| c.tip_capacitance_f()),
            shunt_capacitance_f: uncertain(|c| c.shunt_capacitance_f()),
            adjustment: compensation.as_ref().and_then(|c| Adjustment::of(c, shown.adjusted_at)),
            newest: shown
                .assessment
                .compensation
                .filter(|_| shown.is_used)
                .and_then(|c| Uncertain::of(c.error)),
            phase: state.map(|state| phase_code(state.phase)),
            since_change: state
                .map(|state| SinceChange { captures: state.since_change, seconds: state.since_change_s }),
            heading: state.map(|state| heading_code(state.heading)),
            travel: state.and_then(|state| state.travel).map(|travel| Travel {
                compensation_error: Uncertain::of(travel.error),
                trimmer_f: Uncertain::of(travel.trimmer_f),
            }),
            changes: state.map_or(0, |state| state.changes),
            scatter_ratio: state.and_then(|state| finite(state.scatter_ratio)),
            held: if shown.is_used { state.map_or(0, |state| state.held) } else { 0 },
            hold: shown.hold,
            source: shown.advice.map(|advice| Source {
                frequency_hz: shown.frequency_hz.and_then(finite),
                suits: advice.present_suits,
                best_hz: finite(advice.best_hz),
                suits_from_hz: finite(advice.suits_hz.0),
                suits_to_hz: finite(advice.suits_hz.1),
                uncertainty_ratio: advice.uncertainty_ratio.and_then(finite),
            }),
            findings: shown.findings.iter().map(finding).collect(),
            logged: shown.logged.iter().map(Entry::of).collect(),
        }
    }
}

impl Entry {
    fn of(logged: &Logged) -> Self {
        Self { stage: logged.stage, entry: logged.entry, digest: logged.digest.clone() }
    }
}

fn phase_code(phase: Phase) -> &'static str {
    match phase {
        Phase::Moving => "moving",
        Phase::Settling => "settling",
        Phase::Settled => "settled",
    }
}

fn heading_code(heading: Heading) -> &'static str {
    match heading {
        Heading::AtRest => "at-rest",
        Heading::Towards => "towards",
        Heading::Away => "away",
        Heading::Past => "past",
    }
}
