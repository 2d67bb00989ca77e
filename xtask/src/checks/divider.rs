//! Compensated divider: worked examples D-01 to D-16, and the response of one mis-set divider.

use super::curve::columns;
use super::{Row, Tag, rows_of};
use flattop_core::coupling::LowPass;
use flattop_core::divider::{Capacitances, Divider, Shelf};

const PICO: f64 = 1e-12;

fn of(tip_resistance_ohm: f64, shunt_resistance_ohm: f64) -> Divider {
    Divider { tip_resistance_ohm, shunt_resistance_ohm }
}

/// Tip capacitance that compensates `shunt_pf`, and what is then seen at the tip, pF.
fn compensated(divider: Divider, shunt_pf: f64) -> (f64, f64) {
    let tip_f = divider.compensating_tip_capacitance_f(shunt_pf * PICO);
    let seen = Capacitances { tip_f, shunt_f: shunt_pf * PICO }.seen_at_tip_f();
    (tip_f / PICO, seen / PICO)
}

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = examples();
    rows.extend(missetting());
    rows.extend(response_table());
    rows
}

#[rustfmt::skip]
fn examples() -> Vec<Row> {
    let standard = of(9e6, 1e6);
    let (d01_tip, d01_seen) = compensated(standard, 130.0);
    let (d09_tip, d09_seen) = compensated(of(10e6, 1e6), 186.0);
    let (d09b_tip, d09b_seen) = compensated(standard, 186.0);
    let loaded_gain = of(600.0, 1e6).dc_gain();
    let loaded = LowPass::of(of(600.0, 1e6).parallel_resistance_ohm(), 130.0 * PICO);
    let input = LowPass::of(3.3e3, 15.0 * PICO);
    // Reactances belong to one frequency; the ratio at high frequencies does not depend on which.
    let capacitance = |reactance_ohm: f64| 1.0 / (std::f64::consts::TAU * 1e3 * reactance_ohm);
    let d13 = of(900e3, 100e3);
    let d13_shelf = d13.shelf(Capacitances { tip_f: capacitance(3183.0), shunt_f: capacitance(1592.0) });
    let d15_shelf = standard.shelf(Capacitances { tip_f: 12.2 * PICO, shunt_f: 110.0 * PICO });
    let d15_zero = d15_shelf.time_constant_s * (1.0 + d15_shelf.error);

    let mut rows = rows_of("D. A. Bell, *Electronic Instrumentation and Measurements*, Ex. 9-6 to 9-11, pp. 262–269", Tag::Published, &[
        ("D-01", "C1 for 9 MΩ, 1 MΩ, 130 pF", 14.4, d01_tip, 0.05, "pF"),
        ("D-01", "capacitance seen at the tip", 13.0, d01_seen, 0.05, "pF"),
        ("D-02", "−3 dB of 600 Ω into 13 pF", 20.4, LowPass::of(600.0, 13.0 * PICO).corner_hz() / 1e6, 0.05, "MHz"),
        ("D-03", "−3 dB of 600 Ω into 3.5 pF", 75.8, LowPass::of(600.0, 3.5 * PICO).corner_hz() / 1e6, 0.05, "MHz"),
        ("D-04", "1 V behind 600 Ω on 1 MΩ ∥ 130 pF at 100 Hz", 0.9994, loaded_gain * loaded.gain(100.0), 0.00005, "V"),
        ("D-04", "−3 dB of the same", 2.04, loaded.corner_hz() / 1e6, 0.005, "MHz"),
        ("D-05", "transition duration of 3.3 kΩ into 15 pF", 109.0, input.transition_s() * 1e9, 0.5, "ns"),
        ("D-05", "shortest pulse, ten transition durations", 1.09, input.transition_s() * 1e7, 0.005, "µs"),
    ]);
    rows.extend(rows_of("J. B. Gupta, *Electronic Instrumentation and Measurements*, Ex. 8.15 and 8.16, p. 261", Tag::Published, &[
        ("D-09", "C1 for 10 MΩ, 1 MΩ, 186 pF (11:1)", 18.6, d09_tip, 0.05, "pF"),
        ("D-09", "capacitance seen at the tip (11:1)", 16.91, d09_seen, 0.005, "pF"),
        ("D-09", "−3 dB of 500 Ω into it", 18.82, LowPass::of(500.0, d09_seen * PICO).corner_hz() / 1e6, 0.005, "MHz"),
    ]));
    rows.extend(rows_of("same data with 9 MΩ in place of 10 MΩ", Tag::Derived, &[
        ("D-09", "C1 for 9 MΩ, 1 MΩ, 186 pF", 20.667, d09b_tip, 0.0005, "pF"),
        ("D-09", "capacitance seen at the tip (10:1)", 18.600, d09b_seen, 0.0005, "pF"),
    ]));
    rows.extend(rows_of("U. A. Bakshi, A. V. Bakshi, *Electronic Instrumentation and Measurements*, Ex. 7.7 and 7.11", Tag::Published, &[
        ("D-10", "C1 for 9 MΩ, 1 MΩ, 35 pF", 3.89, compensated(standard, 35.0).0, 0.005, "pF"),
        ("D-11", "C1 for 18 MΩ, 2 MΩ, 50 pF", 5.56, compensated(of(18e6, 2e6), 50.0).0, 0.005, "pF"),
        ("D-11", "ratio of 18 MΩ and 2 MΩ", 10.0, 1.0 / of(18e6, 2e6).dc_gain(), 1e-12, "1"),
    ]));
    rows.extend(rows_of("D. Patranabis, *Principles of Electronic Instrumentation*, Ex. 6.7, p. 494", Tag::Published, &[
        ("D-12", "−3 dB of 1 MΩ with 0.31·62 pF + 22 pF", 3.86, LowPass::of(1e6, (0.31 * 62.0 + 22.0) * PICO).corner_hz() / 1e3, 0.01, "kHz"),
    ]));
    rows.extend(rows_of("A. K. Sawhney, *Advanced Measurements and Instrumentation*, Ex. 6.7", Tag::Published, &[
        ("D-13", "uncompensated 900 kΩ, 100 kΩ: ratio at dc", 10.0, 1.0 / d13.dc_gain(), 1e-12, "1"),
        ("D-13", "ratio at high frequencies, reactances 3183 Ω and 1592 Ω", 3.0, 1.0 / (d13.dc_gain() * (1.0 + d13_shelf.error)), 0.05, "1"),
    ]));
    rows.extend(rows_of("university course on compensated attenuators (slides)", Tag::Published, &[
        ("D-14", "C1 for 900 kΩ, 100 kΩ, 45 pF", 5.0, compensated(d13, 45.0).0, 1e-12, "pF"),
    ]));
    rows.extend(rows_of("encyclopaedia article *Oscilloscope*, after Wedlock & Roberge 1969", Tag::Published, &[
        ("D-15", "time constant 9 MΩ · 12.2 pF", 110.0, d15_zero * 1e6, 0.55, "µs"),
        ("D-15", "C1 for 90 pF + 20 pF", 12.2, compensated(standard, 110.0).0, 0.061, "pF"),
        ("D-15", "capacitance seen at the tip, \"about 11–12 pF\" (both ends rounded)", 11.5, compensated(standard, 110.0).1, 1.0, "pF"),
    ]));
    rows.extend(rows_of("Modelica Standard Library, example *OscilloscopeProbe*, 2021", Tag::Published, &[
        ("D-16", "C1 for 9 MΩ, 1 MΩ, 120 pF", 13.333, compensated(standard, 120.0).0, 0.0005, "pF"),
        ("D-16", "settled output behind 50 Ω", 9.99995, 100.0 * of(9e6 + 50.0, 1e6).dc_gain(), 1e-6, "%"),
    ]));
    rows
}

const FORMULA: &str =
    "two-capacitor attenuator, Millman & Taub, *Pulse, Digital and Switching Waveforms*, 1965 (formula)";

fn mis_set(tip_pf: f64) -> (Divider, Shelf) {
    let divider = of(9e6, 1e6);
    (divider, divider.shelf(Capacitances { tip_f: tip_pf * PICO, shunt_f: 120.0 * PICO }))
}

/// 9 MΩ, 1 MΩ, 120 pF with C1 off by a tenth or by 1 pF.
fn missetting() -> Vec<Row> {
    let exact = 40.0 / 3.0;
    let mut rows = Vec::new();
    for (case, tip_pf, gain, error, tau, start, end) in [
        ("C1 +10 %", 1.1 * exact, 0.1089109, 8.9109, 121.200, 8.7692, 0.14168),
        ("C1 −10 %", 0.9 * exact, 0.0909091, -9.0909, 118.800, -8.9578, -0.13316),
        ("C1 +1 pF", exact + 1.0, 0.1066998, 6.6998, 120.900, 6.5943, 0.10546),
        ("C1 −1 pF", exact - 1.0, 0.0931990, -6.8010, 119.100, -6.7003, -0.10066),
    ] {
        let (divider, shelf) = mis_set(tip_pf);
        let (at_start, at_end) = shelf.square_wave_deviation(1e3);
        let high = divider.dc_gain() * (1.0 + shelf.error);
        let what = |quantity: &str| format!("{case}: {quantity}");
        rows.extend(rows_of(
            FORMULA,
            Tag::Derived,
            &[
                ("D-30", &what("gain at high frequencies"), gain, high, 0.51e-7, "1"),
                ("D-30", &what("e"), error, 100.0 * shelf.error, 0.51e-4, "%"),
                ("D-30", &what("τp"), tau, 1e6 * shelf.time_constant_s, 0.51e-3, "µs"),
                ("D-30", &what("1 kHz square wave, start"), start, 100.0 * at_start, 0.51e-4, "%"),
                ("D-30", &what("1 kHz square wave, end"), end, 100.0 * at_end, 0.51e-5, "%"),
            ],
        ));
    }
    let by_shunt = |change_pf: f64| {
        let divider = of(9e6, 1e6);
        let c = Capacitances { tip_f: exact * PICO, shunt_f: (120.0 + change_pf) * PICO };
        divider.dc_gain() * (1.0 + divider.shelf(c).error)
    };
    rows.extend(rows_of(
        FORMULA,
        Tag::Derived,
        &[
            (
                "D-31",
                "gain at high frequencies with C2 −8.3721 pF",
                0.1066998,
                by_shunt(-8.3721),
                0.51e-7,
                "1",
            ),
            ("D-31", "gain at high frequencies with C2 −9 pF", 0.1072386, by_shunt(-9.0), 0.51e-7, "1"),
        ],
    ));
    rows
}

/// Every cell of the response table: largest deviation over its ten frequencies.
fn response_table() -> Vec<Row> {
    let text = include_str!("../../../reference/published/comp_divider_freq_response.csv");
    let table = columns(text);
    let cases: Vec<&str> = text.lines().skip(1).filter_map(|line| line.split(',').next()).collect();
    let mut rows = Vec::new();
    for case in ["exact", "+10%", "-10%", "+1pF", "-1pF"] {
        let mut worst = [0.0_f64; 3];
        let exact = 40.0 / 3.0;
        let tip_pf = match case {
            "+10%" => 1.1 * exact,
            "-10%" => 0.9 * exact,
            "+1pF" => exact + 1.0,
            "-1pF" => exact - 1.0,
            _ => exact,
        };
        let (_, shelf) = mis_set(tip_pf);
        for (line, _) in cases.iter().enumerate().filter(|(_, c)| **c == case) {
            let frequency_hz = table[2][line];
            let error = shelf.amplitude_error(frequency_hz);
            let got = [1.0 + error, 100.0 * error, shelf.phase_error_rad(frequency_hz).to_degrees()];
            for ((worst, got), column) in worst.iter_mut().zip(got).zip(3..) {
                *worst = worst.max((got - table[column][line]).abs());
            }
        }
        let what = |quantity: &str| format!("C1 {case}: {quantity}, largest deviation, 0 Hz to 10 MHz");
        rows.extend(rows_of(
            FORMULA,
            Tag::Derived,
            &[
                ("D-32", &what("magnitude"), 0.0, worst[0], 0.51e-9, "1"),
                ("D-32", &what("amplitude error"), 0.0, worst[1], 1e-6, "%"),
                ("D-32", &what("phase"), 0.0, worst[2], 1e-6, "°"),
            ],
        ));
    }
    rows
}
