//! Exponential and damped-sine data of a paper on regression, through the least-squares engine.

use super::curve::{Curve, Model, columns};
use super::{Row, Tag, rows_of};
use flattop_core::numeric::least_squares::{Options, Solution, solve};

const SOURCE: &str =
    "data: J. Jacquelin, *Régressions et équations intégrales*, 2014; least-squares values: SciPy 1.17";

fn fit(csv: &str, model: Model, start: &[f64]) -> Option<Solution> {
    let mut table = columns(csv);
    let y = table.swap_remove(1);
    let curve = Curve { x: table.swap_remove(0), y, model, parameters: start.len() };
    solve(&curve, start, &Options { relative_cost: 1e-18, ..Options::default() })
        .ok()
        .filter(Solution::converged)
}

/// The parameters, their standard errors and the residual sum of squares; NaN when there was no solution.
fn figures(solution: Option<Solution>, parameters: usize) -> (Vec<f64>, Vec<f64>, f64) {
    let missing = vec![f64::NAN; parameters];
    match solution {
        None => (missing.clone(), missing, f64::NAN),
        Some(s) => {
            let errors = s.standard_deviations(s.residual_deviation()).unwrap_or(missing);
            (s.theta, errors, s.cost)
        }
    }
}

#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    let exponential = fit(
        include_str!("../../../reference/published/jacquelin_exponential.csv"),
        |x, b| b[0] + b[1] * (b[2] * x).exp(), &[0.0, 1.0, 1.0]);
    let (b, se, rss) = figures(exponential, 3);
    let mut rows = rows_of(SOURCE, Tag::Derived, &[
        ("F-01", "y = a + b·exp(cx): a", 0.337_706_37, b[0], 1e-7, "1"),
        ("F-01", "b", 0.542_859_20, b[1], 1e-7, "1"),
        ("F-01", "c", 1.774_781_06, b[2], 1e-7, "1"),
        ("F-01", "standard error of a", 0.05307, se[0], 0.51e-5, "1"),
        ("F-01", "standard error of b", 0.05899, se[1], 0.51e-5, "1"),
        ("F-01", "standard error of c", 0.11061, se[2], 0.51e-5, "1"),
        ("F-01", "residual sum of squares", 0.134_659_78, rss, 1e-8, "1"),
    ]);
    let damped = fit(
        include_str!("../../../reference/published/jacquelin_damped_sine.csv"),
        |x, b| b[0] * (b[1] * x + b[2]).sin() * (b[3] * x).exp(), &[3.0, 1.5, 0.7, -0.1]);
    let (b, _, rss) = figures(damped, 4);
    rows.extend(rows_of(SOURCE, Tag::Derived, &[
        ("F-02", "y = ρ·sin(ωx+φ)·exp(αx): ρ", 3.811_882_12, b[0], 1e-7, "1"),
        ("F-02", "ω", 1.513_781_92, b[1], 1e-7, "1"),
        ("F-02", "φ", 0.746_386_85, b[2], 1e-7, "1"),
        ("F-02", "α", -0.192_502_49, b[3], 1e-7, "1"),
        ("F-02", "residual sum of squares", 0.134_803_43, rss, 1e-8, "1"),
    ]));
    let double = fit(
        include_str!("../../../reference/published/jacquelin_double_exponential.csv"),
        |x, b| b[0] * (b[1] * x).exp() + b[2] * (b[3] * x).exp(), &[0.001, 6.4, 0.42, -5.2]);
    let (b, se, rss) = figures(double, 4);
    rows.extend(rows_of(SOURCE, Tag::Derived, &[
        ("F-03", "y = b·exp(px) + c·exp(qx): p", 6.498_762, b[1], 0.51e-6, "1"),
        ("F-03", "q", -5.216_438, b[3], 0.51e-6, "1"),
        ("F-03", "b", 0.001_007_017, b[0], 0.51e-9, "1"),
        ("F-03", "c", 0.424_171_05, b[2], 0.51e-8, "1"),
        ("F-03", "standard error of p", 0.125, se[1], 0.51e-3, "1"),
        ("F-03", "standard error of q", 0.190, se[3], 0.51e-3, "1"),
        ("F-03", "residual sum of squares", 0.001_058_281_5, rss, 0.51e-10, "1"),
    ]));
    rows
}
