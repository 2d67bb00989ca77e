//! e and τp from the ratio of probe and reference at two or more frequencies.
//!
//! The ratio at ω is G·exp(−jωd)·(1 + jω(1+e)τp)/(1 + jωτp) with a common real gain G and a common delay d, both
//! unknown. Amplitudes tell e and G apart only when some frequencies lie below the pole and some above it; the phases
//! add what they can.
//! ln τp carries the weak expectation [`EXPECTED_CAPACITANCE_F`], which matters only when e is too small to show τp.

use super::fit::{SineFit, fit_record, points_of, three_parameter, wrap};
use crate::assessment::{Assessment, Compensation, Estimate, MeasuredPoint, Trace, Verdict};
use crate::divider::Divider;
use crate::estimate::square::{EXPECTED_CAPACITANCE_F, expected_time_constant_s};
use crate::finding::{Finding, Severity};
use crate::numeric::least_squares::{Options, Problem, solve};
use crate::numeric::stats::chi_squared_upper;
use crate::quantity::{Unit, format_engineering};
use crate::samples::Record;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// One sine capture with both columns.
#[derive(Clone, Copy, Debug)]
pub struct SinePair<'a> {
    /// What the probe shows.
    pub probe: Record<'a>,
    /// What is there, sampled at the same times.
    pub reference: Record<'a>,
}

/// What has to be known beside the captures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// The probe's and the input's resistors.
    pub divider: Divider,
    /// Relative standard uncertainty of each of them.
    pub resistor_uncertainty: f64,
    /// The |e| that is still accepted.
    pub tolerance: f64,
}

/// Ratio of probe and reference at one frequency.
#[derive(Clone, Copy, Debug)]
struct Ratio {
    omega: f64,
    ln_gain: Estimate,
    phase_rad: Estimate,
}

/// Assesses the compensation from sine captures at two or more frequencies, in any order.
///
/// Always answers: when the captures cannot carry a result, the verdict is undetermined and a finding of severity fault
/// says why and what to do.
pub fn assess(pairs: &[SinePair<'_>], settings: &Settings) -> Assessment {
    let mut findings = Vec::new();
    let mut ratios: Vec<Ratio> =
        pairs.iter().enumerate().filter_map(|(i, p)| ratio(i, p, &mut findings)).collect();
    ratios.sort_by(|a, b| a.omega.total_cmp(&b.omega));
    upright(&mut ratios, &mut findings);
    let faulty = findings.iter().any(|f| f.severity == Severity::Fault);
    let compensation = if faulty { None } else { estimate(&ratios, settings, &mut findings) };
    let verdict = compensation.map_or(Verdict::Undetermined, |c| c.verdict(settings.tolerance));
    if verdict == Verdict::Undetermined
        && let Some(c) = compensation
    {
        findings.push(Finding::warning(
            "error-near-tolerance",
            format!(
                "the compensation error {} with a standard uncertainty of {} is neither inside nor outside {} with 95 % confidence",
                format_engineering(c.error.value, Unit::Ratio, 2),
                format_engineering(c.error.standard_uncertainty, Unit::Ratio, 2),
                format_engineering(settings.tolerance, Unit::Ratio, 2),
            ),
            "record more periods at each frequency, or add frequencies well below and well above the pole",
        ));
    }
    Assessment {
        verdict,
        tolerance: settings.tolerance,
        compensation,
        square_wave: None,
        scatter: None,
        measured_response: measured(&ratios),
        findings,
        trace: Trace::default(),
    }
}

/// Fits both columns of one capture.
fn ratio(index: usize, pair: &SinePair<'_>, findings: &mut Vec<Finding>) -> Option<Ratio> {
    let (probe, reference) = (&pair.probe, &pair.reference);
    let name = format!("capture {}", index + 1);
    let same_grid = probe.samples.len() == reference.samples.len()
        && (probe.interval_s - reference.interval_s).abs() <= 1e-9 * reference.interval_s
        && (probe.start_s - reference.start_s).abs() <= 1e-6 * reference.interval_s;
    if !same_grid {
        findings.push(Finding::fault(
            "columns-differ",
            format!("{name}: probe and reference were not sampled at the same times"),
            "record both channels in one capture",
        ));
        return None;
    }
    let both = fit_record(reference).and_then(|r| {
        let points = points_of(probe, 0..probe.samples.len());
        three_parameter(points, r.angular_frequency, r.reference_s).map(|p| (p, r))
    });
    let (p, r) = match both {
        Ok(both) => both,
        Err(error) => {
            findings.push(Finding::fault(
                "no-sine",
                format!("{name}: {error}"),
                "record at least two periods of one sine on both channels",
            ));
            return None;
        }
    };
    for (column, fit) in [("probe", &p), ("reference", &r)] {
        let share = (2.0_f64).sqrt() * fit.residual_rms() / fit.amplitude().value;
        // A flat column leaves an amplitude and residuals of rounding only.
        let flat = fit.amplitude().value <= 1e-7 * fit.offset.abs();
        if flat || share.is_nan() || share > 0.5 {
            findings.push(Finding::fault(
                "no-sine",
                format!("{name}: no sine stands out of the {column} column"),
                "raise the source, or lower the volts per division, and record again",
            ));
            return None;
        }
        if share > 0.05 {
            findings.push(Finding::warning(
                "sine-distorted",
                format!(
                    "{name}: the {column} column differs from a sine by {} of its amplitude (noise, clipping or distortion)",
                    format_engineering(share, Unit::Ratio, 2)
                ),
                "check that neither channel is clipped and that the source gives a clean sine",
            ));
        }
    }
    let (of_probe, of_reference) = (doubt(&p, probe), doubt(&r, reference));
    Some(Ratio {
        omega: r.angular_frequency,
        ln_gain: Estimate {
            value: (p.amplitude().value / r.amplitude().value).ln(),
            standard_uncertainty: of_probe.0.hypot(of_reference.0),
        },
        phase_rad: Estimate {
            value: wrap(p.phase_at(r.reference_s).value - r.phase_at(r.reference_s).value),
            standard_uncertainty: of_probe.1.hypot(of_reference.1),
        },
    })
}

/// Relative uncertainty of the amplitude and uncertainty of the phase (rad) of one column.
///
/// The fit takes the residuals as white. The error of a converter's steps is not, when there is too little noise to
/// smear it: it repeats from half-wave to half-wave, and part of it has the frequency of the sine. For steps q and an amplitude
/// A ≫ q that part is (2q/π)·Σ (−1)^m/m·J1(2πmA/q)·exp(−2π²m²σ²/q²), in phase with the sine; taking J1 at its envelope
/// and keeping m = 1 gives an rms of q·√(2q/A)/π²·exp(−2π²σ²/q²) (Fourier series of a staircase; derived here).
fn doubt(fit: &SineFit, record: &Record<'_>) -> (f64, f64) {
    let amplitude = fit.amplitude();
    let (mut gain, mut phase) = (
        amplitude.standard_uncertainty / amplitude.value,
        fit.phase_at(fit.reference_s).standard_uncertainty,
    );
    if let Some(step) = converter_step(record) {
        let noise = (fit.residual_rms().powi(2) - step * step / 12.0).max(0.0).sqrt() / step;
        if noise < 0.3 {
            let duration_s = record.interval_s * record.samples.len() as f64;
            // Each half-wave repeats the one before, mirrored.
            let repeats = (2.0 * fit.angular_frequency / TAU * duration_s).max(1.0).sqrt();
            gain *= repeats;
            phase *= repeats;
        }
        let share = step / amplitude.value;
        gain = gain.hypot(share * (2.0 * share).sqrt() / (PI * PI) * (-2.0 * PI * PI * noise * noise).exp());
    }
    // A record without noise would otherwise weigh infinitely much.
    (gain.max(1e-9), phase.max(1e-9))
}

/// Step of the converter, from the smallest difference between the values of up to 4096 samples; `None` when the values
/// do not repeat as those of a converter do.
fn converter_step(record: &Record<'_>) -> Option<f64> {
    let count = record.samples.len().min(4096);
    let mut values: Vec<f64> = (0..count).map(|k| record.samples.at(k)).filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let span = values.last()? - values.first()?;
    let steps: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 1e-9 * span).collect();
    let smallest = steps.iter().copied().fold(f64::INFINITY, f64::min);
    (2 * steps.len() < values.len() && smallest.is_finite()).then_some(smallest)
}

/// Turns the ratios round when one of the columns is inverted.
fn upright(ratios: &mut [Ratio], findings: &mut Vec<Finding>) {
    let Some(lowest) = ratios.first() else { return };
    if lowest.phase_rad.value.abs() <= FRAC_PI_2 {
        return;
    }
    for ratio in ratios.iter_mut() {
        ratio.phase_rad.value = wrap(ratio.phase_rad.value + PI);
    }
    findings.push(Finding::note(
        "column-inverted",
        "probe and reference are in opposite phase at the lowest frequency; one of them was taken as inverted",
        "switch the inversion of the channel off if this was not meant",
    ));
}

/// Parameters: ln G, d in units of `delay_unit`, e, ln τp.
struct Model<'a> {
    ratios: &'a [Ratio],
    delay_unit: f64,
    expected_ln_tau: f64,
}

impl Problem for Model<'_> {
    fn parameters(&self) -> usize {
        4
    }

    fn visit(&self, theta: &[f64], mut emit: impl FnMut(f64, &[f64])) {
        let (ln_gain, delay, error, tau) = (theta[0], theta[1] * self.delay_unit, theta[2], theta[3].exp());
        if error <= -1.0 {
            emit(f64::NAN, &[0.0; 4]);
            return;
        }
        for ratio in self.ratios {
            let pole = ratio.omega * tau;
            let zero = pole * (1.0 + error);
            let (pole_power, zero_power) = (1.0 + pole * pole, 1.0 + zero * zero);
            let u = ratio.ln_gain.standard_uncertainty;
            let modelled = ln_gain + 0.5 * (zero_power / pole_power).ln();
            let by_error = zero * pole / zero_power;
            let by_tau = zero * zero / zero_power - pole * pole / pole_power;
            emit((modelled - ratio.ln_gain.value) / u, &[1.0 / u, 0.0, by_error / u, by_tau / u]);
            let u = ratio.phase_rad.standard_uncertainty;
            let modelled = zero.atan() - pole.atan() - ratio.omega * delay;
            let by_delay = -ratio.omega * self.delay_unit;
            let by_tau = zero / zero_power - pole / pole_power;
            emit(
                wrap(modelled - ratio.phase_rad.value) / u,
                &[0.0, by_delay / u, pole / zero_power / u, by_tau / u],
            );
        }
        let spread = EXPECTED_CAPACITANCE_F.1;
        emit((theta[3] - self.expected_ln_tau) / spread, &[0.0, 0.0, 0.0, 1.0 / spread]);
    }
}

fn estimate(ratios: &[Ratio], settings: &Settings, findings: &mut Vec<Finding>) -> Option<Compensation> {
    let (first, last) = match ratios {
        [first, .., last] if last.omega > 1.001 * first.omega => (first, last),
        _ => {
            findings.push(Finding::fault(
                "one-frequency",
                format!(
                    "{} capture(s) at one frequency cannot show how the gain changes with frequency",
                    ratios.len()
                ),
                "add a capture well below 1 kHz and one well above 10 kHz",
            ));
            return None;
        }
    };
    let expected_tau = expected_time_constant_s(&settings.divider);
    let model = Model { ratios, delay_unit: 1.0 / last.omega, expected_ln_tau: expected_tau.ln() };
    let start = [
        first.ln_gain.value,
        -last.phase_rad.value,
        (last.ln_gain.value - first.ln_gain.value).exp() - 1.0,
        expected_tau.ln(),
    ];
    let solution = solve(&model, &start, &Options::default()).ok().filter(|s| s.converged());
    let Some((solution, covariance)) = solution.and_then(|s| s.covariance.clone().map(|c| (s, c))) else {
        findings.push(Finding::fault(
            "response-not-fitted",
            "the response of a compensated divider could not be fitted to the measured ratios",
            "check that probe and reference look at the same node, and add frequencies",
        ));
        return None;
    };
    let tau = solution.theta[3].exp();
    if !straddles(first.omega, last.omega, tau, ratios.len(), findings) {
        return None;
    }
    // The four unknowns, less what the expectation of τp supplies.
    let from_expectation = covariance[15] / EXPECTED_CAPACITANCE_F.1.powi(2);
    let freedom = 2.0 * ratios.len() as f64 - (4.0 - from_expectation.min(1.0));
    let mut widening = 1.0;
    if freedom > 0.5 && chi_squared_upper(solution.cost, freedom) < 1e-3 {
        widening = (solution.cost / freedom).sqrt().max(1.0);
        findings.push(Finding::warning(
            "response-misfit",
            format!(
                "the ratios scatter about the response of a compensated divider {widening:.1} times as much as their noise; \
                 the uncertainties were widened by that"
            ),
            "look for loading of the node, a bandwidth limit or a source that changed between the captures",
        ));
    }
    if from_expectation > 0.25 {
        findings.push(Finding::note(
            "time-constant-assumed",
            format!(
                "the error is too small to show the time constant; it rests largely on the usual {} of cable and input",
                format_engineering(EXPECTED_CAPACITANCE_F.0, Unit::Farad, 3)
            ),
            "",
        ));
    }
    let (u_error, u_ln_tau) = (covariance[10].sqrt(), covariance[15].sqrt());
    Some(Compensation {
        error: Estimate { value: solution.theta[2], standard_uncertainty: widening * u_error },
        time_constant_s: Estimate { value: tau, standard_uncertainty: widening * tau * u_ln_tau },
        correlation: (covariance[11] / (u_error * u_ln_tau)).clamp(-1.0, 1.0),
        divider: settings.divider,
        resistor_uncertainty: settings.resistor_uncertainty,
    })
}

/// Whether the frequencies lie on both sides of the pole; a finding says where they lie if not.
fn straddles(lowest: f64, highest: f64, tau: f64, count: usize, findings: &mut Vec<Finding>) -> bool {
    let pole = 1.0 / tau;
    let (code, side, remedy) = if lowest >= pole {
        ("frequencies-above-pole", "above", "below, for example at 100 Hz")
    } else if highest <= pole {
        ("frequencies-below-pole", "below", "above, for example at 100 kHz")
    } else {
        return true;
    };
    let hertz = |omega: f64| format_engineering(omega / TAU, Unit::Hertz, 3);
    findings.push(Finding::fault(
        code,
        format!(
            "all {count} frequencies ({} to {}) lie {side} the pole near {}, where the gain hardly changes, whatever the compensation",
            hertz(lowest),
            hertz(highest),
            hertz(pole)
        ),
        format!("add a capture {remedy}"),
    ));
    false
}

/// Gain relative to the lowest frequency, and phase, with no model in it.
fn measured(ratios: &[Ratio]) -> Vec<MeasuredPoint> {
    let Some(lowest) = ratios.first() else { return Vec::new() };
    ratios
        .iter()
        .enumerate()
        .map(|(index, ratio)| {
            let value = (ratio.ln_gain.value - lowest.ln_gain.value).exp();
            let u = if index == 0 {
                0.0
            } else {
                ratio.ln_gain.standard_uncertainty.hypot(lowest.ln_gain.standard_uncertainty)
            };
            MeasuredPoint {
                frequency_hz: ratio.omega / TAU,
                relative_gain: Estimate { value, standard_uncertainty: value * u },
                phase_rad: ratio.phase_rad,
            }
        })
        .collect()
}
