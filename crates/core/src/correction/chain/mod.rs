//! The whole chain undone: bandwidth, ringing of the ground lead, cable, loading, up to a stated bandwidth and no further.
//!
//! With M = N·H the chain's gain (the screen per volt at the reference) the record is turned into what the reference would show through a
//! Gaussian of −3 dB bandwidth F: L(f) = 2^(−(f/F)²/2). K = L/M; below F it restores, above it fades out faster than any chain,
//! so that content which the record does not hold is not made up. F is given, or is what makes noise and loss together least (the sum
//! of |K|²·noise and (1 − L)²·signal/|M|², both as the record's own spectrum shows them). Where |K| would exceed a limit, F is lowered
//! until it does not: see [`Chosen::limited_from_hz`].
//!
//! The delay of the chain stays in: the record keeps the time of the screen, and what is not known of the delay does not count. It is
//! stated ([`ChainSummary::delay_s`]): the signal came by so much earlier.
//!
//! How K acts: the slow pole and zero of a divider on its input ([`slow_shelf`]) are undone by the recursion of [`super::shelf`], the rest
//! by a finite kernel through blocks of Fourier transforms. Blocks lie at fixed samples: asking in other pieces gives the same bits.
//!
//! Uncertainty: noise through K (white); what the doubts about the chain do to this very record, one by one (JCGM 100, 5.1.2); what was
//! before the record and what lies beyond its ends, anywhere within its range.

mod choose;
mod kernel;

pub use choose::{Chosen, Question, Wish, choose};

use std::collections::VecDeque;
use std::ops::Range;

use kernel::{Blocks, Kernel};
use num_complex::Complex64;

use super::Written;
use super::shelf::{Before, KnownShelf, Setting, ShelfCorrector};
use crate::chain::{Against, Cause, Chain, Coupling, Transfer, Variant};
use crate::divider::Shelf;
use crate::samples::SampleView;

/// What the corrected record shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// The voltage at the tip with the probe on it.
    Tip,
    /// The voltage that the node has without the probe.
    UnloadedNode,
}

/// A chain that cannot be undone.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ChainCorrectionError {
    /// Even slow signals do not come through.
    #[error(
        "the chain's gain at dc is {gain} of what it should be: nothing of slow signals is left to restore; check the plan"
    )]
    NoGain {
        /// N·H(0).
        gain: f64,
    },
    /// The bandwidth asked for is nothing to work with.
    #[error("bandwidth {value_hz} Hz: it must be above zero; give a frequency such as 100MHz")]
    Bandwidth {
        /// As given.
        value_hz: f64,
    },
    /// Not even a small bandwidth stays under the limit.
    #[error(
        "undoing the chain would amplify noise beyond {limit} times at any bandwidth; check the plan, or allow more"
    )]
    Limit {
        /// As given.
        limit: f64,
    },
}

/// N·H of a chain against a reference. Coupling is left out: what it took away is not in the record.
fn response(chain: &Chain, reference: Reference) -> Variant<'_> {
    match reference {
        Reference::Tip => chain.against_without(Against::UnloadedNode, Cause::Loading),
        Reference::UnloadedNode => chain.against(Against::UnloadedNode),
    }
}

fn without_coupling(chain: &Chain) -> Chain {
    let mut chain = chain.clone();
    chain.input.coupling = Coupling::Dc;
    chain
}

/// The Gaussian that is aimed at.
fn aim(frequency_hz: f64, bandwidth_hz: f64) -> f64 {
    let ratio = frequency_hz / bandwidth_hz;
    (-0.5 * std::f64::consts::LN_2 * ratio * ratio).exp()
}

/// Intervals that a time constant has to last to be left to the recursion.
const SLOW: f64 = 50.0;

/// Slowest time constant that is looked for, s.
const SLOWEST_S: f64 = 1.0;

/// The slowest real pole and zero of a response, as a shelf; `None` where there are none slow against the interval or they are far apart.
fn slow_shelf(response: &Variant<'_>, interval_s: f64) -> Option<Shelf> {
    let real = |rate: f64| {
        let (numerator, denominator) = response.quotient(Complex64::new(-rate, 0.0));
        (numerator.re, denominator.re)
    };
    let fastest = 1.0 / (SLOW * interval_s);
    let pole = first_change(fastest, |rate| real(rate).1)?;
    let zero = first_change(fastest, |rate| real(rate).0)?;
    let shelf = Shelf { error: pole / zero - 1.0, time_constant_s: 1.0 / pole };
    (shelf.error > -0.9 && shelf.error < 9.0).then_some(shelf)
}

/// The lowest rate (1/s) at which something changes its sign.
fn first_change(fastest: f64, of: impl Fn(f64) -> f64) -> Option<f64> {
    const PER_DECADE: f64 = 100.0;
    let mut low = 1.0 / SLOWEST_S;
    let sign = of(low) > 0.0;
    while low < fastest {
        let high = low * 10f64.powf(1.0 / PER_DECADE);
        if (of(high) > 0.0) != sign {
            let (mut low, mut high) = (low, high);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if (of(middle) > 0.0) == sign { low = middle } else { high = middle }
            }
            return Some(0.5 * (low + high)).filter(|rate| *rate < fastest);
        }
        low = high;
    }
    None
}

/// What a chain is undone with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChainSetting {
    /// What is to be shown.
    pub reference: Reference,
    /// −3 dB bandwidth of the Gaussian aimed at, Hz.
    pub bandwidth_hz: f64,
    /// Time between samples, s.
    pub interval_s: f64,
    /// Standard deviation of the noise of one sample.
    pub noise: f64,
    /// Range of the record.
    pub span: f64,
    /// What came before.
    pub before: Before,
}

/// What came out, beside the samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChainSummary {
    /// Samples given out.
    pub samples: u64,
    /// Of these without a value: missing, or too near to missing ones.
    pub missing: u64,
    /// Standard deviation of white noise after over before.
    pub noise_gain: f64,
    /// Delay that was left in: the phase lag at a twentieth of the bandwidth over its frequency, without that of the slow pole and zero, s.
    pub delay_s: f64,
    /// Samples at each end whose uncertainty holds what lies beyond it; at the last end only, where the signal was at rest before the record.
    pub end_samples: u64,
    /// The most that cutting the kernel short can make of the record's range.
    pub bias_bound: f64,
    /// Least standard uncertainty.
    pub least_u: f64,
    /// Root mean square of them.
    pub rms_u: f64,
    /// Greatest.
    pub greatest_u: f64,
    /// The largest change that the correction made to a sample.
    pub greatest_change: f64,
}

/// One chain undone: the recursion, then the kernel.
struct Path {
    slow: Option<ShelfCorrector>,
    blocks: Blocks,
    /// Square roots of what the recursion does not know, on their way.
    start_u: VecDeque<f64>,
}

/// The corrector: asks for the samples as it needs them, gives corrected ones in order.
pub struct ChainCorrector {
    setting: ChainSetting,
    main: Path,
    /// The same under each doubt.
    shifted: Vec<Path>,
    noise_u: f64,
    noise_gain: f64,
    bias_bound: f64,
    delay_s: f64,
    /// Samples taken in and given out.
    taken: usize,
    given: usize,
    /// Missing samples that reach this far have been seen up to here.
    last_missing: Option<usize>,
    upcoming_missing: VecDeque<usize>,
    missing: u64,
    seen: (f64, f64, f64),
    greatest_change: f64,
}

impl ChainCorrector {
    /// A corrector before its first sample; `shifted` are chains with one doubtful value each moved by its standard uncertainty.
    ///
    /// # Errors
    /// A chain without gain at dc, or a bandwidth that is none.
    pub fn new(
        chain: &Chain,
        shifted: &[Chain],
        setting: ChainSetting,
    ) -> Result<Self, ChainCorrectionError> {
        if !(setting.bandwidth_hz > 0.0 && setting.bandwidth_hz.is_finite()) {
            return Err(ChainCorrectionError::Bandwidth { value_hz: setting.bandwidth_hz });
        }
        let chain = without_coupling(chain);
        let inverse = Inverse::of(&chain, &setting)?;
        let bandwidth_hz = setting.bandwidth_hz;
        let (mut kernel, power) = Kernel::of(
            setting.interval_s,
            |hz| aim(hz, bandwidth_hz) / inverse.gain(hz),
            |hz| inverse.recursion(hz),
        );
        let mut doubtful = Vec::with_capacity(shifted.len());
        for chain in shifted {
            let chain = without_coupling(chain);
            let other = Inverse::of(&chain, &setting)?;
            // To first order in the change, as the law of propagation has it (JCGM 100, 5.1.2): 1/(1 + δ) becomes 1 − δ. The whole of it
            // would grow without bounds where a shifted chain has next to no gain.
            let changed = |hz: f64| {
                let rest = inverse.rest(hz);
                aim(hz, bandwidth_hz) / rest * (2.0 - other.rest(hz) / rest)
            };
            let (kernel, _) = Kernel::of(setting.interval_s, changed, |_| Complex64::new(1.0, 0.0));
            doubtful.push((other.slow, kernel));
        }
        // All blocks are to lie at the same samples.
        let reach = doubtful.iter().map(|(_, kernel)| kernel.reach).fold(kernel.reach, usize::max);
        kernel.widen(reach);
        doubtful.iter_mut().for_each(|(_, kernel)| kernel.widen(reach));
        let path = |slow, kernel| Path { slow, blocks: Blocks::new(kernel), start_u: VecDeque::new() };
        let delay_s = inverse.delay_s;
        let main = path(inverse.slow, kernel);
        let shifted = doubtful.into_iter().map(|(slow, kernel)| path(slow, kernel)).collect();
        let noise_gain = power.sqrt();
        Ok(Self {
            noise_u: setting.noise * noise_gain,
            noise_gain,
            delay_s,
            bias_bound: main.blocks.kernel().left_out * setting.span,
            setting,
            main,
            shifted,
            taken: 0,
            given: 0,
            last_missing: None,
            upcoming_missing: VecDeque::new(),
            missing: 0,
            seen: (f64::INFINITY, 0.0, 0.0),
            greatest_change: 0.0,
        })
    }

    /// The corrected samples of a range and their standard uncertainties. Ranges follow each other from 0; `samples` is the whole record
    /// each time.
    pub fn next<O: Written>(
        &mut self,
        samples: SampleView<'_>,
        range: Range<usize>,
        corrected: &mut [O],
        uncertainty: &mut [O],
    ) {
        let points = samples.len();
        for (k, at) in range.enumerate() {
            while self.main.blocks.ready() == 0 {
                self.take(samples, points);
            }
            let value = self.main.blocks.next();
            let start_u = self.main.start_u.pop_front().unwrap_or(0.0);
            let mut variance = self.noise_u * self.noise_u + start_u * start_u;
            for path in &mut self.shifted {
                let change = path.blocks.next() - value;
                path.start_u.pop_front();
                variance += change * change;
            }
            let kernel = self.main.blocks.kernel();
            let start = match self.setting.before {
                Before::Unknown => kernel.beyond_start(at),
                Before::Rest => 0.0,
            };
            let beyond = (start + kernel.beyond_end(points - 1 - at)) * self.setting.span;
            variance += beyond * beyond / 3.0;
            let u = variance.sqrt();
            let is_missing = self.near_missing(at);
            let (value, u) = if is_missing { (f64::NAN, f64::NAN) } else { (value, u) };
            corrected[k] = O::narrow(value);
            uncertainty[k] = O::narrow(u);
            self.given += 1;
            if is_missing {
                self.missing += 1;
                continue;
            }
            self.seen = (self.seen.0.min(u), self.seen.1.max(u), self.seen.2 + u * u);
            let change = (value - samples.at(at)).abs();
            self.greatest_change = self.greatest_change.max(if change.is_finite() { change } else { 0.0 });
        }
    }

    /// What there is to say about all that was given out so far.
    pub fn summary(&self) -> ChainSummary {
        let present = (self.given as u64 - self.missing).max(1) as f64;
        ChainSummary {
            samples: self.given as u64,
            missing: self.missing,
            noise_gain: self.noise_gain,
            delay_s: self.delay_s,
            end_samples: self.main.blocks.kernel().core as u64,
            bias_bound: self.bias_bound,
            least_u: if self.seen.0.is_finite() { self.seen.0 } else { 0.0 },
            rms_u: (self.seen.2 / present).sqrt(),
            greatest_u: self.seen.1,
            greatest_change: self.greatest_change,
        }
    }

    /// Takes one block of samples in; behind the end the last one goes on.
    fn take(&mut self, samples: SampleView<'_>, points: usize) {
        let count = self.main.blocks.wanted();
        let mut block = Vec::with_capacity(count);
        for at in self.taken..self.taken + count {
            let value = samples.at(at.min(points - 1));
            if at < points && !value.is_finite() {
                self.upcoming_missing.push_back(at);
            }
            block.push(value);
        }
        self.taken += count;
        for path in std::iter::once(&mut self.main).chain(&mut self.shifted) {
            path.take(&block);
        }
    }

    /// Whether a sample is missing or so near to one that much of it would be made up.
    fn near_missing(&mut self, at: usize) -> bool {
        let core = self.main.blocks.kernel().core;
        while self.upcoming_missing.front().is_some_and(|next| *next <= at + core) {
            self.last_missing = self.upcoming_missing.pop_front();
        }
        self.last_missing.is_some_and(|last| at <= last + core)
    }
}

impl Path {
    fn take(&mut self, block: &[f64]) {
        let mut slow = block.to_vec();
        let mut u = vec![0.0; block.len()];
        if let Some(corrector) = &mut self.slow {
            corrector.push(block, &mut slow, &mut u);
        }
        let hold = |values: &mut [f64], first: f64| {
            let mut last = first;
            for value in values {
                if value.is_finite() { last = *value } else { *value = last }
            }
        };
        hold(&mut slow, self.blocks.last().unwrap_or(0.0));
        hold(&mut u, 0.0);
        self.start_u.extend(u);
        self.blocks.take(&slow);
    }
}

/// What one chain is undone with: the recursion where there is one, and N·H over frequency.
struct Inverse<'a> {
    response: Variant<'a>,
    ratio: f64,
    interval_s: f64,
    slow: Option<ShelfCorrector>,
    /// Delay that stays in, s.
    delay_s: f64,
}

/// Share of the bandwidth at which the delay is read off the phase.
const DELAY_AT: f64 = 0.05;

impl<'a> Inverse<'a> {
    fn of(chain: &'a Chain, setting: &ChainSetting) -> Result<Self, ChainCorrectionError> {
        let response = response(chain, setting.reference);
        let gain = chain.ratio * response.at_frequency(0.0).re;
        if !(gain > 1e-3) {
            return Err(ChainCorrectionError::NoGain { gain });
        }
        let slow = slow_shelf(&response, setting.interval_s).and_then(|shelf| {
            let exact = KnownShelf { shelf, error_u: 0.0, time_constant_u_s: 0.0, correlation: 0.0 };
            let setting = Setting {
                shelf: exact,
                interval_s: setting.interval_s,
                noise: 0.0,
                span: setting.span,
                before: setting.before,
            };
            ShelfCorrector::new(setting).ok()
        });
        let ratio = chain.ratio;
        let mut inverse = Self { response, ratio, interval_s: setting.interval_s, slow, delay_s: 0.0 };
        let hz = DELAY_AT * setting.bandwidth_hz;
        inverse.delay_s = -inverse.rest(hz).arg() / (std::f64::consts::TAU * hz);
        Ok(inverse)
    }

    /// N·H without the delay.
    fn gain(&self, frequency_hz: f64) -> Complex64 {
        let turn = std::f64::consts::TAU * frequency_hz * self.delay_s;
        self.ratio * self.response.at_frequency(frequency_hz) * Complex64::from_polar(1.0, turn)
    }

    /// Gain of the recursion.
    fn recursion(&self, frequency_hz: f64) -> Complex64 {
        let delay = Complex64::from_polar(1.0, -std::f64::consts::TAU * frequency_hz * self.interval_s);
        self.slow.as_ref().map_or(Complex64::new(1.0, 0.0), |corrector| corrector.response(delay))
    }

    /// What is left of N·H for the kernel to undo.
    fn rest(&self, frequency_hz: f64) -> Complex64 {
        self.gain(frequency_hz) * self.recursion(frequency_hz)
    }
}

#[cfg(test)]
mod tests;
