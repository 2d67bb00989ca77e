//! Three- and four-parameter sine fits.
//!
//! Model: y = A·cos ω(t−t₀) + B·sin ω(t−t₀) + C. With ω known this is linear; with ω unknown a fourth column
//! (t−t₀)·(B·cos ω(t−t₀) − A·sin ω(t−t₀)) holds the change of ω, and the linear fit is repeated until it is small.
//! t₀ is kept near the middle of the record, where phase and frequency are uncorrelated.
//! Source: IEEE Std 1057, sine-wave fitting, in the form given with the validation dossier's rows S-10 to S-12.

use super::search;
use crate::assessment::Estimate;
use crate::numeric::linear::{LinearError, Triangle, solve_triangle};
use crate::samples::Record;
use std::f64::consts::TAU;
use thiserror::Error;

/// Rounds of the four-parameter fit before it is given up.
const MOST_ROUNDS: usize = 60;

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum SineError {
    /// Too few samples, or the samples do not determine amplitude, phase and offset apart.
    #[error("the record does not determine a sine: {0}")]
    Linear(#[from] LinearError),
    /// The frequency did not settle.
    #[error(
        "the sine fit did not settle: after {rounds} rounds the frequency still moves near {frequency_hz:e} Hz; \
         record more periods, or more amplitude over the noise"
    )]
    NotConverged {
        /// Rounds done.
        rounds: usize,
        /// Frequency of the last round, Hz.
        frequency_hz: f64,
    },
    /// The fit settled, but another frequency fits better: the start was in the wrong basin.
    #[error(
        "the sine fit settled at {frequency_hz:e} Hz with residuals of {residual_rms:e}, but near {better_hz:e} Hz \
         they are {better_rms:e}: start there"
    )]
    FalseMinimum {
        /// Frequency found, Hz.
        frequency_hz: f64,
        /// Rms residual there.
        residual_rms: f64,
        /// Frequency that fits better, Hz.
        better_hz: f64,
        /// Rms residual there.
        better_rms: f64,
    },
    /// The starting frequency is not a positive number.
    #[error("the starting frequency must be above zero, found {frequency_hz:e} Hz")]
    Start {
        /// What was given, Hz.
        frequency_hz: f64,
    },
}

/// A fitted sine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SineFit {
    /// t₀, s.
    pub reference_s: f64,
    /// ω, rad/s.
    pub angular_frequency: f64,
    /// A, in the unit of the samples.
    pub cosine: f64,
    /// B, in the unit of the samples.
    pub sine: f64,
    /// C, in the unit of the samples.
    pub offset: f64,
    /// Covariance of A, B, C, ω for white noise of the size of the residuals; the last row and column are nil when ω
    /// was given.
    pub covariance: [[f64; 4]; 4],
    /// Sum of squared residuals.
    pub cost: f64,
    /// Number of samples.
    pub points: usize,
    /// Rounds of the four-parameter fit; nil when ω was given.
    pub rounds: usize,
}

impl SineFit {
    /// √(A²+B²) with its standard uncertainty.
    pub fn amplitude(&self) -> Estimate {
        let value = self.cosine.hypot(self.sine);
        let slope = [self.cosine / value, self.sine / value, 0.0, 0.0];
        Estimate { value, standard_uncertainty: self.uncertainty(slope) }
    }

    /// Phase φ at `time_s` of y = amplitude·cos(ω(t − time) + φ) + C, rad, between −π and π.
    pub fn phase_at(&self, time_s: f64) -> Estimate {
        let lag = time_s - self.reference_s;
        let power = self.cosine * self.cosine + self.sine * self.sine;
        let slope = [self.sine / power, -self.cosine / power, 0.0, lag];
        let value = wrap((-self.sine).atan2(self.cosine) + self.angular_frequency * lag);
        Estimate { value, standard_uncertainty: self.uncertainty(slope) }
    }

    /// ω/2π with its standard uncertainty, Hz.
    pub fn frequency_hz(&self) -> Estimate {
        Estimate {
            value: self.angular_frequency / TAU,
            standard_uncertainty: self.covariance[3][3].sqrt() / TAU,
        }
    }

    /// C with its standard uncertainty.
    pub fn offset(&self) -> Estimate {
        Estimate { value: self.offset, standard_uncertainty: self.covariance[2][2].sqrt() }
    }

    /// A and B with t₀ moved to `time_s`, each with its standard uncertainty.
    pub fn coefficients_at(&self, time_s: f64) -> (Estimate, Estimate) {
        let lag = time_s - self.reference_s;
        let (sin, cos) = (self.angular_frequency * lag).sin_cos();
        let cosine = self.cosine * cos + self.sine * sin;
        let sine = self.sine * cos - self.cosine * sin;
        (
            Estimate { value: cosine, standard_uncertainty: self.uncertainty([cos, sin, 0.0, lag * sine]) },
            Estimate { value: sine, standard_uncertainty: self.uncertainty([-sin, cos, 0.0, -lag * cosine]) },
        )
    }

    /// Root of the mean squared residual.
    pub fn residual_rms(&self) -> f64 {
        (self.cost / self.points as f64).sqrt()
    }

    /// Law of propagation over the covariance.
    fn uncertainty(&self, slope: [f64; 4]) -> f64 {
        let mut variance = 0.0;
        for (row, a) in self.covariance.iter().zip(slope) {
            for (c, b) in row.iter().zip(slope) {
                variance += a * b * c;
            }
        }
        variance.max(0.0).sqrt()
    }
}

/// `angle` brought between −π and π.
pub(super) fn wrap(angle: f64) -> f64 {
    angle - TAU * (angle / TAU).round()
}

/// Fits A, B and C at a known frequency ω (rad/s) to points (time, value); points with a NaN are left out.
///
/// # Errors
/// Fewer than three points, or points that do not determine the three apart.
pub fn three_parameter(
    points: impl Iterator<Item = (f64, f64)>,
    angular_frequency: f64,
    reference_s: f64,
) -> Result<SineFit, SineError> {
    let mut triangle = Triangle::new(3);
    for (t, y) in points.filter(|p| p.1.is_finite()) {
        let (sin, cos) = (angular_frequency * (t - reference_s)).sin_cos();
        triangle.push(y, &[cos, sin, 1.0]);
    }
    triangle.fold();
    let solution = solve_triangle(&triangle)?;
    Ok(assemble(&solution, angular_frequency, reference_s, 0))
}

/// Fits all four parameters from a start of ω (rad/s), and checks that no other frequency fits better.
///
/// # Errors
/// See [`SineError`]; a false minimum is one.
pub fn fit_points_from(points: &[(f64, f64)], start: f64) -> Result<SineFit, SineError> {
    let reference_s = middle(points);
    let fit = four_parameter(points.iter().copied(), start, reference_s)?;
    check_basin(&fit, points)?;
    Ok(fit)
}

/// Fits all four parameters, with a search for the frequency that fits best. Meant for up to a few thousand points,
/// evenly spaced or not.
///
/// # Errors
/// See [`SineError`].
pub fn fit_points(points: &[(f64, f64)]) -> Result<SineFit, SineError> {
    fit_points_from(points, search::best_frequency(points).angular_frequency)
}

/// Fits all four parameters to an evenly sampled record of any length.
///
/// # Errors
/// See [`SineError`].
pub fn fit_record(record: &Record<'_>) -> Result<SineFit, SineError> {
    let count = record.samples.len();
    if count <= search::MOST_POINTS {
        let points: Vec<(f64, f64)> = points_of(record, 0..count).collect();
        return fit_points(&points);
    }
    let reference_s = record.start_s + 0.5 * record.interval_s * (count - 1) as f64;
    if let Some(found) = search::slow(record) {
        return four_parameter(points_of(record, 0..count), found, reference_s);
    }
    // A fast sine: settle it on a short stretch, then on ever longer ones, so that each start is inside its basin.
    let short: Vec<(f64, f64)> = points_of(record, 0..search::MOST_POINTS).collect();
    let mut fit = fit_points(&short)?;
    let mut length = search::MOST_POINTS;
    while length < count {
        length = (8 * length).min(count);
        let centre = record.start_s + 0.5 * record.interval_s * (length - 1) as f64;
        fit = four_parameter(points_of(record, 0..length), fit.angular_frequency, centre)?;
    }
    Ok(fit)
}

/// Samples of a record as points.
pub(super) fn points_of<'a>(
    record: &'a Record<'a>,
    range: std::ops::Range<usize>,
) -> impl Iterator<Item = (f64, f64)> + Clone + 'a {
    range.map(|k| (record.start_s + record.interval_s * k as f64, record.samples.at(k)))
}

fn middle(points: &[(f64, f64)]) -> f64 {
    points.iter().map(|p| p.0).sum::<f64>() / points.len().max(1) as f64
}

pub(super) fn four_parameter(
    points: impl Iterator<Item = (f64, f64)> + Clone,
    start: f64,
    reference_s: f64,
) -> Result<SineFit, SineError> {
    if !(start > 0.0 && start.is_finite()) {
        return Err(SineError::Start { frequency_hz: start / TAU });
    }
    let first = three_parameter(points.clone(), start, reference_s)?;
    let reach = points.clone().map(|p| (p.0 - reference_s).abs()).fold(0.0, f64::max);
    let (mut omega, mut cosine, mut sine) = (start, first.cosine, first.sine);
    for round in 1..=MOST_ROUNDS {
        let mut triangle = Triangle::new(4);
        for (t, y) in points.clone().filter(|p| p.1.is_finite()) {
            let lag = t - reference_s;
            let (s, c) = (omega * lag).sin_cos();
            triangle.push(y, &[c, s, 1.0, lag * (sine * c - cosine * s)]);
        }
        triangle.fold();
        let solution = solve_triangle(&triangle)?;
        let change = solution.theta[3];
        (cosine, sine) = (solution.theta[0], solution.theta[1]);
        omega += change;
        if !(omega > 0.0 && omega.is_finite()) {
            return Err(SineError::NotConverged { rounds: round, frequency_hz: omega / TAU });
        }
        if change.abs() * reach <= (8.0 * f64::EPSILON * omega * reach).max(1e-11) {
            return Ok(assemble(&solution, omega, reference_s, round));
        }
    }
    Err(SineError::NotConverged { rounds: MOST_ROUNDS, frequency_hz: omega / TAU })
}

fn assemble(
    solution: &crate::numeric::linear::LinearSolution,
    angular_frequency: f64,
    reference_s: f64,
    rounds: usize,
) -> SineFit {
    let p = solution.theta.len();
    let freedom = solution.rows.saturating_sub(p).max(1) as f64;
    let variance = solution.cost / freedom;
    let mut covariance = [[0.0; 4]; 4];
    for (i, row) in covariance.iter_mut().enumerate().take(p) {
        for (j, entry) in row.iter_mut().enumerate().take(p) {
            *entry = variance * solution.covariance[i * p + j];
        }
    }
    SineFit {
        reference_s,
        angular_frequency,
        cosine: solution.theta[0],
        sine: solution.theta[1],
        offset: solution.theta[2],
        covariance,
        cost: solution.cost,
        points: solution.rows,
        rounds,
    }
}

/// Refuses a fit when the search over all frequencies fits the same points clearly better.
fn check_basin(fit: &SineFit, points: &[(f64, f64)]) -> Result<(), SineError> {
    let best = search::best_frequency(points);
    let rms = |cost: f64| (cost / points.len() as f64).sqrt();
    let better = three_parameter(points.iter().copied(), best.angular_frequency, fit.reference_s)?;
    if fit.cost > 1.02 * better.cost && rms(fit.cost - better.cost) > 1e-9 * fit.amplitude().value {
        return Err(SineError::FalseMinimum {
            frequency_hz: fit.angular_frequency / TAU,
            residual_rms: rms(fit.cost),
            better_hz: best.angular_frequency / TAU,
            better_rms: rms(better.cost),
        });
    }
    Ok(())
}
