//! The uncertainty budget: which input quantity contributes how much (JCGM 100:2008, 5.1.2, 5.2.2 and annex H).
//!
//! With e, τp from the fit and the resistors R1, R2 of the divider (`flattop_core::divider`):
//!
//! | quantity | formula | by e | by τp | by R1 | by R2 |
//! | --- | --- | --- | --- | --- | --- |
//! | C1 | (1+e)·τp/R1 | τp/R1 | (1+e)/R1 | −C1/R1 | 0 |
//! | C2 | τp/R2 − e·τp/R1 | −τp/R1 | 1/R2 − e/R1 | e·τp/R1² | −τp/R2² |
//! | ΔC1 | −e·τp·(R1+R2)/R1² | −τp·(R1+R2)/R1² | −e·(R1+R2)/R1² | e·τp·(R1+2·R2)/R1³ | −e·τp/R1² |
//! | ΔC2 | e·τp·(R1+R2)/(R1·R2) | τp·(R1+R2)/(R1·R2) | e·(R1+R2)/(R1·R2) | −e·τp/R1² | −e·τp/R2² |
//!
//! ΔC1 and ΔC2 are the changes that compensate at the tip and at the box: C2·R2/R1 − C1 and C1·R1/R2 − C2.
//! The derivatives are worked out by hand; the core finds the same sums by differences, and a test compares them.

use flattop_core::assessment::{AdjustedAt, Compensation, Estimate};

/// What a budget is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measurand {
    /// The compensation error e, 1.
    Error,
    /// The time constant τp, s.
    TimeConstant,
    /// C1, F.
    TipCapacitance,
    /// C2, F.
    ShuntCapacitance,
    /// The change that compensates the pairing, F.
    Trim(AdjustedAt),
}

/// An input quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// e as fitted (noise, quantiser, edge times, model): 1.
    Error,
    /// τp as fitted: s.
    TimeConstant,
    /// R1: Ω.
    TipResistor,
    /// R2: Ω.
    ShuntResistor,
}

/// One line of a budget, SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contribution {
    /// The input quantity.
    pub input: Input,
    /// Its value and standard uncertainty.
    pub estimate: Estimate,
    /// ∂f/∂x.
    pub sensitivity: f64,
}

impl Contribution {
    /// Sensitivity times standard uncertainty, with its sign.
    pub fn share(&self) -> f64 {
        self.sensitivity * self.estimate.standard_uncertainty
    }
}

/// A whole budget, SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// What it is about.
    pub measurand: Measurand,
    /// Its value and combined standard uncertainty.
    pub estimate: Estimate,
    /// The lines; those that cannot contribute are left out.
    pub lines: Vec<Contribution>,
    /// What the correlation of e and τp adds to the variance (negative when it takes away).
    pub covariance_term: f64,
}

/// The budget of one measurand.
pub fn budget(compensation: &Compensation, measurand: Measurand) -> Budget {
    let (e, tau) = (compensation.error.value, compensation.time_constant_s.value);
    let (r1, r2) = (compensation.divider.tip_resistance_ohm, compensation.divider.shunt_resistance_ohm);
    let (value, by) = match measurand {
        Measurand::Error => (e, [1.0, 0.0, 0.0, 0.0]),
        Measurand::TimeConstant => (tau, [0.0, 1.0, 0.0, 0.0]),
        Measurand::TipCapacitance => {
            let c1 = (1.0 + e) * tau / r1;
            (c1, [tau / r1, (1.0 + e) / r1, -c1 / r1, 0.0])
        }
        Measurand::ShuntCapacitance => {
            (tau / r2 - e * tau / r1, [-tau / r1, 1.0 / r2 - e / r1, e * tau / (r1 * r1), -tau / (r2 * r2)])
        }
        Measurand::Trim(AdjustedAt::Tip) => {
            let whole = (r1 + r2) / (r1 * r1);
            let by_r1 = e * tau * (r1 + 2.0 * r2) / (r1 * r1 * r1);
            (-e * tau * whole, [-tau * whole, -e * whole, by_r1, -e * tau / (r1 * r1)])
        }
        Measurand::Trim(AdjustedAt::Base) => {
            let whole = (r1 + r2) / (r1 * r2);
            (e * tau * whole, [tau * whole, e * whole, -e * tau / (r1 * r1), -e * tau / (r2 * r2)])
        }
    };
    let resistor =
        |ohm: f64| Estimate { value: ohm, standard_uncertainty: ohm * compensation.resistor_uncertainty };
    let inputs = [
        (Input::Error, compensation.error),
        (Input::TimeConstant, compensation.time_constant_s),
        (Input::TipResistor, resistor(r1)),
        (Input::ShuntResistor, resistor(r2)),
    ];
    let all: Vec<Contribution> = inputs
        .into_iter()
        .zip(by)
        .map(|((input, estimate), sensitivity)| Contribution { input, estimate, sensitivity })
        .collect();
    let covariance_term = 2.0 * compensation.correlation * all[0].share() * all[1].share();
    let squares: f64 = all.iter().map(|line| line.share() * line.share()).sum();
    let standard_uncertainty = (squares + covariance_term).max(0.0).sqrt();
    let lines = all.into_iter().filter(|line| line.sensitivity.abs() > 0.0).collect();
    Budget { measurand, estimate: Estimate { value, standard_uncertainty }, lines, covariance_term }
}

#[cfg(test)]
mod tests {
    use flattop_close::{assert_close, relative};
    use flattop_core::divider::Divider;

    use super::*;

    #[test]
    fn the_sums_are_those_that_the_core_finds_by_differences() {
        for (e, correlation) in [(-0.074, 0.4), (0.12, -0.7), (1e-3, 0.0)] {
            let compensation = Compensation {
                error: Estimate { value: e, standard_uncertainty: 4e-4 },
                time_constant_s: Estimate { value: 97.2e-6, standard_uncertainty: 6e-7 },
                correlation,
                divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
                resistor_uncertainty: 0.01 / 3f64.sqrt(),
            };
            let pairs = [
                (Measurand::Error, compensation.error),
                (Measurand::TimeConstant, compensation.time_constant_s),
                (Measurand::TipCapacitance, compensation.tip_capacitance_f()),
                (Measurand::ShuntCapacitance, compensation.shunt_capacitance_f()),
                (Measurand::Trim(AdjustedAt::Tip), compensation.adjustment(AdjustedAt::Tip).change_f),
                (Measurand::Trim(AdjustedAt::Base), compensation.adjustment(AdjustedAt::Base).change_f),
            ];
            for (measurand, expected) in pairs {
                let got = budget(&compensation, measurand).estimate;
                assert_close!(got.value, expected.value, relative(1e-9));
                assert_close!(got.standard_uncertainty, expected.standard_uncertainty, relative(1e-6));
            }
        }
    }
}
