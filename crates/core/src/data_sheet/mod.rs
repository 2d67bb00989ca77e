//! A whole chain from the four or five figures that a data sheet prints: what fits them, what had to be assumed, and how far that is in doubt.
//!
//! Reading order: this file (what goes in and comes out), `compensated` (probes with a trimmer or none, 1× included), `matched` (resistive
//! dividers on a matched cable), `bandwidth` (the one figure that has to be searched for), `remarks`. The model is described in
//! `docs/data-sheet-model.md`.

mod bandwidth;
mod compensated;
mod matched;
mod remarks;

use crate::chain::{
    Cable, Chain, ChainError, CompensationBox, Contact, Coupling, Input, Node, Response, ResponseShape, Tip,
    answers::equivalent_input,
};
use crate::finding::Finding;
use crate::prediction::Parameter;
use bandwidth::Fit;
use compensated::Compensated;
use matched::Matched;
use std::f64::consts::TAU;

/// Resistance of the input, Ω, up to which a probe is taken as a resistive divider on a matched cable.
const LARGEST_MATCHED_OHM: f64 = 1e3;

/// Speed of light in vacuum, m/s (exact, SI).
const LIGHT_M_PER_S: f64 = 299_792_458.0;

/// Velocity of probe cables over that of light, and the half-width of its doubt: from solid to foamed insulation (common practice).
const VELOCITY: (f64, f64) = (0.75, 0.1);

/// Cable length of a probe that does not state it, and the half-width of its doubt, m (common practice).
const LENGTH_M: (f64, f64) = (1.2, 0.3);

/// Half-width of a rectangular distribution over its standard deviation (JCGM 100:2008, 4.3.7).
const RECTANGULAR: f64 = 1.732_050_807_568_877_2;

/// Where a probe is adjusted, if at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Adjusted {
    /// The trimmer is across the tip resistor (C1).
    AtTip,
    /// The trimmer is in the compensation box at the oscilloscope end (C2).
    AtBase,
    /// There is none: the probe fits the middle of its range.
    Nowhere,
}

/// What a data sheet says. Figures that it does not print are `None`; none of them is filled in silently.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DataSheet {
    /// N, 10 for a 10× probe.
    pub ratio: f64,
    /// Resistance at the tip with the probe on the input it is made for, Ω (10 MΩ).
    pub input_resistance_ohm: Option<f64>,
    /// Capacitance at the tip, the probe adjusted on the input it is made for (that input included), F.
    pub input_capacitance_f: f64,
    /// Smallest and largest capacitance of an input that the trimmer can balance, F.
    pub compensation_range_f: Option<(f64, f64)>,
    /// −3 dB frequency of the probe alone, from 25 Ω (50 Ω source, 50 Ω termination), Hz.
    pub bandwidth_hz: Option<f64>,
    /// Length of the cable, m.
    pub cable_length_m: Option<f64>,
    /// Where it is adjusted.
    pub adjusted: Adjusted,
}

/// What the probe is put between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// The circuit under test.
    pub node: Node,
    /// Tip and ground lead.
    pub contact: Contact,
    /// The channel that the probe hangs on.
    pub input: Input,
}

/// A number that no data sheet stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Assumed {
    /// Which number of the chain.
    pub parameter: Parameter,
    /// Its value in the model, SI unit of the parameter.
    pub value: f64,
    /// Its standard uncertainty, same unit.
    pub standard_uncertainty: f64,
    /// Where value and doubt come from.
    pub why: &'static str,
}

/// Figures of a data sheet that a model can be held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// Resistance at the tip, Ω.
    InputResistance,
    /// Capacitance at the tip, F: at low frequencies; that of a probe on a matched cable where its reactance equals its resistance.
    InputCapacitance,
    /// Lower end of the compensation range, F.
    RangeFrom,
    /// Upper end of the compensation range, F.
    RangeTo,
    /// Bandwidth of the probe alone, Hz.
    Bandwidth,
    /// Length of the cable, m.
    CableLength,
}

/// A figure of the data sheet beside that of the model on the input the probe is made for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reproduced {
    /// Which.
    pub figure: Figure,
    /// From the data sheet, SI unit.
    pub wanted: f64,
    /// From the model, same unit.
    pub got: f64,
}

/// A chain that fits a data sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// The probe in its setting, adjusted on this input as far as its trimmer goes. It passes [`Chain::check`].
    pub chain: Chain,
    /// What was assumed; the doubts are independent of each other.
    pub assumed: Vec<Assumed>,
    /// The stated figures, and what the model makes of them.
    pub reproduced: Vec<Reproduced>,
    /// What does not fit.
    pub findings: Vec<Finding>,
}

/// A data sheet that no model can be made of.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DataSheetError {
    /// A value without meaning.
    #[error(
        "{what} is {value}, but it must be {allowed}: correct it, or leave it out if the data sheet does not print it"
    )]
    Value {
        /// The quantity, with its unit.
        what: &'static str,
        /// The value given.
        value: f64,
        /// What it may be.
        allowed: &'static str,
    },
    /// The figures leave nothing for the cable.
    #[error(
        "an input capacitance of {:.3} pF at {ratio}× goes with {:.3} pF behind the tip, but input and box alone take {:.3} pF: \
         check input capacitance and compensation range, or enter the chain by its parts",
        1e12 * input_capacitance_f, 1e12 * behind_f, 1e12 * taken_f
    )]
    NothingForCable {
        /// N.
        ratio: f64,
        /// Capacitance at the tip as stated, F.
        input_capacitance_f: f64,
        /// The largest capacitance behind the tip that goes with it, F.
        behind_f: f64,
        /// Middle of the range and box together, F.
        taken_f: f64,
    },
    /// Ratio 1 on a matched input: that is a cable, not a probe.
    #[error(
        "a probe of ratio 1 on an input of {input_resistance_ohm} Ω is a plain cable: enter the cable by its parts, \
         or state the input resistance of the probe"
    )]
    PlainCable {
        /// Resistance of the input it would be made for, Ω.
        input_resistance_ohm: f64,
    },
    /// Node, contact or input has a value without meaning.
    #[error(transparent)]
    Setting(#[from] ChainError),
}

impl DataSheet {
    /// The chain that fits this data sheet, with what was assumed and what does not fit.
    pub fn model(&self, setting: &Setting) -> Result<Model, DataSheetError> {
        let kind = Kind::of(self, &setting.input)?;
        let (kind, fit) = kind.fitted(self);
        let reference = kind.reference(self, fit.knob);
        let chain = kind.chain(self, setting, fit.knob);
        chain.check()?;
        let assumed =
            kind.doubts(self, &fit).into_iter().map(|doubt| doubt.assumed(self, &kind, fit.knob)).collect();
        let reproduced = self.reproduced(&kind, &reference, &fit);
        let findings = remarks::findings(self, setting, &kind, &reference, &fit);
        Ok(Model { chain, assumed, reproduced, findings })
    }

    /// For each assumption the chain with that one moved by its standard uncertainty and all the rest solved anew, so that the stated figures
    /// stay what they are.
    ///
    /// The uncertainty that the assumptions give any answer y is √Σ(y(chain) − y(model))² (JCGM 100:2008, 5.1.3 and note 2 there).
    pub fn models_for_doubt(&self, setting: &Setting) -> Result<Vec<(Assumed, Chain)>, DataSheetError> {
        let (kind, fit) = Kind::of(self, &setting.input)?.fitted(self);
        kind.doubts(self, &fit)
            .into_iter()
            .map(|doubt| {
                let assumed = doubt.assumed(self, &kind, fit.knob);
                let (moved, fit) = doubt.moved.fitted(self);
                let chain = moved.chain(self, setting, doubt.knob.unwrap_or(fit.knob));
                chain.check()?;
                Ok((assumed, chain))
            })
            .collect()
    }

    fn checked(&self) -> Result<(), DataSheetError> {
        let refuse = |what, value, allowed| Err(DataSheetError::Value { what, value, allowed });
        if !(self.ratio >= 1.0 && self.ratio.is_finite()) {
            return refuse("the attenuation ratio", self.ratio, "1 or more");
        }
        for (what, value) in [
            ("the input capacitance of the probe (F)", Some(self.input_capacitance_f)),
            ("the input resistance of the probe (Ω)", self.input_resistance_ohm),
            ("the bandwidth of the probe (Hz)", self.bandwidth_hz),
            ("the cable length (m)", self.cable_length_m),
        ] {
            if let Some(value) = value.filter(|value| !(*value > 0.0 && value.is_finite())) {
                return refuse(what, value, "above 0");
            }
        }
        match self.compensation_range_f {
            Some((from, _)) if !(from >= 0.0) => {
                refuse("the lower end of the compensation range (F)", from, "0 or more")
            }
            Some((from, to)) if !(to >= from && to.is_finite() && to > 0.0) => refuse(
                "the upper end of the compensation range (F)",
                to,
                "above 0 and not below the lower end",
            ),
            _ => Ok(()),
        }
    }

    fn reproduced(&self, kind: &Kind, reference: &Chain, fit: &Fit) -> Vec<Reproduced> {
        let seen = equivalent_input(reference, 0.0);
        let capacitance_f = match kind {
            Kind::Compensated(_) => seen.capacitance_f,
            // Below, the cable's inner inductance counts for more; from here on, the capacitance is what loads the circuit.
            Kind::Matched(_) => {
                let corner_hz = 1.0 / (TAU * seen.resistance_ohm * self.input_capacitance_f);
                equivalent_input(reference, corner_hz).capacitance_f
            }
        };
        let mut all = Vec::new();
        let mut add = |figure, wanted: Option<f64>, got: f64| {
            all.extend(wanted.map(|wanted| Reproduced { figure, wanted, got }));
        };
        add(Figure::InputResistance, self.input_resistance_ohm, seen.resistance_ohm);
        add(Figure::InputCapacitance, Some(self.input_capacitance_f), capacitance_f);
        if let (Kind::Compensated(probe), Some((from, to))) = (kind, self.compensation_range_f)
            && let Some((got_from, got_to)) = probe.range_f(self, fit.knob)
        {
            add(Figure::RangeFrom, Some(from), got_from);
            add(Figure::RangeTo, Some(to), got_to);
        }
        if let Some(got) = fit.bandwidth_hz {
            add(Figure::Bandwidth, self.bandwidth_hz, got);
        }
        add(Figure::CableLength, self.cable_length_m, reference.cable.length_m);
        all
    }
}

/// The probe's own part of a chain.
#[derive(Clone, Copy, Debug)]
struct Probe {
    tip: Tip,
    cable: Cable,
    compensation_box: CompensationBox,
}

impl Probe {
    fn on(&self, ratio: f64, node: Node, contact: Contact, input: Input) -> Chain {
        Chain {
            node,
            contact,
            tip: self.tip,
            cable: self.cable,
            compensation_box: self.compensation_box,
            input,
            measured: Vec::new(),
            ratio,
        }
    }

    /// As the data sheet's bandwidth is measured: 50 Ω source on 50 Ω termination, tip in a socket, and an input that adds nothing
    /// (common practice).
    fn on_bench(&self, ratio: f64, resistance_ohm: f64, capacitance_f: f64) -> Chain {
        let response = Response { shape: ResponseShape::Gaussian, bandwidth_hz: f64::INFINITY };
        self.on(
            ratio,
            Node { resistance_ohm: 25.0, capacitance_f: 0.0 },
            Contact { inductance_h: 0.0, resistance_ohm: 0.0 },
            Input { resistance_ohm, capacitance_f, response, coupling: Coupling::Dc, limit: None },
        )
    }
}

/// The two families of probes, each with the numbers assumed for it.
///
/// The `knob` of both is the number that the bandwidth is fitted with: more of it makes the probe slower.
#[derive(Clone, Copy, Debug)]
enum Kind {
    Compensated(Compensated),
    Matched(Matched),
}

/// One assumption: the same probe with it moved by one standard uncertainty.
#[derive(Clone, Copy, Debug)]
struct Doubt {
    parameter: Parameter,
    why: &'static str,
    moved: Kind,
    /// The knob of the moved probe where it is itself what is assumed.
    knob: Option<f64>,
}

impl Doubt {
    /// Value and standard uncertainty as they are in the chains: what the assumption itself moves, nothing fitted anew.
    fn assumed(&self, sheet: &DataSheet, kind: &Kind, knob: f64) -> Assumed {
        let value = self.parameter.of(&kind.reference(sheet, knob));
        let moved = self.parameter.of(&self.moved.reference(sheet, self.knob.unwrap_or(knob)));
        let standard_uncertainty = (moved - value).abs();
        Assumed { parameter: self.parameter, value, standard_uncertainty, why: self.why }
    }
}

impl Kind {
    fn of(sheet: &DataSheet, input: &Input) -> Result<Self, DataSheetError> {
        sheet.checked()?;
        let chosen_ohm = match (sheet.input_resistance_ohm, sheet.compensation_range_f) {
            (Some(resistance_ohm), _) => resistance_ohm / sheet.ratio,
            (None, Some(_)) => 1e6,
            (None, None) => input.resistance_ohm,
        };
        if !(chosen_ohm > 0.0 && chosen_ohm.is_finite()) {
            let (what, allowed) = ("input resistance (Ω)", "above 0");
            return Err(ChainError { what, value: chosen_ohm, allowed }.into());
        }
        if chosen_ohm > LARGEST_MATCHED_OHM {
            return Compensated::of(sheet, input, chosen_ohm).map(Kind::Compensated);
        }
        if sheet.ratio > 1.0 {
            return Ok(Kind::Matched(Matched::of(sheet, chosen_ohm)));
        }
        Err(DataSheetError::PlainCable { input_resistance_ohm: chosen_ohm })
    }

    /// Resistance of the input that the probe is made for, Ω.
    fn nominal_ohm(&self) -> f64 {
        match self {
            Kind::Compensated(probe) => probe.nominal_ohm,
            Kind::Matched(probe) => probe.nominal_ohm,
        }
    }

    /// The probe as its data sheet's bandwidth is measured, on the input it is made for.
    fn reference(&self, sheet: &DataSheet, knob: f64) -> Chain {
        match self {
            Kind::Compensated(probe) => {
                let parts = probe.parts(sheet, knob);
                parts.on_bench(sheet.ratio, probe.nominal_ohm, probe.nominal_f)
            }
            Kind::Matched(probe) => probe.parts(sheet, knob).on_bench(sheet.ratio, probe.nominal_ohm, 0.0),
        }
    }

    /// The probe in its setting, adjusted as far as it can be.
    fn chain(&self, sheet: &DataSheet, setting: &Setting, knob: f64) -> Chain {
        let parts = match self {
            Kind::Compensated(probe) => probe.adjusted(sheet, &setting.input, knob),
            Kind::Matched(probe) => probe.parts(sheet, knob),
        };
        parts.on(sheet.ratio, setting.node, setting.contact, setting.input)
    }

    fn doubts(&self, sheet: &DataSheet, fit: &Fit) -> Vec<Doubt> {
        match self {
            Kind::Compensated(probe) => probe.doubts(sheet, fit),
            Kind::Matched(probe) => probe.doubts(sheet),
        }
    }

    /// The knob that fits the bandwidth, and the probe it fits.
    fn fitted(self, sheet: &DataSheet) -> (Self, Fit) {
        match self {
            Kind::Compensated(probe) => probe.fitted(sheet),
            Kind::Matched(probe) => (self, probe.fitted(sheet)),
        }
    }
}
