//! From the screen back to the source: voltages and currents along the chain for 1 V behind the input.
//!
//! Going backwards needs no matrix products: a series element adds Z·I to the voltage, a shunt Y·V to the current. The tip's impedance
//! R1/(1 + sR1C1) + R is multiplied out by m = 1 + sR1C1, which goes to the numerator: so nothing on the way has a pole.

use super::line::LineAt;
use super::parts::{Cable, Chain, Input, Place};
use super::scalar::Scalar;
use super::shape::ScreenAt;
use num_complex::Complex64;

/// The lumped values of the chain, ready for use.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lumps {
    node_resistance_ohm: f64,
    node_capacitance_f: f64,
    contact_inductance_h: f64,
    contact_resistance_ohm: f64,
    body_capacitance_f: f64,
    tip_resistance_ohm: f64,
    tip_time_s: f64,
    tip_series_ohm: f64,
    box_series_ohm: f64,
    box_capacitance_f: f64,
    input_conductance_s: f64,
    input_capacitance_f: f64,
}

impl Lumps {
    pub(super) fn of(chain: &Chain) -> Self {
        Self {
            node_resistance_ohm: chain.node.resistance_ohm,
            node_capacitance_f: chain.node.capacitance_f,
            contact_inductance_h: chain.contact.inductance_h,
            contact_resistance_ohm: chain.contact.resistance_ohm,
            body_capacitance_f: chain.tip.body_capacitance_f,
            tip_resistance_ohm: chain.tip.resistance_ohm,
            tip_time_s: chain.tip.resistance_ohm * chain.tip.capacitance_f,
            tip_series_ohm: chain.tip.series_resistance_ohm,
            box_series_ohm: chain.compensation_box.series_resistance_ohm,
            box_capacitance_f: chain.compensation_box.capacitance_f,
            input_conductance_s: 1.0 / chain.input.resistance_ohm,
            input_capacitance_f: chain.input.capacitance_f,
        }
    }

    pub(super) fn stiff_node(&mut self) {
        self.node_resistance_ohm = 0.0;
    }

    pub(super) fn no_contact(&mut self) {
        self.contact_inductance_h = 0.0;
        self.contact_resistance_ohm = 0.0;
    }

    pub(super) fn tip_capacitance(&mut self, capacitance_f: f64) {
        self.tip_time_s = self.tip_resistance_ohm * capacitance_f;
    }
}

/// What costs time at each frequency and is the same for all variants of a chain.
#[derive(Clone, Copy, Debug)]
pub(super) struct Costly<T> {
    pub(super) s: T,
    pub(super) line: LineAt<T>,
    pub(super) screen: ScreenAt<T>,
}

impl<T: Scalar> Costly<T> {
    pub(super) fn of(cable: &Cable, input: &Input, s: T) -> Self {
        Self { s, line: LineAt::of(cable, s), screen: ScreenAt::of(input, s) }
    }
}

/// Voltages and currents on the way, for 1 V at the input (times a factor common to all, the response of the screen left out).
#[derive(Clone, Copy, Debug)]
pub(super) struct Walk<T> {
    /// What 1 V at the input has become by that factor, `scale` apart: 1 + sR1C1.
    pub(super) input_v: T,
    /// The rest of that factor: the scale of a very lossy line, else 1.
    pub(super) scale: f64,
    /// Between contact and tip.
    pub(super) tip_v: T,
    pub(super) tip_i: T,
    /// Between node and contact: into the contact.
    pub(super) node_v: T,
    pub(super) node_i: T,
    /// Source.
    pub(super) source_v: T,
}

/// Walks the chain. `placed` gives the entries A, B, C, D of a measured element by its number.
pub(super) fn walk<T: Scalar>(
    lumps: &Lumps,
    costly: &Costly<T>,
    places: &[(Place, super::Measured)],
    placed: impl Fn(usize) -> [T; 4],
) -> Walk<T> {
    let s = costly.s;
    let line = &costly.line;
    let pass = |place: Place, v: &mut T, i: &mut T| {
        for (number, _) in places.iter().enumerate().rev().filter(|(_, (at, _))| *at == place) {
            let [a, b, c, d] = placed(number);
            (*v, *i) = (a * *v + b * *i, c * *v + d * *i);
        }
    };
    let mut v = T::constant(1.0);
    let mut i = s * lumps.input_capacitance_f + lumps.input_conductance_s;
    pass(Place::BeforeInput, &mut v, &mut i);
    i = i + s * v * lumps.box_capacitance_f;
    v = v + i * lumps.box_series_ohm;
    pass(Place::BeforeBox, &mut v, &mut i);
    (v, i) = (line.a * v + line.b * i, line.c * v + line.a * i);
    pass(Place::BeforeCable, &mut v, &mut i);
    let m = s * lumps.tip_time_s + 1.0;
    v = m * v + (m * lumps.tip_series_ohm + lumps.tip_resistance_ohm) * i;
    i = m * i;
    i = i + s * v * lumps.body_capacitance_f;
    pass(Place::BeforeTip, &mut v, &mut i);
    let (tip_v, tip_i) = (v, i);
    v = v + (s * lumps.contact_inductance_h + lumps.contact_resistance_ohm) * i;
    pass(Place::BeforeContact, &mut v, &mut i);
    let (node_v, node_i) = (v, i);
    i = i + s * v * lumps.node_capacitance_f;
    let source_v = v + i * lumps.node_resistance_ohm;
    Walk { input_v: m, scale: line.scale, tip_v, tip_i, node_v, node_i, source_v }
}

/// The same for a chain as it stands, at one frequency.
pub(super) fn walk_chain<T: Scalar>(chain: &Chain, s: T) -> (Walk<T>, Costly<T>) {
    let costly = Costly::of(&chain.cable, &chain.input, s);
    let walk =
        walk(&Lumps::of(chain), &costly, &chain.measured, |number| chain.measured[number].1.entries(s));
    (walk, costly)
}

/// 1 + sRC of a node.
pub(super) fn node_factor<T: Scalar>(node: &super::Node, s: T) -> T {
    s * (node.resistance_ohm * node.capacitance_f) + 1.0
}

/// Numerator and denominator from source to screen.
pub(super) fn to_screen(walk: &Walk<Complex64>, costly: &Costly<Complex64>) -> (Complex64, Complex64) {
    (
        walk.input_v * (costly.screen.numerator(costly.s) * walk.scale),
        walk.source_v * costly.screen.denominator,
    )
}
