//! An input's capacitance by substitution: the probe moves, its trimmer stays, and C2 changes by what the inputs differ.
//!
//! Cu = Ck + S_u − S_k with S = τp/(R1∥R2) on each input. C1 stays, so τz does: one condition more than unknowns. It is used
//! twice: to say whether a trimmer at the tip was turned, and, by least squares, to make the answer better.

use super::pool::{pooled, with_one_zero};
use super::propagate::Quantities;
use super::{
    Agreement, DIFFERENT, DOUBTFUL, MeasureError, Reading, Share, farads, flat, per_cent, positive, withheld,
};
use crate::assessment::{AdjustedAt, Estimate};
use crate::finding::Finding;
use crate::numeric::stats::COVERAGE_FACTOR_95;

/// The input whose capacitance is known, with the captures made on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownInput<'a> {
    /// Its capacitance, F.
    pub capacitance_f: Estimate,
    /// Captures made on it.
    pub readings: &'a [Reading],
}

/// R2 on both inputs, Ω.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shunts {
    /// Each input has a resistor of its own, with an error of its own.
    OfEachInput {
        /// On the known input.
        known_ohm: Estimate,
        /// On the unknown input.
        unknown_ohm: Estimate,
    },
    /// One and the same resistor, with one error: an input before and after a capacitor was put across it.
    Shared(Estimate),
}

/// What substitution needs to know.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Substitution<'a> {
    /// R1 of the probe, Ω.
    pub tip_resistance_ohm: Estimate,
    /// R2.
    pub shunts: Shunts,
    /// Standard uncertainty of e from either input's own response (its flatness over about a millisecond); nil when flat.
    pub flatness: f64,
    /// Where the probe is adjusted; `None` when it is fixed or not known.
    pub adjusted_at: Option<AdjustedAt>,
    /// The known input.
    pub known: KnownInput<'a>,
    /// Captures made on the unknown input.
    pub unknown: &'a [Reading],
}

/// What substitution found.
#[derive(Clone, Debug, PartialEq)]
pub struct Substituted {
    /// The unknown input's capacitance, F; `None` when a finding of severity fault withholds it.
    pub capacitance_f: Option<Estimate>,
    /// Unknown input less known input, F.
    pub difference_f: Estimate,
    /// C1, the same in all captures, F.
    pub tip_capacitance_f: Estimate,
    /// τz on the unknown input against that on the known one.
    pub agreement: Agreement,
    /// Where the uncertainty of the capacitance comes from, largest first.
    pub shares: Vec<Share>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// The capacitance of an unknown input.
///
/// # Errors
/// No captures, or values that leave no divider.
pub fn input_capacitance(request: &Substitution<'_>) -> Result<Substituted, MeasureError> {
    let (known_ohm, unknown_ohm) = match request.shunts {
        Shunts::OfEachInput { known_ohm, unknown_ohm } => (known_ohm, unknown_ohm),
        Shunts::Shared(ohm) => (ohm, ohm),
    };
    positive("the probe's tip resistance", request.tip_resistance_ohm)?;
    positive("the resistance of the known input", known_ohm)?;
    positive("the resistance of the unknown input", unknown_ohm)?;
    positive("the capacitance of the known input", request.known.capacitance_f)?;
    let mut findings = Vec::new();
    flat(request.flatness, &mut findings)?;
    let known = pooled(request.known.readings, "on the known input", request.flatness, &mut findings)?;
    let unknown = pooled(request.unknown, "on the unknown input", request.flatness, &mut findings)?;

    let ((ln_known, var_known), (ln_unknown, var_unknown)) = (known.ln_zero(), unknown.ln_zero());
    let agreement = Agreement::of(Estimate {
        value: (ln_unknown - ln_known).exp_m1(),
        standard_uncertainty: (var_known + var_unknown).sqrt(),
    });
    let (together, covariance) = with_one_zero(&known, &unknown);

    let mut all = Quantities::default();
    let c_known = all.add("capacitance of the known input", request.known.capacitance_f);
    let r1 = all.add("tip resistance", request.tip_resistance_ohm);
    let [r_known, r_unknown] = match request.shunts {
        Shunts::OfEachInput { .. } => [
            all.add("resistance of the known input", known_ohm),
            all.add("resistance of the unknown input", unknown_ohm),
        ],
        Shunts::Shared(ohm) => [all.add("resistance at the oscilloscope end", ohm); 2],
    };
    let at = all.add_group("captures", &together, &covariance);
    let total =
        |x: &[f64], resistance: usize, ln_tau: usize| x[ln_tau].exp() * (1.0 / x[r1] + 1.0 / x[resistance]);
    let change = |x: &[f64]| total(x, r_unknown, at + 3) - total(x, r_known, at + 1);
    let (difference_f, _) = all.propagate(change);
    let (capacitance_f, shares) = all.propagate(|x| x[c_known] + change(x));
    let (tip_capacitance_f, _) = all.propagate(|x| (x[at] + x[at + 1]).exp() / x[r1]);

    judge(request, &agreement, capacitance_f, &mut findings);
    let capacitance_f = (!withheld(&findings)).then_some(capacitance_f);
    Ok(Substituted { capacitance_f, difference_f, tip_capacitance_f, agreement, shares, findings })
}

fn judge(
    request: &Substitution<'_>,
    agreement: &Agreement,
    capacitance_f: Estimate,
    findings: &mut Vec<Finding>,
) {
    let Agreement { difference, chance } = *agreement;
    let apart = format!("the tip's capacitance differs between the two inputs by {}", per_cent(difference));
    if chance < DIFFERENT {
        findings.push(Finding::fault(
            "trimmer-was-turned",
            format!("{apart}, but nothing at the tip changes when a probe is moved"),
            "capture both inputs again with the same probe, and leave its trimmer alone in between",
        ));
    } else if chance < DOUBTFUL {
        findings.push(Finding::warning(
            "tip-capacitance-differs",
            format!("{apart}, more than chance makes likely"),
            "repeat both captures; if it stays, something else changed with the input",
        ));
    }
    // At the box a turn changes C2 alone, just as another input does: only coming back shows it.
    if request.adjusted_at == Some(AdjustedAt::Base) && request.known.readings.len() < 2 {
        findings.push(Finding::note(
            "trimmer-not-watched",
            "the trimmer is in the box at the oscilloscope end: had it been turned in between, these captures could not tell",
            "move the probe back to the known input and give that capture as well",
        ));
    }
    let margin_f = COVERAGE_FACTOR_95 * capacitance_f.standard_uncertainty;
    if capacitance_f.value <= margin_f {
        findings.push(Finding::fault(
            "capacitance-not-above-nil",
            format!("the unknown input comes out at {}, which may be nothing", farads(capacitance_f)),
            "check which captures belong to which input and the resistances; the resistors' tolerances are often the largest \
             share: measure them",
        ));
    }
}
