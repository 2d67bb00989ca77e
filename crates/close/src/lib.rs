//! The one numeric comparison used by every test of the workspace.
//!
//! It depends on nothing and does nothing but compare: no statistics, no printing.

/// How far two numbers may be apart: `|got − expected| ≤ absolute + relative · |expected|`.
#[derive(Clone, Copy, Debug)]
pub struct Tolerance {
    /// Absolute part, in the unit of the compared numbers.
    pub absolute: f64,
    /// Relative part, as a share of the expected magnitude.
    pub relative: f64,
}

/// A tolerance with an absolute part only.
pub const fn within(absolute: f64) -> Tolerance {
    Tolerance { absolute, relative: 0.0 }
}

/// A tolerance with a relative part only.
pub const fn relative(relative: f64) -> Tolerance {
    Tolerance { absolute: 0.0, relative }
}

/// Half a unit of the last printed digit of a reference value, for example `printed(0.01)` for "3.89".
pub const fn printed(last_digit: f64) -> Tolerance {
    Tolerance { absolute: 0.5 * last_digit, relative: 1e-12 }
}

/// Whether `got` lies within the tolerance of `expected`. A NaN on either side never does.
pub fn is_close(got: f64, expected: f64, tolerance: Tolerance) -> bool {
    (got - expected).abs() <= tolerance.absolute + tolerance.relative * expected.abs()
}

/// Compares slices and reports the worst element: `Err` says which, by how much, and the limit.
pub fn compare(got: &[f64], expected: &[f64], tolerance: Tolerance) -> Result<(), String> {
    if got.len() != expected.len() {
        return Err(format!("{} values where {} were expected", got.len(), expected.len()));
    }
    let mut worst: Option<(usize, f64)> = None;
    for (index, (&g, &e)) in got.iter().zip(expected).enumerate() {
        let limit = tolerance.absolute + tolerance.relative * e.abs();
        let excess = (g - e).abs() / limit.max(f64::MIN_POSITIVE);
        if !is_close(g, e, tolerance) && worst.is_none_or(|(_, w)| excess.is_nan() || excess > w) {
            worst = Some((index, excess));
        }
    }
    match worst {
        None => Ok(()),
        Some((index, _)) => Err(format!(
            "element {index}: got {:e}, expected {:e}, difference {:e}, allowed {:e}",
            got[index],
            expected[index],
            got[index] - expected[index],
            tolerance.absolute + tolerance.relative * expected[index].abs()
        )),
    }
}

/// Asserts that a number (or slice of numbers) is close to the expected one.
///
/// ```
/// use flattop_close::{assert_close, printed, relative};
/// assert_close!(3.889, 3.89, printed(0.01));
/// assert_close!(&[1.0, 2.0], &[1.0, 2.0], relative(1e-12));
/// ```
#[macro_export]
macro_rules! assert_close {
    ($got:expr, $expected:expr, $tolerance:expr $(,)?) => {
        $crate::assert_close!($got, $expected, $tolerance, "")
    };
    ($got:expr, $expected:expr, $tolerance:expr, $($context:tt)+) => {{
        let (got, expected) = ($crate::Numbers::numbers(&$got), $crate::Numbers::numbers(&$expected));
        if let Err(message) = $crate::compare(&got, &expected, $tolerance) {
            panic!("{} is not close to {}: {message} {}", stringify!($got), stringify!($expected), format!($($context)+));
        }
    }};
}

/// What [`assert_close!`] can compare: a number, or a run of numbers.
pub trait Numbers {
    /// The numbers, in order.
    fn numbers(&self) -> Vec<f64>;
}

impl Numbers for f64 {
    fn numbers(&self) -> Vec<f64> {
        vec![*self]
    }
}

impl Numbers for [f64] {
    fn numbers(&self) -> Vec<f64> {
        self.to_vec()
    }
}

impl Numbers for Vec<f64> {
    fn numbers(&self) -> Vec<f64> {
        self.clone()
    }
}

impl<const N: usize> Numbers for [f64; N] {
    fn numbers(&self) -> Vec<f64> {
        self.to_vec()
    }
}

impl<T: Numbers + ?Sized> Numbers for &T {
    fn numbers(&self) -> Vec<f64> {
        (**self).numbers()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn large_negative_errors_and_nan_are_not_close() {
        assert!(!is_close(-100.0, 1.0, within(0.1)));
        assert!(!is_close(f64::NAN, 1.0, within(1e9)));
        assert!(!is_close(1.0, f64::NAN, within(1e9)));
        assert!(compare(&[f64::NAN], &[1.0], relative(1.0)).is_err());
        assert!(compare(&[1.0], &[1.0, 2.0], relative(1.0)).is_err());
    }
}
