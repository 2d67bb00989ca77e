//! Predictions for this module's tests, computed by the core.

use flattop_core::chain::{
    Cable, Chain, CompensationBox, Contact, Coupling, Input, Node, Response, ResponseShape, Tip,
};
use flattop_core::prediction::{Doubt, Parameter, Question, predict};
use flattop_core::quantity::Unit;
use flattop_core::rating::{Circuit, RatedPart, Rating, RatingPoint, Supply, ValueKind, survey};
use flattop_core::signal::{Shape, Signal};

use super::{Assumed, AssumedValue, Subject};

/// A 10× probe of 9 MΩ on a 200 MHz input, trimmed to an error `e`, on a 25 Ω node through a short lead.
fn chain(e: f64) -> Chain {
    let mut chain = Chain {
        node: Node { resistance_ohm: 25.0, capacitance_f: 2e-12 },
        contact: Contact { inductance_h: 25e-9, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 1.5e-12,
            resistance_ohm: 9e6,
            capacitance_f: 11e-12,
            series_resistance_ohm: 30.0,
        },
        cable: Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 55e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 50.0, capacitance_f: 10e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 15e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    };
    // C1/(C1 + C2) = (1 + e)·g0.
    let share = 0.1 * (1.0 + e);
    chain.tip.capacitance_f = chain.shunt_capacitance_f() * share / (1.0 - share);
    chain
}

fn subject(chain: Chain, signal: Signal, doubts: &[Doubt]) -> Subject {
    let frequency_hz: Vec<f64> = (0..=240).map(|k| 10f64.powf(1.0 + f64::from(k) / 30.0)).collect();
    let question = Question {
        chain: &chain,
        signal: &signal,
        frequency_hz: &frequency_hz,
        time_s: &[],
        accepted_error: 0.03,
        doubts,
    };
    let prediction = predict(&question).unwrap();
    let findings = prediction.findings.clone();
    Subject {
        plan: "door-motor.toml".into(),
        chain,
        signal,
        frequency_hz,
        prediction,
        survey: None,
        part_names: Vec::new(),
        assumed: vec![
            Assumed {
                what: "probe.cable.length".into(),
                value: AssumedValue::Number {
                    value: 1.2,
                    unit: Some(Unit::Metre),
                    standard_uncertainty: Some(0.06),
                },
                why: "the data sheet states no length; most passive probes are that long".into(),
            },
            Assumed {
                what: "input.response".into(),
                value: AssumedValue::Words("gaussian".into()),
                why: "the data sheet states a bandwidth only".into(),
            },
        ],
        findings,
    }
}

/// 20 kHz, 1 V of amplitude, at a node of 1 MΩ.
pub(super) fn loaded_sine() -> Subject {
    let mut chain = chain(0.0);
    chain.node.resistance_ohm = 1e6;
    subject(chain, Signal { shape: Shape::Sine { frequency_hz: 20e3 }, low_v: -1.0, high_v: 1.0 }, &[])
}

/// A 2 ns ramp through a lead of 150 nH, whose length is in doubt.
pub(super) fn edge_through_a_lead() -> Subject {
    let mut chain = chain(0.0);
    chain.contact.inductance_h = 150e-9;
    let doubts: Vec<Doubt> = [
        (Parameter::ContactInductance, 15e-9),
        (Parameter::NodeResistance, 2.5),
        (Parameter::InputBandwidth, 10e6),
    ]
    .into_iter()
    .map(|(parameter, shift)| Doubt {
        name: parameter.key().into(),
        shifted: parameter.with(&chain, parameter.of(&chain) + shift),
    })
    .collect();
    subject(chain, Signal { shape: Shape::Edge { rise_s: 2e-9 }, low_v: 0.0, high_v: 3.3 }, &doubts)
}

/// A 1 kHz square wave behind a divider whose fast parts read 12 % low.
pub(super) fn undercompensated_square() -> Subject {
    let shape = Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s: 1e-7, fall_s: 1e-7 };
    subject(chain(-0.12), Signal { shape, low_v: 0.0, high_v: 2.0 }, &[])
}

/// A pulse of 400 V at a door-motor controller, with ratings.
pub(super) fn hazardous_pulse() -> Subject {
    let shape = Shape::Pulse { width_s: 2e-6, rise_s: 2e-8, fall_s: 3e-8 };
    let mut subject = subject(chain(0.01), Signal { shape, low_v: 0.0, high_v: 400.0 }, &[]);
    let rating = |points: &[(f64, f64)]| {
        let points = points.iter().map(|&(frequency_hz, voltage_v)| RatingPoint { frequency_hz, voltage_v });
        Some(Rating::new(ValueKind::Peak, points.collect()).unwrap())
    };
    let parts = [
        RatedPart {
            name: "Probe 07".into(),
            attenuation: 1.0,
            rating: rating(&[(0.0, 600.0), (4e6, 600.0), (4e8, 30.0)]),
            categories: Vec::new(),
        },
        RatedPart {
            name: "Bench A scope, 200 MHz".into(),
            attenuation: 10.0,
            rating: rating(&[(0.0, 400.0)]),
            categories: Vec::new(),
        },
    ];
    let circuit = Circuit { supply: Supply::Mains, category: None };
    let found = survey(&subject.signal, &parts, circuit).unwrap();
    subject.part_names = parts.iter().map(|p| p.name.clone()).collect();
    subject.findings.extend(found.findings.iter().cloned());
    subject.survey = Some(found);
    subject
}

/// All of them, with names.
pub(super) fn all() -> [(&'static str, Subject); 4] {
    [
        ("sine", loaded_sine()),
        ("edge", edge_through_a_lead()),
        ("square", undercompensated_square()),
        ("pulse", hazardous_pulse()),
    ]
}
