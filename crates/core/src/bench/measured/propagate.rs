//! Law of propagation over groups of correlated quantities: JCGM 100:2008, 5.2.2, by central differences.

use super::Share;
use crate::assessment::Estimate;

/// The quantities that a result depends on.
#[derive(Clone, Debug, Default)]
pub(super) struct Quantities {
    values: Vec<f64>,
    groups: Vec<Group>,
}

/// Some of them that are correlated with each other and with no other.
#[derive(Clone, Debug)]
struct Group {
    of: &'static str,
    first: usize,
    covariance: Vec<f64>,
    size: usize,
}

impl Quantities {
    /// Adds one that is independent of all others; gives its place.
    pub(super) fn add(&mut self, of: &'static str, estimate: Estimate) -> usize {
        self.add_group(of, &[estimate.value], &[estimate.standard_uncertainty.powi(2)])
    }

    /// Adds some with their covariance, row by row; gives the place of the first.
    pub(super) fn add_group(&mut self, of: &'static str, values: &[f64], covariance: &[f64]) -> usize {
        let first = self.values.len();
        self.values.extend_from_slice(values);
        self.groups.push(Group { of, first, covariance: covariance.to_vec(), size: values.len() });
        first
    }

    /// The value of `model`, its standard uncertainty, and what each group has in it, largest first.
    pub(super) fn propagate(&self, model: impl Fn(&[f64]) -> f64) -> (Estimate, Vec<Share>) {
        let mut shares: Vec<Share> = Vec::with_capacity(self.groups.len());
        let mut variance = 0.0;
        let mut x = self.values.clone();
        for group in &self.groups {
            let slopes: Vec<f64> = (0..group.size)
                .map(|k| {
                    let at = group.first + k;
                    let (value, u) = (x[at], group.covariance[k * group.size + k].sqrt());
                    if u <= 0.0 {
                        return 0.0;
                    }
                    // A hundredth of u is well inside what is linear; no smaller than what double precision tells apart.
                    let step = (0.01 * u).max(1e-7 * value.abs());
                    x[at] = value + step;
                    let above = model(&x);
                    x[at] = value - step;
                    let below = model(&x);
                    x[at] = value;
                    (above - below) / (2.0 * step)
                })
                .collect();
            let of_group: f64 = (0..group.size)
                .flat_map(|i| (0..group.size).map(move |j| (i, j)))
                .map(|(i, j)| slopes[i] * group.covariance[i * group.size + j] * slopes[j])
                .sum();
            let of_group = of_group.max(0.0);
            variance += of_group;
            shares.push(Share { of: group.of, standard_uncertainty: of_group.sqrt() });
        }
        shares.sort_by(|a, b| b.standard_uncertainty.total_cmp(&a.standard_uncertainty));
        (Estimate { value: model(&self.values), standard_uncertainty: variance.sqrt() }, shares)
    }
}
