//! What a chain makes of a signal, for each measurand: the factor K or the difference D of the model.

use std::f64::consts::TAU;

use super::Measurand;
use crate::chain::{Against, Chain, ChainError, Coupling, Transfer, Unloaded};
use crate::prediction::Window;
use crate::pulse::{self, LevelSource, Options, Sampling, Span};
use crate::signal::{Outside, Shape, Signal};
use crate::transient::{Grid, Motion, TransientError, Workspace};
use crate::uncertainty::{MonteCarloError, QuantitiesError};

/// Why there is no budget.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadingError {
    /// A chain has an impossible value.
    #[error(transparent)]
    Chain(#[from] ChainError),
    /// The signal or its response cannot be computed.
    #[error(transparent)]
    Transient(#[from] TransientError),
    /// The inputs cannot be together.
    #[error(transparent)]
    Quantities(#[from] QuantitiesError),
    /// The Monte Carlo run has no answer.
    #[error(transparent)]
    MonteCarlo(#[from] MonteCarloError),
    /// The signal has no such figure.
    #[error("a signal of this shape has no {measurand}: {remedy}")]
    Signal {
        /// What was asked for.
        measurand: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// A frequency that cannot be.
    #[error("frequency of the amplitude is {value} Hz: give one above 0")]
    Frequency {
        /// As given.
        value: f64,
    },
    /// The second probe is missing.
    #[error("a delay between two probes needs the second probe: describe it as the first one")]
    NoSecond,
    /// The chain shows nothing of it.
    #[error("the chain shows nothing of the {measurand}: {remedy}")]
    Nothing {
        /// What was asked for.
        measurand: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// Faster than can be.
    #[error(
        "a transition of {shown_s:e} s cannot be shown by this chain, which adds {added_s:e} s (root of squares) of its own: check the reading, or \
         the bandwidth of probe and input"
    )]
    Faster {
        /// As read, s.
        shown_s: f64,
        /// By the chain, s.
        added_s: f64,
    },
}

/// Times of a waveform.
const TIMES: usize = 3000;

/// How often a transition is looked at.
const LOOKS: usize = 400;

/// Works out the effect of chains that are like a nominal one: same grid, window and times for all.
pub(super) struct Effects<'a> {
    measurand: Measurand,
    signal: &'a Signal,
    waves: Option<Waves>,
}

/// What needs waveforms.
struct Waves {
    grid: Grid,
    true_grid: Grid,
    window: Window,
    times: Vec<f64>,
    workspace: Workspace,
}

impl<'a> Effects<'a> {
    pub(super) fn new(measurand: Measurand, signal: &'a Signal, chain: &Chain) -> Result<Self, ReadingError> {
        let is_sine = matches!(signal.shape, Shape::Sine { .. });
        let is_periodic = is_sine
            || matches!(
                signal.shape,
                Shape::Trapezoid { .. } | Shape::Points { outside: Outside::Repeats { .. }, .. }
            );
        let refuse = |remedy| Err(ReadingError::Signal { measurand: measurand.code(), remedy });
        match measurand {
            Measurand::Mean | Measurand::Rms if !is_periodic => {
                return refuse("give a signal that repeats: a sine, a square wave, a trapezoid");
            }
            Measurand::TransitionDuration | Measurand::Delay if is_sine && measurand != Measurand::Delay => {
                return refuse("give a signal with edges");
            }
            Measurand::TransitionDuration | Measurand::Delay
                if matches!(signal.shape, Shape::Burst { .. } | Shape::Points { .. }) =>
            {
                return refuse("give an edge, a pulse, a trapezoid or a square wave");
            }
            _ => {}
        }
        if measurand == Measurand::Mean && matches!(chain.input.coupling, Coupling::Ac { .. }) {
            return Err(ReadingError::Nothing { measurand: "mean", remedy: "set the input to dc coupling" });
        }
        let needs_waves = !is_sine && !matches!(measurand, Measurand::Amplitude | Measurand::Mean);
        let waves = if needs_waves { Some(Waves::new(signal, chain)?) } else { None };
        Ok(Self { measurand, signal, waves })
    }

    /// K or D of a chain; of the amplitude at `frequency_hz`.
    pub(super) fn of(&mut self, chain: &Chain, frequency_hz: f64) -> Result<f64, ReadingError> {
        let gain = |f: f64| (chain.against(Against::UnloadedNode).at_frequency(f) * chain.ratio).norm();
        let signal = self.signal;
        if let Shape::Sine { frequency_hz: f } = signal.shape {
            return Ok(match self.measurand {
                Measurand::Amplitude => gain(frequency_hz),
                Measurand::PeakToPeak | Measurand::TransitionDuration => gain(f),
                Measurand::Mean => mean_gain(chain),
                Measurand::Rms => {
                    let mean = 0.5 * (signal.low_v + signal.high_v);
                    let ac = (0.5 * (signal.high_v - signal.low_v)).powi(2) / 2.0;
                    (((mean * mean_gain(chain)).powi(2) + ac * gain(f).powi(2)) / (mean * mean + ac)).sqrt()
                }
                Measurand::Delay => {
                    let at = chain.against(Against::UnloadedNode).at_frequency(f);
                    -at.arg() / (TAU * f)
                }
            });
        }
        match self.measurand {
            Measurand::Amplitude => Ok(gain(frequency_hz)),
            Measurand::Mean => Ok(mean_gain(chain)),
            measurand => match &mut self.waves {
                Some(waves) => waves.of(measurand, signal, chain),
                None => Ok(f64::NAN),
            },
        }
    }

    /// Rms, mean, amplitude and transition duration of what the chain shows, for what noise and offsets make of them.
    pub(super) fn shown(&mut self, chain: &Chain) -> Result<Shown, ReadingError> {
        let signal = self.signal;
        let mean_v = 0.5 * (signal.low_v + signal.high_v) * mean_gain(chain);
        let swing_v = (signal.high_v - signal.low_v).abs();
        let Some(waves) = &mut self.waves else {
            return Ok(Shown { mean_v, swing_v, transition_s: None });
        };
        let motion = waves.motion(chain, signal)?;
        let scaled = |t: f64| chain.ratio * motion.value(t);
        let (duration, _) = waves.transition(scaled, signal).unwrap_or((f64::NAN, f64::NAN));
        let values: Vec<f64> = waves.times.iter().map(|t| scaled(*t)).collect();
        let span = waves.window.span.end_s - waves.window.span.start_s;
        let mean_v = integral(&waves.times, |k| values[k]) / span;
        Ok(Shown { mean_v, swing_v, transition_s: Some(duration).filter(|d| d.is_finite()) })
    }
}

/// What the screen shows besides the measurand.
pub(super) struct Shown {
    pub(super) mean_v: f64,
    pub(super) swing_v: f64,
    pub(super) transition_s: Option<f64>,
}

fn mean_gain(chain: &Chain) -> f64 {
    match chain.input.coupling {
        Coupling::Ac { .. } => 0.0,
        Coupling::Dc => (chain.at_frequency(0.0) * chain.ratio).re,
    }
}

impl Waves {
    fn new(signal: &Signal, chain: &Chain) -> Result<Self, ReadingError> {
        let mut workspace = Workspace::new();
        let grid = Grid::choose(chain, signal, &mut workspace)?;
        let true_grid = Grid::choose(&Unloaded(chain.node), signal, &mut workspace)?;
        let window = Window::of(chain, signal);
        let times = window.times(TIMES);
        Ok(Self { grid, true_grid, window, times, workspace })
    }

    fn motion(&mut self, chain: &Chain, signal: &Signal) -> Result<Motion, ReadingError> {
        Ok(Motion::new(chain, signal, &self.grid, None, &mut self.workspace)?)
    }

    fn of(&mut self, measurand: Measurand, signal: &Signal, chain: &Chain) -> Result<f64, ReadingError> {
        let motion = self.motion(chain, signal)?;
        let truth = Motion::new(&Unloaded(chain.node), signal, &self.true_grid, None, &mut self.workspace)?;
        let shown = |t: f64| chain.ratio * motion.value(t);
        let real = |t: f64| truth.value(t);
        let none = || ReadingError::Nothing {
            measurand: measurand.code(),
            remedy: "check that probe and input carry the signal at all",
        };
        Ok(match measurand {
            Measurand::PeakToPeak => self.swing(shown) / self.swing(real),
            Measurand::Rms => {
                let square = |wave: &dyn Fn(f64) -> f64| {
                    let values: Vec<f64> = self.times.iter().map(|t| wave(*t)).collect();
                    integral(&self.times, |k| values[k] * values[k])
                };
                (square(&shown) / square(&real)).sqrt()
            }
            Measurand::TransitionDuration => {
                let (shown, _) = self.transition(shown, signal).ok_or_else(none)?;
                let (real, _) = self.transition(real, signal).ok_or_else(none)?;
                shown * shown - real * real
            }
            Measurand::Delay => {
                let (_, shown) = self.transition(shown, signal).ok_or_else(none)?;
                let (_, real) = self.transition(real, signal).ok_or_else(none)?;
                shown - real
            }
            Measurand::Amplitude | Measurand::Mean => f64::NAN,
        })
    }

    /// Highest less lowest value, each refined between its neighbours.
    fn swing(&self, wave: impl Fn(f64) -> f64) -> f64 {
        let values: Vec<f64> = self.times.iter().map(|t| wave(*t)).collect();
        let extreme = |sign: f64| {
            let at = (0..values.len()).max_by(|a, b| (sign * values[*a]).total_cmp(&(sign * values[*b])));
            let k = at.unwrap_or(0);
            let (mut from, mut to) =
                (self.times[k.saturating_sub(1)], self.times[(k + 1).min(values.len() - 1)]);
            // Golden section.
            let share = 0.5 * (5f64.sqrt() - 1.0);
            let mut best = sign * values[k];
            for _ in 0..25 {
                let (a, b) = (to - share * (to - from), from + share * (to - from));
                let (va, vb) = (sign * wave(a), sign * wave(b));
                best = best.max(va).max(vb);
                if va > vb {
                    to = b;
                } else {
                    from = a;
                }
            }
            sign * best
        };
        extreme(1.0) - extreme(-1.0)
    }

    /// Duration (10–90 %) and 50 % instant of the first transition, s. Levels are the means of the last third of either state, which
    /// move evenly with the numbers of a chain.
    fn transition(&self, wave: impl Fn(f64) -> f64, signal: &Signal) -> Option<(f64, f64)> {
        let window = &self.window;
        let first = *window.transitions_s.first()?;
        let next = window.transitions_s.get(1).copied().unwrap_or(window.span.end_s);
        let plateau = |from: f64, to: f64| {
            let at = |k: u32| from + (to - from) * (f64::from(k) + 0.5) / 16.0;
            (0..16).map(|k| wave(at(k))).sum::<f64>() / 16.0
        };
        let after = plateau(next - 0.33 * (next - first), next - 0.02 * (next - first));
        let before = match signal.shape {
            // The state before the first transition is the one at the end of the period.
            Shape::Trapezoid { .. } => {
                let (last, end) = (next, *window.transitions_s.get(2)?);
                plateau(end - 0.33 * (end - last), end - 0.02 * (end - last))
            }
            _ => wave(window.span.start_s),
        };
        let (low_v, high_v) = (before.min(after), before.max(after));
        let end_s = first + (0.5 * (next - first)).max(20.0 * window.fast_s).min(next - first);
        let start_s = window.span.start_s.max(first - 0.5 * (end_s - first));
        let sampling = Sampling {
            window: Span { start_s, end_s },
            transitions_s: &[first],
            finest_s: 0.01 * window.fast_s,
            points: LOOKS,
        };
        let options = Options { levels: LevelSource::Given { low_v, high_v }, settling_band: 0.01 };
        let figures = pulse::of_function(wave, &sampling, &options).ok()?;
        let transition = figures.transitions.first()?;
        Some((transition.duration_10_90_s.ok()?, transition.middle_s().ok()?))
    }
}

/// By the rule of trapezoids.
fn integral(times: &[f64], value: impl Fn(usize) -> f64) -> f64 {
    (1..times.len()).map(|k| 0.5 * (times[k] - times[k - 1]) * (value(k - 1) + value(k))).sum()
}
