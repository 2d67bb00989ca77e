//! Exact captures give exact values back; noisy ones are as far off as the stated uncertainty says.

use super::*;
use crate::assessment::AdjustedAt;
use crate::divider::{Capacitances, Divider, Shelf};
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

const RUNS: usize = 4000;

fn exactly(value: f64) -> Estimate {
    Estimate { value, standard_uncertainty: 0.0 }
}

fn about(value: f64, standard_uncertainty: f64) -> Estimate {
    Estimate { value, standard_uncertainty }
}

fn seen(r1: f64, r2: f64, tip_f: f64, shunt_f: f64) -> Shelf {
    Divider { tip_resistance_ohm: r1, shunt_resistance_ohm: r2 }.shelf(Capacitances { tip_f, shunt_f })
}

fn exact(shelf: Shelf) -> Reading {
    Reading { error: exactly(shelf.error), time_constant_s: exactly(shelf.time_constant_s), correlation: 0.0 }
}

fn codes(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().map(|f| f.code).filter(|c| *c != "input-taken-as-flat").collect()
}

/// Draws captures and values around the truth, all from one seed.
struct Draw(Xoshiro256PlusPlus);

impl Draw {
    fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// A stated value whose error is drawn.
    fn stated(&mut self, truth: f64, u: f64) -> Estimate {
        about(truth + u * self.normal(), u)
    }

    fn reading(&mut self, shelf: Shelf, u_e: f64, relative_u_tau: f64, correlation: f64) -> Reading {
        let (a, b) = (self.normal(), self.normal());
        let u_tau = relative_u_tau * shelf.time_constant_s;
        let other = correlation * a + (1.0 - correlation * correlation).sqrt() * b;
        Reading {
            error: about(shelf.error + u_e * a, u_e),
            time_constant_s: about(shelf.time_constant_s + u_tau * other, u_tau),
            correlation,
        }
    }
}

/// The share of 95 % intervals that hold the truth lies within four standard deviations of a binomial about 95 %.
fn covers(name: &str, hits: usize) {
    let sigma = (0.95 * 0.05 * RUNS as f64).sqrt();
    let apart = hits as f64 - 0.95 * RUNS as f64;
    assert!(apart.abs() < 4.0 * sigma, "{name}: {hits} of {RUNS}");
}

fn holds(found: Estimate, truth: f64) -> bool {
    (found.value - truth).abs() <= COVERAGE_FACTOR_95 * found.standard_uncertainty
}

fn substitution<'a>(known: &'a [Reading], unknown: &'a [Reading]) -> Substitution<'a> {
    Substitution {
        tip_resistance_ohm: exactly(9e6),
        shunts: Shunts::Shared(exactly(1e6)),
        flatness: 0.0,
        adjusted_at: Some(AdjustedAt::Tip),
        known: KnownInput { capacitance_f: exactly(20e-12), readings: known },
        unknown,
    }
}

/// By hand: 12 pF and 108 pF make 120 pF and 108 µs; 7 pF less make 113 pF and 101.7 µs.
#[test]
fn seven_picofarads_less() {
    let known = [exact(Shelf { error: 0.0, time_constant_s: 108e-6 })];
    let unknown = [exact(Shelf { error: 120.0 / 113.0 - 1.0, time_constant_s: 101.7e-6 })];
    let found = input_capacitance(&substitution(&known, &unknown)).unwrap();
    assert_close!(found.capacitance_f.unwrap().value, 13e-12, relative(1e-9));
    assert_close!(found.difference_f.value, -7e-12, relative(1e-9));
    assert_close!(found.tip_capacitance_f.value, 12e-12, relative(1e-9));
}

/// By hand: one resistor that is off by r scales both totals alike, so their difference by r too.
#[test]
fn a_shared_resistor_weighs_little_and_two_weigh_much() {
    let known = [exact(seen(9e6, 1e6, 12e-12, 108e-12))];
    let unknown = [exact(seen(9e6, 1e6, 12e-12, 101e-12))];
    let u = 0.01;
    let mut request = substitution(&known, &unknown);
    request.shunts = Shunts::Shared(about(1e6, u * 1e6));
    // S = τ(1/R1+1/R2): R2 has nine tenths of it.
    let shared = input_capacitance(&request).unwrap();
    assert_close!(shared.difference_f.standard_uncertainty, 0.9 * u * 7e-12, relative(1e-4));
    request.shunts = Shunts::OfEachInput { known_ohm: about(1e6, u * 1e6), unknown_ohm: about(1e6, u * 1e6) };
    let each = input_capacitance(&request).unwrap();
    let expected = 0.9 * u * 120e-12_f64.hypot(113e-12);
    assert_close!(each.difference_f.standard_uncertainty, expected, relative(1e-4));
    assert_eq!(each.shares[0].of, "resistance of the known input");
}

#[test]
fn a_turned_trimmer_withholds_the_answer() {
    let known = [exact(seen(9e6, 1e6, 12e-12, 108e-12))];
    let turned = [exact(seen(9e6, 1e6, 12.1e-12, 101e-12))];
    let found = input_capacitance(&substitution(&known, &turned)).unwrap();
    assert_eq!((codes(&found.findings), found.capacitance_f), (vec!["trimmer-was-turned"], None));
    assert_close!(found.agreement.difference.value, 0.1 / 12.0, relative(1e-6));
    // With a flatness that could do the same, nothing can be said against it.
    let request = Substitution { flatness: 0.01, ..substitution(&known, &turned) };
    assert!(input_capacitance(&request).unwrap().capacitance_f.is_some());
}

#[test]
fn a_trimmer_in_the_box_needs_a_second_look() {
    let known = [exact(seen(9e6, 1e6, 12e-12, 108e-12))];
    let unknown = [exact(seen(9e6, 1e6, 12e-12, 101e-12))];
    let request = Substitution { adjusted_at: Some(AdjustedAt::Base), ..substitution(&known, &unknown) };
    assert_eq!(codes(&input_capacitance(&request).unwrap().findings), ["trimmer-not-watched"]);
    let twice = [known[0], known[0]];
    let request = Substitution { adjusted_at: Some(AdjustedAt::Base), ..substitution(&twice, &unknown) };
    assert_eq!(codes(&input_capacitance(&request).unwrap().findings), [""; 0]);
    // Turned by 1 pF in between: the two looks at the known input show it.
    let turned = [known[0], exact(seen(9e6, 1e6, 12e-12, 109e-12))];
    let request = Substitution { adjusted_at: Some(AdjustedAt::Base), ..substitution(&turned, &unknown) };
    let found = input_capacitance(&request).unwrap();
    assert_eq!(codes(&found.findings), ["repeats-scatter"]);
    assert!(found.capacitance_f.unwrap().standard_uncertainty > 0.2e-12);
}

#[test]
fn nothing_and_what_cannot_be_is_refused() {
    let known = [exact(seen(9e6, 1e6, 12e-12, 108e-12))];
    let none = MeasureError::None { of: "on the unknown input" };
    assert_eq!(input_capacitance(&substitution(&known, &[])), Err(none));
    for (e, tau) in [(-1.0, 1e-4), (f64::NAN, 1e-4), (0.0, 0.0), (0.0, f64::INFINITY)] {
        let odd = [exact(Shelf { error: e, time_constant_s: tau })];
        assert!(input_capacitance(&substitution(&known, &odd)).is_err(), "{e} {tau}");
    }
    let below = [exact(seen(9e6, 1e6, 12e-12, 87e-12))];
    let found = input_capacitance(&substitution(&known, &below)).unwrap();
    assert_eq!((codes(&found.findings), found.capacitance_f), (vec!["capacitance-not-above-nil"], None));
}

#[test]
fn substitution_covers() {
    let mut draw = Draw::new(1);
    let (mut hits, mut with_repeats, mut turned) = (0, 0, 0);
    for _ in 0..RUNS {
        let (r1, rk, ru) = (draw.stated(9e6, 5e4), draw.stated(1e6, 5e3), draw.stated(1e6, 5e3));
        // Resistors are true, statements are drawn.
        let (on_known, on_unknown) = (seen(9e6, 1e6, 12e-12, 108e-12), seen(9e6, 1e6, 12e-12, 101e-12));
        let known: Vec<_> = (0..3).map(|_| draw.reading(on_known, 1e-3, 3e-3, -0.5)).collect();
        let unknown: Vec<_> = (0..2).map(|_| draw.reading(on_unknown, 2e-3, 4e-3, -0.3)).collect();
        let capacitance = draw.stated(20e-12, 0.2e-12);
        let request = |known, unknown| Substitution {
            tip_resistance_ohm: r1,
            shunts: Shunts::OfEachInput { known_ohm: rk, unknown_ohm: ru },
            known: KnownInput { capacitance_f: capacitance, readings: known },
            ..substitution(&[], unknown)
        };
        let found = input_capacitance(&request(&known[..1], &unknown[..1])).unwrap();
        match found.capacitance_f {
            None => turned += 1,
            Some(c) => hits += usize::from(holds(c, 13e-12)),
        }
        let found = input_capacitance(&request(&known, &unknown)).unwrap();
        with_repeats += usize::from(found.capacitance_f.is_none_or(|c| holds(c, 13e-12)));
    }
    assert!(turned < 15, "{turned} of {RUNS} said to be turned, 4 expected");
    covers("one capture each", hits + turned);
    covers("repeats", with_repeats);
}

/// The condition that τz is the same takes uncertainty away: what is left is no more than without it, and covers.
#[test]
fn the_same_tip_makes_the_answer_better() {
    let mut draw = Draw::new(2);
    let (mut hits, mut spread) = (0, 0.0);
    let plain = 1e6 * 9.0 / 10.0;
    for _ in 0..RUNS {
        let known = [draw.reading(seen(9e6, 1e6, 12e-12, 108e-12), 1e-3, 5e-3, 0.0)];
        let unknown = [draw.reading(seen(9e6, 1e6, 12e-12, 101e-12), 1e-3, 5e-3, 0.0)];
        let found = input_capacitance(&substitution(&known, &unknown)).unwrap();
        let u = found.difference_f.standard_uncertainty;
        let alone = 5e-3 * 108e-6_f64.hypot(101.7e-6) / plain;
        assert!(u < 0.3 * alone, "{u} {alone}");
        hits += usize::from(holds(found.difference_f, -7e-12));
        spread += (found.difference_f.value + 7e-12).powi(2);
    }
    covers("difference", hits);
    assert!((spread / RUNS as f64).sqrt() < 0.2e-12);
}

fn stops(stops: [&[Reading]; 2], adjusted_at: AdjustedAt) -> Stops<'_> {
    Stops {
        tip_resistance_ohm: exactly(9e6),
        shunt_resistance_ohm: exactly(1e6),
        input_capacitance_f: exactly(20e-12),
        flatness: 0.0,
        adjusted_at,
        stops,
    }
}

/// By hand: 72 pF of cable and 16 pF of box under a tip of 11 to 13 pF balance 9·C1 − 88 pF: 11 to 29 pF.
#[test]
fn a_range_at_the_tip() {
    let low = [exact(seen(9e6, 1e6, 11e-12, 108e-12))];
    let high = [exact(seen(9e6, 1e6, 13e-12, 108e-12))];
    for order in [[&low[..], &high[..]], [&high[..], &low[..]]] {
        let found = compensation_range(&stops(order, AdjustedAt::Tip)).unwrap();
        let [a, b] = found.limits_f.unwrap();
        assert_close!(a.value, 11e-12, relative(1e-9));
        assert_close!(b.value, 29e-12, relative(1e-9));
        assert_close!(found.width_f.value, 18e-12, relative(1e-9));
        assert_eq!(codes(&found.findings), [""; 0]);
        assert!(found.errors[0].value < 0.0 && found.errors[1].value > 0.0);
    }
    // Said to be in the box: C1 differs, which it would not.
    let found = compensation_range(&stops([&low, &high], AdjustedAt::Base)).unwrap();
    assert_eq!(codes(&found.findings), ["stops-of-another-trimmer"]);
    assert!(found.limits_f.is_some());
}

/// By hand: a tip of 12 pF balances 108 pF; with 72 pF of cable and a box of 8 to 26 pF that is 10 to 28 pF of input.
#[test]
fn a_range_in_the_box() {
    let large = [exact(seen(9e6, 1e6, 12e-12, (72.0 + 26.0 + 20.0) * 1e-12))];
    let small = [exact(seen(9e6, 1e6, 12e-12, (72.0 + 8.0 + 20.0) * 1e-12))];
    let found = compensation_range(&stops([&large, &small], AdjustedAt::Base)).unwrap();
    let [a, b] = found.limits_f.unwrap();
    assert_close!(a.value, 10e-12, relative(1e-9));
    assert_close!(b.value, 28e-12, relative(1e-9));
    assert_eq!(codes(&found.findings), [""; 0]);
}

#[test]
fn an_input_outside_and_stops_that_coincide_are_named() {
    let low = [exact(seen(9e6, 1e6, 11e-12, 130e-12))];
    let high = [exact(seen(9e6, 1e6, 13e-12, 130e-12))];
    let found = compensation_range(&stops([&low, &high], AdjustedAt::Tip)).unwrap();
    assert_eq!(codes(&found.findings), ["input-outside-range"]);
    assert_close!(found.limits_f.unwrap()[1].value, 7e-12, relative(1e-9));
    let found = compensation_range(&stops([&low, &low], AdjustedAt::Tip)).unwrap();
    assert_eq!((codes(&found.findings), found.limits_f), (vec!["stops-coincide"], None));
}

#[test]
fn range_covers() {
    let mut draw = Draw::new(3);
    let mut hits = [0; 3];
    for _ in 0..RUNS {
        let tilt = 5e-4 * draw.normal();
        let mut at = |tip_f: f64| {
            let shelf = seen(9e6, 1e6, tip_f, 108e-12);
            [draw.reading(Shelf { error: shelf.error + tilt, ..shelf }, 5e-4, 2e-3, -0.6)]
        };
        let (low, high) = (at(11e-12), at(13e-12));
        let request = Stops {
            tip_resistance_ohm: draw.stated(9e6, 5e4),
            shunt_resistance_ohm: draw.stated(1e6, 5e3),
            input_capacitance_f: draw.stated(20e-12, 0.1e-12),
            flatness: 5e-4,
            ..stops([&low, &high], AdjustedAt::Tip)
        };
        let found = compensation_range(&request).unwrap();
        let [a, b] = found.limits_f.unwrap();
        hits[0] += usize::from(holds(a, 11e-12));
        hits[1] += usize::from(holds(b, 29e-12));
        hits[2] += usize::from(holds(found.width_f, 18e-12));
    }
    ["lower limit", "upper limit", "width"].iter().zip(hits).for_each(|(name, hits)| covers(name, hits));
}

fn looks<'a>(readings: &'a [Reading], series: Option<SeriesLook<'a>>) -> TipLooks<'a> {
    TipLooks {
        tip_resistance_ohm: exactly(9e6),
        shunt_resistance_ohm: exactly(1e6),
        flatness: 0.0,
        readings,
        series,
    }
}

/// By hand: 12 pF and 108 pF in series are 10.8 pF; with 3 pF of body 13.8 pF, a divider with 10 MΩ and 15 pF above.
#[test]
fn a_tip_with_its_body() {
    let straight = [exact(seen(9e6, 1e6, 12e-12, 108e-12))];
    let found = tip_capacitance(&looks(&straight, None)).unwrap();
    assert_close!(found.divider_f.value, 10.8e-12, relative(1e-9));
    assert_eq!((codes(&found.findings), found.whole_f), (vec!["body-not-included"], None));
    let through = [exact(seen(10e6, 10e6, 15e-12, 13.8e-12))];
    let series = SeriesLook { resistance_ohm: exactly(10e6), readings: &through };
    let found = tip_capacitance(&looks(&straight, Some(series))).unwrap();
    assert_close!(found.whole_f.unwrap().value, 13.8e-12, relative(1e-9));
    assert_close!(found.body_f.unwrap().value, 3e-12, relative(1e-8));
}

#[test]
fn a_probe_that_is_off_or_a_tail_that_is_small_withholds_the_body() {
    let off = [exact(seen(9e6, 1e6, 12e-12, 112e-12))];
    let through = [exact(seen(10e6, 10e6, 25e-12, 13.8e-12))];
    let series = SeriesLook { resistance_ohm: exactly(10e6), readings: &through };
    let found = tip_capacitance(&looks(&off, Some(series))).unwrap();
    assert_eq!((codes(&found.findings), found.whole_f), (vec!["compensate-first"], None));
    let nearly = [exact(seen(9e6, 1e6, 12e-12, 109e-12))];
    let flat = [exact(seen(10e6, 10e6, 14e-12, 13.8e-12))];
    let series = SeriesLook { resistance_ohm: exactly(10e6), readings: &flat };
    let found = tip_capacitance(&looks(&nearly, Some(series))).unwrap();
    assert_eq!((codes(&found.findings), found.whole_f), (vec!["series-tail-too-small"], None));
    let straight = [exact(seen(9e6, 1e6, 12e-12, 108e-12))];
    let below = [exact(seen(10e6, 10e6, 20e-12, 10e-12))];
    let series = SeriesLook { resistance_ohm: exactly(10e6), readings: &below };
    let found = tip_capacitance(&looks(&straight, Some(series))).unwrap();
    assert_eq!((codes(&found.findings), found.body_f), (vec!["body-below-nil"], None));
}

#[test]
fn tip_covers() {
    let mut draw = Draw::new(4);
    let mut hits = [0; 3];
    for _ in 0..RUNS {
        let straight = [draw.reading(seen(9e6, 1e6, 12e-12, 108e-12), 3e-4, 2e-2, -0.4)];
        let through = [draw.reading(seen(10e6, 10e6, 22e-12, 13.8e-12), 3e-4, 3e-3, -0.4)];
        let series = SeriesLook { resistance_ohm: draw.stated(10e6, 5e4), readings: &through };
        let request = TipLooks {
            tip_resistance_ohm: draw.stated(9e6, 5e4),
            shunt_resistance_ohm: draw.stated(1e6, 5e3),
            ..looks(&straight, Some(series))
        };
        let found = tip_capacitance(&request).unwrap();
        hits[0] += usize::from(holds(found.divider_f, 10.8e-12));
        hits[1] += usize::from(holds(found.whole_f.unwrap(), 13.8e-12));
        hits[2] += usize::from(holds(found.body_f.unwrap(), 3e-12));
    }
    ["divider", "whole", "body"].iter().zip(hits).for_each(|(name, hits)| covers(name, hits));
}

proptest! {
    #[test]
    fn prop_substitution_gives_the_unknown_input_back(
        r1 in 4e6..20e6_f64, rk in 0.5e6..2e6_f64, ru in 0.5e6..2e6_f64, tip in 5e-12..30e-12_f64,
        cable in 50e-12..200e-12_f64, known in 8e-12..40e-12_f64, unknown in 8e-12..40e-12_f64, repeats in 1..4_usize,
    ) {
        let on_known = vec![exact(seen(r1, rk, tip, cable + known)); repeats];
        let on_unknown = vec![exact(seen(r1, ru, tip, cable + unknown)); 4 - repeats];
        let found = input_capacitance(&Substitution {
            tip_resistance_ohm: exactly(r1),
            shunts: Shunts::OfEachInput { known_ohm: exactly(rk), unknown_ohm: exactly(ru) },
            known: KnownInput { capacitance_f: exactly(known), readings: &on_known },
            ..substitution(&[], &on_unknown)
        }).unwrap();
        prop_assert_eq!(codes(&found.findings), [""; 0]);
        assert_close!(found.capacitance_f.unwrap().value, unknown, within(1e-18));
        assert_close!(found.tip_capacitance_f.value, tip, relative(1e-8));
    }

    /// What a range says is what the trimmer does: at each stop, an input of just that size shows no error.
    #[test]
    fn prop_the_limits_are_what_the_stops_balance(
        r1 in 4e6..20e6_f64, r2 in 0.5e6..2e6_f64, tip in 8e-12..30e-12_f64, shunt in 80e-12..200e-12_f64,
        low in 0.2..0.95_f64, high in 1.05..3.0_f64, at_tip in any::<bool>(),
    ) {
        let place = if at_tip { AdjustedAt::Tip } else { AdjustedAt::Base };
        let turned = |by: f64| match place {
            AdjustedAt::Tip => (tip * by, shunt),
            AdjustedAt::Base => (tip, shunt / by),
        };
        let at = [low, high].map(|by| {
            let (tip, shunt) = turned(by);
            [exact(seen(r1, r2, tip, shunt))]
        });
        let found = compensation_range(&Stops {
            tip_resistance_ohm: exactly(r1),
            shunt_resistance_ohm: exactly(r2),
            ..stops([&at[0], &at[1]], place)
        }).unwrap();
        prop_assert!(found.findings.iter().all(|f| f.code != "stops-of-another-trimmer"), "{:?}", found.findings);
        for (limit, by) in found.limits_f.unwrap().iter().zip([low, high]) {
            let (tip, shunt) = turned(by);
            let balanced = seen(r1, r2, tip, shunt + limit.value - 20e-12);
            assert_close!(balanced.error, 0.0, within(1e-8));
        }
    }

    /// Behind any resistor, and whatever lies across it, a compensated probe shows its whole tip.
    #[test]
    fn prop_the_whole_tip_is_found_through_any_resistor(
        rs in 5e6..20e6_f64, across in 1.5..4.0_f64, tip in 9e-12..20e-12_f64, body in 0.5e-12..6e-12_f64,
    ) {
        let (r1, r2, shunt) = (9e6, 1e6, 9.0 * tip);
        let whole = 0.9 * tip + body;
        let straight = [exact(seen(r1, r2, tip, shunt))];
        let through = [exact(seen(rs, r1 + r2, across * whole * 10e6 / rs, whole))];
        let series = SeriesLook { resistance_ohm: exactly(rs), readings: &through };
        let found = tip_capacitance(&looks(&straight, Some(series))).unwrap();
        assert_close!(found.whole_f.unwrap().value, whole, relative(1e-8));
        assert_close!(found.body_f.unwrap().value, body, within(1e-18));
        assert_close!(found.divider_f.value, 0.9 * tip, relative(1e-8));
    }
}
