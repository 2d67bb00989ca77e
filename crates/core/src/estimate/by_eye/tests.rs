//! Readings of known square waves give e and τp back; nonsense is refused.

use super::*;
use crate::divider::Shelf;
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

const DIVIDER: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

fn reading(start: f64, end: f64) -> ByEye {
    ByEye {
        start,
        end,
        resolution: 0.001 * end.abs().max(1e-3),
        frequency_hz: Some(1e3),
        fall_to_37_percent: None,
        divider: DIVIDER,
        resistor_uncertainty: 0.0,
        tolerance: 0.01,
    }
}

#[test]
fn levels_of_a_mis_set_divider_give_its_error_back() {
    // 9 MΩ, 1 MΩ, 120 pF with C1 off by a tenth or by 1 pF: start and end of a 1 kHz square wave in per cent of the settled
    // step, initial error and time constant, worked out from the attenuator formula and checked against a sampled
    // simulation of 19 periods (dossier, D-30).
    for (start, end, error, tau_us) in [
        (8.7692, 0.14168, 8.9109, 121.2),
        (-8.9578, -0.13316, -9.0909, 118.8),
        (6.5943, 0.10546, 6.6998, 120.9),
        (-6.7003, -0.10066, -6.8010, 119.1),
    ] {
        // The low flat ends as far below its settled level as the high one above.
        let (start, end) = (1.0 + 0.01 * (start + end), 1.0 + 0.02 * end);
        let tau_s: f64 = 1e-6 * tau_us;
        // Half a period is 4.2 time constants: the displayed end is not quite the settled level.
        let x = (-0.5e-3 / tau_s).exp();
        let time_s = -tau_s * (x + (1.0 - x) / E).ln();
        let timed = ByEye {
            fall_to_37_percent: Some(TimeReading { time_s, resolution_s: 1e-7 }),
            ..reading(start, end)
        };
        let c = assess(&timed).expect("sensible readings").compensation.expect("a result");
        assert_close!(100.0 * c.error.value, error, within(2e-4));
        assert_close!(c.time_constant_s.value, tau_s, relative(1e-4));
        let assumed =
            assess(&reading(start, end)).expect("sensible readings").compensation.expect("a result");
        assert_close!(assumed.error.value, c.error.value, within(2.0 * assumed.error.standard_uncertainty));
    }
}

#[test]
fn nothing_is_assumed_silently() {
    let codes = |r: &ByEye| -> Vec<&'static str> {
        assess(r).expect("sensible readings").findings.iter().map(|f| f.code).collect()
    };
    let bare = ByEye { frequency_hz: None, ..reading(5.4, 6.0) };
    assert!(codes(&bare).contains(&"frequency-assumed"));
    assert!(codes(&bare).contains(&"time-constant-assumed"));
    let time = TimeReading { time_s: 8e-5, resolution_s: 1e-5 };
    let full = ByEye { fall_to_37_percent: Some(time), ..reading(5.4, 6.0) };
    assert_eq!(codes(&full), ["read-by-eye"]);
    let level = ByEye { fall_to_37_percent: Some(time), ..reading(6.0, 6.0) };
    assert!(codes(&level).contains(&"fall-time-not-used"));
    let slow = TimeReading { time_s: 3e-6, resolution_s: 1e-7 };
    assert!(
        codes(&ByEye { fall_to_37_percent: Some(slow), ..reading(5.0, 6.0) })
            .contains(&"time-constant-implausible")
    );
}

#[test]
fn verdicts_follow_the_resolution() {
    let verdict = |start: f64, end: f64, resolution: f64| {
        assess(&ByEye { resolution, ..reading(start, end) }).expect("sensible readings").verdict
    };
    assert_eq!(verdict(5.4, 6.0, 0.1), Verdict::Undercompensated);
    assert_eq!(verdict(6.6, 6.0, 0.1), Verdict::Overcompensated);
    assert_eq!(verdict(6.0, 6.0, 0.02), Verdict::WithinTolerance);
    // A tenth of a division on six divisions cannot vouch for one per cent.
    assert_eq!(verdict(6.0, 6.0, 0.1), Verdict::Undetermined);
    let coarse = assess(&ByEye { resolution: 0.1, ..reading(6.0, 6.0) }).expect("sensible readings");
    assert!(coarse.findings.iter().any(|f| f.code == "reading-too-coarse"));
    let fast = assess(&ByEye { frequency_hz: Some(1e5), ..reading(6.0, 6.0) }).expect("sensible readings");
    assert_eq!(fast.verdict, Verdict::Undetermined);
    assert!(fast.findings.iter().any(|f| f.code == "half-period-too-short"));
}

#[test]
fn nonsense_is_refused() {
    for bad in [
        reading(0.0, 6.0),
        reading(5.0, -6.0),
        reading(f64::NAN, 6.0),
        ByEye { resolution: 0.0, ..reading(5.0, 6.0) },
        ByEye { frequency_hz: Some(0.0), ..reading(5.0, 6.0) },
        ByEye {
            fall_to_37_percent: Some(TimeReading { time_s: -1.0, resolution_s: 1e-6 }),
            ..reading(5.0, 6.0)
        },
    ] {
        assert!(matches!(assess(&bad), Err(ByEyeError::NotPositive { .. })), "{bad:?}");
    }
    let coarse = ByEye { resolution: 6.0, ..reading(5.0, 6.0) };
    assert!(matches!(assess(&coarse), Err(ByEyeError::TooCoarse { .. })));
    let late = TimeReading { time_s: 4e-4, resolution_s: 1e-5 };
    let late = ByEye { fall_to_37_percent: Some(late), ..reading(5.0, 6.0) };
    assert!(matches!(assess(&late), Err(ByEyeError::TimeTooLong { .. })));
    assert_eq!(
        assess(&reading(5.0, 0.0)).expect_err("no end").to_string(),
        "the end level must be above zero, found 0; levels are measured upwards from the level just before the rising edge"
    );
}

/// What somebody reads off a settled 1 kHz square wave, rounded to the resolution from a random trace position.
fn read(shelf: Shelf, resolution: f64, rng: &mut Xoshiro256PlusPlus) -> ByEye {
    let amplitude = 6.0;
    let x = (-0.5e-3 / shelf.time_constant_s).exp();
    let deviation = amplitude * shelf.error / (1.0 + x);
    let position = rng.random::<f64>();
    let mark = |level: f64| ((level + position) / resolution).round() * resolution;
    let base = mark(-deviation * x);
    let (start, end) = (mark(amplitude + deviation), mark(amplitude + deviation * x));
    let height = mark(end - position + (start - end) / E) - position;
    let share = (height - amplitude) / deviation;
    let time_s = (-shelf.time_constant_s * share.ln() / 5e-6).round() * 5e-6;
    let usable = time_s.is_finite() && time_s > 5e-6 && time_s < 0.6 * 0.5e-3;
    ByEye {
        resolution,
        fall_to_37_percent: usable.then_some(TimeReading { time_s, resolution_s: 5e-6 }),
        ..reading(start - base, end - base)
    }
}

#[test]
fn claimed_uncertainty_covers_rounded_readings() {
    // Sums of a few rectangular errors lie inside ±1.96 u more often than normal ones, never much less often.
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(3);
    let (mut inside, mut inside_tau, trials) = (0, 0, 2000);
    for _ in 0..trials {
        let shelf = Shelf {
            error: 0.3 * (2.0 * rng.random::<f64>() - 1.0),
            time_constant_s: 9e5 * 1e-12 * (60.0 + 120.0 * rng.random::<f64>()),
        };
        let c = assess(&read(shelf, 0.1, &mut rng)).expect("sensible").compensation.expect("a result");
        inside += usize::from((c.error.value - shelf.error).abs() <= 1.96 * c.error.standard_uncertainty);
        let tau = c.time_constant_s;
        inside_tau +=
            usize::from((tau.value - shelf.time_constant_s).abs() <= 1.96 * tau.standard_uncertainty);
    }
    assert!((1880..=1990).contains(&inside), "{inside} of {trials}");
    assert!(inside_tau >= 1880, "{inside_tau} of {trials}");
}

proptest! {
    #[test]
    fn prop_exact_levels_give_the_error_back_at_any_frequency(
        error in -0.5..0.5_f64, tau in 5e-5..1.5e-4_f64, frequency in 100.0..2500.0_f64, amplitude in 0.1..10.0_f64,
    ) {
        let x = (-0.5 / (frequency * tau)).exp();
        let start = amplitude * (1.0 + error);
        let end = amplitude * (1.0 + 2.0 * error * x / (1.0 + x));
        prop_assume!(1.0 - 2.0 * start / end * x / (1.0 + x) > 0.3);
        let half_period_s = 0.5 / frequency;
        let time_s = -tau * (x + (1.0 - x) / E).ln();
        assert_close!(time_constant_s(time_s, 1.0 / E, half_period_s).expect("a time that fits"), tau, relative(1e-9));
        assert_close!(super::error(start, end, half_period_s, tau).expect("long enough flats"), error, within(1e-12));
    }
}
