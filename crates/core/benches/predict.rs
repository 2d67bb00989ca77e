//! A full prediction for every signal shape: 400 frequencies, 2,000 times, pulse figures, each cause's share, limits.

use flattop_core::chain::{
    Cable, Chain, CompensationBox, Contact, Coupling, Input, Node, Response, ResponseShape, Tip,
};
use flattop_core::prediction::{Question, predict};
use flattop_core::signal::{Outside, Shape, Signal};
use std::hint::black_box;
use std::time::Instant;

fn chain() -> Chain {
    Chain {
        node: Node { resistance_ohm: 25.0, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 150e-9, resistance_ohm: 0.0 },
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
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 50.0, capacitance_f: 10e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    }
}

#[allow(clippy::disallowed_methods, clippy::print_stdout, clippy::unwrap_used)] // a bench looks at the clock and says what it saw
fn main() {
    let (low_v, high_v) = (0.0, 3.3);
    let shapes: Vec<(&str, Shape)> = vec![
        ("sine", Shape::Sine { frequency_hz: 20e3 }),
        ("square 1 kHz, 2 ns", Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s: 2e-9, fall_s: 2e-9 }),
        (
            "square 50 MHz, 1 ns",
            Shape::Trapezoid { frequency_hz: 50e6, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 },
        ),
        ("trapezoid 100 kHz", Shape::Trapezoid { frequency_hz: 1e5, duty: 0.3, rise_s: 5e-8, fall_s: 2e-7 }),
        ("pulse 100 ns", Shape::Pulse { width_s: 1e-7, rise_s: 2e-9, fall_s: 3e-9 }),
        ("edge 0.5 ns", Shape::Edge { rise_s: 0.5e-9 }),
        ("edge 1 us", Shape::Edge { rise_s: 1e-6 }),
        ("exponential 10 us", Shape::Exponential { time_constant_s: 1e-5, width_s: Some(1e-4) }),
        ("burst 10 MHz", Shape::Burst { frequency_hz: 1e7, cycles: 20 }),
        (
            "points, 2,000",
            Shape::Points {
                time_s: (0..2000).map(|k| f64::from(k) * 1e-9).collect(),
                value_v: (0..2000).map(|k| (0.01 * f64::from(k)).sin()).collect(),
                outside: Outside::Holds,
            },
        ),
    ];
    let frequency_hz: Vec<f64> = (0..400).map(|k| 10f64.powf(1.0 + 8.0 * f64::from(k) / 399.0)).collect();
    let chain = chain();
    for (name, shape) in shapes {
        let signal = Signal { shape, low_v, high_v };
        let question = Question {
            chain: &chain,
            signal: &signal,
            frequency_hz: &frequency_hz,
            time_s: &[],
            accepted_error: 0.03,
            doubts: &[],
        };
        let mut took: Vec<f64> = (0..31)
            .map(|_| {
                let start = Instant::now();
                black_box(predict(black_box(&question)).unwrap());
                start.elapsed().as_secs_f64()
            })
            .collect();
        took.sort_by(f64::total_cmp);
        println!("{name:<22} {:6.2} ms (least {:.2})", 1e3 * took[15], 1e3 * took[0]);
    }
}
