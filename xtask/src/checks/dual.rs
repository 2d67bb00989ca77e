//! Numbers that carry their derivatives, so that a reference model is written once, as its formula.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// Most parameters a reference model has.
pub(crate) const MOST: usize = 9;

/// A value with its derivatives by the parameters.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Dual {
    /// The value.
    pub(crate) value: f64,
    /// Derivatives by each parameter.
    pub(crate) slope: [f64; MOST],
}

impl Dual {
    /// Parameter number `index`.
    pub(crate) fn parameter(value: f64, index: usize) -> Self {
        let mut slope = [0.0; MOST];
        slope[index] = 1.0;
        Self { value, slope }
    }

    fn chain(self, value: f64, derivative: f64) -> Self {
        Self { value, slope: self.slope.map(|s| s * derivative) }
    }

    pub(crate) fn exp(self) -> Self {
        self.chain(self.value.exp(), self.value.exp())
    }

    pub(crate) fn ln(self) -> Self {
        self.chain(self.value.ln(), 1.0 / self.value)
    }

    pub(crate) fn sin(self) -> Self {
        self.chain(self.value.sin(), self.value.cos())
    }

    pub(crate) fn cos(self) -> Self {
        self.chain(self.value.cos(), -self.value.sin())
    }

    pub(crate) fn atan(self) -> Self {
        self.chain(self.value.atan(), 1.0 / (1.0 + self.value * self.value))
    }

    pub(crate) fn square(self) -> Self {
        self * self
    }

    /// A positive base to any power.
    pub(crate) fn pow(self, exponent: Self) -> Self {
        (self.ln() * exponent).exp()
    }
}

impl From<f64> for Dual {
    fn from(value: f64) -> Self {
        Self { value, slope: [0.0; MOST] }
    }
}

fn combine(a: Dual, b: Dual, value: f64, by_a: f64, by_b: f64) -> Dual {
    let mut slope = [0.0; MOST];
    for ((s, &x), &y) in slope.iter_mut().zip(&a.slope).zip(&b.slope) {
        *s = by_a * x + by_b * y;
    }
    Dual { value, slope }
}

impl<T: Into<Dual>> Add<T> for Dual {
    type Output = Dual;
    fn add(self, other: T) -> Dual {
        let other = other.into();
        combine(self, other, self.value + other.value, 1.0, 1.0)
    }
}

impl<T: Into<Dual>> Sub<T> for Dual {
    type Output = Dual;
    fn sub(self, other: T) -> Dual {
        let other = other.into();
        combine(self, other, self.value - other.value, 1.0, -1.0)
    }
}

impl<T: Into<Dual>> Mul<T> for Dual {
    type Output = Dual;
    fn mul(self, other: T) -> Dual {
        let other = other.into();
        combine(self, other, self.value * other.value, other.value, self.value)
    }
}

impl<T: Into<Dual>> Div<T> for Dual {
    type Output = Dual;
    fn div(self, other: T) -> Dual {
        let other = other.into();
        let value = self.value / other.value;
        combine(self, other, value, 1.0 / other.value, -value / other.value)
    }
}

impl Neg for Dual {
    type Output = Dual;
    fn neg(self) -> Dual {
        self.chain(-self.value, -1.0)
    }
}

impl Add<Dual> for f64 {
    type Output = Dual;
    fn add(self, other: Dual) -> Dual {
        Dual::from(self) + other
    }
}

impl Sub<Dual> for f64 {
    type Output = Dual;
    fn sub(self, other: Dual) -> Dual {
        Dual::from(self) - other
    }
}

impl Mul<Dual> for f64 {
    type Output = Dual;
    fn mul(self, other: Dual) -> Dual {
        Dual::from(self) * other
    }
}
