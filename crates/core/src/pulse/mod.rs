//! Pulse figures of a waveform as IEEE Std 181 defines them.
//!
//! A waveform comes in as a function of time ([`of_function`]), on which crossings and extremes are refined, or as a sampled
//! record ([`of_record`]), between whose samples straight lines are drawn.
//!
//! | word | meaning here |
//! | --- | --- |
//! | low, high, amplitude | the two state levels and their difference; how they are found: [`LevelSource`] |
//! | reference level | share of the way from low to high: 10, 20, 50, 80, 90 % |
//! | transition | the way from below 10 % to above 90 %, or back. Instants: the last crossing of 10 and 20 %, the first of 50, 80 and 90 % |
//! | transition duration | 90 % instant less 10 % instant; also 80 less 20 % |
//! | overshoot | after the transition: how far the waveform goes *beyond* the level that it went to, share of amplitude |
//! | undershoot | after it has first reached that level: how far it falls *back* short of it, share of amplitude |
//! | preshoot | before the transition: how far it goes the *other way*, beyond the level that it leaves, share of amplitude |
//! | settling duration | from the 50 % instant until the waveform stays within a band about the level, to the end of that state |
//! | tilt | of a state: (start − end)/mean, counted from the other level; a straight line through its middle 80 % extended to its 50 % instants |
//! | pulse duration | from one 50 % instant to the next |
//! | period, duty | between 50 % instants of the same direction, all of the record; positive pulse duration over period |
//!
//! All aberrations are zero or positive. They are looked for up to half-way to the neighbouring transition (to the end of the record
//! where there is none); what lies nearer to the neighbour is the neighbour's. Slow tails and tilt count as aberrations where they
//! leave the level. A figure that cannot be had is an error that says why: [`Missing`].
//!
//! Source: IEEE Std 181 as described in the manuals of a numerical package (not seen itself); names of the standard where known.

mod figures;
mod levels;
mod sampling;
mod wave;

pub use sampling::Sampling;

use crate::finding::Finding;
use wave::{Lines, Point};

/// A stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
}

/// What of a half histogram is the level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelStatistic {
    /// The mode, refined: the bins about the fullest that hold at least half as much as it; these are divided again as long as most of
    /// what they hold lies together; the level is the mean of what is in them. Tails and aberrations hardly count.
    Mode,
    /// The mean of all samples of the half.
    Mean,
}

/// How the state levels are found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LevelSource {
    /// IEEE 181 histogram of the whole record between its least and greatest value, split at the middle. Each value counts by
    /// the time it stands for, so that samples need not be evenly spaced. Both states have to be in the record; how long each lasts
    /// does not matter. A spike as high as the amplitude moves the middle: give spans then.
    Histogram {
        /// Number of bins, 8 or more; 256 is usual.
        bins: usize,
        /// Mode or mean.
        statistic: LevelStatistic,
    },
    /// A histogram of its own for each state, from stretches that hold nothing else: right for a single edge with aberrations of
    /// any size.
    Spans {
        /// Where the waveform is in one state.
        first: Span,
        /// Where it is in the other.
        second: Span,
        /// Number of bins, 8 or more.
        bins: usize,
        /// Mode or mean.
        statistic: LevelStatistic,
    },
    /// Known levels, V.
    Given {
        /// Low level, V.
        low_v: f64,
        /// High level, V.
        high_v: f64,
    },
}

/// What the caller decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// How the levels are found.
    pub levels: LevelSource,
    /// Half-width of the band of settling, share of amplitude.
    pub settling_band: f64,
}

/// Why a figure is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Missing {
    /// The waveform does not go from one state to the other.
    #[error("there is no transition from one state to the other")]
    NoTransition,
    /// A reference level is not crossed where it should be.
    #[error("the waveform does not cross this reference level in the transition")]
    NoCrossing,
    /// There is only one transition.
    #[error("there is no second transition that would end the pulse")]
    NoSecondTransition,
    /// There is no third transition.
    #[error("there is no third transition that would end the period")]
    NoThirdTransition,
    /// The waveform is outside the band at the end.
    #[error("the waveform does not settle into the band before the record or the state ends")]
    NotSettled,
    /// Too few samples.
    #[error("there are too few samples in this part of the waveform")]
    TooFewSamples,
}

/// A figure, or the reason why there is none.
pub type Figure = Result<f64, Missing>;

/// Which way a transition goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// From low to high.
    Rising,
    /// From high to low.
    Falling,
}

/// One transition with what goes before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transition {
    /// Which way.
    pub direction: Direction,
    /// Instants of 10, 20, 50, 80 and 90 % *of the way*, s; falling transitions count from the high level down.
    pub instants_s: [Figure; 5],
    /// 10–90 % transition duration, s.
    pub duration_10_90_s: Figure,
    /// 20–80 % transition duration, s.
    pub duration_20_80_s: Figure,
    /// Share of amplitude.
    pub overshoot: Figure,
    /// Share of amplitude.
    pub undershoot: Figure,
    /// Share of amplitude.
    pub preshoot: Figure,
    /// From the 50 % instant until it stays in the band, s.
    pub settling_duration_s: Figure,
    /// Tilt of the state after it, share.
    pub tilt: Figure,
}

impl Transition {
    /// The 50 % instant, s.
    pub fn middle_s(&self) -> Figure {
        self.instants_s[2]
    }
}

/// State levels, V.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// Low state.
    pub low_v: f64,
    /// High state.
    pub high_v: f64,
}

/// Shares of the way that are reference levels.
pub const REFERENCES: [f64; 5] = [0.1, 0.2, 0.5, 0.8, 0.9];

impl Levels {
    /// High less low, V.
    pub fn amplitude_v(&self) -> f64 {
        self.high_v - self.low_v
    }

    /// The reference levels 10, 20, 50, 80 and 90 %, V.
    pub fn references_v(&self) -> [f64; 5] {
        REFERENCES.map(|share| self.low_v + share * self.amplitude_v())
    }
}

/// All figures of a waveform.
#[derive(Clone, Debug, PartialEq)]
pub struct Figures {
    /// State levels; without two different ones there are no transitions.
    pub levels: Result<Levels, Missing>,
    /// All transitions, in order.
    pub transitions: Vec<Transition>,
    /// First 50 % instant to second, s.
    pub pulse_duration_s: Figure,
    /// s.
    pub period_s: Figure,
    /// Positive pulse duration over period.
    pub duty: Figure,
    /// `no-transition`, `state-not-settled`.
    pub findings: Vec<Finding>,
}

/// Input that holds no waveform.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum PulseError {
    /// As many times as values are needed.
    #[error("{times} times and {values} values: give one value for each time")]
    Lengths {
        /// Times.
        times: usize,
        /// Values.
        values: usize,
    },
    /// Times that do not rise.
    #[error("time {time_s} s does not come after the one before: sort the record and keep each time once")]
    Order {
        /// s.
        time_s: f64,
    },
    /// A value that is not finite (of a function; missing samples of a record are skipped).
    #[error("the waveform is not finite at {time_s} s")]
    NotFinite {
        /// s.
        time_s: f64,
    },
    /// A setting outside its range.
    #[error("{quantity} is {value}: {remedy}")]
    Setting {
        /// Which one.
        quantity: &'static str,
        /// As given.
        value: f64,
        /// What it should be.
        remedy: &'static str,
    },
    /// Too little to look at.
    #[error("only {points} samples: at least {least} are needed")]
    TooFew {
        /// There are.
        points: usize,
        /// There should be.
        least: usize,
    },
}

/// Fewest samples from which figures are made.
const LEAST_POINTS: usize = 8;

impl Options {
    fn check(&self) -> Result<(), PulseError> {
        let setting = |quantity, value, remedy| Err(PulseError::Setting { quantity, value, remedy });
        if !(self.settling_band > 0.0 && self.settling_band < 0.5) {
            return setting(
                "settling band",
                self.settling_band,
                "give a share of the amplitude, such as 0.01",
            );
        }
        match self.levels {
            LevelSource::Histogram { bins, .. } | LevelSource::Spans { bins, .. }
                if !(8..=65_536).contains(&bins) =>
            {
                setting("number of bins", bins as f64, "give 8 to 65536, such as 256")
            }
            LevelSource::Given { low_v, high_v } if !(low_v < high_v && (high_v - low_v).is_finite()) => {
                setting("high level", high_v, "give a high level above the low one")
            }
            _ => Ok(()),
        }
    }
}

/// Figures of a waveform that can be asked for its value at any time.
///
/// It is looked at `sampling.points` times at most, and some ten times more for each crossing and extreme.
///
/// # Errors
/// Settings outside their range, values that are not finite.
pub fn of_function(
    waveform: impl Fn(f64) -> f64,
    sampling: &Sampling<'_>,
    options: &Options,
) -> Result<Figures, PulseError> {
    options.check()?;
    sampling.check()?;
    let wave = wave::Continuous { waveform, finest_s: sampling.finest_s };
    let points = sampling::points(&wave, sampling, options)?;
    Ok(figures::figures(&wave, &points, options))
}

/// Figures of a sampled record. Times rise, evenly or not; values that are not finite are missing samples.
///
/// # Errors
/// Settings outside their range, times that do not rise, too few samples.
pub fn of_record(time_s: &[f64], value_v: &[f64], options: &Options) -> Result<Figures, PulseError> {
    options.check()?;
    if time_s.len() != value_v.len() {
        return Err(PulseError::Lengths { times: time_s.len(), values: value_v.len() });
    }
    if let Some(pair) = time_s.windows(2).find(|t| !(t[0] < t[1])) {
        return Err(PulseError::Order { time_s: pair[1] });
    }
    let all = time_s.iter().zip(value_v);
    let points: Vec<Point> = all.filter(|(_, v)| v.is_finite()).map(|(&t, &v)| Point { t, v }).collect();
    if points.len() < LEAST_POINTS {
        return Err(PulseError::TooFew { points: points.len(), least: LEAST_POINTS });
    }
    Ok(figures::figures(&Lines, &points, options))
}
