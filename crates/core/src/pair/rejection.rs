//! Common-mode rejection against frequency.

use num_complex::Complex64;
use thiserror::Error;

use crate::assessment::{Compensation, Estimate};
use crate::chain::Chain;
use crate::divider::Shelf;
use crate::numeric::stats::COVERAGE_FACTOR_95;
use crate::prediction::Doubt;

/// What is known of one probe on its input.
#[derive(Clone, Copy, Debug)]
pub enum Response<'a> {
    /// A shelf with its uncertainty, as an assessment finds it.
    Shelf(&'a Compensation),
    /// A whole chain; each doubt is the chain with one number off by a standard uncertainty.
    Chain {
        /// The chain.
        chain: &'a Chain,
        /// Its doubts.
        doubts: &'a [Doubt],
    },
}

/// What lies between the two besides their responses, as seen on the screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// Gain of B over gain of A at low frequency, 1 for equal ones.
    pub gain_ratio: Estimate,
    /// How much later B shows the same edge than A, s.
    pub skew_s: Estimate,
}

impl Balance {
    /// Equal gains and no skew, both known exactly.
    pub const EXACT: Balance = Balance {
        gain_ratio: Estimate { value: 1.0, standard_uncertainty: 0.0 },
        skew_s: Estimate { value: 0.0, standard_uncertainty: 0.0 },
    };
}

/// The rejection at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rejection {
    /// Hz.
    pub frequency_hz: f64,
    /// m = (H_A − H_B)/½(H_A + H_B).
    pub mismatch: Complex64,
    /// Standard uncertainty of m in its least known direction in the complex plane.
    pub mismatch_u: f64,
}

impl Rejection {
    /// |m|: what the difference shows of each volt that is common to both tips.
    pub fn share(&self) -> f64 {
        self.mismatch.norm()
    }

    /// The rejection in dB; infinite where nothing is left.
    pub fn decibels(&self) -> f64 {
        -20.0 * self.share().log10()
    }

    /// The rejection that is exceeded with 95 % confidence and more, dB: |m| plus the expanded uncertainty in its least known direction.
    pub fn at_least_decibels(&self) -> f64 {
        -20.0 * (self.share() + COVERAGE_FACTOR_95 * self.mismatch_u).log10()
    }
}

/// Why there is no rejection to tell.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum PairError {
    /// A value outside what the formulas mean.
    #[error("{quantity} is {value}: {remedy}")]
    Value {
        /// The quantity.
        quantity: &'static str,
        /// Its value.
        value: f64,
        /// What to do.
        remedy: &'static str,
    },
    /// The two cancel.
    #[error("at {frequency_hz} Hz the two responses add up to nothing: no difference can be measured there")]
    Cancels {
        /// Hz.
        frequency_hz: f64,
    },
}

/// The rejection of A − B at each frequency, Hz.
///
/// Uncertainty by the law of propagation (JCGM 100:2008, 5.1.2 and, for e and τp of an assessment, 5.2.2) on real and imaginary part of m.
///
/// # Errors
/// A frequency that is not above zero, a gain ratio that is not, or responses that cancel.
pub fn rejection(
    a: Response<'_>,
    b: Response<'_>,
    balance: &Balance,
    frequency_hz: &[f64],
) -> Result<Vec<Rejection>, PairError> {
    check(balance, frequency_hz)?;
    frequency_hz.iter().map(|&f| at(a, b, balance, f)).collect()
}

pub(super) fn check(balance: &Balance, frequency_hz: &[f64]) -> Result<(), PairError> {
    let value = |quantity, value, remedy| Err(PairError::Value { quantity, value, remedy });
    if let Some(&f) = frequency_hz.iter().find(|f| !(**f > 0.0 && f.is_finite())) {
        return value("frequency", f, "give frequencies above zero");
    }
    if !(balance.gain_ratio.value > 0.0 && balance.gain_ratio.value.is_finite()) {
        return value("gain ratio", balance.gain_ratio.value, "give the gain of B over that of A, near 1");
    }
    if !balance.skew_s.value.is_finite() {
        return value("skew", balance.skew_s.value, "give a time");
    }
    Ok(())
}

fn at(a: Response<'_>, b: Response<'_>, balance: &Balance, f: f64) -> Result<Rejection, PairError> {
    let s = Complex64::new(0.0, std::f64::consts::TAU * f);
    let (ha, hb) = (nominal(a, s), nominal(b, s));
    let g = balance.gain_ratio.value;
    let d = balance.skew_s.value;
    let of = |ha: Complex64, hb: Complex64, g: f64, d: f64| {
        let hb = hb * g * (-s * d).exp();
        2.0 * (ha - hb) / (ha + hb)
    };
    let mismatch = of(ha, hb, g, d);
    if !mismatch.is_finite() {
        return Err(PairError::Cancels { frequency_hz: f });
    }
    let mut spread = Spread::default();
    for (ha, hb) in effects(a, s).map(|h| (h, hb)).chain(effects(b, s).map(|h| (ha, h))) {
        spread.add(of(ha, hb, g, d) - mismatch);
    }
    // The shelf's two parameters are correlated; `effects` gives them as independent directions.
    let (ug, ud) = (balance.gain_ratio.standard_uncertainty, balance.skew_s.standard_uncertainty);
    spread.add(0.5 * (of(ha, hb, g + ug, d) - of(ha, hb, g - ug, d)));
    spread.add(0.5 * (of(ha, hb, g, d + ud) - of(ha, hb, g, d - ud)));
    Ok(Rejection { frequency_hz: f, mismatch, mismatch_u: spread.largest() })
}

/// Gain against the ideal 1/N.
pub(super) fn of_shelf(shelf: Shelf, s: Complex64) -> Complex64 {
    let tau = shelf.time_constant_s;
    (1.0 + s * tau * (1.0 + shelf.error)) / (1.0 + s * tau)
}

fn nominal(response: Response<'_>, s: Complex64) -> Complex64 {
    match response {
        Response::Shelf(found) => of_shelf(found.shelf(), s),
        Response::Chain { chain, .. } => chain.gain(s),
    }
}

/// The response shifted by one standard uncertainty along each independent direction.
fn effects(response: Response<'_>, s: Complex64) -> impl Iterator<Item = Complex64> {
    let all: Vec<Complex64> = match response {
        Response::Shelf(found) => {
            let (e, tau) = (found.error, found.time_constant_s);
            let r = found.correlation.clamp(-1.0, 1.0);
            // Cholesky factor of the covariance of e and τp.
            let directions = [
                (e.standard_uncertainty, r * tau.standard_uncertainty),
                (0.0, (1.0 - r * r).sqrt() * tau.standard_uncertainty),
            ];
            let shelf = |de: f64, dt: f64| Shelf { error: e.value + de, time_constant_s: tau.value + dt };
            directions.into_iter().map(|(de, dt)| of_shelf(shelf(de, dt), s)).collect()
        }
        Response::Chain { doubts, .. } => doubts.iter().map(|doubt| doubt.shifted.gain(s)).collect(),
    };
    all.into_iter()
}

/// Covariance of real and imaginary part.
#[derive(Default)]
struct Spread {
    re: f64,
    im: f64,
    both: f64,
}

impl Spread {
    fn add(&mut self, effect: Complex64) {
        self.re += effect.re * effect.re;
        self.im += effect.im * effect.im;
        self.both += effect.re * effect.im;
    }

    /// Standard deviation along the longest axis of the ellipse.
    fn largest(&self) -> f64 {
        let mean = 0.5 * (self.re + self.im);
        let half = 0.5 * (self.re - self.im);
        (mean + half.hypot(self.both)).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::divider::{Capacitances, Divider};
    use flattop_close::{assert_close, relative, within};
    use proptest::prelude::*;

    const TENFOLD: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

    pub(in crate::pair) fn exact(tip_f: f64, shunt_f: f64) -> Compensation {
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

    fn balance(gain: f64, skew: f64) -> Balance {
        let known = |value| Estimate { value, standard_uncertainty: 0.0 };
        Balance { gain_ratio: known(gain), skew_s: known(skew) }
    }

    fn decibels(a: &Compensation, b: &Compensation, balance: &Balance, f: f64) -> f64 {
        rejection(Response::Shelf(a), Response::Shelf(b), balance, &[f]).unwrap()[0].decibels()
    }

    /// ½(G_A + G_B)/|G_A − G_B| for gains 0.1, 0.5, 1 and 2 % apart; skew 2·sin(πfΔt); C1 2 % high on one of two probes.
    #[test]
    fn gain_skew_and_compensation_each_by_itself() {
        let flat = exact(120e-12 / 9.0, 120e-12);
        for (apart, expected) in [(0.001, 60.0), (0.005, 46.02), (0.01, 40.0), (0.02, 33.98)] {
            // Apart symmetrically about the mean, as the figures count it.
            let ratio = (1.0 - 0.5 * apart) / (1.0 + 0.5 * apart);
            assert_close!(decibels(&flat, &flat, &balance(ratio, 0.0), 1e5), expected, within(0.006));
        }
        for (skew, f, expected) in [(1e-9, 1e6, 44.04), (1e-9, 1e7, 24.04), (1e-10, 1e8, 24.04)] {
            assert_close!(decibels(&flat, &flat, &balance(1.0, skew), f), expected, within(0.02));
        }
        let high = exact(1.02 * 120e-12 / 9.0, 120e-12);
        for (f, expected) in [(100.0, 57.37), (1e3, 39.34), (1e4, 35.06), (1e6, 34.99)] {
            assert_close!(decibels(&high, &flat, &Balance::EXACT, f), expected, within(0.006));
        }
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        let flat = exact(12e-12, 108e-12);
        let ask = |balance: &Balance, f: f64| {
            rejection(Response::Shelf(&flat), Response::Shelf(&flat), balance, &[f]).unwrap_err().to_string()
        };
        assert!(ask(&Balance::EXACT, 0.0).contains("frequencies above zero"));
        assert!(ask(&balance(-1.0, 0.0), 1e3).contains("near 1"));
        assert!(ask(&balance(1.0, f64::NAN), 1e3).contains("give a time"));
    }

    #[test]
    fn equal_probes_reject_as_well_as_they_are_known() {
        let mut one = exact(12e-12, 108e-12);
        one.error.standard_uncertainty = 1e-3;
        let found =
            rejection(Response::Shelf(&one), Response::Shelf(&one), &Balance::EXACT, &[1e6]).unwrap()[0];
        assert!(found.decibels().is_infinite());
        // Two independent u of 1e-3: √2·1e-3 on m; at least 20·lg(1/(1.96·√2·1e-3)) = 51.14 dB.
        assert_close!(found.mismatch_u, 2f64.sqrt() * 1e-3, relative(2e-3));
        assert_close!(found.at_least_decibels(), 51.144, within(0.02));
    }

    proptest! {
        /// Which of the two is called A does not matter.
        #[test]
        fn prop_the_order_does_not_matter(
            ta in 5e-12..20e-12_f64, tb in 5e-12..20e-12_f64, sa in 50e-12..150e-12_f64, sb in 50e-12..150e-12_f64,
            gain in 0.9..1.1_f64, skew in -1e-8..1e-8_f64, f in 10.0..1e7_f64,
        ) {
            let (a, b) = (exact(ta, sa), exact(tb, sb));
            let there = decibels(&a, &b, &balance(gain, skew), f);
            let back = decibels(&b, &a, &balance(1.0 / gain, -skew), f);
            prop_assert!((there - back).abs() < 1e-6, "{} {}", there, back);
        }
    }
}
