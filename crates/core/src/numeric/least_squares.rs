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
        if high <= 0.0 {
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
                    let row = &mut self.work[i * stride + i..=i * stride + p];
                    for (a, b) in row.iter_mut().zip(&mut extra[i..]) {
                        (*a, *b) = (cosine * *a + sine * *b, cosine * *b - sine * *a);
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
            if shrink.is_nan() || shrink < 0.1 || actual < -99.0 * cost {
                shrink = 0.1;
            }
            self.radius = shrink * self.radius.min(10.0 * step.scaled_length);
        } else if ratio >= 0.75 || step.damping == 0.0 {
            self.radius = 2.0 * step.scaled_length;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};
    use proptest::prelude::*;

    /// Residuals and rows as functions of the parameters.
    struct Rows<F: Fn(&[f64]) -> Vec<(f64, Vec<f64>)>>(usize, F);

    impl<F: Fn(&[f64]) -> Vec<(f64, Vec<f64>)>> Problem for Rows<F> {
        fn parameters(&self) -> usize {
            self.0
        }
        fn visit(&self, theta: &[f64], mut emit: impl FnMut(f64, &[f64])) {
            for (residual, row) in (self.1)(theta) {
                emit(residual, &row);
            }
        }
    }

    #[test]
    fn banana_valley_is_followed_to_its_end() {
        // H. H. Rosenbrock 1960: (1 − x)² + 100(y − x²)² from (−1.2, 1), minimum nil at (1, 1).
        let valley = Rows(2, |t: &[f64]| {
            vec![(1.0 - t[0], vec![-1.0, 0.0]), (10.0 * (t[1] - t[0] * t[0]), vec![-20.0 * t[0], 10.0])]
        });
        let solution = solve(&valley, &[-1.2, 1.0], &Options::default()).expect("a solution");
        assert!(solution.converged() && solution.passes < 40, "{solution:?}");
        assert_close!(solution.theta, [1.0, 1.0], within(1e-9));
    }

    #[test]
    fn refused_points_shorten_the_step() {
        // ln θ = 3 from θ = 1: the first full step is to 4; from 30 it leads to a negative argument.
        let logarithm = Rows(1, |t: &[f64]| vec![(t[0].ln() - 3.0, vec![1.0 / t[0]])]);
        for start in [1.0, 200.0, 1e4] {
            let solution = solve(&logarithm, &[start], &Options::default()).expect("a solution");
            assert_close!(solution.theta[0], 3f64.exp(), relative(1e-9), "from {start}");
        }
    }

    #[test]
    fn errors_and_rank_are_reported() {
        let short = Rows(2, |t: &[f64]| vec![(t[0] + t[1], vec![1.0, 1.0])]);
        assert_eq!(
            solve(&short, &[0.0, 0.0], &Options::default()),
            Err(SolveError::TooFewRows { rows: 1, parameters: 2 })
        );
        let start = SolveError::StartLength { given: 1, parameters: 2 };
        assert_eq!(solve(&short, &[0.0], &Options::default()), Err(start));
        let never = Rows(1, |_: &[f64]| vec![(f64::NAN, vec![1.0])]);
        assert_eq!(solve(&never, &[0.0], &Options::default()), Err(SolveError::NotFiniteAtStart));
        // Only the sum of the parameters matters: a solution, but no covariance.
        let sum = Rows(2, |t: &[f64]| (0..5).map(|k| (t[0] + t[1] - f64::from(k), vec![1.0, 1.0])).collect());
        let solution = solve(&sum, &[0.0, 0.0], &Options::default()).expect("a solution");
        assert_close!(solution.theta[0] + solution.theta[1], 2.0, within(1e-6));
        assert!(solution.covariance.is_none() && solution.condition > 1e12);
    }

    #[test]
    fn the_pass_limit_is_told() {
        let slow = Rows(1, |t: &[f64]| vec![(t[0].exp(), vec![t[0].exp()]), (0.0, vec![0.0])]);
        let options = Options { max_passes: 3, ..Options::default() };
        assert_eq!(solve(&slow, &[0.0], &options).expect("a solution").stop, Stop::PassLimit);
    }

    proptest! {
        #[test]
        fn prop_the_units_of_the_parameters_do_not_matter(exponent in -9..9_i32, truth in 0.3..3.0_f64) {
            // y = a·exp(−bx) with b counted in other units: the same passes, the same curve.
            let unit = 10f64.powi(exponent);
            let curve = Rows(2, move |t: &[f64]| {
                (0..20)
                    .map(|k| {
                        let x = 0.2 * f64::from(k);
                        let y = 2.0 * (-truth * x).exp() + 0.01 * (7.0 * x).sin();
                        let decay = (-t[1] * unit * x).exp();
                        (t[0] * decay - y, vec![decay, -t[0] * unit * x * decay])
                    })
                    .collect()
            });
            let solution = solve(&curve, &[1.0, 1.0 / unit], &Options::default()).expect("a solution");
            prop_assert!(solution.converged() && solution.passes < 30);
            assert_close!([solution.theta[0], solution.theta[1] * unit], [2.0, truth], within(0.05));
        }
    }
}
