//! Captures simulated as circuits with ngspice, read from their files and assessed.

use super::captures::{Table, assessed, figures, number, two_figures};
use super::{Row, Tag, rows_of};
use flattop_core::divider::Divider;

const TRUTH: &str = include_str!("../../../testdata/ngspice/truth.csv");

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    Table::new(TRUTH).each(|field| {
        let case = field("case");
        let value = |name: &str| number(field(name));
        let divider = Divider { tip_resistance_ohm: value("r1_ohm"), shunt_resistance_ohm: value("r2_ohm") };
        let a = assessed(&format!("testdata/ngspice/{}", field("file")), divider);
        let c = a.and_then(|a| a.compensation);
        let [e, u, tau, u_tau] = figures(c.as_ref());
        let [c1, c2] =
            c.map_or([f64::NAN; 2], |c| [c.tip_capacitance_f().value, c.shunt_capacitance_f().value]);
        // The plateau before a dielectric tail counts as settled.
        let on_plateau = |e: f64| {
            let tail = value("tail");
            if tail.is_nan() { e } else { (e - tail) / (1.0 + tail) }
        };
        let netlist = format!("reference/netlists/{}.cir", case.trim_end_matches("_zoom"));
        let lumped = format!("circuit simulator ngspice 39, `{netlist}`; closed form of its element values");
        let whole = format!("circuit simulator ngspice 39, `{netlist}`; AC analysis of the whole chain");
        let name = |what: &str| format!("{case}: {what}");
        let allowed = 100.0 * two_figures((3.0 * u).max(2e-4));
        let allowed_tau = 1e6 * two_figures((3.0 * u_tau).max(2e-4 * value("tau_s")));
        let (percent, micro, pico) = (100.0, 1e6, 1e12);
        rows.extend(rows_of(
            &lumped,
            Tag::Derived,
            &[
                ("W-01", &name("e"), percent * on_plateau(value("e")), percent * e, allowed, "%"),
                ("W-01", &name("τp"), micro * value("tau_s"), micro * tau, allowed_tau, "µs"),
            ],
        ));
        rows.extend(rows_of(
            &whole,
            Tag::Derived,
            &[
                ("W-02", &name("e"), percent * on_plateau(value("e_ac")), percent * e, allowed, "%"),
                ("W-02", &name("τp"), micro * value("tau_ac_s"), micro * tau, allowed_tau, "µs"),
            ],
        ));
        // The slow branch of the hook is part of C1 at low frequencies and not at high ones: no single value to compare.
        if value("tail").is_nan() {
            let (c1_f, c2_f) = (value("c1_f"), value("c2_f"));
            rows.extend(rows_of(
                &lumped,
                Tag::Derived,
                &[
                    ("W-03", &name("C1"), pico * c1_f, pico * c1, pico * two_figures(0.01 * c1_f), "pF"),
                    ("W-03", &name("C2"), pico * c2_f, pico * c2, pico * two_figures(0.01 * c2_f), "pF"),
                ],
            ));
        }
    });
    rows
}
