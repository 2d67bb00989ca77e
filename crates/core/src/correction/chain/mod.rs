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
//! How K acts: slow pairs of a pole and a zero (`slow`) are undone by the recursion of [`super::shelf`], the rest
//! by a finite kernel through blocks of Fourier transforms. Blocks lie at fixed samples: asking in other pieces gives the same bits.
//!
//! Uncertainty: noise through K (white); what the doubts about the chain do to this very record, one by one (JCGM 100, 5.1.2); what was
//! before the record and what lies beyond its ends, anywhere within its range.

mod choose;
mod kernel;
mod slow;

pub use choose::{Chosen, Question, Wish, choose};

use std::collections::VecDeque;
use std::ops::Range;

use kernel::{Blocks, Kernel};
use num_complex::Complex64;

use super::median::Median;
use super::shelf::Before;
use super::{Inside, Written};
use crate::chain::{Against, Cause, Chain, Coupling, Transfer, Variant};
use crate::divider::Shelf;
use crate::samples::SampleView;
use slow::Slow;

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

/// What is aimed at over frequency: the Gaussian, and nothing at half the sampling rate.
///
/// What lies in a record's last tenth below that cannot be told from what was folded back there, and an answer that ends anywhere but at nil
/// makes a kernel that dies away as slowly as 1/n.
#[derive(Clone, Copy, Debug)]
struct Aim {
    bandwidth_hz: f64,
    top_hz: f64,
}

/// Share of half the sampling rate up to which the Gaussian alone acts.
const PLAIN: f64 = 0.9;

impl Aim {
    fn new(bandwidth_hz: f64, interval_s: f64) -> Self {
        Self { bandwidth_hz, top_hz: 0.5 / interval_s }
    }

    fn at(&self, frequency_hz: f64) -> f64 {
        let ratio = frequency_hz / self.bandwidth_hz;
        let gaussian = (-0.5 * std::f64::consts::LN_2 * ratio * ratio).exp();
        let x = ((1.0 - frequency_hz / self.top_hz) / (1.0 - PLAIN)).clamp(0.0, 1.0);
        // From 0 to 1 with three smooth derivatives at both ends.
        gaussian * x.powi(4) * (35.0 - x * (84.0 - x * (70.0 - 20.0 * x)))
    }
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
    /// First samples whose uncertainty what lies before the record raises by more than a tenth of what noise makes it and by more than a
    /// thousandth of the record's range, by way of the kernel; 0 where the signal was at rest there.
    pub start_samples: u64,
    /// Last samples of which the same holds for what lies behind the record.
    pub end_samples: u64,
    /// First samples whose uncertainty slow tails from before the record raise by more than a tenth of what noise makes it.
    pub slow_start_samples: u64,
    /// Slowest time constant of such a tail, s; nil where there is none.
    pub slow_time_constant_s: f64,
    /// The most that cutting the kernel short can make of the record's range.
    pub bias_bound: f64,
    /// Least standard uncertainty.
    pub least_u: f64,
    /// Root mean square of them.
    pub rms_u: f64,
    /// Greatest.
    pub greatest_u: f64,
    /// Of the samples between the first and the last ones above: their median and the greatest; `None` where there are none between.
    pub inside: Option<Inside>,
    /// The largest change that the correction made to a sample.
    pub greatest_change: f64,
}

/// One chain undone: the recursions, then the kernel.
struct Path {
    slow: Slow,
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
    /// What counts of slow tails, and how many samples at both ends what is not known reaches by way of the kernel.
    enough: f64,
    start_samples: usize,
    end_samples: usize,
    /// The first sample that slow tails from before the record reach no more.
    slow_start: Option<usize>,
    seen: (f64, f64, f64),
    median: Median,
    greatest_inside: f64,
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
        let inverse = Inverse::of(&chain, &setting, None)?;
        let aim = Aim::new(setting.bandwidth_hz, setting.interval_s);
        let (mut kernel, power) =
            Kernel::of(setting.interval_s, |hz| aim.at(hz) / inverse.gain(hz), |hz| inverse.recursion(hz));
        let mut doubtful = Vec::with_capacity(shifted.len());
        for chain in shifted {
            let chain = without_coupling(chain);
            let other = Inverse::of(&chain, &setting, Some(inverse.slow.shelves()))?;
            // To first order in the change, as the law of propagation has it (JCGM 100, 5.1.2): 1/(1 + δ) becomes 1 − δ. The whole of it
            // would grow without bounds where a shifted chain has next to no gain.
            let changed = |hz: f64| {
                let rest = inverse.rest(hz);
                aim.at(hz) / rest * (2.0 - other.rest(hz) / rest)
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
        let noise_u = setting.noise * noise_gain;
        let enough = enough(noise_u, setting.span);
        let counts = enough.max(END_SHARE * setting.span);
        let within = |beyond: f64| beyond * setting.span / 3f64.sqrt() <= counts;
        let from = match setting.before {
            Before::Unknown => main.blocks.kernel().first_before(within),
            Before::Rest => 0,
        };
        let ends = main.blocks.kernel().first_after(within);
        Ok(Self {
            noise_u,
            enough,
            start_samples: from,
            end_samples: ends,
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
            slow_start: None,
            seen: (f64::INFINITY, 0.0, 0.0),
            median: Median::new(),
            greatest_inside: 0.0,
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
            if self.slow_start.is_none() && !(start_u > self.enough) {
                self.slow_start = Some(at);
            }
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
            if at >= self.start_samples && points - 1 - at >= self.end_samples {
                self.median.take(u, 1);
                self.greatest_inside = self.greatest_inside.max(u);
            }
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
            start_samples: self.start_samples as u64,
            end_samples: self.end_samples as u64,
            slow_start_samples: self.slow_start.unwrap_or(self.given) as u64,
            slow_time_constant_s: self.main.slow.slowest_s(),
            bias_bound: self.bias_bound,
            least_u: if self.seen.0.is_finite() { self.seen.0 } else { 0.0 },
            rms_u: (self.seen.2 / present).sqrt(),
            greatest_u: self.seen.1,
            inside: self.median.value().map(|median_u| Inside { median_u, greatest_u: self.greatest_inside }),
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
        self.slow.push(&mut slow, &mut u);
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

/// Share of the record's range that does not count at its ends either: the bound of what may lie beyond takes every sample there as set
/// against the record, which holds ever less the further away they are.
const END_SHARE: f64 = 1e-3;

/// A standard uncertainty that does not count beside that of the noise: both together are a tenth more than the noise alone; or a millionth
/// of the record's range, where there is no noise.
fn enough(noise_u: f64, span: f64) -> f64 {
    (0.21f64.sqrt() * noise_u).max(1e-6 * span)
}

/// What one chain is undone with: the recursions, and N·H over frequency.
struct Inverse<'a> {
    response: Variant<'a>,
    ratio: f64,
    interval_s: f64,
    slow: Slow,
    /// Delay that stays in, s.
    delay_s: f64,
}

/// Share of the bandwidth at which the delay is read off the phase.
const DELAY_AT: f64 = 0.05;

impl<'a> Inverse<'a> {
    /// `like` are the slow shelves of a chain from which this one differs by little.
    fn of(
        chain: &'a Chain,
        setting: &ChainSetting,
        like: Option<&[Shelf]>,
    ) -> Result<Self, ChainCorrectionError> {
        let response = response(chain, setting.reference);
        let gain = chain.ratio * response.at_frequency(0.0).re;
        if !(gain > 1e-3) {
            return Err(ChainCorrectionError::NoGain { gain });
        }
        let interval_s = setting.interval_s;
        let slow = Slow::new(slow::shelves(&response, interval_s, like), setting);
        let mut inverse = Self { response, ratio: chain.ratio, interval_s, slow, delay_s: 0.0 };
        let hz = DELAY_AT * setting.bandwidth_hz;
        inverse.delay_s = -inverse.rest(hz).arg() / (std::f64::consts::TAU * hz);
        Ok(inverse)
    }

    /// N·H without the delay.
    fn gain(&self, frequency_hz: f64) -> Complex64 {
        let turn = std::f64::consts::TAU * frequency_hz * self.delay_s;
        self.ratio * self.response.at_frequency(frequency_hz) * Complex64::from_polar(1.0, turn)
    }

    /// Gain of the recursions.
    fn recursion(&self, frequency_hz: f64) -> Complex64 {
        self.slow.response(frequency_hz, self.interval_s)
    }

    /// What is left of N·H for the kernel to undo.
    fn rest(&self, frequency_hz: f64) -> Complex64 {
        self.gain(frequency_hz) * self.recursion(frequency_hz)
    }
}

#[cfg(test)]
mod tests;
