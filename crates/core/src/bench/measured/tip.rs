//! What the circuit sees at the tip.
//!
//! One capture gives C1 and C2 and with them C1·C2/(C1+C2), the divider's share. The body of the tip adds a capacitance to
//! ground that a stiff source hides: it is not in one capture.
//!
//! A known resistor Rs between source and tip shows it. To the source a compensated probe is R1+R2 across Ct, body included;
//! behind Rs with some capacitance Cs across it (its own, or a small capacitor that need not be known) that is a compensated
//! divider once more, and the screen shows its e' and τ'. From these, as in [`crate::divider`],
//!
//! - Ct = τ'·(1/(R1+R2) − e'/Rs), and Cs = (1+e')·τ'/Rs.
//!
//! What is left of the probe's own e is a second shelf behind the first. Two shelves in a row have the product of their high-
//! frequency gains, and the sum of their areas e·τ; taken apart by these two, and the whole of the change allowed for as half
//! width of a rectangular distribution, since one exponential fitted to two need not keep the area. To the first order in e,
//! the probe still loads as R ∥ C. Whatever else hangs at the tip (the resistor's end, a holder) counts as body.

use super::pool::{Setting, pooled};
use super::propagate::Quantities;
use super::{MeasureError, Reading, Share, farads, flat, per_cent, positive, withheld};
use crate::assessment::Estimate;
use crate::finding::Finding;
use crate::numeric::stats::COVERAGE_FACTOR_95;

/// The probe's own |e| above which it doesn't load like R ∥ C any more.
const WORST_ERROR: f64 = 0.02;
/// How many times larger the tail behind the resistor has to be than the probe's own.
const CLEARLY: f64 = 10.0;

/// What is needed to tell a tip's capacitance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TipLooks<'a> {
    /// R1, Ω.
    pub tip_resistance_ohm: Estimate,
    /// R2, Ω.
    pub shunt_resistance_ohm: Estimate,
    /// Standard uncertainty of e from the input's own response (its flatness over about a millisecond); nil when flat.
    pub flatness: f64,
    /// Captures with the tip straight at the source.
    pub readings: &'a [Reading],
    /// Captures through a resistor, on the same input, with the same setting of the trimmer.
    pub series: Option<SeriesLook<'a>>,
}

/// Captures through a resistor between source and tip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeriesLook<'a> {
    /// Rs, that of the source included, Ω. What lies across it need not be known.
    pub resistance_ohm: Estimate,
    /// e and τ as the estimator finds them in these captures.
    pub readings: &'a [Reading],
}

/// What was found at a tip.
#[derive(Clone, Debug, PartialEq)]
pub struct TipFound {
    /// C1·C2/(C1+C2), without the body, F.
    pub divider_f: Estimate,
    /// All of it, the body included, F; `None` without captures through a resistor, or when a fault withholds it.
    pub whole_f: Option<Estimate>,
    /// The body's share, F; as `whole_f`.
    pub body_f: Option<Estimate>,
    /// Where the uncertainty of the whole (or of the divider's share when that is all) comes from, largest first.
    pub shares: Vec<Share>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// The capacitance that the circuit sees at the tip.
///
/// # Errors
/// No captures, or values that leave no divider.
pub fn tip_capacitance(request: &TipLooks<'_>) -> Result<TipFound, MeasureError> {
    positive("the probe's tip resistance", request.tip_resistance_ohm)?;
    positive("the resistance at the oscilloscope end", request.shunt_resistance_ohm)?;
    let mut findings = Vec::new();
    flat(request.flatness, &mut findings)?;
    let straight = pooled(request.readings, "with the tip at the source", 0.0, &mut findings)?;
    let mut all = Quantities::default();
    let r1 = all.add("tip resistance", request.tip_resistance_ohm);
    let r2 = all.add("resistance at the oscilloscope end", request.shunt_resistance_ohm);
    let none = Estimate { value: 0.0, standard_uncertainty: request.flatness };
    let bend = all.add("flatness of the input", none);
    let at = all.add_group("captures at the source", &straight.ln, &straight.covariance);
    let divider = move |x: &[f64]| {
        let tip_f = (x[at].exp() + x[bend]) * x[at + 1].exp() / x[r1];
        let total_f = x[at + 1].exp() * (1.0 / x[r1] + 1.0 / x[r2]);
        tip_f * (1.0 - tip_f / total_f)
    };
    let (divider_f, shares) = all.propagate(divider);
    let Some(series) = request.series else {
        findings.push(Finding::note(
            "body-not-included",
            "the capacitance from the tip's body to ground is not in this: a stiff source hides it",
            "capture once more through a known resistor of about the probe's own resistance, and give that as well",
        ));
        return Ok(TipFound { divider_f, whole_f: None, body_f: None, shares, findings });
    };

    positive("the series resistance", series.resistance_ohm)?;
    let through = pooled(series.readings, "through the resistor", 0.0, &mut findings)?;
    judge_setting(&straight, &through, &mut findings);
    if withheld(&findings) {
        return Ok(TipFound { divider_f, whole_f: None, body_f: None, shares, findings });
    }
    let own = own_shelf_taken_off(&straight, &through, request.flatness);
    let rs = all.add("series resistance", series.resistance_ohm);
    let on = all.add_group("captures through the resistor", &through.ln, &through.covariance);
    let gain = all.add("what is left of the probe's own error", own.gain);
    let tau = all.add("what is left of the probe's own error, in time", own.tau);
    let whole = move |x: &[f64]| {
        let e = (x[on] + x[gain]).exp_m1();
        (x[on + 1] + x[tau]).exp() * (1.0 / (x[r1] + x[r2]) - e / x[rs])
    };
    let (whole_f, shares) = all.propagate(whole);
    let (body_f, _) = all.propagate(|x| whole(x) - divider(x));
    if body_f.value < -COVERAGE_FACTOR_95 * body_f.standard_uncertainty {
        findings.push(Finding::fault(
            "body-below-nil",
            format!("the body's share comes out at {}, which cannot be", farads(body_f)),
            "check the series resistance and the divider, and that both captures are of one probe with one setting",
        ));
    }
    let told = !withheld(&findings);
    Ok(TipFound {
        divider_f,
        whole_f: told.then_some(whole_f),
        body_f: told.then_some(body_f),
        shares,
        findings,
    })
}

fn judge_setting(straight: &Setting, through: &Setting, findings: &mut Vec<Finding>) {
    let [own, seen] = [straight, through]
        .map(|s| Estimate { value: s.error(), standard_uncertainty: s.covariance[0].sqrt() * s.ln[0].exp() });
    if WORST_ERROR < own.value.abs() {
        findings.push(Finding::fault(
            "compensate-first",
            format!(
                "the probe's own e is {}: behind a resistor it then shows more than one tail",
                per_cent(own)
            ),
            "compensate the probe on this input to within 2 %, better 0.2 %, and make both captures again",
        ));
    } else if seen.value.abs() < CLEARLY * own.value.abs() {
        findings.push(Finding::fault(
            "series-tail-too-small",
            format!(
                "behind the resistor e is {}, not clearly more than the probe's own {}",
                per_cent(seen),
                per_cent(own)
            ),
            "compensate the probe better, or put another capacitor across the resistor: half or twice as much as now",
        ));
    }
}

/// What taking the probe's own shelf off changes in ln(1+e) and in ln τ of the captures through the resistor.
struct OwnShelf {
    gain: Estimate,
    tau: Estimate,
}

fn own_shelf_taken_off(straight: &Setting, through: &Setting, flatness: f64) -> OwnShelf {
    let (own, seen) = (straight.error(), through.error());
    let gain = -straight.ln[0];
    let alone = (through.ln[0] + gain).exp_m1();
    let area = seen * through.time_constant_s() - own * straight.time_constant_s();
    let change = (area / alone / through.time_constant_s()).ln();
    let tau = if change.is_finite() { change } else { 0.0 };
    // How well e is known, and the whole change as half width of a rectangle.
    let variance = straight.covariance[0] + flatness * flatness;
    let per_error = (straight.time_constant_s() / through.time_constant_s() - 1.0) / alone;
    let moved = |value: f64, variance: f64| Estimate {
        value,
        standard_uncertainty: (value * value / 3.0 + variance).sqrt(),
    };
    OwnShelf { gain: moved(gain, variance), tau: moved(tau, variance * per_error * per_error) }
}
