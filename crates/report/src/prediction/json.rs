//! The JSON contract of a prediction: every field a caller may rely on. `docs/predict-json.md` describes each.
//!
//! Units are those of the SI, ratios are plain numbers. What cannot be had is null: never absent, never 0, never NaN or infinite.

mod circuit;
mod pulse;

use flattop_core::prediction::{Doubts, MeasuredError, SETTLING_BAND};
use flattop_core::rating::{Allowed, Check, Quantity};
use serde::Serialize;

use super::{Assumed, AssumedValue, Subject, cause_code, json_lines, leading};
use crate::json::{Finding, Uncertain, finding, finite};

/// The JSON text of one prediction, with a final line feed; lists of numbers stand on one line each.
pub fn of(subject: &Subject) -> String {
    json_lines::write(&Report::of(subject))
}

#[derive(Serialize)]
struct Report<'a> {
    flattop_version: &'static str,
    plan: &'a str,
    ideal_ratio: f64,
    headline: String,
    leading_measure: Option<&'static str>,
    within_accepted_error: Option<bool>,
    response: Response<'a>,
    waveform: Waveform<'a>,
    pulse: Pulse,
    delay_s: Option<f64>,
    summary: Summary,
    limits: Limits,
    errors: Vec<Error<'a>>,
    ratings: Option<Vec<RatingCheck<'a>>>,
    assumed: Vec<AssumedEntry<'a>>,
    signal: circuit::Signal,
    chain: circuit::Chain,
    findings: Vec<Finding>,
}

#[derive(Serialize)]
struct Response<'a> {
    frequency_hz: &'a [f64],
    gain: Vec<f64>,
    gain_standard_uncertainty: Option<&'a [f64]>,
    gain_at_node: &'a [f64],
    gain_at_node_standard_uncertainty: Option<&'a [f64]>,
    phase_rad: Vec<f64>,
    phase_standard_uncertainty_rad: Option<&'a [f64]>,
    group_delay_s: Vec<f64>,
    impedance_ohm: Vec<f64>,
    impedance_phase_rad: Vec<f64>,
    loading: Vec<f64>,
}

#[derive(Serialize)]
struct Waveform<'a> {
    time_s: &'a [f64],
    true_v: &'a [f64],
    shown_v: &'a [f64],
    shown_standard_uncertainty_v: Option<&'a [f64]>,
}

#[derive(Serialize)]
struct Pulse {
    settling_band: f64,
    r#true: Option<pulse::Figures>,
    shown: Option<pulse::Figures>,
}

#[derive(Serialize)]
struct Summary {
    passband_gain: Option<f64>,
    bandwidth_hz: Option<Uncertain>,
    flatness: Flatness,
    noise_bandwidth_hz: Option<f64>,
    noise_bandwidth_beyond_hz: Option<f64>,
    ringing: Option<Ringing>,
    compensation: Option<Compensation>,
    input_resistance_ohm: Option<f64>,
    input_resistance_at_data_sheet_frequency_ohm: Option<f64>,
    input_capacitance_f: Option<f64>,
    data_sheet_frequency_hz: f64,
    transition_duration_s: Option<Uncertain>,
}

#[derive(Serialize)]
struct Flatness {
    up_to_hz: Option<f64>,
    highest: Extreme,
    lowest: Extreme,
}

#[derive(Serialize)]
struct Extreme {
    deviation: Option<f64>,
    frequency_hz: Option<f64>,
}

#[derive(Serialize)]
struct Ringing {
    frequency_hz: Option<f64>,
    natural_frequency_hz: Option<f64>,
    damping_ratio: Option<f64>,
    quality: Option<f64>,
    step_share: Option<f64>,
}

#[derive(Serialize)]
struct Compensation {
    error: Option<f64>,
    time_constant_s: Option<f64>,
}

#[derive(Serialize)]
struct Limits {
    accepted_error: f64,
    lowest_sine_hz: Option<Uncertain>,
    highest_sine_hz: Option<Uncertain>,
    fastest_edge_s: Option<Uncertain>,
}

#[derive(Serialize)]
struct Error<'a> {
    measure: &'static str,
    total: Option<Uncertain>,
    shares: Vec<Share>,
    remainder: Option<f64>,
    contributions: Vec<Contribution<'a>>,
}

#[derive(Serialize)]
struct Share {
    cause: &'static str,
    without: Option<f64>,
    share: Option<f64>,
}

#[derive(Serialize)]
struct Contribution<'a> {
    name: &'a str,
    change: Option<f64>,
}

#[derive(Serialize)]
struct RatingCheck<'a> {
    part: &'a str,
    quantity: &'static str,
    kind: &'static str,
    value: Option<f64>,
    limit: Option<f64>,
    used: Option<f64>,
    frequency_hz: Option<f64>,
}

#[derive(Serialize)]
struct AssumedEntry<'a> {
    what: &'a str,
    value: Option<f64>,
    unit: Option<&'static str>,
    standard_uncertainty: Option<f64>,
    words: Option<&'a str>,
    why: &'a str,
}

impl<'a> Report<'a> {
    fn of(subject: &'a Subject) -> Self {
        let found = &subject.prediction;
        let figures = |of: &Option<flattop_core::pulse::Figures>| of.as_ref().map(pulse::Figures::of);
        let wave = &found.waveform;
        Self {
            flattop_version: env!("CARGO_PKG_VERSION"),
            plan: &subject.plan,
            ideal_ratio: subject.chain.ratio,
            headline: super::headline(subject),
            leading_measure: leading(subject).map(|e| e.measure.code()),
            within_accepted_error: super::is_within(subject),
            response: response(subject),
            waveform: Waveform {
                time_s: &wave.time_s,
                true_v: &wave.true_v,
                shown_v: &wave.shown_v,
                shown_standard_uncertainty_v: found.doubts.as_ref().map(|d| d.shown_v.as_slice()),
            },
            pulse: Pulse {
                settling_band: SETTLING_BAND,
                r#true: figures(&found.true_figures),
                shown: figures(&found.shown_figures),
            },
            delay_s: found.delay_s.and_then(finite),
            summary: summary(subject),
            limits: limits(subject),
            errors: found.errors.iter().map(|e| error(e, found.doubts.as_ref())).collect(),
            ratings: subject
                .survey
                .as_ref()
                .map(|survey| survey.checks.iter().map(|check| rating(subject, check)).collect()),
            assumed: subject.assumed.iter().map(assumed).collect(),
            signal: circuit::Signal::of(&subject.signal),
            chain: circuit::Chain::of(&subject.chain),
            findings: subject.findings.iter().map(finding).collect(),
        }
    }
}

fn response(subject: &Subject) -> Response<'_> {
    let found = &subject.prediction;
    let doubts = found.doubts.as_ref();
    let list = |of: fn(&flattop_core::chain::answers::ResponsePoint) -> f64| {
        found.response.iter().map(of).collect::<Vec<f64>>()
    };
    Response {
        frequency_hz: &subject.frequency_hz,
        gain: list(|p| p.gain),
        gain_standard_uncertainty: doubts.map(|d| d.gain.as_slice()),
        gain_at_node: &found.gain_at_node,
        gain_at_node_standard_uncertainty: doubts.map(|d| d.gain_at_node.as_slice()),
        phase_rad: list(|p| p.phase_rad),
        phase_standard_uncertainty_rad: doubts.map(|d| d.phase_rad.as_slice()),
        group_delay_s: list(|p| p.group_delay_s),
        impedance_ohm: list(|p| p.impedance_ohm),
        impedance_phase_rad: list(|p| p.impedance_phase_rad),
        loading: list(|p| p.loading),
    }
}

fn summary(subject: &Subject) -> Summary {
    let found = &subject.prediction.summary;
    let doubts = subject.prediction.doubts.as_ref();
    let extreme = |e: flattop_core::chain::answers::Extreme| Extreme {
        deviation: finite(e.deviation),
        frequency_hz: finite(e.frequency_hz),
    };
    Summary {
        passband_gain: finite(found.passband_gain),
        bandwidth_hz: uncertain(found.bandwidth_hz, doubts.and_then(|d| d.bandwidth_hz)),
        flatness: Flatness {
            up_to_hz: finite(found.flatness_up_to_hz),
            highest: extreme(found.flatness.highest),
            lowest: extreme(found.flatness.lowest),
        },
        noise_bandwidth_hz: finite(found.noise_bandwidth.up_to_limit_hz),
        noise_bandwidth_beyond_hz: finite(found.noise_bandwidth.beyond_hz),
        ringing: found.ringing.map(|r| Ringing {
            frequency_hz: finite(r.frequency_hz),
            natural_frequency_hz: finite(r.natural_frequency_hz),
            damping_ratio: finite(r.damping_ratio),
            quality: finite(r.quality),
            step_share: finite(r.step_share),
        }),
        compensation: found.compensation.map(|shelf| Compensation {
            error: finite(shelf.error),
            time_constant_s: finite(shelf.time_constant_s),
        }),
        input_resistance_ohm: finite(found.input_resistance_ohm),
        input_resistance_at_data_sheet_frequency_ohm: finite(found.input.resistance_ohm),
        input_capacitance_f: finite(found.input.capacitance_f),
        data_sheet_frequency_hz: flattop_core::prediction::DATA_SHEET_HZ,
        transition_duration_s: uncertain(
            found.transition_duration_s,
            doubts.and_then(|d| d.transition_duration_s),
        ),
    }
}

fn limits(subject: &Subject) -> Limits {
    let found = &subject.prediction.limits;
    let doubts = subject.prediction.doubts.as_ref();
    Limits {
        accepted_error: found.accepted_error,
        lowest_sine_hz: uncertain(found.sines.map(|band| band.from_hz), None),
        highest_sine_hz: uncertain(
            found.sines.and_then(|band| band.to_hz),
            doubts.and_then(|d| d.highest_sine_hz),
        ),
        fastest_edge_s: uncertain(found.fastest_edge_s, doubts.and_then(|d| d.fastest_edge_s)),
    }
}

fn error<'a>(error: &MeasuredError, doubts: Option<&'a Doubts>) -> Error<'a> {
    let of = |list: &[(_, f64)]| list.iter().find(|(m, _)| *m == error.measure).map(|(_, v)| *v);
    Error {
        measure: error.measure.code(),
        total: uncertain(Some(error.total), doubts.and_then(|d| of(&d.errors))),
        shares: error
            .shares
            .iter()
            .map(|s| Share {
                cause: cause_code(s.cause),
                without: s.without.and_then(finite),
                share: s.share.and_then(finite),
            })
            .collect(),
        remainder: error.remainder.and_then(finite),
        contributions: doubts
            .iter()
            .flat_map(|d| &d.contributions)
            .map(|c| Contribution { name: &c.name, change: of(&c.errors).and_then(finite) })
            .collect(),
    }
}

fn rating<'a>(subject: &'a Subject, check: &Check) -> RatingCheck<'a> {
    RatingCheck {
        part: subject.part_names.get(check.part).map_or("", String::as_str),
        quantity: match check.quantity {
            Quantity::Whole => "whole",
            Quantity::Component => "component",
            Quantity::Together => "together",
        },
        kind: check.kind.word(),
        value: finite(check.value),
        limit: match check.limit {
            Allowed::UpTo(limit) => finite(limit),
            Allowed::NotRated { .. } => None,
        },
        used: check.used().and_then(finite),
        frequency_hz: finite(check.frequency_hz),
    }
}

fn assumed(assumed: &Assumed) -> AssumedEntry<'_> {
    let (value, unit, standard_uncertainty, words) = match &assumed.value {
        AssumedValue::Number { value, unit, standard_uncertainty } => {
            (finite(*value), unit.map(|u| u.symbol()), standard_uncertainty.and_then(finite), None)
        }
        AssumedValue::Words(words) => (None, None, None, Some(words.as_str())),
    };
    AssumedEntry { what: &assumed.what, value, unit, standard_uncertainty, words, why: &assumed.why }
}

fn uncertain(value: Option<f64>, standard_uncertainty: Option<f64>) -> Option<Uncertain> {
    let value = finite(value?)?;
    Some(Uncertain { value, standard_uncertainty: standard_uncertainty.and_then(finite) })
}
