//! The best that trimming can do for a pair: both flat, or B turned until it does what A does.

use num_complex::Complex64;

use super::rejection::{Balance, PairError, Rejection, Response, check, of_shelf, rejection};
use crate::assessment::{AdjustedAt, Compensation, Estimate};
use crate::divider::Capacitances;

/// B turned to match A as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct BestTrim {
    /// Where B is adjusted.
    pub at: AdjustedAt,
    /// By how much its capacitance changes, F; positive means increase.
    pub change_f: f64,
    /// e of B then.
    pub error: f64,
    /// What is left, with gain ratio and skew as they are.
    pub left: Vec<Rejection>,
}

/// The rejection with both probes compensated: gain ratio and skew alone are left, with their uncertainties.
///
/// # Errors
/// As [`rejection`].
pub fn both_flat(
    a: &Compensation,
    b: &Compensation,
    balance: &Balance,
    frequency_hz: &[f64],
) -> Result<Vec<Rejection>, PairError> {
    let flat = |found: &Compensation| {
        let known = |value| Estimate { value, standard_uncertainty: 0.0 };
        Compensation { error: known(0.0), time_constant_s: known(found.time_constant_s.value), ..*found }
    };
    let (a, b) = (flat(a), flat(b));
    rejection(Response::Shelf(&a), Response::Shelf(&b), balance, frequency_hz)
}

/// Turns B's trimmer until the largest difference between the two shelves, over all frequencies given, is least. Gain ratio and
/// skew do not enter the search, since no trimmer mends them.
///
/// # Errors
/// As [`rejection`].
pub fn trim_to_each_other(
    a: &Compensation,
    b: &Compensation,
    at: AdjustedAt,
    balance: &Balance,
    frequency_hz: &[f64],
) -> Result<BestTrim, PairError> {
    check(balance, frequency_hz)?;
    let start = b.capacitances();
    let trimmed = |share: f64| match at {
        AdjustedAt::Tip => Capacitances { tip_f: start.tip_f * share, ..start },
        AdjustedAt::Base => Capacitances { shunt_f: start.shunt_f * share, ..start },
    };
    let target = a.shelf();
    let largest = |share: f64| {
        let shelf = b.divider.shelf(trimmed(share));
        frequency_hz
            .iter()
            .map(|f| Complex64::new(0.0, std::f64::consts::TAU * f))
            .map(|s| (of_shelf(target, s) - of_shelf(shelf, s)).norm())
            .fold(0.0, f64::max)
    };
    // A look over half to twice the capacitance, then narrowing about the best.
    let grid: Vec<f64> = (0..=200).map(|k| 0.5 * 4f64.powf(f64::from(k) / 200.0)).collect();
    let best = (0..grid.len()).min_by(|&i, &j| largest(grid[i]).total_cmp(&largest(grid[j]))).unwrap_or(0);
    let (low, high) = (grid[best.saturating_sub(1)], grid[(best + 1).min(grid.len() - 1)]);
    let share = golden(low, high, &largest);
    let shelf = b.divider.shelf(trimmed(share));
    let known = |value: f64| Estimate { value, standard_uncertainty: 0.0 };
    let turned =
        Compensation { error: known(shelf.error), time_constant_s: known(shelf.time_constant_s), ..*b };
    let still =
        Compensation { error: known(a.error.value), time_constant_s: known(a.time_constant_s.value), ..*a };
    let left = rejection(Response::Shelf(&still), Response::Shelf(&turned), balance, frequency_hz)?;
    let before = match at {
        AdjustedAt::Tip => start.tip_f,
        AdjustedAt::Base => start.shunt_f,
    };
    Ok(BestTrim { at, change_f: before * (share - 1.0), error: shelf.error, left })
}

/// The least of a function with one dip (golden section).
fn golden(mut low: f64, mut high: f64, f: &impl Fn(f64) -> f64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    for _ in 0..80 {
        let (c, d) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        if f(c) < f(d) { high = d } else { low = c }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::divider::Divider;
    use flattop_close::{assert_close, relative, within};

    const TENFOLD: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
    const FREQUENCIES: [f64; 6] = [100.0, 1e3, 3e3, 1e4, 1e5, 1e6];

    fn exact(tip_f: f64, shunt_f: f64) -> Compensation {
        let shelf = TENFOLD.shelf(Capacitances { tip_f, shunt_f });
        let known = |value| Estimate { value, standard_uncertainty: 0.0 };
        Compensation {
            error: known(shelf.error),
            time_constant_s: known(shelf.time_constant_s),
            correlation: 0.0,
            divider: TENFOLD,
            resistor_uncertainty: 0.0,
        }
    }

    #[test]
    fn equal_circuits_are_brought_together() {
        // A is 5 % over; B has the same circuit but 3 % less at the tip: turning it back leaves nothing.
        let (a, b) = (exact(1.05 * 12e-12, 108e-12), exact(1.02 * 12e-12, 108e-12));
        let best = trim_to_each_other(&a, &b, AdjustedAt::Tip, &Balance::EXACT, &FREQUENCIES).unwrap();
        assert_close!(best.change_f, 0.03 * 12e-12, relative(1e-6));
        assert!(best.left.iter().all(|r| r.decibels() > 120.0));
        let base = trim_to_each_other(
            &a,
            &exact(1.05 * 12e-12, 105e-12),
            AdjustedAt::Base,
            &Balance::EXACT,
            &FREQUENCIES,
        );
        assert_close!(base.unwrap().change_f, 3e-12, relative(1e-5));
    }

    #[test]
    fn with_other_time_constants_something_is_left_and_less_than_before() {
        let (a, b) = (exact(1.05 * 12e-12, 108e-12), exact(18e-12, 162e-12));
        let before =
            rejection(Response::Shelf(&a), Response::Shelf(&b), &Balance::EXACT, &FREQUENCIES).unwrap();
        let best = trim_to_each_other(&a, &b, AdjustedAt::Tip, &Balance::EXACT, &FREQUENCIES).unwrap();
        let worst = |all: &[Rejection]| all.iter().map(Rejection::share).fold(0.0, f64::max);
        assert!(worst(&best.left) < 0.5 * worst(&before), "{} {}", worst(&best.left), worst(&before));
        assert!(worst(&best.left) > 1e-3);
        // Nearby settings are no better.
        for factor in [0.9, 1.1] {
            let turned = exact(18e-12 + factor * best.change_f, 162e-12);
            let other =
                rejection(Response::Shelf(&a), Response::Shelf(&turned), &Balance::EXACT, &FREQUENCIES)
                    .unwrap();
            assert!(worst(&other) >= 0.999 * worst(&best.left));
        }
        let flat = both_flat(&a, &b, &Balance::EXACT, &FREQUENCIES).unwrap();
        assert!(flat.iter().all(|r| r.share() < 1e-12));
    }

    #[test]
    fn flat_probes_leave_gain_and_skew() {
        let balance = Balance {
            gain_ratio: Estimate { value: 1.0, standard_uncertainty: 0.005 },
            skew_s: Estimate { value: 0.0, standard_uncertainty: 1e-9 },
        };
        let a = exact(10e-12, 108e-12);
        let flat = both_flat(&a, &a, &balance, &[1e3, 1e7]).unwrap();
        assert_close!(flat[0].mismatch_u, 0.005, relative(1e-3));
        // 2πf·u(d) = 0.0628 in the imaginary direction rules at 10 MHz.
        assert_close!(flat[1].mismatch_u, 0.0628, within(2e-4));
    }
}
