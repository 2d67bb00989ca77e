//! The inputs of a measurement model, with what is known of each and of their correlation.

use super::distribution::{Distribution, DistributionError, Sampler};
use super::draw;
use super::stream::Stream;
use crate::numeric::stats::normal_cdf;

/// How an uncertainty was evaluated (JCGM 100, 2.3.2 and 2.3.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evaluation {
    /// From a series of observations.
    A,
    /// From anything else.
    B,
}

/// One input.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    /// Its name.
    pub name: String,
    /// What is known of it.
    pub distribution: Distribution,
    /// How that was found.
    pub evaluation: Evaluation,
    /// Degrees of freedom of its standard uncertainty; infinite where it is known. Student's t brings its own.
    pub freedom: f64,
}

impl Quantity {
    /// An input of type B whose standard uncertainty counts as known.
    pub fn known(name: impl Into<String>, distribution: Distribution) -> Self {
        Self { name: name.into(), distribution, evaluation: Evaluation::B, freedom: f64::INFINITY }
    }

    /// The degrees of freedom that count.
    pub fn effective_freedom(&self) -> f64 {
        self.distribution.freedom().unwrap_or(self.freedom)
    }
}

/// Two inputs that are correlated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// Number of the one.
    pub first: usize,
    /// Number of the other.
    pub second: usize,
    /// Correlation coefficient r.
    pub coefficient: f64,
}

/// Inputs that cannot be together.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum QuantitiesError {
    /// One of them cannot be.
    #[error("{name}: {error}")]
    Distribution {
        /// Its name.
        name: String,
        /// Why.
        error: DistributionError,
    },
    /// A coefficient out of range, or of an input with itself.
    #[error(
        "correlation of {first} with {second} is {coefficient}: give one between -1 and 1, once for each pair of different inputs"
    )]
    Coefficient {
        /// The one.
        first: String,
        /// The other.
        second: String,
        /// As given.
        coefficient: f64,
    },
    /// More than the two distributions can have.
    #[error(
        "correlation of {first} with {second} is {coefficient}, but distributions of these forms reach {most:.3} only; give less"
    )]
    TooMuch {
        /// The one.
        first: String,
        /// The other.
        second: String,
        /// As given.
        coefficient: f64,
        /// The most there can be, with its sign.
        most: f64,
    },
    /// The coefficients contradict each other.
    #[error("the correlation coefficients cannot be true together (at {name}); check their signs and sizes")]
    Together {
        /// The input at which it shows.
        name: String,
    },
}

/// Inputs that can be together, ready to be drawn.
#[derive(Clone, Debug)]
pub struct Quantities {
    list: Vec<Quantity>,
    correlations: Vec<Correlation>,
    samplers: Vec<Sampler>,
    /// Correlated inputs, and the lower triangle that makes their scores out of independent ones, by rows.
    linked: Vec<usize>,
    triangle: Vec<f64>,
}

impl Quantities {
    /// Checks them.
    ///
    /// # Errors
    /// [`QuantitiesError`].
    pub fn new(list: Vec<Quantity>, correlations: Vec<Correlation>) -> Result<Self, QuantitiesError> {
        for quantity in &list {
            quantity
                .distribution
                .check()
                .map_err(|error| QuantitiesError::Distribution { name: quantity.name.clone(), error })?;
        }
        let name = |k: usize| list.get(k).map_or_else(|| format!("input {k}"), |q| q.name.clone());
        let mut linked = Vec::new();
        for (k, c) in correlations.iter().enumerate() {
            let again = correlations[..k].iter().any(|o| {
                (o.first, o.second) == (c.first, c.second) || (o.first, o.second) == (c.second, c.first)
            });
            let known = c.first < list.len() && c.second < list.len() && c.first != c.second;
            if !(c.coefficient.abs() <= 1.0 && known) || again {
                let (first, second) = (name(c.first), name(c.second));
                return Err(QuantitiesError::Coefficient { first, second, coefficient: c.coefficient });
            }
            for of in [c.first, c.second] {
                if !linked.contains(&of) {
                    linked.push(of);
                }
            }
        }
        linked.sort_unstable();
        let n = linked.len();
        let place = |of: usize| linked.binary_search(&of).unwrap_or(0);
        let mut given = identity(n);
        let mut scores = identity(n);
        for c in &correlations {
            let r =
                score_correlation(&list[c.first].distribution, &list[c.second].distribution, c.coefficient)
                    .map_err(|most| QuantitiesError::TooMuch {
                    first: name(c.first),
                    second: name(c.second),
                    coefficient: c.coefficient,
                    most,
                })?;
            let (i, j) = (place(c.first), place(c.second));
            (given[i * n + j], given[j * n + i]) = (c.coefficient, c.coefficient);
            (scores[i * n + j], scores[j * n + i]) = (r, r);
        }
        let together = |row: usize| QuantitiesError::Together { name: name(linked[row]) };
        triangle(&given, n).map_err(together)?;
        let triangle = triangle(&scores, n).map_err(together)?;
        let samplers = list.iter().map(|q| Sampler::new(&q.distribution)).collect();
        Ok(Self { list, correlations, samplers, linked, triangle })
    }

    /// The inputs.
    pub fn list(&self) -> &[Quantity] {
        &self.list
    }

    /// Their correlations.
    pub fn correlations(&self) -> &[Correlation] {
        &self.correlations
    }

    /// Their estimates.
    pub fn means(&self) -> Vec<f64> {
        self.list.iter().map(|q| q.distribution.mean()).collect()
    }

    /// Their standard uncertainties.
    pub fn standard_uncertainties(&self) -> Vec<f64> {
        self.list.iter().map(|q| q.distribution.standard_uncertainty()).collect()
    }

    /// r of two inputs.
    pub fn correlation(&self, first: usize, second: usize) -> f64 {
        let of = |c: &&Correlation| {
            (c.first, c.second) == (first, second) || (c.second, c.first) == (first, second)
        };
        if first == second { 1.0 } else { self.correlations.iter().find(of).map_or(0.0, |c| c.coefficient) }
    }

    /// Draws the trials of one block: a list for each input, all as long as those of `columns`.
    pub fn draw(&self, seed: u64, block: u64, columns: &mut [Vec<f64>]) {
        for (k, (sampler, column)) in self.samplers.iter().zip(columns.iter_mut()).enumerate() {
            let mut stream = Stream::new(seed, block, k as u64);
            if self.linked.binary_search(&k).is_ok() {
                stream.fill(column);
                draw::scores(column);
            } else {
                sampler.fill(&mut stream, column);
            }
        }
        // From the last row upwards, so that each row still finds the independent scores of those before it.
        let n = self.linked.len();
        for row in (0..n).rev() {
            let mut column = std::mem::take(&mut columns[self.linked[row]]);
            let own = self.triangle[row * n + row];
            for value in &mut column {
                *value *= own;
            }
            for (&other, &weight) in self.linked[..row].iter().zip(&self.triangle[row * n..row * n + row]) {
                for (value, score) in column.iter_mut().zip(&columns[other]) {
                    *value += weight * score;
                }
            }
            columns[self.linked[row]] = column;
        }
        for &k in &self.linked {
            self.samplers[k].turn_scores(&mut columns[k]);
        }
    }
}

fn identity(n: usize) -> Vec<f64> {
    (0..n * n).map(|k| if k / n.max(1) == k % n.max(1) { 1.0 } else { 0.0 }).collect()
}

/// Lower triangle L with L·Lᵀ = `matrix` (Cholesky); the row at which that fails. Full correlation (a pivot of 0) is allowed.
fn triangle(matrix: &[f64], n: usize) -> Result<Vec<f64>, usize> {
    const SLACK: f64 = 1e-9;
    let mut lower = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| lower[i * n + k] * lower[j * n + k]).sum();
            let rest = matrix[i * n + j] - sum;
            if i == j {
                if rest < -SLACK {
                    return Err(i);
                }
                lower[i * n + i] = rest.max(0.0).sqrt();
            } else if lower[j * n + j] > SLACK.sqrt() {
                lower[i * n + j] = rest / lower[j * n + j];
            } else if rest.abs() > SLACK.sqrt() {
                return Err(i);
            }
        }
    }
    Ok(lower)
}

/// Terms of the series in Hermite polynomials.
const TERMS: usize = 24;

/// Which correlation of normal scores gives two distributions the correlation coefficient r; the most that r can be if it is more.
///
/// With standardised values X(z) = Σ aₖ·Heₖ(z)/√k!, r = Σ aₖ·bₖ·ρᵏ (Mehler's formula).
fn score_correlation(first: &Distribution, second: &Distribution, r: f64) -> Result<f64, f64> {
    let is_normal = |d: &Distribution| matches!(d, Distribution::Normal { .. });
    let has_width = |d: &Distribution| {
        let deviation = d.standard_deviation();
        deviation > 0.0 && deviation.is_finite()
    };
    // Without a variance there is no coefficient to be met.
    if (is_normal(first) && is_normal(second)) || !has_width(first) || !has_width(second) {
        return Ok(r);
    }
    let (a, b) = (coefficients(first), coefficients(second));
    let at = |rho: f64| (1..TERMS).rev().fold(0.0, |sum, k| (sum + a[k] * b[k]) * rho);
    let most = at(1f64.copysign(r));
    if r.abs() > most.abs() * (1.0 + 1e-6) {
        return Err(most);
    }
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..60 {
        let rho = 0.5 * (low + high);
        if at(rho.copysign(r)).abs() < r.abs() {
            low = rho;
        } else {
            high = rho;
        }
    }
    Ok((0.5 * (low + high)).copysign(r))
}

/// aₖ = ∫ X(z)·Heₖ(z)/√k!·φ(z) dz, scaled so that Σ aₖ² from 1 on is 1.
fn coefficients(distribution: &Distribution) -> [f64; TERMS] {
    let sampler = Sampler::new(distribution);
    let step = 1.0 / 256.0;
    let scores: Vec<f64> = (-2048..=2048).map(|k| f64::from(k) * step).collect();
    let mut values = scores.clone();
    sampler.turn_scores(&mut values);
    let mut sums = [0.0; TERMS];
    let mut square = 0.0;
    for (&z, &x) in scores.iter().zip(&values) {
        // The share of the probability that this node stands for.
        let weight = normal_cdf(z + 0.5 * step) - normal_cdf(z - 0.5 * step);
        let x = x - distribution.mean();
        square += weight * x * x;
        let (mut before, mut now) = (0.0, 1.0);
        for (k, sum) in sums.iter_mut().enumerate() {
            *sum += weight * x * now;
            // Heₖ/√k! step by step.
            let n = k as f64;
            let next = (z * now - n.sqrt() * before) / (n + 1.0).sqrt();
            (before, now) = (now, next);
        }
    }
    sums.map(|sum| sum / square.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};

    fn drawn(quantities: &Quantities, count: usize) -> Vec<Vec<f64>> {
        let mut columns = vec![vec![0.0; count]; quantities.list().len()];
        quantities.draw(11, 0, &mut columns);
        columns
    }

    fn correlation(a: &[f64], b: &[f64]) -> f64 {
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let (ma, mb) = (mean(a), mean(b));
        let product = |x: &[f64], mx: f64, y: &[f64], my: f64| {
            x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum::<f64>()
        };
        product(a, ma, b, mb) / (product(a, ma, a, ma) * product(b, mb, b, mb)).sqrt()
    }

    fn three(r: [f64; 3]) -> Result<Quantities, QuantitiesError> {
        let list = vec![
            Quantity::known("a", Distribution::Normal { mean: 1.0, deviation: 2.0 }),
            Quantity::known("b", Distribution::Rectangular { low: 0.0, high: 1.0 }),
            Quantity::known("c", Distribution::Student { location: 0.0, scale: 1.0, freedom: 12.0 }),
        ];
        let pair = |first, second, coefficient| Correlation { first, second, coefficient };
        Quantities::new(list, vec![pair(0, 1, r[0]), pair(1, 2, r[1]), pair(0, 2, r[2])])
    }

    #[test]
    fn draws_have_the_correlation_asked_for_whatever_their_distributions() {
        let columns = drawn(&three([0.7, -0.4, -0.1]).unwrap(), 200_000);
        for (i, j, r) in [(0, 1, 0.7), (1, 2, -0.4), (0, 2, -0.1)] {
            // Standard deviation of a coefficient from 2e5 draws: 0.0022.
            assert_close!(correlation(&columns[i], &columns[j]), r, within(0.008));
        }
    }

    #[test]
    fn scores_of_rectangular_pairs_follow_the_closed_form() {
        // r = (6/π)·asin(ρ/2) for a pair of rectangular distributions (K. Pearson, 1907; from memory).
        let d = Distribution::Rectangular { low: 0.0, high: 1.0 };
        for r in [-0.9, -0.3, 0.0, 0.5, 0.95] {
            let expected = 2.0 * (std::f64::consts::PI * r / 6.0).sin();
            assert_close!(score_correlation(&d, &d, r).unwrap(), expected, within(2e-4));
        }
    }

    #[test]
    fn coefficients_that_contradict_each_other_are_refused() {
        assert!(matches!(three([0.9, 0.9, -0.9]), Err(QuantitiesError::Together { .. })));
        assert!(matches!(three([1.2, 0.0, 0.0]), Err(QuantitiesError::Coefficient { .. })));
        let arcsine = Distribution::Arcsine { low: 0.0, high: 1.0 };
        let normal = Distribution::Normal { mean: 0.0, deviation: 1.0 };
        assert!(score_correlation(&arcsine, &normal, 0.99).is_err());
    }

    #[test]
    fn an_input_keeps_its_draws_when_others_join() {
        let one = |more: bool| {
            let mut list = vec![Quantity::known("a", Distribution::Rectangular { low: 0.0, high: 1.0 })];
            if more {
                list.push(Quantity::known("b", Distribution::Normal { mean: 0.0, deviation: 1.0 }));
            }
            drawn(&Quantities::new(list, Vec::new()).unwrap(), 100).swap_remove(0)
        };
        assert_eq!(one(false), one(true));
    }
}
