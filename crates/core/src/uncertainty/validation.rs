//! Whether the law of propagation may be trusted, held against Monte Carlo (JCGM 101, clause 8).

use super::interval::Interval;

/// What the comparison says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Both ends agree within the numerical tolerance.
    Valid,
    /// At least one does not.
    NotValid,
    /// The difference is so close to the tolerance that the Monte Carlo run is not exact enough to tell.
    Undecided,
}

/// The comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Validation {
    /// δ.
    pub tolerance: f64,
    /// |y − U − y_low|.
    pub low: f64,
    /// |y + U − y_high|.
    pub high: f64,
    /// The outcome.
    pub verdict: Verdict,
}

/// δ = ½·10^l for u = c·10^l with c of that many digits (JCGM 101, 7.9.2); 0 for u = 0.
pub fn numerical_tolerance(standard_uncertainty: f64, digits: u8) -> f64 {
    if !(standard_uncertainty > 0.0 && standard_uncertainty.is_finite()) {
        return 0.0;
    }
    let digits = i32::from(digits.max(1));
    let mut power = standard_uncertainty.log10().floor() as i32 - digits + 1;
    // 0.0996 to two digits is 0.10: one digit more before the point.
    if (standard_uncertainty / 10f64.powi(power)).round() >= 10f64.powi(digits) {
        power += 1;
    }
    0.5 * 10f64.powi(power)
}

/// Compares. `doubt` is how far each end of the Monte Carlo interval may be off (twice its standard deviation over blocks).
pub fn validate(propagated: Interval, drawn: Interval, tolerance: f64, doubt: (f64, f64)) -> Validation {
    let low = (propagated.low - drawn.low).abs();
    let high = (propagated.high - drawn.high).abs();
    let surely_within = low + doubt.0 <= tolerance && high + doubt.1 <= tolerance;
    let surely_beyond = low - doubt.0 > tolerance || high - doubt.1 > tolerance;
    // As the standard has it: an end that counts as exact when it is known to a fifth of the tolerance.
    let exact = doubt.0 <= 0.2 * tolerance && doubt.1 <= 0.2 * tolerance;
    let within = low <= tolerance && high <= tolerance;
    let verdict = if surely_within || (exact && within) {
        Verdict::Valid
    } else if surely_beyond || (exact && !within) {
        Verdict::NotValid
    } else {
        Verdict::Undecided
    };
    Validation { tolerance, low, high, verdict }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative};

    /// JCGM 101, examples of 7.9.2 (from memory), and the rounding up of a digit.
    #[test]
    fn tolerances() {
        for (u, digits, expected) in [
            (0.000_35, 2, 0.000_005),
            (0.000_35, 1, 0.000_05),
            (2.0, 1, 0.5),
            (0.0754, 1, 0.005),
            (0.0996, 2, 0.005),
            (0.0994, 2, 0.0005),
            (36.0, 2, 0.5),
            (1.0, 2, 0.05),
        ] {
            assert_close!(numerical_tolerance(u, digits), expected, relative(1e-12), "{u} {digits}");
        }
    }

    #[test]
    fn verdicts() {
        let i = |low, high| Interval { low, high };
        let verdict = |drawn, doubt| validate(i(-2.0, 2.0), drawn, 0.05, (doubt, doubt)).verdict;
        assert_eq!(verdict(i(-2.01, 1.99), 0.01), Verdict::Valid);
        assert_eq!(verdict(i(-2.2, 2.0), 0.01), Verdict::NotValid);
        assert_eq!(verdict(i(-2.045, 2.0), 0.04), Verdict::Undecided);
        assert_eq!(verdict(i(-2.045, 2.0), 0.01), Verdict::Valid);
        assert_eq!(verdict(i(f64::NAN, 2.0), 0.01), Verdict::NotValid);
    }
}
