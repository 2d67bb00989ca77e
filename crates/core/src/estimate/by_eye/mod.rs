//! From three levels read off a screen to e, with the large uncertainty that the eye deserves.
//!
//! The square wave is settled, of 50 % duty, period T. With A the settled step, x = exp(−T/2τp) and all levels measured
//! from the level just before the rising edge (the end of the low flat):
//!
//! - the jump at the edge is instantaneous, so it shows the high-frequency gain alone: start = A·(1+e), exactly;
//! - the flats deviate from their settled levels by ±A·e/(1+x)·exp(−t/τp), so end = A·(1 + 2e·x/(1+x)).
//!
//! With r = start/end and k = x/(1+x) this gives e = (r − 1)/(1 − 2rk).
//! The deviation from the end level seen on the screen, which at time t is (exp(−t/τp) − x)/(1 − x) of its start, tells
//! τp from the time at which it has fallen to 37 % (1/e). On a flat that has settled that time is τp itself.
//! Source: the settled square-wave response of a first-order shelf (dossier, D-30); uncertainty by JCGM 100:2008, 4.3.7
//! (a reading between two marks is rectangular) and 5.1.3 note 2 (numerical sensitivities).

use crate::assessment::{Assessment, Compensation, Estimate, ONE_SIDED_95, Trace, Verdict};
use crate::divider::Divider;
use crate::estimate::square::{EXPECTED_CAPACITANCE_F, expected_time_constant_s};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};
use std::f64::consts::E;
use thiserror::Error;

/// Frequency taken when none is given: that of the compensation output of most oscilloscopes (common practice), Hz.
pub const USUAL_FREQUENCY_HZ: f64 = 1e3;

/// What was read, and what has to be known beside it. Levels in any one unit, such as divisions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ByEye {
    /// Level just after the rising edge, measured from the level just before it.
    pub start: f64,
    /// Level just before the falling edge, measured from the same level.
    pub end: f64,
    /// Finest step that could be told apart, in the unit of the levels: readings are right within half of it.
    pub resolution: f64,
    /// Repetition frequency, Hz; 50 % duty.
    pub frequency_hz: Option<f64>,
    /// Time from the edge until the distance from the end level has fallen to 37 % of its start, if it was read.
    pub fall_to_37_percent: Option<TimeReading>,
    /// The probe's and the input's resistors.
    pub divider: Divider,
    /// Relative standard uncertainty of each of them.
    pub resistor_uncertainty: f64,
    /// The |e| that is still accepted.
    pub tolerance: f64,
}

/// A time read off a screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeReading {
    /// The reading, s.
    pub time_s: f64,
    /// Finest step that could be told apart, s.
    pub resolution_s: f64,
}

/// Why readings make no sense.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum ByEyeError {
    /// A reading that must be above zero is not, or is not a finite number.
    #[error(
        "the {what} must be above zero, found {found}; levels are measured upwards from the level just before the rising edge"
    )]
    NotPositive {
        /// Which reading.
        what: &'static str,
        /// What was given.
        found: f64,
    },
    /// The readings are coarser than what was read.
    #[error("a reading resolution of {resolution} cannot show a step of {step}: enlarge the trace")]
    TooCoarse {
        /// Resolution given.
        resolution: f64,
        /// The smaller of the two levels.
        step: f64,
    },
    /// The deviation cannot have fallen to 37 % so late.
    #[error(
        "a fall to 37 % after {time_s:e} s does not fit into half a period of {half_period_s:e} s: an exponential gets there \
         before {latest_s:e} s; check the frequency and the time per division"
    )]
    TimeTooLong {
        /// Time given, s.
        time_s: f64,
        /// Half the period, s.
        half_period_s: f64,
        /// Latest possible time, s.
        latest_s: f64,
    },
}

/// What the readings depend on, as errors of the inputs: start, end, base, height of the 37 % mark (levels), and time
/// (s) or, when the time constant is assumed, its logarithm.
type Inputs = [f64; 5];

/// Assesses the compensation from readings off a screen.
///
/// # Errors
/// Readings that make no sense; see [`ByEyeError`]. Readings that make sense but are too coarse for a verdict give an
/// undetermined assessment with the reason among the findings.
pub fn assess(reading: &ByEye) -> Result<Assessment, ByEyeError> {
    validate(reading)?;
    let mut findings = Vec::new();
    let frequency_hz = reading.frequency_hz.unwrap_or_else(|| {
        findings.push(Finding::warning(
            "frequency-assumed",
            format!("no frequency was given; {} was assumed", hertz(USUAL_FREQUENCY_HZ)),
            "give the frequency of the square wave",
        ));
        USUAL_FREQUENCY_HZ
    });
    let half_period_s = 0.5 / frequency_hz;
    let timed = match reading.fall_to_37_percent {
        Some(time) => timed(reading, time, half_period_s)?,
        None => None,
    };
    let by_time = timed.and_then(|time| {
        let mark = |errors: &Inputs| {
            let shift = errors[3] + errors[1] * (1.0 - 1.0 / E) + errors[0] / E;
            let fraction = 1.0 / E + shift / (reading.start - reading.end);
            time_constant_s(time.time_s + errors[4], fraction, half_period_s)
        };
        propagate(reading, half_period_s, &mark, time.resolution_s / 12f64.sqrt())
    });
    if by_time.is_none() && reading.fall_to_37_percent.is_some() {
        findings.push(Finding::warning(
            "fall-time-not-used",
            "start and end are too close, or the time was read too coarsely, for the fall time to mean anything",
            "make the step fill the screen and stretch the time axis, or leave the fall time out",
        ));
    }
    let compensation = by_time.or_else(|| assumed(reading, half_period_s, &mut findings));
    if compensation.is_none() {
        findings.push(Finding::fault(
            "half-period-too-short",
            format!(
                "at {} the flats are too short for the start and the end to be told apart",
                hertz(frequency_hz)
            ),
            "use a lower frequency, about 1 kHz",
        ));
    }
    let verdict = compensation.map_or(Verdict::Undetermined, |c| c.verdict(reading.tolerance));
    if let Some(c) = compensation {
        remark(reading, &c, verdict, &mut findings);
    }
    Ok(Assessment {
        verdict,
        tolerance: reading.tolerance,
        compensation,
        square_wave: None,
        scatter: None,
        measured_response: Vec::new(),
        findings,
        trace: Trace::default(),
    })
}

fn validate(reading: &ByEye) -> Result<(), ByEyeError> {
    let time = reading.fall_to_37_percent;
    let checks = [
        ("start level", Some(reading.start)),
        ("end level", Some(reading.end)),
        ("reading resolution", Some(reading.resolution)),
        ("frequency", reading.frequency_hz),
        ("fall time", time.map(|t| t.time_s)),
        ("resolution of the fall time", time.map(|t| t.resolution_s)),
        ("tolerance", Some(reading.tolerance)),
    ];
    for (what, value) in checks {
        if let Some(found) = value.filter(|v| !(*v > 0.0 && v.is_finite())) {
            return Err(ByEyeError::NotPositive { what, found });
        }
    }
    let step = reading.start.min(reading.end);
    if reading.resolution >= step {
        return Err(ByEyeError::TooCoarse { resolution: reading.resolution, step });
    }
    Ok(())
}

/// The result with an assumed time constant.
fn assumed(reading: &ByEye, half_period_s: f64, findings: &mut Vec<Finding>) -> Option<Compensation> {
    let (capacitance_f, spread) = EXPECTED_CAPACITANCE_F;
    let expected_s = expected_time_constant_s(&reading.divider);
    findings.push(Finding::note(
        "time-constant-assumed",
        format!(
            "no usable fall time was read; the time constant rests on the usual {} of cable and input, give or take {:.0} %",
            format_engineering(capacitance_f, Unit::Farad, 3),
            100.0 * spread
        ),
        "read the time at which the distance from the end level has fallen to 37 %, if picofarads matter",
    ));
    propagate(reading, half_period_s, &|errors| Some(expected_s * errors[4].exp()), spread)
}

/// The time reading, unless the deviation it belongs to is too small to be timed.
fn timed(reading: &ByEye, time: TimeReading, half_period_s: f64) -> Result<Option<TimeReading>, ByEyeError> {
    let latest_s = (1.0 - 1.0 / E) * half_period_s;
    if time.time_s >= latest_s {
        return Err(ByEyeError::TimeTooLong { time_s: time.time_s, half_period_s, latest_s });
    }
    let deviation = (reading.start - reading.end).abs();
    if deviation < 3.0 * reading.resolution || time.resolution_s > time.time_s {
        return Ok(None);
    }
    Ok(Some(time))
}

/// τp from the time at which the deviation has fallen to `fraction`: root of exp(−t/τ) = x + (1 − x)·fraction.
fn time_constant_s(time_s: f64, fraction: f64, half_period_s: f64) -> Option<f64> {
    if !(time_s > 0.0 && fraction > 0.0 && fraction < 1.0) {
        return None;
    }
    let excess = |tau: f64| {
        let x = (-half_period_s / tau).exp();
        (-time_s / tau).exp() - x - (1.0 - x) * fraction
    };
    // Below the root the deviation at t is gone, above it is not there yet; a slow curve never gets there in time.
    let (mut low, mut high) = (1e-3 * time_s, 1e3 * half_period_s);
    if !(excess(low) < 0.0 && excess(high) > 0.0) {
        return None;
    }
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        if excess(middle) < 0.0 { low = middle } else { high = middle }
    }
    Some((low * high).sqrt())
}

/// e = (r − 1)/(1 − 2rk); `None` when the flats are too short to tell.
fn error(start: f64, end: f64, half_period_s: f64, time_constant_s: f64) -> Option<f64> {
    let x = (-half_period_s / time_constant_s).exp();
    let r = start / end;
    let determined = 1.0 - 2.0 * r * x / (1.0 + x);
    (determined > 0.1 && end > 0.0).then_some((r - 1.0) / determined)
}

/// Law of propagation over the five inputs, with differences over one standard uncertainty to either side.
fn propagate(
    reading: &ByEye,
    half_period_s: f64,
    time_constant: &dyn Fn(&Inputs) -> Option<f64>,
    last_uncertainty: f64,
) -> Option<Compensation> {
    let level = reading.resolution / 12f64.sqrt();
    let outputs = |errors: &Inputs| {
        let tau = time_constant(errors)?;
        let (start, end) = (reading.start + errors[0] - errors[2], reading.end + errors[1] - errors[2]);
        Some((error(start, end, half_period_s, tau)?, tau))
    };
    let (value, tau) = outputs(&[0.0; 5])?;
    let (mut variance, mut variance_tau, mut covariance) = (0.0, 0.0, 0.0);
    for (input, u) in [level, level, level, level, last_uncertainty].into_iter().enumerate() {
        let at = |sign: f64| {
            let mut errors = [0.0; 5];
            errors[input] = sign * u;
            outputs(&errors)
        };
        let ((e_up, tau_up), (e_down, tau_down)) = (at(1.0)?, at(-1.0)?);
        let (by_error, by_tau) = (0.5 * (e_up - e_down), 0.5 * (tau_up - tau_down));
        variance += by_error * by_error;
        variance_tau += by_tau * by_tau;
        covariance += by_error * by_tau;
    }
    let (u_error, u_tau) = (f64::sqrt(variance), f64::sqrt(variance_tau));
    Some(Compensation {
        error: Estimate { value, standard_uncertainty: u_error },
        time_constant_s: Estimate { value: tau, standard_uncertainty: u_tau },
        correlation: if u_error * u_tau > 0.0 {
            (covariance / (u_error * u_tau)).clamp(-1.0, 1.0)
        } else {
            0.0
        },
        divider: reading.divider,
        resistor_uncertainty: reading.resistor_uncertainty,
    })
}

/// Doubts that follow from the result.
fn remark(reading: &ByEye, c: &Compensation, verdict: Verdict, findings: &mut Vec<Finding>) {
    findings.push(Finding::note(
        "read-by-eye",
        "the result rests on levels read off a screen, of a settled square wave of 50 % duty with edges much faster than a microsecond",
        "assess a capture of the same square wave for a smaller uncertainty",
    ));
    let capacitance_f = c.time_constant_s.value / reading.divider.parallel_resistance_ohm();
    let (expected, spread) = EXPECTED_CAPACITANCE_F;
    if (capacitance_f / expected).ln().abs() > 3.0 * spread {
        findings.push(Finding::warning(
            "time-constant-implausible",
            format!(
                "a time constant of {} means {} of cable and input together, which is unusual",
                format_engineering(c.time_constant_s.value, Unit::Second, 2),
                format_engineering(capacitance_f, Unit::Farad, 2)
            ),
            "check the time per division and the divider's resistors",
        ));
    }
    if verdict == Verdict::Undetermined {
        let margin = ONE_SIDED_95 * c.error.standard_uncertainty;
        findings.push(Finding::warning(
            "reading-too-coarse",
            format!(
                "the eye leaves e uncertain by ±{}, too much to judge {} against a tolerance of {}",
                format_engineering(margin, Unit::Ratio, 2),
                format_engineering(c.error.value, Unit::Ratio, 2),
                format_engineering(reading.tolerance, Unit::Ratio, 2)
            ),
            "make the step fill the screen, read finer, or assess a capture",
        ));
    }
}

fn hertz(value: f64) -> String {
    format_engineering(value, Unit::Hertz, 3)
}

#[cfg(test)]
mod tests;
