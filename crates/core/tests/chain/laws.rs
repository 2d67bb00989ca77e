//! What holds for any chain: reciprocity, passivity, symmetry, limits.

use super::*;
use flattop_close::{assert_close, relative, within};
use flattop_core::chain::answers::response;
use proptest::prelude::*;

prop_compose! {
    fn cables()(
        length_m in 0.01_f64..3.0,
        r in 0.0_f64..300.0,
        l in 100e-9_f64..500e-9,
        c in 20e-12_f64..120e-12,
        g in 0.0_f64..1e-4,
        corner in prop::option::of(1e5_f64..1e9),
    ) -> Cable {
        Cable {
            length_m,
            resistance_ohm_per_m: r,
            inductance_h_per_m: l,
            capacitance_f_per_m: c,
            conductance_s_per_m: g,
            skin_corner_hz: corner,
        }
    }
}

prop_compose! {
    fn responses()(
        shape in prop_oneof![
            Just(ResponseShape::SinglePole),
            Just(ResponseShape::Gaussian),
            Just(ResponseShape::Bessel4),
            (1_u8..=10).prop_map(ResponseShape::MaximallyFlat),
        ],
        bandwidth_hz in prop_oneof![Just(f64::INFINITY), 1e7_f64..1e9],
    ) -> Response {
        Response { shape, bandwidth_hz }
    }
}

prop_compose! {
    fn chains()(
        cable in cables(),
        response in responses(),
        limit in prop::option::of(responses()),
        node in (0.0_f64..1e4, 0.0_f64..50e-12),
        contact in (0.0_f64..300e-9, 0.0_f64..200.0),
        tip in (0.0_f64..3e-12, prop_oneof![Just(0.0), 1e3_f64..1e8], 0.5e-12_f64..20e-12, 0.0_f64..300.0),
        end in (0.0_f64..200.0, 0.0_f64..50e-12, 5e-12_f64..40e-12, 50.0_f64..2e6),
        ac in prop::option::of(0.5_f64..50.0),
    ) -> Chain {
        Chain {
            node: Node { resistance_ohm: node.0, capacitance_f: node.1 },
            contact: Contact { inductance_h: contact.0, resistance_ohm: contact.1 },
            tip: Tip {
                body_capacitance_f: tip.0,
                resistance_ohm: tip.1,
                capacitance_f: tip.2,
                series_resistance_ohm: tip.3,
            },
            cable,
            compensation_box: CompensationBox { series_resistance_ohm: end.0, capacitance_f: end.1 },
            input: Input {
                resistance_ohm: end.3,
                capacitance_f: end.2,
                response,
                coupling: ac.map_or(Coupling::Dc, |corner_hz| Coupling::Ac { corner_hz }),
                limit,
            },
            measured: vec![],
            ratio: 10.0,
        }
    }
}

proptest! {
    #[test]
    fn prop_a_line_is_reciprocal_and_passive(cable in cables(), exponent in 0.0_f64..9.5) {
        let f = 10.0_f64.powf(exponent);
        let port = cable.two_port(jw(f));
        // AD − BC is what is left of two products of that size.
        let size = (port.a * port.d).norm() + (port.b * port.c).norm();
        assert_close!((port.determinant() - 1.0).norm(), 0.0, within(1e-13 * size));
        let s = port.scattering(50.0);
        for entry in [s[0][0], s[1][0], s[1][1]] {
            prop_assert!(entry.norm() <= 1.0 + 1e-12, "|S| = {}", entry.norm());
        }
        // S12 carries the determinant, with what cancels in it.
        assert_close!((s[0][1] - s[1][0]).norm(), 0.0, within(1e-13 * size * s[1][0].norm()));
        // No power is made: |S11|² + |S21|² ≤ 1, equality without losses.
        let out = s[0][0].norm_sqr() + s[1][0].norm_sqr();
        prop_assert!(out <= 1.0 + 1e-11);
    }

    #[test]
    fn prop_without_losses_all_power_arrives(mut cable in cables(), exponent in 3.0_f64..9.5) {
        cable.resistance_ohm_per_m = 0.0;
        cable.conductance_s_per_m = 0.0;
        let s = cable.two_port(jw(10.0_f64.powf(exponent))).scattering(50.0);
        assert_close!(s[0][0].norm_sqr() + s[1][0].norm_sqr(), 1.0, relative(1e-11));
    }

    #[test]
    fn prop_short_lines_in_a_row_are_one_long_line(cable in cables(), exponent in 3.0_f64..9.0, pieces in 2_u32..40) {
        let s = jw(10.0_f64.powf(exponent)) - 1e6;
        let piece = Cable { length_m: cable.length_m / f64::from(pieces), ..cable }.two_port(s);
        let mut row = TwoPort::THROUGH;
        for _ in 0..pieces {
            row = row.then(&piece);
        }
        let whole = cable.two_port(s);
        let gamma = cable.propagation_per_m(s) * cable.length_m;
        let size = gamma.re.cosh();
        let z0 = cable.characteristic_impedance_ohm(s).norm();
        assert_close!((row.a - whole.a).norm(), 0.0, within(1e-10 * size));
        assert_close!((row.b - whole.b).norm(), 0.0, within(1e-10 * size * z0));
        assert_close!((row.c - whole.c).norm(), 0.0, within(1e-10 * size / z0));
    }

    #[test]
    fn prop_no_power_is_made_on_the_way(mut chain in chains(), exponent in 0.0_f64..9.5) {
        chain.input.response.bandwidth_hz = f64::INFINITY;
        chain.input.limit = None;
        chain.input.coupling = Coupling::Dc;
        let f = 10.0_f64.powf(exponent);
        let point = response(&chain, &[f])[0];
        // Into the contact, and what of it the input's resistance takes.
        let admittance = Complex64::from_polar(1.0 / point.impedance_ohm, -point.impedance_phase_rad);
        let given = AtNode(&chain).at_frequency(f).norm_sqr() * admittance.re;
        let taken = chain.at_frequency(f).norm_sqr() / chain.input.resistance_ohm;
        prop_assert!(given >= taken * (1.0 - 1e-6) - 1e-12 * admittance.norm(), "{given} given, {taken} taken");
        prop_assert!(point.impedance_phase_rad.cos() >= -1e-12, "an impedance that gives power");
    }

    #[test]
    fn prop_conjugate_frequencies_give_conjugates(chain in chains(), re in -1e7_f64..1e7, exponent in 2.0_f64..10.0) {
        let s = Complex64::new(re, 10.0_f64.powf(exponent));
        let (n, d) = chain.quotient(s);
        let (n_, d_) = chain.quotient(s.conj());
        prop_assert!((n - n_.conj()).norm() <= 1e-14 * n.norm());
        prop_assert!((d - d_.conj()).norm() <= 1e-14 * d.norm());
    }

    #[test]
    fn prop_both_parts_are_real_on_the_real_axis(mut chain in chains(), exponent in 0.0_f64..9.0) {
        // With the skin effect √ has a cut left of its corner.
        chain.cable.skin_corner_hz = None;
        let (n, d) = chain.quotient(Complex64::new(-10.0_f64.powf(exponent), 0.0));
        assert_close!([n.im, d.im], [0.0, 0.0], within(0.0));
    }

    #[test]
    fn prop_a_lumped_chain_is_the_shelf(mut chain in chains(), exponent in 0.0_f64..9.0) {
        chain.tip.resistance_ohm += 1e3;
        chain.node.resistance_ohm = 0.0;
        chain.contact = Contact { inductance_h: 0.0, resistance_ohm: 0.0 };
        chain.tip.series_resistance_ohm = 0.0;
        chain.compensation_box.series_resistance_ohm = 0.0;
        chain.cable.length_m = 0.0;
        let lumped = chain.lumped().unwrap();
        let chain = chain.without(Cause::Input);
        let f = 10.0_f64.powf(exponent);
        let relative_gain = chain.at_frequency(f) / lumped.divider.dc_gain();
        assert_close!(relative_gain.norm() - 1.0, lumped.shelf.amplitude_error(f), within(1e-12 * (1.0 + relative_gain.norm())));
        assert_close!(relative_gain.arg(), lumped.shelf.phase_error_rad(f), within(1e-12));
        // Limits of the closed form: g0 at dc, C1/(C1 + C2) far above.
        let c = lumped.capacitances;
        assert_close!(chain.at_frequency(0.0).re, lumped.divider.dc_gain(), relative(1e-14));
        assert_close!(chain.at_frequency(1e18).re, c.tip_f / (c.tip_f + c.shunt_f), relative(1e-9));
    }

    #[test]
    fn prop_a_delay_is_the_slope_of_the_phase(chain in chains(), exponent in 0.0_f64..8.5) {
        let f = 10.0_f64.powf(exponent);
        let h = 1e-5 * f;
        let points = response(&chain, &[f - h, f, f + h]);
        let mut turn = points[2].phase_rad - points[0].phase_rad;
        if turn.abs() > 1.0 {
            turn -= TAU.copysign(turn);
        }
        let difference = -turn / (2.0 * TAU * h);
        // What rounding of the phases and the third derivative leave to the difference.
        let noise = 4e-15 / (TAU * h) + 1e-5 / (TAU * f);
        assert_close!(points[1].group_delay_s, difference, within(1e-5 * difference.abs() + noise));
    }
}

/// Many short π sections (R and L in series, half of C and G at each side) approach the line as 1/n²: textbook model of a line.
#[test]
fn a_ladder_of_sections_converges_to_the_line() {
    let cable = probe().cable;
    let s = jw(50e6);
    let whole = cable.two_port(s);
    let error = |sections: u32| {
        let dx = cable.length_m / f64::from(sections);
        let half = TwoPort::shunt(s * (0.5 * cable.capacitance_f_per_m * dx));
        let series = TwoPort::series((s * cable.inductance_h_per_m + cable.resistance_ohm_per_m) * dx);
        let section = half.then(&series).then(&half);
        let mut ladder = TwoPort::THROUGH;
        for _ in 0..sections {
            ladder = ladder.then(&section);
        }
        (ladder.a - whole.a).norm() / whole.a.norm()
    };
    let (coarse, fine) = (error(100), error(1000));
    assert!(fine < 1e-5, "{fine}");
    assert_close!(coarse / fine, 100.0, relative(0.01));
}

/// A short cable is a capacitor, a cable on its matching resistance is none.
#[test]
fn a_short_cable_is_its_capacitance() {
    let mut chain = probe();
    chain.cable.resistance_ohm_per_m = 0.0;
    chain.cable.length_m = 1e-6;
    for f in [1e3, 1e6] {
        let short = chain.at_frequency(f);
        let mut lumped = chain.clone();
        lumped.cable.length_m = 0.0;
        lumped.input.capacitance_f += 1e-6 * chain.cable.capacitance_f_per_m;
        assert_close!((short / lumped.at_frequency(f) - 1.0).norm(), 0.0, within(1e-9));
    }
    let cable = probe().cable;
    assert_close!(cable.effective_capacitance_f(1e6), 72e-12, relative(1e-8));
    let matched = (cable.inductance_h_per_m / cable.capacitance_f_per_m).sqrt();
    assert_close!(cable.effective_capacitance_f(matched), 0.0, within(1e-24));
    // Between the two: the slope of the admittance itself.
    let lossless = Cable { resistance_ohm_per_m: 0.0, ..cable };
    let s = Complex64::new(0.0, 1e5);
    let admittance = lossless.two_port(s).input_impedance_ohm(Complex64::new(1.0 / 200.0, 0.0)).inv();
    assert_close!(admittance.im / 1e5, lossless.effective_capacitance_f(200.0), relative(1e-6));
}

/// Far up, a very lossy line swallows all: gain 0, no overflow, impedance its characteristic one.
#[test]
fn an_endless_line_gives_no_overflow() {
    let mut chain = probe();
    chain.tip.resistance_ohm = 0.0;
    chain.cable.length_m = 2e4;
    chain.node.resistance_ohm = 50.0;
    let point = response(&chain, &[1e9])[0];
    let z0 = chain.cable.characteristic_impedance_ohm(jw(1e9));
    assert_close!([point.impedance_ohm, point.impedance_phase_rad], [z0.norm(), z0.arg()], relative(1e-9));
    assert_close!(point.gain, 0.0, within(1e-100));
    assert!(point.group_delay_s.is_finite() && chain.at_frequency(1e9).is_finite());
}

/// A pole and a zero that nearly cancel stay apart: −1/τp is a zero of the denominator, −1/τz one of the numerator, and neither of the other.
#[test]
fn pole_and_zero_of_the_shelf_stand_in_their_own_halves() {
    let mut chain = divider();
    chain.tip.capacitance_f = 1.000_001 * 120e-12 / 9.0;
    let shelf = chain.lumped().unwrap().shelf;
    let at = |time_s: f64| chain.quotient(Complex64::new(-1.0 / time_s, 0.0));
    let (numerator, denominator) = at(shelf.time_constant_s);
    assert_close!(denominator.re, 0.0, within(1e-14));
    assert_close!(numerator.re, -shelf.error, relative(1e-8));
    let (numerator, denominator) = at(9e6 * chain.tip.capacitance_f);
    assert_close!(numerator.re, 0.0, within(1e-15));
    assert!(denominator.re.abs() > 1e-8);
}
