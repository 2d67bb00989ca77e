//! Tilt and AC coupling: worked examples P-10 to P-20.

use super::{Row, Tag, rows_of};
use flattop_core::coupling::{HighPass, LowPass, tilt};

/// Relative difference between the exact relation of tilt and corner and the book's first-order rule.
fn second_order(tilt: f64) -> f64 {
    tilt * tilt / 12.0
}

#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    let p14 = HighPass::with_corner(10.0);
    let p14_hz = std::f64::consts::PI * 10.0 / 0.02;
    let p15 = HighPass::with_tilt(0.03, 0.5e-3).corner_hz();
    let p16 = HighPass::with_tilt(0.082, 220e-6).corner_hz();
    let p18 = HighPass::of(1e6, 1e-6);
    let p20 = HighPass::of(3.3e3, 1e-6).settled_levels(20.0, 4e-3, 4e-3);
    let bell = "D. A. Bell, *Solid State Pulse Circuits*, Ex. 1-2, 1-7 to 1-9, 2-6, 2-9, pp. 12–50";
    let mut rows = rows_of(bell, Tag::Published, &[
        ("P-10", "tilt of a top falling from 380 mV to 350 mV", 8.2, 100.0 * tilt(380.0, 350.0), 0.05, "%"),
        ("P-10", "tilt of 0.5 divisions in a mean of 2.25", 22.2, 100.0 * tilt(2.5, 2.0), 0.05, "%"),
        ("P-14", "tilt at the lowest square wave of 1.57 kHz with a corner of 10 Hz", 2.0, 100.0 * p14.square_wave_tilt(1.57e3), 0.005, "%"),
        ("P-15", "corner for 3 % tilt at 1 kHz; the first-order rule is part of the allowance", 9.549, p15, 0.0005 + 9.549 * second_order(0.03), "Hz"),
        ("P-15", "bandwidth for 200 ns", 1.75, LowPass::with_transition(200e-9).corner_hz() / 1e6, 0.005, "MHz"),
        ("P-16", "corner for 8.2 % tilt in 220 µs; the first-order rule is part of the allowance", 59.3, p16, 0.05 + 59.3 * second_order(0.082), "Hz"),
        ("P-16", "bandwidth for 30 µs; 0.35 in place of 0.3497 is part of the allowance", 11.67, LowPass::with_transition(30e-6).corner_hz() / 1e3, 0.005 + 0.00087 * 11.67, "kHz"),
        ("P-18", "tilt of a 50 Hz square wave with 1 µF and 1 MΩ", 1.0, 100.0 * p18.square_wave_tilt(50.0), 0.005, "%"),
        ("P-20", "settled level after the rise: 20 V, 4 ms on and off, 3.3 kΩ, 1 µF", 15.41, p20.high_start, 0.005, "V"),
        ("P-20", "settled level before the fall", 4.59, p20.high_end, 0.005, "V"),
    ]);
    rows.extend(rows_of("exact forms 2·tanh(πf1/2f) and 1 − exp(−t/τ) with the data of the same examples", Tag::Derived, &[
        ("P-14", "tilt of the symmetric square wave, exact", 1.99993, 100.0 * p14.square_wave_tilt(p14_hz), 0.51e-5, "%"),
        ("P-14", "fall of a single pulse of the same width, exact", 1.98013, 100.0 * p14.pulse_fall(0.5 / p14_hz), 0.51e-5, "%"),
        ("P-18", "tilt of the symmetric square wave, exact", 0.99999, 100.0 * p18.square_wave_tilt(50.0), 0.51e-5, "%"),
        ("P-18", "fall of a single pulse, exact", 0.99502, 100.0 * p18.pulse_fall(0.01), 0.51e-5, "%"),
        ("P-20", "settled level after the rise, six decimals", 15.413_481, p20.high_start, 0.51e-6, "V"),
        ("P-20", "settled level before the fall, six decimals", 4.586_519, p20.high_end, 0.51e-6, "V"),
    ]));
    rows
}
