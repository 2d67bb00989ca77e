//! Tests of the time axis.

use super::*;
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;

/// Times printed with `decimals` decimals.
fn printed(n: usize, start: f64, interval: f64, decimals: usize) -> (Vec<f64>, Quantum) {
    let text = |k: usize| format!("{:.decimals$}", start + k as f64 * interval);
    let times = (0..n).map(|k| text(k).parse().expect("a number")).collect();
    (times, Quantum { most_significant: 17, least_power: -(decimals as i32) })
}

fn sums(times: &[f64], provisional: f64, piece: usize) -> Vec<Stretch> {
    let one = |part: &[f64]| {
        let mut stretch = Stretch::EMPTY;
        part.iter().for_each(|t| stretch.push(*t, provisional));
        stretch
    };
    times.chunks(piece).map(one).collect()
}

#[test]
fn quantum_from_written_digits() {
    let mut quantum = Quantum::NONE;
    assert_close!(quantum.at(1.0), 0.0, within(0.0));
    // "5.00000e-3": six digits, the last one 10^-8.
    quantum.see(6, -8);
    assert_close!(quantum.at(5e-3), 1e-8, relative(1e-12));
    assert_close!(quantum.at(0.0), 1e-8, relative(1e-12));
    // "-1.00000e-5" shows finer places, but six digits tell no more at 5e-3.
    quantum.see(6, -10);
    assert_close!(quantum.at(5e-3), 1e-8, relative(1e-12));
    assert_close!(quantum.at(5e-5), 1e-10, relative(1e-12));
}

/// The smallest allowed and refused jitter of one sample far from the ends: a quarter of the interval.
#[test]
fn jitter_up_to_a_quarter_is_even() {
    let fine = Quantum { most_significant: 17, least_power: -15 };
    for (share, even) in [(0.24, true), (0.26, false), (-0.24, true), (-0.26, false)] {
        let mut times: Vec<f64> = (0..1001).map(|k| f64::from(k) * 1e-6).collect();
        times[500] += share * 1e-6;
        let result = axis(&times, fine);
        assert_eq!(result.is_ok(), even, "{share}: {result:?}");
        let sums = sums(&times, 1e-6, 100);
        assert_eq!(from_stretches(&sums, 0.0, 1e-6, fine).is_some(), even, "{share}");
    }
}

#[test]
fn faults_name_the_first_bad_sample() {
    let fine = Quantum { most_significant: 17, least_power: -9 };
    let even = || (0..100).map(|k| f64::from(k) * 1e-6).collect::<Vec<_>>();
    let mut back = even();
    back[60] = 10e-6;
    assert!(matches!(axis(&back, fine), Err(Fault::Backwards { index: 60, .. })));
    let mut twice = even();
    twice.insert(31, twice[30]);
    assert!(matches!(axis(&twice, fine), Err(Fault::Repeats { index: 31, .. })));
    let mut gap = even();
    gap.drain(40..47);
    assert!(matches!(axis(&gap, fine), Err(Fault::Gap { index: 40, missing: 7, places: 1, .. })));
    let uneven: Vec<f64> = even().iter().map(|t| t * (1.0 + 1e4 * t)).collect();
    assert!(matches!(axis(&uneven, fine), Err(Fault::Uneven { .. })));
    assert!(matches!(axis(&[1.0; 20], fine), Err(Fault::Repeats { index: 1, .. })));
    assert!(axis(&[], fine).is_err());
    assert!(axis(&[f64::NAN; 20], fine).is_err());
}

/// One line written twice among times whose last digit is the interval: not an interval a little shorter.
#[test]
fn samples_there_twice_are_told_from_coarse_times() {
    for at in [[1, 1, 1], [901, 901, 901], [100, 900, 1900], [1998, 1998, 1998]] {
        let (mut times, quantum) = printed(2000, -1e-3, 1e-6, 6);
        let mut places = at.to_vec();
        places.dedup();
        for &k in places.iter().rev() {
            times.insert(k + 1, times[k]);
        }
        let found = axis(&times, quantum);
        assert!(
            matches!(found, Err(Fault::Repeats { index, .. }) if index == at[0] + 1),
            "{at:?}: {found:?}"
        );
        assert_eq!(from_stretches(&sums(&times, 1e-6, 100), times[0], 1e-6, quantum), None);
    }
    // An interval a hundredth below the last digit repeats again and again.
    let (times, quantum) = printed(2000, 0.0, 0.99e-6, 6);
    let found = axis(&times, quantum).expect("even");
    assert_close!(found.interval, 0.99e-6, relative(1e-4));
}

/// Truncated instead of rounded digits are as coarse, and recovered as well.
#[test]
fn coarse_times_give_the_interval() {
    for decimals in [5, 6] {
        let (times, quantum) = printed(20_000, -1e-3, 4e-7, decimals);
        let found = axis(&times, quantum).expect("even");
        assert!(found.rounded);
        assert_close!(found.interval, 4e-7, relative(1e-5));
        let step = 10f64.powi(-(decimals as i32));
        let cut: Vec<f64> =
            times.iter().enumerate().map(|(k, _)| ((k as f64 * 4e-7) / step).floor() * step).collect();
        assert_close!(axis(&cut, quantum).expect("even").interval, 4e-7, relative(1e-4));
    }
}

/// Six digits whatever the magnitude: finer than the interval near zero, coarser far from it.
#[test]
fn significant_digits_over_several_decades() {
    let times: Vec<f64> = (0..300_000)
        .map(|k| format!("{:.5e}", f64::from(k) * 1e-8 - 1e-3).parse().expect("a number"))
        .collect();
    let quantum = Quantum { most_significant: 6, least_power: -12 };
    let found = axis(&times, quantum).expect("even");
    assert!(!found.rounded, "a tenth of the interval is not coarse");
    let times: Vec<f64> = (0..300_000)
        .map(|k| format!("{:.4e}", f64::from(k) * 1e-8 - 1e-3).parse().expect("a number"))
        .collect();
    let found = axis(&times, Quantum { most_significant: 5, least_power: -12 }).expect("even");
    assert!(found.rounded);
    assert_close!(found.interval, 1e-8, relative(1e-6));
}

proptest! {
    /// Sums over any division into stretches, with any reasonable provisional interval, give the axis of the times.
    #[test]
    fn prop_sums_give_the_same_axis(
        n in 16usize..3000, piece in 1usize..700, start in -100i32..100, off in -1e-3f64..1e-3, decimals in 7usize..10,
    ) {
        let interval = 2.5e-6;
        let (times, quantum) = printed(n, f64::from(start) * 1e-5, interval, decimals);
        let direct = axis(&times, quantum).expect("even");
        let provisional = interval * (1.0 + off / n as f64);
        let summed = from_stretches(&sums(&times, provisional, piece), times[0], provisional, quantum);
        let summed = summed.expect("within the allowance");
        assert_close!(summed.interval, direct.interval, relative(1e-12));
        assert_close!(summed.start, direct.start, within(1e-13));
        assert_close!(direct.interval, interval, relative(1e-9));
    }

    #[test]
    fn prop_no_times_make_it_panic(times in prop::collection::vec(any::<f64>(), 0..40), digits in 0u32..18, power in -20i32..5) {
        let quantum = Quantum { most_significant: digits, least_power: power };
        let _ = axis(&times, quantum);
        let _ = from_stretches(&sums(&times, 1e-6, 7), 0.0, 1e-6, quantum);
    }
}
