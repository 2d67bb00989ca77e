//! Common-mode rejection of two probes against closed forms and a textbook's difference amplifier.

use flattop_core::assessment::{Compensation, Estimate};
use flattop_core::divider::{Capacitances, Divider};
use flattop_core::pair::{Balance, Response, rejection};

use super::{Row, Tag, rows_of};

const TENFOLD: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

fn known(value: f64) -> Estimate {
    Estimate { value, standard_uncertainty: 0.0 }
}

fn probe(tip_f: f64, shunt_f: f64) -> Compensation {
    let shelf = TENFOLD.shelf(Capacitances { tip_f, shunt_f });
    Compensation {
        error: known(shelf.error),
        time_constant_s: known(shelf.time_constant_s),
        correlation: 0.0,
        divider: TENFOLD,
        resistor_uncertainty: 0.0,
    }
}

fn decibels(a: &Compensation, b: &Compensation, gain_ratio: f64, skew_s: f64, frequency_hz: f64) -> f64 {
    let balance = Balance { gain_ratio: known(gain_ratio), skew_s: known(skew_s) };
    rejection(Response::Shelf(a), Response::Shelf(b), &balance, &[frequency_hz])
        .ok()
        .and_then(|all| all.first().map(|one| one.decibels()))
        .unwrap_or(f64::NAN)
}

pub(super) fn rows() -> Vec<Row> {
    let flat = probe(120e-12 / 9.0, 120e-12);
    let high = probe(1.02 * 120e-12 / 9.0, 120e-12);
    let gain = |apart: f64| decibels(&flat, &flat, (1.0 - 0.5 * apart) / (1.0 + 0.5 * apart), 0.0, 1e5);
    let skew = |skew_s, f| decibels(&flat, &flat, 1.0, skew_s, f);
    let shelf = |f| decibels(&high, &flat, 1.0, 0.0, f);
    let mut rows = rows_of(
        "CMRR = ½(G_A + G_B)/|G_A − G_B|, worked out in Python",
        Tag::Derived,
        &[
            ("K-20", "gains 0.1 % apart", 60.0, gain(0.001), 0.005, "dB"),
            ("K-20", "gains 0.5 % apart", 46.02, gain(0.005), 0.005, "dB"),
            ("K-20", "gains 1 % apart", 40.0, gain(0.01), 0.005, "dB"),
            ("K-20", "gains 2 % apart", 33.98, gain(0.02), 0.005, "dB"),
            ("K-21", "1 ns apart at 1 MHz, 2·sin(πfΔt)", 44.04, skew(1e-9, 1e6), 0.006, "dB"),
            (
                "K-21",
                "1 ns apart at 10 MHz; tan in place of sin for half the sum",
                24.04,
                skew(1e-9, 1e7),
                0.01,
                "dB",
            ),
            ("K-21", "100 ps apart at 100 MHz", 24.04, skew(1e-10, 1e8), 0.01, "dB"),
            ("K-22", "C1 2 % high on one of two, 100 Hz", 57.37, shelf(100.0), 0.005, "dB"),
            ("K-22", "C1 2 % high on one of two, 1 kHz", 39.34, shelf(1e3), 0.005, "dB"),
            ("K-22", "C1 2 % high on one of two, 10 kHz", 35.06, shelf(1e4), 0.005, "dB"),
            ("K-22", "C1 2 % high on one of two, 1 MHz", 34.99, shelf(1e6), 0.005, "dB"),
        ],
    );
    let worst = difference_amplifier(&flat);
    rows.extend(rows_of(
        "S. Franco, *Design with Operational Amplifiers*, 3rd ed., Ex. 2.9, p. 76",
        Tag::Published,
        &[("K-23", "difference amplifier 10 kΩ and 100 kΩ, 1 % resistors, worst corner; the book adds the tolerances up", 48.4, worst, 0.5, "dB")],
    ));
    rows.extend(rows_of(
        "the same by enumeration of the corners in Python",
        Tag::Derived,
        &[("K-23", "worst corner", 48.79, worst, 0.01, "dB")],
    ));
    rows
}

/// The amplifier's two paths are a pair: gains R2/R1 and R4/(R3 + R4)·(1 + R2/R1) for what is common to both.
fn difference_amplifier(flat: &Compensation) -> f64 {
    (0..16)
        .map(|corner| {
            let off = |k: i32| if corner >> k & 1 == 1 { 1.01 } else { 0.99 };
            let (r1, r2, r3, r4) = (1e4 * off(0), 1e5 * off(1), 1e4 * off(2), 1e5 * off(3));
            let (minus, plus) = (r2 / r1, r4 / (r3 + r4) * (1.0 + r2 / r1));
            decibels(flat, flat, minus / plus, 0.0, 1e3)
        })
        .fold(f64::INFINITY, f64::min)
}
