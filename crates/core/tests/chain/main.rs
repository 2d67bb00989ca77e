//! The probe chain in the frequency domain against published figures, laws of physics and closed forms.

mod answers;
mod laws;
mod measured;
mod published;
mod variants;

use flattop_core::chain::*;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A 10× probe of 9 MΩ on 1 MΩ: 25 Ω source, lossy cable of 1.2 m, compensated. As in `derived_probe_chain_abcd.csv`.
fn probe() -> Chain {
    Chain {
        node: Node { resistance_ohm: 25.0, capacitance_f: 0.0 },
        contact: Contact { inductance_h: 0.0, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 0.0,
            resistance_ohm: 9e6,
            capacitance_f: 102e-12 / 9.0,
            series_resistance_ohm: 0.0,
        },
        cable: Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 0.0, capacitance_f: 10e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: f64::INFINITY },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: vec![],
        ratio: 10.0,
    }
}

/// The same with everything there is: body, contact, resistances in series, responses.
fn complete() -> Chain {
    let mut chain = probe();
    chain.node = Node { resistance_ohm: 330.0, capacitance_f: 8e-12 };
    chain.contact = Contact { inductance_h: 120e-9, resistance_ohm: 10.0 };
    chain.tip.body_capacitance_f = 1.5e-12;
    chain.tip.capacitance_f = 11e-12;
    chain.tip.series_resistance_ohm = 50.0;
    chain.cable.skin_corner_hz = Some(30e6);
    chain.cable.conductance_s_per_m = 1e-9;
    chain.compensation_box.series_resistance_ohm = 40.0;
    chain.input.response = Response { shape: ResponseShape::Bessel4, bandwidth_hz: 200e6 };
    chain.input.limit = Some(Response { shape: ResponseShape::MaximallyFlat(3), bandwidth_hz: 20e6 });
    chain
}

/// No cable, no resistances in series, nothing but the divider.
fn divider() -> Chain {
    let mut chain = probe();
    chain.node.resistance_ohm = 0.0;
    chain.cable.length_m = 0.0;
    chain.compensation_box.capacitance_f = 100e-12;
    chain.tip.capacitance_f = 12e-12;
    chain
}

fn jw(frequency_hz: f64) -> Complex64 {
    Complex64::new(0.0, TAU * frequency_hz)
}

fn degrees(radians: f64) -> f64 {
    radians.to_degrees()
}
