//! Coupling and loading: what networks of one or two poles do to a pulse.
//!
//! Here the first-order high-pass of an AC coupling; [`LowPass`] is loading by a capacitance, [`SecondOrder`] a
//! ringing lead.
//!
//! | symbol | name here | unit | meaning |
//! | --- | --- | --- | --- |
//! | τ | [`HighPass::time_constant_s`] | s | R·C of the coupling |
//! | f1 | [`HighPass::corner_hz`] | Hz | −3 dB frequency 1/(2πτ) |
//! | tilt | [`tilt`] | 1 | fall of the flat part over its mean |
//!
//! Tilt here is always (start − end)/mean of start and end, as read off a screen. Source: the pulse-circuit textbooks
//! named in the validation dossier (rows P-10 to P-20).

mod low_pass;
mod second_order;

pub use low_pass::{LowPass, gaussian_gain, gaussian_transition_bandwidth};
pub use second_order::SecondOrder;

use std::f64::consts::TAU;

/// A first-order high-pass, such as a coupling capacitor before an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HighPass {
    /// τ, s; above zero.
    pub time_constant_s: f64,
}

/// The four levels of the settled response to a rectangular wave, relative to the level of its mean, V.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettledLevels {
    /// Just after the rising edge.
    pub high_start: f64,
    /// Just before the falling edge.
    pub high_end: f64,
    /// Just after the falling edge.
    pub low_start: f64,
    /// Just before the rising edge.
    pub low_end: f64,
}

impl HighPass {
    /// The high-pass of a capacitance in series with a resistance.
    pub fn of(resistance_ohm: f64, capacitance_f: f64) -> Self {
        Self { time_constant_s: resistance_ohm * capacitance_f }
    }

    /// The high-pass with its −3 dB point at `corner_hz`.
    pub fn with_corner(corner_hz: f64) -> Self {
        Self { time_constant_s: 1.0 / (TAU * corner_hz) }
    }

    /// The high-pass that tilts a flat part of `width_s` by `tilt` (between 0 and 2): τ = width/(2·artanh(tilt/2)).
    pub fn with_tilt(tilt: f64, width_s: f64) -> Self {
        Self { time_constant_s: width_s / (2.0 * (0.5 * tilt).atanh()) }
    }

    /// −3 dB frequency f1 = 1/(2πτ), Hz.
    pub fn corner_hz(&self) -> f64 {
        1.0 / (TAU * self.time_constant_s)
    }

    /// Tilt of a flat part of `width_s`, start and end against their mean: 2·tanh(width/2τ).
    pub fn tilt(&self, width_s: f64) -> f64 {
        2.0 * (0.5 * width_s / self.time_constant_s).tanh()
    }

    /// Tilt of a symmetric square wave of `frequency_hz`: 2·tanh(π·f1/(2f)), close to π·f1/f when small.
    pub fn square_wave_tilt(&self, frequency_hz: f64) -> f64 {
        self.tilt(0.5 / frequency_hz)
    }

    /// Fall of a single pulse over its width as a share of its start: 1 − exp(−width/τ).
    pub fn pulse_fall(&self, width_s: f64) -> f64 {
        -(-width_s / self.time_constant_s).exp_m1()
    }

    /// Settled response to a rectangular wave of `amplitude` that is high for `high_s` and low for `low_s`.
    pub fn settled_levels(&self, amplitude: f64, high_s: f64, low_s: f64) -> SettledLevels {
        let keep_high = (-high_s / self.time_constant_s).exp();
        let high_start = amplitude * self.pulse_fall(low_s) / self.pulse_fall(high_s + low_s);
        let high_end = high_start * keep_high;
        let low_start = high_end - amplitude;
        let low_end = low_start * (-low_s / self.time_constant_s).exp();
        SettledLevels { high_start, high_end, low_start, low_end }
    }
}

/// Tilt of a flat part read as `start` and `end`: (start − end)/mean.
pub fn tilt(start: f64, end: f64) -> f64 {
    (start - end) / (0.5 * (start + end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, printed, relative};
    use proptest::prelude::*;

    #[test]
    fn settled_levels_of_a_textbook_example() {
        // D. A. Bell, *Solid State Pulse Circuits*, Ex. 2-9: 20 V, 4 ms on and off, 3.3 kΩ, 1 µF → 15.41 V, 4.59 V.
        let levels = HighPass::of(3.3e3, 1e-6).settled_levels(20.0, 4e-3, 4e-3);
        assert_close!(levels.high_start, 15.41, printed(0.01));
        assert_close!(levels.high_end, 4.59, printed(0.01));
    }

    proptest! {
        #[test]
        fn prop_settled_response_has_no_mean_and_jumps_by_the_amplitude(
            tau in 1e-6..10.0_f64, high in 1e-3..5.0_f64, low in 1e-3..5.0_f64, amplitude in 0.1..100.0_f64,
        ) {
            let filter = HighPass { time_constant_s: tau };
            let l = filter.settled_levels(amplitude, high * tau, low * tau);
            let area = tau * ((l.high_start - l.high_end) + (l.low_start - l.low_end));
            assert_close!(area, 0.0, flattop_close::within(1e-12 * amplitude * tau));
            assert_close!(l.high_start - l.low_end, amplitude, relative(1e-12));
        }

        #[test]
        fn prop_tilt_agrees_with_the_settled_levels_and_inverts(tau in 1e-6..10.0_f64, share in 1e-4..3.0_f64) {
            let filter = HighPass { time_constant_s: tau };
            let l = filter.settled_levels(1.0, share * tau, share * tau);
            assert_close!(tilt(l.high_start, l.high_end), filter.tilt(share * tau), relative(1e-10));
            assert_close!(HighPass::with_tilt(filter.tilt(share * tau), share * tau).time_constant_s, tau, relative(1e-10));
        }
    }
}
