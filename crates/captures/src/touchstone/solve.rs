//! Linear equations with complex coefficients, as small as the number of ports.

use num_complex::Complex64;

/// A pivot smaller than this share of the largest element says that the matrix has no inverse worth having.
const SINGULAR: f64 = 1e-14;

/// Solves X·`a` = `b` for X; all n × n, row by row. `None` where `a` has no inverse.
///
/// Gaussian elimination on columns with partial pivoting.
pub(super) fn divide(b: &[Complex64], a: &[Complex64], n: usize) -> Option<Vec<Complex64>> {
    // The equation is transposed: aᵀ Xᵀ = bᵀ, and rows of the transposed are eliminated.
    let mut left = transpose(a, n);
    let mut right = transpose(b, n);
    let largest = left.iter().map(|x| x.norm()).fold(0.0, f64::max);
    for column in 0..n {
        let pivot = (column..n)
            .max_by(|&i, &j| left[i * n + column].norm().total_cmp(&left[j * n + column].norm()))?;
        if !(left[pivot * n + column].norm() > SINGULAR * largest) {
            return None;
        }
        for k in 0..n {
            left.swap(pivot * n + k, column * n + k);
            right.swap(pivot * n + k, column * n + k);
        }
        let inverse = left[column * n + column].inv();
        for row in (0..n).filter(|&row| row != column) {
            let factor = left[row * n + column] * inverse;
            for k in 0..n {
                let (l, r) = (left[column * n + k], right[column * n + k]);
                left[row * n + k] -= factor * l;
                right[row * n + k] -= factor * r;
            }
        }
    }
    for row in 0..n {
        let inverse = left[row * n + row].inv();
        for k in 0..n {
            right[row * n + k] *= inverse;
        }
    }
    let solved = transpose(&right, n);
    solved.iter().all(|x| x.is_finite()).then_some(solved)
}

fn transpose(a: &[Complex64], n: usize) -> Vec<Complex64> {
    (0..n * n).map(|k| a[(k % n) * n + k / n]).collect()
}
