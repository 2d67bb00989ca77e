//! From the input's connector to the screen: form of the response, bandwidth limit, coupling.

use super::parts::{Coupling, Input, Response, ResponseShape};
use super::scalar::Scalar;

/// numerator·exp(exponent)/denominator of everything between connector and screen, and whether s itself is a factor still to be put in.
///
/// The exponent (Gaussian shapes) is real on the imaginary axis: it bears on magnitudes only. It stays apart from the numerator so that phases and delays
/// survive where the magnitude underflows.
#[derive(Clone, Copy, Debug)]
pub(super) struct ScreenAt<T> {
    pub(super) denominator: T,
    pub(super) exponent: T,
    /// 1/ωac where a coupling capacitor puts a zero s/ωac at the origin; it is not yet in anything else here.
    pub(super) zero_s: Option<f64>,
}

impl<T: Scalar> ScreenAt<T> {
    pub(super) fn of(input: &Input, s: T) -> Self {
        let mut screen = Self { denominator: T::constant(1.0), exponent: T::constant(0.0), zero_s: None };
        screen.add(&input.response, s);
        if let Some(limit) = &input.limit {
            screen.add(limit, s);
        }
        if let Coupling::Ac { corner_hz } = input.coupling {
            let time_s = 1.0 / (std::f64::consts::TAU * corner_hz);
            screen.denominator = screen.denominator * (s * time_s + 1.0);
            screen.zero_s = Some(time_s);
        }
        screen
    }

    /// Numerator with everything in it.
    pub(super) fn numerator(&self, s: T) -> T {
        let exponent = self.exponent.value();
        // e^700 is left as it is: far out on the real axis a Gaussian has no bounds, and infinity times 0 is no number.
        let value = if exponent.norm_sqr() > 0.0 {
            num_complex::Complex64::new(exponent.re.min(700.0), exponent.im).exp()
        } else {
            num_complex::Complex64::new(1.0, 0.0)
        };
        let gaussian = self.exponent.apply(value, || value);
        match self.zero_s {
            Some(time_s) => gaussian * (s * time_s),
            None => gaussian,
        }
    }

    fn add(&mut self, response: &Response, s: T) {
        if response.bandwidth_hz.is_infinite() {
            return;
        }
        let p = s * (1.0 / (std::f64::consts::TAU * response.bandwidth_hz));
        match response.shape {
            ResponseShape::SinglePole => self.denominator = self.denominator * (p + 1.0),
            ResponseShape::Gaussian => {
                // 2^(−(f/f3dB)²/2) with (f/f3dB)² = −p².
                self.exponent = self.exponent + p * p * (0.5 * std::f64::consts::LN_2);
            }
            ResponseShape::Bessel4 => {
                let q = p * BESSEL4_CORNER;
                let theta = (((q + 10.0) * q + 45.0) * q + 105.0) * q + 105.0;
                self.denominator = self.denominator * theta * (1.0 / 105.0);
            }
            ResponseShape::MaximallyFlat(order) => {
                let order = usize::from(order.min(LARGEST_ORDER));
                for pair in 0..order / 2 {
                    self.denominator = self.denominator * ((p + BUTTERWORTH[order][pair]) * p + 1.0);
                }
                if order % 2 == 1 {
                    self.denominator = self.denominator * (p + 1.0);
                }
            }
        }
    }
}

/// Highest order of a maximally flat response.
pub(super) const LARGEST_ORDER: u8 = 10;

/// −3 dB angular frequency of 105/θ4(s), θ4(s) = s⁴ + 10s³ + 45s² + 105s + 105 (reverse Bessel polynomial), rad/s.
const BESSEL4_CORNER: f64 = bessel4_corner();

/// |θ4(jω)|² = x⁴ + 10x³ + 135x² + 1575x + 11025 with x = ω² has doubled where x⁴ + 10x³ + 135x² + 1575x = 11025.
const fn bessel4_corner() -> f64 {
    let mut x = 4.5;
    let mut round = 0;
    while round < 20 {
        let value = (((x + 10.0) * x + 135.0) * x + 1575.0) * x - 11025.0;
        let slope = ((4.0 * x + 30.0) * x + 270.0) * x + 1575.0;
        x -= value / slope;
        round += 1;
    }
    let mut root = 2.0;
    round = 0;
    while round < 20 {
        root = 0.5 * (root + x / root);
        round += 1;
    }
    root
}

/// \[order\]\[pair\]: middle coefficient 2·sin((2k + 1)π/(2·order)) of the factor p² + … + 1 of a Butterworth polynomial.
const BUTTERWORTH: [[f64; 5]; LARGEST_ORDER as usize + 1] = butterworth();

const fn butterworth() -> [[f64; 5]; LARGEST_ORDER as usize + 1] {
    let mut table = [[0.0; 5]; LARGEST_ORDER as usize + 1];
    let mut order = 2;
    while order <= LARGEST_ORDER as usize {
        let mut pair = 0;
        while pair < order / 2 {
            let angle = (2 * pair + 1) as f64 * std::f64::consts::PI / (2 * order) as f64;
            table[order][pair] = 2.0 * sine(angle);
            pair += 1;
        }
        order += 1;
    }
    table
}

/// sin x by its power series, for 0 ≤ x ≤ π/2 (the standard one cannot run while compiling).
const fn sine(x: f64) -> f64 {
    let mut sum = 1.0;
    let mut k = 14;
    while k > 0 {
        sum = 1.0 - sum * x * x / ((2 * k) * (2 * k + 1)) as f64;
        k -= 1;
    }
    x * sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, printed, relative, within};
    use num_complex::Complex64;

    fn gain(shape: ResponseShape, ratio: f64) -> Complex64 {
        let input = Input {
            resistance_ohm: 1e6,
            capacitance_f: 0.0,
            response: Response { shape, bandwidth_hz: 2e8 },
            coupling: Coupling::Dc,
            limit: None,
        };
        let s = Complex64::new(0.0, std::f64::consts::TAU * 2e8 * ratio);
        let screen = ScreenAt::of(&input, s);
        screen.numerator(s) / screen.denominator
    }

    /// Amplitude errors at a share of the bandwidth, printed to 1e-4 %, worked out apart from this code from 1/√(1+r²) and 2^(−r²/2).
    #[test]
    fn amplitude_errors_of_one_pole_and_gaussian() {
        let shares = [0.1, 0.2, 0.25, 1.0 / 3.0, 0.5, 0.7, 1.0];
        let one_pole = [-0.4963, -1.9419, -2.9857, -5.1317, -10.5573, -18.0768, -29.2893];
        let gaussian = [-0.3460, -1.3767, -2.1428, -3.7776, -8.2996, -15.6184, -29.2893];
        for k in 0..shares.len() {
            let pole = 100.0 * (gain(ResponseShape::SinglePole, shares[k]).norm() - 1.0);
            let smooth = 100.0 * (gain(ResponseShape::Gaussian, shares[k]).norm() - 1.0);
            assert_close!(pole, one_pole[k], printed(1e-4));
            assert_close!(smooth, gaussian[k], printed(1e-4));
        }
    }

    #[test]
    fn every_shape_is_1_at_dc_and_3_db_down_at_its_bandwidth() {
        let mut shapes = vec![ResponseShape::SinglePole, ResponseShape::Gaussian, ResponseShape::Bessel4];
        shapes.extend((1..=10).map(ResponseShape::MaximallyFlat));
        for shape in shapes {
            assert_close!(gain(shape, 0.0).re, 1.0, within(0.0), "{shape:?}");
            assert_close!(gain(shape, 1.0).norm(), 0.5_f64.sqrt(), relative(4e-15), "{shape:?}");
        }
    }

    /// |H|² = 1/(1 + r^2n): definition of the maximally flat response (S. Butterworth, 1930; from memory).
    #[test]
    fn maximally_flat_magnitude_follows_its_definition() {
        for order in 1..=10_u8 {
            for r in [0.3_f64, 0.9, 1.7, 12.0] {
                let expected = (1.0 + r.powi(2 * i32::from(order))).powf(-0.5);
                assert_close!(gain(ResponseShape::MaximallyFlat(order), r).norm(), expected, relative(2e-14));
            }
        }
    }

    /// Normalised to −3 dB at 1 rad/s, the fourth-order Bessel filter has a delay of 2.113917675 s at dc (filter tables, from memory);
    /// its phase at the corner follows from θ4 by hand.
    #[test]
    fn bessel_corner_and_delay() {
        assert_close!(BESSEL4_CORNER, 2.113917675, printed(1e-9));
        let w = BESSEL4_CORNER;
        let phase = -(105.0 * w - 10.0 * w.powi(3)).atan2(w.powi(4) - 45.0 * w * w + 105.0);
        assert_close!(gain(ResponseShape::Bessel4, 1.0).arg(), phase, relative(1e-14));
    }

    #[test]
    fn the_sine_of_the_table_is_the_sine() {
        for k in 0..=100 {
            let x = f64::from(k) * std::f64::consts::FRAC_PI_2 / 100.0;
            assert_close!(sine(x), x.sin(), within(3e-16));
        }
    }
}
