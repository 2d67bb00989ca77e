//! IEEE 181 figures of the step as recorded: transition duration and aberrations.

use super::column::Column;
use super::edges::{Edge, Edges};
use super::{Aberrations, Characteristic, Source, Step, Transition};
use crate::assessment::Estimate;
use crate::finding::Finding;
use crate::pulse::{self, LevelSource, Options};
use crate::quantity::{Unit, format_engineering};

/// Edges whose figures are averaged, at most.
const MOST: usize = 32;
/// Averages of samples that a transition keeps at least; more only costs noise.
const POINTS_PER_TRANSITION: f64 = 32.0;
/// Longest stretch that is looked at, values.
const MOST_VALUES: usize = 100_000;
/// Below this many samples in a transition straight lines between them are too rough.
const COARSE: f64 = 4.0;
/// Points of the step drawn.
const DRAWN: usize = 600;

/// What was found.
pub(super) struct Shapes {
    pub(super) probe_transition_s: Option<Estimate>,
    pub(super) reference_transition_s: Option<Estimate>,
    /// Between the 50 % instants.
    pub(super) delay_s: Option<f64>,
    pub(super) aberrations: Option<Aberrations>,
    /// Noise on the figures, share of the step.
    noise: f64,
}

/// Figures of one edge in one column.
struct One {
    middle: f64,
    duration: f64,
    aberrations: [f64; 3],
}

pub(super) fn of(probe: &Column, reference: Option<&Column>, edges: &Edges, interval_s: f64) -> Shapes {
    let of_probe = column(probe, edges);
    let of_reference = reference.map(|r| column(r, edges));
    let delay = of_reference.as_ref().and_then(|(r, _)| {
        let both: Vec<f64> = of_probe
            .0
            .iter()
            .zip(r)
            .filter_map(|(p, r)| Some(p.as_ref()?.middle - r.as_ref()?.middle))
            .collect();
        (!both.is_empty()).then(|| both.iter().sum::<f64>() / both.len() as f64)
    });
    let noise = of_probe.1;
    let of_all = |which: fn(&One) -> f64, list: &[Option<One>]| -> Vec<f64> {
        list.iter().flatten().map(which).collect()
    };
    let share = |k: usize| {
        let values: Vec<f64> = of_probe.0.iter().flatten().map(|o| o.aberrations[k]).collect();
        let (value, scatter) = averaged(&values)?;
        // The extreme of a noisy stretch lies up to some three σ too far out.
        Some(Estimate { value, standard_uncertainty: scatter.hypot(3f64.sqrt() * noise) })
    };
    let duration = |(list, noise): &(Vec<Option<One>>, f64)| {
        let (value, scatter) = averaged(&of_all(|o| o.duration, list))?;
        // At 10 and 90 % a Gaussian step rises at 0.45 of its height in each transition duration.
        let by_noise = noise * 2f64.sqrt() / 0.45 * value;
        let by_noise = by_noise / (list.len() as f64).sqrt();
        let by_sampling = if value < COARSE { 1.0 / 12f64.sqrt() } else { 0.0 };
        Some(Estimate {
            value: value * interval_s,
            standard_uncertainty: scatter.max(by_noise).hypot(by_sampling) * interval_s,
        })
    };
    Shapes {
        probe_transition_s: duration(&of_probe),
        reference_transition_s: of_reference.as_ref().and_then(duration),
        delay_s: delay.map(|d| d * interval_s),
        aberrations: share(0)
            .zip(share(1))
            .zip(share(2))
            .map(|((overshoot, undershoot), preshoot)| Aberrations { overshoot, undershoot, preshoot }),
        noise,
    }
}

/// Mean and its standard uncertainty from scatter (0 for fewer than three).
fn averaged(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    Some((mean, if n >= 3.0 { (squares / (n - 1.0) / n).sqrt() } else { 0.0 }))
}

/// Figures of each edge in one column, in samples, and the noise they were read in (share of the step).
fn column(column: &Column, edges: &Edges) -> (Vec<Option<One>>, f64) {
    let list = &edges.used[..edges.used.len().min(MOST)];
    // From coarse to fine, until the transition has enough points.
    let room = edges.before.min(edges.after);
    let coarsest = ((room / 24.0).max(1.0).log2() as usize).min(column.highest());
    let fine = |level: usize| {
        let found = one(column, level, edges, &list[0]);
        found.is_some_and(|o| o.duration >= POINTS_PER_TRANSITION * (1u64 << level) as f64)
    };
    let level = (0..=coarsest).rev().find(|&level| fine(level)).unwrap_or(0);
    let all = list.iter().map(|edge| one(column, level, edges, edge)).collect();
    let step = level_of(column, level, edges, &list[0]).map_or(edges.amplitude, |(a, b)| (b - a).abs());
    (all, column.noise(level) / step)
}

/// Means of the settled stretches before and after an edge.
fn level_of(column: &Column, level: usize, edges: &Edges, edge: &Edge) -> Option<(f64, f64)> {
    let values = column.level(level);
    let block = (1u64 << level) as f64;
    let index = |position: f64| ((position + 0.5) / block - 0.5).max(0.0);
    let mean = |from: f64, to: f64| {
        let (from, to) = (index(from).ceil() as usize, (index(to).floor() as usize + 1).min(values.len()));
        (to > from).then(|| values[from..to].iter().sum::<f64>() / (to - from) as f64)
    };
    let before = mean(edge.at - edges.before, edge.at - 0.5 * edges.before)?;
    let after = mean(edge.at + 0.5 * edges.after, edge.at + edges.after)?;
    Some((before, after))
}

fn one(column: &Column, level: usize, edges: &Edges, edge: &Edge) -> Option<One> {
    let values = column.level(level);
    let block = (1u64 << level) as f64;
    let (before, after) = level_of(column, level, edges, edge)?;
    let index = |position: f64| ((position + 0.5) / block - 0.5).max(0.0);
    let middle = index(edge.at) as usize;
    let from = (index(edge.at - edges.before).ceil() as usize).max(middle.saturating_sub(MOST_VALUES));
    let to = (index(edge.at + edges.after).floor() as usize + 1).min(values.len()).min(middle + MOST_VALUES);
    if to < from + 8 {
        return None;
    }
    let time: Vec<f64> = (from..to).map(|k| (k as f64 + 0.5) * block - 0.5 - edge.at).collect();
    let share: Vec<f64> = values[from..to].iter().map(|v| (v - before) / (after - before)).collect();
    let options = Options { levels: LevelSource::Given { low_v: 0.0, high_v: 1.0 }, settling_band: 0.02 };
    let figures = pulse::of_record(&time, &share, &options).ok()?;
    let near = |t: &&pulse::Transition| t.middle_s().map_or(f64::INFINITY, f64::abs);
    let rising = figures.transitions.iter().filter(|t| t.direction == pulse::Direction::Rising);
    let nearest = rising.min_by(|a, b| near(a).total_cmp(&near(b)))?;
    Some(One {
        middle: nearest.middle_s().ok()?,
        duration: nearest.duration_10_90_s.ok()?,
        aberrations: [nearest.overshoot.ok()?, nearest.undershoot.unwrap_or(0.0), nearest.preshoot.ok()?],
    })
}

/// Transition durations with the source taken out, and remarks on it.
pub(super) fn transition(
    shapes: &Shapes,
    source: Source<'_>,
    interval_s: f64,
    findings: &mut Vec<Finding>,
) -> Option<Transition> {
    let recorded_s = shapes.probe_transition_s?;
    let source_s = match source {
        Source::Column(_) => Some(shapes.reference_transition_s?),
        Source::Gaussian { transition_s } => Some(transition_s),
        Source::Ideal => None,
    };
    let seconds = |s: f64| format_engineering(s, Unit::Second, 3);
    if recorded_s.value < COARSE * interval_s {
        findings.push(Finding::warning(
            "transition-undersampled",
            format!(
                "the transition takes {} with samples {} apart: its duration and aberrations are rough",
                seconds(recorded_s.value),
                seconds(interval_s)
            ),
            "sample at four points in a transition or more",
        ));
    }
    let (t, s) = (recorded_s, source_s.unwrap_or(Estimate { value: 0.0, standard_uncertainty: 0.0 }));
    let square = t.value * t.value - s.value * s.value;
    let pairing_s = (square > 0.0).then(|| {
        let value = square.sqrt();
        let spread = (t.value * t.standard_uncertainty).hypot(s.value * s.standard_uncertainty);
        Estimate { value, standard_uncertainty: spread / value }
    });
    // Without a doubt of at most half of itself it says nothing.
    let pairing_s = pairing_s.filter(|p| p.standard_uncertainty < 0.5 * p.value);
    if s.value > 0.8 * t.value {
        findings.push(Finding::warning(
            "source-hides-transition",
            format!(
                "the source takes {} of the {} that are recorded: what is left for the pairing depends on both being right",
                seconds(s.value),
                seconds(t.value)
            ),
            "use a source of a third of the pairing's transition duration or less",
        ));
    }
    Some(Transition { recorded_s, source_s, pairing_s })
}

/// Remarks on aberrations within the noise.
pub(super) fn remarks(out: &mut Characteristic, shapes: &Shapes) {
    let Some(a) = out.aberrations else { return };
    let largest = a.overshoot.value.max(a.preshoot.value).max(a.undershoot.value);
    // Below a ten-thousandth nobody asks.
    if largest > 1e-4 && largest < 5.0 * shapes.noise {
        out.findings.push(Finding::note(
            "aberrations-in-noise",
            format!(
                "the aberrations, {:.2} % at most, are no larger than the peaks of the noise on the levels",
                100.0 * largest
            ),
            "read them as upper limits; a larger step or less noise shows more",
        ));
    }
}

/// The first edge for drawing, thinned.
pub(super) fn drawn(
    probe: &Column,
    reference: Option<&Column>,
    edges: &Edges,
    transition: f64,
    interval_s: f64,
) -> Step {
    let edge = &edges.used[0];
    let (before, after) = ((4.0 * transition).min(edges.before), (16.0 * transition).min(edges.after));
    let level = ((before + after) / DRAWN as f64).max(1.0).log2() as usize;
    let level = level.min(probe.highest());
    let block = (1u64 << level) as f64;
    let index = |position: f64| ((position + 0.5) / block - 0.5).max(0.0);
    let length = probe.level(level).len();
    let from = index(edge.at - before).ceil() as usize;
    let to = (index(edge.at + after).floor() as usize + 1).min(length);
    let of = |column: &Column| -> Vec<f64> {
        let Some((low, high)) = level_of(column, level, edges, edge) else { return Vec::new() };
        column.level(level)[from.min(to)..to].iter().map(|v| (v - low) / (high - low)).collect()
    };
    Step {
        time_s: (from..to).map(|k| ((k as f64 + 0.5) * block - 0.5 - edge.at) * interval_s).collect(),
        probe: of(probe),
        source: reference.map(of).unwrap_or_default(),
    }
}
