//! Quantiles of table G.2 of JCGM 100 and closed forms of the tails.

use super::{Row, Tag, rows_of};
use flattop_core::numeric::stats::{chi_squared_upper, f_upper, normal_quantile, student_quantile};

#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    let two_sided = |fraction: f64, freedom: f64| student_quantile(0.5 + 0.5 * fraction, freedom);
    let mut rows = rows_of("JCGM 100:2008, table G.2", Tag::Published, &[
        ("G-09", "t for 95 %, 16 degrees of freedom", 2.12, two_sided(0.95, 16.0), 0.005, "1"),
        ("G-09", "t for 95.45 %, 16 degrees of freedom", 2.17, two_sided(0.9545, 16.0), 0.005, "1"),
        ("G-09", "t for 99 %, 16 degrees of freedom", 2.92, two_sided(0.99, 16.0), 0.005, "1"),
        ("G-09", "t for 95 %, 5 degrees of freedom", 2.57, two_sided(0.95, 5.0), 0.005, "1"),
        ("G-09", "t for 95 %, 10 degrees of freedom", 2.23, two_sided(0.95, 10.0), 0.005, "1"),
        ("G-09", "t for 95.45 %, normal", 2.00, two_sided(0.9545, f64::INFINITY), 0.005, "1"),
    ]);
    rows.extend(rows_of("usual tables", Tag::FromMemory, &[
        ("G-40", "97.5th percentile of the normal distribution", 1.959_964, normal_quantile(0.975), 0.51e-6, "1"),
    ]));
    rows.extend(rows_of("exp(−x/2); (1 + 2x/d)^(−d/2)", Tag::Derived, &[
        ("G-41", "chi-squared above 5, 2 degrees of freedom", 0.082_084_998_6, chi_squared_upper(5.0, 2.0), 1e-10, "1"),
        ("G-41", "F above 3, 2 and 7 degrees of freedom", 0.114_562_2, f_upper(3.0, 2.0, 7.0), 0.51e-7, "1"),
    ]));
    rows
}
