//! Captures as an oscilloscope would have made them: a square wave through a divider, noise, quantiser, text.

use std::f64::consts::TAU;
use std::fmt::Write as _;

use flattop_core::divider::{Capacitances, Divider};

/// What was on the screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shown {
    /// The square wave with this compensation error.
    Square(f64),
    /// Nothing but noise: the tip was not connected.
    Nothing,
}

/// One capture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wave {
    pub(super) shown: Shown,
    pub(super) divider: Divider,
    /// Across the tip resistor, F.
    pub(super) tip_f: f64,
    /// Steps of the quantiser over the screen.
    pub(super) levels: f64,
    pub(super) seed: u64,
}

/// Samples of a capture.
const POINTS: usize = 6000;
/// Peak to peak of the source, in volts at the tip.
const AMPLITUDE_V: f64 = 3.0;
/// Height of the screen, in volts at the tip.
const SCREEN_V: f64 = 4.0;
/// Noise of the input, rms, in volts at the tip.
const NOISE_V: f64 = 0.005;

impl Wave {
    /// Comma-separated text: a time column and the voltage at the tip.
    pub(super) fn text(&self) -> String {
        let c = self.capacitances();
        let shelf = self.divider.shelf(c);
        // Long enough for four time constants in half a period: 1 kHz, or slower for a 100× probe.
        let frequency_hz = if shelf.time_constant_s < 1.5e-4 { 1e3 } else { 400.0 };
        let (start, _) = shelf.square_wave_deviation(frequency_hz);
        let half_s = 0.5 / frequency_hz;
        let interval_s = 4.3 / frequency_hz / POINTS as f64;
        let step_v = SCREEN_V / self.levels;
        let mut noise = Noise::new(self.seed);
        let mut text = String::from("time_s,tip_V\n");
        for k in 0..POINTS {
            let t_s = (k as f64 + 0.37) * interval_s;
            let since_s = t_s.rem_euclid(half_s);
            let deviation = start * (-since_s / shelf.time_constant_s).exp();
            let is_high = (t_s / half_s) as u64 % 2 == 1;
            let clean_v = match self.shown {
                Shown::Nothing => 0.1,
                Shown::Square(_) if is_high => AMPLITUDE_V * (1.0 + deviation),
                Shown::Square(_) => -AMPLITUDE_V * deviation,
            };
            let v = step_v * ((clean_v + NOISE_V * noise.next()) / step_v).round();
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{:.9e},{:.5}", k as f64 * interval_s, v);
        }
        text
    }

    /// The tip's capacitance, and the shunt that leaves the compensation error.
    fn capacitances(&self) -> Capacitances {
        let error = match self.shown {
            Shown::Square(error) => error,
            Shown::Nothing => 0.0,
        };
        let balanced_f = self.tip_f + self.divider.balanced_shunt_capacitance_f(self.tip_f);
        Capacitances { tip_f: self.tip_f, shunt_f: balanced_f / (1.0 + error) - self.tip_f }
    }
}

/// White Gaussian noise that is the same for the same seed: SplitMix64 (Steele, Lea, Flood 2014), Box and Muller's transform.
struct Noise(u64);

impl Noise {
    fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        // 53 bits, never nil.
        ((z >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn next(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (TAU * self.uniform()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};

    #[test]
    fn noise_is_normal_and_the_same_again() {
        let mut noise = Noise::new(7);
        let drawn: Vec<f64> = (0..20_000).map(|_| noise.next()).collect();
        let mean = drawn.iter().sum::<f64>() / 2e4;
        let variance = drawn.iter().map(|x| x * x).sum::<f64>() / 2e4;
        // Standard deviations of these estimates: 0.0071 and 0.01.
        assert_close!(mean, 0.0, within(0.03));
        assert_close!(variance, 1.0, within(0.04));
        assert_eq!(Noise::new(7).next().to_bits(), drawn[0].to_bits());
    }
}
