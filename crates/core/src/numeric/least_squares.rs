//! Non-linear least squares: Levenberg–Marquardt inside a trust region, on streamed rows.
//!
//! Minimises Σ rᵢ(θ)². Each step solves min ‖J·δ + r‖² + λ‖D·δ‖² with λ such that ‖D·δ‖ fits the trust radius, D
//! being the largest column lengths of J seen so far, so that the result does not depend on the units of the
//! parameters. The rows are reduced by QR as they come; JᵀJ is never formed.
//! Source of the method: J. J. Moré, "The Levenberg–Marquardt algorithm: implementation and theory", *Lecture Notes in
//! Mathematics* 630 (1978) 105–116 (from memory). Checked with the NIST StRD non-linear sets (validation dossier).

use super::linear::Triangle;
use thiserror::Error;

/// What is to be minimised.
pub trait Problem {
    /// Number of parameters p.
    fn parameters(&self) -> usize;

    /// Calls `emit(residual, row)` for every observation in the same order each time, `residual` being the weighted
    /// residual and `row[j]` its derivative by parameter j.
    ///
    /// A point at which the model has no value is refused by emitting a NaN once: the step is then shortened.
    fn visit(&self, theta: &[f64], emit: impl FnMut(f64, &[f64]));
}

/// When to stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Largest number of passes over the rows.
    pub max_passes: usize,
    /// Stop when a step changes every scaled parameter by less than this share.
    pub relative_step: f64,
    /// Stop when the linearised problem promises to lower the sum of squares by less than this share.
    pub relative_cost: f64,
    /// First trust radius, as a multiple of ‖D·θ‖.
    pub first_radius: f64,
}

impl Default for Options {
    /// To about 1e-7 of the standard deviation that the residuals allow the parameters.
    fn default() -> Self {
        Self { max_passes: 200, relative_step: 1e-12, relative_cost: 1e-14, first_radius: 1.0 }
    }
}

/// Why the iteration stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The promised improvement of the sum of squares fell below [`Options::relative_cost`].
    RelativeCost,
    /// The step fell below [`Options::relative_step`].
    RelativeStep,
    /// No step lowers the sum of squares any more, within double precision.
    Precision,
    /// [`Options::max_passes`] was reached first: not converged.
    PassLimit,
}

/// Where the iteration ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The parameters.
    pub theta: Vec<f64>,
    /// Sum of squared residuals there.
    pub cost: f64,
    /// (JᵀJ)⁻¹ there, row-major p × p, not scaled by the residuals: the covariance when the residuals have unit
    /// variance. `None` when the rows do not determine every parameter within double precision.
    pub covariance: Option<Vec<f64>>,
    /// Condition number of J with its columns scaled to length 1; infinite when a parameter has no influence.
    pub condition: f64,
    /// Number of rows.
    pub rows: usize,
    /// Steps taken.
    pub iterations: usize,
    /// Passes over the rows, refused steps included.
    pub passes: usize,
    /// Why it ended.
    pub stop: Stop,
}

impl Solution {
    /// Whether a stopping rule other than the pass limit ended the iteration.
    pub fn converged(&self) -> bool {
        self.stop != Stop::PassLimit
    }

    /// Degrees of freedom m − p.
    pub fn degrees_of_freedom(&self) -> usize {
        self.rows - self.theta.len()
    }

    /// Standard deviation of the residuals, sqrt(cost/(m − p)); nil when there is no degree of freedom.
    pub fn residual_deviation(&self) -> f64 {
        if self.degrees_of_freedom() == 0 {
            0.0
        } else {
            (self.cost / self.degrees_of_freedom() as f64).sqrt()
        }
    }

    /// Standard deviation of each parameter for rows of the standard deviation `row_deviation`
    /// (1 when the residuals are weighted, [`Solution::residual_deviation`] when they are not).
    pub fn standard_deviations(&self, row_deviation: f64) -> Option<Vec<f64>> {
        let p = self.theta.len();
        self.covariance.as_ref().map(|c| (0..p).map(|i| row_deviation * c[i * p + i].sqrt()).collect())
    }
}

/// Why there is no solution at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum SolveError {
    /// The start has not as many values as the problem has parameters, or there is none.
    #[error("{given} starting values for {parameters} parameters")]
    StartLength {
        /// Values given.
        given: usize,
        /// Parameters of the problem.
        parameters: usize,
    },
    /// Fewer rows than parameters.
    #[error("{rows} rows cannot determine {parameters} parameters: give at least {parameters} rows")]
    TooFewRows {
        /// Rows given.
        rows: usize,
        /// Parameters of the problem.
        parameters: usize,
    },
    /// The model has no finite value at the start.
    #[error("the model has no finite value at the starting point")]
    NotFiniteAtStart,
}

/// Minimises the sum of squares from `start`.
///
/// # Errors
/// A start of the wrong length or without a finite value, or fewer rows than parameters. Not converging is not an
/// error: see [`Solution::stop`].
pub fn solve<P: Problem>(problem: &P, start: &[f64], options: &Options) -> Result<Solution, SolveError> {
    let p = problem.parameters();
    if start.len() != p || p == 0 {
        return Err(SolveError::StartLength { given: start.len(), parameters: p });
    }
    let linearise = |theta: &[f64], into: &mut Triangle| {
        into.clear();
        problem.visit(theta, |residual, row| into.push(residual, row));
        into.fold();
    };
    let mut here = Triangle::new(p);
    let mut there = Triangle::new(p);
    let mut theta = start.to_vec();
    let mut trial = vec![0.0; p];
    linearise(&theta, &mut here);
    if here.rows() < p {
        return Err(SolveError::TooFewRows { rows: here.rows(), parameters: p });
    }
    if !here.is_finite() {
        return Err(SolveError::NotFiniteAtStart);
    }
    let mut region = Region::new(&here, &theta, options.first_radius);
    let (mut passes, mut iterations) = (1, 0);
    let mut stop = Stop::PassLimit;
    while passes < options.max_passes {
        let cost = here.sum_of_squares();
        let step = region.step(&here);
        if passes == 1 {
            region.radius = region.radius.min(step.scaled_length);
        }
        // ‖Jδ‖² + 2λ‖Dδ‖² is what the linearised problem promises to take off the sum of squares.
        let promised = step.image_squared + 2.0 * step.damping * step.scaled_length * step.scaled_length;
        if promised <= options.relative_cost * cost || cost == 0.0 {
            stop = Stop::RelativeCost;
        }
        let scaled_theta = region.scaled_length(&theta);
        if step.scaled_length <= options.relative_step * scaled_theta {
            stop = Stop::RelativeStep;
        }
        for ((t, &x), &d) in trial.iter_mut().zip(&theta).zip(&step.delta) {
            *t = x + d;
        }
        linearise(&trial, &mut there);
        passes += 1;
        let actual = if there.is_finite() { cost - there.sum_of_squares() } else { f64::NEG_INFINITY };
        if stop != Stop::PassLimit {
            // The last, tiny step is taken when it does no harm beyond rounding.
            if actual >= -1e-12 * cost {
                std::mem::swap(&mut here, &mut there);
                std::mem::swap(&mut theta, &mut trial);
                iterations += 1;
            }
            break;
        }
        let ratio = if promised > 0.0 { actual / promised } else { 0.0 };
        region.adapt(&step, ratio, actual, cost);
        if ratio > 1e-4 {
            std::mem::swap(&mut here, &mut there);
            std::mem::swap(&mut theta, &mut trial);
            iterations += 1;
            region.rescale(&here);
        } else if region.radius <= 4.0 * f64::EPSILON * scaled_theta || promised <= 1e-15 * cost {
            stop = Stop::Precision;
            break;
        }
    }
    Ok(Solution {
        cost: here.sum_of_squares(),
        covariance: here.inverse_normal(),
        condition: here.condition(),
        rows: here.rows(),
        theta,
        iterations,
        passes,
        stop,
    })
}

/// A step and what the linearised problem says of it.
struct Step {
    delta: Vec<f64>,
    /// λ.
    damping: f64,
    /// ‖D·δ‖.
    scaled_length: f64,
    /// ‖J·δ‖².
    image_squared: f64,
}

/// The trust region ‖D·δ‖ ≤ radius.
struct Region {
    scale: Vec<f64>,
    radius: f64,
    damping: f64,
    /// Work space: p × (p+1) triangle with the right-hand side as the last column.
    work: Vec<f64>,
}

impl Region {
    fn new(triangle: &Triangle, theta: &[f64], first_radius: f64) -> Self {
        let p = theta.len();
        let scale: Vec<f64> = (0..p)
            .map(|j| {
                let length = triangle.column_length(j);
                if length > 0.0 { length } else { 1.0 }
            })
            .collect();
        let mut region = Self { scale, radius: 0.0, damping: 0.0, work: vec![0.0; p * (p + 1)] };
        let length = region.scaled_length(theta);
        region.radius = first_radius * if length > 0.0 { length } else { 1.0 };
        region
    }

    fn scaled_length(&self, delta: &[f64]) -> f64 {
        self.scale.iter().zip(delta).map(|(d, x)| (d * x) * (d * x)).sum::<f64>().sqrt()
    }

    fn rescale(&mut self, triangle: &Triangle) {
        for (j, scale) in self.scale.iter_mut().enumerate() {
            *scale = scale.max(triangle.column_length(j));
        }
    }

    /// The step whose scaled length is the radius within a tenth, or the undamped one if it is shorter.
    fn step(&mut self, triangle: &Triangle) -> Step {
        let mut low = 0.0_f64;
        if let Some(step) = self.damped_step(triangle, 0.0) {
            if step.scaled_length <= 1.1 * self.radius {
                self.damping = 0.0;
                return step;
            }
            low = self.damping_change(&step).max(0.0);
        }
        // Bounds for λ: ‖D·δ(λ)‖ falls with λ, and at λ = ‖D⁻¹Jᵀr‖/radius it is below the radius.
        let p = self.scale.len();
        let gradient = (0..p)
            .map(|j| {
                let g: f64 = (0..=j).map(|i| triangle.entry(i, j) * triangle.projected(i)).sum();
                (g / self.scale[j]).powi(2)
            })
            .sum::<f64>()
            .sqrt();
        let mut high = gradient / self.radius;
        if !(high > 0.0) {
            high = f64::MIN_POSITIVE / self.radius.min(0.1);
        }
        let mut damping = self.damping.max(low).min(high);
        if damping <= 0.0 {
            damping = (1e-3 * high).max((low * high).sqrt());
        }
        let mut best = None;
        for _ in 0..30 {
            let Some(step) = self.damped_step(triangle, damping) else {
                damping = (10.0 * damping).max(1e-3 * high);
                continue;
            };
            let excess = step.scaled_length - self.radius;
            let close = excess.abs() <= 0.1 * self.radius;
            if excess > 0.0 {
                low = low.max(damping);
            } else {
                high = high.min(damping);
            }
            let next = damping + self.damping_change(&step);
            best = Some(step);
            if close {
                break;
            }
            damping = if next > low && next < high { next } else { (low * high).sqrt().max(1e-3 * high) };
        }
        self.damping = damping;
        best.unwrap_or(Step { delta: vec![0.0; p], damping, scaled_length: 0.0, image_squared: 0.0 })
    }

    /// Moré's correction of λ towards ‖D·δ(λ)‖ = radius, (‖Dδ‖/radius)·(‖Dδ‖ − radius)·‖Dδ‖/s with
    /// s = (D²δ)ᵀ(JᵀJ + λD²)⁻¹(D²δ). Uses the triangle that [`Region::damped_step`] left behind.
    fn damping_change(&self, step: &Step) -> f64 {
        let p = self.scale.len();
        let mut z: Vec<f64> = step.delta.iter().zip(&self.scale).map(|(x, d)| d * d * x).collect();
        for i in 0..p {
            let rest: f64 = (0..i).map(|k| self.work[k * (p + 1) + i] * z[k]).sum();
            z[i] = (z[i] - rest) / self.work[i * (p + 1) + i];
        }
        let slope: f64 = z.iter().map(|v| v * v).sum();
        step.scaled_length / self.radius * (step.scaled_length - self.radius) * (step.scaled_length / slope)
    }

    /// Solves [R; √λ·D]·δ ≈ −[Qᵀr; 0] by plane rotations; `None` when the triangle is singular.
    fn damped_step(&mut self, triangle: &Triangle, damping: f64) -> Option<Step> {
        let p = self.scale.len();
        let stride = p + 1;
        for i in 0..p {
            for j in 0..p {
                self.work[i * stride + j] = if j >= i { triangle.entry(i, j) } else { 0.0 };
            }
            self.work[i * stride + p] = -triangle.projected(i);
        }
        if damping > 0.0 {
            let mut extra = vec![0.0; stride];
            for k in 0..p {
                extra.fill(0.0);
                extra[k] = damping.sqrt() * self.scale[k];
                for i in k..p {
                    if extra[i] == 0.0 {
                        continue;
                    }
                    let head = self.work[i * stride + i];
                    let length = head.hypot(extra[i]);
                    let (cosine, sine) = (head / length, extra[i] / length);
                    for j in i..=p {
                        let (a, b) = (self.work[i * stride + j], extra[j]);
                        self.work[i * stride + j] = cosine * a + sine * b;
                        extra[j] = cosine * b - sine * a;
                    }
                }
            }
        }
        let mut delta = vec![0.0; p];
        for i in (0..p).rev() {
            let diagonal = self.work[i * stride + i];
            if diagonal.abs() <= f64::EPSILON * self.scale[i] {
                return None;
            }
            let rest: f64 = (i + 1..p).map(|j| self.work[i * stride + j] * delta[j]).sum();
            delta[i] = (self.work[i * stride + p] - rest) / diagonal;
        }
        let image_squared =
            (0..p).map(|i| (i..p).map(|j| triangle.entry(i, j) * delta[j]).sum::<f64>().powi(2)).sum();
        let scaled_length = self.scaled_length(&delta);
        (scaled_length.is_finite()).then_some(Step { delta, damping, scaled_length, image_squared })
    }

    /// Widens or narrows the region by how well the linearised problem foretold the sum of squares.
    fn adapt(&mut self, step: &Step, ratio: f64, actual: f64, cost: f64) {
        if ratio <= 0.25 {
            // The parabola through the cost, its slope and the new cost says how far the step should have gone.
            let slope = -(step.image_squared + step.damping * step.scaled_length.powi(2));
            let mut shrink = if actual >= 0.0 { 0.5 } else { 0.5 * slope / (slope + 0.5 * actual) };
            if !(shrink >= 0.1) || actual < -99.0 * cost {
                shrink = 0.1;
            }
            self.radius = shrink * self.radius.min(10.0 * step.scaled_length);
        } else if ratio >= 0.75 || step.damping == 0.0 {
            self.radius = 2.0 * step.scaled_length;
        }
    }
}
