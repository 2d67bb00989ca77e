//! The one-pole low-pass, and the Gaussian response that many cascaded ones tend to.

use crate::numeric::stats::normal_quantile;
use std::f64::consts::{LN_2, TAU};

/// A one-pole low-pass, such as a source resistance loaded by a capacitance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LowPass {
    /// τ, s; above zero.
    pub time_constant_s: f64,
}

impl LowPass {
    /// The low-pass of a resistance into a capacitance.
    pub fn of(resistance_ohm: f64, capacitance_f: f64) -> Self {
        Self { time_constant_s: resistance_ohm * capacitance_f }
    }

    /// The low-pass with a 10–90 % transition duration of `transition_s`.
    pub fn with_transition(transition_s: f64) -> Self {
        Self { time_constant_s: transition_s / 9f64.ln() }
    }

    /// −3 dB frequency 1/(2πτ), Hz.
    pub fn corner_hz(&self) -> f64 {
        1.0 / (TAU * self.time_constant_s)
    }

    /// Time from a step until its response has reached `fraction` (below 1): −τ·ln(1 − fraction), s.
    pub fn time_to_s(&self, fraction: f64) -> f64 {
        -self.time_constant_s * (-fraction).ln_1p()
    }

    /// 10–90 % transition duration τ·ln 9, s.
    pub fn transition_s(&self) -> f64 {
        self.time_to_s(0.9) - self.time_to_s(0.1)
    }

    /// Gain at a frequency in Hz against that at zero: 1/√(1+(f/f3dB)²).
    pub fn gain(&self, frequency_hz: f64) -> f64 {
        1.0 / 1f64.hypot(TAU * frequency_hz * self.time_constant_s)
    }
}

/// Gain of a Gaussian response at `share` of its −3 dB frequency: 2^(−share²/2).
pub fn gaussian_gain(share: f64) -> f64 {
    (-0.5 * share * share).exp2()
}

/// 10–90 % transition duration times −3 dB frequency of a Gaussian response: 2·z₉₀·√(ln 2)/(2π).
pub fn gaussian_transition_bandwidth() -> f64 {
    2.0 * normal_quantile(0.9) * LN_2.sqrt() / TAU
}
