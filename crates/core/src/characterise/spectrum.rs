//! Windowed sums over the differences of a step, and the variance that noise gives them.

use super::column::Column;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Periods of a frequency that its window holds at most.
pub const PERIODS: f64 = 24.0;
/// Points of a period that averaging leaves at least.
const POINTS_PER_PERIOD: f64 = 128.0;
/// Share of the window before the edge, where there is room.
const BEFORE: f64 = 0.25;

/// A window about an edge, in samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Window {
    pub(super) before: f64,
    pub(super) after: f64,
}

impl Window {
    /// The window for a frequency (periods per sample), within the room there is and no shorter than `least` samples.
    pub(super) fn for_frequency(frequency: f64, periods: f64, least: f64, room: &Window) -> Window {
        let length = (periods / frequency).max(least);
        Window {
            before: (BEFORE * length).min(room.before),
            after: ((1.0 - BEFORE) * length).min(room.after),
        }
    }

    /// Weight at a distance from the edge, samples: flat on the inner halves, half cosines outside.
    fn weight(&self, distance: f64) -> f64 {
        let share = if distance < 0.0 { -distance / self.before } else { distance / self.after };
        if share <= 0.5 {
            1.0
        } else if share >= 1.0 {
            0.0
        } else {
            0.5 + 0.5 * (TAU * (share - 0.5)).cos()
        }
    }

    fn length(&self) -> f64 {
        self.before + self.after
    }
}

/// The resolution that suits a frequency: 128 points a period, and 48 across the window.
pub(super) fn level_for(frequency: f64, window: &Window, column: &Column) -> usize {
    let by_period = 1.0 / (frequency * POINTS_PER_PERIOD);
    let by_window = 0.5 * window.before.min(window.after) / 24.0;
    let block = by_period.min(by_window);
    if block >= 2.0 { (block.log2() as usize).min(column.highest()) } else { 0 }
}

/// Values of a level under a window: first index and the weights of the differences between value k and k + 1.
struct Weights {
    first: usize,
    weights: Vec<f64>,
    block: f64,
    /// Position of value `first`, in samples from the edge.
    start: f64,
}

fn weights(values: usize, level: usize, window: &Window, at: f64) -> Weights {
    let block = (1u64 << level) as f64;
    // Position of value k is (k + ½)·block − ½.
    let index = |position: f64| (position + 0.5) / block - 0.5;
    let first = index(at - window.before).floor().max(0.0) as usize;
    let last = (index(at + window.after).ceil().max(0.0) as usize).min(values.saturating_sub(1));
    let start = (first as f64 + 0.5) * block - 0.5 - at;
    let weights =
        (0..last.saturating_sub(first)).map(|k| window.weight(start + (k as f64 + 0.5) * block)).collect();
    Weights { first, weights, block, start }
}

/// D(f) of one edge with its time counted from `at` (samples); what averaging and differencing do to a step is taken out.
pub(super) fn difference(
    column: &Column,
    level: usize,
    window: &Window,
    at: f64,
    frequency: f64,
) -> Complex64 {
    let values = column.level(level);
    let w = weights(values.len(), level, window, at);
    let mut turn = Complex64::cis(-TAU * frequency * (w.start + 0.5 * w.block));
    let step = Complex64::cis(-TAU * frequency * w.block);
    let mut sum = Complex64::new(0.0, 0.0);
    for (k, weight) in w.weights.iter().enumerate() {
        sum += turn * (weight * (values[w.first + k + 1] - values[w.first + k]));
        turn *= step;
    }
    sum / sampled_step(frequency, w.block)
}

/// Averaging `block` samples and differencing the averages multiplies a step's spectrum by this.
fn sampled_step(frequency: f64, block: f64) -> f64 {
    let half = PI * frequency;
    if half <= 0.0 {
        return 1.0;
    }
    // Mean of samples: sin(πfB)/(B·sin(πf)); difference over B samples of a step: sin(πfB)/(πfB).
    let wide = (half * block).sin();
    (wide / (block * half.sin())) * (wide / (half * block))
}

/// What noise of the values makes of D(f) relative to itself, less what it makes of D(0): variances of the logarithm of the
/// gain and of the phase, for one edge.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Variance {
    pub(super) gain: f64,
    pub(super) phase: f64,
}

/// The frequency and its window, and what D is there.
pub(super) struct At {
    pub(super) frequency: f64,
    pub(super) level: usize,
    pub(super) window: Window,
    /// D(f), mean over the edges.
    pub(super) value: Complex64,
}

/// Noise on the relative gain. `whole` is the window of D(0) = `amplitude`.
pub(super) fn variance(column: &Column, at: &At, whole: &Window, amplitude: f64) -> Variance {
    let same = at.window == *whole;
    let level = at.level;
    let sigma = column.noise(level);
    let values = column.level(level).len();
    let block = (1u64 << level) as f64;
    // An edge in the middle of the values, so that the window is not cut.
    let middle = (0.5 * values as f64).floor().max(at.window.before / block + 1.0);
    let position = (middle + 0.5) * block - 0.5;
    let w = weights(usize::MAX, level, &at.window, position);
    let scale = 1.0 / (at.value * sampled_step(at.frequency, w.block));
    let step = Complex64::cis(-TAU * at.frequency * w.block);
    let mut turn = Complex64::cis(-TAU * at.frequency * (w.start + 0.5 * w.block)) * scale;
    let (mut gain, mut phase) = (0.0, 0.0);
    let mut add = |c: Complex64, zero: f64| {
        gain += (c.re - zero).powi(2);
        phase += c.im * c.im;
    };
    // Value k stands in the difference before it and in the one after it.
    let mut before = (Complex64::new(0.0, 0.0), 0.0);
    for weight in w.weights.iter().copied().chain(std::iter::once(0.0)) {
        let now = (turn * weight, weight);
        let zero = if same { (before.1 - now.1) / amplitude } else { 0.0 };
        add(before.0 - now.0, zero);
        before = now;
        turn *= step;
    }
    let levels = if same { 0.0 } else { level_variance(column, whole, amplitude) };
    Variance { gain: sigma * sigma * gain + levels, phase: sigma * sigma * phase }
}

/// Relative variance of D(0), the difference of the levels, for one edge.
pub(super) fn level_variance(column: &Column, whole: &Window, amplitude: f64) -> f64 {
    // White within each half cosine: Σ(w_k − w_{k−1})² over L samples of a half cosine is π²/(8·L)·… with L = half the side.
    let level = level_for(PERIODS / whole.length(), whole, column);
    let block = (1u64 << level) as f64;
    let of = |side: f64| PI * PI / 8.0 / (0.5 * side / block);
    let sigma = column.noise(level);
    sigma * sigma * (of(whole.before) + of(whole.after)) / (amplitude * amplitude)
}
