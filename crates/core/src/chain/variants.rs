//! One chain seen in several ways: against the source or the node, whole or with a cause of error taken out.

use super::parts::{Cable, Chain, Coupling, Input, Node, Response};
use super::transfer::Transfer;
use super::walk::{Costly, Lumps, node_factor, to_screen, walk, walk_chain};
use crate::divider::{Capacitances, Divider, Shelf};
use num_complex::Complex64;

/// What a response is related to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// The voltage of the source (EMF).
    Source,
    /// The voltage that the node has without the probe: EMF/(1 + sRC).
    UnloadedNode,
}

/// A cause of error that can be taken out of a chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// The load on the node. Without it, the contact is driven by a stiff source of the voltage that the node has unloaded.
    Loading,
    /// Trim of the divider. Without it, C1 is what R2/R1 times [`Chain::shunt_capacitance_f`] asks for.
    Compensation,
    /// Inductance and resistance of contact and ground lead. Without it both are nil.
    Contact,
    /// The cable as a line. Without it, its [effective capacitance](Cable::effective_capacitance_f) stands there: no delay, no loss.
    Cable,
    /// Response, limit and coupling of the input. Without it the screen shows what is at the connector; R ∥ C stays.
    Input,
    /// [Responses](super::Measured::response) that were measured. Without it none is multiplied in; measured one- and two-ports are parts of the
    /// circuit and stay.
    Measured,
}

impl Cause {
    /// All of them; those of the circuit in the order in which the signal meets them.
    pub const ALL: [Cause; 6] =
        [Cause::Loading, Cause::Contact, Cause::Compensation, Cause::Cable, Cause::Input, Cause::Measured];

    /// Those that can matter in a chain: all, but the last only where there is one.
    pub fn of(chain: &Chain) -> Vec<Cause> {
        let has_response = chain.measured.iter().any(|(_, element)| element.is_response());
        Self::ALL.into_iter().filter(|cause| *cause != Cause::Measured || has_response).collect()
    }
}

/// A set of causes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Causes(u8);

impl Causes {
    /// None of them.
    pub const NONE: Causes = Causes(0);

    /// These and one more.
    #[must_use]
    pub fn and(self, cause: Cause) -> Causes {
        Causes(self.0 | 1 << cause as u8)
    }

    /// Whether one is among them.
    pub fn has(self, cause: Cause) -> bool {
        self.0 & (1 << cause as u8) != 0
    }
}

impl From<Cause> for Causes {
    fn from(cause: Cause) -> Self {
        Causes::NONE.and(cause)
    }
}

impl FromIterator<Cause> for Causes {
    fn from_iter<I: IntoIterator<Item = Cause>>(causes: I) -> Self {
        causes.into_iter().fold(Causes::NONE, Causes::and)
    }
}

/// A chain with some causes taken out, and what it is related to. See [`Chain::without`].
#[derive(Clone, Copy, Debug)]
pub struct Variant<'a> {
    pub(super) chain: &'a Chain,
    pub(super) lumps: Lumps,
    pub(super) cable: Cable,
    pub(super) input: Input,
    /// The factor 1 + sRC of the node belongs into the numerator (+1), into the denominator (−1), or nowhere.
    pub(super) node_factor: i8,
    has_responses: bool,
}

impl<'a> Variant<'a> {
    pub(super) fn new(chain: &'a Chain, against: Against, without: Causes) -> Self {
        let mut variant = Variant {
            chain,
            lumps: Lumps::of(chain),
            cable: chain.cable,
            input: chain.input,
            node_factor: 0,
            has_responses: !without.has(Cause::Measured),
        };
        if without.has(Cause::Loading) {
            variant.lumps.stiff_node();
            variant.node_factor -= 1;
        }
        if without.has(Cause::Compensation) && chain.tip.resistance_ohm > 0.0 {
            let ratio = chain.input.resistance_ohm / chain.tip.resistance_ohm;
            variant.lumps.tip_capacitance(chain.shunt_capacitance_f() * ratio);
        }
        if without.has(Cause::Contact) {
            variant.lumps.no_contact();
        }
        if without.has(Cause::Cable) {
            // With C alone the line is just that: A = D = 1, B = 0, C = s·C.
            variant.cable = Cable {
                length_m: 1.0,
                resistance_ohm_per_m: 0.0,
                inductance_h_per_m: 0.0,
                capacitance_f_per_m: chain.cable.effective_capacitance_f(chain.input.resistance_ohm),
                conductance_s_per_m: 0.0,
                skin_corner_hz: None,
            };
        }
        if without.has(Cause::Input) {
            variant.input.response = Response { bandwidth_hz: f64::INFINITY, ..variant.input.response };
            variant.input.limit = None;
            variant.input.coupling = Coupling::Dc;
        }
        if against == Against::UnloadedNode {
            variant.node_factor += 1;
        }
        variant
    }

    /// A, B, C, D of a measured element by its number: `known`, or those of nothing where it is taken out.
    pub(super) fn entries(&self, number: usize, known: impl FnOnce() -> [Complex64; 4]) -> [Complex64; 4] {
        if self.has_responses || !self.chain.measured[number].1.is_response() {
            return known();
        }
        let (zero, one) = (Complex64::ZERO, Complex64::ONE);
        [one, zero, zero, one]
    }

    pub(super) fn with_node_factor(
        &self,
        s: Complex64,
        (numerator, denominator): (Complex64, Complex64),
    ) -> (Complex64, Complex64) {
        match self.node_factor {
            1 => (numerator * node_factor(&self.chain.node, s), denominator),
            -1 => (numerator, denominator * node_factor(&self.chain.node, s)),
            _ => (numerator, denominator),
        }
    }
}

impl Transfer for Variant<'_> {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        let costly = Costly::of(&self.cable, &self.input, s);
        let measured = &self.chain.measured;
        let walk = walk(&self.lumps, &costly, measured, |number| {
            self.entries(number, || measured[number].1.entries(s))
        });
        self.with_node_factor(s, to_screen(&walk, &costly))
    }
}

/// From the source's EMF to the screen, not multiplied by N.
impl Transfer for Chain {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        let (walk, costly) = walk_chain(self, s);
        to_screen(&walk, &costly)
    }
}

/// From the source's EMF to the node with nothing connected: 1/(1 + sRC).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unloaded(pub Node);

impl Transfer for Unloaded {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        (Complex64::new(1.0, 0.0), node_factor(&self.0, s))
    }
}

/// From the source's EMF to the node with the probe on it.
#[derive(Clone, Copy, Debug)]
pub struct AtNode<'a>(pub &'a Chain);

impl Transfer for AtNode<'_> {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        let (walk, _) = walk_chain(self.0, s);
        (walk.node_v, walk.source_v)
    }
}

/// The divider and its response when everything is lumped and nothing is in series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lumped {
    /// R1 and R2.
    pub divider: Divider,
    /// C1 and C2.
    pub capacitances: Capacitances,
    /// e and τp.
    pub shelf: Shelf,
}

impl Chain {
    /// N·H(s) from the source's EMF: what the screen shows per volt of the source.
    pub fn gain(&self, s: Complex64) -> Complex64 {
        self.at(s) * self.ratio
    }

    /// The transfer against the source or against the unloaded node.
    pub fn against(&self, against: Against) -> Variant<'_> {
        Variant::new(self, against, Causes::NONE)
    }

    /// The transfer from the source's EMF with some causes taken out.
    pub fn without(&self, causes: impl Into<Causes>) -> Variant<'_> {
        Variant::new(self, Against::Source, causes.into())
    }

    /// The transfer against the source or against the unloaded node, with some causes taken out.
    pub fn against_without(&self, against: Against, causes: impl Into<Causes>) -> Variant<'_> {
        Variant::new(self, against, causes.into())
    }

    /// C2: what stands across R2 (cable, box and input together), F. Measured elements and resistances in series are left out.
    ///
    /// The cable counts with its [effective capacitance](Cable::effective_capacitance_f) on the input's resistance.
    pub fn shunt_capacitance_f(&self) -> f64 {
        self.cable.effective_capacitance_f(self.input.resistance_ohm)
            + self.compensation_box.capacitance_f
            + self.input.capacitance_f
    }

    /// The chain as a divider of two resistors and two capacitors; `None` where it does not divide (R1 = 0).
    pub fn lumped(&self) -> Option<Lumped> {
        let divider = Divider {
            tip_resistance_ohm: self.tip.resistance_ohm,
            shunt_resistance_ohm: self.input.resistance_ohm,
        };
        let capacitances =
            Capacitances { tip_f: self.tip.capacitance_f, shunt_f: self.shunt_capacitance_f() };
        let shelf = divider.shelf(capacitances);
        (self.tip.resistance_ohm > 0.0).then_some(Lumped { divider, capacitances, shelf })
    }

    /// The frequencies that all measured elements cover, Hz: highest of the first and lowest of the last ones; `None` without such elements.
    pub fn covered_hz(&self) -> Option<(f64, f64)> {
        self.measured
            .iter()
            .map(|(_, element)| element.covered_hz())
            .reduce(|whole, next| (whole.0.max(next.0), whole.1.min(next.1)))
    }
}
