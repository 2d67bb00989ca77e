//! The faces of one budget, worked out by the core.

use flattop_core::chain::{
    Cable, Chain, CompensationBox, Contact, Coupling, Node, Response, ResponseShape, Tip,
};
use flattop_core::prediction::Parameter;
use flattop_core::signal::{Shape, Signal};
use flattop_core::uncertainty::reading::{Input, Reading, Role, Step, Which, budget};
use flattop_core::uncertainty::{Distribution, Settings, Stop, in_turn};

use super::*;

fn subject(frequency_hz: &[f64]) -> Subject {
    let chain = Chain {
        node: Node { resistance_ohm: 1e3, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 0.0, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 1e-12,
            resistance_ohm: 9e6,
            capacitance_f: 4e-12,
            series_resistance_ohm: 0.0,
        },
        cable: Cable {
            length_m: 0.0,
            resistance_ohm_per_m: 0.0,
            inductance_h_per_m: 0.0,
            capacitance_f_per_m: 0.0,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 0.0, capacitance_f: 16e-12 },
        input: flattop_core::chain::Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    };
    let moving = |parameter: Parameter, half: f64| {
        let value = parameter.of(&chain);
        Input {
            quantity: Quantity::known(
                parameter.key(),
                Distribution::Rectangular { low: value - half, high: value + half },
            ),
            unit: parameter.unit(),
            role: Role::Chain,
            steps: vec![Step { of: Which::First, parameter, per_unit: 1.0 }],
        }
    };
    let inputs = [
        moving(Parameter::NodeResistance, 100.0),
        moving(Parameter::TipCapacitance, 0.1e-12),
        Input {
            quantity: Quantity::known("reading.gain", Distribution::Rectangular { low: -0.015, high: 0.015 }),
            unit: Some(Unit::Ratio),
            role: Role::Gain,
            steps: Vec::new(),
        },
    ];
    let signal = Signal { shape: Shape::Sine { frequency_hz: 1e6 }, low_v: -2.5, high_v: 2.5 };
    let reading = Reading {
        measurand: Measurand::Amplitude,
        signal: &signal,
        frequency_hz,
        chain: &chain,
        second: None,
        shown: None,
        noise_rms_v: 0.0,
        inputs: &inputs,
        correlations: &[],
    };
    let stop = Stop::Adaptive { digits: 1, share: 0.2, most_trials: 200_000 };
    let settings = Settings { seed: 7, probability: 0.95, stop, bins: 40 };
    let budget = budget(&reading, &settings, &in_turn).unwrap();
    Subject {
        plan: "sensor.toml".into(),
        measurand: Measurand::Amplitude,
        inputs: inputs.iter().map(|i| (i.quantity.clone(), i.unit)).collect(),
        correlations: Vec::new(),
        findings: budget.findings.clone(),
        budget,
        seed: 7,
        probability: 0.95,
        digits: 1,
        assumed: Vec::new(),
    }
}

#[test]
fn words_keep_to_80_columns_and_name_what_matters() {
    for frequencies in [&[1e7][..], &[1e3, 1e6, 1e7, 1e8]] {
        let subject = subject(frequencies);
        let text = text::of(&subject);
        for line in text.lines() {
            assert!(line.chars().count() <= 80, "{line}");
        }
        for word in [
            "Amplitude at",
            "seed 7",
            "node.resistance",
            "reading.gain",
            "symmetric",
            "shortest",
            "verdict",
            "95 %",
        ] {
            assert!(text.contains(word), "{word} in\n{text}");
        }
    }
}

#[test]
fn lists_and_objects_hold_the_same_numbers() {
    let subject = subject(&[1e6, 1e7]);
    let json: serde_json::Value = serde_json::from_str(&json::of(&subject)).unwrap();
    assert_eq!(json["results"].as_array().unwrap().len(), 2);
    assert_eq!(json["inputs"][0]["name"], "node.resistance");
    assert_eq!(json["seed"], 7);
    let csv = csv::of(&subject);
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines.len(), 1 + 2 * 4);
    let columns = lines[0].split(',').count();
    assert!(lines.iter().all(|line| line.split(',').count() == columns));
    let last: Vec<&str> = lines[8].split(',').collect();
    let value = json["results"][1]["propagation"]["value"].as_f64().unwrap();
    assert_eq!(last[3], value.to_string());
}

#[test]
fn drawings_are_made() {
    for frequencies in [&[1e7][..], &[1e3, 1e6, 1e7, 1e8]] {
        let subject = subject(frequencies);
        let svg = plot::svg(&subject);
        assert!(svg.contains("Contributions to the amplitude") && svg.contains("shortest"));
        assert_eq!(svg.contains("Over frequency"), frequencies.len() > 1);
        assert!(plot::png(&subject).unwrap().starts_with(b"\x89PNG"));
    }
}
