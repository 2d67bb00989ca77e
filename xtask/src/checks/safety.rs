//! Limits of hazardous voltage, and the physics behind derating.

use super::{Row, Tag, rows_of};
use flattop_core::divider::Divider;
use flattop_core::rating::derating::{
    dielectric_limit_v, dissipation_limit_v, tip_current_a, tip_dissipation_w,
};
use flattop_core::rating::{Circuit, Supply, survey};
use flattop_core::signal::{Outside, Shape, Signal};

/// Level at which a caution starts to show, by bisection between nil and 200 V; `signal` makes the signal of a level.
fn threshold(code: &str, signal: impl Fn(f64) -> Signal) -> f64 {
    let circuit = Circuit { supply: Supply::Isolated, category: None };
    let shows = |level: f64| {
        survey(&signal(level), &[], circuit).is_ok_and(|s| s.findings.iter().any(|f| f.code == code))
    };
    let (mut below, mut above) = (0.0, 200.0);
    if shows(below) || !shows(above) {
        return f64::NAN;
    }
    for _ in 0..60 {
        let middle = 0.5 * (below + above);
        if shows(middle) { above = middle } else { below = middle }
    }
    0.5 * (below + above)
}

fn alternating(shape: Shape, level_v: f64) -> Signal {
    Signal { shape, low_v: -level_v, high_v: level_v }
}

#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    let square = |level| alternating(Shape::Trapezoid { frequency_hz: 50.0, duty: 0.5, rise_s: 0.0, fall_s: 0.0 }, level);
    let sine = |level| alternating(Shape::Sine { frequency_hz: 50.0 }, level);
    let steady = |level: f64| Signal {
        shape: Shape::Points { time_s: vec![0.0], value_v: vec![level], outside: Outside::Holds }, low_v: 0.0, high_v: 0.0,
    };
    // Of a short pulse neither dc nor rms value comes near its limit.
    let short = |level: f64| Signal {
        shape: Shape::Trapezoid { frequency_hz: 50.0, duty: 0.01, rise_s: 0.0, fall_s: 0.0 }, low_v: 0.0, high_v: level,
    };
    let mut rows = rows_of("IEC 61010-031:2015, publisher's abstract", Tag::Published, &[
        ("X-01", "hazardous from, square wave (its peak is its rms value)", 30.0, threshold("hazardous-voltage", square), 1e-6, "V rms"),
        ("X-01", "hazardous from, short pulses", 42.4, threshold("hazardous-voltage", short), 1e-6, "V peak"),
        ("X-01", "hazardous from, steady voltage", 60.0, threshold("hazardous-voltage", steady), 1e-6, "V dc"),
        ("X-10", "hazardous from, sine: 30 V·√2, printed as 42.4", 42.4, threshold("hazardous-voltage", sine), 0.05, "V peak"),
    ]);
    rows.extend(rows_of("IEC 60664-4:2005, catalogue scope", Tag::Published, &[
        ("X-09", "high-frequency stress of a hazardous sine starts above", 30.0, threshold_of_stress(200e3) / 1e3, 1e-6, "kHz"),
    ]));
    let divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
    let limit = |f: f64| dissipation_limit_v(0.25, 100.0, 12e-12, f);
    rows.extend(rows_of("arithmetic: I = V·2πfC, V = √(P/R)/(2πfC), P = V²·2πfC·tan δ, P = V²·R1/(R1+R2)²", Tag::Derived, &[
        ("X-12", "current into 12 pF, 300 V at 1 MHz", 22.62, 1e3 * tip_current_a(300.0, 12e-12, 1e6), 0.005, "mA"),
        ("X-12", "current into 12 pF, 300 V at 10 MHz", 226.2, 1e3 * tip_current_a(300.0, 12e-12, 1e7), 0.051, "mA"),
        ("X-12", "current into 12 pF, 30 V at 100 MHz", 226.2, 1e3 * tip_current_a(30.0, 12e-12, 1e8), 0.051, "mA"),
        ("X-13", "0.25 W in 100 Ω behind 12 pF, 1 MHz", 663.1, limit(1e6), 0.051, "V"),
        ("X-13", "0.25 W in 100 Ω behind 12 pF, 10 MHz", 66.3, limit(1e7), 0.051, "V"),
        ("X-13", "0.25 W in 100 Ω behind 12 pF, 100 MHz", 6.63, limit(1e8), 0.0051, "V"),
        ("X-14", "constant loss tangent, fall of the limit per decade", -10.0,
            20.0 * (dielectric_limit_v(0.1, 0.02, 12e-12, 1e7) / dielectric_limit_v(0.1, 0.02, 12e-12, 1e6)).log10(), 1e-9, "dB"),
        ("X-15", "tip resistor of 9 MΩ with 1 MΩ, 300 V", 8.10, 1e3 * tip_dissipation_w(300.0, &divider), 0.005, "mW"),
    ]));
    rows
}

/// Frequency at which a sine of 100 V starts to be called high-frequency stress, between nil and `most_hz`.
fn threshold_of_stress(most_hz: f64) -> f64 {
    threshold("high-frequency-stress", |share| {
        alternating(Shape::Sine { frequency_hz: (share / 200.0).max(1e-9) * most_hz }, 100.0)
    }) / 200.0
        * most_hz
}
