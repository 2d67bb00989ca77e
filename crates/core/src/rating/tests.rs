//! Tests of ratings, of a signal's facts, and of the cautions at their limits.

use super::*;
use crate::finding::Severity;
use crate::signal::{Outside, Shape, Signal};
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;
use std::f64::consts::{PI, SQRT_2};

fn rating(kind: ValueKind, points: &[(f64, f64)]) -> Rating {
    let points = points.iter().map(|&(frequency_hz, voltage_v)| RatingPoint { frequency_hz, voltage_v });
    Rating::new(kind, points.collect()).unwrap()
}

fn allowed(rating: &Rating, frequency_hz: f64) -> f64 {
    match rating.at(frequency_hz) {
        Allowed::UpTo(v) => v,
        Allowed::NotRated { .. } => f64::NAN,
    }
}

fn sine(low_v: f64, high_v: f64, frequency_hz: f64) -> Signal {
    Signal { shape: Shape::Sine { frequency_hz }, low_v, high_v }
}

fn part(rating: Rating) -> RatedPart {
    RatedPart { name: "Probe 07".to_owned(), attenuation: 1.0, rating: Some(rating), categories: Vec::new() }
}

const BENCH: Circuit = Circuit { supply: Supply::Isolated, category: None };

fn codes(signal: &Signal, parts: &[RatedPart], circuit: Circuit) -> Vec<&'static str> {
    survey(signal, parts, circuit).unwrap().findings.iter().map(|f| f.code).collect()
}

#[test]
fn between_points_it_is_straight_on_log_scales_and_above_the_last_there_is_nothing() {
    let r = rating(ValueKind::Rms, &[(1e6, 300.0), (1e8, 3.0)]);
    assert_close!(allowed(&r, 0.0), 300.0, relative(1e-15));
    assert_close!(allowed(&r, 1e6), 300.0, relative(1e-15));
    assert_close!(allowed(&r, 1e7), 30.0, relative(1e-12));
    assert_close!(allowed(&r, 1e8), 3.0, relative(1e-15));
    assert_eq!(r.at(1.000001e8), Allowed::NotRated { last_hz: 1e8 });
    assert_eq!(r.at(f64::NAN), Allowed::NotRated { last_hz: 1e8 });
    assert_eq!(r.at(f64::INFINITY), Allowed::NotRated { last_hz: 1e8 });
    // From a point at 0 Hz no straight line starts.
    let r = rating(ValueKind::Rms, &[(0.0, 600.0), (1e6, 300.0)]);
    assert_close!(allowed(&r, 0.0), 600.0, relative(1e-15));
    assert_close!(allowed(&r, 1.0), 300.0, relative(1e-15));
}

#[test]
fn tables_that_are_none_are_refused() {
    let new = |kind, points: &[(f64, f64)]| {
        let points = points.iter().map(|&(frequency_hz, voltage_v)| RatingPoint { frequency_hz, voltage_v });
        Rating::new(kind, points.collect()).unwrap_err()
    };
    assert_eq!(new(ValueKind::Rms, &[]), RatingError::Empty);
    assert!(matches!(new(ValueKind::Rms, &[(1.0, 0.0)]), RatingError::Voltage { .. }));
    assert!(matches!(new(ValueKind::Rms, &[(1.0, 1.0), (1.0, 1.0)]), RatingError::Frequency { .. }));
    assert!(matches!(new(ValueKind::Rms, &[(-1.0, 1.0)]), RatingError::Frequency { .. }));
    assert!(matches!(new(ValueKind::Dc, &[(0.0, 1.0), (1.0, 1.0)]), RatingError::DcAboveZero { .. }));
}

#[test]
fn harmonics_of_a_square_wave_are_those_of_the_textbook() {
    // 4A/(πn) for odd n, none for even n; rms and dc by arithmetic.
    let square = |rise_s| Signal {
        shape: Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s, fall_s: rise_s },
        low_v: -1.0,
        high_v: 3.0,
    };
    let facts = signal_facts(&square(0.0), 0.1).unwrap();
    assert_close!([facts.peak_v, facts.dc_v, facts.rms_v], [3.0, 1.0, 5f64.sqrt()], relative(1e-12));
    for (k, c) in facts.components.iter().enumerate() {
        let n = (2 * k + 1) as f64;
        assert_close!([c.frequency_hz, c.amplitude_v], [1e3 * n, 8.0 / (PI * n)], relative(1e-9));
    }
    assert_eq!(facts.components.len(), 13);
    // A trapezoid: times sin(πn·tr/T)/(πn·tr/T).
    let facts = signal_facts(&square(1e-4), 1e-3).unwrap();
    for c in &facts.components {
        let (n, x) = (c.frequency_hz / 1e3, PI * c.frequency_hz * 1e-4);
        assert_close!(c.amplitude_v, (8.0 / (PI * n) * x.sin() / x).abs(), relative(1e-7));
    }
    // The mean square of a ramp is a third where the flat has one.
    assert_close!(facts.rms_v.powi(2) - 1.0, 4.0 * (1.0 - 0.2 * 2.0 / 3.0), relative(1e-12));
}

#[test]
fn a_single_edge_is_bounded_by_the_sine_of_its_steepest_slope() {
    let edge = Signal { shape: Shape::Edge { rise_s: 1e-8 }, low_v: 0.0, high_v: 5.0 };
    let facts = signal_facts(&edge, 0.0).unwrap();
    let c = facts.components[0];
    // The sine's steepest slope 2πfA is that of the ramp.
    assert_close!(2.0 * PI * c.frequency_hz * c.amplitude_v, 5.0 / 1e-8, relative(1e-12));
    assert_eq!(facts.basis, Basis::SteepestSlopes);
    let points = Signal {
        shape: Shape::Points { time_s: vec![0.0, 1e-8], value_v: vec![0.0, 5.0], outside: Outside::Holds },
        low_v: 0.0,
        high_v: 0.0,
    };
    let same = signal_facts(&points, 0.0).unwrap();
    assert_close!(same.components[0].frequency_hz, c.frequency_hz, relative(1e-12));
    assert_close!([same.dc_v, same.rms_v], [5.0, 5.0], relative(1e-12));
}

#[test]
fn descriptions_that_are_no_signal_are_refused() {
    let of = |shape| signal_facts(&Signal { shape, low_v: 0.0, high_v: 1.0 }, 0.0).unwrap_err();
    assert!(matches!(of(Shape::Sine { frequency_hz: 0.0 }), SignalFault::Value { .. }));
    assert!(matches!(of(Shape::Edge { rise_s: f64::NAN }), SignalFault::Value { .. }));
    let ramps = Shape::Trapezoid { frequency_hz: 1e3, duty: 0.1, rise_s: 2e-4, fall_s: 1e-4 };
    assert!(matches!(of(ramps), SignalFault::Ramps { .. }));
    let points =
        |t: &[f64], v: &[f64]| Shape::Points { time_s: t.into(), value_v: v.into(), outside: Outside::Holds };
    for shape in [points(&[], &[]), points(&[0.0, 0.0], &[1.0, 2.0]), points(&[0.0, 1.0], &[1.0])] {
        assert_eq!(of(shape), SignalFault::Points);
    }
}

#[test]
fn over_near_and_outside_a_rating() {
    let table = || part(rating(ValueKind::Rms, &[(1e6, 100.0), (1e8, 1.0)]));
    let at = |rms: f64, f: f64| sine(-rms * SQRT_2, rms * SQRT_2, f);
    let has = |signal: &Signal, code: &str| codes(signal, &[table()], BENCH).contains(&code);
    assert!(has(&at(11.0, 1e7), "over-rating"));
    assert!(has(&at(9.0, 1e7), "near-rating"));
    assert!(!has(&at(7.0, 1e7), "near-rating") && !has(&at(7.0, 1e7), "over-rating"));
    assert!(has(&at(1e-3, 1.1e8), "not-rated"));
    let outside = survey(&at(1e-3, 1.1e8), &[table()], BENCH).unwrap();
    assert_eq!(outside.findings[0].severity, Severity::Fault);
    assert_eq!(outside.worst.unwrap().used(), None);
    // The harmonics of a 10 MHz square wave go past 100 MHz; those of a 1 kHz one do not matter there.
    let square = |frequency_hz, high_v| Signal {
        shape: Shape::Trapezoid { frequency_hz, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 },
        low_v: 0.0,
        high_v,
    };
    assert!(has(&square(1e7, 5.0), "not-rated"));
    assert!(!has(&square(1e3, 5.0), "not-rated"));
    // Attenuation: the same signal behind a 10× probe.
    let mut behind = table();
    behind.attenuation = 10.0;
    assert!(!codes(&at(11.0, 1e7), &[behind], BENCH).contains(&"over-rating"));
    let edge = Signal { shape: Shape::Edge { rise_s: 1e-9 }, low_v: 0.0, high_v: 5.0 };
    assert!(has(&edge, "rating-not-shown"));
    let jump = Signal { shape: Shape::Edge { rise_s: 0.0 }, low_v: 0.0, high_v: 5.0 };
    assert!(has(&jump, "rating-not-shown"));
    // A dc rating says nothing of a sine.
    assert!(
        codes(&at(1.0, 50.0), &[part(rating(ValueKind::Dc, &[(0.0, 600.0)]))], BENCH).contains(&"not-rated")
    );
}

#[test]
fn all_sines_together_count_as_heat() {
    let square = Signal {
        shape: Shape::Trapezoid { frequency_hz: 1e6, duty: 0.5, rise_s: 1e-7, fall_s: 1e-7 },
        low_v: -5.0,
        high_v: 5.0,
    };
    let found =
        survey(&square, &[part(rating(ValueKind::Peak, &[(1e5, 100.0), (1e8, 10.0)]))], BENCH).unwrap();
    let sum: f64 = found
        .checks
        .iter()
        .filter(|c| c.quantity == Quantity::Component)
        .map(|c| c.used().unwrap().powi(2))
        .sum();
    let together = found.checks.iter().find(|c| c.quantity == Quantity::Together).unwrap();
    assert_close!(together.value, sum.sqrt(), relative(1e-12));
}

#[test]
fn voltages_are_hazardous_above_the_limits_of_the_standard() {
    // IEC 61010-031, 2nd edition (publisher's abstract): 30 V rms, 42.4 V peak, 60 V dc.
    let hazardous = |signal: &Signal| codes(signal, &[], BENCH).contains(&"hazardous-voltage");
    assert!(!hazardous(&sine(-42.3, 42.3, 50.0)));
    assert!(hazardous(&sine(-42.5, 42.5, 50.0)));
    // A square wave has its peak as rms value.
    let square = |v: f64| Signal {
        shape: Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s: 0.0, fall_s: 0.0 },
        low_v: -v,
        high_v: v,
    };
    assert!(!hazardous(&square(29.9)) && hazardous(&square(30.1)));
    // A steady voltage.
    let steady = |v: f64| Signal {
        shape: Shape::Points { time_s: vec![0.0], value_v: vec![v], outside: Outside::Holds },
        low_v: 0.0,
        high_v: 0.0,
    };
    assert!(!hazardous(&steady(59.9)) && hazardous(&steady(60.1)) && hazardous(&steady(-60.1)));
}

#[test]
fn the_earthed_clip_is_always_mentioned_and_more_gravely_where_it_kills() {
    let small = sine(-1.0, 1.0, 1e3);
    let with = |signal: &Signal, supply| codes(signal, &[], Circuit { supply, category: None });
    assert_eq!(with(&small, Supply::Isolated), ["earthed-ground-clip"]);
    assert_eq!(with(&small, Supply::NotStated), ["earthed-ground-clip"]);
    assert!(with(&small, Supply::Mains).contains(&"earthed-clip-danger"));
    assert!(with(&small, Supply::Mains).contains(&"category-not-stated"));
    let floating = with(&small, Supply::Floating);
    assert!(floating.contains(&"earthed-clip-danger") && floating.contains(&"floating-measurement"));
    let large = sine(-100.0, 100.0, 1e5);
    let danger = survey(&large, &[], BENCH).unwrap().findings;
    assert!(danger.iter().any(|f| f.code == "earthed-clip-danger" && f.remedy.contains("local codes")));
    // IEC 60664-4 starts at 30 kHz.
    assert!(danger.iter().any(|f| f.code == "high-frequency-stress"));
    assert!(!with(&sine(-100.0, 100.0, 2.9e4), Supply::Isolated).contains(&"high-frequency-stress"));
    assert!(!with(&sine(-1.0, 1.0, 1e6), Supply::Isolated).contains(&"high-frequency-stress"));
}

#[test]
fn categories_cover_lower_ones_and_no_higher() {
    let mut probe = part(rating(ValueKind::Rms, &[(1e6, 600.0)]));
    probe.categories = vec![CategoryRating { category: MeasurementCategory::Iii, voltage_v: 300.0 }];
    let with = |rms: f64, category| {
        let circuit = Circuit { supply: Supply::Mains, category: Some(category) };
        codes(&sine(-rms * SQRT_2, rms * SQRT_2, 50.0), std::slice::from_ref(&probe), circuit)
    };
    let wrong = |codes: &[&str]| codes.iter().any(|c| c.contains("category"));
    assert!(!wrong(&with(230.0, MeasurementCategory::Ii)));
    assert!(!wrong(&with(230.0, MeasurementCategory::Iii)));
    assert!(with(230.0, MeasurementCategory::Iv).contains(&"category-not-rated"));
    assert!(with(400.0, MeasurementCategory::Iii).contains(&"over-category-rating"));
}

proptest! {
    #[test]
    fn prop_parseval(
        duty in 0.1..0.9_f64, rise in 0.0..0.09_f64, fall in 0.0..0.09_f64, low in -5.0..5.0_f64, swing in 0.1..5.0_f64,
    ) {
        // Mean square = dc² + Σ amplitude²/2; the harmonics left out hold little.
        let shape = Shape::Trapezoid { frequency_hz: 2.0, duty, rise_s: 0.5 * rise, fall_s: 0.5 * fall };
        let facts = signal_facts(&Signal { shape, low_v: low, high_v: low + swing }, 1e-4 * swing).unwrap();
        let sum: f64 = facts.components.iter().map(|c| 0.5 * c.amplitude_v.powi(2)).sum();
        assert_close!(sum + facts.dc_v.powi(2), facts.rms_v.powi(2), within(3e-3 * swing * swing));
        assert_close!(facts.dc_v, low + swing * duty, within(1e-9));
    }

    #[test]
    fn prop_a_rating_never_allows_more_than_its_neighbouring_points(
        f in 0.0..1.2e8_f64, first in 10.0..1000.0_f64, second in 1.0..1000.0_f64, third in 1.0..1000.0_f64,
    ) {
        let r = rating(ValueKind::Peak, &[(1e5, first), (1e7, second), (1e8, third)]);
        match r.at(f) {
            Allowed::NotRated { .. } => prop_assert!(f > 1e8),
            Allowed::UpTo(v) => prop_assert!(v <= first.max(second).max(third) * (1.0 + 1e-12) && f <= 1e8),
        }
    }

    #[test]
    fn prop_an_upside_down_signal_has_the_same_checks(
        duty in 0.2..0.8_f64, low in -50.0..50.0_f64, high in -50.0..50.0_f64,
    ) {
        let signal = |low_v, high_v| Signal {
            shape: Shape::Trapezoid { frequency_hz: 1e5, duty, rise_s: 1e-7, fall_s: 1e-7 }, low_v, high_v,
        };
        let table = [part(rating(ValueKind::Peak, &[(1e6, 100.0), (1e8, 10.0)]))];
        let (up, down) = (survey(&signal(low, high), &table, BENCH), survey(&signal(-low, -high), &table, BENCH));
        let (up, down) = (up.unwrap(), down.unwrap());
        assert_close!(up.facts.peak_v, down.facts.peak_v, within(1e-12));
        prop_assert_eq!(up.checks.len(), down.checks.len());
        prop_assert_eq!(up.findings.len(), down.findings.len());
    }
}
