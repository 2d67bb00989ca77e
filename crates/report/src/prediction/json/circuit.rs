//! The numbers that were used, as JSON: signal and chain.

use flattop_core::chain::{self, Coupling, Place, ResponseShape};
use flattop_core::signal::{self, Outside, Shape};
use serde::Serialize;

use crate::json::finite;

#[derive(Serialize, Default)]
pub(super) struct Signal {
    shape: &'static str,
    low_v: Option<f64>,
    high_v: Option<f64>,
    frequency_hz: Option<f64>,
    period_s: Option<f64>,
    duty: Option<f64>,
    rise_s: Option<f64>,
    fall_s: Option<f64>,
    width_s: Option<f64>,
    time_constant_s: Option<f64>,
    cycles: Option<u32>,
    points: Option<usize>,
}

impl Signal {
    pub(super) fn of(signal: &signal::Signal) -> Self {
        let shaped = match signal.shape {
            Shape::Sine { frequency_hz } => {
                Self { shape: "sine", frequency_hz: finite(frequency_hz), ..Self::default() }
            }
            Shape::Trapezoid { frequency_hz, duty, rise_s, fall_s } => Self {
                shape: "trapezoid",
                frequency_hz: finite(frequency_hz),
                duty: finite(duty),
                rise_s: finite(rise_s),
                fall_s: finite(fall_s),
                ..Self::default()
            },
            Shape::Pulse { width_s, rise_s, fall_s } => Self {
                shape: "pulse",
                width_s: finite(width_s),
                rise_s: finite(rise_s),
                fall_s: finite(fall_s),
                ..Self::default()
            },
            Shape::Edge { rise_s } => Self { shape: "edge", rise_s: finite(rise_s), ..Self::default() },
            Shape::Exponential { time_constant_s, width_s } => Self {
                shape: "exponential",
                time_constant_s: finite(time_constant_s),
                width_s: width_s.and_then(finite),
                ..Self::default()
            },
            Shape::Burst { frequency_hz, cycles } => Self {
                shape: "burst",
                frequency_hz: finite(frequency_hz),
                cycles: Some(cycles),
                ..Self::default()
            },
            // The values stand as they are: there are no levels to state.
            Shape::Points { ref time_s, outside, .. } => {
                return Self {
                    shape: "points",
                    points: Some(time_s.len()),
                    period_s: match outside {
                        Outside::Repeats { period_s } => finite(period_s),
                        Outside::Holds => None,
                    },
                    ..Self::default()
                };
            }
        };
        Self { low_v: finite(signal.low_v), high_v: finite(signal.high_v), ..shaped }
    }
}

#[derive(Serialize)]
pub(super) struct Chain {
    node: Node,
    contact: Contact,
    tip: Tip,
    cable: Cable,
    compensation_box: CompensationBox,
    input: Input,
    measured: Vec<Measured>,
    ratio: f64,
}

#[derive(Serialize)]
struct Node {
    resistance_ohm: f64,
    capacitance_f: f64,
}

#[derive(Serialize)]
struct Contact {
    inductance_h: f64,
    resistance_ohm: f64,
}

#[derive(Serialize)]
struct Tip {
    body_capacitance_f: f64,
    resistance_ohm: f64,
    capacitance_f: f64,
    series_resistance_ohm: f64,
}

#[derive(Serialize)]
struct Cable {
    length_m: f64,
    resistance_ohm_per_m: f64,
    inductance_h_per_m: f64,
    capacitance_f_per_m: f64,
    conductance_s_per_m: f64,
    skin_corner_hz: Option<f64>,
}

#[derive(Serialize)]
struct CompensationBox {
    series_resistance_ohm: f64,
    capacitance_f: f64,
}

#[derive(Serialize)]
struct Input {
    resistance_ohm: f64,
    capacitance_f: f64,
    response: Response,
    limit: Option<Response>,
    ac_corner_hz: Option<f64>,
}

#[derive(Serialize)]
struct Response {
    shape: &'static str,
    order: Option<u8>,
    bandwidth_hz: Option<f64>,
}

#[derive(Serialize)]
struct Measured {
    place: &'static str,
    from_hz: Option<f64>,
    to_hz: Option<f64>,
}

impl Response {
    fn of(response: chain::Response) -> Self {
        let (shape, order) = match response.shape {
            ResponseShape::SinglePole => ("single-pole", None),
            ResponseShape::Gaussian => ("gaussian", None),
            ResponseShape::Bessel4 => ("bessel", Some(4)),
            ResponseShape::MaximallyFlat(order) => ("maximally-flat", Some(order)),
        };
        Self { shape, order, bandwidth_hz: finite(response.bandwidth_hz) }
    }
}

impl Chain {
    pub(super) fn of(chain: &chain::Chain) -> Self {
        let chain::Chain { node, contact, tip, cable, compensation_box, input, measured, ratio } = chain;
        Self {
            node: Node { resistance_ohm: node.resistance_ohm, capacitance_f: node.capacitance_f },
            contact: Contact { inductance_h: contact.inductance_h, resistance_ohm: contact.resistance_ohm },
            tip: Tip {
                body_capacitance_f: tip.body_capacitance_f,
                resistance_ohm: tip.resistance_ohm,
                capacitance_f: tip.capacitance_f,
                series_resistance_ohm: tip.series_resistance_ohm,
            },
            cable: Cable {
                length_m: cable.length_m,
                resistance_ohm_per_m: cable.resistance_ohm_per_m,
                inductance_h_per_m: cable.inductance_h_per_m,
                capacitance_f_per_m: cable.capacitance_f_per_m,
                conductance_s_per_m: cable.conductance_s_per_m,
                skin_corner_hz: cable.skin_corner_hz.and_then(finite),
            },
            compensation_box: CompensationBox {
                series_resistance_ohm: compensation_box.series_resistance_ohm,
                capacitance_f: compensation_box.capacitance_f,
            },
            input: Input {
                resistance_ohm: input.resistance_ohm,
                capacitance_f: input.capacitance_f,
                response: Response::of(input.response),
                limit: input.limit.map(Response::of),
                ac_corner_hz: match input.coupling {
                    Coupling::Ac { corner_hz } => finite(corner_hz),
                    Coupling::Dc => None,
                },
            },
            measured: measured
                .iter()
                .map(|(place, element)| {
                    let (from_hz, to_hz) = element.covered_hz();
                    Measured { place: place_code(*place), from_hz: finite(from_hz), to_hz: finite(to_hz) }
                })
                .collect(),
            ratio: *ratio,
        }
    }
}

fn place_code(place: Place) -> &'static str {
    match place {
        Place::BeforeContact => "before-contact",
        Place::BeforeTip => "before-tip",
        Place::BeforeCable => "before-cable",
        Place::BeforeBox => "before-box",
        Place::BeforeInput => "before-input",
    }
}
