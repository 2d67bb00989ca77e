//! Tables of a response over time, from samples of its spectrum, and the interpolation in them.

use super::TransientError;
use super::tail::Tail;
use num_complex::Complex64;
use realfft::RealFftPlanner;
use std::f64::consts::TAU;

/// Plans and buffers of the transforms, kept from one response to the next.
pub struct Workspace {
    planner: RealFftPlanner<f64>,
    spectrum: Vec<Complex64>,
    scratch: Vec<Complex64>,
    wave: Vec<f64>,
}

impl Default for Workspace {
    fn default() -> Self {
        Self::new()
    }
}

impl Workspace {
    /// An empty one.
    pub fn new() -> Self {
        Self { planner: RealFftPlanner::new(), spectrum: vec![], scratch: vec![], wave: vec![] }
    }
}

/// Table nodes per period of the highest frequency in the table.
pub(super) const NODES_PER_PERIOD: f64 = 5.0;

/// A stretch of the spectrum, and the window of time that its response fills.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Band {
    /// Partition frequencies ω, rad/s, at which this band takes over from the one below (0: there is none) and
    /// hands over to the one above.
    pub from: f64,
    pub to: f64,
    /// Start of the window, s after the event; a multiple of `step`.
    pub start: f64,
    pub step: f64,
    /// Nodes; the window is `nodes`·`step` long.
    pub nodes: usize,
    /// First and last multiple of the line spacing with a sample.
    pub first: usize,
    pub last: usize,
}

/// Half width of a hand-over, as a share of its frequency, and its shape erfc(x/√2) with x up to this many.
const HALF_WIDTH: f64 = 0.5;
const SIGMAS: f64 = 5.0;

/// A response to a hand-over dies within this over its frequency (both sides): exp(−x²/2) at x = 5.5.
pub(super) const HAND_OVER_TIME: f64 = 5.5 * SIGMAS / HALF_WIDTH;

impl Band {
    /// A band whose window is at least `window` long and starts near `start`.
    pub(super) fn new(from: f64, to: f64, start: f64, window: f64) -> Self {
        let top = to * (1.0 + HALF_WIDTH);
        let nodes = friendly(NODES_PER_PERIOD * top * window / TAU);
        let step = window / nodes as f64;
        let spacing = TAU / window;
        let last = ((top / spacing).floor() as usize).min(nodes / 2 - 1);
        let first = if from > 0.0 { (from * (1.0 - HALF_WIDTH) / spacing).ceil() as usize } else { 0 };
        Self { from, to, start: (start / step).floor() * step, step, nodes, first, last: last.max(first) }
    }

    pub(super) fn window(&self) -> f64 {
        self.step * self.nodes as f64
    }

    pub(super) fn samples(&self) -> usize {
        self.last + 1 - self.first
    }

    pub(super) fn frequencies(&self, sigma: f64) -> impl Iterator<Item = Complex64> + '_ {
        let spacing = TAU / self.window();
        (self.first..=self.last).map(move |n| Complex64::new(sigma, n as f64 * spacing))
    }

    /// Share of this band at a frequency ω; those of all bands add up to one, up to the top one's end.
    pub(super) fn share(&self, omega: f64) -> f64 {
        let below = if self.from > 0.0 { hand_over(omega, self.from) } else { 0.0 };
        hand_over(omega, self.to) - below
    }
}

/// Falls smoothly from 1 to 0 around `at`.
fn hand_over(omega: f64, at: f64) -> f64 {
    let x = (omega / at - 1.0) * (SIGMAS / HALF_WIDTH);
    if x < -SIGMAS {
        1.0
    } else if x > SIGMAS {
        0.0
    } else {
        0.5 * libm::erfc(x * std::f64::consts::FRAC_1_SQRT_2)
    }
}

/// The next even length that transforms fast.
pub(super) fn friendly(at_least: f64) -> usize {
    let mut power = 16;
    loop {
        for length in [power, power / 4 * 5, power / 2 * 3, power / 4 * 7] {
            if length as f64 >= at_least {
                return length;
            }
        }
        power *= 2;
    }
}

/// Value, first and second derivative (times step and step²) at equidistant places; quintic between them.
#[derive(Clone, Debug)]
pub(super) struct Table {
    start: f64,
    step: f64,
    /// 1/step.
    rate: f64,
    nodes: Vec<[f64; 3]>,
}

/// What a line of a spectrum is multiplied with for each derivative.
fn powers(s: Complex64) -> [Complex64; 3] {
    [Complex64::ONE, s, s * s]
}

impl Table {
    /// From a band's samples of F on the line Re s = σ; `tail` is known to remain of F's response after the window (lowest
    /// band only).
    ///
    /// # Errors
    /// [`TransientError::Transform`] does not occur for lengths of [`friendly`].
    pub(super) fn of_band(
        band: &Band,
        sigma: f64,
        samples: &[Complex64],
        tail: Option<&Tail>,
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        let (count, step, start) = (band.nodes, band.step, band.start);
        let mut nodes = vec![[0.0; 3]; count];
        let shift = (-(start / step).round()) as i64;
        let spacing = TAU / band.window();
        let shares: Vec<f64> =
            (band.first..=band.last).map(|n| band.share(n as f64 * spacing) / band.window()).collect();
        // exp(σu) by multiplication.
        let growth = (sigma * step).exp();
        let mut unit = 1.0;
        for order in 0..3 {
            workspace.spectrum.clear();
            workspace.spectrum.resize(count / 2 + 1, Complex64::ZERO);
            for ((n, f), share) in (band.first..=band.last).zip(samples).zip(&shares) {
                let s = Complex64::new(sigma, n as f64 * spacing);
                workspace.spectrum[n] = f * powers(s)[order] * *share;
            }
            workspace.spectrum[0].im = 0.0;
            inverse(workspace, count)?;
            let mut factor = unit * (sigma * start).exp();
            // Index of the wave that belongs to the first node.
            let mut index = (-shift).rem_euclid(count as i64) as usize;
            for node in &mut nodes {
                node[order] = workspace.wave[index] * factor;
                factor *= growth;
                index += 1;
                if index == count {
                    index = 0;
                }
            }
            unit *= step;
        }
        if let Some(tail) = tail {
            tail.repeated(band.window(), sigma).march(start, step, count, |k, [value, rate, curvature]| {
                nodes[k][0] -= value;
                nodes[k][1] -= rate * step;
                nodes[k][2] -= curvature * step * step;
            });
        }
        Ok(Self { start, step, rate: 1.0 / step, nodes })
    }

    /// From the harmonics 1, 2, … of a period: two periods' ends coincide, so that every phase is inside.
    pub(super) fn of_harmonics(
        period: f64,
        samples: &[Complex64],
        top: f64,
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        let count = friendly(NODES_PER_PERIOD * samples.len() as f64);
        let step = period / count as f64;
        let mut nodes = vec![[0.0; 3]; count + 1];
        let mut unit = 1.0;
        for order in 0..3 {
            workspace.spectrum.clear();
            workspace.spectrum.resize(count / 2 + 1, Complex64::ZERO);
            for (n, f) in samples.iter().enumerate() {
                let s = Complex64::new(0.0, (n + 1) as f64 * TAU / period);
                workspace.spectrum[n + 1] = f * powers(s)[order] * (hand_over(s.im, top) / period);
            }
            inverse(workspace, count)?;
            for (k, node) in nodes.iter_mut().enumerate() {
                node[order] = workspace.wave[k % count] * unit;
            }
            unit *= step;
        }
        Ok(Self { start: 0.0, step, rate: 1.0 / step, nodes })
    }

    /// Value (order 0) at u, or its derivative (order 1); nil outside of the table.
    #[inline]
    pub(super) fn value(&self, u: f64, order: usize) -> f64 {
        let place = (u - self.start) * self.rate;
        let last = self.nodes.len() - 1;
        if !(place >= 0.0 && place <= last as f64) {
            return 0.0;
        }
        let k = (place as usize).min(last - 1);
        let t = place - k as f64;
        let &[[f0, d0, s0], [f1, d1, s1]] = &self.nodes[k..k + 2] else { return 0.0 };
        let half = 0.5 * s0;
        let (gap, turn, bend) = (f1 - f0 - d0 - half, d1 - d0 - s0, s1 - s0);
        let a3 = 10.0 * gap - 4.0 * turn + 0.5 * bend;
        let a4 = -15.0 * gap + 7.0 * turn - bend;
        let a5 = 6.0 * gap - 3.0 * turn + 0.5 * bend;
        if order == 0 {
            f0 + t * (d0 + t * (half + t * (a3 + t * (a4 + t * a5))))
        } else {
            (d0 + t * (s0 + t * (3.0 * a3 + t * (4.0 * a4 + t * 5.0 * a5)))) * self.rate
        }
    }

    pub(super) fn start(&self) -> f64 {
        self.start
    }

    pub(super) fn end(&self) -> f64 {
        self.start + self.step * (self.nodes.len() - 1) as f64
    }

    /// Largest difference of the value or derivative from `known` over a stretch of nodes (shares of the length).
    pub(super) fn worst(&self, from: f64, to: f64, order: usize, known: impl Fn(f64) -> f64) -> f64 {
        let length = self.nodes.len();
        let (first, last) =
            ((from * length as f64) as usize, ((to * length as f64).ceil() as usize).min(length));
        let unit = if order == 0 { 1.0 } else { self.step };
        // NaN must not hide behind max().
        self.nodes[first..last].iter().enumerate().fold(0.0, |worst, (k, node)| {
            let u = self.start + (first + k) as f64 * self.step;
            let off = (node[order] / unit - known(u)).abs();
            if off > worst || off.is_nan() { off } else { worst }
        })
    }
}

/// Spectrum to wave in the workspace.
fn inverse(workspace: &mut Workspace, count: usize) -> Result<(), TransientError> {
    let plan = workspace.planner.plan_fft_inverse(count);
    workspace.wave.resize(count, 0.0);
    workspace.scratch.resize(plan.get_scratch_len(), Complex64::ZERO);
    let half = workspace.spectrum.len() - 1;
    workspace.spectrum[half].im = 0.0;
    plan.process_with_scratch(&mut workspace.spectrum, &mut workspace.wave, &mut workspace.scratch)
        .map_err(|_| TransientError::Transform { length: count })
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};

    #[test]
    fn shares_of_neighbouring_bands_add_up_to_one() {
        let bands = [Band::new(0.0, 10.0, 0.0, 100.0), Band::new(10.0, 300.0, 0.0, 20.0)];
        for k in 0..1400 {
            let omega = 0.1 * k as f64;
            let sum: f64 = bands.iter().map(|b| b.share(omega)).sum();
            assert_close!(sum, 1.0, within(1e-12), "at {omega}");
        }
    }

    #[test]
    fn a_quintic_is_its_own_interpolation() {
        let f = |x: f64| 1.0 - 2.0 * x + x.powi(3) - 0.5 * x.powi(5);
        let nodes = [0.3, 0.8].map(|x: f64| {
            [f(x), (-2.0 + 3.0 * x * x - 2.5 * x.powi(4)) * 0.5, (6.0 * x - 10.0 * x.powi(3)) * 0.25]
        });
        let table = Table { start: 0.3, step: 0.5, rate: 2.0, nodes: nodes.to_vec() };
        for x in [0.3, 0.41, 0.55, 0.79, 0.8] {
            assert_close!(table.value(x, 0), f(x), within(1e-13));
            assert_close!(table.value(x, 1), -2.0 + 3.0 * x * x - 2.5 * x.powi(4), within(1e-12));
        }
        assert_close!(table.value(0.81, 0), 0.0, within(0.0));
        assert_close!(table.value(0.29, 0), 0.0, within(0.0));
    }
}
