//! What skew and mismatch between two probes do to a measurement that uses both.

use super::rejection::Rejection;
use crate::assessment::Estimate;

/// Relative error of the mean power ½·V·I·cos φ of sines at `frequency_hz`, when the one that carries the current shows it `skew_s` late and
/// `gain_ratio` times as large as the other would: g·cos(φ + 2πf·d)/cos φ − 1. `phase_rad` is φ, the lag of the current.
///
/// Near 90° the power itself goes to nothing and the relative error beyond all bounds.
pub fn power_error(gain_ratio: Estimate, skew_s: Estimate, frequency_hz: f64, phase_rad: f64) -> Estimate {
    let error = |g: f64, d: f64| {
        g * (phase_rad + std::f64::consts::TAU * frequency_hz * d).cos() / phase_rad.cos() - 1.0
    };
    propagated(gain_ratio, skew_s, error)
}

/// Error of the energy of one hard switching edge, J: while the voltage `voltage_v` still stands and the current `current_a` has built up,
/// each second of skew counts V·I too much or too little. To first order in the skew, for skews shorter than the transitions.
pub fn switching_energy_error_j(skew_s: Estimate, voltage_v: f64, current_a: f64) -> Estimate {
    let power = voltage_v * current_a;
    Estimate { value: power * skew_s.value, standard_uncertainty: power.abs() * skew_s.standard_uncertainty }
}

/// Error of a delay from A to B, s, read where both cross the same voltage, `level` of the way up an edge of B whose 10–90 % transition lasts
/// `transition_s`: the skew, and the shift of the crossing by the gain, level·(1/g − 1)·(transition/0.8) for a straight edge.
pub fn delay_error_s(gain_ratio: Estimate, skew_s: Estimate, transition_s: f64, level: f64) -> Estimate {
    propagated(gain_ratio, skew_s, |g, d| d + level * (1.0 / g - 1.0) * transition_s / 0.8)
}

/// What the difference shows of a sine of `common_mode_v` common to both tips, V, and the most it is with 95 % confidence.
pub fn shown_of_common_mode(rejection: &Rejection, common_mode_v: f64) -> (f64, f64) {
    let most = 10f64.powf(-rejection.at_least_decibels() / 20.0);
    (common_mode_v.abs() * rejection.share(), common_mode_v.abs() * most)
}

/// Law of propagation (JCGM 100:2008, 5.1.2) over gain ratio and skew, by central differences over one standard uncertainty.
fn propagated(gain_ratio: Estimate, skew_s: Estimate, of: impl Fn(f64, f64) -> f64) -> Estimate {
    let (g, d) = (gain_ratio.value, skew_s.value);
    let (ug, ud) = (gain_ratio.standard_uncertainty, skew_s.standard_uncertainty);
    let by_gain = 0.5 * (of(g + ug, d) - of(g - ug, d));
    let by_skew = 0.5 * (of(g, d + ud) - of(g, d - ud));
    Estimate { value: of(g, d), standard_uncertainty: by_gain.hypot(by_skew) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    fn known(value: f64, standard_uncertainty: f64) -> Estimate {
        Estimate { value, standard_uncertainty }
    }

    #[test]
    fn power_of_sines() {
        // Worked by hand: 1 ns late at 1 MHz is 0.36°; at φ = 60° the power falls by sin(0.36°)·tan 60° = 1.0883 % and a hair.
        let found = power_error(known(1.0, 0.0), known(1e-9, 1e-10), 1e6, 60f64.to_radians());
        assert_close!(found.value, -0.010_883 - 0.000_02, within(2e-6));
        // 2πf·u(d)·sin(60.36°)/cos 60°.
        assert_close!(found.standard_uncertainty, 1.092_2e-3, relative(1e-4));
        // In phase it hardly counts, and the gain counts in full.
        let found = power_error(known(1.01, 0.002), known(1e-9, 0.0), 1e6, 0.0);
        assert_close!(found.value, 0.01 - 2e-5, within(1e-6));
        assert_close!(found.standard_uncertainty, 0.002, relative(1e-4));
    }

    /// The overlap of a straight current edge and a straight voltage edge, integrated by the trapezium rule with the skew put in.
    #[test]
    fn switching_energy_against_the_integral() {
        let (v, i, rise) = (400.0, 10.0, 50e-9);
        let energy = |skew: f64| {
            let current = |t: f64| i * (t / rise).clamp(0.0, 1.0);
            let voltage = |t: f64| v * (1.0 - (t - rise) / rise).clamp(0.0, 1.0);
            let steps = 40_000;
            let dt = 4.0 * rise / f64::from(steps);
            (0..=steps)
                .map(|k| f64::from(k) * dt - rise)
                .map(|t| current(t + skew) * voltage(t) * dt)
                .sum::<f64>()
        };
        for skew in [-2e-9, 1e-9, 3e-9] {
            let (exact, first_order) =
                (energy(skew) - energy(0.0), switching_energy_error_j(known(skew, 0.0), v, i).value);
            // Second order in the skew is left: V·I·d²/(2·rise), a share d/(2·rise) of it.
            assert_close!(first_order, exact, relative(1.2 * skew.abs() / (2.0 * rise) + 0.01));
        }
    }

    #[test]
    fn delays_and_differences() {
        let found = delay_error_s(known(0.98, 0.01), known(2e-9, 0.1e-9), 8e-9, 0.5);
        assert_close!(found.value, 2e-9 + 0.5 * (1.0 / 0.98 - 1.0) * 10e-9, relative(1e-12));
        assert!(found.standard_uncertainty > 0.1e-9);
        let rejection = Rejection {
            frequency_hz: 1e4,
            mismatch: num_complex::Complex64::new(0.006, 0.008),
            mismatch_u: 0.001,
        };
        let (shown, most) = shown_of_common_mode(&rejection, -400.0);
        assert_close!(shown, 4.0, relative(1e-12));
        assert_close!(most, 400.0 * (0.01 + 1.959_964e-3), relative(1e-6));
    }
}
