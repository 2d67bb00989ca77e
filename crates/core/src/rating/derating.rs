//! Why ratings fall with frequency: two physical models, and the heat in the tip resistor.
//!
//! No standard or textbook table of derating was found, and makers' curves are not used. The models explain a table; they do not
//! replace one. All voltages are rms.

use crate::divider::Divider;
use std::f64::consts::TAU;

/// Current into a capacitance, A rms: V·2πf·C.
pub fn tip_current_a(voltage_v: f64, capacitance_f: f64, frequency_hz: f64) -> f64 {
    voltage_v * TAU * frequency_hz * capacitance_f
}

/// Voltage at which the current into `capacitance_f` heats a resistance in series with it by `power_w`, V rms: √(P/R)/(2πf·C).
/// It falls by 20 dB per decade.
pub fn dissipation_limit_v(power_w: f64, resistance_ohm: f64, capacitance_f: f64, frequency_hz: f64) -> f64 {
    (power_w / resistance_ohm).sqrt() / (TAU * frequency_hz * capacitance_f)
}

/// Voltage at which a dielectric of constant loss tangent takes `power_w`, V rms: √(P/(2πf·C·tan δ)). It falls by 10 dB per decade.
pub fn dielectric_limit_v(power_w: f64, loss_tangent: f64, capacitance_f: f64, frequency_hz: f64) -> f64 {
    (power_w / (TAU * frequency_hz * capacitance_f * loss_tangent)).sqrt()
}

/// Heat in the tip resistor at low frequencies, W: V²·R1/(R1+R2)².
pub fn tip_dissipation_w(voltage_v: f64, divider: &Divider) -> f64 {
    let current_a = voltage_v / (divider.tip_resistance_ohm + divider.shunt_resistance_ohm);
    current_a * current_a * divider.tip_resistance_ohm
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, printed, relative};

    #[test]
    fn worked_examples() {
        // P 0.25 W, 100 Ω, 12 pF: 663.1 V at 1 MHz, 66.3 V at 10 MHz (arithmetic); 300 V on 9 MΩ + 1 MΩ: 8.10 mW.
        assert_close!(dissipation_limit_v(0.25, 100.0, 12e-12, 1e6), 663.1, printed(0.1));
        assert_close!(dissipation_limit_v(0.25, 100.0, 12e-12, 1e7), 66.3, printed(0.1));
        assert_close!(1e3 * tip_current_a(300.0, 12e-12, 1e6), 22.62, printed(0.01));
        let divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
        assert_close!(1e3 * tip_dissipation_w(300.0, &divider), 8.10, printed(0.01));
    }

    #[test]
    fn the_slopes_are_20_and_10_db_per_decade() {
        let fall = |f: fn(f64) -> f64| 20.0 * (f(1e6) / f(1e7)).log10();
        assert_close!(fall(|f| dissipation_limit_v(0.25, 100.0, 12e-12, f)), 20.0, relative(1e-12));
        assert_close!(fall(|f| dielectric_limit_v(0.25, 0.02, 12e-12, f)), 10.0, relative(1e-12));
        // The dielectric takes its power at the limit: P = V²·2πf·C·tan δ.
        let v = dielectric_limit_v(0.25, 0.02, 12e-12, 1e6);
        assert_close!(v * tip_current_a(v, 12e-12, 1e6) * 0.02, 0.25, relative(1e-12));
    }
}
