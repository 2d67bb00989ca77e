//! The judgement: what is refused and why, what is remarked on, and the verdict.

use super::edges::{Edge, Timing};
use super::levels::{Crossing, Levels};
use super::model::{LEVEL, LN_TAU, STEP, TAIL, Term};
use super::uncertainty::{self, ErrorAndTau};
use super::{Settings, SquareWave, Work, ringing};
use crate::assessment::{Compensation, Estimate, Verdict};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};
use crate::samples::Record;

/// Flats shorter than this many τp cannot tell the level they tend to from the tail.
pub(crate) const SHORTEST_FLAT: f64 = 1.6;
/// Flats shorter than this many τp leave droop and tail hard to tell apart: remarked on.
pub(crate) const SHORT_FLAT: f64 = 3.0;
/// Sag of a flat, as a share of the step, beyond which nothing is judged.
const LARGEST_SAG: f64 = 0.08;
/// Below this e nothing is judged.
const MOST_NEGATIVE: f64 = -0.75;
/// A lone tail slower than this many times the expected τp is not the divider's.
pub(super) const SLOWEST_EXPECTED: f64 = 4.2;
/// A tail faster than this share of the expected τp is not the divider's.
const FASTEST_EXPECTED: f64 = 0.25;
/// Rms departure from a square wave behind a divider, as a share of the step: remarked on, and refused.
const MISFIT_REMARKED: f64 = 0.006;
const MISFIT_REFUSED: f64 = 0.03;

pub(super) fn no_samples() -> Finding {
    Finding::fault(
        "too-few-points",
        "The record holds fewer than 16 samples that are numbers.",
        "Capture at least one edge with the flat part after it, a few hundred points or more.",
    )
}

pub(super) fn no_fit() -> Finding {
    Finding::fault(
        "no-fit",
        "The levels and the tail after the edges could not be found from this record.",
        "Capture one to five whole periods of a square wave near 1 kHz, without averaging across different set-ups.",
    )
}

pub(super) fn before_edges(levels: &Levels, range: (f64, f64)) -> Result<(), Finding> {
    let flat = range.1 - range.0;
    if !(flat > 0.0) || levels.span() <= 0.0 {
        return Err(Finding::fault(
            "flat-line",
            format!("All samples lie at {}: there is no signal.", volts(range.0)),
            "Check that the probe tip is on the square-wave output, the channel is coupled dc and the right column is \
             chosen (--column).",
        ));
    }
    if let Some(q) = levels.quantum
        && levels.span() < 6.0 * q
    {
        return Err(Finding::fault(
            "too-few-codes",
            format!("The step is only {:.0} steps of the digitiser ({}) high.", levels.span() / q, volts(q)),
            "Set the vertical sensitivity so that the square wave fills most of the screen, and capture again.",
        ));
    }
    Ok(())
}

pub(super) fn crossings(crossings: &[Crossing], points: usize, levels: &Levels) -> Result<(), Finding> {
    if 4.5 * levels.noise > 0.4 * levels.span() {
        return Err(Finding::fault(
            "signal-in-noise",
            format!(
                "The samples jump about by {} rms, against {} between the levels: the square wave, if there is one, is \
                 buried.",
                volts(levels.noise),
                volts(levels.span())
            ),
            "Use a larger square wave, a more sensitive range, a bandwidth limit or averaging on the instrument, and \
             capture again.",
        ));
    }
    if crossings.is_empty() {
        return Err(Finding::fault(
            "no-edges",
            "No edge was found: the record never changes from one level to the other.",
            "Trigger on the square wave and capture at least one edge with 400 µs after it.",
        ));
    }
    if points < 12 * crossings.len() {
        return Err(Finding::fault(
            "too-few-points",
            format!(
                "{} edges in {points} samples leave about {} samples for each flat part; 12 or more are needed.",
                crossings.len(),
                points / crossings.len()
            ),
            "Sample faster, or use a slower square wave (1 kHz suits most probes).",
        ));
    }
    Ok(())
}

pub(super) fn steps(edges: &[Edge], crossings: usize, height: f64, levels: &Levels) -> Result<(), Finding> {
    if edges.len() < crossings {
        return Err(Finding::fault(
            "missing-at-edge",
            "Samples are missing right at an edge.",
            "Capture again without gaps, or cut the record to a stretch that is whole.",
        ));
    }
    let ordered = edges.windows(2).all(|w| w[0].at < w[1].at);
    if height < 0.25 * levels.span() || !ordered {
        return Err(Finding::fault(
            "not-a-square-wave",
            format!(
                "The signal goes from level to level without an abrupt edge: the steepest step is {:.0} % of the \
                 swing. A sine, a triangle or a slow edge cannot show compensation.",
                100.0 * height / levels.span()
            ),
            "Use a square wave with edges faster than 5 µs, such as the instrument's own compensation output.",
        ));
    }
    Ok(())
}

pub(super) fn rhythm(timing: Timing) -> Result<(), Finding> {
    if let Timing::Uneven { departure } = timing {
        return Err(Finding::fault(
            "uneven-edges",
            format!(
                "The edges do not repeat evenly: one is off by {:.0} % of the period. This is not a steady square wave.",
                100.0 * departure
            ),
            "Use a steady square wave, or cut the record to a stretch with one edge.",
        ));
    }
    Ok(())
}

pub(super) fn flat_length(longest_flat: f64, expected_tau: f64) -> Result<(), Finding> {
    if longest_flat < 8.0 {
        return Err(Finding::fault(
            "too-few-points",
            format!("The longest flat part holds only {longest_flat:.0} samples."),
            "Sample faster, or capture fewer periods in the record.",
        ));
    }
    // Whatever τp turns out to be, a quarter of the expected one is beyond saving.
    if longest_flat < 0.25 * expected_tau {
        return Err(too_fast(longest_flat / expected_tau, None));
    }
    Ok(())
}

fn too_fast(flats: f64, frequency_hz: Option<f64>) -> Finding {
    Finding::fault(
        "square-wave-too-fast",
        format!(
            "The flat parts last only {flats:.1} time constants of the probe: the next edge comes before the tail has \
             shown where it leads."
        ),
        match frequency_hz {
            Some(f) => format!("Use a square wave below {}.", format_engineering(f, Unit::Hertz, 2)),
            None => "Use a slower square wave; 1 kHz suits most probes.".to_owned(),
        },
    )
}

pub(super) fn levels(work: &Work) -> Result<(), Finding> {
    let step = step_of(work);
    let total = step + work.fit.theta[TAIL];
    if !(step > 0.0) || !(total > 0.0) {
        return Err(ac_coupled());
    }
    let model = work.model();
    if let Some(i) = model.offset_of(|t| matches!(t, Term::Slow { .. }))
        && work.fit.theta[STEP] < 0.25 * step
        && work.fit.theta[i].exp() < 1.5 * work.longest_flat
    {
        return Err(ac_coupled());
    }
    if step < 4.0 * work.noise.sample {
        return Err(Finding::fault(
            "signal-in-noise",
            format!("The step of {} is buried in noise of {} rms.", volts(step), volts(work.noise.sample)),
            "Use a larger square wave, a more sensitive range or averaging on the instrument.",
        ));
    }
    Ok(())
}

fn ac_coupled() -> Finding {
    Finding::fault(
        "ac-coupled",
        "The flat parts run back towards the middle: behind an ac coupling the settled levels cannot be seen, and droop and \
         overcompensation look the same.",
        "Set the channel to dc coupling and use a source that is not ac-coupled; then capture again.",
    )
}

/// The settled step, V: with a slow tail, as it was before that tail acts.
pub(super) fn step_of(work: &Work) -> f64 {
    let slow = work.model().offset_of(|t| matches!(t, Term::Slow { .. }));
    work.fit.theta[STEP] + slow.map_or(0.0, |i| work.fit.theta[i + 1])
}

/// Remarks, the compensation and the square wave, from a finished fit.
pub(super) fn findings(
    record: &Record<'_>,
    settings: &Settings,
    work: &Work,
    findings: &mut Vec<Finding>,
) -> (Compensation, SquareWave) {
    let dt = record.interval_s;
    let estimate = uncertainty::error_and_tau(work);
    let compensation = Compensation {
        error: estimate.error,
        time_constant_s: Estimate {
            value: estimate.tau.value * dt,
            standard_uncertainty: estimate.tau.standard_uncertainty * dt,
        },
        correlation: estimate.correlation,
        divider: settings.divider,
        resistor_uncertainty: settings.resistor_uncertainty,
    };
    let wave = square_wave(record, work);
    withhold(settings, work, &estimate, dt, findings);
    dead_flats(record, work, findings);
    company(record, work, &wave, findings);
    amplitude(settings, work, findings);
    (compensation, wave)
}

fn square_wave(record: &Record<'_>, work: &Work) -> SquareWave {
    let dt = record.interval_s;
    let theta = &work.fit.theta;
    let p = theta.len();
    let step = step_of(work);
    let level = |side: f64| {
        let c = |i: usize, j: usize| work.fit.covariance[i * p + j] * work.noise.scale;
        let variance = c(LEVEL, LEVEL) + 0.25 * c(STEP, STEP) + side * c(LEVEL, STEP);
        let quantiser = work.noise.quantum.map_or(0.0, |(q, share)| q * q / 12.0 * share * share);
        Estimate {
            value: theta[LEVEL] + side * 0.5 * step,
            standard_uncertainty: (variance + quantiser).max(0.0).sqrt(),
        }
    };
    SquareWave {
        frequency_hz: work.rhythm().map(|r| {
            let value = 1.0 / (r.period * dt);
            Estimate { value, standard_uncertainty: value * r.period_uncertainty / r.period }
        }),
        duty: work.rhythm().map(|r| r.duty),
        low_level: level(-1.0),
        high_level: level(1.0),
        edges: work.edges.len(),
        // 15–85 % of a ramp is 0.7 of it, 10–90 % is 0.8.
        transition_s: (work.times.samples_within >= 1.5)
            .then_some(work.times.samples_within * 0.8 / 0.7 * dt),
        noise_rms: work.noise.sample * work.noise.scale.sqrt(),
    }
}

/// Reasons to withhold the result although there is a fit.
fn withhold(settings: &Settings, work: &Work, estimate: &ErrorAndTau, dt: f64, findings: &mut Vec<Finding>) {
    let step = step_of(work);
    let expected = work.prior_ln_tau.0.exp();
    let tau = estimate.tau.value;
    let assumed = estimate.tau.standard_uncertainty > 0.35 * tau;
    let needed = if assumed && tau < 2.5 * expected { expected } else { tau };
    let slow_at = work.model().offset_of(|t| matches!(t, Term::Slow { .. }));
    let slow = slow_at.is_some();
    if work.longest_flat < SHORTEST_FLAT * needed && !(slow && assumed) {
        let frequency = 1.0 / (2.0 * 3.0 * needed * dt);
        findings.push(too_fast(work.longest_flat / needed, Some(frequency)));
    }
    if work.noise.misfit > MISFIT_REFUSED * step {
        findings.push(Finding::fault(
            "not-a-square-wave",
            format!(
                "The flat parts depart from a square wave behind a divider by {:.1} % rms, which is not noise.",
                100.0 * work.noise.misfit / step
            ),
            "Check the source: it must be a plain square wave with flat levels. Nothing else may be connected to the node.",
        ));
    } else if work.noise.misfit > MISFIT_REMARKED * step {
        findings.push(Finding::warning(
            "shape",
            format!(
                "The flat parts depart from the expected shape by {:.2} % rms beyond noise; the uncertainty was widened \
                 for it.",
                100.0 * work.noise.misfit / step
            ),
            "Look at the residual (--plot); check the source and the ground connection.",
        ));
    }
    let sag_at = work.model().offset_of(|t| matches!(t, Term::Sag { .. }));
    if sag_at.is_some() && work.longest_flat < SHORT_FLAT * tau && !assumed {
        findings.push(Finding::note(
            "short-flats",
            format!(
                "The flat parts last {:.1} time constants: a droop of the source looks much like the tail then; half a per \
                 cent of it was allowed for in the uncertainty.",
                work.longest_flat / tau
            ),
            "A square wave at half the frequency tells the two apart.",
        ));
    }
    if let Some(i) = sag_at
        && (work.fit.theta[i] / step).abs() > LARGEST_SAG
    {
        findings.push(strong_sag(work.fit.theta[i] / step));
    }
    if let Some(i) = slow_at
        && work.lone_tail_possible
        && (work.fit.theta[i + 1] / step).abs() > 0.7 * settings.tolerance
    {
        findings.push(Finding::fault(
            "lone-tail",
            format!(
                "There is one tail of {:+.1} % with a time constant of roughly {}: the record is too short to say whether \
                 that is the probe or a source that does not hold its level.",
                100.0 * work.fit.theta[i + 1] / step,
                format_engineering(work.fit.theta[i].exp() * dt, Unit::Second, 2)
            ),
            "Use a slower square wave so that the tail comes to rest before the next edge, with dc coupling.",
        ));
    }
    let over_flat = slow_at.map_or(0.0, |i| {
        work.fit.theta[i + 1] / step * -(-work.longest_flat / work.fit.theta[i].exp()).exp_m1()
    });
    if over_flat.abs() > LARGEST_SAG {
        findings.push(strong_sag(over_flat));
    }
    if estimate.error.value < MOST_NEGATIVE {
        findings.push(Finding::fault(
            "error-implausible",
            format!(
                "Fast parts would read {:.0} % low: no trimmer is off by so much.",
                -100.0 * estimate.error.value
            ),
            "Check that the channel is dc-coupled, that the tip makes contact and that the right column is read; an open \
             tip capacitor or a broken probe looks like this too.",
        ));
    }
    let capacitance = tau * dt / settings.divider.parallel_resistance_ohm();
    if estimate.error.value > 1.6 || (!slow && !assumed && estimate.error.value > 0.0 && tau > 3.0 * expected)
    {
        findings.push(Finding::fault(
            "droop-or-overcompensation",
            format!(
                "The flat parts sag by {:.1} % with a time constant of {}, which would need {} of cable and input: this \
                 looks more like an ac-coupled or drooping source than like overcompensation, and the record cannot tell \
                 them apart.",
                100.0 * estimate.error.value,
                format_engineering(tau * dt, Unit::Second, 3),
                format_engineering(capacitance, Unit::Farad, 3)
            ),
            "Set the channel to dc coupling, use a source that holds its level (check it with the probe set to 1×, or with \
             a second, direct channel as --reference), and capture again.",
        ));
    } else if tau < FASTEST_EXPECTED * expected && (!assumed || estimate.error.value.abs() > 0.05) {
        findings.push(Finding::fault(
            "fast-tail",
            format!(
                "The only tail after the edges has a time constant of {}; that would be {} of cable and input together. It \
                 belongs to the source or the edge itself, not to the divider, whose own tail cannot be told from it.",
                format_engineering(tau * dt, Unit::Second, 2),
                format_engineering(capacitance, Unit::Farad, 2)
            ),
            "Check --divider; use a source with edges below 1 µs and sample at 1 µs or less.",
        ));
    } else if !assumed && !(30e-12..330e-12).contains(&capacitance) {
        findings.push(Finding::warning(
            "time-constant-unusual",
            format!(
                "The time constant of {} means {} of cable and input together; 60 pF to 250 pF is usual.",
                format_engineering(tau * dt, Unit::Second, 3),
                format_engineering(capacitance, Unit::Farad, 3)
            ),
            "Check --divider: are these the probe's and the input's resistors?",
        ));
    }
    if assumed {
        findings.push(Finding::note(
            "time-constant-assumed",
            format!(
                "The tail is too small to show its time constant; the usual {} (110 pF of cable and input, within a \
                 factor of 1.8) was assumed for it. The capacitances are only as good as that.",
                format_engineering(expected * dt, Unit::Second, 2)
            ),
            "",
        ));
    }
}

fn strong_sag(share: f64) -> Finding {
    Finding::fault(
        "droop-or-overcompensation",
        format!(
            "The flat parts sag by {:.0} % of the step: behind so strong a droop or ac coupling the compensation cannot be \
             told.",
            100.0 * share.abs()
        ),
        "Set the channel to dc coupling and use a source that holds its level; then capture again.",
    )
}

/// Remarks on what else is on the record.
fn company(record: &Record<'_>, work: &Work, wave: &SquareWave, findings: &mut Vec<Finding>) {
    let dt = record.interval_s;
    let theta = &work.fit.theta;
    let step = step_of(work);
    let mut offset = super::model::BASE;
    let mut drift = 0.0;
    for term in &work.terms {
        match *term {
            Term::Hum { nominal } => {
                let shift = theta[offset + 2];
                let peak_to_peak = 2.0 * theta[offset].hypot(theta[offset + 1]);
                findings.push(Finding::warning(
                    "mains-hum",
                    format!(
                        "Hum at {:.1} Hz, {:.1} % of the step peak to peak, lies on the record; it was fitted and taken out.",
                        nominal * (1.0 + shift) / dt,
                        100.0 * peak_to_peak / step
                    ),
                    "Keep the ground lead short and away from mains wiring; clip it to the source's own ground.",
                ));
            }
            Term::Drift { order } => {
                let u = deviation(work, offset);
                if order == 1 && theta[offset].abs() > 3.0 * u {
                    drift = 2.0 * theta[offset];
                } else if theta[offset].abs() > 3.0 * u {
                    drift = f64::max(drift, theta[offset]);
                }
            }
            Term::Slow { .. } => slow_tail(work, theta[offset].exp(), theta[offset + 1], step, dt, findings),
            Term::Sag { .. } if theta[offset].abs() > (3.0 * deviation(work, offset)).max(0.002 * step) => {
                sag(work, theta[offset] / step, dt, findings);
            }
            Term::Sag { .. } => {}
            Term::History { .. } => {}
        }
        offset += term.parameters();
    }
    if drift.abs() > 0.003 * step {
        findings.push(Finding::note(
            "drift",
            format!(
                "The level drifts by {:.1} % of the step over the record; it was fitted and taken out.",
                100.0 * (drift / step).abs()
            ),
            "Mains hum does this when the record holds less than a cycle of it: keep the ground lead short. Otherwise let \
             instrument and source warm up.",
        ));
    }
    if let Some(seen) = ringing::look(&work.aftermath, 0.5 * work.lead, step) {
        let share = 100.0 * seen.peak / step;
        let message = match seen.frequency {
            Some(f) => format!(
                "Ringing at about {} after the edges, up to {share:.0} % of the step; it was left out of the fit.",
                format_engineering(f / dt, Unit::Hertz, 2)
            ),
            None => format!(
                "Right after the edges the record departs by up to {share:.0} % of the step (ringing or a slow edge); \
                 that part was left out of the fit."
            ),
        };
        findings.push(Finding::note(
            "ringing",
            message,
            "Shorten the ground lead: a spring at the tip instead of the clip lead.",
        ));
    }
    if let Some(transition) = wave.transition_s
        && transition > 1e-6
    {
        findings.push(Finding::note(
            "slow-edges",
            format!(
                "The edges take about {}; the tail was timed from their centre.",
                format_engineering(transition, Unit::Second, 2)
            ),
            "A source with faster edges narrows the uncertainty.",
        ));
    }
    if work.rhythm().is_none() {
        findings.push(Finding::note(
            "few-edges",
            format!(
                "Only {} on the record: how the wave stood before it was taken to be settled.",
                if work.edges.len() == 1 { "one edge is" } else { "two edges are" }
            ),
            "Capture two or more periods to narrow the uncertainty.",
        ));
    }
    if let Some((quantum, share)) = work.noise.quantum
        && share > 0.3
        && quantum > 2e-3 * step
    {
        findings.push(Finding::note(
            "coarse-codes",
            format!(
                "One step of the digitiser is {:.2} % of the square wave and the noise is too small to average it out; the \
                 uncertainty allows for it.",
                100.0 * quantum / step
            ),
            "Fill more of the screen with the wave, or use the instrument's high-resolution or averaging mode.",
        ));
    }
    let by_shift = theta[TAIL].abs() / step * work.times.shift_uncertainty / theta[LN_TAU].exp();
    if by_shift > 2e-3 {
        findings.push(Finding::note(
            "edges-between-samples",
            format!(
                "The edges fall between samples {} apart; that alone leaves {:.2} % of doubt.",
                format_engineering(dt, Unit::Second, 2),
                100.0 * by_shift
            ),
            "Sample faster (1 µs or less between samples).",
        ));
    }
}

fn deviation(work: &Work, i: usize) -> f64 {
    (work.fit.covariance[i * work.fit.theta.len() + i] * work.noise.scale).max(0.0).sqrt()
}

fn sag(work: &Work, share: f64, dt: f64, findings: &mut Vec<Finding>) {
    let (way, cause) = if share > 0.0 {
        ("sag", "the source or an ac coupling droops")
    } else {
        ("creep away from the middle", "the source, or an insulating material, is slow to settle")
    };
    findings.push(Finding::warning(
        "droop",
        format!(
            "The flat parts {way} by {:.2} % within {}: {cause}. This was kept apart from the compensation error.",
            100.0 * share.abs(),
            format_engineering(work.longest_flat * dt, Unit::Second, 2)
        ),
        "Use dc coupling and a source that holds its level.",
    ));
}

fn slow_tail(work: &Work, tau: f64, amplitude: f64, step: f64, dt: f64, findings: &mut Vec<Finding>) {
    let share = amplitude / step;
    let over_flat = share * -(-work.longest_flat / tau).exp_m1();
    let hook = share < 0.0 || (share < 0.02 && tau < 5.0 * work.longest_flat);
    if hook {
        findings.push(Finding::warning(
            "dielectric-tail",
            format!(
                "Beside the probe's own tail there is a slower one of {:.2} % with about {}: the creep of an insulating \
                 material (a hook). No trimmer takes it out; it was kept apart from the compensation error.",
                100.0 * share,
                format_engineering(tau * dt, Unit::Second, 2)
            ),
            "Expect readings between 100 Hz and a few kHz to be off by up to this share; another probe may be better.",
        ));
    } else {
        findings.push(Finding::warning(
            "droop",
            format!(
                "The flat parts sag by {:.1} % within {}: the source or an ac coupling droops. This was kept apart from \
                 the compensation error.",
                100.0 * over_flat,
                format_engineering(work.longest_flat * dt, Unit::Second, 2)
            ),
            "Use dc coupling and a source that holds its level.",
        ));
    }
}

/// Both flats dead on the extremes of the record: nothing is known of what lies beyond.
fn dead_flats(record: &Record<'_>, work: &Work, findings: &mut Vec<Finding>) {
    if super::clipping::share_at_extremes(record, work) > 0.97 {
        findings.push(Finding::warning(
            "flats-without-detail",
            format!(
                "Both flat parts lie dead on the record's two extremes, {} and {}, without any noise. If the trace touches \
                 the upper and lower end of the screen it is cut off, and this result is void.",
                volts(work.range.0),
                volts(work.range.1)
            ),
            "Choose a range in which the whole wave fits on the screen with room above and below, and which shows some noise \
             on the flat parts; then capture again.",
        ));
    }
}

/// Whether the amplitude fits the source, when that is known.
fn amplitude(settings: &Settings, work: &Work, findings: &mut Vec<Finding>) {
    let Some(source) = settings.source_amplitude_v else { return };
    let ratio = step_of(work) / source;
    if (ratio - 1.0).abs() <= 0.05 {
        return;
    }
    let decades = ratio.log10().round();
    let message = format!(
        "The settled step is {}, {} of the {} that the source was said to give.",
        volts(step_of(work)),
        if (0.5..2.0).contains(&ratio) {
            format!("{:.1} %", 100.0 * ratio)
        } else if ratio < 1.0 {
            format!("about 1/{:.0}", 1.0 / ratio)
        } else {
            format!("about {ratio:.0} times")
        },
        volts(source)
    );
    if decades.abs() >= 1.0 && (ratio / 10f64.powf(decades) - 1.0).abs() < 0.15 {
        findings.push(Finding::warning(
            "attenuation-factor",
            format!("{message} The channel's probe factor is wrong by {} times, or the probe's 1×/10× switch is in the wrong place.", 10f64.powf(decades.abs())),
            "Set the channel's probe factor to the probe's ratio, and look at the switch on the probe body.",
        ));
    } else {
        findings.push(Finding::warning(
            "amplitude",
            message,
            "Check the source's amplitude, its loading (a 50 Ω output into an open circuit gives twice its setting) and the probe.",
        ));
    }
}

/// The verdict, with a finding when the estimate is too close to the tolerance to say.
pub(crate) fn verdict(
    compensation: &Compensation,
    tolerance: f64,
    withheld: bool,
    findings: &mut Vec<Finding>,
) -> Verdict {
    if withheld {
        return Verdict::Undetermined;
    }
    let verdict = compensation.verdict(tolerance);
    if verdict == Verdict::Undetermined {
        findings.push(Finding::warning(
            "too-close-to-call",
            format!(
                "The error is {:+.2} % ± {:.2} % (95 %): whether it lies inside ±{:.2} % cannot be said with 95 % confidence.",
                100.0 * compensation.error.value,
                196.0 * compensation.error.standard_uncertainty,
                100.0 * tolerance
            ),
            "Capture more periods, or with less noise, or accept a wider tolerance (--tolerance).",
        ));
    }
    verdict
}

pub(super) fn volts(value: f64) -> String {
    format_engineering(value, Unit::Volt, 3)
}
