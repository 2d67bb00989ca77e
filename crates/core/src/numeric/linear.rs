//! Linear least squares by Householder QR that never holds more than a block of rows.
//!
//! | symbol | name here | meaning |
//! | --- | --- | --- |
//! | J | rows given to [`Triangle::push`] | m × p, m ≥ p |
//! | R | [`Triangle::entry`] | upper triangle with RᵀR = JᵀJ |
//! | Qᵀb | [`Triangle::projected`] | first p entries of the rotated right-hand side |
//!
//! Source of the method: Golub & Van Loan, *Matrix Computations*, chapter on orthogonalisation, and Lawson & Hanson,
//! *Solving Least Squares Problems*, chapter 27 on sequential processing of rows (both from memory).

use thiserror::Error;

/// Rows that are collected before they are folded into the triangle.
const BLOCK: usize = 64;

/// Condition of the column-scaled matrix beyond which double precision cannot tell its columns apart.
pub const CONDITION_LIMIT: f64 = 1.0 / (64.0 * f64::EPSILON);

/// Why a linear system gives no solution.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum LinearError {
    /// Fewer rows than unknowns.
    #[error("{rows} rows cannot determine {unknowns} unknowns: give at least {unknowns} rows")]
    TooFewRows {
        /// Rows given.
        rows: usize,
        /// Unknowns asked for.
        unknowns: usize,
    },
    /// A row holds a value that is not a finite number.
    #[error("a row holds a value that is not a finite number: remove such rows first")]
    NotFinite,
    /// The columns depend on each other within double precision.
    #[error(
        "the columns depend on each other (condition {condition:e}): the rows do not determine every unknown"
    )]
    RankDeficient {
        /// Condition number of the matrix with its columns scaled to length 1.
        condition: f64,
    },
}

/// The triangle that a tall system J·x ≈ b has been reduced to. Memory is p², whatever the number of rows.
#[derive(Clone, Debug)]
pub struct Triangle {
    unknowns: usize,
    /// Row-major p × (p+1): R, and Qᵀb as the last column.
    reduced: Vec<f64>,
    /// Column-major BLOCK × (p+1): rows not folded in yet.
    block: Vec<f64>,
    waiting: usize,
    rows: usize,
    sum_of_squares: f64,
    remainder: f64,
}

impl Triangle {
    /// An empty system of `unknowns` columns.
    pub fn new(unknowns: usize) -> Self {
        Self {
            unknowns,
            reduced: vec![0.0; unknowns * (unknowns + 1)],
            block: vec![0.0; BLOCK * (unknowns + 1)],
            waiting: 0,
            rows: 0,
            sum_of_squares: 0.0,
            remainder: 0.0,
        }
    }

    /// Forgets all rows.
    pub fn clear(&mut self) {
        self.reduced.fill(0.0);
        self.waiting = 0;
        self.rows = 0;
        self.sum_of_squares = 0.0;
        self.remainder = 0.0;
    }

    /// Adds the row `row · x ≈ right`.
    ///
    /// # Panics
    /// When `row` is not as long as there are unknowns.
    #[inline]
    pub fn push(&mut self, right: f64, row: &[f64]) {
        assert_eq!(row.len(), self.unknowns, "a row has one entry for each unknown");
        for (column, &value) in row.iter().enumerate() {
            self.block[column * BLOCK + self.waiting] = value;
        }
        self.block[self.unknowns * BLOCK + self.waiting] = right;
        self.sum_of_squares += right * right;
        self.rows += 1;
        self.waiting += 1;
        if self.waiting == BLOCK {
            self.fold();
        }
    }

    /// Folds the waiting rows in. Called by [`Triangle::push`]; call it once more after the last row.
    pub fn fold(&mut self) {
        let (p, n) = (self.unknowns, self.waiting);
        self.waiting = 0;
        if n == 0 {
            return;
        }
        let stride = p + 1;
        for k in 0..p {
            // The reflector acts on R[k][k] and on the block's column k; the rest of R's column k is nil already.
            let (left, right) = self.block.split_at_mut((k + 1) * BLOCK);
            let reflector = &mut left[k * BLOCK..k * BLOCK + n];
            let below = dot(reflector, reflector);
            if below == 0.0 {
                continue;
            }
            let head = self.reduced[k * stride + k];
            let length = (head * head + below).sqrt();
            let new_head = if head > 0.0 { -length } else { length };
            let first = head - new_head;
            let factor = -first / new_head;
            reflector.iter_mut().for_each(|v| *v /= first);
            self.reduced[k * stride + k] = new_head;
            for j in k + 1..=p {
                let column = &mut right[(j - k - 1) * BLOCK..(j - k - 1) * BLOCK + n];
                let top = &mut self.reduced[k * stride + j];
                let share = factor * (*top + dot(reflector, column));
                *top -= share;
                for (c, &v) in column.iter_mut().zip(reflector.iter()) {
                    *c -= share * v;
                }
            }
        }
        // What the reflections left of the right-hand side is what no choice of the unknowns can explain.
        let left_over = &self.block[p * BLOCK..p * BLOCK + n];
        self.remainder += dot(left_over, left_over);
    }

    /// Number of unknowns p.
    pub fn unknowns(&self) -> usize {
        self.unknowns
    }

    /// Number of rows given so far.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Sum of squares of the right-hand sides, before any fit.
    pub fn sum_of_squares(&self) -> f64 {
        self.sum_of_squares
    }

    /// Least sum of squared residuals, of the folded rows. Free of the cancellation of a difference of squares.
    pub fn remainder(&self) -> f64 {
        self.remainder
    }

    /// R at `row` ≤ `column`, of the folded rows.
    #[inline]
    pub fn entry(&self, row: usize, column: usize) -> f64 {
        self.reduced[row * (self.unknowns + 1) + column]
    }

    /// Entry `row` of Qᵀb, of the folded rows.
    #[inline]
    pub fn projected(&self, row: usize) -> f64 {
        self.reduced[row * (self.unknowns + 1) + self.unknowns]
    }

    /// Length of a column of J.
    pub fn column_length(&self, column: usize) -> f64 {
        (0..=column).map(|row| self.entry(row, column).powi(2)).sum::<f64>().sqrt()
    }

    /// Whether everything folded in so far is finite.
    pub fn is_finite(&self) -> bool {
        self.sum_of_squares.is_finite() && self.reduced.iter().all(|v| v.is_finite())
    }

    /// Condition number of J with its columns scaled to length 1; infinite when a column is nil.
    pub fn condition(&self) -> f64 {
        let p = self.unknowns;
        let mut columns: Vec<Vec<f64>> = Vec::with_capacity(p);
        for j in 0..p {
            let length = self.column_length(j);
            if !(length > 0.0 && length.is_finite()) {
                return f64::INFINITY;
            }
            columns.push((0..p).map(|i| if i <= j { self.entry(i, j) / length } else { 0.0 }).collect());
        }
        let values = singular_values(columns);
        let largest = values.iter().copied().fold(0.0, f64::max);
        let smallest = values.iter().copied().fold(f64::INFINITY, f64::min);
        largest / smallest
    }

    /// Back substitution R·x = Qᵀb; `None` when R has a nil on its diagonal.
    pub fn back_substitute(&self) -> Option<Vec<f64>> {
        let p = self.unknowns;
        let mut x = vec![0.0; p];
        for i in (0..p).rev() {
            let rest: f64 = (i + 1..p).map(|j| self.entry(i, j) * x[j]).sum();
            x[i] = (self.projected(i) - rest) / self.entry(i, i);
            if !x[i].is_finite() {
                return None;
            }
        }
        Some(x)
    }

    /// (JᵀJ)⁻¹ = R⁻¹R⁻ᵀ, row-major p × p; `None` when J is rank-deficient in double precision.
    pub fn inverse_normal(&self) -> Option<Vec<f64>> {
        let p = self.unknowns;
        let condition = self.condition();
        if condition.is_nan() || condition > CONDITION_LIMIT {
            return None;
        }
        let upper: Vec<f64> =
            (0..p * p).map(|i| if i / p <= i % p { self.entry(i / p, i % p) } else { 0.0 }).collect();
        let inverse = invert_upper(&upper, p)?;
        let mut product = vec![0.0; p * p];
        for i in 0..p {
            for j in i..p {
                let sum: f64 = (j..p).map(|k| inverse[i * p + k] * inverse[j * p + k]).sum();
                product[i * p + j] = sum;
                product[j * p + i] = sum;
            }
        }
        Some(product)
    }
}

/// The answer of [`solve_linear`].
#[derive(Clone, Debug, PartialEq)]
pub struct LinearSolution {
    /// The unknowns.
    pub theta: Vec<f64>,
    /// Sum of squared residuals.
    pub cost: f64,
    /// (JᵀJ)⁻¹, row-major; times the variance of one row it is the covariance of `theta`.
    pub covariance: Vec<f64>,
    /// Condition number of the matrix with its columns scaled to length 1.
    pub condition: f64,
    /// Number of rows.
    pub rows: usize,
}

/// Solves `row · x ≈ right` for all rows in the least-squares sense.
///
/// # Errors
/// Too few rows, a value that is not finite, or columns that depend on each other.
pub fn solve_linear<R: AsRef<[f64]>>(
    unknowns: usize,
    rows: impl IntoIterator<Item = (f64, R)>,
) -> Result<LinearSolution, LinearError> {
    let mut triangle = Triangle::new(unknowns);
    for (right, row) in rows {
        triangle.push(right, row.as_ref());
    }
    triangle.fold();
    solve_triangle(&triangle)
}

/// Solves a system that was reduced by [`Triangle`] and folded.
///
/// # Errors
/// As [`solve_linear`].
pub fn solve_triangle(triangle: &Triangle) -> Result<LinearSolution, LinearError> {
    let (rows, unknowns) = (triangle.rows(), triangle.unknowns());
    if rows < unknowns || unknowns == 0 {
        return Err(LinearError::TooFewRows { rows, unknowns });
    }
    if !triangle.is_finite() {
        return Err(LinearError::NotFinite);
    }
    let condition = triangle.condition();
    let (Some(theta), Some(covariance)) = (triangle.back_substitute(), triangle.inverse_normal()) else {
        return Err(LinearError::RankDeficient { condition });
    };
    Ok(LinearSolution { theta, cost: triangle.remainder(), covariance, condition, rows })
}

/// Inverse of an upper triangle, row-major p × p; `None` when it is singular.
pub fn invert_upper(upper: &[f64], p: usize) -> Option<Vec<f64>> {
    let mut inverse = vec![0.0; p * p];
    for j in 0..p {
        inverse[j * p + j] = 1.0 / upper[j * p + j];
        for i in (0..j).rev() {
            let sum: f64 = (i + 1..=j).map(|k| upper[i * p + k] * inverse[k * p + j]).sum();
            inverse[i * p + j] = -sum / upper[i * p + i];
        }
    }
    inverse.iter().all(|v| v.is_finite()).then_some(inverse)
}

/// Singular values of a matrix given by its columns, in no order (one-sided Jacobi rotations).
pub fn singular_values(mut columns: Vec<Vec<f64>>) -> Vec<f64> {
    let p = columns.len();
    for _sweep in 0..60 {
        let mut turned = false;
        for i in 0..p {
            for j in i + 1..p {
                let (left, right) = columns.split_at_mut(j);
                let (a, b) = (&mut left[i], &mut right[0]);
                let (aa, bb, ab) = (dot(a, a), dot(b, b), dot(a, b));
                if ab.abs() <= 1e-15 * (aa * bb).sqrt() {
                    continue;
                }
                turned = true;
                let zeta = (bb - aa) / (2.0 * ab);
                let tangent = zeta.signum() / (zeta.abs() + (1.0 + zeta * zeta).sqrt());
                let cosine = 1.0 / (1.0 + tangent * tangent).sqrt();
                let sine = cosine * tangent;
                for (x, y) in a.iter_mut().zip(b.iter_mut()) {
                    (*x, *y) = (cosine * *x - sine * *y, sine * *x + cosine * *y);
                }
            }
        }
        if !turned {
            break;
        }
    }
    columns.iter().map(|c| dot(c, c).sqrt()).collect()
}

/// Scalar product in four lanes, so that the compiler may use vector instructions.
#[inline]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 4];
    let (a_quads, b_quads) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f64 = a_quads.remainder().iter().zip(b_quads.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a_quads.zip(b_quads) {
        for lane in 0..4 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes[0] + lanes[1] + lanes[2] + lanes[3] + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};
    use proptest::prelude::*;

    #[test]
    fn straight_line_has_the_textbook_covariance() {
        // Line through x = −2…2: var(offset) = 1/5, var(slope) = 1/Σx² = 1/10, no correlation (elementary).
        let rows = (-2..=2).map(|x| (3.0 + 0.5 * f64::from(x), [1.0, f64::from(x)]));
        let solution = solve_linear(2, rows).expect("five points determine a line");
        assert_close!(solution.theta, [3.0, 0.5], within(1e-14));
        assert_close!(solution.covariance, [0.2, 0.0, 0.0, 0.1], within(1e-15));
        assert_close!(solution.cost, 0.0, within(1e-28));
    }

    #[test]
    fn dependent_columns_and_short_systems_are_refused() {
        let twice = (0..9).map(|x| (1.0, [f64::from(x), 2.0 * f64::from(x)]));
        assert!(matches!(solve_linear(2, twice), Err(LinearError::RankDeficient { .. })));
        assert!(matches!(
            solve_linear(2, [(1.0, [1.0, 0.0])]),
            Err(LinearError::TooFewRows { rows: 1, unknowns: 2 })
        ));
        let gap = (0..9).map(|x| (f64::NAN, [f64::from(x), 1.0]));
        assert!(matches!(solve_linear(2, gap), Err(LinearError::NotFinite)));
    }

    #[test]
    fn condition_of_a_known_matrix() {
        // Unit columns at 60°: singular values sqrt(1 ± cos 60°), condition sqrt(3).
        let mut triangle = Triangle::new(2);
        triangle.push(0.0, &[1.0, 0.5]);
        triangle.push(0.0, &[0.0, 0.75_f64.sqrt()]);
        triangle.fold();
        assert_close!(triangle.condition(), 3.0_f64.sqrt(), relative(1e-13));
    }

    proptest! {
        #[test]
        fn prop_exact_systems_are_solved_whatever_the_number_of_blocks(
            theta in prop::collection::vec(-10.0..10.0_f64, 4),
            rows in prop::collection::vec(prop::array::uniform4(-1.0..1.0_f64), 12..300),
        ) {
            let system = rows.iter().map(|r| (r.iter().zip(&theta).map(|(a, b)| a * b).sum::<f64>(), *r));
            let solution = solve_linear(4, system).expect("random rows are independent");
            assert_close!(solution.theta, theta, within(1e-11 * solution.condition));
        }
    }
}
