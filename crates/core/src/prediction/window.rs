//! Which stretch of time is looked at, and how closely: both ends of the time scale in one list of times.

use crate::chain::{Against, Chain, answers};
use crate::pulse::Span;
use crate::signal::{Outside, Shape, Signal};

/// Below this compensation error its tail is not waited for.
const NEGLIGIBLE_ERROR: f64 = 1e-5;

/// Times about each corner of a long ramp, a seventh of the corner's scale apart.
const CORNER_TIMES: i32 = 40;

/// Where and how closely a signal behind a chain is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// All of it, s.
    pub span: Span,
    /// Where transitions of the signal start, s.
    pub transitions_s: Vec<f64>,
    /// The scale of what follows a transition at once: edge, delay, ringing, s.
    pub fast_s: f64,
    /// The same without the edge: how long the corner at either end of a ramp takes, s.
    pub corner_s: f64,
    /// Where ramps end, s.
    pub ramp_ends_s: Vec<f64>,
}

impl Window {
    /// A window that shows the transitions, what follows them, and the slow tail of the divider.
    pub fn of(chain: &Chain, signal: &Signal) -> Self {
        let corner_s = corner_scale_s(chain);
        let fast_s = shortest_ramp_s(signal).unwrap_or(0.0).max(corner_s);
        let slow_s = slow_scale_s(chain);
        let single = |last: f64, transitions: &[f64]| {
            let after = (30.0 * fast_s).max(8.0 * slow_s).max(2.0 * last);
            Self {
                span: Span { start_s: -0.25 * after, end_s: last + after },
                transitions_s: transitions.to_vec(),
                fast_s,
                corner_s,
                ramp_ends_s: Vec::new(),
            }
        };
        match &signal.shape {
            Shape::Sine { frequency_hz } => Self {
                span: Span { start_s: 0.0, end_s: 2.0 / frequency_hz },
                transitions_s: Vec::new(),
                fast_s: 0.05 / frequency_hz,
                corner_s,
                ramp_ends_s: Vec::new(),
            },
            Shape::Trapezoid { frequency_hz, duty, rise_s, fall_s } => {
                let period = 1.0 / frequency_hz;
                let down = duty * period + 0.5 * (rise_s - fall_s);
                let transitions = [0.0, down, period, down + period];
                Self {
                    span: Span { start_s: -0.1 * period, end_s: 1.9 * period },
                    transitions_s: transitions.into_iter().filter(|t| *t < 1.9 * period).collect(),
                    fast_s: fast_s.min(0.05 * period),
                    corner_s: corner_s.min(0.05 * period),
                    ramp_ends_s: vec![*rise_s, down + fall_s],
                }
            }
            Shape::Pulse { width_s, rise_s, fall_s } => {
                let down = width_s + 0.5 * (rise_s - fall_s);
                Self {
                    span: Span { start_s: -0.5 * width_s, end_s: down + width_s.max(30.0 * fast_s) },
                    transitions_s: vec![0.0, down],
                    fast_s,
                    corner_s,
                    ramp_ends_s: vec![*rise_s, down + fall_s],
                }
            }
            Shape::Edge { rise_s } => Self { ramp_ends_s: vec![*rise_s], ..single(0.0, &[0.0]) },
            Shape::Exponential { time_constant_s, width_s: None } => single(8.0 * time_constant_s, &[0.0]),
            Shape::Exponential { width_s: Some(width_s), .. } => single(*width_s, &[0.0, *width_s]),
            Shape::Burst { frequency_hz, cycles } => {
                let end = f64::from(*cycles) / frequency_hz;
                Self {
                    span: Span { start_s: -0.1 * end, end_s: 1.3 * end + 10.0 * fast_s },
                    transitions_s: vec![0.0, end],
                    fast_s: fast_s.min(0.05 / frequency_hz),
                    corner_s,
                    ramp_ends_s: Vec::new(),
                }
            }
            Shape::Points { time_s, outside, .. } => {
                let (first, last) = (time_s.first().copied(), time_s.last().copied());
                let (first, last) = (first.unwrap_or(0.0), last.unwrap_or(1.0));
                let end = match outside {
                    Outside::Holds => last + 0.05 * (last - first),
                    Outside::Repeats { period_s } => first + period_s,
                };
                Self {
                    span: Span { start_s: first, end_s: end },
                    transitions_s: Vec::new(),
                    fast_s,
                    corner_s,
                    ramp_ends_s: Vec::new(),
                }
            }
        }
    }

    /// About `count` times from start to end: evenly spaced, and closely spaced after each transition, ever less so with
    /// the distance from it.
    pub fn times(&self, count: usize) -> Vec<f64> {
        let Span { start_s, end_s } = self.span;
        let even = |count: usize| {
            (0..count).map(move |k| start_s + (end_s - start_s) * k as f64 / (count - 1) as f64)
        };
        if self.transitions_s.is_empty() {
            return even(count.max(2)).collect();
        }
        let each = 3 * count / (4 * self.transitions_s.len());
        let mut times: Vec<f64> = even((count - each * self.transitions_s.len()).max(2)).collect();
        for (index, &transition) in self.transitions_s.iter().enumerate() {
            let until = self.transitions_s.get(index + 1).copied().unwrap_or(end_s);
            after(transition, until - transition, self.fast_s, each, &mut times);
        }
        // Ramps much longer than the corners at their ends: these get times of their own.
        if self.corner_s < 0.3 * self.fast_s {
            let starts = self.transitions_s.iter().take(self.ramp_ends_s.len());
            for corner in starts.chain(&self.ramp_ends_s) {
                let step = self.corner_s / 7.0;
                times.extend((-7..=CORNER_TIMES - 7).map(|k| corner + step * f64::from(k)));
            }
        }
        times.retain(|t| (start_s..=end_s).contains(t));
        times.sort_by(f64::total_cmp);
        times.dedup();
        times
    }
}

/// Half of the times evenly about the transition, the other half at growing distances until `length` after it.
fn after(transition: f64, length: f64, fast_s: f64, count: usize, times: &mut Vec<f64>) {
    let close = count / 2;
    let reach = (12.0 * fast_s).min(length);
    times.extend(
        (0..close)
            .map(|k| transition - 1.5 * fast_s + (reach + 1.5 * fast_s) * k as f64 / close.max(1) as f64),
    );
    let far = count - close;
    let growth = length / reach;
    if growth > 1.0 && growth.is_finite() {
        times.extend((0..far).map(|k| transition + reach * growth.powf(k as f64 / far.max(1) as f64)));
    }
}

/// Delay and response of the chain, s.
fn corner_scale_s(chain: &Chain) -> f64 {
    let line =
        chain.cable.length_m * (chain.cable.inductance_h_per_m * chain.cable.capacitance_f_per_m).sqrt();
    let response = answers::bandwidth_hz(chain, Against::Source, 1e11).map_or(0.0, |f| 0.35 / f);
    response.max(line).max(1e-12)
}

/// The slowest time constant of the divider and the node that shows in the answer, s.
fn slow_scale_s(chain: &Chain) -> f64 {
    let node = chain.node.resistance_ohm
        * (chain.node.capacitance_f
            + chain.tip.body_capacitance_f
            + chain.lumped().map_or(chain.shunt_capacitance_f(), |l| l.capacitances.seen_at_tip_f()));
    let tail = chain.lumped().filter(|l| l.shelf.error.abs() > NEGLIGIBLE_ERROR);
    node.max(tail.map_or(0.0, |l| l.shelf.time_constant_s))
}

/// The shortest ramp of a signal, end to end, s; `None` where it has none of its own.
pub(super) fn shortest_ramp_s(signal: &Signal) -> Option<f64> {
    match &signal.shape {
        Shape::Trapezoid { rise_s, fall_s, .. } | Shape::Pulse { rise_s, fall_s, .. } => {
            Some(rise_s.min(*fall_s))
        }
        Shape::Edge { rise_s } => Some(*rise_s),
        Shape::Points { time_s, .. } => time_s.windows(2).map(|pair| pair[1] - pair[0]).reduce(f64::min),
        Shape::Sine { .. } | Shape::Exponential { .. } | Shape::Burst { .. } => None,
    }
}
