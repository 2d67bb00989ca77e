//! What a chain is made of, in the order in which the signal meets it: plain data in SI units.
//!
//! Nothing here has a default: what is not known has to be said so by whoever builds a chain (see the data-sheet model).

use super::measured::Measured;

/// The circuit under test, as seen from the point that the probe touches: a Thevenin source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    /// Resistance of the source, Ω; 0 for a stiff node.
    pub resistance_ohm: f64,
    /// Capacitance from the node to ground that is there without the probe, F.
    pub capacitance_f: f64,
}

/// The loop from the node through the tip and back through the ground lead.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// Inductance of tip and ground lead together, H.
    pub inductance_h: f64,
    /// Resistance in series with it, put there to damp, Ω.
    pub resistance_ohm: f64,
}

/// The probe's front end: body capacitance to ground, then R1 ∥ C1 with a resistance in series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tip {
    /// Capacitance of the probe's body to ground, in front of R1, F.
    pub body_capacitance_f: f64,
    /// R1, Ω; 0 for a probe that does not divide (1×).
    pub resistance_ohm: f64,
    /// C1, across R1, F.
    pub capacitance_f: f64,
    /// Resistance in series with R1 ∥ C1, Ω.
    pub series_resistance_ohm: f64,
}

/// A uniform cable.
///
/// Impedance per metre R·√(1 + s/ωs) + s·L with ωs = 2π·`skin_corner_hz` (R alone without a corner), admittance per metre G + s·C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cable {
    /// Length, m; 0 for none.
    pub length_m: f64,
    /// R, Ω/m at low frequencies. Probe cables are made lossy on purpose.
    pub resistance_ohm_per_m: f64,
    /// L, H/m.
    pub inductance_h_per_m: f64,
    /// C, F/m.
    pub capacitance_f_per_m: f64,
    /// G, S/m.
    pub conductance_s_per_m: f64,
    /// Frequency above which the skin effect makes the resistance grow with √f, Hz.
    pub skin_corner_hz: Option<f64>,
}

/// The compensation box at the oscilloscope end of the cable.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompensationBox {
    /// Resistance in series, at the cable's end, Ω.
    pub series_resistance_ohm: f64,
    /// Trimmer and stray capacitance behind it, to ground, F.
    pub capacitance_f: f64,
}

/// One channel of the oscilloscope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    /// Resistance, Ω.
    pub resistance_ohm: f64,
    /// Capacitance, F.
    pub capacitance_f: f64,
    /// What lies between the connector and the screen.
    pub response: Response,
    /// Lower limit.
    pub coupling: Coupling,
    /// A bandwidth limit that is switched in, on top of `response`.
    pub limit: Option<Response>,
}

/// How an input follows fast signals. All have gain 1 at low frequencies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// Its form.
    pub shape: ResponseShape,
    /// −3 dB frequency, Hz; infinite for none.
    pub bandwidth_hz: f64,
}

/// Forms of response.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResponseShape {
    /// One real pole.
    SinglePole,
    /// Magnitude 2^(−(f/f3dB)²/2), phase linear; its constant delay is left out, so that a step is centred on its cause.
    Gaussian,
    /// Fourth-order Bessel–Thomson: delay as flat as four poles allow. Its own delay is part of it.
    Bessel4,
    /// Maximally flat magnitude (Butterworth) of an order from 1 to 10.
    MaximallyFlat(u8),
}

/// How an input is coupled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coupling {
    /// Down to 0 Hz.
    Dc,
    /// Through a capacitor.
    Ac {
        /// −3 dB frequency of the high-pass, Hz. It acts behind the divider (where R ∥ C of the input is not changed by it).
        corner_hz: f64,
    },
}

/// Where a measured element is put into the cascade.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Between the node and the contact.
    BeforeContact,
    /// Between contact and tip.
    BeforeTip,
    /// Between tip and cable.
    BeforeCable,
    /// Between cable and box.
    BeforeBox,
    /// Between box and input.
    BeforeInput,
}

/// The whole cascade.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    /// The circuit under test.
    pub node: Node,
    /// Ground lead and tip.
    pub contact: Contact,
    /// Front end of the probe.
    pub tip: Tip,
    /// Cable of the probe.
    pub cable: Cable,
    /// Compensation box.
    pub compensation_box: CompensationBox,
    /// The oscilloscope's channel.
    pub input: Input,
    /// Elements known by measurement only. Several in one place follow each other in this order.
    pub measured: Vec<(Place, Measured)>,
    /// N: the factor by which the oscilloscope multiplies what arrives at its input (10 for a 10× probe).
    pub ratio: f64,
}
