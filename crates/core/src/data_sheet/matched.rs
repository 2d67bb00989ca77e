//! Resistive dividers on a matched cable (450 Ω into 50 Ω): nothing to trim, the cable adds no capacitance, and its skin effect sets the bandwidth.
//!
//! At low frequencies the tip shows Cbody + C1·((N − 1)/N)²: first term in s of 1/(R1/(1 + sR1C1) + R2).

use super::bandwidth::{self, Fit, Search};
use super::{DataSheet, Doubt, Kind, LENGTH_M, LIGHT_M_PER_S, Probe, RECTANGULAR, VELOCITY};
use crate::chain::{Cable, CompensationBox, Tip};
use crate::prediction::Parameter;

/// What C1 shows at the tip: the ends of a small resistor, F, and no more than this share of the whole (common practice; ± all of it).
const ACROSS_TIP: (f64, f64) = (0.05e-12, 0.15);

/// Half-width of the doubt of the cable's impedance, relative (common practice).
const IMPEDANCE_HALF_WIDTH: f64 = 0.05;

/// Resistance of thin coaxial cable at low frequencies, Ω/m (common practice; ± all of it).
const RESISTANCE_OHM_PER_M: f64 = 0.3;

/// Skin corner of a wire of 0.25 mm, Hz: there the skin depth of copper, 66 mm/√(f/Hz), is its radius.
const SKIN_CORNER_HZ: f64 = 300e3;

/// The knob is the √ of this over the corner: twice of it is twice the loss.
const UNIT_HZ: f64 = SKIN_CORNER_HZ;

/// The knob when no bandwidth is stated.
const LOSS: f64 = 1.0;

/// Knobs searched: corners from 300 GHz (no loss to speak of) to 30 Hz. A metre of cable ripples every 100 MHz, 5 % of 2 GHz.
const SEARCH: Search = Search { knob: (1e-3, 1e2), per_decade: 400, points: 600 };

/// The numbers assumed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Matched {
    /// Resistance of the input the probe is made for.
    pub(super) nominal_ohm: f64,
    tip_resistance_ohm: f64,
    across_tip_f: f64,
    impedance_ohm: f64,
    resistance_ohm_per_m: f64,
    length_m: f64,
    velocity: f64,
}

impl Matched {
    pub(super) fn of(sheet: &DataSheet, nominal_ohm: f64) -> Self {
        Self {
            nominal_ohm,
            tip_resistance_ohm: (sheet.ratio - 1.0) * nominal_ohm,
            across_tip_f: ACROSS_TIP.0.min(ACROSS_TIP.1 * sheet.input_capacitance_f),
            impedance_ohm: nominal_ohm,
            resistance_ohm_per_m: RESISTANCE_OHM_PER_M,
            length_m: sheet.cable_length_m.unwrap_or(LENGTH_M.0),
            velocity: VELOCITY.0,
        }
    }

    pub(super) fn parts(&self, sheet: &DataSheet, loss: f64) -> Probe {
        let share = self.tip_resistance_ohm / (self.tip_resistance_ohm + self.nominal_ohm);
        let velocity = self.velocity * LIGHT_M_PER_S;
        Probe {
            tip: Tip {
                body_capacitance_f: sheet.input_capacitance_f - self.across_tip_f,
                resistance_ohm: self.tip_resistance_ohm,
                capacitance_f: self.across_tip_f / (share * share),
                series_resistance_ohm: 0.0,
            },
            cable: Cable {
                length_m: self.length_m,
                resistance_ohm_per_m: self.resistance_ohm_per_m,
                inductance_h_per_m: self.impedance_ohm / velocity,
                capacitance_f_per_m: 1.0 / (self.impedance_ohm * velocity),
                conductance_s_per_m: 0.0,
                skin_corner_hz: Some(UNIT_HZ / (loss * loss)),
            },
            compensation_box: CompensationBox { series_resistance_ohm: 0.0, capacitance_f: 0.0 },
        }
    }

    /// What was assumed, each moved down by one standard uncertainty.
    pub(super) fn doubts(&self, sheet: &DataSheet) -> Vec<Doubt> {
        let mut all = Vec::with_capacity(6);
        let mut add = |parameter, why, moved: Self| {
            all.push(Doubt { parameter, why, moved: Kind::Matched(moved), knob: None });
        };
        let less = 1.0 - 1.0 / RECTANGULAR;
        if sheet.input_resistance_ohm.is_none() {
            add(
                Parameter::TipResistance,
                "R1 = (N − 1)·R2, within 1 % (common practice)",
                Self { tip_resistance_ohm: self.tip_resistance_ohm * (1.0 - 0.01 / RECTANGULAR), ..*self },
            );
        }
        add(
            Parameter::TipCapacitance,
            "the ends of a small resistor, 0 to 0.1 pF (common practice)",
            Self { across_tip_f: self.across_tip_f * less, ..*self },
        );
        add(
            Parameter::CableCapacitance,
            "a cable that matches the input within 5 % (common practice)",
            Self { impedance_ohm: self.impedance_ohm * (1.0 - IMPEDANCE_HALF_WIDTH / RECTANGULAR), ..*self },
        );
        add(
            Parameter::CableResistance,
            "thin coaxial cable, 0 to 0.6 Ω/m (common practice)",
            Self { resistance_ohm_per_m: self.resistance_ohm_per_m * less, ..*self },
        );
        if sheet.cable_length_m.is_none() {
            add(
                Parameter::CableLength,
                "cables of probes are 0.9 m to 1.5 m long (common practice)",
                Self { length_m: self.length_m - LENGTH_M.1 / RECTANGULAR, ..*self },
            );
        }
        add(
            Parameter::CableInductance,
            "L' = Z/v with a velocity v of 0.65 to 0.85 times that of light (common practice)",
            Self { velocity: self.velocity - VELOCITY.1 / RECTANGULAR, ..*self },
        );
        all
    }

    /// The knob that fits a bandwidth.
    pub(super) fn fitted(&self, sheet: &DataSheet) -> Fit {
        let Some(wanted_hz) = sheet.bandwidth_hz else { return Fit::assumed(LOSS) };
        let kind = Kind::Matched(*self);
        bandwidth::fit(wanted_hz, SEARCH, |loss| kind.reference(sheet, loss))
    }
}
