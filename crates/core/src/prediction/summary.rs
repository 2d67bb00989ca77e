//! What a data sheet would print of probe and input together.

use super::{DATA_SHEET_HZ, HIGHEST_HZ, PredictionError};
use crate::chain::answers::{self, Flatness, NoiseBandwidth, ParallelRc, Ringing};
use crate::chain::{Against, Chain, Coupling};
use crate::divider::Shelf;
use crate::signal::{Shape, Signal};
use crate::transient::{Grid, Motion, Workspace};

/// What a data sheet would print of the combination.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Gain at dc against the source, ideally 1 (coupling left out).
    pub passband_gain: f64,
    /// −3 dB bandwidth against the source, Hz; `None` where there is none up to [`HIGHEST_HZ`].
    pub bandwidth_hz: Option<f64>,
    /// Largest deviations of the gain up to a third of the bandwidth.
    pub flatness: Flatness,
    /// Where that third ends, Hz.
    pub flatness_up_to_hz: f64,
    /// Noise bandwidth against the source.
    pub noise_bandwidth: NoiseBandwidth,
    /// The slowest-dying pair of complex poles; `None` where nothing rings.
    pub ringing: Option<Ringing>,
    /// The divider's error and time constant; `None` where nothing divides.
    pub compensation: Option<Shelf>,
    /// Resistance seen at the tip at dc, Ω.
    pub input_resistance_ohm: f64,
    /// R ∥ C seen at the tip at [`DATA_SHEET_HZ`].
    pub input: ParallelRc,
    /// 10–90 % transition duration for an ideal step of the source, s.
    pub transition_duration_s: Option<f64>,
}

impl Summary {
    pub(super) fn of(chain: &Chain, step: &Step) -> Self {
        let bandwidth_hz = step.bandwidth_hz;
        let flatness_up_to_hz = bandwidth_hz.unwrap_or(HIGHEST_HZ) / 3.0;
        Self {
            passband_gain: answers::passband_gain(chain, Against::Source),
            bandwidth_hz,
            flatness: answers::flatness(chain, Against::Source, flatness_up_to_hz),
            flatness_up_to_hz,
            noise_bandwidth: answers::noise_bandwidth(chain, Against::Source, HIGHEST_HZ),
            ringing: answers::ringing(chain),
            compensation: chain.lumped().map(|lumped| lumped.shelf),
            input_resistance_ohm: answers::equivalent_input(chain, 0.0).resistance_ohm,
            input: answers::equivalent_input(chain, DATA_SHEET_HZ),
            transition_duration_s: step.transition_s(0.0).map(|(_, shown)| shown),
        }
    }
}

/// The response to an ideal step of the source, coupling left out, and the voltage of the node without the probe.
pub(super) struct Step {
    shown: Motion,
    /// Time constant of the node without the probe, s.
    node_s: f64,
    settled: f64,
    bandwidth_hz: Option<f64>,
    /// A scale on which the step rises, s.
    scale_s: f64,
}

fn edge(rise_s: f64) -> Signal {
    Signal { shape: Shape::Edge { rise_s }, low_v: 0.0, high_v: 1.0 }
}

impl Step {
    pub(super) fn of(chain: &Chain, workspace: &mut Workspace) -> Result<Self, PredictionError> {
        // The coupling turns every step back in the long run: what counts here is the step itself.
        let mut direct = chain.clone();
        direct.input.coupling = Coupling::Dc;
        let ideal = edge(0.0);
        let shown_grid = Grid::choose(&direct, &ideal, workspace)?;
        let bandwidth_hz = answers::bandwidth_hz(chain, Against::Source, HIGHEST_HZ);
        Ok(Self {
            shown: Motion::new(&direct, &ideal, &shown_grid, Some(shown_grid.samples()), workspace)?,
            node_s: chain.node.resistance_ohm * chain.node.capacitance_f,
            settled: answers::passband_gain(chain, Against::Source) / chain.ratio,
            bandwidth_hz,
            scale_s: 0.35 / bandwidth_hz.unwrap_or(HIGHEST_HZ),
        })
    }

    /// 10–90 % transition durations, s, of the node without the probe and of the screen, for a ramp of the source.
    ///
    /// The levels are the settled ones: tails count.
    pub(super) fn transition_s(&self, rise_s: f64) -> Option<(f64, f64)> {
        let signal = edge(rise_s);
        let shown = self.shown.for_signal(&signal).ok()?;
        let scale = rise_s.max(self.scale_s);
        let shown = transition_s(|t| shown.value(t) / self.settled, scale)?;
        // An ideal step at a stiff node has no duration.
        let scale = rise_s.max(self.node_s);
        let truth =
            if scale > 0.0 { transition_s(|t| one_pole_ramp(t, rise_s, self.node_s), scale)? } else { 0.0 };
        Some((truth, shown))
    }
}

/// A ramp from 0 to 1 in `rise` s through one pole of time constant `tau` s: (r(t) − r(t − rise))/rise with the response to an endless
/// ramp r(t) = t − τ·(1 − exp(−t/τ)).
fn one_pole_ramp(t: f64, rise: f64, tau: f64) -> f64 {
    let endless = |t: f64| {
        if !(t > 0.0) {
            0.0
        } else if tau > 0.0 {
            t + tau * (-t / tau).exp_m1()
        } else {
            t
        }
    };
    if rise > 1e-9 * tau { (endless(t) - endless(t - rise)) / rise } else { -(-t.max(0.0) / tau).exp_m1() }
}

/// 10–90 % transition duration of a rise from 0 to 1 that starts about time 0: first crossing of 90 % less the last one of 10 %
/// before it.
fn transition_s(rise: impl Fn(f64) -> f64, scale_s: f64) -> Option<f64> {
    let mut before = (-scale_s, rise(-scale_s));
    let mut tenth = None;
    // Steps at growing distances: the crossing may come long after the ramp (a slow node, a tail).
    let mut step = scale_s / 12.0;
    let mut t = -scale_s;
    for _ in 0..300 {
        t += step;
        let now = (t, rise(t));
        if before.1 < 0.1 && now.1 >= 0.1 {
            tenth = Some(crossing(&rise, before.0, now.0, 0.1));
        }
        if before.1 < 0.9 && now.1 >= 0.9 {
            return Some(crossing(&rise, before.0, now.0, 0.9) - tenth?);
        }
        before = now;
        if t > 3.0 * scale_s {
            step *= 1.08;
        }
    }
    None
}

/// Where between two times a rise crosses a level (Illinois).
fn crossing(rise: &impl Fn(f64) -> f64, low: f64, high: f64, level: f64) -> f64 {
    let (mut a, mut fa) = (low, rise(low) - level);
    let (mut b, mut fb) = (high, rise(high) - level);
    for _ in 0..60 {
        let c = if fb > fa { (fb * a - fa * b) / (fb - fa) } else { 0.5 * (a + b) };
        let fc = rise(c) - level;
        if fc.abs() < 1e-12 || (b - a).abs() < 1e-9 * (high - low) {
            return c;
        }
        if fc < 0.0 {
            (a, fa) = (c, fc);
            fb *= 0.5;
        } else {
            (b, fb) = (c, fc);
            fa *= 0.5;
        }
    }
    0.5 * (a + b)
}
