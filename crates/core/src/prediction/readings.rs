//! What a person reads off a waveform, and how far the shown one is from the true one.

use super::window::Window;
use crate::pulse::{self, Figures, LevelSource, LevelStatistic, Levels, Options, Sampling, Span, Transition};
use crate::signal::{Shape, Signal};

/// A figure that can be in error.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// Difference of the state levels (IEEE 181); of a sine its amplitude.
    Amplitude,
    /// Highest less lowest value.
    PeakToPeak,
    /// 10–90 % transition duration of the first transition.
    TransitionDuration,
    /// Overshoot of the first transition, share of amplitude.
    Overshoot,
    /// Root mean square of shown less true, both with their 50 % instants (of a sine: their phases) put together, share of the
    /// true peak-to-peak value.
    Deviation,
}

impl Measure {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::Amplitude, Self::PeakToPeak, Self::TransitionDuration, Self::Overshoot, Self::Deviation];

    /// Its stable name.
    pub fn code(self) -> &'static str {
        match self {
            Self::Amplitude => "amplitude",
            Self::PeakToPeak => "peak-to-peak",
            Self::TransitionDuration => "transition-duration",
            Self::Overshoot => "overshoot",
            Self::Deviation => "deviation",
        }
    }

    /// Its name in a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Self::Amplitude => "amplitude",
            Self::PeakToPeak => "peak-to-peak value",
            Self::TransitionDuration => "transition duration",
            Self::Overshoot => "overshoot",
            Self::Deviation => "deviation",
        }
    }
}

/// Bins of the histograms of levels.
const BINS: usize = 256;

/// How often a waveform is looked at for its figures.
const LOOKS: usize = 700;

/// Share of the amplitude within which a waveform counts as settled.
pub const SETTLING_BAND: f64 = 0.01;

/// How the levels of a signal are found; `None` for signals without states.
fn options(signal: &Signal, window: &Window) -> Option<Options> {
    let Span { start_s, end_s } = window.span;
    let statistic = LevelStatistic::Mode;
    let levels = match signal.shape {
        Shape::Sine { .. } | Shape::Burst { .. } => return None,
        Shape::Edge { .. } | Shape::Exponential { width_s: None, .. } => LevelSource::Spans {
            first: Span { start_s, end_s: -1e-3 * (end_s - start_s) },
            second: Span { start_s: start_s + 0.8 * (end_s - start_s), end_s },
            bins: BINS,
            statistic,
        },
        _ => LevelSource::Histogram { bins: BINS, statistic },
    };
    Some(Options { levels, settling_band: SETTLING_BAND })
}

/// The pulse figures of a waveform in a window, crossings and extremes refined on it; `None` for signals without states.
pub(super) fn figures(waveform: impl Fn(f64) -> f64, signal: &Signal, window: &Window) -> Option<Figures> {
    let sampling = Sampling {
        window: window.span,
        transitions_s: &window.transitions_s,
        finest_s: 0.01 * window.fast_s,
        points: LOOKS,
    };
    pulse::of_function(waveform, &sampling, &options(signal, window)?).ok()
}

/// The same from values at given times, with straight lines between them: quicker, and good enough for shares.
pub(super) fn figures_of_record(
    times: &[f64],
    values: &[f64],
    signal: &Signal,
    window: &Window,
) -> Option<Figures> {
    pulse::of_record(times, values, &options(signal, window)?).ok()
}

/// The first transition alone, between known levels, refined on the waveform: cheap, and as exact as [`figures`].
pub(super) fn first_transition(
    waveform: impl Fn(f64) -> f64,
    levels: Levels,
    window: &Window,
) -> Option<Transition> {
    let first_s = *window.transitions_s.first()?;
    let until_s = window.transitions_s.get(1).copied().unwrap_or(window.span.end_s);
    // What a delay puts after the next transition's start still belongs to the first: half-way is far enough.
    let end_s = first_s + (0.5 * (until_s - first_s)).max(20.0 * window.fast_s).min(until_s - first_s);
    let start_s = window.span.start_s.max(first_s - 0.5 * (end_s - first_s));
    let sampling = Sampling {
        window: Span { start_s, end_s },
        transitions_s: &[first_s],
        finest_s: 0.01 * window.fast_s,
        points: 200,
    };
    let options = Options {
        levels: LevelSource::Given { low_v: levels.low_v, high_v: levels.high_v },
        settling_band: SETTLING_BAND,
    };
    let figures = pulse::of_function(waveform, &sampling, &options).ok()?;
    figures.transitions.first().copied()
}

/// What is read off one waveform.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Readings {
    pub(super) figures: Option<Figures>,
    pub(super) amplitude: Option<f64>,
    pub(super) peak_to_peak: f64,
    pub(super) transition_s: Option<f64>,
    pub(super) overshoot: Option<f64>,
    /// The first 50 % instant, s.
    pub(super) middle_s: Option<f64>,
    /// [`Measure::Deviation`]; `None` of the true waveform.
    pub(super) deviation: Option<f64>,
}

impl Readings {
    pub(super) fn of(figures: Option<Figures>, values: &[f64]) -> Self {
        let (low, high) = values
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)));
        let bare = Self {
            figures: None,
            amplitude: None,
            peak_to_peak: high - low,
            transition_s: None,
            overshoot: None,
            middle_s: None,
            deviation: None,
        };
        let readings = bare.refined(figures.as_ref());
        Self { figures, ..readings }
    }

    /// The same with what a better look at the first transition says.
    pub(super) fn with_transition(self, transition: Transition) -> Self {
        Self {
            transition_s: transition.duration_10_90_s.ok(),
            overshoot: transition.overshoot.ok(),
            middle_s: transition.middle_s().ok(),
            ..self
        }
    }

    /// The same with what better figures say.
    pub(super) fn refined(&self, figures: Option<&Figures>) -> Self {
        let Some(figures) = figures else { return self.clone() };
        let first = figures.transitions.first();
        Self {
            amplitude: figures.levels.ok().map(|levels| levels.amplitude_v()),
            transition_s: first.and_then(|t| t.duration_10_90_s.ok()),
            overshoot: first.and_then(|t| t.overshoot.ok()),
            middle_s: first.and_then(|t| t.middle_s().ok()),
            ..self.clone()
        }
    }

    /// Error of these readings against true ones.
    pub(super) fn error(&self, truth: &Self, measure: Measure) -> Option<f64> {
        let relative = |shown: f64, truth: f64| (truth.abs() > 0.0).then(|| shown / truth - 1.0);
        match measure {
            Measure::Amplitude => relative(self.amplitude?, truth.amplitude?),
            Measure::PeakToPeak => relative(self.peak_to_peak, truth.peak_to_peak),
            Measure::TransitionDuration => duration_error(self.transition_s?, truth.transition_s?),
            Measure::Overshoot => Some(self.overshoot? - truth.overshoot?),
            Measure::Deviation => self.deviation,
        }
    }
}

/// Relative error of a shown duration against the true one, both in s; `None` where the true one is that of a jump: what rounding leaves of
/// it (below a millionth of the shown one) makes no share that means anything.
pub fn duration_error(shown_s: f64, true_s: f64) -> Option<f64> {
    const JUMP: f64 = 1e-6;
    (true_s.abs() > JUMP * shown_s.abs()).then(|| shown_s / true_s - 1.0)
}

/// Root mean square of a difference sampled at uneven times (trapezoidal rule).
pub(super) fn root_mean_square(times: &[f64], difference: impl Fn(usize) -> f64) -> f64 {
    let mut sum = 0.0;
    for k in 1..times.len() {
        let (a, b) = (difference(k - 1), difference(k));
        sum += (times[k] - times[k - 1]) * 0.5 * (a * a + b * b);
    }
    let span = times.last().copied().unwrap_or(0.0) - times.first().copied().unwrap_or(0.0);
    if span > 0.0 { (sum / span).sqrt() } else { f64::NAN }
}
