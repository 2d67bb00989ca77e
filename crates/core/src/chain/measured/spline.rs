//! A complex function of frequency given by points, continued off the imaginary axis and down to 0.
//!
//! What is measured belongs to real signals, so f(−ω) is the conjugate of f(ω). A cubic spline through the points *and their mirror images* has one piece
//! between −ω1 and ω1, and symmetry makes that piece a polynomial in s with real coefficients: even for the real part, odd for the imaginary part.
//! It is the continuation down to 0 Hz, smooth where it meets the points and real on the real axis.

use super::super::scalar::Scalar;
use num_complex::Complex64;

/// The spline.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Spline {
    /// Angular frequencies above 0, rad/s, rising; at least one.
    omega: Vec<f64>,
    value: Vec<Complex64>,
    /// Second derivatives with respect to ω, real and imaginary parts on their own.
    bend: Vec<Complex64>,
    /// Real coefficients of 1, s, s², s³, s⁴ below the first of `omega`.
    low: [f64; 5],
    high: Beyond,
}

/// Steepest power that is continued: no response of a probe needs more, and nothing overflows.
const STEEPEST: f64 = 12.0;

/// What comes after the last of `omega`, ω_n: the last value times (ω/ω_n)^power · exp(j(ω − ω_n)·time).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Beyond {
    power: f64,
    time_s: f64,
}

impl Spline {
    /// `at_dc` is the value at 0 Hz if that is known (it is real); `omega` rises, all above 0, and has as many entries as `value`.
    pub(super) fn through(at_dc: Option<f64>, omega: Vec<f64>, value: Vec<Complex64>) -> Self {
        let (w, f) = (omega[0], value[0]);
        // Slope at the first point as seen from below, as base + factor·bend.
        let real = match at_dc {
            // a0 − a2·ω²
            None => (0.0, w),
            // a0 + a2·ω² + a4·ω⁴ with a0 given
            Some(dc) => (1.6 * (f.re - dc) / w, 0.2 * w),
        };
        // a1·ω + a3·ω³
        let imaginary = (f.im / w, w / 3.0);
        let re: Vec<f64> = value.iter().map(|v| v.re).collect();
        let im: Vec<f64> = value.iter().map(|v| v.im).collect();
        let (bend_re, bend_im) = (bends(&omega, &re, real), bends(&omega, &im, imaginary));
        let a3 = bend_im[0] / (6.0 * w);
        let a1 = f.im / w - a3 * w * w;
        let (a0, a2, a4) = match at_dc {
            None => (f.re - 0.5 * bend_re[0] * w * w, 0.5 * bend_re[0], 0.0),
            Some(dc) => {
                let (rise, curve) = (f.re - dc, bend_re[0] * w * w);
                let fourth = 0.1 * (curve - 2.0 * rise);
                (dc, (rise - fourth) / (w * w), fourth / (w * w * w * w))
            }
        };
        // ω = s/j: ω² = −s², j·ω = s, j·ω³ = −s³.
        let low = [a0, a1, -a2, -a3, a4];
        let bend = bend_re.into_iter().zip(bend_im).map(|(re, im)| Complex64::new(re, im)).collect();
        // Held: beyond what was measured nothing is known.
        Self { omega, value, bend, low, high: Beyond::default() }
    }

    /// Of 1/H, the same going on after the last point as it went in the last octave: H falls on by its power of frequency, its phase stays on a
    /// straight line. Held, the little that a response lets through at its end would go through at all frequencies: far too much of an edge.
    #[must_use]
    pub(super) fn falling_on(self) -> Self {
        let last = self.omega.len() - 1;
        let from = self.omega.partition_point(|w| *w < 0.5 * self.omega[last]).min(last.saturating_sub(1));
        // About the last point: x = ln(ω/ω_n) and ω − ω_n, y = ln of size and angle.
        let (mut angle, mut size, mut time) = (0.0, Sums::default(), Sums::default());
        for k in (from..last).rev() {
            angle += (self.value[k] / self.value[k + 1]).arg();
            let ratio = (self.value[k] / self.value[last]).norm();
            size.add((self.omega[k] / self.omega[last]).ln(), ratio.ln());
            time.add(self.omega[k] - self.omega[last], angle);
        }
        let high = Beyond { power: size.slope().clamp(0.0, STEEPEST), time_s: time.slope() };
        Self { high, ..self }
    }

    /// Value (and slope) at s.
    pub(super) fn at<T: Scalar>(&self, s: T) -> T {
        let z = s.value();
        let omega = z.im.abs();
        if omega < self.omega[0] {
            let c = &self.low;
            let value = (((z * c[4] + c[3]) * z + c[2]) * z + c[1]) * z + c[0];
            return s.apply(value, || ((z * (4.0 * c[4]) + 3.0 * c[3]) * z + 2.0 * c[2]) * z + c[1]);
        }
        let last = self.omega.len() - 1;
        let (value, slope) = if omega >= self.omega[last] {
            self.high.at(Complex64::new(omega, -z.re), self.omega[last], self.value[last])
        } else {
            // At s or, below the real axis, at its conjugate: ω = s/j.
            self.piece(Complex64::new(omega, -z.re))
        };
        // d/ds = d/dω·(1/j); conjugate below the real axis.
        let by_s = Complex64::new(slope.im, -slope.re);
        if z.im < 0.0 { s.apply(value.conj(), || by_s.conj()) } else { s.apply(value, || by_s) }
    }

    /// Value and slope with respect to ω at a complex ω whose real part lies between the first and the last point.
    fn piece(&self, omega: Complex64) -> (Complex64, Complex64) {
        let k = self.omega.partition_point(|w| *w <= omega.re).clamp(1, self.omega.len() - 1) - 1;
        let h = self.omega[k + 1] - self.omega[k];
        let t = omega - self.omega[k];
        let (m0, m1) = (self.bend[k], self.bend[k + 1]);
        let first = (self.value[k + 1] - self.value[k]) / h - (2.0 * m0 + m1) * (h / 6.0);
        let third = (m1 - m0) / (6.0 * h);
        let value = ((third * t + 0.5 * m0) * t + first) * t + self.value[k];
        (value, (3.0 * third * t + m0) * t + first)
    }
}

impl Beyond {
    /// Value and slope with respect to ω.
    fn at(self, omega: Complex64, last: f64, value: Complex64) -> (Complex64, Complex64) {
        let turn = Complex64::new(0.0, self.time_s);
        let value = value * (omega / last).powf(self.power) * (turn * (omega - last)).exp();
        (value, value * (self.power / omega + turn))
    }
}

/// A straight line through a fixed point at (0, 0), by least squares.
#[derive(Default)]
struct Sums {
    xx: f64,
    xy: f64,
}

impl Sums {
    fn add(&mut self, x: f64, y: f64) {
        self.xx += x * x;
        self.xy += x * y;
    }

    fn slope(&self) -> f64 {
        if self.xx > 0.0 { self.xy / self.xx } else { 0.0 }
    }
}

/// Second derivatives at the points, from the slope below the first one (base + factor·bend there) to a last piece that is a parabola.
fn bends(x: &[f64], y: &[f64], (base, factor): (f64, f64)) -> Vec<f64> {
    let n = x.len();
    if n == 1 {
        return vec![0.0];
    }
    // Rows lower·m[k−1] + middle·m[k] + upper·m[k+1] = right, solved by elimination downwards and substitution upwards.
    let (mut upper, mut right) = (vec![0.0; n], vec![0.0; n]);
    let step = |k: usize| x[k + 1] - x[k];
    let rise = |k: usize| (y[k + 1] - y[k]) / step(k);
    let middle = factor + step(0) / 3.0;
    upper[0] = step(0) / 6.0 / middle;
    right[0] = (rise(0) - base) / middle;
    for k in 1..n - 1 {
        let lower = step(k - 1) / 6.0;
        let pivot = (step(k - 1) + step(k)) / 3.0 - lower * upper[k - 1];
        upper[k] = step(k) / 6.0 / pivot;
        right[k] = (rise(k) - rise(k - 1) - lower * right[k - 1]) / pivot;
    }
    // m[n−1] = m[n−2] = right − upper·m[n−1]
    let mut m = vec![0.0; n];
    m[n - 1] = right[n - 2] / (1.0 + upper[n - 2]);
    for k in (0..n - 1).rev() {
        m[k] = right[k] - upper[k] * m[k + 1];
    }
    m
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    /// cosh(sT) of a delay of 2 ns: entire, even, known everywhere.
    fn cosine(s: Complex64) -> Complex64 {
        (s * 2e-9).cosh()
    }

    fn rc(s: Complex64) -> Complex64 {
        (s * 1e-9 + 1.0).inv()
    }

    fn sampled(f: fn(Complex64) -> Complex64, dc: Option<f64>, first: f64, step: f64, count: u32) -> Spline {
        let omega: Vec<f64> = (0..count).map(|k| first + step * f64::from(k)).collect();
        let value = omega.iter().map(|w| f(Complex64::new(0.0, *w))).collect();
        Spline::through(dc, omega, value)
    }

    #[test]
    fn known_functions_come_back_between_below_and_beside_the_points() {
        for f in [cosine, rc] {
            for dc in [None, Some(1.0)] {
                let spline = sampled(f, dc, 5e7, 2e7, 60);
                for (re, im) in [(0.0, 0.0), (-3e6, 0.0), (0.0, 3e7), (5e6, 2e8), (-5e6, -4e8), (0.0, 9.03e8)]
                {
                    let s = Complex64::new(re, im);
                    assert_close!((spline.at(s) - f(s)).norm(), 0.0, within(1e-5), "at {s} with {dc:?}");
                    assert_close!((spline.at(s.conj()) - spline.at(s).conj()).norm(), 0.0, within(1e-15));
                }
                assert_close!(spline.at(Complex64::new(-2e7, 0.0)).im, 0.0, within(0.0));
            }
        }
    }

    #[test]
    fn value_and_slope_are_continuous_where_pieces_meet() {
        use super::super::super::scalar::Jet;
        let spline = sampled(rc, Some(1.0), 3e8, 3e8, 8);
        for k in 1..=7 {
            let knot = 3e8 * f64::from(k);
            let at = |w: f64| spline.at(Jet::variable(Complex64::new(0.0, w)));
            let (below, above) = (at(knot * (1.0 - 1e-12)), at(knot * (1.0 + 1e-12)));
            assert_close!((below.value - above.value).norm(), 0.0, within(1e-10));
            assert_close!((below.slope - above.slope).norm(), 0.0, within(1e-10 * below.slope.norm()));
        }
    }

    #[test]
    fn the_slope_is_that_of_the_value() {
        use super::super::super::scalar::Jet;
        let spline = sampled(rc, None, 3e8, 3e8, 8);
        for (re, im) in [(-1e7, 1e8), (1e7, 1.0e9), (-1e7, -1.7e9)] {
            let (s, h) = (Complex64::new(re, im), Complex64::new(1e4, 0.0));
            let got = spline.at(Jet::variable(s)).slope;
            let difference = (spline.at(s + h) - spline.at(s - h)) / (2.0 * h);
            assert_close!((got - difference).norm() / difference.norm(), 0.0, within(1e-6));
        }
    }

    #[test]
    fn what_falls_goes_on_falling() {
        use super::super::super::scalar::Jet;
        // 1/H of two equal poles behind a delay of 0.4 ns, far above them: ω² and the delay's angle go on.
        let inverse = |s: Complex64| (s * 1e-8 + 1.0).powi(2) * (s * 4e-10).exp();
        let spline = sampled(inverse, Some(1.0), 2e7, 2e7, 200).falling_on();
        for (re, im) in [(0.0, 6e9), (0.0, -6e9), (-2e7, 9e9)] {
            let s = Complex64::new(re, im);
            let ratio = spline.at(s) / inverse(s);
            // The poles' own angle still moves by 2·(1/20 − 1/40) rad in the last octave, 2 Grad/s wide; a straight line takes that on.
            let bend = 0.05 * (im.abs() - 4e9) / 2e9;
            assert_close!((ratio - 1.0).norm(), 0.0, within(bend), "at {s}: {ratio}");
            let got = spline.at(Jet::variable(s)).slope;
            let h = Complex64::new(1e4, 0.0);
            let difference = (spline.at(s + h) - spline.at(s - h)) / (2.0 * h);
            assert_close!((got - difference).norm() / difference.norm(), 0.0, within(1e-6));
        }
        // What does not fall is held.
        let level = sampled(|_| Complex64::new(0.9, 0.0), Some(0.9), 2e7, 2e7, 20).falling_on();
        assert_close!(level.at(Complex64::new(0.0, 1e12)).re, 0.9, relative(1e-12));
    }

    #[test]
    fn one_point_gives_a_resistance_with_an_inductance() {
        let spline = Spline::through(None, vec![1e6], vec![Complex64::new(3.0, 2.0)]);
        assert_close!(spline.at(Complex64::new(-2e5, 0.0)).re, 3.0 - 0.4, relative(1e-15));
        assert_close!(spline.at(Complex64::new(0.0, 5e5)).im, 1.0, relative(1e-15));
        assert_close!(spline.at(Complex64::new(0.0, -5e6)).im, -2.0, relative(1e-15));
    }
}
