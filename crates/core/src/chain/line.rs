//! The cable as a uniform line, written without a square root that could choose a branch.
//!
//! | symbol | meaning |
//! | --- | --- |
//! | z = (γl)² | l²·(R + sL)·(G + sC), with R·√(1 + s/ωs) for R where the skin effect is given |
//! | A = D | cosh γl = cosh √z |
//! | B | Zc·sinh γl = l·(R + sL) · sinh √z/√z |
//! | C | sinh γl/Zc = l·(G + sC) · sinh √z/√z |
//!
//! cosh √z and sinh √z/√z are even in √z, so they are entire functions of z, and real for real z (cos and sin where z < 0).
//! Source: telegrapher's equations, e.g. Pozar, *Microwave Engineering*, chapters 2 and 4 (from memory); checked against the worked examples
//! in this folder's tests.

use super::parts::Cable;
use super::scalar::{Scalar, square_root};
use super::two_port::TwoPort;
use num_complex::Complex64;

/// |z| below which the power series are used: eight terms are then good to the last digit.
const SERIES_LIMIT: f64 = 0.25;

/// Re √z above which both functions are divided by e^(Re √z − this).
const LARGEST_EXPONENT: f64 = 300.0;

/// Entries A = D, B and C of the cable, all of them times `scale`.
///
/// `scale` is 1 unless the line swallows more than e^300 (2600 dB), where the entries would leave the range of numbers. As both numerator and
/// denominator of a transfer function carry it, quotients and zeros stay what they are.
#[derive(Clone, Copy, Debug)]
pub(super) struct LineAt<T> {
    pub(super) a: T,
    pub(super) b: T,
    pub(super) c: T,
    pub(super) scale: f64,
}

impl<T: Scalar> LineAt<T> {
    pub(super) fn of(cable: &Cable, s: T) -> Self {
        let resistance = match cable.skin_corner_hz {
            None => T::constant(cable.resistance_ohm_per_m),
            Some(corner_hz) => {
                (s * (1.0 / (std::f64::consts::TAU * corner_hz)) + 1.0).root() * cable.resistance_ohm_per_m
            }
        };
        let series = (resistance + s * cable.inductance_h_per_m) * cable.length_m;
        let shunt = (s * cable.capacitance_f_per_m + cable.conductance_s_per_m) * cable.length_m;
        let z = series * shunt;
        let (cosh, sinhc, scale) = cosh_and_sinhc(z.value());
        let a = z.apply(cosh, || 0.5 * sinhc);
        let ratio = z.apply(sinhc, || slope_of_sinhc(z.value(), cosh, sinhc));
        Self { a, b: series * ratio, c: shunt * ratio, scale }
    }
}

impl Cable {
    /// The cable as a two-port at s (rad/s). Not finite where the line swallows more than e^700.
    pub fn two_port(&self, s: Complex64) -> TwoPort {
        let line = LineAt::of(self, s);
        let up = 1.0 / line.scale;
        TwoPort { a: line.a * up, b: line.b * up, c: line.c * up, d: line.a * up }
    }

    /// Characteristic impedance √((R + sL)/(G + sC)), Ω; not finite where G + sC = 0.
    pub fn characteristic_impedance_ohm(&self, s: Complex64) -> Complex64 {
        let metre = Cable { length_m: 1.0, ..*self };
        let (series, shunt) = metre.series_and_shunt(s);
        square_root(series / shunt)
    }

    /// Propagation constant γ = √((R + sL)(G + sC)), 1/m: Np/m and, as imaginary part, rad/m.
    pub fn propagation_per_m(&self, s: Complex64) -> Complex64 {
        let metre = Cable { length_m: 1.0, ..*self };
        let (series, shunt) = metre.series_and_shunt(s);
        square_root(series * shunt)
    }

    /// Total capacitance, F.
    pub fn total_capacitance_f(&self) -> f64 {
        self.length_m * self.capacitance_f_per_m
    }

    /// The capacitance as which the cable acts at low frequencies when it ends in a resistance, F: l·(C − L/R²), at least 0.
    ///
    /// First term in s of the input admittance of a lossless line with that end. It is the whole capacitance on an input
    /// of 1 MΩ, and none on an input that matches the cable.
    pub fn effective_capacitance_f(&self, end_resistance_ohm: f64) -> f64 {
        let taken = self.inductance_h_per_m / end_resistance_ohm / end_resistance_ohm;
        (self.length_m * (self.capacitance_f_per_m - taken)).max(0.0)
    }

    fn series_and_shunt(&self, s: Complex64) -> (Complex64, Complex64) {
        let skin = match self.skin_corner_hz {
            None => Complex64::new(1.0, 0.0),
            Some(corner_hz) => square_root(1.0 + s / (std::f64::consts::TAU * corner_hz)),
        };
        let series = skin * self.resistance_ohm_per_m + s * self.inductance_h_per_m;
        let shunt = s * self.capacitance_f_per_m + self.conductance_s_per_m;
        (series * self.length_m, shunt * self.length_m)
    }
}

/// cosh √z and sinh √z/√z, both times a scale that is 1 up to Re √z = 300 and e^(300 − Re √z) above.
fn cosh_and_sinhc(z: Complex64) -> (Complex64, Complex64, f64) {
    if z.norm_sqr() < SERIES_LIMIT * SERIES_LIMIT {
        return (
            polynomial(
                z,
                &[
                    1.0,
                    1.0 / 2.0,
                    1.0 / 24.0,
                    1.0 / 720.0,
                    1.0 / 40_320.0,
                    1.0 / 3_628_800.0,
                    1.0 / 479_001_600.0,
                    1.0 / 87_178_291_200.0,
                ],
            ),
            polynomial(
                z,
                &[
                    1.0,
                    1.0 / 6.0,
                    1.0 / 120.0,
                    1.0 / 5_040.0,
                    1.0 / 362_880.0,
                    1.0 / 39_916_800.0,
                    1.0 / 6_227_020_800.0,
                    1.0 / 1_307_674_368_000.0,
                ],
            ),
            1.0,
        );
    }
    let w = square_root(z);
    let (sin, cos) = w.im.sin_cos();
    // cosh and sinh of the real part from one exponential; e^x − 1 keeps the digits of a small sinh.
    let (cosh, sinh, scale) = if w.re <= LARGEST_EXPONENT {
        let u = w.re.exp_m1();
        let v = u / (u + 1.0);
        (1.0 + 0.5 * u * v, 0.5 * (u + v), 1.0)
    } else {
        let half = 0.5 * LARGEST_EXPONENT.exp();
        (half, half, (LARGEST_EXPONENT - w.re).exp())
    };
    (Complex64::new(cosh * cos, sinh * sin), Complex64::new(sinh * cos, cosh * sin) / w, scale)
}

/// d/dz of sinh √z/√z = (cosh √z − sinh √z/√z)/(2z).
fn slope_of_sinhc(z: Complex64, cosh: Complex64, sinhc: Complex64) -> Complex64 {
    if z.norm_sqr() < SERIES_LIMIT * SERIES_LIMIT {
        polynomial(
            z,
            &[
                1.0 / 6.0,
                2.0 / 120.0,
                3.0 / 5_040.0,
                4.0 / 362_880.0,
                5.0 / 39_916_800.0,
                6.0 / 6_227_020_800.0,
                7.0 / 1_307_674_368_000.0,
            ],
        )
    } else {
        (cosh - sinhc) / (2.0 * z)
    }
}

/// Horner's scheme, constant first.
fn polynomial<const N: usize>(x: Complex64, coefficients: &[f64; N]) -> Complex64 {
    let mut sum = Complex64::new(coefficients[N - 1], 0.0);
    for k in (0..N - 1).rev() {
        sum = sum * x + coefficients[k];
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    /// Against the complex cosh and sinh of another library, on both sides of the limit of the series and for any direction.
    #[test]
    fn even_functions_agree_with_cosh_and_sinh() {
        for size in [1e-30, 1e-8, 0.1, 0.2499, 0.2501, 3.0, 400.0, 4e4] {
            for k in 0..=16 {
                let z = Complex64::from_polar(size, std::f64::consts::TAU * (f64::from(k) - 8.0) / 16.0);
                let w = z.sqrt();
                let (cosh, sinhc, scale) = cosh_and_sinhc(z);
                assert_close!(scale, 1.0, within(0.0));
                // Near zeros of cos the angle itself is only known to the last digit of w.
                let largest = w.re.cosh() * (1.0 + w.norm());
                assert_close!((cosh - w.cosh()).norm(), 0.0, within(1e-15 * largest), "cosh at {z}");
                assert_close!((sinhc * w - w.sinh()).norm(), 0.0, within(1e-15 * largest), "sinh at {z}");
            }
        }
    }

    #[test]
    fn real_arguments_give_real_values_on_both_sides_of_0() {
        for x in [1e-9, 0.2, 0.3, 7.0, 900.0] {
            let (cosh, sinhc, _) = cosh_and_sinhc(Complex64::new(-x, 0.0));
            assert_close!([cosh.re, sinhc.re], [x.sqrt().cos(), x.sqrt().sin() / x.sqrt()], within(3e-15));
            assert_close!([cosh.im, sinhc.im], [0.0, 0.0], within(0.0));
            let (cosh, sinhc, _) = cosh_and_sinhc(Complex64::new(x, 0.0));
            assert_close!(
                [cosh.re, sinhc.re],
                [x.sqrt().cosh(), x.sqrt().sinh() / x.sqrt()],
                relative(1e-14)
            );
            assert_close!([cosh.im, sinhc.im], [0.0, 0.0], within(0.0));
        }
    }

    /// What would be e^2000 stays finite, and the quotient of both is the one of the plain functions.
    #[test]
    fn a_line_that_swallows_everything_keeps_its_quotients() {
        let w = Complex64::new(2000.0, 1.0);
        let (cosh, sinhc, scale) = cosh_and_sinhc(w * w);
        assert!(cosh.is_finite() && sinhc.is_finite() && scale >= 0.0);
        assert_close!((cosh / (sinhc * w) - 1.0).norm(), 0.0, within(1e-12));
        // Continuous across the limit, scale taken out.
        let below = cosh_and_sinhc(Complex64::new(299.999_999_9, 0.5).powi(2));
        let above = cosh_and_sinhc(Complex64::new(300.000_000_1, 0.5).powi(2));
        assert_close!((above.0 / above.2 / below.0 - 1.0).norm(), 0.0, within(1e-6));
    }

    #[test]
    fn the_slope_is_that_of_the_value() {
        for z in [Complex64::new(0.1, 0.1), Complex64::new(-0.2, 0.05), Complex64::new(-9.0, 4.0)] {
            let h = 1e-5;
            let (cosh, sinhc, _) = cosh_and_sinhc(z);
            let (up, down) = (cosh_and_sinhc(z + h), cosh_and_sinhc(z - h));
            let slope = slope_of_sinhc(z, cosh, sinhc);
            assert_close!((slope - (up.1 - down.1) / (2.0 * h)).norm() / slope.norm(), 0.0, within(1e-9));
            assert_close!(
                (0.5 * sinhc - (up.0 - down.0) / (2.0 * h)).norm() / sinhc.norm(),
                0.0,
                within(1e-9)
            );
        }
    }
}
