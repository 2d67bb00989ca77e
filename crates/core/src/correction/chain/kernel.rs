//! A finite kernel from a response over frequency, and a record through it in blocks (overlap-save).

use std::collections::VecDeque;
use std::sync::Arc;

use num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// Lengths over which kernels are made.
const SHORTEST: usize = 1 << 11;
const LONGEST: usize = 1 << 18;

/// Share of the kernel's total size that may be left out on both sides together.
const ENOUGH: f64 = 1e-6;
/// Share that lies outside what counts as its core.
const CORE: f64 = 1e-3;

/// Weights from `reach` samples after a sample to `reach` before it.
#[derive(Clone, Debug)]
pub(super) struct Kernel {
    /// Of the sample `reach − k` after: `weights[reach]` is the sample's own.
    weights: Vec<f64>,
    pub(super) reach: usize,
    /// Samples to each side that all but a thousandth of it lie within.
    pub(super) core: usize,
    /// Size of what was left out.
    pub(super) left_out: f64,
    /// Sums of sizes of all weights more than k samples before, and after.
    before: Vec<f64>,
    after: Vec<f64>,
}

impl Kernel {
    /// The kernel of whole/recursion, and the mean of |whole|² over all frequencies.
    pub(super) fn of(
        interval_s: f64,
        whole: impl Fn(f64) -> Complex64,
        recursion: impl Fn(f64) -> Complex64,
    ) -> (Self, f64) {
        let mut length = SHORTEST;
        loop {
            let half = length / 2;
            let (mut spectrum, mut power) = (Vec::with_capacity(half + 1), 0.0);
            for k in 0..=half {
                let frequency_hz = k as f64 / (length as f64 * interval_s);
                let value = whole(frequency_hz);
                // All but the first and the last stand for two.
                power += value.norm_sqr() * if k == 0 || k == half { 1.0 } else { 2.0 };
                spectrum.push(value / recursion(frequency_hz));
            }
            spectrum[0].im = 0.0;
            spectrum[half].im = 0.0;
            let mut circle = vec![0.0; length];
            let back = RealFftPlanner::new().plan_fft_inverse(length);
            // Lengths agree and both ends are real, so that this cannot fail.
            let _ = back.process(&mut spectrum, &mut circle);
            circle.iter_mut().for_each(|v| *v /= length as f64);
            let (kernel, fits) = Self::cut(&circle);
            if fits || length >= LONGEST {
                return (kernel, power / length as f64);
            }
            length *= 2;
        }
    }

    /// Cuts what lies far from the middle of a circle of weights; whether what counts fits into its half.
    fn cut(circle: &[f64]) -> (Self, bool) {
        let (length, half) = (circle.len(), circle.len() / 2);
        let total: f64 = circle.iter().map(|v| v.abs()).sum();
        let ring = |k: usize| circle[k].abs() + circle[length - k].abs();
        let (mut outside, mut reach, mut core) = (0.0, half - 1, half - 1);
        for k in (1..half).rev() {
            if outside + ring(k) <= ENOUGH * total {
                reach = k - 1;
            }
            if outside + ring(k) <= CORE * total {
                core = k - 1;
            }
            outside += ring(k);
        }
        let fits = reach <= length / 4;
        let reach = reach.max(1).min(length / 4);
        let weights: Vec<f64> = (0..=2 * reach).map(|k| circle[(k + length - reach) % length]).collect();
        let kept: f64 = weights.iter().map(|v| v.abs()).sum();
        // circle[k] weighs the sample k before, circle[length − k] the one k after.
        let tail = |weight: &dyn Fn(usize) -> f64| {
            let mut sums = vec![0.0; reach + 1];
            for k in (0..reach).rev() {
                sums[k] = sums[k + 1] + weight(k + 1).abs();
            }
            sums
        };
        let before = tail(&|k| circle[k]);
        let after = tail(&|k| circle[length - k]);
        (
            Self { weights, reach, core: core.min(reach), left_out: (total - kept).max(0.0), before, after },
            fits,
        )
    }

    /// The same kernel with weights of nil put to both sides, so that several act in step.
    pub(super) fn widen(&mut self, reach: usize) {
        let more = reach.saturating_sub(self.reach);
        let nil = std::iter::repeat_n(0.0, more);
        self.weights = nil.clone().chain(self.weights.drain(..)).chain(nil).collect();
        self.reach += more;
    }

    /// Size of the weights that lie before the record's start for sample number `at`.
    pub(super) fn beyond_start(&self, at: usize) -> f64 {
        self.before.get(at).copied().unwrap_or(0.0)
    }

    /// How many first samples a record has before all further ones are within something as to what lies before it.
    pub(super) fn first_before(&self, within: impl Fn(f64) -> bool) -> usize {
        self.before.iter().position(|size| within(*size)).unwrap_or(self.before.len())
    }

    /// The same from its end backwards.
    pub(super) fn first_after(&self, within: impl Fn(f64) -> bool) -> usize {
        self.after.iter().position(|size| within(*size)).unwrap_or(self.after.len())
    }

    /// Size of the weights behind its end, `left` samples being left.
    pub(super) fn beyond_end(&self, left: usize) -> f64 {
        self.after.get(left).copied().unwrap_or(0.0)
    }
}

/// A record through a kernel. Before its first sample it holds that sample's value.
pub(super) struct Blocks {
    kernel: Kernel,
    forward: Arc<dyn RealToComplex<f64>>,
    back: Arc<dyn ComplexToReal<f64>>,
    spectrum: Vec<Complex64>,
    /// The last 2·reach samples, then room for a block.
    held: Vec<f64>,
    work: Vec<f64>,
    product: Vec<Complex64>,
    begun: bool,
    out: VecDeque<f64>,
    first_wanted: bool,
}

impl Blocks {
    pub(super) fn new(kernel: Kernel) -> Self {
        let length = (8 * kernel.reach).next_power_of_two().max(4096);
        let mut planner = RealFftPlanner::new();
        let (forward, back) = (planner.plan_fft_forward(length), planner.plan_fft_inverse(length));
        // weights[k] belongs to the sample k − reach before: as a causal kernel, delayed by reach.
        let mut causal = vec![0.0; length];
        causal[..kernel.weights.len()].copy_from_slice(&kernel.weights);
        let mut spectrum = forward.make_output_vec();
        // Lengths agree, so that this cannot fail.
        let _ = forward.process(&mut causal, &mut spectrum);
        Self {
            held: vec![0.0; length],
            work: vec![0.0; length],
            product: spectrum.clone(),
            spectrum,
            forward,
            back,
            begun: false,
            out: VecDeque::new(),
            first_wanted: true,
            kernel,
        }
    }

    pub(super) fn kernel(&self) -> &Kernel {
        &self.kernel
    }

    /// How many samples the next block takes: the first gives `reach` fewer out.
    pub(super) fn wanted(&self) -> usize {
        self.held.len() - 2 * self.kernel.reach
    }

    pub(super) fn ready(&self) -> usize {
        self.out.len()
    }

    /// The last sample that was taken in.
    pub(super) fn last(&self) -> Option<f64> {
        self.begun.then(|| self.held[2 * self.kernel.reach - 1])
    }

    pub(super) fn next(&mut self) -> f64 {
        self.out.pop_front().unwrap_or(f64::NAN)
    }

    /// Takes a block of as many samples as are wanted.
    pub(super) fn take(&mut self, samples: &[f64]) {
        let past = 2 * self.kernel.reach;
        if !self.begun {
            self.held[..past].fill(samples.first().copied().unwrap_or(0.0));
            self.begun = true;
        }
        self.held[past..past + samples.len()].copy_from_slice(samples);
        self.work.copy_from_slice(&self.held);
        // As above: lengths agree.
        let _ = self.forward.process(&mut self.work, &mut self.product);
        for (product, spectrum) in self.product.iter_mut().zip(&self.spectrum) {
            *product *= spectrum;
        }
        if let [first, .., last] = &mut self.product[..] {
            (first.im, last.im) = (0.0, 0.0);
        }
        let _ = self.back.process(&mut self.product, &mut self.work);
        let scale = 1.0 / self.work.len() as f64;
        // work[past + i] is the answer for the sample `reach` before samples[i].
        let skip = if self.first_wanted { self.kernel.reach } else { 0 };
        self.out.extend(self.work[past + skip..].iter().map(|v| scale * v));
        self.first_wanted = false;
        let end = self.held.len();
        self.held.copy_within(end - past..end, 0);
    }
}
