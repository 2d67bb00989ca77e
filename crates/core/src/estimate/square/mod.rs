//! The main estimator: from a captured square wave to e and τp, or to the reason why the record cannot tell.
//!
//! In order: a scan for extremes; rough levels and crossings; the abrupt step at each crossing; the rhythm of the
//! edges; flats condensed to averages; a fit of the settled response (non-linear least squares, `model`) with as
//! much company (drift, hum, droop, hook) as the record itself shows; edges timed again by area under the fit; as little
//! as possible left out after each edge. Then the uncertainty, and only then the judgement.

mod clipping;
mod condense;
mod edges;
mod fit;
mod judge;
mod levels;
mod model;
mod ringing;
mod scan;
mod timing;
mod trace;
mod uncertainty;

pub(super) use judge::verdict;
pub(crate) use judge::{SHORT_FLAT, SHORTEST_FLAT};
pub use scan::Scan;

use crate::assessment::{Assessment, SquareWave, Trace, Verdict};
use crate::divider::Divider;
use crate::finding::Finding;
use crate::samples::Record;
use condense::Average;
use edges::{Edge, Rhythm, Timing};
use fit::{Fit, Setting};
use levels::Levels;
use model::{Model, Term};
use timing::EdgeTimes;

/// What has to be known beside the capture. Nothing here has a default: the caller knows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// The probe's and the input's resistors.
    pub divider: Divider,
    /// Relative standard uncertainty of each of them.
    pub resistor_uncertainty: f64,
    /// The |e| that is still accepted.
    pub tolerance: f64,
    /// Peak-to-peak amplitude of the source at the tip, V, when it is known.
    pub source_amplitude_v: Option<f64>,
}

/// Capacitance C1 + C2 that a probe on its input is expected to have: its median, F, and the spread of its logarithm.
///
/// Input 10–50 pF and cable 60–200 pF are usual (D. Ford, "The Secret World of Oscilloscope Probes", *Silicon Chip*,
/// October 2009); the spread covers 33 pF to 365 pF at two standard deviations.
pub const EXPECTED_CAPACITANCE_F: (f64, f64) = (110e-12, 0.6);

/// Time constant τp that a divider is expected to have: (R1∥R2) times the median of [`EXPECTED_CAPACITANCE_F`], s.
pub(super) fn expected_time_constant_s(divider: &Divider) -> f64 {
    divider.parallel_resistance_ohm() * EXPECTED_CAPACITANCE_F.0
}

/// Assesses the compensation from one record of a square wave.
///
/// Always answers: when the record cannot carry a result, the verdict is undetermined and a finding of severity fault
/// says why and what to do.
pub fn assess(record: Record<'_>, settings: &Settings) -> Assessment {
    let block = Scan::block_for(record.samples.len());
    assess_scanned(record, &Scan::of(record.samples, block), settings)
}

/// As [`assess`], for a record that was scanned before (for instance in stretches, on several cores).
pub fn assess_scanned(record: Record<'_>, scan: &Scan, settings: &Settings) -> Assessment {
    let mut findings = Vec::new();
    match estimate(&record, scan, settings) {
        Ok(work) => {
            let (compensation, square_wave) = judge::findings(&record, settings, &work, &mut findings);
            let withheld = findings.iter().any(|f| f.severity == crate::finding::Severity::Fault);
            let verdict = judge::verdict(&compensation, settings.tolerance, withheld, &mut findings);
            Assessment {
                verdict,
                tolerance: settings.tolerance,
                compensation: (!withheld).then_some(compensation),
                square_wave: Some(square_wave),
                scatter: (!withheld).then(|| uncertainty::scatter(&work)),
                measured_response: Vec::new(),
                trace: trace::of_fit(&record, scan, &work),
                findings,
            }
        }
        Err(reason) => {
            findings.push(reason);
            Assessment {
                verdict: Verdict::Undetermined,
                tolerance: settings.tolerance,
                compensation: None,
                square_wave: None,
                scatter: None,
                measured_response: Vec::new(),
                trace: trace::of_record(&record, scan),
                findings,
            }
        }
    }
}

/// The finished fit with everything the judgement needs.
struct Work {
    levels: Levels,
    range: (f64, f64),
    edges: Vec<Edge>,
    times: EdgeTimes,
    averages: Vec<Average>,
    terms: Vec<Term>,
    fit: Fit,
    noise: Noise,
    /// Samples left out before and after an edge.
    lead: f64,
    hold_off: f64,
    prior_ln_tau: (f64, f64),
    /// Whether the tail that was taken for slow company could as well be the divider's.
    lone_tail_possible: bool,
    aftermath: timing::Aftermath,
    /// Length of the longest flat after an edge, in samples.
    longest_flat: f64,
    points: usize,
}

/// What the scatter of the record turned out to be.
#[derive(Clone, Copy, Debug)]
struct Noise {
    /// Standard deviation of a sample about the fit, V: what the model was weighted with.
    sample: f64,
    /// Variance of the weighted rows that the covariance is to be multiplied with.
    scale: f64,
    /// Rms departure of the flats from the model beyond noise, V.
    misfit: f64,
    /// Share of the quantiser's error that does not average out, and its step.
    quantum: Option<(f64, f64)>,
}

impl Noise {
    /// The scale moved into the weights, so that priors keep their proportion to the data.
    fn applied(self) -> Self {
        Self { sample: self.sample * self.scale.sqrt(), scale: 1.0, ..self }
    }
}

impl Work {
    fn model(&self) -> Model<'_> {
        Model {
            averages: &self.averages,
            edges: &self.edges,
            rhythm: self.rhythm(),
            terms: self.terms.clone(),
            noise: self.noise.sample,
            hold_off: self.hold_off,
            prior_ln_tau: self.prior_ln_tau,
            points: self.points as f64,
        }
    }

    fn rhythm(&self) -> Option<Rhythm> {
        if let Timing::Even(rhythm) = self.times.timing { Some(rhythm) } else { None }
    }
}

/// The rounds of the fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Round {
    Rough,
    Company,
    Tight,
    Final,
}

/// A record's levels and edges, before anything is fitted.
struct Look {
    levels: Levels,
    range: (f64, f64),
    edges: Vec<Edge>,
    /// Samples that a transition takes at most.
    width: usize,
    timing: Timing,
}

fn first_look(record: &Record<'_>, scan: &Scan) -> Result<Look, Finding> {
    let view = record.samples;
    let range = scan.range().ok_or_else(judge::no_samples)?;
    let levels = levels::look(view).ok_or_else(judge::no_samples)?;
    judge::before_edges(&levels, range)?;
    let hysteresis = (4.5 * levels.noise).max(0.15 * levels.span()).min(0.4 * levels.span());
    let crossings = levels::without_chatter(levels::crossings(view, scan, &levels, hysteresis), view.len());
    judge::crossings(&crossings, view.len(), &levels)?;
    let steps = edges::locate(record, &crossings, &levels);
    let mut edges = steps.edges;
    judge::steps(&edges, crossings.len(), steps.height, &levels)?;
    // An edge at the very start or end may be half a one: the rest tells whether there is a rhythm.
    let margin = steps.width as f64 + 2.0;
    let whole = |e: &Edge| e.at >= margin && e.at <= view.len() as f64 - margin;
    if edges.iter().filter(|e| whole(e)).count() >= 3 {
        edges.retain(whole);
    }
    let timing = edges::fit_rhythm(&mut edges);
    judge::rhythm(timing)?;
    Ok(Look { levels, range, edges, width: steps.width, timing })
}

/// Whether a record shows a square wave at all, and its frequency when the edges tell it, Hz.
///
/// # Errors
/// The finding that says why it shows none.
pub(super) fn square_wave_frequency(record: &Record<'_>) -> Result<Option<f64>, Finding> {
    let scan = Scan::of(record.samples, Scan::block_for(record.samples.len()));
    first_look(record, &scan).map(|look| match look.timing {
        Timing::Even(rhythm) => Some(1.0 / (rhythm.period * record.interval_s)),
        _ => None,
    })
}

fn estimate(record: &Record<'_>, scan: &Scan, settings: &Settings) -> Result<Work, Finding> {
    let view = record.samples;
    let dt = record.interval_s;
    let Look { levels, range, edges, width, timing } = first_look(record, scan)?;
    let prior_ln_tau = ((expected_time_constant_s(&settings.divider) / dt).ln(), EXPECTED_CAPACITANCE_F.1);
    let longest_flat = longest_flat(&edges, view.len());
    judge::flat_length(longest_flat, prior_ln_tau.0.exp())?;
    let lead = width as f64 + 1.0;
    let reach = (4.0 * lead).max((0.06 * longest_flat).min(30e-6 / dt)).min(0.3 * longest_flat);
    let setting = Setting {
        interval_s: dt,
        slowest_ln_tau: prior_ln_tau.0 + f64::ln(judge::SLOWEST_EXPECTED),
        step: levels.span(),
        quantum: levels.quantum,
    };

    let mut work = Work {
        levels,
        range,
        times: EdgeTimes { timing, shift_uncertainty: 0.0, samples_within: 0.0 },
        averages: Vec::new(),
        terms: Vec::new(),
        fit: Fit { theta: Vec::new(), covariance: Vec::new(), cost: 0.0 },
        noise: Noise { sample: 1.0, scale: 1.0, misfit: 0.0, quantum: None },
        lead,
        hold_off: reach,
        prior_ln_tau,
        lone_tail_possible: false,
        aftermath: timing::Aftermath { ranks: Vec::new() },
        longest_flat,
        points: view.len(),
        edges,
    };
    // Four rounds: rough edges and much left out; company looked for; as little as possible left out; the final word.
    for round in [Round::Rough, Round::Company, Round::Tight, Round::Final] {
        let outside = work.edges_outside();
        condense::follow(view, &work.edges, lead, outside, &mut work.averages);
        work.noise = if round == Round::Rough { first_noise(&work) } else { work.noise.applied() };
        let mut lone_tail = work.lone_tail_possible;
        let mut model = work.model();
        let fit = match round {
            Round::Rough => {
                if work.rhythm().is_none() {
                    model.terms.push(Term::History { spread: history_spread(&work) });
                } else if work.edges.len() >= 6 {
                    model.terms.push(Term::Drift { order: 1 });
                }
                model.terms.push(Term::Sag { spread: fit::SAG.0 * levels.span() });
                fit::solve(&model, None).and_then(|fit| fit::trust(&mut model, fit, &setting))
            }
            Round::Company => {
                model.noise = first_noise(&work).sample;
                fit::choose_terms(&mut model, &setting).map(|choice| {
                    lone_tail = choice.lone_tail_possible;
                    choice.fit
                })
            }
            Round::Tight | Round::Final => fit::solve(&model, Some(&work.fit.theta)),
        };
        let (terms, noise) = (model.terms.clone(), model.noise);
        work.fit = fit.ok_or_else(judge::no_fit)?;
        work.terms = terms;
        work.noise.sample = noise;
        work.lone_tail_possible = lone_tail;
        if round != Round::Rough {
            judge::levels(&work).map_err(|reason| clipping::or_cut(record, &work, reason))?;
        }
        work.noise = settled_noise(&work);
        if round == Round::Final {
            break;
        }
        let mut edges = work.edges.clone();
        // Before its company is known, the record may stand off the fit by any slow amount near an edge.
        let near = if round == Round::Rough { 0.2 * longest_flat } else { 0.0 };
        let times = timing::refine(view, &work.model(), &work.fit, lead, near, &mut edges);
        work.edges = edges;
        work.times = times;
        judge::rhythm(work.times.timing)?;
        if round == Round::Tight {
            work.hold_off = work.fold(reach).hold_off();
        }
    }
    work.aftermath = work.fold(reach);
    clipping::clipped(record, &work)?;
    Ok(work)
}

impl Work {
    fn fold(&self, reach: f64) -> timing::Aftermath {
        let systematic = self.noise.quantum.map_or(0.0, |(step, share)| 0.4 * step * share);
        timing::aftermath(&self.model(), &self.fit, reach, systematic)
    }

    /// The edges next before the first and next after the last one found, when the rhythm tells them. They may lie
    /// within the record: a strongly undercompensated edge close to either end does not reach the other side there.
    fn edges_outside(&self) -> Option<(f64, f64)> {
        let rhythm = self.rhythm()?;
        let (first, last) = (self.edges.first()?, self.edges.last()?);
        let high = rhythm.duty * rhythm.period;
        let low = rhythm.period - high;
        Some((
            first.at - if first.rising { low } else { high },
            last.at + if last.rising { high } else { low },
        ))
    }
}

/// Longest stretch after an edge, in samples.
fn longest_flat(edges: &[Edge], points: usize) -> f64 {
    let last = edges.last().map_or(0.0, |e| points as f64 - e.at);
    edges.windows(2).map(|w| w[1].at - w[0].at).fold(last, f64::max)
}

/// How large the tail of an unseen earlier edge may still be when the record starts, as a share of a full tail: the
/// flat before the first edge is taken to be as long as the longest one seen.
fn history_spread(work: &Work) -> f64 {
    let tau = work.prior_ln_tau.0.exp();
    let before = work.edges.first().map_or(0.0, |e| e.at);
    (-(work.longest_flat - before).max(0.0) / tau).exp()
}

/// Noise before any fit: the scatter within the averages, or between neighbours where averages are single samples.
fn first_noise(work: &Work) -> Noise {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for a in work.averages.iter().filter(|a| a.since_edge - a.half_width >= work.hold_off) {
        squares += a.inner_squares;
        freedom += a.inner_freedom;
    }
    let within = if freedom >= 40.0 { (squares / freedom).sqrt() } else { work.levels.noise };
    Noise { sample: within.max(work.levels.least_noise()), scale: 1.0, misfit: 0.0, quantum: None }
}

/// Noise after the fit, from within and between the averages; what does not look like noise is told apart.
fn settled_noise(work: &Work) -> Noise {
    let weight = work.noise.sample.powi(2);
    let (mut squares, mut freedom, mut samples, mut rows) = (0.0, 0.0, 0.0, 0.0);
    for a in work.averages.iter().filter(|a| a.since_edge - a.half_width >= work.hold_off) {
        squares += a.inner_squares / weight;
        freedom += a.inner_freedom;
        samples += a.count;
        rows += 1.0;
    }
    let between_freedom = (rows - work.fit.theta.len() as f64).max(1.0);
    let between = work.fit.cost / between_freedom;
    let pooled = (squares + work.fit.cost) / (freedom + between_freedom);
    // Averages that scatter more than their samples explain: not white noise about this model. The larger counts.
    let (reference, odd) = if freedom >= 40.0 {
        let within = squares / freedom;
        let chance = crate::numeric::stats::f_upper(between / within, between_freedom, freedom);
        (within, between > within && chance < 1e-4)
    } else {
        let neighbours = first_noise(work).sample.powi(2) / weight;
        (neighbours, between > 1.5 * neighbours)
    };
    let scale =
        if odd { pooled.max(between) } else { pooled }.max(work.levels.least_noise().powi(2) / weight);
    let misfit =
        if odd { ((between - reference) * between_freedom * weight / samples).max(0.0).sqrt() } else { 0.0 };
    let quantum = work.levels.quantum.map(|q| (q, fit::undithered((pooled * weight).sqrt(), q)));
    Noise { scale, misfit, quantum, ..work.noise }
}
