//! The waveforms of a chain: true, shown, and shown with each cause taken out.

use super::readings::{self, Readings};
use super::{Depth, PredictionError, View};
use crate::chain::{Against, Cause, Chain, Spectra, Transfer, Unloaded};
use crate::finding::Finding;
use crate::pulse::Figures;
use crate::signal::{Shape, Signal};
use crate::transient::{Grid, Motion, Workspace};
use std::f64::consts::TAU;

/// What is read off the waveforms of one chain.
pub(super) struct Body {
    pub(super) true_figures: Option<Figures>,
    pub(super) shown_figures: Option<Figures>,
    /// At the times asked for, V.
    pub(super) true_v: Vec<f64>,
    pub(super) shown_v: Vec<f64>,
    pub(super) truth: Readings,
    pub(super) shown: Readings,
    /// For shares: read off the same list of times everywhere, so that what the list itself does to the readings falls out.
    pub(super) rough: Rough,
    /// Shown 50 % instant (of a sine: zero crossing) less the true one, s.
    pub(super) delay_s: Option<f64>,
    pub(super) findings: Vec<Finding>,
}

/// Readings off a list of times.
pub(super) struct Rough {
    pub(super) truth: Readings,
    pub(super) shown: Readings,
    /// With one cause taken out each; empty where no shares are asked for.
    pub(super) without: Vec<(Cause, Readings)>,
}

impl Body {
    pub(super) fn of(
        chain: &Chain,
        view: &View<'_>,
        depth: Depth,
        workspace: &mut Workspace,
    ) -> Result<Self, PredictionError> {
        let signal = view.question.signal;
        let unloaded = Unloaded(chain.node);
        let variants: Vec<_> = match depth {
            Depth::Shares => {
                Cause::of(chain).into_iter().map(|cause| (cause, chain.without(cause))).collect()
            }
            Depth::Totals => Vec::new(),
        };
        // What the input hides is the fastest that any of these shows.
        let bare = variants.iter().find(|(cause, _)| *cause == Cause::Input).map(|(_, v)| v as &dyn Transfer);
        let both: Vec<&dyn Transfer> = std::iter::once(chain as &dyn Transfer).chain(bare).collect();
        let grid = Grid::choose_for_all(&both, signal, workspace)?;
        let true_grid = Grid::choose(&unloaded, signal, workspace)?;
        let true_motion = Motion::new(&unloaded, signal, &true_grid, Some(true_grid.samples()), workspace)?;
        let motion = Motion::new(chain, signal, &grid, Some(grid.samples()), workspace)?;
        let reader = Reader { chain, view, true_motion: &true_motion };

        let truth = reader.rough(&true_motion, &unloaded, 1.0, None);
        let shown = reader.rough(&motion, chain, chain.ratio, Some(&truth));
        let mut rough = Rough { truth, shown, without: Vec::new() };
        if !variants.is_empty() {
            let spectra = Spectra::of(chain, grid.frequencies());
            let mut samples = Vec::with_capacity(grid.frequencies().len());
            for (cause, variant) in &variants {
                spectra.transfer_into(Against::Source, *cause, &mut samples);
                let motion = Motion::new(variant, signal, &grid, Some(&samples), workspace)?;
                let readings = reader.rough(&motion, variant, chain.ratio, Some(&rough.truth));
                rough.without.push((*cause, readings));
            }
        }
        let mut shown_v = motion.values(view.times);
        for value in &mut shown_v {
            *value *= chain.ratio;
        }
        let true_v = true_motion.values(view.times);
        let of_record = |values: &[f64]| readings::figures_of_record(view.times, values, signal, view.window);
        let (true_figures, shown_figures) = match signal.shape {
            // A function of as many pieces as there are points is slow to ask: a list of times has to do.
            Shape::Points { .. } if view.question.time_s.is_empty() => {
                (of_record(&true_v), of_record(&shown_v))
            }
            Shape::Points { .. } => (rough.truth.figures.clone(), rough.shown.figures.clone()),
            _ => (
                readings::figures(|t| true_motion.value(t), signal, view.window),
                readings::figures(|t| chain.ratio * motion.value(t), signal, view.window),
            ),
        };
        let truth = rough.truth.refined(true_figures.as_ref());
        let shown = rough.shown.refined(shown_figures.as_ref());
        let delay_s = reader.delay(&truth, &shown, chain);
        let mut findings = true_motion.findings().to_vec();
        for finding in motion.findings() {
            if !findings.contains(finding) {
                findings.push(finding.clone());
            }
        }
        Ok(Self { true_figures, shown_figures, true_v, shown_v, truth, shown, rough, delay_s, findings })
    }
}

struct Reader<'a> {
    chain: &'a Chain,
    view: &'a View<'a>,
    true_motion: &'a Motion,
}

impl Reader<'_> {
    fn signal(&self) -> &Signal {
        self.view.question.signal
    }

    /// Readings of a waveform at the times for shares; against `truth` where it is not the true one itself.
    fn rough(
        &self,
        motion: &Motion,
        transfer: &impl Transfer,
        scale: f64,
        truth: Option<&Readings>,
    ) -> Readings {
        let times = self.view.share_times;
        let mut values = motion.values(times);
        for value in &mut values {
            *value *= scale;
        }
        let figures = readings::figures_of_record(times, &values, self.signal(), self.view.window);
        let mut readings = Readings::of(figures, &values);
        let levels = readings.figures.as_ref().and_then(|f| f.levels.ok());
        // Straight lines between these few times are too coarse for edges; points are slow to ask.
        if let Some(levels) = levels.filter(|_| !matches!(self.signal().shape, Shape::Points { .. })) {
            let refined = readings::first_transition(|t| scale * motion.value(t), levels, self.view.window);
            readings = match refined {
                Some(transition) => readings.with_transition(transition),
                None => readings,
            };
        }
        if let Shape::Sine { frequency_hz } = self.signal().shape {
            // What no list of times can say exactly.
            let swing = (self.signal().high_v - self.signal().low_v).abs();
            let amplitude = 0.5 * swing * (scale * transfer.at_frequency(frequency_hz)).norm();
            readings.amplitude = Some(amplitude);
            readings.peak_to_peak = 2.0 * amplitude;
        }
        if let Some(truth) = truth {
            readings.deviation = self.deviation(truth, &readings, &values, transfer);
        }
        readings
    }

    /// By how much a waveform comes later than the true one, s.
    fn delay(&self, truth: &Readings, shown: &Readings, transfer: &impl Transfer) -> Option<f64> {
        let at = |frequency_hz: f64| {
            let relative =
                transfer.at_frequency(frequency_hz) / Unloaded(self.chain.node).at_frequency(frequency_hz);
            Some(-relative.arg() / (TAU * frequency_hz)).filter(|d| d.is_finite())
        };
        match self.signal().shape {
            Shape::Sine { frequency_hz } | Shape::Burst { frequency_hz, .. } => at(frequency_hz),
            _ => match (shown.middle_s, truth.middle_s) {
                (Some(shown), Some(truth)) => Some(shown - truth),
                // Without a transition: the delay of slow parts.
                _ => at(1e-3 / (self.view.window.span.end_s - self.view.window.span.start_s)),
            },
        }
    }

    fn deviation(
        &self,
        truth: &Readings,
        shown: &Readings,
        values: &[f64],
        transfer: &impl Transfer,
    ) -> Option<f64> {
        let times = self.view.share_times;
        let delay = self.delay(truth, shown, transfer)?;
        let moved: Vec<f64> = times.iter().map(|t| t - delay).collect();
        let moved = self.true_motion.values(&moved);
        let root = readings::root_mean_square(times, |k| values[k] - moved[k]) / truth.peak_to_peak;
        Some(root).filter(|r| r.is_finite())
    }
}
