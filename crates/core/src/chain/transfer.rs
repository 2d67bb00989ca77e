//! Transfer functions of a complex frequency, as quotient of two functions that have no poles of their own.

use num_complex::Complex64;

/// H(s) = numerator(s)/denominator(s).
///
/// Both are real on the real axis (left of the origin at least as far as a slow pole may lie), and the zeros of the denominator are the
/// poles of H. A pole and a zero of H that nearly cancel (a divider nearly compensated) thus stay apart: one is a zero of the
/// denominator, the other one of the numerator.
pub trait Transfer {
    /// Numerator and denominator at a complex frequency s, rad/s. Their units cancel.
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64);

    /// H(s).
    fn at(&self, s: Complex64) -> Complex64 {
        let (numerator, denominator) = self.quotient(s);
        numerator / denominator
    }

    /// H(j2πf).
    fn at_frequency(&self, frequency_hz: f64) -> Complex64 {
        self.at(Complex64::new(0.0, std::f64::consts::TAU * frequency_hz))
    }
}

impl<T: Transfer + ?Sized> Transfer for &T {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        (**self).quotient(s)
    }
}
