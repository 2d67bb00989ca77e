//! The law of propagation of uncertainty (JCGM 100, clause 5), effective degrees of freedom and coverage factor (annex G).

use super::interval::Interval;
use super::quantities::Quantities;
use crate::numeric::stats::student_quantile;

/// How far the series of the model is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// JCGM 100, 5.1.2 and 5.2.2: sensitivity coefficients alone.
    First,
    /// With the terms of next order (JCGM 100, note to 5.1.2); right for inputs that are normal and not correlated.
    Second,
}

/// What one input contributes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Term {
    /// Change of the result for a change of the input: [f(x + u) − f(x − u)]/2u (JCGM 100, 5.1.3, note 2).
    pub sensitivity: f64,
    /// c·u with its sign.
    pub contribution: f64,
    /// Share of the variance, correlation included: u-c·Σ r·u-c over the variance of first order. The shares add up to 1; one may be negative.
    pub share: f64,
}

/// Where the expanded uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coverage {
    /// p.
    pub probability: f64,
    /// ν_eff, as it comes out of the formula; infinite where all standard uncertainties are known.
    pub freedom: f64,
    /// k: Student's t for ν_eff cut to a whole number (JCGM 100, G.4.1, note 1), two-sided.
    pub factor: f64,
    /// U = k·u.
    pub expanded: f64,
}

/// The result of the law of propagation.
#[derive(Clone, Debug, PartialEq)]
pub struct Propagation {
    /// The model at the estimates of the inputs.
    pub value: f64,
    /// u, by the order asked for.
    pub standard_uncertainty: f64,
    /// The part of u² that is of second order; 0 for [`Order::First`].
    pub second_order_variance: f64,
    /// One for each input.
    pub terms: Vec<Term>,
    /// ν_eff, k and U.
    pub coverage: Coverage,
}

impl Propagation {
    /// y ± U.
    pub fn interval(&self) -> Interval {
        let expanded = self.coverage.expanded;
        Interval { low: self.value - expanded, high: self.value + expanded }
    }
}

/// Propagates. `model` gets the values of the inputs in their order.
///
/// Differences are taken over one standard uncertainty to either side. The Welch–Satterthwaite formula takes the inputs as
/// not correlated; see [`effective_freedom`].
pub fn propagate(
    quantities: &Quantities,
    model: &dyn Fn(&[f64]) -> f64,
    probability: f64,
    order: Order,
) -> Propagation {
    let x = quantities.means();
    let u = quantities.standard_uncertainties();
    let n = x.len();
    let at = |shifts: &[(usize, f64)]| {
        let mut moved = x.clone();
        for &(k, shift) in shifts {
            moved[k] += shift;
        }
        model(&moved)
    };
    let value = model(&x);
    let sides: Vec<(f64, f64)> = (0..n)
        .map(|k| if u[k] > 0.0 { (at(&[(k, u[k])]), at(&[(k, -u[k])])) } else { (value, value) })
        .collect();
    let contributions: Vec<f64> = sides.iter().map(|(up, down)| 0.5 * (up - down)).collect();
    let weighted: Vec<f64> = (0..n)
        .map(|i| {
            let all = (0..n).map(|j| quantities.correlation(i, j) * contributions[j]).sum::<f64>();
            contributions[i] * all
        })
        .collect();
    let first_order = weighted.iter().sum::<f64>().max(0.0);
    let second_order_variance = match order {
        Order::First => 0.0,
        Order::Second => second_order(value, &u, at),
    };
    let standard_uncertainty = (first_order + second_order_variance).max(0.0).sqrt();
    let terms = (0..n)
        .map(|k| Term {
            sensitivity: if u[k] > 0.0 { contributions[k] / u[k] } else { 0.0 },
            contribution: contributions[k],
            share: if first_order > 0.0 { weighted[k] / first_order } else { 0.0 },
        })
        .collect();
    let parts = quantities.list().iter().zip(&contributions).map(|(q, c)| (*c, q.effective_freedom()));
    let freedom = effective_freedom(standard_uncertainty, parts);
    Propagation {
        value,
        standard_uncertainty,
        second_order_variance,
        terms,
        coverage: coverage(standard_uncertainty, freedom, probability),
    }
}

/// Σ [½·f_ij² + f_i·f_ijj]·u_i²·u_j² (JCGM 100, note to 5.1.2), from finite differences over a tenth of a standard uncertainty.
fn second_order(value: f64, u: &[f64], at: impl Fn(&[(usize, f64)]) -> f64) -> f64 {
    const STEP: f64 = 0.1;
    let n = u.len();
    let mut sum = 0.0;
    let single = |i: usize, steps: f64| at(&[(i, steps * STEP * u[i])]);
    for i in (0..n).filter(|&i| u[i] > 0.0) {
        let (up, down) = (single(i, 1.0), single(i, -1.0));
        // All derivatives are times the standard uncertainties of what they are by.
        let first = 0.5 * (up - down) / STEP;
        for j in (0..n).filter(|&j| u[j] > 0.0) {
            let (mixed, third) = if i == j {
                (up - 2.0 * value + down, 0.5 * (single(i, 2.0) - 2.0 * up + 2.0 * down - single(i, -2.0)))
            } else {
                let corner = |a: f64, b: f64| at(&[(i, a * STEP * u[i]), (j, b * STEP * u[j])]);
                let (pp, pm, mp, mm) =
                    (corner(1.0, 1.0), corner(1.0, -1.0), corner(-1.0, 1.0), corner(-1.0, -1.0));
                (0.25 * (pp - pm - mp + mm), 0.5 * ((pp - 2.0 * up + pm) - (mp - 2.0 * down + mm)))
            };
            let (mixed, third) = (mixed / STEP.powi(2), third / STEP.powi(3));
            sum += 0.5 * mixed * mixed + first * third;
        }
    }
    sum
}

/// ν_eff = u⁴/Σ(uᵢ⁴/νᵢ) (Welch–Satterthwaite, JCGM 100, G.4.1) from contributions with their degrees of freedom.
pub fn effective_freedom(standard_uncertainty: f64, parts: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let sum: f64 = parts
        .into_iter()
        .filter(|(_, freedom)| freedom.is_finite())
        .map(|(contribution, freedom)| contribution.powi(4) / freedom)
        .sum();
    if sum > 0.0 { standard_uncertainty.powi(4) / sum } else { f64::INFINITY }
}

/// k and U for a standard uncertainty with its degrees of freedom.
pub fn coverage(standard_uncertainty: f64, freedom: f64, probability: f64) -> Coverage {
    // Whole numbers that come out a hair too small by rounding stay what they are.
    let whole = (freedom * (1.0 + 1e-9)).floor().max(1.0);
    let factor = student_quantile(0.5 + 0.5 * probability, whole);
    Coverage { probability, freedom, factor, expanded: factor * standard_uncertainty }
}

/// Covariance of two results of the same inputs, from their sensitivity coefficients (JCGM 100, H.2.3).
pub fn covariance(quantities: &Quantities, first: &[Term], second: &[Term]) -> f64 {
    let row = |(i, a): (usize, &Term)| {
        let all = second.iter().enumerate().map(|(j, b)| quantities.correlation(i, j) * b.contribution);
        a.contribution * all.sum::<f64>()
    };
    first.iter().enumerate().map(row).sum()
}

#[cfg(test)]
mod tests {
    use super::super::{Correlation, Distribution, Quantity};
    use super::*;
    use flattop_close::{assert_close, printed, relative};
    use proptest::prelude::*;

    fn normal(name: &str, mean: f64, deviation: f64) -> Quantity {
        Quantity::known(name, Distribution::Normal { mean, deviation })
    }

    /// Y = X²: u² = 4µ²u² + 2u⁴ for a normal X, exactly (moments of the normal distribution).
    #[test]
    fn a_square_has_its_second_order() {
        let quantities = Quantities::new(vec![normal("x", 3.0, 0.5)], Vec::new()).unwrap();
        let got = propagate(&quantities, &|x| x[0] * x[0], 0.95, Order::Second);
        assert_close!(got.standard_uncertainty.powi(2), 4.0 * 9.0 * 0.25 + 2.0 * 0.0625, relative(1e-9));
    }

    /// JCGM 100, G.4.1 example: 0.25, 0.57 and 0.82 % with 9, 4 and 14 degrees of freedom give ν_eff = 19.0 (18.9987 unrounded).
    #[test]
    fn welch_satterthwaite_example() {
        let parts = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)];
        let u = parts.iter().map(|(u, _)| u * u).sum::<f64>().sqrt();
        assert_close!(u, 1.03, printed(0.01));
        assert_close!(effective_freedom(u, parts), 19.0, printed(0.1));
        // Printed: k = 2.09 and U = 2.2 % with ν = 19.
        assert_close!(coverage(1.03, 19.0, 0.95).factor, 2.09, printed(0.01));
        assert_close!(coverage(1.03, 19.0, 0.95).expanded, 2.2, printed(0.1));
    }

    #[test]
    fn full_correlation_adds_contributions_and_takes_them_off() {
        let both = |r| {
            let correlated = vec![Correlation { first: 0, second: 1, coefficient: r }];
            Quantities::new(vec![normal("a", 0.0, 3.0), normal("b", 0.0, 4.0)], correlated).unwrap()
        };
        let sum = |q: &Quantities| propagate(q, &|x| x[0] + x[1], 0.95, Order::First).standard_uncertainty;
        assert_close!(sum(&both(1.0)), 7.0, relative(1e-12));
        assert_close!(sum(&both(-1.0)), 1.0, relative(1e-12));
        assert_close!(sum(&both(0.0)), 5.0, relative(1e-12));
    }

    proptest! {
        /// A linear model has no terms of second order, and its shares add up.
        #[test]
        fn prop_linear_models(a in -5.0..5.0_f64, b in 0.1..5.0_f64, ua in 0.01..2.0_f64, ub in 0.01..2.0_f64, r in -0.99..0.99_f64) {
            let correlated = vec![Correlation { first: 0, second: 1, coefficient: r }];
            let q = Quantities::new(vec![normal("a", 1.0, ua), normal("b", 2.0, ub)], correlated).unwrap();
            let got = propagate(&q, &|x| a * x[0] + b * x[1], 0.95, Order::Second);
            let variance = (a * ua).powi(2) + (b * ub).powi(2) + 2.0 * r * a * b * ua * ub;
            assert_close!(got.standard_uncertainty.powi(2), variance, flattop_close::Tolerance { absolute: 1e-8, relative: 1e-8 });
            assert_close!(got.terms[0].share + got.terms[1].share, 1.0, relative(1e-9));
        }
    }
}
