//! Whether a probe's compensation range contains an input's capacitance, and what is left over where it does not.
//!
//! | symbol | name here | unit | meaning |
//! | --- | --- | --- | --- |
//! | a, b | [`CompensationRange`] | F | least and most input capacitance that the trimmer balances |
//! | N | [`Divider::dc_gain`]⁻¹ | 1 | attenuation (R1+R2)/R2 |
//! | δ | | F | distance of the input's capacitance from the range |
//! | e | [`Residual::error`] | 1 | compensation error that the best setting leaves |
//!
//! With the trimmer at its stop the probe balances an input of exactly b: there C2 = (N−1)·C1, so C1+C2 = N·C1. On an input of
//! b+δ, C2 is larger by δ, and e = N·C1/(C1+C2) − 1 becomes
//!
//! - above b: e = −δ/(N·C1 + δ); below a: e = +δ/(N·C1 − δ)
//!
//! with C1 *at that stop*. Both are exact, for either place of the trimmer. In a probe adjusted at the base C1 is the same
//! at both stops. In one adjusted at the tip the shunt is fixed but for the input, so that C1 differs by (limit − reference)/(N−1)
//! from what it is on a reference input, here the middle of the range. Source: the divider's response, see [`crate::divider`].
//!
//! A data sheet gives the capacitance seen at the tip, Ct = C1·C2/(C1+C2) = C1·(N−1)/N when balanced, so C1 = Ct·N/(N−1).

mod judge;
mod words;

pub(crate) use judge::Errors;
pub use judge::{REPORTED_FREQUENCIES_HZ, Residual, SineError, reach};

use crate::assessment::AdjustedAt;
use crate::divider::Divider;
use crate::finding::Finding;

/// The input capacitances that a probe's trimmer balances.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CompensationRange {
    /// a, F.
    pub least_f: f64,
    /// b, F.
    pub most_f: f64,
    /// How far each limit may be off, F: half-width of the tolerance.
    pub tolerance_f: f64,
}

/// Capacitance of an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputCapacitance {
    /// As stated, F.
    pub nominal_f: f64,
    /// How far it may be off, F: half-width of the tolerance.
    pub tolerance_f: f64,
}

/// What is known of the capacitance in a probe's tip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TipCapacitance {
    /// C1 itself, across the tip resistor, F. Of a probe adjusted at the tip: at the middle of its range.
    AcrossTipResistor(f64),
    /// What the circuit sees at the tip of the compensated probe, without the body's capacitance, F.
    SeenAtTip(f64),
}

/// A probe as far as its reach goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReachProbe {
    /// R1 and R2.
    pub divider: Divider,
    /// In the tip.
    pub tip: TipCapacitance,
    /// Where the trimmer is. A probe without one has a range of no width and counts as adjusted at the base.
    pub adjusted_at: AdjustedAt,
    /// Range of the trimmer.
    pub range: CompensationRange,
}

/// Whether the range contains the input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// With every value that the tolerances allow.
    Reaches,
    /// With some of them.
    MayReach,
    /// With none of them.
    OutOfReach,
}

/// Verdict and distance from the nearest limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// Whether it reaches.
    pub verdict: Verdict,
    /// Distance of the nominal input from the nearest limit, F: positive inside the range, negative outside.
    pub margin_f: f64,
    /// Sum of the tolerances of limit and input, F.
    pub tolerance_f: f64,
}

impl CompensationRange {
    /// The plain verdict, for large tables: no check of the numbers, no allocation. NaN never reaches.
    #[inline]
    pub fn margin(&self, input: InputCapacitance) -> Margin {
        let margin_f = (input.nominal_f - self.least_f).min(self.most_f - input.nominal_f);
        let tolerance_f = self.tolerance_f + input.tolerance_f;
        // The limits belong to the range; 15 pF less 1 pF has to count as 14 pF whatever the last digit of a sum is.
        let rounding_f = 1e-9 * self.most_f;
        let verdict = if margin_f >= tolerance_f - rounding_f {
            Verdict::Reaches
        } else if margin_f >= -tolerance_f - rounding_f {
            Verdict::MayReach
        } else {
            Verdict::OutOfReach
        };
        Margin { verdict, margin_f, tolerance_f }
    }
}

/// On which side of the range the input lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Between the limits: the trimmer balances it.
    Inside,
    /// Below a: the best setting leaves e > 0.
    Below,
    /// Above b: the best setting leaves e < 0.
    Above,
}

/// Everything that can be said of a pairing before it is measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Reach {
    /// Verdict and margin.
    pub margin: Margin,
    /// Where the nominal input lies.
    pub side: Side,
    /// What the best setting leaves.
    pub residual: Residual,
    /// How a 1 kHz square wave looks, in words.
    pub square_wave_words: String,
    /// Amplitude error of sines at [`REPORTED_FREQUENCIES_HZ`].
    pub sine_errors: [SineError; REPORTED_FREQUENCIES_HZ.len()],
    /// `out-of-reach`, `reach-not-certain`, each with its remedy; empty when it reaches.
    pub findings: Vec<Finding>,
}

/// Numbers that make no pairing.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ReachError {
    /// A quantity that has to be above zero.
    #[error("{quantity} is {value}: give a value above zero")]
    NotPositive {
        /// Which one.
        quantity: &'static str,
        /// As given, in SI units.
        value: f64,
    },
    /// A tolerance below zero.
    #[error("{quantity} is {value}: give a tolerance of zero or more")]
    NotATolerance {
        /// Which one.
        quantity: &'static str,
        /// As given, in SI units.
        value: f64,
    },
    /// The limits are exchanged.
    #[error("compensation range runs from {least_f} F to {most_f} F: exchange its limits")]
    RangeUpsideDown {
        /// a, F.
        least_f: f64,
        /// b, F.
        most_f: f64,
    },
    /// More input than the whole shunt that the probe balances.
    #[error(
        "compensation range reaches to {most_f} F, but this tip balances {shunt_f} F in all, cable included: \
         correct the range, the tip capacitance or the resistors"
    )]
    RangeAgainstTip {
        /// b with its tolerance, F.
        most_f: f64,
        /// (N−1)·C1, F.
        shunt_f: f64,
    },
}

#[cfg(test)]
mod tests;
