//! Which values a chain may have.

use super::parts::{Chain, Coupling, Response, ResponseShape};
use super::shape::LARGEST_ORDER;

/// A value with which the chain has no meaning.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{what} is {value}, but it must be {allowed}")]
pub struct ChainError {
    /// The quantity, with its unit.
    pub what: &'static str,
    /// The value given.
    pub value: f64,
    /// What it may be.
    pub allowed: &'static str,
}

impl Chain {
    /// Checks every value. A chain that fails is still computed without panic, but its figures mean nothing.
    pub fn check(&self) -> Result<(), ChainError> {
        for (what, value) in [
            ("node resistance (Ω)", self.node.resistance_ohm),
            ("node capacitance (F)", self.node.capacitance_f),
            ("contact inductance (H)", self.contact.inductance_h),
            ("contact resistance (Ω)", self.contact.resistance_ohm),
            ("body capacitance (F)", self.tip.body_capacitance_f),
            ("tip resistance (Ω)", self.tip.resistance_ohm),
            ("tip capacitance (F)", self.tip.capacitance_f),
            ("series resistance of the tip (Ω)", self.tip.series_resistance_ohm),
            ("cable length (m)", self.cable.length_m),
            ("cable resistance per metre (Ω/m)", self.cable.resistance_ohm_per_m),
            ("cable inductance per metre (H/m)", self.cable.inductance_h_per_m),
            ("cable capacitance per metre (F/m)", self.cable.capacitance_f_per_m),
            ("cable conductance per metre (S/m)", self.cable.conductance_s_per_m),
            ("series resistance of the box (Ω)", self.compensation_box.series_resistance_ohm),
            ("box capacitance (F)", self.compensation_box.capacitance_f),
            ("input capacitance (F)", self.input.capacitance_f),
        ] {
            if !(value >= 0.0 && value.is_finite()) {
                return Err(ChainError { what, value, allowed: "0 or more" });
            }
        }
        for (what, value) in [
            ("input resistance (Ω)", Some(self.input.resistance_ohm)),
            ("attenuation ratio", Some(self.ratio)),
            ("skin-effect corner of the cable (Hz)", self.cable.skin_corner_hz),
            (
                "corner of the ac coupling (Hz)",
                match self.input.coupling {
                    Coupling::Dc => None,
                    Coupling::Ac { corner_hz } => Some(corner_hz),
                },
            ),
        ] {
            if let Some(value) = value.filter(|value| !(*value > 0.0 && value.is_finite())) {
                return Err(ChainError { what, value, allowed: "above 0" });
            }
        }
        check_response("input bandwidth (Hz)", &self.input.response)?;
        self.input.limit.iter().try_for_each(|limit| check_response("bandwidth limit (Hz)", limit))
    }
}

fn check_response(what: &'static str, response: &Response) -> Result<(), ChainError> {
    if !(response.bandwidth_hz > 0.0) {
        return Err(ChainError {
            what,
            value: response.bandwidth_hz,
            allowed: "above 0 (infinite for none)",
        });
    }
    match response.shape {
        ResponseShape::MaximallyFlat(order) if !(1..=LARGEST_ORDER).contains(&order) => Err(ChainError {
            what: "order of the maximally flat response",
            value: f64::from(order),
            allowed: "from 1 to 10",
        }),
        _ => Ok(()),
    }
}
