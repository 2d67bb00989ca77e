//! The captures since the last change, as one estimate: noise averages out, what repeats from capture to capture stays.

use super::Reading;
use crate::assessment::{Compensation, Estimate};
use crate::numeric::stats::chi_squared_upper;

/// Least scatter that is believed: a trimmer is not turned more finely.
const LEAST_SCATTER: f64 = 1e-5;
/// Scatter beyond the stated counts when chance makes so much of it less often than this.
const BEYOND_CHANCE: f64 = 0.005;

/// Sums over captures between two changes. Weights are 1/σ², σ the scatter of e that a capture states.
#[derive(Clone, Debug)]
pub(super) struct Segment {
    /// Time of the first capture, s.
    pub since_s: f64,
    pub count: usize,
    /// Subtracted before squaring.
    origin: f64,
    weight: f64,
    first: f64,
    second: f64,
    /// Variance of the weighted sum from the scatter that averages out.
    averaging: f64,
    /// Weighted sum of the variance that repeats.
    repeating: f64,
    time_constant: f64,
    time_constant_weight: f64,
    least_u_time_constant: f64,
    correlation: f64,
    last: Compensation,
}

/// The standard deviation of a capture that comes and goes, and the variance that stays.
pub(super) fn parts(reading: &Reading) -> (f64, f64) {
    let u = reading.compensation.error.standard_uncertainty;
    match reading.scatter {
        Some(scatter) => (scatter.max(LEAST_SCATTER), (u * u - scatter * scatter).max(0.0)),
        // Not told apart: all of it may scatter, and none of it is sure to average out.
        None => (u.max(LEAST_SCATTER), u * u),
    }
}

impl Segment {
    pub(super) fn new(reading: &Reading) -> Self {
        let mut segment = Self {
            since_s: reading.time_s,
            count: 0,
            origin: reading.compensation.error.value,
            weight: 0.0,
            first: 0.0,
            second: 0.0,
            averaging: 0.0,
            repeating: 0.0,
            time_constant: 0.0,
            time_constant_weight: 0.0,
            least_u_time_constant: f64::INFINITY,
            correlation: 0.0,
            last: reading.compensation,
        };
        segment.push(reading);
        segment
    }

    pub(super) fn push(&mut self, reading: &Reading) {
        let (scatter, repeating) = parts(reading);
        let weight = 1.0 / (scatter * scatter);
        let x = reading.compensation.error.value - self.origin;
        self.count += 1;
        self.weight += weight;
        self.first += weight * x;
        self.second += weight * x * x;
        self.averaging += if reading.scatter.is_some() { weight } else { 0.0 };
        self.repeating += weight * repeating;
        let tau = reading.compensation.time_constant_s;
        let u_tau = tau.standard_uncertainty.max(1e-6 * tau.value.abs());
        self.time_constant += tau.value / (u_tau * u_tau);
        self.time_constant_weight += 1.0 / (u_tau * u_tau);
        self.least_u_time_constant = self.least_u_time_constant.min(tau.standard_uncertainty);
        self.correlation += weight * reading.compensation.correlation;
        self.last = reading.compensation;
    }

    /// Without the last of its captures, which `last` are; `None` where none would be left.
    pub(super) fn without(&self, last: &[Reading]) -> Option<Self> {
        let count = self.count.checked_sub(last.len()).filter(|count| *count > 0)?;
        let mut rest = Self { count, ..self.clone() };
        for reading in last {
            let (scatter, repeating) = parts(reading);
            let weight = 1.0 / (scatter * scatter);
            let x = reading.compensation.error.value - self.origin;
            rest.weight -= weight;
            rest.first -= weight * x;
            rest.second -= weight * x * x;
            rest.averaging -= if reading.scatter.is_some() { weight } else { 0.0 };
            rest.repeating -= weight * repeating;
            rest.correlation -= weight * reading.compensation.correlation;
        }
        // Rounding must not leave less than nothing.
        rest.averaging = rest.averaging.max(0.0);
        rest.repeating = rest.repeating.max(0.0);
        (rest.weight > 1e-9 * self.weight).then_some(rest)
    }

    /// By how many standard deviations the mean of `other` differs from this one's.
    pub(super) fn figure(&self, other: &Self, ratio: f64) -> f64 {
        (other.mean() - self.mean()) / (ratio * (1.0 / self.weight + 1.0 / other.weight).sqrt())
    }

    pub(super) fn mean(&self) -> f64 {
        self.origin + self.first / self.weight
    }

    /// How many times the stated scatter these captures show, at least `known` and at least 1 (R. T. Birge, *Phys. Rev.* 40 (1932)
    /// 207, from memory; only where chance does not explain it).
    fn ratio(&self, known: f64) -> f64 {
        if self.count < 2 {
            return known;
        }
        let freedom = (self.count - 1) as f64;
        let squares = (self.second - self.first * self.first / self.weight).max(0.0);
        let is_beyond = chi_squared_upper(squares / (known * known), freedom) < BEYOND_CHANCE;
        if is_beyond { (squares / freedom).sqrt().max(known) } else { known }
    }

    /// Standard deviation of the mean from what scatters.
    pub(super) fn u_averaged(&self, ratio: f64) -> f64 {
        self.ratio(ratio) * self.averaging.sqrt() / self.weight
    }

    /// Standard deviation of the difference between the mean and a figure of scatter `scatter`.
    pub(super) fn u_against(&self, scatter: f64, ratio: f64) -> f64 {
        ratio * (scatter * scatter + 1.0 / self.weight).sqrt()
    }

    /// Standard deviation of the part that repeats.
    pub(super) fn u_repeating(&self) -> f64 {
        (self.repeating / self.weight).sqrt()
    }

    /// All captures as one. The time constant's uncertainty is that of the best of them: how much of it averages out is not
    /// known.
    pub(super) fn compensation(&self, ratio: f64) -> Compensation {
        let u = self.u_averaged(ratio).hypot(self.u_repeating());
        Compensation {
            error: Estimate { value: self.mean(), standard_uncertainty: u },
            time_constant_s: Estimate {
                value: self.time_constant / self.time_constant_weight,
                standard_uncertainty: self.least_u_time_constant,
            },
            correlation: (self.correlation / self.weight).clamp(-1.0, 1.0),
            ..self.last
        }
    }
}
