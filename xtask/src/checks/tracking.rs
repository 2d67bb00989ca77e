//! Detector of changes against tables of average run lengths, and frequencies of square waves against common practice.

use flattop_core::divider::Divider;
use flattop_core::source_wave::{Setup, advise, expected_time_constant_s};
use flattop_core::tracking::detect::Detector;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

use super::{Row, Tag, rows_of};

/// Mean number of figures until an alarm, over `runs` runs from sums at nil: standard normal figures about `shift`.
fn mean_run(shift: f64, limit: f64, runs: u32) -> f64 {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(20_261_126);
    let mut total = 0u64;
    for _ in 0..runs {
        let mut detector = Detector::new(limit, f64::INFINITY);
        loop {
            total += 1;
            let figure: f64 = StandardNormal.sample(&mut rng);
            if detector.push(figure + shift).is_some() {
                break;
            }
        }
    }
    total as f64 / f64::from(runs)
}

pub(crate) fn rows() -> Vec<Row> {
    // A run length scatters by about its mean: four standard deviations of the simulated mean, and half the last printed digit.
    let allowed = |table: f64, runs: f64, digit: f64| 4.0 * table / runs.sqrt() + 0.5 * digit;
    let source = "two-sided cumulative sums, k = 0.5: table 9.3 of D. C. Montgomery, Statistical Quality Control; NIST/SEMATECH e-Handbook 6.3.2.3";
    let mut rows = Vec::new();
    for (what, shift, limit, table, runs, digit) in [
        ("figures between false alarms, h = 4", 0.0, 4.0, 168.0, 4000, 1.0),
        ("figures between false alarms, h = 5", 0.0, 5.0, 465.0, 4000, 1.0),
        ("figures until a shift of 1 is found, h = 4", 1.0, 4.0, 8.38, 40_000, 0.01),
        ("figures until a shift of 1 is found, h = 5", 1.0, 5.0, 10.4, 40_000, 0.1),
        ("figures until a shift of 2 is found, h = 5", 2.0, 5.0, 4.01, 40_000, 0.01),
        ("figures until a shift of 3 is found, h = 5", 3.0, 5.0, 2.57, 40_000, 0.01),
    ] {
        let found = mean_run(shift, limit, runs);
        rows.extend(rows_of(
            source,
            Tag::FromMemory,
            &[("K-01", what, table, found, allowed(table, f64::from(runs), digit), "1")],
        ));
    }
    let divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
    let advice = advise(&Setup {
        time_constant_s: expected_time_constant_s(&divider),
        frequency_hz: Some(1e3),
        interval_s: 1e-6,
        points: 10_000,
        transition_s: None,
    });
    let suits = if advice.present_suits == Some(true) { 1.0 } else { 0.0 };
    rows.extend(rows_of(
        "probe-adjust outputs of oscilloscopes give about 1 kHz",
        Tag::CommonPractice,
        &[("K-02", "1 kHz suits a 10:1 probe on 1 MΩ (1 for yes)", 1.0, suits, 0.5, "1")],
    ));
    rows
}
