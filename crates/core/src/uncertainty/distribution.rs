//! What is known of an input: a distribution (JCGM 101, clause 6.4).

use super::draw::{self, StudentTable};
use super::stream::Stream;

/// A distribution, in the unit of its quantity.
#[derive(Clone, Debug, PartialEq)]
pub enum Distribution {
    /// Normal, of known standard deviation (JCGM 101, 6.4.7).
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        deviation: f64,
    },
    /// Scaled and shifted Student's t (JCGM 101, 6.4.9): a mean of repeated readings, or a normal one whose deviation is itself estimated.
    Student {
        /// Middle.
        location: f64,
        /// Scale: the standard uncertainty of JCGM 100. The standard deviation is larger by √(ν/(ν − 2)).
        scale: f64,
        /// ν, degrees of freedom.
        freedom: f64,
    },
    /// All values between two alike likely (JCGM 101, 6.4.2).
    Rectangular {
        /// Least value.
        low: f64,
        /// Largest value.
        high: f64,
    },
    /// Rising and falling in straight lines, highest in the middle (JCGM 101, 6.4.5).
    Triangular {
        /// Least value.
        low: f64,
        /// Largest value.
        high: f64,
    },
    /// Of a quantity that swings as a sine: values near the ends are the likeliest (JCGM 101, 6.4.6).
    Arcsine {
        /// Least value.
        low: f64,
        /// Largest value.
        high: f64,
    },
    /// Rectangular with limits that are themselves known within ± `doubt` only (JCGM 101, 6.4.3).
    CurvilinearTrapezoid {
        /// Least value.
        low: f64,
        /// Largest value.
        high: f64,
        /// How far each limit may be off.
        doubt: f64,
    },
    /// Values seen before, each as likely as the others.
    Samples(Vec<f64>),
}

/// A distribution that cannot be.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{what} is {value}, but it must be {allowed}")]
pub struct DistributionError {
    /// The figure.
    pub what: &'static str,
    /// As given.
    pub value: f64,
    /// What it may be.
    pub allowed: &'static str,
}

impl Distribution {
    /// The mean of independent readings: t with n − 1 degrees of freedom about it, scaled by s/√n (JCGM 101, 6.4.9.2).
    ///
    /// # Errors
    /// Fewer than two readings, or one that is no number.
    pub fn of_readings(readings: &[f64]) -> Result<Self, DistributionError> {
        let n = readings.len() as f64;
        if readings.len() < 2 {
            let what = "number of readings";
            return Err(DistributionError { what, value: n, allowed: "2 or more" });
        }
        let (mean, squares) = moments(readings);
        let scale = (squares / (n * (n - 1.0))).sqrt();
        let distribution = Self::Student { location: mean, scale, freedom: n - 1.0 };
        distribution.check().map(|()| distribution)
    }

    /// Checks the figures.
    ///
    /// # Errors
    /// The first figure that cannot be.
    pub fn check(&self) -> Result<(), DistributionError> {
        let fault = |what, value, allowed| Err(DistributionError { what, value, allowed });
        match *self {
            Self::Normal { mean: middle, deviation: width }
            | Self::Student { location: middle, scale: width, .. } => {
                if !middle.is_finite() {
                    return fault("middle of a distribution", middle, "finite");
                }
                if !(width >= 0.0 && width.is_finite()) {
                    return fault("standard uncertainty", width, "0 or more");
                }
                if let Self::Student { freedom, .. } = *self
                    && !(freedom > 0.0 && freedom.is_finite())
                {
                    return fault("degrees of freedom", freedom, "above 0");
                }
            }
            Self::Rectangular { low, high }
            | Self::Triangular { low, high }
            | Self::Arcsine { low, high }
            | Self::CurvilinearTrapezoid { low, high, .. } => {
                if !low.is_finite() {
                    return fault("lower limit of a distribution", low, "finite");
                }
                if !(high >= low && high.is_finite()) {
                    return fault("upper limit of a distribution", high, "at or above the lower limit");
                }
                if let Self::CurvilinearTrapezoid { doubt, .. } = *self
                    && !(doubt >= 0.0 && doubt <= 0.5 * (high - low))
                {
                    return fault("doubt about the limits", doubt, "between 0 and half their distance");
                }
            }
            Self::Samples(ref samples) => {
                if samples.is_empty() {
                    return fault("number of samples", 0.0, "1 or more");
                }
                if let Some(&value) = samples.iter().find(|v| !v.is_finite()) {
                    return fault("sample", value, "finite");
                }
            }
        }
        Ok(())
    }

    /// Its expectation: the estimate of the quantity.
    pub fn mean(&self) -> f64 {
        match *self {
            Self::Normal { mean, .. } => mean,
            Self::Student { location, .. } => location,
            Self::Rectangular { low, high }
            | Self::Triangular { low, high }
            | Self::Arcsine { low, high }
            | Self::CurvilinearTrapezoid { low, high, .. } => low + 0.5 * (high - low),
            Self::Samples(ref samples) => moments(samples).0,
        }
    }

    /// The standard uncertainty that the law of propagation takes: the standard deviation, but of Student's t its scale (the degrees of
    /// freedom account for the rest there).
    pub fn standard_uncertainty(&self) -> f64 {
        let width = |low: f64, high: f64| high - low;
        match *self {
            Self::Normal { deviation, .. } => deviation,
            Self::Student { scale, .. } => scale,
            Self::Rectangular { low, high } => width(low, high) / 12f64.sqrt(),
            Self::Triangular { low, high } => width(low, high) / 24f64.sqrt(),
            Self::Arcsine { low, high } => width(low, high) / 8f64.sqrt(),
            Self::CurvilinearTrapezoid { low, high, doubt } => {
                (width(low, high).powi(2) / 12.0 + doubt * doubt / 9.0).sqrt()
            }
            Self::Samples(ref samples) => (moments(samples).1 / samples.len() as f64).sqrt(),
        }
    }

    /// The standard deviation; infinite for Student's t of two degrees of freedom or fewer.
    pub fn standard_deviation(&self) -> f64 {
        match *self {
            Self::Student { scale, freedom, .. } => {
                if freedom > 2.0 {
                    scale * (freedom / (freedom - 2.0)).sqrt()
                } else if scale > 0.0 {
                    f64::INFINITY
                } else {
                    0.0
                }
            }
            _ => self.standard_uncertainty(),
        }
    }

    /// Degrees of freedom of Student's t; `None` for all others, whose width counts as known.
    pub fn freedom(&self) -> Option<f64> {
        match *self {
            Self::Student { freedom, .. } => Some(freedom),
            _ => None,
        }
    }

    /// Its name in a sentence.
    pub fn words(&self) -> &'static str {
        match self {
            Self::Normal { .. } => "normal",
            Self::Student { .. } => "t",
            Self::Rectangular { .. } => "rectangular",
            Self::Triangular { .. } => "triangular",
            Self::Arcsine { .. } => "arcsine",
            Self::CurvilinearTrapezoid { .. } => "curvilinear-trapezoid",
            Self::Samples(_) => "samples",
        }
    }
}

/// Mean, and sum of squared distances from it.
fn moments(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (mean, values.iter().map(|v| (v - mean) * (v - mean)).sum())
}

/// A distribution made ready for many draws.
#[derive(Clone, Debug)]
pub(super) struct Sampler {
    distribution: Distribution,
    table: Option<StudentTable>,
    /// Sorted, for samples.
    sorted: Vec<f64>,
}

impl Sampler {
    pub(super) fn new(distribution: &Distribution) -> Self {
        let mut sorted = match distribution {
            Distribution::Samples(samples) => samples.clone(),
            _ => Vec::new(),
        };
        sorted.sort_unstable_by(f64::total_cmp);
        let table = distribution.freedom().map(StudentTable::new);
        Self { distribution: distribution.clone(), table, sorted }
    }

    /// Fills a list with independent draws.
    pub(super) fn fill(&self, stream: &mut Stream, out: &mut [f64]) {
        stream.fill(out);
        match self.distribution {
            Distribution::Normal { .. } | Distribution::Student { .. } => {
                draw::scores(out);
                self.turn_scores(out);
            }
            Distribution::CurvilinearTrapezoid { low, high, doubt } => {
                // JCGM 101, 6.4.3.4: a lower limit, the upper one opposite to it, a value between them.
                for value in out {
                    let least = low - doubt + 2.0 * doubt * *value;
                    let most = low + high - least;
                    *value = least + (most - least) * stream.uniform();
                }
            }
            _ => self.map(out),
        }
    }

    /// From normal scores, in place: the distribution's value of the same probability.
    pub(super) fn turn_scores(&self, scores: &mut [f64]) {
        match (&self.distribution, &self.table) {
            (Distribution::Normal { mean, deviation }, _) => {
                for value in scores {
                    *value = mean + deviation * *value;
                }
            }
            (Distribution::Student { location, scale, .. }, Some(table)) => {
                for value in scores {
                    *value = location + scale * table.at(*value);
                }
            }
            _ => {
                for value in scores.iter_mut() {
                    *value = crate::numeric::stats::normal_cdf(*value);
                }
                self.map(scores);
            }
        }
    }

    /// From probabilities to values, where that has a closed form.
    fn map(&self, out: &mut [f64]) {
        match self.distribution {
            Distribution::Rectangular { low, high } => {
                for value in out {
                    *value = low + (high - low) * *value;
                }
            }
            Distribution::Triangular { low, high } => {
                let half = 0.5 * (high - low);
                for value in out {
                    let p = *value;
                    *value = if p < 0.5 {
                        low + half * (2.0 * p).sqrt()
                    } else {
                        high - half * (2.0 - 2.0 * p).sqrt()
                    };
                }
            }
            Distribution::Arcsine { low, high } => {
                let (middle, half) = (low + 0.5 * (high - low), 0.5 * (high - low));
                for value in out {
                    *value = middle - half * (std::f64::consts::PI * *value).cos();
                }
            }
            Distribution::CurvilinearTrapezoid { low, high, doubt } => {
                for value in out {
                    *value = trapezoid_quantile(*value, low, high, doubt);
                }
            }
            Distribution::Samples(_) => {
                let last = self.sorted.len() - 1;
                for value in out {
                    *value = self.sorted[((*value * self.sorted.len() as f64) as usize).min(last)];
                }
            }
            Distribution::Normal { .. } | Distribution::Student { .. } => {}
        }
    }
}

/// Quantile of the curvilinear trapezoid by bisection; its density is JCGM 101, 6.4.3.2.
fn trapezoid_quantile(p: f64, low: f64, high: f64, doubt: f64) -> f64 {
    if p > 0.5 {
        return low + high - trapezoid_quantile(1.0 - p, low, high, doubt);
    }
    let (middle, half) = (low + 0.5 * (high - low), 0.5 * (high - low));
    if doubt <= 0.0 {
        return low + (high - low) * p;
    }
    // At distance v from the middle the density is ln((half + d)/max(v, half − d))/4d.
    let outer = half + doubt;
    let inner = half - doubt;
    // Probability beyond v, from ∫ ln(outer/v) dv = v·(ln(outer/v) + 1).
    let beyond = |v: f64| (outer - v * ((outer / v).ln() + 1.0)) / (4.0 * doubt);
    let flat = if inner > 0.0 { (outer / inner).ln() / (4.0 * doubt) } else { 0.0 };
    let shoulder = if inner > 0.0 { beyond(inner) } else { 0.5 };
    if p >= shoulder {
        return middle - (0.5 - p) / flat;
    }
    let (mut near, mut far) = (inner.max(0.0), outer);
    for _ in 0..80 {
        let v = 0.5 * (near + far);
        if beyond(v) > p {
            near = v;
        } else {
            far = v;
        }
    }
    middle - 0.5 * (near + far)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    fn all() -> Vec<Distribution> {
        vec![
            Distribution::Normal { mean: 3.0, deviation: 2.0 },
            Distribution::Student { location: -1.0, scale: 0.5, freedom: 9.0 },
            Distribution::Rectangular { low: -1.0, high: 3.0 },
            Distribution::Triangular { low: 0.0, high: 6.0 },
            Distribution::Arcsine { low: -2.0, high: 2.0 },
            Distribution::CurvilinearTrapezoid { low: 1.0, high: 3.0, doubt: 0.4 },
            Distribution::Samples(vec![1.0, 2.0, 4.0, 9.0]),
        ]
    }

    /// Mean and standard deviation of draws, by both ways, against the closed forms of JCGM 101, table 1.
    #[test]
    fn draws_have_the_moments_of_the_table() {
        for distribution in all() {
            let sampler = Sampler::new(&distribution);
            let count = 200_000;
            let mut plain = vec![0.0; count];
            sampler.fill(&mut Stream::new(5, 0, 0), &mut plain);
            let mut by_scores = vec![0.0; count];
            Stream::new(6, 0, 0).fill(&mut by_scores);
            draw::scores(&mut by_scores);
            sampler.turn_scores(&mut by_scores);
            for values in [plain, by_scores] {
                let (mean, squares) = moments(&values);
                let u = distribution.standard_deviation();
                let name = distribution.words();
                assert_close!(mean, distribution.mean(), within(5.0 * u / (count as f64).sqrt()), "{name}");
                assert_close!((squares / count as f64).sqrt(), u, relative(0.01), "{name}");
            }
        }
    }

    /// JCGM 101, 6.4.3.2 as drawn by its recipe 6.4.3.4, against the quantile worked out from its density.
    #[test]
    fn curvilinear_trapezoid_is_the_same_both_ways() {
        let distribution = Distribution::CurvilinearTrapezoid { low: -1.0, high: 1.0, doubt: 0.5 };
        let mut drawn = vec![0.0; 100_000];
        Sampler::new(&distribution).fill(&mut Stream::new(1, 0, 0), &mut drawn);
        drawn.sort_unstable_by(f64::total_cmp);
        for p in [0.01, 0.1, 0.3, 0.5, 0.8, 0.99] {
            let got = drawn[(p * 1e5) as usize];
            assert_close!(got, trapezoid_quantile(p, -1.0, 1.0, 0.5), within(0.02), "{p}");
        }
    }

    /// JCGM 100, 4.4.3: twenty temperatures, mean 100.145 °C (printed as 100.14), s/√20 = 0.333 °C.
    #[test]
    fn readings_become_t() {
        let readings = [
            96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68,
            100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
        ];
        let t = Distribution::of_readings(&readings).unwrap();
        assert_close!(t.mean(), 100.145, within(1e-9));
        assert_close!(t.standard_uncertainty(), 0.333, within(0.0005));
        assert_close!(t.freedom().unwrap(), 19.0, within(0.0));
        assert!(Distribution::of_readings(&[1.0]).is_err());
    }

    #[test]
    fn impossible_figures_are_refused() {
        for bad in [
            Distribution::Normal { mean: 0.0, deviation: -1.0 },
            Distribution::Student { location: 0.0, scale: 1.0, freedom: 0.0 },
            Distribution::Rectangular { low: 1.0, high: 0.0 },
            Distribution::CurvilinearTrapezoid { low: 0.0, high: 1.0, doubt: 0.6 },
            Distribution::Samples(Vec::new()),
            Distribution::Arcsine { low: f64::NAN, high: 0.0 },
        ] {
            assert!(bad.check().is_err(), "{bad:?}");
        }
    }
}
