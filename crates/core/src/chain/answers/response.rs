//! The response at given frequencies, and what the probe is to the circuit.

use super::super::parts::Chain;
use super::super::scalar::{Jet, Scalar};
use super::super::walk::{node_factor, walk_chain};
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, TAU};

/// The chain at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResponsePoint {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// |N·H|: shown amplitude over the amplitude of the source; ideally 1.
    pub gain: f64,
    /// Phase of H, −π to π, rad.
    pub phase_rad: f64,
    /// Group delay −dφ/dω, s; from the exact derivative.
    pub group_delay_s: f64,
    /// Magnitude of the impedance from the node into the contact (contact included), Ω.
    pub impedance_ohm: f64,
    /// Its phase, rad.
    pub impedance_phase_rad: f64,
    /// Amplitude at the node with the probe over the amplitude without it.
    pub loading: f64,
}

/// The response at each of the frequencies, Hz, in their order.
///
/// At 0 Hz behind ac coupling the gain is 0; phase and delay are then the limits from above.
pub fn response(chain: &Chain, frequency_hz: &[f64]) -> Vec<ResponsePoint> {
    frequency_hz.iter().map(|&f| point(chain, f)).collect()
}

fn point(chain: &Chain, frequency_hz: f64) -> ResponsePoint {
    let s = Complex64::new(0.0, TAU * frequency_hz);
    let (walk, costly) = walk_chain(chain, Jet::variable(s));
    let screen = &costly.screen;
    // Exponent of a Gaussian and zero of a coupling capacitor bear on the magnitude only: on the axis both derivatives are imaginary.
    let smooth = walk.input_v.value / (walk.source_v.value * screen.denominator.value);
    let turn = if screen.zero_s.is_some() { FRAC_PI_2 } else { 0.0 };
    let phase_rad = (smooth * Complex64::from_polar(1.0, turn)).arg();
    let logarithmic = |jet: Jet| jet.slope / jet.value;
    let delay_s = logarithmic(walk.source_v) + logarithmic(screen.denominator) - logarithmic(walk.input_v);
    let impedance = walk.node_v.value / walk.node_i.value;
    let loading = walk.node_v.value / walk.source_v.value * node_factor(&chain.node, s);
    ResponsePoint {
        frequency_hz,
        gain: smooth.norm() * walk.scale * screen.numerator(costly.s).value().norm() * chain.ratio,
        phase_rad,
        group_delay_s: delay_s.re,
        impedance_ohm: impedance.norm(),
        impedance_phase_rad: impedance.arg(),
        loading: loading.norm(),
    }
}

/// A resistance and a capacitance in parallel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParallelRc {
    /// Resistance, Ω; infinite where nothing is lost.
    pub resistance_ohm: f64,
    /// Capacitance, F; negative where it is inductive.
    pub capacitance_f: f64,
}

/// What the circuit sees at the tip at one frequency (Hz), as data sheets print it: 1/R + jωC = Y(jω), behind contact and ground lead.
///
/// At 0 Hz, C is the limit dY/ds. For a compensated divider that is the body capacitance and C1 in series with C2 at all frequencies well below
/// those of the cable; the resistance falls from R1 + R2 to what the cable's losses make of it.
pub fn equivalent_input(chain: &Chain, frequency_hz: f64) -> ParallelRc {
    let omega = TAU * frequency_hz;
    let (walk, _) = walk_chain(chain, Jet::variable(Complex64::new(0.0, omega)));
    let (v, i) = (walk.tip_v, walk.tip_i);
    let admittance = i.value / v.value;
    let capacitance_f = if omega.abs() > 0.0 {
        admittance.im / omega
    } else {
        ((i.slope - admittance * v.slope) / v.value).re
    };
    ParallelRc { resistance_ohm: 1.0 / admittance.re, capacitance_f }
}
