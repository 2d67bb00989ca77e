//! Elements known by measurement: fed with computed tables of parts that the chain also knows exactly.

use super::*;
use flattop_close::{assert_close, within};

fn frequencies(first: f64, step: f64, count: u32) -> Vec<f64> {
    (0..count).map(|k| first + step * f64::from(k)).collect()
}

/// A cable measured as S-parameters at 0 Hz and from 300 kHz on stands for the cable itself.
/// Without the row at 0 Hz, what is continued downwards is off by some 10⁻¹⁰ S, which 900 kΩ turn into 10⁻⁴.
#[test]
fn a_measured_cable_replaces_the_cable() {
    let exact = probe();
    let mut grid = vec![0.0];
    grid.extend(frequencies(3e5, 2e6, 500));
    let rows: Vec<Parameters> = grid.iter().map(|&f| exact.cable.two_port(jw(f)).scattering(50.0)).collect();
    let element = Measured::two_port(&grid, &rows, TwoPortKind::Scattering { reference_ohm: 50.0 }).unwrap();
    assert_eq!(element.covered_hz(), (0.0, 3e5 + 998e6));
    let above =
        Measured::two_port(&grid[1..], &rows[1..], TwoPortKind::Scattering { reference_ohm: 50.0 }).unwrap();
    let shunt = above.at(jw(0.0)).c;
    assert_close!([shunt.re, shunt.im], [0.0, 0.0], within(3e-10));
    let mut chain = exact.clone();
    chain.cable.length_m = 0.0;
    chain.measured.push((Place::BeforeBox, element));
    for f in [0.0, 1e3, 1e5, 1e6, 3.3e6, 1e8, 4.4e8] {
        let difference = chain.at_frequency(f) / exact.at_frequency(f) - 1.0;
        assert_close!(difference.norm(), 0.0, within(1e-5), "at {f} Hz");
    }
    // Off the axis, and real on the real axis.
    let s = Complex64::new(-3e6, TAU * 5e7);
    assert_close!((chain.at(s) / exact.at(s) - 1.0).norm(), 0.0, within(1e-5));
    let (numerator, denominator) = chain.quotient(Complex64::new(-8e4, 0.0));
    assert_close!([numerator.im, denominator.im], [0.0, 0.0], within(0.0));
}

/// All ways to state the same network.
#[test]
fn kinds_of_parameters_agree() {
    let cable = probe().cable;
    let grid = frequencies(1e6, 1e6, 20);
    let of = |f: fn(TwoPort) -> Parameters, kind| {
        let rows: Vec<Parameters> = grid.iter().map(|&at| f(cable.two_port(jw(at)))).collect();
        Measured::two_port(&grid, &rows, kind).unwrap().at(jw(7.7e6))
    };
    let chain = of(|t| [[t.a, t.b], [t.c, t.d]], TwoPortKind::Chain);
    for other in [
        of(|t| t.impedances().unwrap(), TwoPortKind::Impedances),
        of(|t| t.admittances().unwrap(), TwoPortKind::Admittances),
        of(|t| t.scattering(75.0), TwoPortKind::Scattering { reference_ohm: 75.0 }),
    ] {
        assert_close!((other.a - chain.a).norm(), 0.0, within(1e-12));
        assert_close!((other.b - chain.b).norm(), 0.0, within(1e-9));
        assert_close!((other.c - chain.c).norm(), 0.0, within(1e-12));
        assert_close!((other.d - chain.d).norm(), 0.0, within(1e-12));
    }
}

/// One-ports: a ground lead as series inductance, a capacitor as shunt, each as impedance, admittance and reflection.
#[test]
fn measured_one_ports_act_as_the_parts() {
    let mut exact = probe();
    exact.contact = Contact { inductance_h: 100e-9, resistance_ohm: 5.0 };
    exact.tip.body_capacitance_f = 3e-12;
    let grid = frequencies(0.0, 1e6, 300);
    let lead: Vec<Complex64> = grid.iter().map(|&f| jw(f) * 100e-9 + 5.0).collect();
    let body: Vec<Complex64> = grid.iter().map(|&f| jw(f) * 3e-12).collect();
    let inverse = |list: &[Complex64]| list.iter().map(|v| v.inv()).collect::<Vec<_>>();
    let reflection = |z: &[Complex64]| z.iter().map(|z| (z - 50.0) / (z + 50.0)).collect::<Vec<_>>();
    let against = OnePort::Reflection { reference_ohm: 50.0 };
    let series = [
        Measured::in_series(&grid, &lead, OnePort::Impedance).unwrap(),
        Measured::in_series(&grid, &inverse(&lead), OnePort::Admittance).unwrap(),
        Measured::in_series(&grid, &reflection(&lead), against).unwrap(),
    ];
    // A capacitor is open at 0 Hz: its impedance is left out there.
    let open: Vec<Complex64> = body.iter().map(|y| (1.0 - y * 50.0) / (1.0 + y * 50.0)).collect();
    let shunt = [
        Measured::in_shunt(&grid, &body, OnePort::Admittance).unwrap(),
        Measured::in_shunt(&grid[1..], &inverse(&body[1..]), OnePort::Impedance).unwrap(),
        Measured::in_shunt(&grid, &open, against).unwrap(),
    ];
    for (series, shunt) in series.into_iter().zip(shunt) {
        let mut chain = probe();
        chain.measured = vec![(Place::BeforeTip, series), (Place::BeforeTip, shunt)];
        for f in [0.0, 1e4, 2.2e6, 2.3e8] {
            assert_close!((chain.at_frequency(f) / exact.at_frequency(f) - 1.0).norm(), 0.0, within(1e-9));
        }
        assert_close!(chain.covered_hz().unwrap().1, 299e6, within(0.0));
    }
}

/// Order in one place is the order of the list: a series element before a shunt one loads what comes before it.
#[test]
fn several_in_one_place_follow_each_other() {
    let mut chain = probe();
    chain.node.resistance_ohm = 0.0;
    let series = Measured::in_series(&[1.0], &[Complex64::new(100.0, 0.0)], OnePort::Impedance).unwrap();
    let shunt = Measured::in_shunt(&[1.0], &[Complex64::new(100.0, 0.0)], OnePort::Impedance).unwrap();
    chain.measured = vec![(Place::BeforeTip, series.clone()), (Place::BeforeTip, shunt.clone())];
    assert_close!(chain.at_frequency(0.0).re, 0.05, within(1e-5));
    chain.measured = vec![(Place::BeforeTip, shunt), (Place::BeforeTip, series)];
    assert_close!(chain.at_frequency(0.0).re, 0.1, within(1e-5));
}

/// Every refusal names the frequency or the count.
#[test]
fn tables_that_cannot_stand_are_refused() {
    let z = Complex64::new(1.0, 0.0);
    let o = Complex64::new(0.0, 0.0);
    let refused = |f: &[f64], v: &[Complex64], kind| Measured::in_series(f, v, kind).unwrap_err().to_string();
    assert!(refused(&[], &[], OnePort::Impedance).contains("no frequencies"));
    assert!(refused(&[1.0], &[z, z], OnePort::Impedance).contains("1 frequencies but 2 values"));
    assert!(refused(&[2.0, 1.0], &[z, z], OnePort::Impedance).contains("1 Hz"));
    assert!(refused(&[1.0, 1.0], &[z, z], OnePort::Impedance).contains("follow"));
    assert!(refused(&[-1.0], &[z], OnePort::Impedance).contains("-1"));
    assert!(refused(&[7.0], &[z * f64::NAN], OnePort::Impedance).contains("7 Hz"));
    assert!(refused(&[0.0], &[Complex64::new(1.0, 0.5)], OnePort::Impedance).contains("0 Hz"));
    assert!(refused(&[7.0], &[o], OnePort::Admittance).contains("open at 7 Hz"));
    assert!(refused(&[7.0], &[z], OnePort::Reflection { reference_ohm: 50.0 }).contains("open at 7 Hz"));
    assert!(refused(&[7.0], &[o], OnePort::Reflection { reference_ohm: 0.0 }).contains("reference"));
    let short = Measured::in_shunt(&[7.0], &[o], OnePort::Impedance).unwrap_err().to_string();
    assert!(short.contains("short circuit at 7 Hz"));
    let rows = [[[z, z * 0.1], [z * 0.1, z]], [[z, o], [o, z]], [[z, z * 1e-8], [z * 1e-8, o]]];
    let kind = TwoPortKind::Scattering { reference_ohm: 50.0 };
    for k in [1, 2] {
        let refused = Measured::two_port(&[3.0, 5.0], &[rows[0], rows[k]], kind).unwrap_err();
        assert!(matches!(refused, MeasuredError::NothingThrough { frequency_hz: 5.0, .. }), "{refused}");
    }
    assert!(Measured::two_port(&[5.0], &[rows[1]], TwoPortKind::Impedances).is_err());
}

/// Above the last point the last value is held, and that frequency is told.
#[test]
fn above_its_points_an_element_is_held() {
    let grid = frequencies(1e6, 1e6, 5);
    let values: Vec<Complex64> = grid.iter().map(|f| Complex64::new(1e-6 * f, 2.0)).collect();
    let element = Measured::in_series(&grid, &values, OnePort::Impedance).unwrap();
    assert_eq!(element.covered_hz(), (1e6, 5e6));
    for f in [5e6, 6e6, 1e9] {
        assert_eq!(element.at(jw(f)).b, values[4]);
        assert_eq!(element.at(jw(-f)).b, values[4].conj());
    }
}
