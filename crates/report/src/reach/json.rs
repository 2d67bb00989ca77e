//! The JSON contract of `flattop reach`. `docs/json.md` describes every field.
//!
//! The rules are those of [`crate::json`]: SI units, null and never absent, no NaN. One input gives one object, several an
//! array in their order; an input that could not be judged gives `{"input_f": …, "error": …}`.

use flattop_core::assessment::Estimate;
use flattop_core::divider::Shelf;
use flattop_core::reach::{Side, TipCapacitance};
use serde::Serialize;

use super::{Pairing, Unfit, verdict_code};
use crate::json::{AtFrequency, Finding, Uncertain, finding, finite, write};
use crate::subject::adjusted_at_code;

/// The JSON text of one result, with a final line feed.
pub fn one(result: &Result<Pairing, Unfit>) -> String {
    write(&Element::of(result))
}

/// The JSON text of several results: an array in their order, with a final line feed.
pub fn several(results: &[Result<Pairing, Unfit>]) -> String {
    write(&results.iter().map(Element::of).collect::<Vec<_>>())
}

#[derive(Serialize)]
#[serde(untagged)]
enum Element {
    Report(Box<Report>),
    Failed { input_f: Option<f64>, error: String },
}

impl Element {
    fn of(result: &Result<Pairing, Unfit>) -> Self {
        match result {
            Ok(pairing) => Self::Report(Box::new(Report::of(pairing))),
            Err(unfit) => {
                Self::Failed { input_f: finite(unfit.input.nominal_f), error: unfit.message.clone() }
            }
        }
    }
}

/// One pairing.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Report {
    pub flattop_version: &'static str,
    pub verdict: &'static str,
    pub side: &'static str,
    pub margin_f: Option<f64>,
    pub margin_tolerance_f: Option<f64>,
    pub compensation_error: Option<Uncertain>,
    pub compensation_error_bounds: Bounds,
    pub time_constant_s: Option<Uncertain>,
    pub tip_capacitance_f: Option<Uncertain>,
    pub shunt_capacitance_f: Option<Uncertain>,
    pub seen_at_tip_f: Option<Uncertain>,
    pub square_wave: SquareWave,
    pub amplitude_error: Vec<AtFrequency>,
    pub findings: Vec<Finding>,
    pub stated: Stated,
}

/// The e that the tolerances allow.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Bounds {
    pub lowest: Option<f64>,
    pub highest: Option<f64>,
}

/// A settled square wave through the probe at its best setting.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct SquareWave {
    pub frequency_hz: f64,
    pub start_deviation: Option<f64>,
    pub end_deviation: Option<f64>,
    pub words: String,
}

/// What the user stated, from data sheets.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Stated {
    pub input_f: Option<f64>,
    pub input_tolerance_f: Option<f64>,
    pub range_least_f: Option<f64>,
    pub range_most_f: Option<f64>,
    pub range_tolerance_f: Option<f64>,
    pub seen_at_tip_f: Option<f64>,
    pub tip_capacitance_f: Option<f64>,
    pub tip_resistance_ohm: Option<f64>,
    pub shunt_resistance_ohm: Option<f64>,
    pub adjusted_at: &'static str,
}

impl Report {
    /// The contract's shape of a pairing.
    pub fn of(pairing: &Pairing) -> Self {
        let reach = &pairing.reach;
        let residual = &reach.residual;
        let capacitances = pairing.probe.divider.capacitances(residual.shelf);
        let Shelf { time_constant_s, .. } = residual.shelf;
        let (start, end) = residual.square_wave;
        Self {
            flattop_version: env!("CARGO_PKG_VERSION"),
            verdict: verdict_code(reach.margin.verdict),
            side: match reach.side {
                Side::Inside => "inside",
                Side::Below => "below",
                Side::Above => "above",
            },
            margin_f: finite(reach.margin.margin_f),
            margin_tolerance_f: finite(reach.margin.tolerance_f),
            compensation_error: Uncertain::of(Estimate {
                value: residual.error,
                standard_uncertainty: residual.standard_uncertainty,
            }),
            compensation_error_bounds: Bounds {
                lowest: finite(residual.bounds.0),
                highest: finite(residual.bounds.1),
            },
            time_constant_s: without_uncertainty(time_constant_s),
            tip_capacitance_f: without_uncertainty(capacitances.tip_f),
            shunt_capacitance_f: without_uncertainty(capacitances.shunt_f),
            seen_at_tip_f: without_uncertainty(capacitances.seen_at_tip_f()),
            square_wave: SquareWave {
                frequency_hz: 1e3,
                start_deviation: finite(start),
                end_deviation: finite(end),
                words: reach.square_wave_words.clone(),
            },
            amplitude_error: reach
                .sine_errors
                .iter()
                .map(|sine| AtFrequency {
                    frequency_hz: sine.frequency_hz,
                    value: finite(sine.error),
                    standard_uncertainty: finite(sine.standard_uncertainty),
                })
                .collect(),
            findings: reach.findings.iter().map(finding).collect(),
            stated: stated(pairing),
        }
    }
}

/// What follows from stated values that came without an uncertainty.
fn without_uncertainty(value: f64) -> Option<Uncertain> {
    finite(value).map(|value| Uncertain { value, standard_uncertainty: None })
}

fn stated(pairing: &Pairing) -> Stated {
    let Pairing { probe, input, .. } = pairing;
    let (seen_at_tip_f, tip_capacitance_f) = match probe.tip {
        TipCapacitance::SeenAtTip(farads) => (finite(farads), None),
        TipCapacitance::AcrossTipResistor(farads) => (None, finite(farads)),
    };
    Stated {
        input_f: finite(input.nominal_f),
        input_tolerance_f: finite(input.tolerance_f),
        range_least_f: finite(probe.range.least_f),
        range_most_f: finite(probe.range.most_f),
        range_tolerance_f: finite(probe.range.tolerance_f),
        seen_at_tip_f,
        tip_capacitance_f,
        tip_resistance_ohm: finite(probe.divider.tip_resistance_ohm),
        shunt_resistance_ohm: finite(probe.divider.shunt_resistance_ohm),
        adjusted_at: adjusted_at_code(probe.adjusted_at),
    }
}
