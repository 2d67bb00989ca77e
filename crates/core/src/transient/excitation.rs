//! The signal itself over time, and as events: jumps and changes of slope between straight lines, or known functions.

use super::TransientError;
use crate::signal::{Outside, Shape, Signal};
use std::f64::consts::TAU;

/// A signal that has been checked and can be evaluated.
#[derive(Clone, Debug)]
pub struct Excitation {
    pub(super) form: Form,
}

#[derive(Clone, Debug)]
pub(super) enum Form {
    /// mean + amplitude·sin 2πft, for ever.
    Sine { mean: f64, amplitude: f64, frequency: f64 },
    /// Straight lines.
    Lines(Lines),
    /// low + swing·(1 − exp(−t/τ)), minus the same from `width` on.
    Exponential { low: f64, swing: f64, tau: f64, width: Option<f64> },
    /// mean + amplitude·sin 2πft while 0 ≤ t ≤ `end`.
    Burst { mean: f64, amplitude: f64, frequency: f64, end: f64 },
}

/// Straight lines with jumps: between breaks the signal is level + slope·(t − break).
#[derive(Clone, Debug)]
pub(super) struct Lines {
    /// What it rests at before the first break (single shots).
    pub base: f64,
    /// In order of time; of one period where periodic.
    pub breaks: Vec<Break>,
    pub period: Option<f64>,
    /// Mean over a period (periodic only).
    pub mean: f64,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Break {
    pub time: f64,
    /// Level after it minus level before it.
    pub jump: f64,
    /// Slope after it minus slope before it.
    pub bend: f64,
    pub level: f64,
    pub slope: f64,
}

impl Excitation {
    /// Checks a signal.
    ///
    /// # Errors
    /// [`TransientError::Signal`] for numbers that are not finite, times that are not above zero or ramps that do not fit.
    pub fn new(signal: &Signal) -> Result<Self, TransientError> {
        let (low, high) = (signal.low_v, signal.high_v);
        if !matches!(signal.shape, Shape::Points { .. }) {
            finite("low level in V", low)?;
            finite("high level in V", high)?;
        }
        let (mean, swing) = (0.5 * (low + high), high - low);
        let form = match &signal.shape {
            Shape::Sine { frequency_hz } => Form::Sine {
                mean,
                amplitude: 0.5 * swing,
                frequency: positive("frequency in Hz", *frequency_hz)?,
            },
            Shape::Burst { frequency_hz, cycles } => {
                let frequency = positive("frequency in Hz", *frequency_hz)?;
                let cycles = positive("number of cycles", f64::from(*cycles))?;
                Form::Burst { mean, amplitude: 0.5 * swing, frequency, end: cycles / frequency }
            }
            Shape::Exponential { time_constant_s, width_s } => Form::Exponential {
                low,
                swing,
                tau: positive("time constant in s", *time_constant_s)?,
                width: width_s.map(|w| positive("pulse duration in s", w)).transpose()?,
            },
            Shape::Edge { rise_s } => {
                let rise = ramp("rise in s", *rise_s)?;
                Form::Lines(Lines::single(&[(0.0, low), (rise, high)]))
            }
            Shape::Pulse { width_s, rise_s, fall_s } => {
                let (rise, fall) = (ramp("rise in s", *rise_s)?, ramp("fall in s", *fall_s)?);
                let width = positive("pulse duration in s", *width_s)?;
                let down = 0.5 * (rise - fall) + width;
                fits("pulse duration", width, 0.5 * (rise + fall))?;
                let down = down.max(rise);
                Form::Lines(Lines::single(&[(0.0, low), (rise, high), (down, high), (down + fall, low)]))
            }
            Shape::Trapezoid { frequency_hz, duty, rise_s, fall_s } => {
                let (rise, fall) = (ramp("rise in s", *rise_s)?, ramp("fall in s", *fall_s)?);
                let period = 1.0 / positive("frequency in Hz", *frequency_hz)?;
                if !(*duty > 0.0 && *duty < 1.0) {
                    return Err(TransientError::Signal { what: "duty (between 0 and 1)", value: *duty });
                }
                fits("time at the high level", duty * period, 0.5 * (rise + fall))?;
                fits("time at the low level", (1.0 - duty) * period, 0.5 * (rise + fall))?;
                let down = (0.5 * (rise - fall) + duty * period).max(rise);
                let end = (down + fall).min(period);
                let vertices = [(0.0, low), (rise, high), (down, high), (end, low), (period, low)];
                Form::Lines(Lines::periodic(&vertices))
            }
            Shape::Points { time_s, value_v, outside } => {
                if time_s.len() != value_v.len() || time_s.is_empty() {
                    return Err(TransientError::Signal {
                        what: "number of values (one for each time)",
                        value: value_v.len() as f64,
                    });
                }
                for (t, v) in time_s.iter().zip(value_v) {
                    finite("time of a point in s", *t)?;
                    finite("value of a point in V", *v)?;
                }
                if let Some(pair) = time_s.windows(2).find(|pair| !(pair[1] > pair[0])) {
                    return Err(TransientError::Signal {
                        what: "time of a point in s (times must rise)",
                        value: pair[1],
                    });
                }
                let mut vertices: Vec<_> = time_s.iter().copied().zip(value_v.iter().copied()).collect();
                Form::Lines(match outside {
                    Outside::Holds => Lines::single(&vertices),
                    Outside::Repeats { period_s } => {
                        let first = vertices[0];
                        let span = vertices[vertices.len() - 1].0 - first.0;
                        if !(*period_s > span && period_s.is_finite()) {
                            return Err(TransientError::Signal {
                                what: "period in s (more than from first to last point)",
                                value: *period_s,
                            });
                        }
                        vertices.push((first.0 + period_s, first.1));
                        Lines::periodic(&vertices)
                    }
                })
            }
        };
        Ok(Self { form })
    }

    /// The signal at a time (s), V. On a jump it is the value after it.
    pub fn value(&self, time_s: f64) -> f64 {
        match &self.form {
            Form::Sine { mean, amplitude, frequency } => mean + amplitude * sine(*frequency, time_s),
            Form::Lines(lines) => lines.value(time_s),
            Form::Exponential { low, swing, tau, width } => {
                let part = |u: f64| if u > 0.0 { -(-u / tau).exp_m1() } else { 0.0 };
                low + swing * (part(time_s) - width.map_or(0.0, |w| part(time_s - w)))
            }
            Form::Burst { mean, amplitude, frequency, end } => {
                if time_s > 0.0 && time_s < *end {
                    mean + amplitude * sine(*frequency, time_s)
                } else {
                    *mean
                }
            }
        }
    }

    /// The signal at many times (s), V.
    pub fn values(&self, times_s: &[f64]) -> Vec<f64> {
        times_s.iter().map(|t| self.value(*t)).collect()
    }

    /// Duration of a ramp whose spectrum falls as that of the steepest part of this signal, s: 0 where it jumps.
    pub(super) fn shortest_ramp(&self) -> f64 {
        match &self.form {
            Form::Sine { frequency, .. } | Form::Burst { frequency, .. } => 2.0 / (TAU * frequency),
            Form::Exponential { tau, .. } => 2.0 * tau,
            Form::Lines(lines) => {
                let steepest = lines.breaks.iter().map(|b| b.bend.abs()).fold(0.0, f64::max);
                if lines.breaks.iter().any(|b| b.jump != 0.0) {
                    0.0
                } else if steepest > 0.0 {
                    lines.span() / steepest
                } else {
                    f64::INFINITY
                }
            }
        }
    }
}

/// sin 2πft with the whole turns taken out first.
fn sine(frequency: f64, time: f64) -> f64 {
    let turns = frequency * time;
    (TAU * (turns - turns.round())).sin()
}

impl Lines {
    fn single(vertices: &[(f64, f64)]) -> Self {
        Self { base: vertices[0].1, breaks: breaks(vertices, 0.0), period: None, mean: f64::NAN }
    }

    /// The last vertex is the first one, a period later.
    fn periodic(vertices: &[(f64, f64)]) -> Self {
        let (first, last) = (vertices[0], vertices[vertices.len() - 1]);
        let period = last.0 - first.0;
        // Slope with which the period ends: that of the last line that takes time.
        let mut slope = 0.0;
        for pair in vertices.windows(2) {
            if pair[1].0 > pair[0].0 {
                slope = (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0);
            }
        }
        let mut list = breaks(vertices, slope);
        // What ends the period is what starts it; a jump right at its end belongs to the first break.
        if let (Some(end), Some(start)) = (list.pop(), list.first_mut()) {
            start.jump += end.jump;
        }
        let area: f64 = vertices.windows(2).map(|p| 0.5 * (p[0].1 + p[1].1) * (p[1].0 - p[0].0)).sum();
        Self { base: first.1, breaks: list, period: Some(period), mean: area / period }
    }

    pub(super) fn span(&self) -> f64 {
        let (mut low, mut high) = (self.base, self.base);
        for b in &self.breaks {
            low = low.min(b.level).min(b.level - b.jump);
            high = high.max(b.level).max(b.level - b.jump);
        }
        high - low
    }

    fn value(&self, time: f64) -> f64 {
        let first = self.breaks[0].time;
        let time = self.period.map_or(time, |period| first + (time - first).rem_euclid(period));
        match self.breaks.partition_point(|b| b.time <= time) {
            0 => self.base,
            k => {
                let b = self.breaks[k - 1];
                b.level + b.slope * (time - b.time)
            }
        }
    }
}

/// Breaks of a polyline; vertices of equal time are a jump.
fn breaks(vertices: &[(f64, f64)], slope_before: f64) -> Vec<Break> {
    let mut list: Vec<Break> = Vec::with_capacity(vertices.len());
    let mut slope = slope_before;
    let mut k = 0;
    while k < vertices.len() {
        let (time, before) = vertices[k];
        let mut end = k;
        while end + 1 < vertices.len() && vertices[end + 1].0 <= time {
            end += 1;
        }
        let level = vertices[end].1;
        let next = vertices.get(end + 1).map_or(0.0, |v| (v.1 - level) / (v.0 - time));
        list.push(Break { time, jump: level - before, bend: next - slope, level, slope: next });
        slope = next;
        k = end + 1;
    }
    list
}

fn finite(what: &'static str, value: f64) -> Result<f64, TransientError> {
    if value.is_finite() { Ok(value) } else { Err(TransientError::Signal { what, value }) }
}

fn positive(what: &'static str, value: f64) -> Result<f64, TransientError> {
    if value > 0.0 { finite(what, value) } else { Err(TransientError::Signal { what, value }) }
}

fn ramp(what: &'static str, value: f64) -> Result<f64, TransientError> {
    if value >= 0.0 { finite(what, value) } else { Err(TransientError::Signal { what, value }) }
}

/// The 50 % points of two ramps must be at least half of both apart (with rounding).
fn fits(what: &'static str, width: f64, needed: f64) -> Result<(), TransientError> {
    if width >= needed * (1.0 - 1e-9) {
        Ok(())
    } else {
        Err(TransientError::Ramps { what, width_s: width, needed_s: needed })
    }
}
