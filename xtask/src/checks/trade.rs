//! Trade facts about 10× probes, as common practice states them.

use super::{Row, Tag, rows_of};
use flattop_core::coupling::LowPass;
use flattop_core::divider::{Capacitances, Divider};

#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    let divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
    let mut rows = Vec::new();
    for (name, tip_f) in [("over", 14.67e-12), ("under", 12.0e-12)] {
        let shelf = divider.shelf(Capacitances { tip_f, shunt_f: 120e-12 });
        let (start, end) = shelf.square_wave_deviation(1e3);
        let what = |statement: &str| format!("10× probe misadjusted by a tenth ({name}): {statement}");
        rows.extend(rows_of("common practice", Tag::CommonPractice, &[
            ("C-01", &what("reads right at 100 Hz"), 0.0, 100.0 * shelf.amplitude_error(100.0), 0.1, "%"),
            ("C-02", &what("error at 10 kHz over error at 1 MHz"), 1.0, shelf.amplitude_error(1e4) / shelf.amplitude_error(1e6), 0.02, "1"),
            ("C-03", &what("error at 1 MHz over e"), 1.0, shelf.amplitude_error(1e6) / shelf.error, 0.001, "1"),
            ("C-04", &what("1 kHz square wave ends at the resistive value"), 0.0, 100.0 * end, 0.2, "%"),
            ("C-05", &what("1 kHz square wave starts at the capacitive value, share of e"), 1.0, start / shelf.error, 0.02, "1"),
        ]));
    }
    rows.extend(rows_of("common practice", Tag::CommonPractice, &[
        ("C-06", "15 pF is about 1 MΩ at 10 kHz: frequency at which it equals 1 MΩ", 10.0, LowPass::of(1e6, 15e-12).corner_hz() / 1e3, 1.0, "kHz"),
    ]));
    rows.extend(super::reach::trade());
    rows
}
