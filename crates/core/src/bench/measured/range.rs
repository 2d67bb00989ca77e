//! The input capacitances that a probe's trimmer really balances, from captures at both of its stops.
//!
//! At a stop the probe balances an input that is larger than the present one by as much as C2 falls short:
//! C1·R1/R2 − C2 = (τz − τp)/(R1∥R2) = e·(C1+C2). So the limit is Cin + e·(C1+C2), wherever the trimmer is: at the tip, where
//! C1 differs between the stops, or in the box, where C2 does.

use super::pool::{Setting, pooled};
use super::propagate::Quantities;
use super::{Agreement, DIFFERENT, MeasureError, Reading, Share, farads, flat, per_cent, positive, withheld};
use crate::assessment::{AdjustedAt, Estimate};
use crate::finding::Finding;
use crate::numeric::stats::COVERAGE_FACTOR_95;

/// What is needed to tell a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stops<'a> {
    /// R1 of the probe, Ω.
    pub tip_resistance_ohm: Estimate,
    /// R2, Ω.
    pub shunt_resistance_ohm: Estimate,
    /// Capacitance of the input that the probe is on, F.
    pub input_capacitance_f: Estimate,
    /// Standard uncertainty of e from the input's own response (its flatness over about a millisecond); nil when flat.
    pub flatness: f64,
    /// Where the probe is adjusted.
    pub adjusted_at: AdjustedAt,
    /// Captures at one stop and at the other, in either order.
    pub stops: [&'a [Reading]; 2],
}

/// A measured range.
#[derive(Clone, Debug, PartialEq)]
pub struct RangeFound {
    /// Lower and upper limit, F; `None` when a finding of severity fault withholds them.
    pub limits_f: Option<[Estimate; 2]>,
    /// Upper less lower limit, F. What both share (the input's capacitance) has no part in it.
    pub width_f: Estimate,
    /// e at the stop of the lower and at that of the upper limit.
    pub errors: [Estimate; 2],
    /// What the trimmer leaves alone (C2 for one at the tip, C1 for one in the box): at the second stop given against the first.
    pub agreement: Agreement,
    /// Where the uncertainty of each limit comes from, largest first.
    pub shares: [Vec<Share>; 2],
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// The input capacitances that a probe's trimmer balances.
///
/// # Errors
/// No captures, or values that leave no divider.
pub fn compensation_range(request: &Stops<'_>) -> Result<RangeFound, MeasureError> {
    positive("the probe's tip resistance", request.tip_resistance_ohm)?;
    positive("the resistance at the oscilloscope end", request.shunt_resistance_ohm)?;
    positive("the capacitance of the input", request.input_capacitance_f)?;
    let mut findings = Vec::new();
    flat(request.flatness, &mut findings)?;
    let one = pooled(request.stops[0], "at the first stop", 0.0, &mut findings)?;
    let other = pooled(request.stops[1], "at the second stop", 0.0, &mut findings)?;

    let mut all = Quantities::default();
    let c_in = all.add("capacitance of the input", request.input_capacitance_f);
    let r1 = all.add("tip resistance", request.tip_resistance_ohm);
    let r2 = all.add("resistance at the oscilloscope end", request.shunt_resistance_ohm);
    let none = Estimate { value: 0.0, standard_uncertainty: request.flatness };
    let bend = all.add("flatness of the input", none);
    let [first, second] = [("captures at one stop", one), ("captures at the other stop", other)]
        .map(|(of, s): (_, Setting)| all.add_group(of, &s.ln, &s.covariance));
    let gain = |x: &[f64], at: usize| x[at].exp() + x[bend];
    let limit =
        |x: &[f64], at: usize| x[c_in] + (gain(x, at) - 1.0) * x[at + 1].exp() * (1.0 / x[r1] + 1.0 / x[r2]);
    let kept = |x: &[f64], at: usize| match request.adjusted_at {
        AdjustedAt::Base => gain(x, at) * x[at + 1].exp(),
        AdjustedAt::Tip => x[at + 1].exp() * (1.0 / x[r2] - (gain(x, at) - 1.0) / x[r1]),
    };
    let (difference, _) = all.propagate(|x| kept(x, second) / kept(x, first) - 1.0);
    let agreement = Agreement::of(difference);

    let by_stop = [first, second].map(|at| all.propagate(|x| limit(x, at)));
    let order = if by_stop[1].0.value < by_stop[0].0.value { [second, first] } else { [first, second] };
    let [low, high] = order.map(|at| all.propagate(|x| limit(x, at)));
    let errors = order.map(|at| all.propagate(|x| gain(x, at) - 1.0).0);
    let (width_f, _) = all.propagate(|x| limit(x, order[1]) - limit(x, order[0]));

    judge(request, &agreement, width_f, &errors, &mut findings);
    let limits_f = (!withheld(&findings)).then_some([low.0, high.0]);
    Ok(RangeFound { limits_f, width_f, errors, agreement, shares: [low.1, high.1], findings })
}

fn judge(
    request: &Stops<'_>,
    agreement: &Agreement,
    width_f: Estimate,
    errors: &[Estimate; 2],
    findings: &mut Vec<Finding>,
) {
    if width_f.value <= COVERAGE_FACTOR_95 * width_f.standard_uncertainty {
        findings.push(Finding::fault(
            "stops-coincide",
            format!("both stops balance the same input: they are {} apart", farads(width_f)),
            "capture once with the trimmer at each of its ends, and give the captures of each end apart",
        ));
        return;
    }
    let clear = |e: &Estimate| COVERAGE_FACTOR_95 * e.standard_uncertainty < e.value.abs();
    if errors.iter().all(clear) && (errors[0].value < 0.0) == (errors[1].value < 0.0) {
        let side = if errors[0].value < 0.0 { "larger" } else { "smaller" };
        findings.push(Finding::warning(
            "input-outside-range",
            format!(
                "e has the same sign at both stops ({} and {}): the input is {side} than the probe can balance",
                per_cent(errors[0]),
                per_cent(errors[1])
            ),
            "the range is right all the same; to use the probe here, choose another input or pad a small one",
        ));
    }
    if agreement.chance < DIFFERENT {
        let (kept, place) = match request.adjusted_at {
            AdjustedAt::Tip => ("C2", "at the tip"),
            AdjustedAt::Base => ("C1", "in the box at the oscilloscope end"),
        };
        findings.push(Finding::warning(
            "stops-of-another-trimmer",
            format!(
                "{kept} differs between the stops by {}, which a trimmer {place} leaves alone",
                per_cent(agreement.difference)
            ),
            "check where the probe is adjusted, and that all captures are of one probe on one input",
        ));
    }
}
