//! Several captures of one setting taken together, and the one setting seen on two inputs.
//!
//! All in logarithms, (ln(1+e), ln τp): there ln τz is their sum, so that "τz is the same" is a linear condition, and least
//! squares under it has a closed form.

use super::{DOUBTFUL, MeasureError, Reading, uncertain};
use crate::finding::Finding;
use crate::numeric::stats::chi_squared_upper;

/// (ln(1+e), ln τp) with their covariance, row by row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Setting {
    pub(super) ln: [f64; 2],
    pub(super) covariance: [f64; 4],
}

/// What the lumped divider leaves out (resistance and delay of the cable, resistance of the source), relative, in both: alike in
/// all captures of one setting, so that averaging does not take it away. As the estimator of square waves allows for it.
const COMMON: f64 = 4e-5;
/// Smallest relative uncertainty, so that captures stated as exact can be weighed.
const LEAST: f64 = 1e-9;

impl Setting {
    fn of(reading: &Reading) -> Result<Self, MeasureError> {
        let Reading { error, time_constant_s: tau, correlation } = *reading;
        let wrong = |quantity, value, remedy| Err(MeasureError::Value { quantity, value, remedy });
        if !(error.value > -1.0 && error.value.is_finite()) {
            return wrong(
                "the compensation error",
                error.value,
                "it cannot be -1 or less; leave that capture out",
            );
        }
        if !(tau.value > 0.0 && tau.value.is_finite()) {
            return wrong("the time constant", tau.value, "it has to be above zero; leave that capture out");
        }
        uncertain("the compensation error's uncertainty", error.standard_uncertainty)?;
        uncertain("the time constant's uncertainty", tau.standard_uncertainty)?;
        if !(-1.0..=1.0).contains(&correlation) {
            return wrong("the correlation", correlation, "give one from -1 to 1");
        }
        let u_e = (error.standard_uncertainty / (1.0 + error.value)).max(LEAST);
        let u_tau = (tau.standard_uncertainty / tau.value).max(LEAST);
        // Fully correlated captures cannot be weighed against each other.
        let both = correlation.clamp(-0.999_999, 0.999_999) * u_e * u_tau;
        Ok(Self {
            ln: [error.value.ln_1p(), tau.value.ln()],
            covariance: [u_e * u_e, both, both, u_tau * u_tau],
        })
    }

    /// e.
    pub(super) fn error(&self) -> f64 {
        self.ln[0].exp_m1()
    }

    /// τp, s.
    pub(super) fn time_constant_s(&self) -> f64 {
        self.ln[1].exp()
    }

    /// ln τz and its variance.
    pub(super) fn ln_zero(&self) -> (f64, f64) {
        let [a, b, c, d] = self.covariance;
        (self.ln[0] + self.ln[1], a + b + c + d)
    }
}

/// The weighted mean of the captures of one setting. Where they scatter by more than their uncertainties explain, those are
/// enlarged by the Birge ratio, and a finding says so. `flatness` is what the input's own response may add to e, in all of
/// them alike.
pub(super) fn pooled(
    readings: &[Reading],
    of: &'static str,
    flatness: f64,
    findings: &mut Vec<Finding>,
) -> Result<Setting, MeasureError> {
    let settings = readings.iter().map(Setting::of).collect::<Result<Vec<_>, _>>()?;
    let mut mean = mean(&settings, of, findings)?;
    mean.covariance[0] += (flatness / mean.ln[0].exp()).powi(2);
    Ok(mean)
}

fn mean(
    settings: &[Setting],
    of: &'static str,
    findings: &mut Vec<Finding>,
) -> Result<Setting, MeasureError> {
    let (first, rest) = settings.split_first().ok_or(MeasureError::None { of })?;
    if rest.is_empty() {
        return Ok(*first);
    }
    let mut weight = [0.0; 4];
    let mut right = [0.0; 2];
    for setting in settings {
        let w = inverse(setting.covariance);
        (0..4).for_each(|k| weight[k] += w[k]);
        let [a, t] = setting.ln;
        right[0] += w[0] * a + w[1] * t;
        right[1] += w[2] * a + w[3] * t;
    }
    let mut covariance = inverse(weight);
    let ln = [
        covariance[0] * right[0] + covariance[1] * right[1],
        covariance[2] * right[0] + covariance[3] * right[1],
    ];
    let chi_squared: f64 = settings
        .iter()
        .map(|s| {
            let w = inverse(s.covariance);
            let [a, t] = [s.ln[0] - ln[0], s.ln[1] - ln[1]];
            w[0] * a * a + (w[1] + w[2]) * a * t + w[3] * t * t
        })
        .sum();
    let freedom = 2.0 * rest.len() as f64;
    if chi_squared_upper(chi_squared, freedom) < DOUBTFUL {
        let birge = (chi_squared / freedom).sqrt();
        covariance.iter_mut().for_each(|c| *c *= birge * birge);
        findings.push(Finding::warning(
            "repeats-scatter",
            format!(
                "the {} captures {of} differ by {birge:.1} times of what their uncertainties explain; the uncertainty was \
                 enlarged by that",
                settings.len()
            ),
            "keep source, probe and connection as they are between captures, and let the instrument warm up",
        ));
    }
    let share = COMMON * COMMON * (1.0 - 1.0 / settings.len() as f64);
    covariance[0] += share;
    covariance[3] += share;
    Ok(Setting { ln, covariance })
}

/// Two settings of one tip: least squares under the condition that τz is the same in both. Values and covariance of
/// (ln(1+e), ln τp) of the first, then of the second.
pub(super) fn with_one_zero(one: &Setting, other: &Setting) -> ([f64; 4], [f64; 16]) {
    let mut x = [one.ln[0], one.ln[1], other.ln[0], other.ln[1]];
    let mut covariance = [0.0; 16];
    for (k, place) in [0, 1, 4, 5].into_iter().enumerate() {
        covariance[place] = one.covariance[k];
        covariance[place + 10] = other.covariance[k];
    }
    let condition = [1.0, 1.0, -1.0, -1.0];
    let along: [f64; 4] = std::array::from_fn(|i| (0..4).map(|j| covariance[4 * i + j] * condition[j]).sum());
    let variance: f64 = (0..4).map(|i| condition[i] * along[i]).sum();
    let gap = x[0] + x[1] - x[2] - x[3];
    if variance > 0.0 {
        for i in 0..4 {
            x[i] -= along[i] * gap / variance;
            for j in 0..4 {
                covariance[4 * i + j] -= along[i] * along[j] / variance;
            }
        }
    }
    (x, covariance)
}

fn inverse([a, b, c, d]: [f64; 4]) -> [f64; 4] {
    let determinant = a * d - b * c;
    [d / determinant, -b / determinant, -c / determinant, a / determinant]
}
