//! Tests of reach: what the trade knows, the exact formulas, and properties.

use super::*;
use crate::finding::Severity;
use flattop_close::{assert_close, printed, relative, within};
use proptest::prelude::*;

const PICO: f64 = 1e-12;

fn probe(a: f64, b: f64, seen: f64, adjusted_at: AdjustedAt) -> ReachProbe {
    ReachProbe {
        divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
        tip: TipCapacitance::SeenAtTip(seen * PICO),
        adjusted_at,
        range: CompensationRange { least_f: a * PICO, most_f: b * PICO, tolerance_f: 0.0 },
    }
}

fn input(nominal: f64, tolerance: f64) -> InputCapacitance {
    InputCapacitance { nominal_f: nominal * PICO, tolerance_f: tolerance * PICO }
}

#[test]
fn a_range_of_8_to_18_reaches_15_and_not_20() {
    // Common practice: a droop remains on 20 pF, and sines above a few kilohertz read low.
    let probe = probe(8.0, 18.0, 11.0, AdjustedAt::Base);
    let good = reach(&probe, input(15.0, 2.0)).unwrap();
    assert_eq!((good.margin.verdict, good.side), (Verdict::Reaches, Side::Inside));
    assert!(good.findings.is_empty());
    assert_close!(good.residual.error, 0.0, within(1e-15));
    let bad = reach(&probe, input(20.0, 1.0)).unwrap();
    assert_eq!((bad.margin.verdict, bad.side), (Verdict::OutOfReach, Side::Above));
    assert_close!(bad.margin.margin_f, -2.0 * PICO, relative(1e-9));
    // C1 = 11 pF·10/9 = 12.2222 pF; e = −2/(122.222 + 2).
    assert_close!(bad.residual.error, -0.0161002, printed(1e-7));
    assert!(bad.residual.square_wave.0 < -0.015 && bad.residual.square_wave.1 > -0.001);
    assert!(bad.sine_errors[1].error < -0.015 && bad.sine_errors[0].error > -0.009);
    assert_eq!(bad.findings[0].code, "out-of-reach");
    assert!(bad.findings[0].remedy.contains("faster probe"));
}

#[test]
fn an_input_below_the_range_is_padded() {
    let probe = probe(15.0, 25.0, 11.0, AdjustedAt::Tip);
    let low = reach(&probe, input(11.0, 1.0)).unwrap();
    assert_eq!((low.margin.verdict, low.side), (Verdict::OutOfReach, Side::Below));
    // C1 at the lower stop: 12.2222 − 5/9 = 11.6667 pF; e = 4/(116.667 − 4).
    assert_close!(low.residual.error, 0.0355030, printed(1e-7));
    assert_eq!(low.findings[0].severity, Severity::Warning);
    assert!(low.findings[0].remedy.contains("pad the input with 5.00 pF"), "{}", low.findings[0].remedy);
    let padded = reach(&probe, input(16.0, 1.0)).unwrap();
    assert_eq!(padded.margin.verdict, Verdict::Reaches);
}

#[test]
fn a_tolerance_over_the_limit_leaves_it_open() {
    let open = reach(&probe(8.0, 18.0, 11.0, AdjustedAt::Base), input(17.5, 1.0)).unwrap();
    assert_eq!(open.margin.verdict, Verdict::MayReach);
    assert_eq!(open.findings[0].code, "reach-not-certain");
    assert_close!(open.residual.error, 0.0, within(1e-15));
    // At worst 0.5 pF above: −0.5/122.722; u = 1 pF/√3/122.222.
    assert_close!(open.residual.bounds.0, -0.0040742, printed(1e-7));
    assert_close!(open.residual.bounds.1, 0.0, within(1e-15));
    assert_close!(open.residual.standard_uncertainty, 0.00472377, printed(1e-8));
}

#[test]
fn numbers_that_make_no_pairing_are_refused() {
    let with = |change: fn(&mut ReachProbe)| {
        let mut p = probe(8.0, 18.0, 11.0, AdjustedAt::Base);
        change(&mut p);
        reach(&p, input(15.0, 1.0)).unwrap_err()
    };
    assert!(matches!(with(|p| p.range.least_f = 2e-11), ReachError::RangeUpsideDown { .. }));
    assert!(matches!(with(|p| p.range.tolerance_f = -1e-12), ReachError::NotATolerance { .. }));
    assert!(matches!(with(|p| p.tip = TipCapacitance::SeenAtTip(f64::NAN)), ReachError::NotPositive { .. }));
    assert!(matches!(
        with(|p| p.tip = TipCapacitance::AcrossTipResistor(1e-12)),
        ReachError::RangeAgainstTip { .. }
    ));
    // A probe that does not divide has nothing to compensate.
    assert!(matches!(with(|p| p.divider.tip_resistance_ohm = 0.0), ReachError::NotPositive { .. }));
}

fn places() -> impl Strategy<Value = AdjustedAt> {
    prop_oneof![Just(AdjustedAt::Tip), Just(AdjustedAt::Base)]
}

proptest! {
    #[test]
    fn prop_the_residual_is_that_of_the_divider_at_its_stop(
        c in 1.0..60.0_f64, a in 5.0..20.0_f64, width in 0.0..20.0_f64, seen in 8.0..20.0_f64, at in places(),
    ) {
        let p = probe(a, a + width, seen, at);
        let r = reach(&p, input(c, 0.0)).unwrap();
        let stop = c.clamp(a, a + width) * PICO;
        let shelf = p.shelf_set_for(stop, c * PICO);
        assert_close!(r.residual.error, shelf.error, within(1e-13));
        assert_close!(r.residual.shelf.time_constant_s, shelf.time_constant_s, relative(1e-12));
        // The design's formula, with C1 at the stop.
        let balance = 10.0 * p.tip_capacitance_at_f(stop);
        let delta = (c * PICO - stop).abs();
        let formula = if c * PICO > stop { -delta / (balance + delta) } else { delta / (balance - delta) };
        assert_close!(r.residual.error, formula, within(1e-13));
    }

    #[test]
    fn prop_the_residual_is_continuous_at_the_limits_and_falls_with_the_input(
        a in 5.0..20.0_f64, width in 0.5..20.0_f64, seen in 8.0..20.0_f64, at in places(), c in 1.0..50.0_f64,
    ) {
        let p = probe(a, a + width, seen, at);
        let e = |c: f64| reach(&p, input(c, 0.0)).unwrap().residual.error;
        for limit in [a, a + width] {
            assert_close!(e(limit * (1.0 - 1e-9)), e(limit * (1.0 + 1e-9)), within(1e-9));
        }
        prop_assert!(e(c + 0.1) <= e(c));
    }

    #[test]
    fn prop_the_same_distance_above_and_below_has_the_opposite_sign(
        delta in 0.01..4.0_f64, seen in 8.0..20.0_f64,
    ) {
        let p = probe(10.0, 20.0, seen, AdjustedAt::Base);
        let above = reach(&p, input(20.0 + delta, 0.0)).unwrap();
        let below = reach(&p, input(10.0 - delta, 0.0)).unwrap();
        prop_assert!(above.residual.error < 0.0 && below.residual.error > 0.0);
        assert_close!(above.margin.margin_f, below.margin.margin_f, within(1e-24));
        // −1/e differ by two: N·C1/δ ± 1.
        assert_close!(-1.0 / above.residual.error - 1.0 / below.residual.error, 2.0, within(1e-6));
    }

    #[test]
    fn prop_a_wider_tolerance_only_makes_it_less_certain(
        c in 1.0..40.0_f64, a in 5.0..20.0_f64, width in 0.0..20.0_f64, t in 0.0..5.0_f64, more in 0.0..5.0_f64,
    ) {
        let p = probe(a, a + width, 11.0, AdjustedAt::Base);
        let (narrow, wide) = (p.range.margin(input(c, t)).verdict, p.range.margin(input(c, t + more)).verdict);
        prop_assert!(wide == narrow || wide == Verdict::MayReach, "{narrow:?} became {wide:?}");
        let (n, w) = (reach(&p, input(c, t)).unwrap().residual, reach(&p, input(c, t + more)).unwrap().residual);
        prop_assert!(w.bounds.0 <= n.bounds.0 && w.bounds.1 >= n.bounds.1);
        prop_assert!(n.bounds.0 <= n.error && n.error <= n.bounds.1);
    }

    #[test]
    fn prop_the_standard_uncertainty_follows_the_tolerances(
        above in 2.0..10.0_f64, t in 0.01..1.0_f64, limit in 0.01..0.9_f64, at in places(),
    ) {
        let mut p = probe(8.0, 18.0, 11.0, at);
        p.range.tolerance_f = limit * PICO;
        let e = |c: f64| reach(&p, input(c, t)).unwrap().residual;
        let r = e(18.0 + above);
        let slope = (e(18.0 + above + 0.01).error - e(18.0 + above - 0.01).error) / 0.02;
        assert_close!(r.standard_uncertainty, slope.abs() * t.hypot(limit) / 3f64.sqrt(), relative(1e-4));
    }
}
