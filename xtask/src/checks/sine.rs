//! Sine fits: published data S-10, false minima S-11, Cramér–Rao bounds S-12.

use super::curve::columns;
use super::{Row, Tag, rows_of};
use flattop_core::estimate::sine::{SineError, SineFit, fit_points, fit_points_from, three_parameter};
use std::f64::consts::TAU;

const DATA: &str = "data: J. Jacquelin, *Régressions et équations intégrales*, 2014, fig. 1; least-squares values: SciPy 1.17";

fn points() -> Vec<(f64, f64)> {
    let table = columns(include_str!("../../../reference/published/jacquelin_sine_fig1.csv"));
    table[0].iter().copied().zip(table[1].iter().copied()).collect()
}

/// ω, a, b, c of y = a + b·sin ωx + c·cos ωx, and the rms residual.
fn figures(fit: &SineFit) -> [f64; 5] {
    let (c, b) = fit.coefficients_at(0.0);
    [fit.angular_frequency, fit.offset, b.value, c.value, fit.residual_rms()]
}

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = three();
    rows.extend(four());
    rows.extend(false_minimum());
    rows.extend(bounds());
    rows
}

#[rustfmt::skip]
fn three() -> Vec<Row> {
    let mut rows = Vec::new();
    for (omega, [a, b, c, rms]) in [
        (2.0, [-0.397_856_15, 1.283_144_20, -0.573_613_40, 0.147_412_39]),
        (2.02074, [-0.405_572_63, 1.275_287_42, -0.577_520_10, 0.151_728_62]),
    ] {
        let got = three_parameter(points().into_iter(), omega, 0.0).map_or([f64::NAN; 5], |f| figures(&f));
        let what = |name: &str| format!("three parameters at ω = {omega}: {name}");
        rows.extend(rows_of(DATA, Tag::Derived, &[
            ("S-10", &what("a"), a, got[1], 1e-7, "1"),
            ("S-10", &what("b"), b, got[2], 1e-7, "1"),
            ("S-10", &what("c"), c, got[3], 1e-7, "1"),
            ("S-10", &what("rms residual"), rms, got[4], 1e-7, "1"),
        ]));
        if omega > 2.0 {
            let source = "J. Jacquelin 2014, step 3 (the paper's second abscissa is −1.948, the printed one −1.947)";
            rows.extend(rows_of(source, Tag::Published, &[
                ("S-10", "step 3 of the paper: a", -0.405_617, got[1], 5e-5, "1"),
                // The paper prints four decimals here.
                ("S-10", "step 3 of the paper: b", 1.2752, got[2], 1e-4, "1"),
                ("S-10", "step 3 of the paper: c", -0.577_491, got[3], 5e-5, "1"),
            ]));
        }
    }
    rows
}

#[rustfmt::skip]
fn four() -> Vec<Row> {
    let fit = fit_points(&points()).ok();
    let got = fit.as_ref().map_or([f64::NAN; 5], figures);
    let errors = fit.as_ref().map_or([f64::NAN; 4], |f| {
        let (c, b) = f.coefficients_at(0.0);
        [f.covariance[3][3].sqrt(), f.offset().standard_uncertainty, b.standard_uncertainty, c.standard_uncertainty]
    });
    let mut rows = rows_of(DATA, Tag::Derived, &[
        ("S-10", "four parameters: ω", 1.981_325_65, got[0], 1e-7, "1"),
        ("S-10", "four parameters: a", -0.390_655_50, got[1], 1e-7, "1"),
        ("S-10", "four parameters: b", 1.289_417_89, got[2], 1e-7, "1"),
        ("S-10", "four parameters: c", -0.571_746_47, got[3], 1e-7, "1"),
        ("S-10", "four parameters: rms residual", 0.146_098_09, got[4], 1e-7, "1"),
        ("S-10", "standard error of ω", 0.0414, errors[0], 0.51e-4, "1"),
        ("S-10", "standard error of a", 0.0516, errors[1], 0.51e-4, "1"),
        ("S-10", "standard error of b", 0.0640, errors[2], 0.51e-4, "1"),
        ("S-10", "standard error of c", 0.0725, errors[3], 0.51e-4, "1"),
    ]);
    for start in [1.1, 3.9] {
        let omega = fit_points_from(&points(), start).map_or(f64::NAN, |f| f.angular_frequency);
        let what = format!("ω from the start {start}, inside the basin 1.06 to 3.95");
        rows.extend(rows_of(DATA, Tag::Derived, &[("S-11", &what, 1.981_325_65, omega, 1e-7, "1")]));
    }
    rows
}

/// Outside the basin the fit settles at a false minimum, and says so.
fn false_minimum() -> Vec<Row> {
    let mut rows = Vec::new();
    for start in [1.0, 4.0] {
        let (omega, rms) = match fit_points_from(&points(), start) {
            Err(SineError::FalseMinimum { frequency_hz, residual_rms, .. }) => {
                (frequency_hz * TAU, residual_rms)
            }
            _ => (f64::NAN, f64::NAN),
        };
        let what = |name: &str| format!("refused as a false minimum from the start {start}: {name}");
        rows.extend(rows_of(
            DATA,
            Tag::Derived,
            &[
                ("S-11", &what("ω"), 4.358_678_1, omega, 1e-7, "1"),
                ("S-11", &what("rms residual"), 0.900_542, rms, 0.51e-6, "1"),
            ],
        ));
    }
    rows
}

/// Claimed standard uncertainties against the inverse Fisher matrix, scaled to the same noise.
fn bounds() -> Vec<Row> {
    let table = columns(include_str!("../../../reference/published/crlb_real_sine.csv"));
    let mut rows = Vec::new();
    for (line, &count) in table[0].iter().enumerate() {
        let (omega, sigma) = (table[1][line], table[3][line]);
        // Residuals small enough to leave the parameters alone; the claimed uncertainty scales with them.
        // The table's tones have the phase 0.3.
        let small = 1e-6;
        let points: Vec<(f64, f64)> = (0..count as usize)
            .map(|n| (n as f64, (omega * n as f64 + 0.3).cos() + if n % 2 == 0 { small } else { -small }))
            .collect();
        let got = fit_points_from(&points, omega).map_or([f64::NAN; 4], |fit| {
            let scale = sigma / (fit.cost / (fit.points - 4) as f64).sqrt();
            [
                fit.amplitude().standard_uncertainty,
                fit.covariance[3][3].sqrt(),
                fit.phase_at(0.0).standard_uncertainty,
                fit.offset().standard_uncertainty,
            ]
            .map(|u| u * scale)
        });
        for ((name, got), column) in ["A", "ω", "φ at n = 0", "C"].into_iter().zip(got).zip(8..) {
            let what = format!("N = {count}, ω = {omega}: standard uncertainty of {name} over the bound");
            rows.extend(rows_of(
                "Cramér–Rao bound of a real tone (inverse Fisher matrix, worked out with NumPy); published asymptotically",
                Tag::Derived,
                &[("S-12", &what, 1.0, got / table[column][line], 1e-5, "1")],
            ));
        }
    }
    rows
}
