//! Transition duration and bandwidth: closed forms B-01, B-02 and the second-order table.

use super::curve::columns;
use super::{Row, Tag, rows_of};
use flattop_core::coupling::{LowPass, SecondOrder, gaussian_gain, gaussian_transition_bandwidth};

#[rustfmt::skip]
#[expect(clippy::approx_constant, reason = "printed reference values")]
pub(crate) fn rows() -> Vec<Row> {
    let pole = LowPass { time_constant_s: 1.0 };
    let mut rows = rows_of("elementary: ln 9/(2π), ln 9, ln 4, ln 2; 2·z₉₀·√(ln 2)/(2π)", Tag::Derived, &[
        ("B-01", "transition duration times bandwidth, one pole", 0.349_699_2, pole.transition_s() * pole.corner_hz(), 1e-7, "1"),
        ("B-02", "transition duration times bandwidth, Gaussian", 0.339_624_4, gaussian_transition_bandwidth(), 1e-7, "1"),
        ("B-11", "10–90 % of one pole, in τ", 2.197_224_6, pole.transition_s(), 1e-7, "1"),
        ("B-11", "20–80 % of one pole, in τ", 1.386_294_4, pole.time_to_s(0.8) - pole.time_to_s(0.2), 1e-7, "1"),
        ("B-11", "50 % delay of one pole, in τ", 0.693_147_2, pole.time_to_s(0.5), 1e-7, "1"),
    ]);
    let at = |share: f64| 100.0 * (pole.gain(share * pole.corner_hz()) - 1.0);
    let gaussian = |share: f64| 100.0 * (gaussian_gain(share) - 1.0);
    for (share, one_pole, bell) in [
        (0.1, -0.4963, -0.3460), (0.2, -1.9419, -1.3767), (0.25, -2.9857, -2.1428), (1.0 / 3.0, -5.1317, -3.7776),
        (0.5, -10.5573, -8.2996), (0.7, -18.0768, -15.6184), (1.0, -29.2893, -29.2893),
    ] {
        let what = |kind: &str| format!("amplitude error at {share:.3} of the bandwidth, {kind}");
        rows.extend(rows_of("1/√(1+r²) and 2^(−r²/2)", Tag::Derived, &[
            ("B-10", &what("one pole"), one_pole, at(share), 1e-4, "%"),
            ("B-10", &what("Gaussian"), bell, gaussian(share), 1e-4, "%"),
        ]));
    }
    rows.extend(second_order());
    rows.extend(low_orders());
    rows
}

/// Orders one and two of the filter families, which the one-pole and second-order forms contain.
fn low_orders() -> Vec<Row> {
    let table = columns(include_str!("../../../reference/published/rise_time_bandwidth_products.csv"));
    let product = |r: SecondOrder| r.transition() * r.bandwidth() / std::f64::consts::TAU;
    let pole = LowPass { time_constant_s: 1.0 };
    let butterworth = SecondOrder { damping: 0.5_f64.sqrt() };
    let bessel = SecondOrder { damping: 0.75_f64.sqrt() };
    let twin = SecondOrder { damping: 1.0 };
    rows_of(
        "step responses of the filter families, tabulated by an independent program (SciPy 1.17)",
        Tag::Derived,
        &[
            ("B-03", "Butterworth, order 1", table[1][0], pole.transition_s() * pole.corner_hz(), 1e-6, "1"),
            ("B-03", "Butterworth, order 2", table[1][1], product(butterworth), 1e-6, "1"),
            (
                "B-04",
                "Butterworth, order 2, overshoot",
                table[2][1],
                100.0 * butterworth.overshoot(),
                1e-6,
                "%",
            ),
            ("B-05", "Bessel, order 2", table[3][1], product(bessel), 1e-6, "1"),
            ("B-06", "Bessel, order 2, overshoot", table[4][1], 100.0 * bessel.overshoot(), 1e-6, "%"),
            ("B-07", "two identical real poles", table[5][1], product(twin), 1e-6, "1"),
        ],
    )
}

/// Every cell of the second-order table: largest deviation over its thirteen damping ratios.
fn second_order() -> Vec<Row> {
    let table = columns(include_str!("../../../reference/published/second_order_step.csv"));
    let mut worst = [0.0_f64; 6];
    for (line, &printed) in table[0].iter().enumerate() {
        // The table's 0.707107 stands for 1/√2.
        let zeta = if (printed * printed - 0.5).abs() < 1e-6 { 0.5_f64.sqrt() } else { printed };
        let response = SecondOrder { damping: zeta };
        let got = [
            response.transition(),
            response.time_to(0.8) - response.time_to(0.2),
            response.time_to(0.5),
            100.0 * response.overshoot(),
            response.bandwidth(),
            response.transition() * response.bandwidth() / std::f64::consts::TAU,
        ];
        for ((worst, got), column) in worst.iter_mut().zip(got).zip(2..) {
            *worst = worst.max((got - table[column][line]).abs());
        }
    }
    let names = [
        ("10–90 %, in 1/ω0", "1"),
        ("20–80 %, in 1/ω0", "1"),
        ("50 % delay, in 1/ω0", "1"),
        ("overshoot", "%"),
        ("bandwidth over ω0", "1"),
        ("transition duration times bandwidth", "1"),
    ];
    let mut rows = Vec::new();
    for ((name, unit), worst) in names.into_iter().zip(worst) {
        let what = format!("{name}, largest deviation for damping 0.1 to 2");
        rows.extend(rows_of(
            "standard second-order step response, tabulated by an independent program",
            Tag::Derived,
            &[("D-25", &what, 0.0, worst, 1e-6, unit)],
        ));
    }
    rows
}
