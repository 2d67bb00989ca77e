//! NIST StRD non-linear regression sets through the core's least-squares engine, from both published starts.

use super::curve::{Curve, Model, columns};
use super::dual::Dual;
use super::{Row, Tag};
use flattop_core::numeric::least_squares::{Options, Solution, solve};

macro_rules! set {
    ($name:literal, $model:expr) => {
        Set {
            name: $name,
            data: include_str!(concat!("../../../reference/published/nist_strd/", $name, ".csv")),
            model: $model,
        }
    };
}

/// One data set.
pub(crate) struct Set {
    pub(crate) name: &'static str,
    data: &'static str,
    model: Model,
}

/// Certified values of one set.
pub(crate) struct Certified {
    pub(crate) starts: [Vec<f64>; 2],
    pub(crate) theta: Vec<f64>,
    pub(crate) deviation: Vec<f64>,
    pub(crate) cost: f64,
    pub(crate) residual_deviation: f64,
}

fn gauss(x: f64, b: &[Dual]) -> Dual {
    let peak = |height: Dual, at: Dual, width: Dual| height * (-((x - at) / width).square()).exp();
    b[0] * (-b[1] * x).exp() + peak(b[2], b[3], b[4]) + peak(b[5], b[6], b[7])
}

fn lanczos(x: f64, b: &[Dual]) -> Dual {
    b[0] * (-b[1] * x).exp() + b[2] * (-b[3] * x).exp() + b[4] * (-b[5] * x).exp()
}

fn chwirut(x: f64, b: &[Dual]) -> Dual {
    (-b[0] * x).exp() / (b[1] + b[2] * x)
}

fn cubic_over_cubic(x: f64, b: &[Dual]) -> Dual {
    (b[0] + b[1] * x + b[2] * x.powi(2) + b[3] * x.powi(3))
        / (1.0 + b[4] * x + b[5] * x.powi(2) + b[6] * x.powi(3))
}

fn enso(x: f64, b: &[Dual]) -> Dual {
    let turn = std::f64::consts::TAU * x;
    b[0] + b[1] * (turn / 12.0).cos()
        + b[2] * (turn / 12.0).sin()
        + b[4] * (Dual::from(turn) / b[3]).cos()
        + b[5] * (Dual::from(turn) / b[3]).sin()
        + b[7] * (Dual::from(turn) / b[6]).cos()
        + b[8] * (Dual::from(turn) / b[6]).sin()
}

/// All sets with one predictor and real parameters that NIST publishes.
pub(crate) const SETS: [Set; 26] = [
    set!("Bennett5", |x, b| b[0] * (b[1] + x).pow(-1.0 * (Dual::from(1.0) / b[2]))),
    set!("BoxBOD", |x, b| b[0] * (1.0 - (-b[1] * x).exp())),
    set!("Chwirut1", chwirut),
    set!("Chwirut2", chwirut),
    set!("DanWood", |x, b| b[0] * (b[1] * x.ln()).exp()),
    set!("ENSO", enso),
    set!("Eckerle4", |x, b| b[0] / b[1] * (-0.5 * ((x - b[2]) / b[1]).square()).exp()),
    set!("Gauss1", gauss),
    set!("Gauss2", gauss),
    set!("Gauss3", gauss),
    set!("Hahn1", cubic_over_cubic),
    set!("Kirby2", |x, b| (b[0] + b[1] * x + b[2] * x * x) / (1.0 + b[3] * x + b[4] * x * x)),
    set!("Lanczos1", lanczos),
    set!("Lanczos2", lanczos),
    set!("Lanczos3", lanczos),
    set!("MGH09", |x, b| b[0] * (x * x + b[1] * x) / (x * x + b[2] * x + b[3])),
    set!("MGH10", |x, b| b[0] * (b[1] / (x + b[2])).exp()),
    set!("MGH17", |x, b| b[0] + b[1] * (-b[3] * x).exp() + b[2] * (-b[4] * x).exp()),
    set!("Misra1a", |x, b| b[0] * (1.0 - (-b[1] * x).exp())),
    set!("Misra1b", |x, b| b[0] * (1.0 - Dual::from(1.0) / (1.0 + b[1] * (0.5 * x)).square())),
    set!("Misra1c", |x, b| b[0] * (1.0 - (1.0 + b[1] * (2.0 * x)).pow(Dual::from(-0.5)))),
    set!("Misra1d", |x, b| b[0] * b[1] * x / (1.0 + b[1] * x)),
    set!("Rat42", |x, b| b[0] / (1.0 + (b[1] - b[2] * x).exp())),
    set!("Rat43", |x, b| b[0] / (1.0 + (b[1] - b[2] * x).exp()).pow(Dual::from(1.0) / b[3])),
    set!("Roszman1", |x, b| b[0] - b[1] * x - (b[2] / (x - b[3])).atan() / std::f64::consts::PI),
    set!("Thurber", cubic_over_cubic),
];

impl Set {
    /// The data as a problem.
    pub(crate) fn curve(&self) -> Curve {
        let mut table = columns(self.data);
        let x = table.swap_remove(1);
        Curve { x, y: table.swap_remove(0), model: self.model, parameters: self.certified().theta.len() }
    }

    /// Starts and certified values.
    pub(crate) fn certified(&self) -> Certified {
        let table = include_str!("../../../reference/published/nist_strd/certified_values.csv");
        let rows: Vec<Vec<f64>> = table
            .lines()
            .filter(|line| line.split(',').next() == Some(self.name))
            .map(|line| line.split(',').skip(2).map(|f| f.trim().parse().unwrap_or(f64::NAN)).collect())
            .collect();
        let column = |index: usize| rows.iter().map(|row| row[index]).collect::<Vec<_>>();
        Certified {
            starts: [column(0), column(1)],
            theta: column(2),
            deviation: column(3),
            cost: rows[0][4],
            residual_deviation: rows[0][5],
        }
    }

    /// The engine's answer from the published start `start` (0 or 1).
    pub(crate) fn fit(&self, start: usize) -> Option<Solution> {
        let options = Options { max_passes: 2000, relative_cost: 1e-18, ..Options::default() };
        solve(&self.curve(), &self.certified().starts[start], &options).ok()
    }
}

/// Largest relative deviation; NaN when the fit gave nothing.
fn worst(got: Option<&Vec<f64>>, expected: &[f64]) -> f64 {
    got.map_or(f64::NAN, |got| got.iter().zip(expected).map(|(g, e)| ((g - e) / e).abs()).fold(0.0, f64::max))
}

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    for set in &SETS {
        let certified = set.certified();
        for start in 0..2 {
            let fit = set.fit(start).filter(Solution::converged);
            let deviations = fit.as_ref().and_then(|f| f.standard_deviations(f.residual_deviation()));
            let id = format!("NIST {} from start {}", set.name, start + 1);
            let zero_residual = set.name == "Lanczos1";
            let mut list = vec![
                (
                    "parameters, largest relative deviation",
                    worst(fit.as_ref().map(|f| &f.theta), &certified.theta),
                    1e-6,
                ),
                (
                    "standard deviations, largest relative deviation",
                    worst(deviations.as_ref(), &certified.deviation),
                    if zero_residual { 1e-3 } else { 1e-4 },
                ),
            ];
            if !zero_residual {
                let relative =
                    |got: Option<f64>, expected: f64| got.map_or(f64::NAN, |g| (g / expected - 1.0).abs());
                list.push((
                    "sum of squares, relative deviation",
                    relative(fit.as_ref().map(|f| f.cost), certified.cost),
                    1e-9,
                ));
                list.push((
                    "residual standard deviation, relative deviation",
                    relative(fit.as_ref().map(Solution::residual_deviation), certified.residual_deviation),
                    1e-9,
                ));
            }
            for (what, got, tolerance) in list {
                rows.push(Row {
                    id: id.clone(),
                    what: what.to_owned(),
                    source: "NIST Statistical Reference Datasets, non-linear regression".to_owned(),
                    tag: Tag::Published,
                    expected: 0.0,
                    got,
                    tolerance,
                    unit: "1",
                });
            }
        }
    }
    rows
}
