//! Worked examples and tables from books and elsewhere. "Companion" is the open collection of worked textbook examples (FOSSEE textbook companions).

use super::*;
use flattop_close::{assert_close, printed, relative, within};
use flattop_core::chain::answers::{bandwidth_hz, equivalent_input, response};

fn line(r: f64, l: f64, g: f64, c: f64, length_m: f64) -> Cable {
    Cable {
        length_m,
        resistance_ohm_per_m: r,
        inductance_h_per_m: l,
        capacitance_f_per_m: c,
        conductance_s_per_m: g,
        skin_corner_hz: None,
    }
}

/// `reference/published/derived_probe_chain_abcd.csv`: exact chain matrices worked out in Python.
#[test]
fn whole_chain_with_a_lossy_cable() {
    let table = include_str!("../../../../reference/published/derived_probe_chain_abcd.csv");
    let mut rows = 0;
    for row in table.lines().skip(1) {
        let v: Vec<f64> = row.split(',').map(|x| x.parse().unwrap()).collect();
        let chain = probe();
        let point = response(&chain, &[v[0]])[0];
        assert_close!(point.gain, 10.0 * v[1], printed(1e-8), "gain at {} Hz", v[0]);
        assert_close!(degrees(point.phase_rad), v[2], printed(1e-6), "phase at {} Hz", v[0]);
        assert_close!(20.0 * point.gain.log10(), v[3], printed(1e-6), "level at {} Hz", v[0]);
        // Six digits are printed.
        let z = Complex64::from_polar(point.impedance_ohm, point.impedance_phase_rad);
        assert_close!([z.re, z.im], [v[4], v[5]], relative(6e-6), "impedance at {} Hz", v[0]);
        if v[0] > 0.0 {
            let c = equivalent_input(&chain, v[0]).capacitance_f;
            assert_close!(c * 1e12, v[6], printed(1e-6), "capacitance at {} Hz", v[0]);
        }
        rows += 1;
    }
    assert_eq!(rows, 12);
}

/// J. Bird, *Electrical Circuit Theory and Technology*, ch. 44 Ex. 7 p. 877, Ex. 9 p. 880, Ex. 8; companion.
#[test]
fn line_constants_of_bird() {
    let z0 = line(15.0, 3.4e-3, 3e-6, 10e-9, 1.0).characteristic_impedance_ohm(jw(2e3));
    assert_close!(z0.norm(), 600.2, printed(0.1));
    assert_close!(degrees(z0.arg()), -8.99, printed(0.01));
    let cable = line(25.0, 5e-3, 80e-6, 0.04e-6, 1.0);
    let (z0, gamma) = (cable.characteristic_impedance_ohm(jw(1e3)), cable.propagation_per_m(jw(1e3)));
    assert_close!([z0.norm(), degrees(z0.arg())], [390.16, -10.43], printed(0.01));
    assert_close!([gamma.norm(), gamma.re, gamma.im], [0.1029, 0.0484, 0.0908], printed(1e-4));
    assert_close!(degrees(gamma.arg()), 61.92, printed(0.01));
    let cable = line(0.0, 0.5e-6, 0.0, 0.12e-9, 1.0);
    assert_close!(cable.characteristic_impedance_ohm(jw(4e5)).re, 64.55, printed(0.01));
    assert_close!(cable.propagation_per_m(jw(4e5)).im, 19.47e-3, printed(1e-5));
}

/// Bird Ex. 10 p. 881, companion: 300 km, matched, 10 V from 400 Ω. Sending current 9.485∠7.07° mA, received 1.445∠−155.88° mA.
#[test]
fn matched_line_of_300_km() {
    let cable = line(8.0, 3e-3, 0.25e-6, 7.5e-9, 300.0);
    let z0 = cable.characteristic_impedance_ohm(jw(1e3));
    assert_close!([z0.norm(), degrees(z0.arg())], [659.2, -11.35], within(0.06));
    let whole = TwoPort::series(Complex64::new(400.0, 0.0)).then(&cable.two_port(jw(1e3)));
    let load = z0.inv();
    let sent = 10.0 / whole.input_impedance_ohm(load);
    assert_close!([1e3 * sent.norm(), degrees(sent.arg())], [9.485, 7.07], within(5e-3));
    let received = 10.0 * whole.voltage_transfer(load) * load;
    assert_close!(1e3 * received.norm(), 1.445, within(1.5e-3));
    // The book's angles are rounded on the way: 300 × 0.0304 rad.
    assert_close!(degrees(received.arg()), -155.88, within(0.5));
}

/// Bird Ex. 3, companion: 0.25 Np/km, 0.2 rad/km, 10 km, 5 V: 0.41∠−114.59° V. A distortionless line of 1 Ω has these constants.
#[test]
fn attenuation_of_bird() {
    let (alpha, beta, omega) = (0.25, 0.2, 1e3);
    let cable = line(alpha, beta / omega, alpha, beta / omega, 10.0);
    let out = 5.0 * cable.two_port(Complex64::new(0.0, omega)).voltage_transfer(Complex64::new(1.0, 0.0));
    assert_close!([out.norm(), degrees(out.arg())], [0.41, -114.59], printed(0.01));
}

/// S. Y. Liao, *Microwave Devices and Circuits*, Ex. 3-1-1 p. 84; M. Sadiku, *Elements of Electromagnetics*, Ex. 11.1 and 11.2, pp. 482, 483; companion.
#[test]
fn line_constants_of_liao_and_sadiku() {
    let cable = line(2.0, 8e-9, 0.5e-3, 0.23e-12, 1.0);
    let (z0, gamma) = (cable.characteristic_impedance_ohm(jw(1e9)), cable.propagation_per_m(jw(1e9)));
    assert_close!([z0.re, z0.im], [179.43, 26.51], within(0.03));
    assert_close!([gamma.re, gamma.im], [0.05141, 0.27255], printed(1e-5));
    let cable = line(0.0, 334.2e-9, 0.0, 68.2e-12, 1.0);
    assert_close!(cable.characteristic_impedance_ohm(jw(1e8)).re, 70.0, relative(1e-3));
    assert_close!(cable.propagation_per_m(jw(1e8)).im, 3.0, relative(1e-3));
    let cable = line(1.2, 333.3e-9, 333.3e-6, 92.59e-12, 1.0);
    let (z0, gamma) = (cable.characteristic_impedance_ohm(jw(1e8)), cable.propagation_per_m(jw(1e8)));
    assert_close!([z0.re, gamma.re], [60.0, 20e-3], relative(2e-4));
    assert_close!(TAU * 1e8 / gamma.im, 0.6 * 2.998e8, relative(1e-3));
}

/// Sadiku Ex. 11.3 p. 490, companion: Z0 60 + j40, 8 dB/m, 1 rad/m, 2 m, load 20 + j50, 10 V from 40 Ω at 10⁶ rad/s.
#[test]
fn lossy_line_of_sadiku() {
    let omega = 1e6;
    let (z0, gamma) = (Complex64::new(60.0, 40.0), Complex64::new(8.0 / 8.685_889_638, 1.0));
    let (series, shunt) = (gamma * z0, gamma / z0);
    let cable = line(series.re, series.im / omega, shunt.re, shunt.im / omega, 2.0);
    let load = Complex64::new(20.0, 50.0).inv();
    let s = Complex64::new(0.0, omega);
    let input = cable.two_port(s).input_impedance_ohm(load);
    assert_close!([input.re, input.im], [60.25, 38.79], printed(0.01));
    let sent = 10.0 / (40.0 + input);
    assert_close!(sent.norm(), 0.09303, printed(1e-5));
    assert_close!(degrees(sent.arg()), -21.15, printed(0.01));
    // In the middle: what a second half with its load takes from the first half.
    let half = Cable { length_m: 1.0, ..cable }.two_port(s);
    let behind = half.input_impedance_ohm(load).inv();
    let middle = sent / (half.c * behind.inv() + half.d);
    assert_close!(middle.norm(), 0.03492, within(2e-5));
    assert_close!(degrees(middle.arg()), -79.08, within(0.1));
}

/// Sadiku Ex. 11.4 p. 499, companion: load 60 + j40 on 50 Ω, 2 MHz, 30 m, 0.6c: Γ 0.3523∠56°, SWR 2.088, Z_in 23.97 + j1.35.
#[test]
fn reflection_of_sadiku() {
    let velocity = 0.6 * 3e8;
    let cable = line(0.0, 50.0 / velocity, 0.0, 1.0 / (50.0 * velocity), 30.0);
    let load = Complex64::new(60.0, 40.0);
    let input = cable.two_port(jw(2e6)).input_impedance_ohm(load.inv());
    assert_close!([input.re, input.im], [23.97, 1.35], within(6e-3));
    let gamma = (load - 50.0) / (load + 50.0);
    assert_close!([gamma.norm(), (1.0 + gamma.norm()) / (1.0 - gamma.norm())], [0.3523, 2.088], within(6e-4));
    // Seen through a lossless line the reflection keeps its size.
    assert_close!(((input - 50.0) / (input + 50.0)).norm(), gamma.norm(), relative(1e-13));
}

/// Telephone cable 24 AWG at 21 °C (W. D. Reeve, table of R, L, G, C; Z0 and γ worked out in Python).
#[test]
fn telephone_cable() {
    for (f, r, l, g, z_re, z_im, db, beta) in [
        (1.0, 172.24, 0.6129, 0.0, 16303.03143, -16302.66692, 0.045883, 0.0052826),
        (1e3, 172.28, 0.6125, 0.072, 521.44849, -509.81695, 1.435173, 0.1689250),
        (1e5, 191.63, 0.5807, 3.327, 109.49896, -26.99986, 7.602102, 3.5479379),
        (1e6, 463.59, 0.5062, 29.111, 99.33635, -7.19699, 20.280592, 32.1871372),
        (5e6, 999.41, 0.4675, 118.074, 95.26727, -3.23413, 45.608968, 154.3439626),
    ] {
        let cable = line(1e-3 * r, 1e-6 * l, 1e-9 * g, 51.57e-12, 1000.0);
        let z0 = cable.characteristic_impedance_ohm(jw(f));
        assert_close!([z0.re, z0.im], [z_re, z_im], printed(1e-5));
        let gamma = 1e3 * cable.propagation_per_m(jw(f));
        assert_close!(gamma.re * 8.685_889_638_065_037, db, printed(1e-6));
        assert_close!(gamma.im, beta, within(6e-8));
        // And through the chain matrix, which knows neither: matched, 1 km takes just that.
        let out = cable.two_port(jw(f)).voltage_transfer(z0.inv());
        assert_close!(-20.0 * out.norm().log10(), db, within(1e-6));
    }
}

/// D. M. Pozar, *Microwave Engineering*, Ex. 4.4 p. 198 (companion, corrected): T-pad of 8.56, 141.8, 8.56 Ω on 50 Ω: S11 4.4398e-5, S21 0.70769.
/// Ex. 4.5 p. 202: S = [0.1, j0.8; j0.8, 0.2] with port 2 shorted: |Γ| 0.6333, return loss 3.967 dB.
#[test]
fn two_ports_of_pozar() {
    let ohm = |r: f64| Complex64::new(r, 0.0);
    let arm = TwoPort::series(ohm(8.56));
    let pad = arm.then(&TwoPort::shunt(ohm(141.8).inv())).then(&arm);
    let s = pad.scattering(50.0);
    assert_close!(s[0][0].norm(), 4.4398e-5, printed(1e-9));
    assert_close!(s[1][0].re, 0.70769, printed(1e-5));
    let given = [
        [Complex64::new(0.1, 0.0), Complex64::new(0.0, 0.8)],
        [Complex64::new(0.0, 0.8), Complex64::new(0.2, 0.0)],
    ];
    let network = TwoPort::from_scattering(&given, 50.0).unwrap();
    let input = network.b / network.d; // port 2 shorted
    let gamma = ((input - 50.0) / (input + 50.0)).norm();
    assert_close!([gamma, -20.0 * gamma.log10()], [0.6333, 3.967], within(6e-4));
}

/// Example of the Touchstone specification (two-port, 1 GHz, 50 Ω), as kept in an open library's tests; chain and impedance parameters worked out in Python.
#[test]
#[allow(clippy::approx_constant, reason = "a measured number that happens to lie near π/8")]
fn scattering_to_chain_and_impedance() {
    let (s11, s21) = (Complex64::new(0.3926, -0.1211), Complex64::new(-0.0003, -0.0021));
    let network = TwoPort::from_scattering(&[[s11, s21], [s21, s11]], 50.0).unwrap();
    assert_close!([network.a.re, network.a.im], [-50.871633, 197.619798], printed(1e-6));
    assert_close!([network.b.re, network.b.im], [727.248317, 23016.676783], printed(1e-6));
    assert_close!([network.c.re, network.c.im], [-0.922700673, 1.555204047], printed(1e-9));
    assert_close!([network.determinant().re, network.determinant().im], [1.0, 0.0], within(1e-10));
    let z = network.impedances().unwrap();
    assert_close!([z[0][0].re, z[0][0].im], [108.340820, -31.567893], printed(1e-6));
    assert_close!([z[1][0].re, z[1][0].im], [-0.282168, -0.475592], printed(1e-6));
}

/// Bell, *Electronic Instrumentation and Measurements*, Ex. 9-9 p. 267: 9 MΩ, 1 MΩ, 130 pF: C1 14.444 pF, 13.000 pF at the tip. Companion.
#[test]
fn compensated_probe_of_bell() {
    let mut chain = divider();
    chain.compensation_box.capacitance_f = 110e-12;
    chain.tip.capacitance_f = 130e-12 / 9.0;
    for f in [0.0, 1e3, 1e6] {
        assert_close!(equivalent_input(&chain, f).capacitance_f, 13e-12, relative(1e-12));
    }
    assert_close!(equivalent_input(&chain, 0.0).resistance_ohm, 1e7, relative(1e-14));
    // Ex. 9-10 p. 268: from 600 Ω, −3 dB at 20.404 MHz (its formula leaves the 10 MΩ out).
    chain.node.resistance_ohm = 600.0;
    let f3 = bandwidth_hz(&chain, Against::Source, 1e9).unwrap();
    assert_close!(f3, 20.404e6, relative(1e-4));
}

/// Deviations of a divider of 9 MΩ, 1 MΩ, 120 pF: `reference/published/comp_divider_freq_response.csv`, through the whole chain.
#[test]
fn amplitude_errors_of_a_divider() {
    for (c1, errors) in [
        (14.666_666_666_666_667e-12, [3.360064, 7.527931, 8.765920, 8.909418]),
        (12e-12, [-3.154742, -7.517475, -8.922767, -9.089196]),
    ] {
        let mut chain = divider();
        chain.tip.capacitance_f = c1;
        let points = response(&chain, &[1e3, 3e3, 1e4, 1e5]);
        for (point, error) in points.iter().zip(errors) {
            assert_close!(100.0 * (point.gain - 1.0), error, printed(1e-6));
        }
    }
}
