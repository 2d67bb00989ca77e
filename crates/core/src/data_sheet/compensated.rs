//! Probes on a high-resistance input: R1 ∥ C1, a resistive cable, a box. Ratio 1 is the case without R1 and C1.
//!
//! With N = ratio, Ct = capacitance at the tip, m = capacitance of the input the probe is made for:
//!
//! | what | from |
//! | --- | --- |
//! | R1 | (N − 1)·R2 |
//! | C2 = (N − 1)·C1 | balance (see `divider`) |
//! | Ct = Cbody + C1·(N − 1)/N | body, and C1 in series with C2 |
//! | cable + box = N·(Ct − Cbody) − m | both of them together; holds for N = 1 as well |

use super::bandwidth::{self, Fit, Search};
use super::{
    Adjusted, DataSheet, DataSheetError, Doubt, Kind, LENGTH_M, LIGHT_M_PER_S, Probe, RECTANGULAR, VELOCITY,
};
use crate::chain::{Cable, CompensationBox, Input, Tip};
use crate::divider::Divider;
use crate::prediction::Parameter;

/// Share of the body in the capacitance at the tip, and the most it is taken for, F (common practice; for ± all of it).
const BODY: (f64, f64) = (0.15, 3e-12);

/// The least share of the body.
const LEAST_BODY: f64 = 0.03;

/// Capacitance per metre that a cable may have, F/m: from thin wire in a wide tube to thin insulation (common practice).
pub(super) const USUAL_CABLE_F_PER_M: (f64, f64) = (15e-12, 150e-12);

/// Capacitance per metre where it has to be assumed, and the half-width of its doubt, F/m: cables of 45 to 90 Ω.
const CABLE_F_PER_M: (f64, f64) = (75e-12, 25e-12);

/// A cable with less than that, F/m, cannot be made.
const LEAST_CABLE_F_PER_M: f64 = 1e-12;

/// Stray capacitance of the box, and the half-width of its doubt, F (common practice).
const STRAY_F: (f64, f64) = (4e-12, 1e-12);

/// Capacitance of an input may be so far from the one the probe is made for when no range says it, F.
const NOMINAL_HALF_WIDTH_F: f64 = 5e-12;

/// Resistance in series with the tip and in the box, each over the cable's √(L'/C'); for ± all of it.
const SERIES: f64 = 0.25;

/// A rise beyond that would be named in a data sheet (common practice).
pub(super) const LARGEST_PEAK: f64 = 0.1;

/// Half-width of the doubt of the cable's resistance over √(L'/C').
const LOSS_HALF_WIDTH: f64 = 1.5;

/// Resistance of the whole cable over √(L'/C') that makes a probe of this ratio flat.
///
/// The divider behind a line far above its first resonance passes 2·e^(−R/2Z) where it should pass 1/N: R/Z grows as log N. The two numbers
/// were found by making probes of 10× to 1000× flat within a few per cent with this model.
fn flat_loss(ratio: f64) -> f64 {
    2.0 + 1.5 * ratio.log10()
}

/// What the capacitance at the tip is divided by.
#[derive(Clone, Copy, Debug)]
enum Split {
    /// The body is assumed, F; the cable takes the rest.
    Body(f64),
    /// The cable is assumed, F/m; the body takes the rest.
    Cable(f64),
}

/// The numbers assumed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Compensated {
    /// Resistance and capacitance of the input the probe is made for.
    pub(super) nominal_ohm: f64,
    pub(super) nominal_f: f64,
    tip_resistance_ohm: f64,
    split: Split,
    stray_f: f64,
    length_m: f64,
    velocity: f64,
    tip_series: f64,
    box_series: f64,
}

impl Compensated {
    pub(super) fn of(sheet: &DataSheet, input: &Input, nominal_ohm: f64) -> Result<Self, DataSheetError> {
        let seen_f = sheet.input_capacitance_f;
        let nominal_f = match sheet.compensation_range_f {
            Some((from, to)) => 0.5 * (from + to),
            None => input.capacitance_f,
        };
        let probe = Self {
            nominal_ohm,
            nominal_f,
            tip_resistance_ohm: (sheet.ratio - 1.0) * nominal_ohm,
            split: Split::Body((BODY.0 * seen_f).min(BODY.1)),
            stray_f: STRAY_F.0,
            length_m: sheet.cable_length_m.unwrap_or(LENGTH_M.0),
            velocity: VELOCITY.0,
            tip_series: SERIES,
            box_series: SERIES,
        };
        let per_metre = probe.cable_f_per_m(sheet);
        if per_metre > USUAL_CABLE_F_PER_M.1 {
            return Ok(Self { split: Split::Cable(CABLE_F_PER_M.0), ..probe });
        }
        if per_metre >= USUAL_CABLE_F_PER_M.0 {
            return Ok(probe);
        }
        // A slimmer body leaves more for the cable.
        let body_f = Self { split: Split::Cable(USUAL_CABLE_F_PER_M.0), ..probe }.body_f(sheet);
        let slim = Self { split: Split::Body(body_f.max(LEAST_BODY * seen_f)), ..probe };
        if slim.cable_f_per_m(sheet) >= LEAST_CABLE_F_PER_M {
            return Ok(slim);
        }
        Err(DataSheetError::NothingForCable {
            ratio: sheet.ratio,
            input_capacitance_f: seen_f,
            behind_f: sheet.ratio * (1.0 - LEAST_BODY) * seen_f,
            taken_f: nominal_f + slim.box_f(sheet),
        })
    }

    /// What the resistors divide by on the input the probe is made for: N, but where R1 is in doubt.
    fn division(&self) -> f64 {
        1.0 + self.tip_resistance_ohm / self.nominal_ohm
    }

    /// Capacitance of the box on the input the probe is made for, F: a trimmer there stands in its middle.
    fn box_f(&self, sheet: &DataSheet) -> f64 {
        self.stray_f
            + match (sheet.adjusted, sheet.compensation_range_f) {
                (Adjusted::AtBase, Some((from, to))) => 0.5 * (to - from),
                _ => 0.0,
            }
    }

    /// What the capacitance of the whole cable counts for, per metre.
    fn cable_f_per_m(&self, sheet: &DataSheet) -> f64 {
        match self.split {
            Split::Cable(per_metre) => per_metre,
            Split::Body(body_f) => {
                let behind_f = self.division() * (sheet.input_capacitance_f - body_f);
                (behind_f - self.nominal_f - self.box_f(sheet)) / self.length_m
            }
        }
    }

    pub(super) fn body_f(&self, sheet: &DataSheet) -> f64 {
        match self.split {
            Split::Body(body_f) => body_f,
            Split::Cable(per_metre) => {
                let behind_f = per_metre * self.length_m + self.box_f(sheet) + self.nominal_f;
                sheet.input_capacitance_f - behind_f / self.division()
            }
        }
    }

    /// The probe adjusted on the input it is made for. `loss` is the resistance of the cable over √(L'/C').
    pub(super) fn parts(&self, sheet: &DataSheet, loss: f64) -> Probe {
        let per_metre = self.cable_f_per_m(sheet);
        let velocity = self.velocity * LIGHT_M_PER_S;
        // What counts at low frequencies is C' − L'/R² (see `Cable::effective_capacitance_f`), with L' = 1/(v²C').
        let taken = 1.0 / (velocity * self.nominal_ohm);
        let capacitance_f_per_m = 0.5 * (per_metre + per_metre.hypot(2.0 * taken));
        let impedance_ohm = 1.0 / (velocity * capacitance_f_per_m);
        let box_f = self.box_f(sheet);
        let divides = self.tip_resistance_ohm > 0.0;
        let behind_f = per_metre * self.length_m + box_f + self.nominal_f;
        Probe {
            tip: Tip {
                body_capacitance_f: self.body_f(sheet),
                resistance_ohm: self.tip_resistance_ohm,
                capacitance_f: if divides {
                    behind_f * self.nominal_ohm / self.tip_resistance_ohm
                } else {
                    0.0
                },
                series_resistance_ohm: self.tip_series * impedance_ohm,
            },
            cable: Cable {
                length_m: self.length_m,
                resistance_ohm_per_m: loss * impedance_ohm / self.length_m,
                inductance_h_per_m: impedance_ohm / velocity,
                capacitance_f_per_m,
                conductance_s_per_m: 0.0,
                skin_corner_hz: None,
            },
            compensation_box: CompensationBox {
                series_resistance_ohm: self.box_series * impedance_ohm,
                capacitance_f: box_f,
            },
        }
    }

    /// The probe adjusted on an input, as far as the trimmer goes.
    pub(super) fn adjusted(&self, sheet: &DataSheet, input: &Input, loss: f64) -> Probe {
        let mut parts = self.parts(sheet, loss);
        if !(self.tip_resistance_ohm > 0.0) {
            return parts;
        }
        let divider = Divider {
            tip_resistance_ohm: self.tip_resistance_ohm,
            shunt_resistance_ohm: input.resistance_ohm,
        };
        let fixed_f = parts.cable.effective_capacitance_f(input.resistance_ohm) + input.capacitance_f;
        match sheet.adjusted {
            Adjusted::Nowhere => {}
            Adjusted::AtTip => {
                let shunt_f = fixed_f + parts.compensation_box.capacitance_f;
                let (least, most) = self.tip_trimmer_f(sheet, &parts).unwrap_or((0.0, f64::INFINITY));
                parts.tip.capacitance_f =
                    divider.compensating_tip_capacitance_f(shunt_f).max(least).min(most);
            }
            Adjusted::AtBase => {
                let shunt_f = divider.balanced_shunt_capacitance_f(parts.tip.capacitance_f);
                let (least, most) = self.box_trimmer_f(sheet).unwrap_or((0.0, f64::INFINITY));
                parts.compensation_box.capacitance_f = (shunt_f - fixed_f).max(least).min(most);
            }
        }
        parts
    }

    /// End stops of a trimmer across R1, F.
    fn tip_trimmer_f(&self, sheet: &DataSheet, parts: &Probe) -> Option<(f64, f64)> {
        let (from, to) = sheet.compensation_range_f?;
        let own_f = self.own_f(parts);
        let balancing = |input_f: f64| self.divider().compensating_tip_capacitance_f(own_f + input_f);
        Some((balancing(from), balancing(to)))
    }

    /// End stops of a trimmer in the box, with its stray capacitance, F.
    fn box_trimmer_f(&self, sheet: &DataSheet) -> Option<(f64, f64)> {
        let (from, to) = sheet.compensation_range_f?;
        Some((self.stray_f, self.stray_f + (to - from)))
    }

    /// The inputs that the trimmer of the model balances, F.
    pub(super) fn range_f(&self, sheet: &DataSheet, loss: f64) -> Option<(f64, f64)> {
        if !(self.tip_resistance_ohm > 0.0) {
            return None;
        }
        let parts = self.parts(sheet, loss);
        let balanced = |tip_f: f64| self.divider().balanced_shunt_capacitance_f(tip_f);
        match sheet.adjusted {
            Adjusted::Nowhere => None,
            Adjusted::AtTip => {
                let own_f = self.own_f(&parts);
                self.tip_trimmer_f(sheet, &parts).map(|(a, b)| (balanced(a) - own_f, balanced(b) - own_f))
            }
            Adjusted::AtBase => {
                let rest_f =
                    balanced(parts.tip.capacitance_f) - parts.cable.effective_capacitance_f(self.nominal_ohm);
                self.box_trimmer_f(sheet).map(|(least, most)| (rest_f - most, rest_f - least))
            }
        }
    }

    fn divider(&self) -> Divider {
        Divider { tip_resistance_ohm: self.tip_resistance_ohm, shunt_resistance_ohm: self.nominal_ohm }
    }

    /// Cable and box, F.
    fn own_f(&self, parts: &Probe) -> f64 {
        parts.cable.effective_capacitance_f(self.nominal_ohm) + parts.compensation_box.capacitance_f
    }

    /// The resistance of the cable that gives the stated bandwidth. Where the response comes back after a dip to −3 dB, more resistance in the box
    /// can help; so that is tried before giving up.
    pub(super) fn fitted(self, sheet: &DataSheet) -> (Kind, Fit) {
        let flat = flat_loss(sheet.ratio);
        let Some(wanted_hz) = sheet.bandwidth_hz else {
            return (Kind::Compensated(self), Fit::assumed(flat));
        };
        let knob = ((flat - LOSS_HALF_WIDTH).max(0.5), 1e3);
        let searched = Search { knob, per_decade: 100, points: 300 };
        let search = |probe: Self| {
            let kind = Kind::Compensated(probe);
            (kind, bandwidth::fit(wanted_hz, searched, |loss| kind.reference(sheet, loss)))
        };
        let first = search(self);
        if first.1.fits && first.1.settles {
            return first;
        }
        let more = [2.0, 4.0].map(|factor| Self { box_series: factor * self.box_series, ..self });
        more.into_iter().map(search).find(|(_, fit)| fit.fits && fit.settles).unwrap_or(first)
    }

    /// What was assumed, each moved down by one standard uncertainty: downwards nothing becomes negative.
    pub(super) fn doubts(&self, sheet: &DataSheet, fit: &Fit) -> Vec<Doubt> {
        let mut all = Vec::with_capacity(9);
        let mut add = |parameter, why, moved: Self, knob| {
            all.push(Doubt { parameter, why, moved: Kind::Compensated(moved), knob });
        };
        let less = 1.0 - 1.0 / RECTANGULAR;
        if sheet.input_resistance_ohm.is_none() && sheet.ratio > 1.0 {
            add(
                Parameter::TipResistance,
                "R1 = (N − 1)·R2, within 1 % (common practice)",
                Self { tip_resistance_ohm: self.tip_resistance_ohm * (1.0 - 0.01 / RECTANGULAR), ..*self },
                None,
            );
        }
        match self.split {
            Split::Body(body_f) => add(
                Parameter::BodyCapacitance,
                "the body is a small share of the input capacitance, ± all of it (common practice)",
                Self { split: Split::Body(body_f * less), ..*self },
                None,
            ),
            Split::Cable(per_metre) => add(
                Parameter::CableCapacitance,
                "a cable of 45 to 90 Ω; the body takes what is left of the input capacitance (common practice)",
                Self { split: Split::Cable(per_metre - CABLE_F_PER_M.1 / RECTANGULAR), ..*self },
                None,
            ),
        }
        add(
            Parameter::BoxCapacitance,
            "stray capacitance of the box 3 pF to 5 pF (common practice)",
            Self { stray_f: self.stray_f - STRAY_F.1 / RECTANGULAR, ..*self },
            None,
        );
        if sheet.cable_length_m.is_none() {
            add(
                Parameter::CableLength,
                "cables of probes are 0.9 m to 1.5 m long (common practice)",
                Self { length_m: self.length_m - LENGTH_M.1 / RECTANGULAR, ..*self },
                None,
            );
        }
        add(
            Parameter::CableInductance,
            "L' = 1/(v²C') with a velocity v of 0.65 to 0.85 times that of light (common practice)",
            Self { velocity: self.velocity - VELOCITY.1 / RECTANGULAR, ..*self },
            None,
        );
        add(
            Parameter::SeriesResistance,
            "damping at the tip, 0 to half of √(L'/C') (common practice)",
            Self { tip_series: self.tip_series * less, ..*self },
            None,
        );
        add(
            Parameter::BoxResistance,
            "damping in the box, a quarter of √(L'/C') or what the bandwidth needs, ± all of it (common practice)",
            Self { box_series: self.box_series * less, ..*self },
            None,
        );
        if sheet.bandwidth_hz.is_none() {
            add(
                Parameter::CableResistance,
                "(2 + 1.5·lg N ± 1.5)·√(L'/C') for the whole cable: what makes a probe flat",
                *self,
                Some(flat_loss(sheet.ratio) - LOSS_HALF_WIDTH / RECTANGULAR),
            );
        }
        if sheet.bandwidth_hz.is_some() && (fit.peak.0 > LARGEST_PEAK || !fit.fits) {
            add(
                Parameter::CableResistance,
                "networks in the box that this model lacks may level the response: from here to a flat cable (bandwidth then not kept)",
                *self,
                Some(flat_loss(sheet.ratio)),
            );
        }
        let unknown_f = match (sheet.adjusted, sheet.compensation_range_f) {
            (Adjusted::Nowhere, Some((from, to))) => 0.5 * (to - from),
            (_, Some(_)) => 0.0,
            (_, None) => NOMINAL_HALF_WIDTH_F.min(self.nominal_f),
        };
        if unknown_f > 0.0 {
            let moved = Self { nominal_f: self.nominal_f - unknown_f / RECTANGULAR, ..*self };
            let (parameter, why) = match self.split {
                _ if sheet.ratio > 1.0 => (
                    Parameter::TipCapacitance,
                    "C1 balances an input that no figure names: anywhere in the range, or this input within 5 pF",
                ),
                Split::Body(_) => (
                    Parameter::CableCapacitance,
                    "the input capacitance counts an input like this one within 5 pF",
                ),
                Split::Cable(_) => (
                    Parameter::BodyCapacitance,
                    "the input capacitance counts an input like this one within 5 pF",
                ),
            };
            add(parameter, why, moved, None);
        }
        all
    }
}
