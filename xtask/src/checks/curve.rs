//! A curve y = f(x; b) with data, as a problem for the core's least-squares engine.

use super::dual::{Dual, MOST};
use flattop_core::numeric::least_squares::Problem;

/// The formula of a curve.
pub(crate) type Model = fn(f64, &[Dual]) -> Dual;

/// Data and the formula to be fitted to them.
pub(crate) struct Curve {
    pub(crate) x: Vec<f64>,
    pub(crate) y: Vec<f64>,
    pub(crate) model: Model,
    pub(crate) parameters: usize,
}

impl Problem for Curve {
    fn parameters(&self) -> usize {
        self.parameters
    }

    fn visit(&self, theta: &[f64], mut emit: impl FnMut(f64, &[f64])) {
        let mut b = [Dual::from(0.0); MOST];
        for (index, (slot, &value)) in b.iter_mut().zip(theta).enumerate() {
            *slot = Dual::parameter(value, index);
        }
        for (&x, &y) in self.x.iter().zip(&self.y) {
            let fitted = (self.model)(x, &b[..theta.len()]);
            emit(fitted.value - y, &fitted.slope[..theta.len()]);
        }
    }
}

/// The columns of a comma-separated table with one header line; text becomes NaN.
pub(crate) fn columns(csv: &str) -> Vec<Vec<f64>> {
    let mut columns = Vec::new();
    for line in csv.lines().skip(1).filter(|l| !l.trim().is_empty()) {
        for (index, field) in line.split(',').enumerate() {
            if columns.len() <= index {
                columns.push(Vec::new());
            }
            columns[index].push(field.trim().parse().unwrap_or(f64::NAN));
        }
    }
    columns
}
