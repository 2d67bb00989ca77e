//! Complex numbers, alone or together with a derivative, so that one piece of code gives a function and its exact slope.

use num_complex::Complex64;
use std::ops::{Add, Mul};

/// What the chain can be evaluated with: [`Complex64`] for values, [`Jet`] for values with d/ds.
pub(super) trait Scalar:
    Copy + Add<Output = Self> + Add<f64, Output = Self> + Mul<Output = Self> + Mul<f64, Output = Self>
{
    /// A constant.
    fn constant(value: f64) -> Self;
    /// The value alone.
    fn value(self) -> Complex64;
    /// f(self), from the value of f and its slope there. The slope is only worked out where it is used.
    fn apply(self, value: Complex64, slope: impl FnOnce() -> Complex64) -> Self;

    /// √self, the root with a real part that is not negative.
    fn root(self) -> Self {
        let root = square_root(self.value());
        self.apply(root, || 0.5 / root)
    }
}

impl Scalar for Complex64 {
    fn constant(value: f64) -> Self {
        Complex64::new(value, 0.0)
    }

    fn value(self) -> Complex64 {
        self
    }

    fn apply(self, value: Complex64, _: impl FnOnce() -> Complex64) -> Self {
        value
    }
}

/// A value and its derivative with respect to s (forward differentiation).
#[derive(Clone, Copy, Debug)]
pub(super) struct Jet {
    pub(super) value: Complex64,
    pub(super) slope: Complex64,
}

impl Jet {
    /// The variable s itself.
    pub(super) fn variable(s: Complex64) -> Self {
        Jet { value: s, slope: Complex64::new(1.0, 0.0) }
    }
}

impl Add for Jet {
    type Output = Jet;
    fn add(self, other: Jet) -> Jet {
        Jet { value: self.value + other.value, slope: self.slope + other.slope }
    }
}

impl Add<f64> for Jet {
    type Output = Jet;
    fn add(self, other: f64) -> Jet {
        Jet { value: self.value + other, slope: self.slope }
    }
}

impl Mul for Jet {
    type Output = Jet;
    fn mul(self, other: Jet) -> Jet {
        Jet { value: self.value * other.value, slope: self.slope * other.value + self.value * other.slope }
    }
}

impl Mul<f64> for Jet {
    type Output = Jet;
    fn mul(self, other: f64) -> Jet {
        Jet { value: self.value * other, slope: self.slope * other }
    }
}

impl Scalar for Jet {
    fn constant(value: f64) -> Self {
        Jet { value: Complex64::new(value, 0.0), slope: Complex64::new(0.0, 0.0) }
    }

    fn value(self) -> Complex64 {
        self.value
    }

    fn apply(self, value: Complex64, slope: impl FnOnce() -> Complex64) -> Self {
        Jet { value, slope: slope() * self.slope }
    }
}

/// Principal square root by two real roots: faster and closer than by way of angles. Good while |z|² is in range.
pub(super) fn square_root(z: Complex64) -> Complex64 {
    let large = (0.5 * ((z.re * z.re + z.im * z.im).sqrt() + z.re.abs())).sqrt();
    if large > 0.0 {
        let small = 0.5 * z.im / large;
        // The sign of a zero is kept, so that conjugates give conjugates on the cut as well.
        if z.re >= 0.0 {
            Complex64::new(large, small)
        } else {
            Complex64::new(small.abs(), large.copysign(z.im))
        }
    } else {
        Complex64::new(0.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    #[test]
    fn the_root_squares_back_on_all_sides() {
        for (re, im) in
            [(2.0, 0.0), (-2.0, 0.0), (0.0, 3.0), (0.0, -3.0), (-1e-9, 5.0), (-4e8, 1e-3), (3.0, -4.0)]
        {
            let z = Complex64::new(re, im);
            let root = square_root(z);
            assert!(root.re >= 0.0);
            assert_close!((root * root - z).norm(), 0.0, within(4e-16 * z.norm()));
            assert_close!(square_root(z.conj()).im, -root.im, relative(1e-15));
        }
        assert_close!(square_root(Complex64::new(0.0, 0.0)).norm(), 0.0, within(0.0));
    }

    #[test]
    fn a_jet_carries_the_product_rule_and_the_root_rule() {
        // d/ds [s²·√s·(3s + 1)] at s = 4, by hand: s^2.5(3s+1) → 2.5·s^1.5(3s+1) + 3·s^2.5 = 20·13 + 96.
        let s = Jet::variable(Complex64::new(4.0, 0.0));
        let f = s * s * s.root() * (s * 3.0 + 1.0);
        assert_close!(f.value.re, 32.0 * 13.0, relative(1e-15));
        assert_close!(f.slope.re, 20.0 * 13.0 + 96.0, relative(1e-15));
    }
}
