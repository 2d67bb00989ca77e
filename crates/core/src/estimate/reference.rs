//! Compensation against a reference column: what the probe shows, compared with what the source really did.
//!
//! ```text
//! v(t) = a + G·[r(t) + e·g(t; τp)] + d·r'(t) + c·exp(−t/τp)
//! ```
//! with r the reference and g its response through a high-pass of the time constant τp; d takes up a small delay between
//! the columns and c the unknown state at the start. Whatever the source does (droop, slow edges, hum) is in r and drops
//! out. The record is condensed to blocks short against τp; the state equation is solved block by block, and
//! the reference's own noise is taken out of the normal equations (corrected least squares for errors in variables).

mod blocks;
mod spectrum;

#[cfg(test)]
mod tests;

use super::square::{self, EXPECTED_CAPACITANCE_F, Settings};
use crate::assessment::{Assessment, Compensation, Estimate, Trace, Verdict};
use crate::finding::{Finding, Severity};
use crate::numeric::linear::Triangle;
use crate::quantity::{Unit, format_engineering};
use crate::samples::Record;
use blocks::{Blocks, condense};

/// Blocks per expected time constant.
const BLOCKS_PER_TAU: f64 = 60.0;
/// Rms departure, as a share of the swing, that is remarked on and refused.
const MISFIT: (f64, f64) = (0.01, 0.05);

/// Assesses the compensation from the probe's column and a reference column sampled at the same instants.
///
/// Always answers, as [`square::assess`] does. Both columns are in volts at the tip (the reference directly connected,
/// or through a probe that is known to be right); a constant ratio between them does not matter.
pub fn assess_with_reference(record: Record<'_>, reference: Record<'_>, settings: &Settings) -> Assessment {
    let plain = square::assess(record, settings);
    let source = square::assess(reference, settings);
    let mut assessment = Assessment {
        verdict: Verdict::Undetermined,
        tolerance: settings.tolerance,
        compensation: None,
        square_wave: plain.square_wave,
        scatter: None,
        measured_response: Vec::new(),
        findings: Vec::new(),
        trace: plain.trace,
    };
    // Cut-off extremes are not in the model of either column.
    for (column, seen) in [("probe", &plain.findings), ("reference", &source.findings)] {
        if let Some(cut) = seen.iter().find(|f| f.code == "clipped") {
            assessment
                .findings
                .push(Finding { message: format!("{column} column: {}", cut.message), ..cut.clone() });
        }
    }
    let frequency = square::square_wave_frequency(&reference).map_err(|reason| Finding {
        message: format!("The reference column: {}", reason.message),
        remedy: format!("{} For sines use --sine with captures at two or more frequencies.", reason.remedy),
        ..reason
    });
    match frequency.and_then(|f| Ok((f, compare(&record, &reference, settings)?))) {
        Ok((frequency, outcome)) if assessment.findings.is_empty() => {
            assessment.measured_response = spectrum::at_harmonics(
                &record,
                &reference,
                frequency,
                outcome.noise,
                outcome.reference_noise,
            );
            assessment.trace = outcome.trace.clone();
            remarks(&outcome, settings, &mut assessment.findings);
            let withheld = assessment.findings.iter().any(|f| f.severity == Severity::Fault);
            assessment.verdict = square::verdict(
                &outcome.compensation,
                settings.tolerance,
                withheld,
                &mut assessment.findings,
            );
            assessment.compensation = (!withheld).then_some(outcome.compensation);
        }
        Ok(_) => {}
        Err(reason) => assessment.findings.push(reason),
    }
    assessment
}

/// What comparing the columns gives.
struct Outcome {
    compensation: Compensation,
    /// Gain of the probe's column against the reference's at low frequency.
    gain: f64,
    /// Delay of the probe's column, s.
    delay_s: f64,
    /// Rms departure of blocks from the model beyond their noise, as a share of the swing.
    misfit: f64,
    tau_is_assumed: bool,
    noise: f64,
    reference_noise: f64,
    trace: Trace,
}

/// Columns of the regression, after a constant.
const DIRECT: usize = 1;
const TAIL: usize = 2;
const DELAY: usize = 3;
const START: usize = 4;
const COLUMNS: usize = 5;

/// Regressors of one block for a time constant given in blocks.
struct Regressors {
    rows: Vec<[f64; COLUMNS]>,
}

impl Regressors {
    fn new(blocks: &Blocks, tau: f64) -> Self {
        let decay = (-1.0 / tau).exp();
        // State of the low-pass at the boundaries between blocks, the input constant within each; the mean over a
        // block follows from the state equation: mean = input − τ·(end − start).
        let mut state = blocks.reference[0];
        let mut start = 1.0;
        let n = blocks.reference.len();
        let rows = (0..n)
            .map(|k| {
                let input = blocks.reference[k];
                let end = input + (state - input) * decay;
                let high_passed = tau * (end - state);
                state = end;
                let free = start * tau * (1.0 - decay);
                start *= decay;
                let before = blocks.reference[k.saturating_sub(1)];
                let after = blocks.reference[(k + 1).min(n - 1)];
                [1.0, input, high_passed, 0.5 * (after - before), free]
            })
            .collect();
        Self { rows }
    }
}

/// A fit for one time constant.
struct Solved {
    theta: [f64; COLUMNS],
    cost: f64,
}

/// Solves the corrected normal equations; `None` when the columns depend on each other.
fn solve(blocks: &Blocks, regressors: &Regressors) -> Option<Solved> {
    let mut normal = [[0.0; COLUMNS + 1]; COLUMNS];
    let (mut squares, mut count) = (0.0, 0.0);
    for (k, row) in regressors.rows.iter().enumerate() {
        if !blocks.used[k] {
            continue;
        }
        let y = blocks.probe[k];
        for i in 0..COLUMNS {
            for j in 0..COLUMNS {
                normal[i][j] += row[i] * row[j];
            }
            normal[i][COLUMNS] += row[i] * y;
        }
        squares += y * y;
        count += 1.0;
    }
    // The noise of a block of the reference stands in its direct and its high-passed column alike.
    let noise = count * blocks.reference_noise.powi(2);
    for i in [DIRECT, TAIL] {
        for j in [DIRECT, TAIL] {
            normal[i][j] -= noise;
        }
    }
    normal[START][START] += 1e-12 * count;
    let theta = gauss(normal)?;
    let explained: f64 = (0..COLUMNS).map(|i| theta[i] * normal[i][COLUMNS]).sum();
    Some(Solved { theta, cost: (squares - explained).max(0.0) })
}

/// Gaussian elimination with pivoting on scaled equations.
fn gauss(mut m: [[f64; COLUMNS + 1]; COLUMNS]) -> Option<[f64; COLUMNS]> {
    let scale: [f64; COLUMNS] = std::array::from_fn(|i| m[i][i].abs().sqrt());
    if scale.iter().any(|s| !(*s > 0.0)) {
        return None;
    }
    for i in 0..COLUMNS {
        for j in 0..COLUMNS {
            m[i][j] /= scale[i] * scale[j];
        }
        m[i][COLUMNS] /= scale[i];
    }
    for i in 0..COLUMNS {
        let pivot = (i..COLUMNS).max_by(|&a, &b| m[a][i].abs().total_cmp(&m[b][i].abs()))?;
        m.swap(i, pivot);
        if m[i][i].abs() < 1e-11 {
            return None;
        }
        for k in i + 1..COLUMNS {
            let factor = m[k][i] / m[i][i];
            for j in i..=COLUMNS {
                m[k][j] -= factor * m[i][j];
            }
        }
    }
    let mut x = [0.0; COLUMNS];
    for i in (0..COLUMNS).rev() {
        let rest: f64 = (i + 1..COLUMNS).map(|j| m[i][j] * x[j]).sum();
        x[i] = (m[i][COLUMNS] - rest) / m[i][i];
    }
    Some(std::array::from_fn(|i| x[i] / scale[i]))
}

fn compare(record: &Record<'_>, reference: &Record<'_>, settings: &Settings) -> Result<Outcome, Finding> {
    let expected_s = square::expected_time_constant_s(&settings.divider);
    let blocks = condense(record, reference, expected_s / BLOCKS_PER_TAU)?;
    let expected = expected_s / blocks.interval_s;
    let prior = |ln_ratio: f64| (ln_ratio / EXPECTED_CAPACITANCE_F.1).powi(2);
    let at = |ln_ratio: f64| {
        let solved = solve(&blocks, &Regressors::new(&blocks, expected * ln_ratio.exp()))?;
        Some((solved.cost, solved))
    };
    let used = blocks.used.iter().filter(|u| **u).count() as f64;
    // A search over ln τ, then golden sections; the prior is weighed against the scatter of the best fit.
    let grid: Vec<(f64, f64)> =
        (-11..=12).filter_map(|i| at(0.12 * f64::from(i)).map(|(c, _)| (0.12 * f64::from(i), c))).collect();
    let least = grid.iter().map(|g| g.1).fold(f64::INFINITY, f64::min);
    if !least.is_finite() {
        return Err(unrelated(
            "The reference holds nothing that would show the compensation (no change, or one sine only).",
        ));
    }
    let variance = (least / (used - 6.0).max(1.0)).max(1e-14 * blocks.swing * blocks.swing);
    let objective = |x: f64| at(x).map_or(f64::INFINITY, |(c, _)| c / variance + prior(x));
    let best =
        grid.iter().min_by(|a, b| (a.1 / variance + prior(a.0)).total_cmp(&(b.1 / variance + prior(b.0))));
    let centre = best.map_or(0.0, |b| b.0);
    let x = golden(objective, centre - 0.12, centre + 0.12);
    let Some((cost, solved)) = at(x) else {
        return Err(unrelated("The columns do not depend on each other."));
    };
    let tau = expected * x.exp();
    let variance = (cost / (used - 6.0).max(1.0)).max(1e-14 * blocks.swing * blocks.swing);
    let gain = solved.theta[DIRECT];
    let error = solved.theta[TAIL] / gain;
    if !(gain.abs() > 1e-9) || !error.is_finite() {
        return Err(unrelated("The probe's column does not follow the reference column."));
    }

    // Covariance of (columns…, ln τ): derivative of the tail column by ln τ by differences, priors included.
    let step = 1e-3;
    let (up, down) =
        (Regressors::new(&blocks, tau * f64::exp(step)), Regressors::new(&blocks, tau * f64::exp(-step)));
    let here = Regressors::new(&blocks, tau);
    let mut triangle = Triangle::new(COLUMNS + 1);
    // The corrected sum of squares holds the probe's noise only; the estimate scatters with the reference's as well.
    let from_reference = gain * (1.0 + error) * blocks.reference_noise;
    let deviation = (variance + from_reference * from_reference).sqrt();
    let (mut row, mut fit) = ([0.0; COLUMNS + 1], Vec::with_capacity(blocks.probe.len()));
    for k in 0..blocks.probe.len() {
        let value: f64 = (0..COLUMNS).map(|i| solved.theta[i] * here.rows[k][i]).sum();
        fit.push(if blocks.used[k] { value } else { f64::NAN });
        if blocks.used[k] {
            for i in 0..COLUMNS {
                row[i] = here.rows[k][i] / deviation;
            }
            let by_ln_tau = (up.rows[k][TAIL] - down.rows[k][TAIL]) / (2.0 * step);
            row[COLUMNS] = solved.theta[TAIL] * by_ln_tau / deviation;
            triangle.push(0.0, &row);
        }
    }
    row = [0.0; COLUMNS + 1];
    row[COLUMNS] = 1.0 / EXPECTED_CAPACITANCE_F.1;
    triangle.push(0.0, &row);
    row = [0.0; COLUMNS + 1];
    row[START] = 1e-3 / blocks.swing;
    triangle.push(0.0, &row);
    triangle.fold();
    let covariance = triangle
        .inverse_normal()
        .ok_or_else(|| unrelated("The reference holds nothing that would show the compensation."))?;
    let p = COLUMNS + 1;
    let c = |i: usize, j: usize| covariance[i * p + j];
    let (by_tail, by_direct) = (1.0 / gain, -error / gain);
    let mut ee = by_tail * by_tail * c(TAIL, TAIL)
        + by_direct * by_direct * c(DIRECT, DIRECT)
        + 2.0 * by_tail * by_direct * c(TAIL, DIRECT);
    let et = by_tail * c(TAIL, COLUMNS) + by_direct * c(DIRECT, COLUMNS);
    // At the end of the search ln τ is not known any better than beforehand, and e only as well as that lets it be.
    let at_the_end = !(-1.25..=1.4).contains(&x);
    let mut tt = c(COLUMNS, COLUMNS).min(EXPECTED_CAPACITANCE_F.1.powi(2));
    if at_the_end {
        tt = EXPECTED_CAPACITANCE_F.1.powi(2);
        ee += (0.5 * error).powi(2);
    }
    let tau_is_assumed = tt.sqrt() > 0.35;
    // Within a block, and between two samples, an edge has no place: rectangular over the longer of the two, shared
    // by edges that fall on the same place of the grid.
    let hidden = blocks.edge_doubt / 12.0_f64.sqrt() / tau;
    ee += (error * hidden).powi(2) + 1.6e-9;
    let u_e = ee.sqrt();
    let swing = blocks.swing;
    let expected_noise = blocks.probe_noise.powi(2);
    Ok(Outcome {
        compensation: Compensation {
            error: Estimate { value: error, standard_uncertainty: u_e },
            time_constant_s: Estimate {
                value: tau * blocks.interval_s,
                standard_uncertainty: tau * blocks.interval_s * tt.sqrt(),
            },
            correlation: if u_e > 0.0 && tt > 0.0 { (et / (u_e * tt.sqrt())).clamp(-1.0, 1.0) } else { 0.0 },
            divider: settings.divider,
            resistor_uncertainty: settings.resistor_uncertainty,
        },
        gain,
        delay_s: -solved.theta[DELAY] / gain * blocks.interval_s,
        misfit: (variance - expected_noise).max(0.0).sqrt() / (gain.abs() * swing),
        tau_is_assumed,
        noise: blocks.sample_noise,
        reference_noise: blocks.reference_sample_noise,
        trace: blocks.trace(record, &fit),
    })
}

/// Minimum of a function between two bounds by golden sections, to 1e-6.
fn golden(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    let ratio = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut c, mut d) = (b - ratio * (b - a), a + ratio * (b - a));
    let (mut fc, mut fd) = (f(c), f(d));
    while b - a > 1e-6 {
        if fc < fd {
            (b, d, fd) = (d, c, fc);
            c = b - ratio * (b - a);
            fc = f(c);
        } else {
            (a, c, fc) = (c, d, fd);
            d = a + ratio * (b - a);
            fd = f(d);
        }
    }
    0.5 * (a + b)
}

pub(super) fn unrelated(message: &str) -> Finding {
    Finding::fault(
        "columns-unrelated",
        message,
        "Put the reference straight onto the source (or through a probe known to be right), capture both columns in one \
         shot, and check --column and --reference.",
    )
}

fn remarks(outcome: &Outcome, settings: &Settings, findings: &mut Vec<Finding>) {
    let c = &outcome.compensation;
    findings.push(Finding::note(
        "reference-used",
        format!(
            "The source was taken from the reference column: at low frequency the probe shows {:.4} times as much, {} later.",
            outcome.gain,
            format_engineering(outcome.delay_s, Unit::Second, 2)
        ),
        "",
    ));
    if outcome.misfit > MISFIT.1 {
        findings.push(Finding::fault(
            "columns-unrelated",
            format!(
                "The probe's column departs from what the reference and a divider would give by {:.1} % of the swing.",
                100.0 * outcome.misfit
            ),
            "Check that both columns belong to the same source and the same shot.",
        ));
    } else if outcome.misfit > MISFIT.0 {
        findings.push(Finding::warning(
            "shape",
            format!(
                "Between edges the probe's column departs from the expected shape by {:.2} % rms beyond noise; the \
                 uncertainty was widened for it.",
                100.0 * outcome.misfit
            ),
            "Look at the residual (--plot); check ground connections and the reference's own probe.",
        ));
    }
    if (outcome.gain - 1.0).abs() > 0.05 {
        let decades = outcome.gain.abs().log10().round();
        let factor = decades.abs() >= 1.0 && (outcome.gain.abs() / 10f64.powf(decades) - 1.0).abs() < 0.15;
        findings.push(Finding::warning(
            if factor { "attenuation-factor" } else { "amplitude" },
            format!("The probe shows {:.3} times the reference.", outcome.gain),
            "Set both channels' probe factors to what is connected, and look at the 1×/10× switch; this does not change e.",
        ));
    }
    if outcome.tau_is_assumed {
        let expected = square::expected_time_constant_s(&settings.divider);
        findings.push(Finding::note(
            "time-constant-assumed",
            format!(
                "The tail is too small to show its time constant; the usual {} was assumed for it, within a factor of 1.8.",
                format_engineering(expected, Unit::Second, 2)
            ),
            "",
        ));
    }
    if c.error.value > 3.0 || c.error.value < -0.98 {
        findings.push(Finding::fault(
            "error-implausible",
            format!("A compensation error of {:+.0} % is beyond any trimmer.", 100.0 * c.error.value),
            "Check which column is the probe and which the reference.",
        ));
    }
}
