//! Real poles of a transfer function: zeros of its denominator on the negative real axis, with their residues.

use crate::chain::Transfer;
use num_complex::Complex64;

/// One real pole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pole {
    /// p, rad/s; below zero.
    pub at: f64,
    /// r of r/(s − p), in units of H times rad/s.
    pub residue: f64,
}

/// Scan points per decade: neighbouring poles are told apart by sign, closer pairs by the dip between two points.
const PER_DECADE: f64 = 8.0;

/// The real poles with −p from `slowest` to `fastest` (rad/s), slowest first.
///
/// The scan ends early where the denominator is no longer real or finite (a branch cut, an overflow).
/// What is missed shows as a transient that has not died at the end of the table.
pub(super) fn real_poles(transfer: &(impl Transfer + ?Sized), slowest: f64, fastest: f64) -> Vec<Pole> {
    let mut poles = Vec::new();
    let plain = |x: f64| transfer.quotient(Complex64::new(-x, 0.0)).1;
    // Of the points of the scan only: close to a zero an imaginary part of mere rounding is large against the real one.
    let checked = |x: f64| {
        let value = plain(x);
        (value.is_finite() && value.im.abs() <= 1e-6 * value.re.abs()).then_some(value.re)
    };
    let denominator = |x: f64| {
        let value = plain(x).re;
        value.is_finite().then_some(value)
    };
    let decades = (fastest / slowest).log10();
    let count = (PER_DECADE * decades).ceil().max(1.0);
    let ratio = (fastest / slowest).powf(1.0 / count);
    let mut x = slowest;
    // The last two points: place and value.
    let mut before: Option<(f64, f64)> = None;
    let mut last: Option<(f64, f64)> = None;
    for _ in 0..=count as usize {
        let Some(value) = checked(x) else { break };
        if value == 0.0 {
            poles.extend(pole_at(transfer, x));
        } else if let Some(left) = last
            && left.1 * value < 0.0
        {
            poles.extend(refine(&denominator, left, (x, value)).and_then(|x| pole_at(transfer, x)));
        }
        if let (Some(a), Some(b)) = (before, last) {
            let same = a.1 * b.1 > 0.0 && b.1 * value > 0.0;
            if same
                && b.1.abs() < a.1.abs()
                && b.1.abs() <= value.abs()
                && let Some(dip) = dip_below_zero(&denominator, a.0, b, x)
            {
                for (from, to) in [(a, dip), (dip, (x, value))] {
                    poles.extend(refine(&denominator, from, to).and_then(|x| pole_at(transfer, x)));
                }
            }
        }
        before = last;
        last = Some((x, value));
        x *= ratio;
    }
    poles.sort_by(|a, b| b.at.total_cmp(&a.at));
    poles
}

/// Newton's last steps and the residue.
///
/// The derivative comes from steps along the imaginary direction, where the denominator's real part does not count:
/// Im d(p + ih)/h, with the h² error taken off by a second step. The steps are long enough that an H whose small
/// imaginary part carries rounding of its real one does no harm.
fn pole_at(transfer: &(impl Transfer + ?Sized), x: f64) -> Option<Pole> {
    let slope = |at: f64| {
        let step = 1e-5 * at.abs();
        let [one, two] = [step, 2.0 * step].map(|h| transfer.quotient(Complex64::new(at, h)).1.im / h);
        (4.0 * one - two) / 3.0
    };
    let mut at = -x;
    for _ in 0..2 {
        let next = at - transfer.quotient(Complex64::new(at, 0.0)).1.re / slope(at);
        // A step that leads away is no polish.
        if !((next - at).abs() < 1e-6 * at.abs()) {
            break;
        }
        at = next;
    }
    let residue = transfer.quotient(Complex64::new(at, 0.0)).0.re / slope(at);
    residue.is_finite().then_some(Pole { at, residue })
}

/// A zero between two places of different sign: regula falsi with the Illinois weight, on the logarithm of the place.
fn refine(f: &impl Fn(f64) -> Option<f64>, from: (f64, f64), to: (f64, f64)) -> Option<f64> {
    let ((mut a, mut fa), (mut b, mut fb)) = ((from.0.ln(), from.1), (to.0.ln(), to.1));
    let mut side = 0;
    let mut last = f64::NAN;
    for round in 0..80 {
        // Every fourth round halves, whatever the shape of the curve.
        let mut c = if round % 4 == 3 { 0.5 * (a + b) } else { (fa * b - fb * a) / (fa - fb) };
        if !(c > a.min(b) && c < a.max(b)) {
            c = 0.5 * (a + b);
        }
        if (c - last).abs() < 1e-9 || (b - a).abs() < 1e-13 {
            return Some(c.exp());
        }
        last = c;
        let fc = f(c.exp())?;
        if fc == 0.0 {
            return Some(c.exp());
        }
        if fa * fc > 0.0 {
            (a, fa) = (c, fc);
            if side == -1 {
                fb *= 0.5;
            }
            side = -1;
        } else {
            (b, fb) = (c, fc);
            if side == 1 {
                fa *= 0.5;
            }
            side = 1;
        }
    }
    Some((0.5 * (a + b)).exp())
}

/// A place between two points where a curve that dips between them has changed sign (golden section), if it does.
fn dip_below_zero(
    f: &impl Fn(f64) -> Option<f64>,
    left: f64,
    middle: (f64, f64),
    right: f64,
) -> Option<(f64, f64)> {
    const GOLDEN: f64 = 0.381_966_011_250_105;
    let sign = middle.1.signum();
    let (mut a, mut b, mut c, mut fb) = (left.ln(), middle.0.ln(), right.ln(), middle.1 * sign);
    for _ in 0..30 {
        let x = if b - a > c - b { b - GOLDEN * (b - a) } else { b + GOLDEN * (c - b) };
        let value = f(x.exp())? * sign;
        if value < 0.0 {
            return Some((x.exp(), value * sign));
        }
        let inside = value < fb;
        match (x < b, inside) {
            (true, true) => (c, b, fb) = (b, x, value),
            (false, true) => (a, b, fb) = (b, x, value),
            (true, false) => a = x,
            (false, false) => c = x,
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative};

    /// Product of (1 + s/zero) over product of (1 + s/pole).
    struct Rational(Vec<f64>, Vec<f64>);

    impl Transfer for Rational {
        fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
            let product = |places: &[f64]| places.iter().fold(Complex64::from(1.0), |p, x| p * (1.0 + s / x));
            (product(&self.0), product(&self.1))
        }
    }

    #[test]
    fn residues_of_a_nearly_cancelling_pair_keep_their_digits() {
        // (1 + s/z)/((1 + s/p)(1 + s/q)) by hand: residue at −p is (1 − p/z)·p/(1 − p/q).
        let (z, p, q) = (1.0e4 * (1.0 + 1e-7), 1.0e4, 1.0e9);
        let poles = real_poles(&Rational(vec![z], vec![p, q]), 1e-4, 1e10);
        assert_eq!(poles.len(), 2);
        assert_close!(poles[0].at, -p, relative(1e-14));
        assert_close!(poles[0].residue, (z - p) / z * p / (1.0 - p / q), relative(1e-7));
        assert_close!(poles[1].at, -q, relative(1e-14));
    }

    #[test]
    fn pairs_closer_than_the_scan_are_found() {
        for split in [0.2, 0.03, 1e-3] {
            let found = real_poles(&Rational(vec![], vec![777.0, 777.0 * (1.0 + split), 3e6]), 1e-4, 1e8);
            assert_eq!(found.len(), 3, "split {split}");
            assert_close!(found[0].at, -777.0, relative(1e-9));
            // Two poles at a distance: residues ∓p²·(1 + split)/split, hand calculation; 3e6 is far away.
            assert_close!(found[0].residue, 777.0 * (1.0 + split) / split, relative(1e-3));
            assert_close!(found[1].at, -777.0 * (1.0 + split), relative(1e-9));
        }
    }
}
