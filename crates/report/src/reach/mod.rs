//! What people and programs read of a probe's reach on an input: JSON, words, plot.

pub mod json;
mod plot;
mod text;

use flattop_core::assessment::Estimate;
use flattop_core::reach::{InputCapacitance, Reach, ReachProbe, Verdict};

use crate::format::{picofarads, significant};

pub use plot::{png, svg};
pub use text::{one, several, verdict_sentence};

/// One probe on one input, as far as data sheets tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Pairing {
    /// The probe as stated.
    pub probe: ReachProbe,
    /// The input as stated.
    pub input: InputCapacitance,
    /// What the core found.
    pub reach: Reach,
}

/// A pairing whose numbers cannot be true together.
#[derive(Clone, Debug, PartialEq)]
pub struct Unfit {
    /// The input as stated.
    pub input: InputCapacitance,
    /// What is wrong, and the remedy.
    pub message: String,
}

impl Pairing {
    /// The e furthest from nil that the tolerances allow.
    pub fn worst_error(&self) -> f64 {
        let (lowest, highest) = self.reach.residual.bounds;
        if -lowest > highest { lowest } else { highest }
    }
}

/// The stable name of a verdict, as the JSON contract writes it.
pub fn verdict_code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Reaches => "reaches",
        Verdict::MayReach => "may-reach",
        Verdict::OutOfReach => "out-of-reach",
    }
}

/// A capacitance that counts as known: `20 pF`.
pub fn capacitance(farads: f64) -> String {
    picofarads(Estimate { value: farads, standard_uncertainty: 0.0 }).with_units()
}

/// An input with its tolerance: `20 pF ± 2 pF`, or `20 pF` where it has none.
pub fn input_words(input: InputCapacitance) -> String {
    let nominal = capacitance(input.nominal_f);
    if input.tolerance_f > 0.0 { format!("{nominal} ± {}", capacitance(input.tolerance_f)) } else { nominal }
}

/// A ratio as percent with its sign: `-1.77 %`, `+0.4 %`, `0 %`.
fn signed_percent(ratio: f64, digits: usize) -> String {
    let sign = if ratio > 0.0 { "+" } else { "" };
    format!("{sign}{} %", significant(100.0 * ratio, digits))
}

#[cfg(test)]
mod tests;
