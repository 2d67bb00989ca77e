//! From edges to the response.

use super::column::Column;
use super::edges::{self, Edge, Edges, LEAST_SIDE};
use super::shape;
use super::spectrum::{At, PERIODS, Window, difference, level_for, level_variance, variance};
use super::summary::{self, Raw};
use super::{COVERAGE_FACTOR, Characteristic, End, Method, Settings, Source};
use crate::assessment::Estimate;
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};
use crate::samples::Record;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Points of the grid in each decade.
const PER_DECADE: f64 = 40.0;
/// Highest frequency, share of the sampling rate.
const HIGHEST: f64 = 0.4;
/// Shortest window, in transition durations.
const LEAST_WINDOW: f64 = 40.0;
/// Neighbours on either side over which scatter is pooled, and independent ones among all of them.
const POOLED: (usize, f64) = (4, 4.0);
/// 10–90 % of a Gaussian step in standard deviations.
const GAUSSIAN_10_90: f64 = 2.563_103_131_089_201;

/// The response from a record of steps: one edge or many, such as those of a square wave.
///
/// Both columns are in volts; a constant ratio between them does not matter.
pub fn of_edges(record: Record<'_>, source: Source<'_>, settings: &Settings) -> Characteristic {
    let method = match source {
        Source::Column(_) => Method::EdgesAgainstReference,
        _ => Method::EdgesAlone,
    };
    let mut out = Characteristic::empty(method, settings);
    if let Err(reason) = fill(&mut out, record, source, settings) {
        out.findings.push(reason);
    }
    out
}

/// Everything about the edges that the sums need.
struct Scene<'a> {
    probe: Column,
    reference: Option<Column>,
    edges: Edges,
    /// All the room there is.
    room: Window,
    /// Shortest window, samples.
    least: f64,
    settings: &'a Settings,
}

/// Sums of one column at one frequency, one for each edge, turned so that all edges rise.
type Sums = Vec<Complex64>;

fn fill(
    out: &mut Characteristic,
    record: Record<'_>,
    source: Source<'_>,
    settings: &Settings,
) -> Result<(), Finding> {
    let mut scene = scene(record, source, settings)?;
    if scene.probe.missing > 0 || scene.reference.as_ref().is_some_and(|r| r.missing > 0) {
        out.findings.push(Finding::warning(
            "missing-bridged",
            format!(
                "{} samples are missing; straight lines were drawn across the gaps",
                scene.probe.missing + scene.reference.as_ref().map_or(0, |r| r.missing)
            ),
            "capture again without gaps where they fall on an edge",
        ));
    }
    let interval_s = record.interval_s;
    let shapes = shape::of(&scene.probe, scene.reference.as_ref(), &scene.edges, interval_s);
    let transition = shapes.probe_transition_s.map_or(2.0, |t| t.value / interval_s);
    scene.least = LEAST_WINDOW * transition + 8.0 * shapes.delay_s.unwrap_or(0.0).abs() / interval_s;
    out.edges = scene.edges.used.len();
    out.step = shape::drawn(&scene.probe, scene.reference.as_ref(), &scene.edges, transition, interval_s);

    let whole = zero(&scene, &scene.room);
    let amplitude = mean(&whole.0);
    if !(amplitude.norm() > 0.0) {
        return Err(no_step("the probe's column does not step where the reference does"));
    }
    out.noise = Some(scene.probe.noise(0) / amplitude.norm());
    let raw = measure(&scene, &whole, source, interval_s, out)?;
    out.low_frequency_gain = low_frequency_gain(&scene, &whole);
    if out.low_frequency_gain.is_some_and(|g| g.value < 0.0) {
        out.findings.push(Finding::note(
            "column-inverted",
            "probe and reference step in opposite directions; one of them was taken as inverted",
            "switch the inversion of the channel off if this was not meant",
        ));
    }
    let prior_s = shapes.delay_s.unwrap_or(0.0);
    summary::finish(out, raw, prior_s, End::Sampling);
    if !matches!(source, Source::Column(_)) {
        out.delay_s = None;
    }
    out.transition = shape::transition(&shapes, source, interval_s, &mut out.findings);
    out.aberrations = shapes.aberrations;
    shape::remarks(out, &shapes);
    if matches!(source, Source::Ideal) {
        out.findings.push(Finding::warning(
            "source-assumed-ideal",
            "nothing was said of the edge at the tip, so it counts as ideal: what is stated is source and pairing together",
            "state its 10–90 % transition duration with --source-transition, or capture it in a reference column",
        ));
    }
    Ok(())
}

fn no_step(message: &str) -> Finding {
    Finding::fault(
        "no-edges",
        message,
        "capture at least one edge with settled levels on both sides of it, and check --column and --reference",
    )
}

fn scene<'a>(record: Record<'_>, source: Source<'_>, settings: &'a Settings) -> Result<Scene<'a>, Finding> {
    let mut probe = Column::of(&record);
    let mut reference = match source {
        Source::Column(r) => {
            let same = r.samples.len() == record.samples.len()
                && (r.interval_s - record.interval_s).abs() <= 1e-9 * record.interval_s
                && (r.start_s - record.start_s).abs() <= 1e-6 * record.interval_s;
            if !same {
                return Err(Finding::fault(
                    "columns-differ",
                    "probe and reference were not sampled at the same times",
                    "record both channels in one capture",
                ));
            }
            Some(Column::of(&r))
        }
        _ => None,
    };
    let seen = reference.as_ref().unwrap_or(&probe);
    let edges = edges::find(seen.samples())
        .ok_or_else(|| no_step("the record does not go from one settled level to another"))?;
    let room = Window { before: edges.before, after: edges.after };
    if !(room.before >= LEAST_SIDE && room.after >= LEAST_SIDE) {
        return Err(Finding::fault(
            "too-few-points",
            format!(
                "there are only {:.0} samples of level before an edge and {:.0} after it that belong to no other edge; {LEAST_SIDE:.0} are needed",
                room.before.max(0.0),
                room.after.max(0.0)
            ),
            "sample faster, or leave more level on both sides of the edge",
        ));
    }
    let settled: Vec<std::ops::Range<usize>> = edges
        .used
        .iter()
        .flat_map(|e| {
            let at = |x: f64| x.max(0.0) as usize;
            [
                at((e.at - room.before).ceil())..at(e.at - 0.5 * room.before),
                at((e.at + 0.5 * room.after).ceil())..at(e.at + room.after),
            ]
        })
        .collect();
    probe.judge_noise(&settled);
    if let Some(r) = &mut reference {
        r.judge_noise(&settled);
    }
    // An edge must stand out of the noise, or what was found are no edges.
    let noise = reference.as_ref().unwrap_or(&probe).noise(0);
    if edges.amplitude < 6.0 * noise {
        return Err(no_step("the steps of the record do not stand out of its noise"));
    }
    Ok(Scene { probe, reference, edges, room, least: 0.0, settings })
}

impl Scene<'_> {
    fn window(&self, frequency: f64, periods: f64) -> Window {
        Window::for_frequency(frequency, periods, self.least, &self.room)
    }

    /// Sums of both columns under a window.
    fn sums(&self, edges: &[Edge], window: &Window, frequency: f64) -> (Sums, Option<Sums>) {
        let of = |column: &Column| {
            let level = level_for(frequency.max(PERIODS / (window.before + window.after)), window, column);
            edges.iter().map(|e| e.sign * difference(column, level, window, e.at, frequency)).collect()
        };
        (of(&self.probe), self.reference.as_ref().map(of))
    }
}

/// Differences of the levels.
fn zero(scene: &Scene<'_>, window: &Window) -> (Sums, Option<Sums>) {
    scene.sums(&scene.edges.used, window, 0.0)
}

fn mean(values: &[Complex64]) -> Complex64 {
    values.iter().sum::<Complex64>() / values.len() as f64
}

/// Gain at 0 Hz with its standard uncertainty; `None` without a reference.
fn low_frequency_gain(scene: &Scene<'_>, whole: &(Sums, Option<Sums>)) -> Option<Estimate> {
    let reference = scene.reference.as_ref()?;
    let (y, x) = (mean(&whole.0).re, mean(whole.1.as_ref()?).re);
    let count = whole.0.len() as f64;
    let noise = level_variance(&scene.probe, &scene.room, y) + level_variance(reference, &scene.room, x);
    let each = whole.0.iter().zip(whole.1.as_ref()?).map(|(b, a)| b.re / y - a.re / x);
    let scatter = each.map(|d| d * d).sum::<f64>() / (count - 1.0).max(1.0);
    let steps = stepwise(&scene.probe, y) + stepwise(reference, x);
    let relative = (noise.max(scatter) / count + steps).sqrt();
    Some(Estimate { value: y / x, standard_uncertainty: (y / x).abs() * relative })
}

/// Relative variance that a converter's steps leave in the difference of two quiet levels: its error repeats with every edge.
fn stepwise(column: &Column, amplitude: f64) -> f64 {
    let q = column.quantum;
    if column.noise(0) < 0.35 * q { q * q / 6.0 / (amplitude * amplitude) } else { 0.0 }
}

/// What one frequency gives.
struct Line {
    frequency: f64,
    whole_window: bool,
    ratio: Complex64,
    /// From noise, of the mean.
    gain: f64,
    phase: f64,
    /// Scatter over noise.
    excess: (f64, f64),
    /// Added as it is: variance of the logarithm of the gain, and of the phase.
    extra: f64,
}

fn measure(
    scene: &Scene<'_>,
    whole: &(Sums, Option<Sums>),
    source: Source<'_>,
    interval_s: f64,
    out: &mut Characteristic,
) -> Result<Vec<Raw>, Finding> {
    let shifts = if scene.reference.is_none() { alignment(scene, whole) } else { Vec::new() };
    jitter(scene, &shifts, interval_s, out);
    let frequencies = grid(scene, interval_s);
    let count = scene.edges.used.len() as f64;
    let (y0, x0) = (mean(&whole.0).re, whole.1.as_ref().map(|x| mean(x).re));
    let alias =
        (beyond(scene, &scene.probe, y0), x0.and_then(|x| Some(beyond(scene, scene.reference.as_ref()?, x))));
    let settled = settling(scene, whole);
    let mut lines = Vec::with_capacity(frequencies.len());
    let (mut leaked, mut aliased) = (None, None);
    for f in frequencies {
        let window = scene.window(f, PERIODS);
        let (mut ys, xs) = scene.sums(&scene.edges.used, &window, f);
        for (y, shift) in ys.iter_mut().zip(&shifts) {
            *y *= Complex64::cis(TAU * f * shift);
        }
        let y = mean(&ys);
        let x = xs.as_deref().map(mean);
        if !(y.norm() > 0.0) || x.is_some_and(|x| !(x.norm() > 0.0)) {
            break;
        }
        let ratio = (y / y0) / x.zip(x0).map_or(Complex64::new(1.0, 0.0), |(x, x0)| x / x0);
        let of = |column: &Column, value: Complex64, amplitude: f64| {
            let level = level_for(f, &window, column);
            variance(column, &At { frequency: f, level, window, value }, &scene.room, amplitude)
        };
        let mut noise = of(&scene.probe, y, y0);
        if let (Some(r), Some(x), Some(x0)) = (&scene.reference, x, x0) {
            let more = of(r, x, x0);
            noise.gain += more.gain;
            noise.phase += more.phase;
        }
        let excess = excess(&ys, y, whole, xs.as_deref().zip(x), (y0, x0), (noise.gain, noise.phase));
        let whole_window = window == scene.room;
        let mut extra = 0.0;
        if !whole_window {
            extra += settled * settled + stepwise(&scene.probe, y0);
            extra += scene.reference.as_ref().zip(x0).map_or(0.0, |(r, x0)| stepwise(r, x0));
            if let Some(l) = leak(scene, f, &window, (noise.gain + noise.phase) / count) {
                leaked.get_or_insert(f);
                extra += l * l;
            }
        }
        let folded = |beyond: f64, share: f64| f / (1.0 - f) * beyond / share / 3f64.sqrt();
        let by_alias = folded(alias.0, (y / y0).norm())
            .hypot(alias.1.zip(x.zip(x0)).map_or(0.0, |(b, (x, x0))| folded(b, (x / x0).norm())));
        if COVERAGE_FACTOR * by_alias > 0.5 * scene.settings.expanded_limit {
            aliased.get_or_insert((f, by_alias));
        }
        extra += by_alias * by_alias;
        lines.push(Line {
            frequency: f,
            whole_window,
            ratio,
            gain: noise.gain / count,
            phase: noise.phase / count,
            excess,
            extra,
        });
    }
    let raw = widened(&lines, scene, source, interval_s, out);
    let hertz = |f: f64| format_engineering(f / interval_s, Unit::Hertz, 3);
    if let Some((f, share)) = aliased {
        out.findings.push(Finding::warning(
            "aliasing",
            format!(
                "the edges are faster than the sampling shows: from {} on, what lies above half the sampling rate may change the gain by {:.2} % and more",
                hertz(f),
                100.0 * share
            ),
            "sample faster; the uncertainty allows for it",
        ));
    }
    if let Some(f) = leaked {
        out.findings.push(Finding::warning(
            "window-leakage",
            format!(
                "from {} on a window twice as long gives another response: something rings or echoes for more than {:.0} periods",
                hertz(f),
                0.75 * PERIODS
            ),
            "the uncertainty was widened where it does; look for resonances of the ground lead, or echoes on the cable",
        ));
    }
    if settled > 0.0 {
        out.findings.push(Finding::warning(
            "levels-not-settled",
            format!("the levels still move by {:.2} % of the step where they should be settled", 100.0 * settled),
            "leave more time between edges; until then the gain at low frequencies, to which all gains are relative, is that uncertain",
        ));
    }
    if raw.is_empty() {
        return Err(Finding::fault(
            "response-in-noise",
            "at no frequency is the response known within the limit",
            "raise the step or average more of them, and leave room on both sides",
        ));
    }
    Ok(raw)
}

fn grid(scene: &Scene<'_>, interval_s: f64) -> Vec<f64> {
    let lowest = 1.0 / (scene.room.before + scene.room.after) / interval_s;
    let first = (lowest.log10() * PER_DECADE).ceil() as i32;
    let last = ((HIGHEST / interval_s).log10() * PER_DECADE).floor() as i32;
    (first..=last).map(|k| 10f64.powf(f64::from(k) / PER_DECADE) * interval_s).collect()
}

/// How each edge lies against the others, samples, from the slope of its phase up to about the bandwidth.
fn alignment(scene: &Scene<'_>, whole: &(Sums, Option<Sums>)) -> Vec<f64> {
    let edges = &scene.edges.used;
    let top = (0.3 * LEAST_WINDOW / scene.least).min(0.25);
    let mut shifts = vec![0.0; edges.len()];
    if edges.len() < 2 || whole.0.is_empty() {
        return shifts;
    }
    let (mut weight, mut sums) = (0.0, vec![0.0; edges.len()]);
    for k in 1..=8 {
        let f = top * f64::from(k) / 8.0;
        let window = scene.window(f, PERIODS);
        let (ys, _) = scene.sums(edges, &window, f);
        let y = mean(&ys);
        for (sum, each) in sums.iter_mut().zip(&ys) {
            *sum += f * (each / y).arg();
        }
        weight += TAU * f * f;
    }
    for (shift, sum) in shifts.iter_mut().zip(&sums) {
        *shift = -sum / weight;
    }
    shifts
}

/// Remarks on edges that do not keep time, where the average would have been rolled off by it.
fn jitter(scene: &Scene<'_>, shifts: &[f64], interval_s: f64, out: &mut Characteristic) {
    let edges = &scene.edges.used;
    if shifts.len() < 4 {
        return;
    }
    // Against an even pace of the edges of one direction.
    let rising: Vec<(f64, f64)> = edges
        .iter()
        .zip(shifts)
        .enumerate()
        .filter(|(_, (e, _))| e.sign > 0.0)
        .map(|(k, (e, s))| (k as f64, e.at + s))
        .collect();
    if rising.len() < 4 {
        return;
    }
    let n = rising.len() as f64;
    let (mx, my) = rising.iter().fold((0.0, 0.0), |m, r| (m.0 + r.0 / n, m.1 + r.1 / n));
    let (xx, xy) =
        rising.iter().fold((0.0, 0.0), |s, r| (s.0 + (r.0 - mx).powi(2), s.1 + (r.0 - mx) * (r.1 - my)));
    let slope = xy / xx;
    let rms =
        (rising.iter().map(|r| (r.1 - my - slope * (r.0 - mx)).powi(2)).sum::<f64>() / (n - 2.0)).sqrt();
    let top = 0.35 * LEAST_WINDOW / scene.least;
    let loss = 1.0 - (-0.5 * (TAU * top * rms).powi(2)).exp();
    if loss > 0.2 * scene.settings.expanded_limit {
        out.findings.push(Finding::note(
            "jitter-removed",
            format!(
                "the edges leave an even pace by {} rms; each was lined up by its own phase, else averaging them would have cost {:.1} % of the gain at {}",
                format_engineering(rms * interval_s, Unit::Second, 2),
                100.0 * loss,
                format_engineering(top / interval_s, Unit::Hertz, 2)
            ),
            "a capture that the oscilloscope itself has averaged hides this loss; take the record of a single shot",
        ));
    }
}

/// Largest share of the step that is seen between 0.4 and 0.5 of the sampling rate, where that stands out of the noise: what lies above half the
/// sampling rate is taken to be no larger.
fn beyond(scene: &Scene<'_>, column: &Column, amplitude: f64) -> f64 {
    let (mut power, mut noise) = (0.0, 0.0);
    const PLACES: [f64; 5] = [0.41, 0.43, 0.45, 0.47, 0.49];
    for f in PLACES {
        let window = scene.window(f, PERIODS);
        let sums: Sums =
            scene.edges.used.iter().map(|e| e.sign * difference(column, 0, &window, e.at, f)).collect();
        let value = mean(&sums);
        if value.norm() > 0.0 {
            let v = variance(column, &At { frequency: f, level: 0, window, value }, &scene.room, amplitude);
            let size = (value / amplitude).norm_sqr();
            power += size / PLACES.len() as f64;
            noise += size * (v.gain + v.phase) / sums.len() as f64 / PLACES.len() as f64;
        }
    }
    if power > 4.0 * noise { (power - noise).sqrt() } else { 0.0 }
}

/// By how much the gain at 0 Hz changes, relatively, where the levels are taken nearer to the edge; 0 where that is within noise or does not
/// matter.
fn settling(scene: &Scene<'_>, whole: &(Sums, Option<Sums>)) -> f64 {
    let nearer = Window { before: 0.6 * scene.room.before, after: 0.6 * scene.room.after };
    let (near_y, near_x) = zero(scene, &nearer);
    let of = |near: &Sums, far: &Sums| mean(near).re / mean(far).re;
    let mut change = of(&near_y, &whole.0);
    let mut noise = level_variance(&scene.probe, &nearer, mean(&near_y).re);
    if let (Some(near), Some(far), Some(r)) = (&near_x, &whole.1, &scene.reference) {
        change /= of(near, far);
        noise += level_variance(r, &nearer, mean(near).re);
    }
    let change = (change - 1.0).abs();
    let limit = scene.settings.expanded_limit / 8.0;
    if change > (4.0 * (noise / near_y.len() as f64).sqrt()).max(limit) { change } else { 0.0 }
}

/// Share by which a window twice as long changes the ratio, where that is beyond noise and matters.
fn leak(scene: &Scene<'_>, f: f64, window: &Window, noise: f64) -> Option<f64> {
    let longer = scene.window(f, 2.0 * PERIODS);
    let edges = &scene.edges.used[..scene.edges.used.len().min(8)];
    if longer.after < 1.5 * window.after {
        return None;
    }
    let ratio = |w: &Window| {
        let (y, x) = scene.sums(edges, w, f);
        mean(&y) / x.as_deref().map_or(Complex64::new(1.0, 0.0), mean)
    };
    let change = (ratio(&longer) / ratio(window) - 1.0).norm();
    let share = scene.edges.used.len() as f64 / edges.len() as f64;
    let limit = (5.0 * (noise * share).sqrt()).max(scene.settings.expanded_limit / 8.0);
    (change > limit && change.is_finite()).then_some(change)
}

/// Scatter of the edges against what noise lets expect, as ratios of variances, for gain and phase.
fn excess(
    ys: &[Complex64],
    y: Complex64,
    whole: &(Sums, Option<Sums>),
    reference: Option<(&[Complex64], Complex64)>,
    (y0, x0): (f64, Option<f64>),
    noise: (f64, f64),
) -> (f64, f64) {
    if ys.len() < 2 {
        return (1.0, 1.0);
    }
    let (mut gain, mut phase) = (0.0, 0.0);
    for (m, each) in ys.iter().enumerate() {
        let mut departs = each / y - whole.0[m] / y0;
        if let (Some((xs, x)), Some(x0), Some(zeros)) = (reference, x0, &whole.1) {
            departs -= xs[m] / x - zeros[m] / x0;
        }
        gain += departs.re * departs.re;
        phase += departs.im * departs.im;
    }
    let freedom = (ys.len() - 1) as f64;
    (gain / freedom / noise.0.max(1e-30), phase / freedom / noise.1.max(1e-30))
}

/// Noise, widened where neighbouring frequencies scatter more than it, and the source taken out.
fn widened(
    lines: &[Line],
    scene: &Scene<'_>,
    source: Source<'_>,
    interval_s: f64,
    out: &mut Characteristic,
) -> Vec<Raw> {
    let freedom = POOLED.1 * (scene.edges.used.len() as f64 - 1.0);
    let threshold = 1.0 + 3.1 * (2.0 / freedom.max(1.0)).sqrt();
    let pooled = |i: usize, of: fn(&Line) -> f64| {
        let near = &lines[i.saturating_sub(POOLED.0)..(i + POOLED.0 + 1).min(lines.len())];
        let mean = near.iter().map(of).sum::<f64>() / near.len() as f64;
        if mean > threshold { mean } else { 1.0 }
    };
    let mut worst = 1f64;
    let mut raw = Vec::with_capacity(lines.len());
    for (i, line) in lines.iter().enumerate() {
        let (by_gain, by_phase) = (pooled(i, |l| l.excess.0), pooled(i, |l| l.excess.1));
        let frequency_hz = line.frequency / interval_s;
        let mut ln_gain = line.ratio.norm().ln();
        let mut variance = line.gain * by_gain + line.extra;
        if let Source::Gaussian { transition_s } = source {
            let omega = TAU * frequency_hz;
            let sigma = transition_s.value / GAUSSIAN_10_90;
            ln_gain += 0.5 * (omega * sigma).powi(2);
            variance += (omega * omega * sigma * transition_s.standard_uncertainty / GAUSSIAN_10_90).powi(2);
        }
        let point = Raw {
            frequency_hz,
            ln_gain: Estimate { value: ln_gain, standard_uncertainty: variance.sqrt() },
            phase_rad: Estimate {
                value: line.ratio.arg(),
                standard_uncertainty: (line.phase * by_phase + line.extra).sqrt(),
            },
        };
        if !(COVERAGE_FACTOR * point.ln_gain.standard_uncertainty <= scene.settings.expanded_limit) {
            out.end = End::Uncertainty;
            break;
        }
        if !line.whole_window {
            worst = worst.max(by_gain);
        }
        raw.push(point);
    }
    if raw.len() == lines.len() {
        out.end = End::Sampling;
    }
    if worst > 2.0 {
        out.findings.push(Finding::warning(
            "edges-scatter",
            format!(
                "the edges differ among each other up to {:.1} times as much as the noise of the levels explains; the uncertainty was widened by that",
                worst.sqrt()
            ),
            "look for hum, a source that changes, or rising and falling edges of different shape",
        ));
    }
    raw
}
