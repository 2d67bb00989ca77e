//! The error to expect when a probe moves to another input, before any capture.
//!
//! The shunt capacitance C2 holds the input, so it changes by ΔC, the difference of the two inputs:
//! e' = (1+e)·(C1+C2)/(C1+C2+ΔC) − 1, which is [`Divider::shelf`] with C2 + ΔC in place of C2. With another input
//! resistance the divider changes as well, and `shelf` is asked with the new one.
//!
//! Where nothing was measured the total comes from the data sheet. A compensated divider by N that shows Ct at its tip has
//! C1 = Ct·N/(N−1) and C2 = (N−1)·C1, hence C1+C2 = Ct·N²/(N−1) (from [`Divider::balanced_shunt_capacitance_f`] and
//! [`Capacitances::seen_at_tip_f`]; the body's share of Ct is taken off first).
//!
//! Uncertainty: law of propagation (JCGM 100:2008, 5.1.2), by central differences; tolerances are rectangular.

use thiserror::Error;

use super::entities::{Range, Toleranced};
use crate::assessment::{Compensation, Estimate};
use crate::divider::{Capacitances, Divider};

/// What is known of the pairing before the move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Before {
    /// It was measured: e and τp with their covariance, and the divider.
    Measured(Compensation),
    /// It was not: what the data sheet says.
    DataSheet {
        /// N.
        ratio: f64,
        /// Capacitance seen at the tip, F.
        tip_capacitance_f: Toleranced,
        /// The body's share of it, F; `None` when not known (taken as nil, which makes the change look smaller).
        body_capacitance_f: Option<f64>,
        /// What is known of the trimmer.
        setting: Setting,
    },
}

/// What is known of a trimmer that nobody measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Setting {
    /// It was compensated on the old input to within this |e| (rectangular).
    CompensatedWithin(f64),
    /// It stands anywhere in its range: what it balances is spread evenly over these input capacitances, F.
    Anywhere(Range),
}

/// An input, as the divider sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InputLoad {
    /// Capacitance, F.
    pub capacitance_f: Toleranced,
    /// Resistance, Ω; `None`: taken as equal on both inputs.
    pub resistance_ohm: Option<f64>,
}

/// The error to expect on the new input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoveForecast {
    /// e on the new input.
    pub compensation_error: f64,
    /// Its standard uncertainty; `None` when a tolerance that it depends on is not known (see `missing`).
    pub standard_uncertainty: Option<f64>,
    /// ΔC, new input less old input, F.
    pub change_f: f64,
    /// C1+C2 before the move, F.
    pub total_before_f: f64,
    /// The first tolerance that is not known, by name.
    pub missing: Option<&'static str>,
}

impl MoveForecast {
    /// The error with its uncertainty, if that is known.
    pub fn estimate(&self) -> Option<Estimate> {
        self.standard_uncertainty
            .map(|standard_uncertainty| Estimate { value: self.compensation_error, standard_uncertainty })
    }
}

/// Why nothing can be expected.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum MoveError {
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
}

/// One input quantity of the propagation: its value, its standard uncertainty if known, its name.
type Term = (f64, Option<f64>, &'static str);

/// The error to expect after a move from the input `from` to the input `to`.
///
/// # Errors
/// A ratio that is not above 1, or capacitances that leave no divider.
pub fn expected_after_move(
    before: &Before,
    from: &InputLoad,
    to: &InputLoad,
) -> Result<MoveForecast, MoveError> {
    let old: Term = capacitance_term(from, "the old input's capacitance");
    let new: Term = capacitance_term(to, "the new input's capacitance");
    // Old and new resistance enter as a ratio of otherwise equal dividers.
    let shunt_factor = match (from.resistance_ohm, to.resistance_ohm) {
        (Some(old), Some(new)) => new / old,
        _ => 1.0,
    };
    positive("ratio of the two input resistances", shunt_factor)?;
    match before {
        Before::Measured(found) => {
            let divider = found.divider;
            let after =
                Divider { shunt_resistance_ohm: divider.shunt_resistance_ohm * shunt_factor, ..divider };
            let model = |x: &[f64]| {
                let c = divider.capacitances(crate::divider::Shelf { error: x[2], time_constant_s: x[3] });
                let moved = Capacitances { shunt_f: c.shunt_f + x[1] - x[0], ..c };
                (c, after.shelf(moved).error)
            };
            let terms = [
                old,
                new,
                (found.error.value, Some(found.error.standard_uncertainty), "e"),
                (found.time_constant_s.value, Some(found.time_constant_s.standard_uncertainty), "τp"),
            ];
            let correlated = Some((2, 3, found.correlation));
            // The resistors scale τp/(R1∥R2): one more term, with the same share as τp itself.
            let resistors = found.resistor_uncertainty * found.time_constant_s.value;
            forecast(&terms, correlated, Some((3, resistors)), model)
        }
        Before::DataSheet { ratio, tip_capacitance_f, body_capacitance_f, setting } => {
            if !(*ratio > 1.0 && ratio.is_finite()) {
                return Err(MoveError::Value {
                    quantity: "ratio",
                    value: *ratio,
                    remedy: "only a probe that divides by more than 1 has a compensation",
                });
            }
            let before = Divider { tip_resistance_ohm: ratio - 1.0, shunt_resistance_ohm: 1.0 };
            let after = Divider { shunt_resistance_ohm: shunt_factor, ..before };
            let body_f = body_capacitance_f.unwrap_or(0.0);
            let setting_term: Term = match setting {
                Setting::CompensatedWithin(limit) => {
                    (0.0, Some(limit / 3f64.sqrt()), "the trimmer's setting")
                }
                Setting::Anywhere(Range { low, high }) => {
                    (0.5 * (low + high), Some(0.5 * (high - low) / 3f64.sqrt()), "the trimmer's setting")
                }
            };
            let model = |x: &[f64]| {
                let tip_f = (x[2] - body_f) * ratio / (ratio - 1.0);
                let balanced_f = before.balanced_shunt_capacitance_f(tip_f);
                // Where the trimmer stands, told as the shunt that the old input makes of it.
                let shunt_f = match setting {
                    Setting::CompensatedWithin(_) => (tip_f + balanced_f) / (1.0 + x[3]) - tip_f,
                    Setting::Anywhere(_) => balanced_f + x[0] - x[3],
                };
                let c = Capacitances { tip_f, shunt_f };
                (c, after.shelf(Capacitances { tip_f, shunt_f: shunt_f + x[1] - x[0] }).error)
            };
            let tip: Term = (
                tip_capacitance_f.value,
                tip_capacitance_f.standard_uncertainty(),
                "the probe's tip capacitance",
            );
            forecast(&[old, new, tip, setting_term], None, None, model)
        }
    }
}

fn capacitance_term(load: &InputLoad, name: &'static str) -> Term {
    (load.capacitance_f.value, load.capacitance_f.standard_uncertainty(), name)
}

/// Value and uncertainty of `model` at `terms`; `extra` is one more uncertainty of a term, independent of the first.
fn forecast(
    terms: &[Term],
    correlated: Option<(usize, usize, f64)>,
    extra: Option<(usize, f64)>,
    model: impl Fn(&[f64]) -> (Capacitances, f64),
) -> Result<MoveForecast, MoveError> {
    let mut x: Vec<f64> = terms.iter().map(|t| t.0).collect();
    let change_f = x[1] - x[0];
    let (c, compensation_error) = model(&x);
    let total_before_f = c.tip_f + c.shunt_f;
    positive("capacitance at the tip in F", c.tip_f)?;
    positive("total capacitance before the move in F", total_before_f)?;
    positive("total capacitance after the move in F", total_before_f + change_f)?;
    positive("high-frequency gain after the move", 1.0 + compensation_error)?;
    let missing = terms.iter().find(|t| t.1.is_none()).map(|t| t.2);
    let mut shares = Vec::with_capacity(terms.len());
    let mut variance = 0.0;
    for (index, &(value, u, _)) in terms.iter().enumerate() {
        let u = u.unwrap_or(0.0);
        let slope = if u > 0.0 || extra.is_some_and(|(at, _)| at == index) {
            // A step of a hundredth of u keeps central differences well inside what is linear.
            let step = if u > 0.0 { 0.01 * u } else { 1e-6 * value };
            x[index] = value + step;
            let above = model(&x).1;
            x[index] = value - step;
            let below = model(&x).1;
            x[index] = value;
            (above - below) / (2.0 * step)
        } else {
            0.0
        };
        shares.push(slope * u);
        variance += (slope * u).powi(2);
        if let Some((_, u)) = extra.filter(|(at, _)| *at == index) {
            variance += (slope * u).powi(2);
        }
    }
    if let Some((a, b, r)) = correlated {
        variance += 2.0 * r * shares[a] * shares[b];
    }
    let standard_uncertainty = missing.is_none().then(|| variance.max(0.0).sqrt());
    Ok(MoveForecast { compensation_error, standard_uncertainty, change_f, total_before_f, missing })
}

fn positive(quantity: &'static str, value: f64) -> Result<(), MoveError> {
    if value > 0.0 && value.is_finite() {
        return Ok(());
    }
    let remedy = "check the capacitances and the ratio: they leave no divider";
    Err(MoveError::Value { quantity, value, remedy })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::divider::Shelf;
    use flattop_close::{assert_close, relative, within};
    use proptest::prelude::*;

    fn load(value: f64, tolerance: Option<f64>) -> InputLoad {
        InputLoad { capacitance_f: Toleranced { value, tolerance }, resistance_ohm: Some(1e6) }
    }

    fn measured(e: f64, u: f64, total_f: f64) -> Before {
        let divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
        Before::Measured(Compensation {
            error: Estimate { value: e, standard_uncertainty: u },
            time_constant_s: Estimate {
                value: divider.parallel_resistance_ohm() * total_f,
                standard_uncertainty: 0.0,
            },
            correlation: 0.0,
            divider,
            resistor_uncertainty: 0.0,
        })
    }

    /// By hand: 10 pF in all with C1 = 10 pF of 100 pF; 5 pF more make 100/105 − 1 = −1/21.
    #[test]
    fn five_more_picofarads_on_a_hundred() {
        let f = expected_after_move(
            &measured(0.0, 0.0, 100e-12),
            &load(15e-12, Some(0.0)),
            &load(20e-12, Some(0.0)),
        )
        .unwrap();
        assert_close!(f.compensation_error, -1.0 / 21.0, relative(1e-12));
        assert_close!(f.standard_uncertainty.unwrap(), 0.0, within(1e-15));
        assert_close!(f.change_f, 5e-12, relative(1e-12));
    }

    /// By hand: de'/dC = −(1+e)·S/(S+ΔC)², with 1 pF of rectangular tolerance on each input.
    #[test]
    fn tolerances_of_both_inputs_count() {
        let (s, delta) = (100e-12, 5e-12);
        let f = expected_after_move(
            &measured(0.0, 0.001, s),
            &load(15e-12, Some(1e-12)),
            &load(20e-12, Some(1e-12)),
        )
        .unwrap();
        let of_one = s / (s + delta) / (s + delta) * 1e-12 / 3f64.sqrt();
        let of_e = 0.001 * s / (s + delta);
        let expected = (2.0 * of_one * of_one + of_e * of_e).sqrt();
        assert_close!(f.standard_uncertainty.unwrap(), expected, relative(1e-4));
    }

    #[test]
    fn what_is_not_known_is_named() {
        let f =
            expected_after_move(&measured(0.0, 0.0, 1e-10), &load(15e-12, Some(1e-12)), &load(20e-12, None))
                .unwrap();
        assert_eq!((f.standard_uncertainty, f.missing), (None, Some("the new input's capacitance")));
    }

    /// By hand: Ct = 9 pF, N = 10: C1 = 10 pF, C2 = 90 pF, 100 pF in all.
    #[test]
    fn the_data_sheet_gives_the_total() {
        let before = |setting| Before::DataSheet {
            ratio: 10.0,
            tip_capacitance_f: Toleranced { value: 9e-12, tolerance: Some(0.0) },
            body_capacitance_f: None,
            setting,
        };
        let (from, to) = (load(15e-12, Some(0.0)), load(20e-12, Some(0.0)));
        let f = expected_after_move(&before(Setting::CompensatedWithin(0.01)), &from, &to).unwrap();
        assert_close!(f.total_before_f, 100e-12, relative(1e-12));
        assert_close!(f.compensation_error, -1.0 / 21.0, relative(1e-12));
        // The old tolerance comes along: C1+C2 = S/(1+e) turned at the base, so de'/de = S²/(S+ΔC)².
        assert_close!(f.standard_uncertainty.unwrap(), 0.01 / 3f64.sqrt() / 1.05 / 1.05, relative(2e-3));
        // Anywhere between 10 and 30 pF: its middle balances the new input; ± 10 pF rectangular on 100 pF.
        let anywhere = Setting::Anywhere(Range { low: 10e-12, high: 30e-12 });
        let f = expected_after_move(&before(anywhere), &from, &to).unwrap();
        assert_close!(f.compensation_error, 0.0, within(1e-12));
        assert_close!(f.standard_uncertainty.unwrap(), 0.1 / 3f64.sqrt(), relative(1e-3));
    }

    #[test]
    fn a_probe_that_does_not_divide_has_no_compensation() {
        let before = Before::DataSheet {
            ratio: 1.0,
            tip_capacitance_f: Toleranced { value: 50e-12, tolerance: None },
            body_capacitance_f: None,
            setting: Setting::CompensatedWithin(0.01),
        };
        let input = load(15e-12, None);
        assert!(expected_after_move(&before, &input, &input).is_err());
    }

    proptest! {
        #[test]
        fn prop_same_as_the_closed_form_and_back_again(
            e in -0.3..0.3_f64, total in 40e-12..200e-12_f64, from in 5e-12..30e-12_f64, to in 5e-12..30e-12_f64,
        ) {
            let (a, b) = (load(from, Some(0.0)), load(to, Some(0.0)));
            let there = expected_after_move(&measured(e, 0.0, total), &a, &b).unwrap();
            let closed = (1.0 + e) * total / (total + to - from) - 1.0;
            assert_close!(there.compensation_error, closed, within(1e-12));
            let back = measured(there.compensation_error, 0.0, total + to - from);
            let home = expected_after_move(&back, &b, &a).unwrap();
            assert_close!(home.compensation_error, e, within(1e-12));
        }

        #[test]
        fn prop_another_resistance_is_another_divider(r in 0.5e6..2e6_f64) {
            let a = load(15e-12, Some(0.0));
            let b = InputLoad { resistance_ohm: Some(r), ..a };
            let got = expected_after_move(&measured(0.0, 0.0, 1e-10), &a, &b).unwrap();
            let new = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: r };
            let Shelf { error, .. } = new.shelf(Capacitances { tip_f: 1e-11, shunt_f: 9e-11 });
            assert_close!(got.compensation_error, error, within(1e-12));
        }
    }
}
