//! To which bandwidth a record can be restored: as asked, or as its own noise and content suggest, and never beyond a limit of gain.

use num_complex::Complex64;
use realfft::RealFftPlanner;

use super::{Aim, ChainCorrectionError, Reference, response, without_coupling};
use crate::chain::{Chain, Transfer};
use crate::samples::SampleView;

/// Highest bandwidth aimed at, as a share of the sampling rate: there the Gaussian is down to 4 % at half of it.
const HIGHEST: f64 = 1.0 / 6.0;

/// Bandwidths that are weighed, in each octave.
const PER_OCTAVE: f64 = 8.0;

/// Longest stretch of a spectrum, and how many are averaged at most. With windows a quarter of their length apart, an edge counts the same
/// wherever it lies.
const STRETCH: usize = 4096;
const STRETCHES: usize = 128;

/// Of so many neighbouring stretches one is independent, about.
const OVERLAP: f64 = 2.0;

/// Samples between those whose differences tell where something happens.
const DIFFERENCE: usize = 8;

/// What counts as content: the noise and so many of its own standard deviations in the averaged spectrum.
const CONTENT: f64 = 4.0;

/// What decides about the bandwidth.
#[derive(Clone, Copy, Debug)]
pub struct Question<'a> {
    /// What is undone.
    pub chain: &'a Chain,
    /// Against what.
    pub reference: Reference,
    /// The record, in its stored units.
    pub samples: SampleView<'a>,
    /// Time between samples, s.
    pub interval_s: f64,
    /// Standard deviation of its noise.
    pub noise: f64,
    /// What is wished for.
    pub wish: Wish,
    /// Largest |K|.
    pub greatest_gain: f64,
}

/// A bandwidth that is wished for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wish {
    /// This one, Hz.
    Bandwidth(f64),
    /// The one that makes noise and loss together least.
    LeastError,
}

/// A bandwidth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chosen {
    /// −3 dB bandwidth of the Gaussian aimed at, Hz.
    pub bandwidth_hz: f64,
    /// The bandwidth that was wished for or suggested by the record, and the frequency at which its gain would exceed the limit, Hz;
    /// `None` where the limit did not matter.
    pub limited_from_hz: Option<(f64, f64)>,
    /// The bandwidth wished for, Hz, where the sampling rate does not carry it.
    pub sampling_from_hz: Option<f64>,
    /// The bandwidth wished for, Hz, where a measured element of the chain is not known so far up.
    pub measured_from_hz: Option<f64>,
    /// Sines up to here come out within 1 % by the Gaussian aimed at, Hz.
    pub flat_to_hz: f64,
    /// The largest |K| and where it is, Hz.
    pub greatest_gain: (f64, f64),
    /// What the Gaussian takes from the record's own content where most happens in it, root mean square.
    pub lost_rms: f64,
}

/// Decides.
///
/// # Errors
/// No bandwidth at all stays under the limit, or the wish is no bandwidth.
pub fn choose(question: &Question<'_>) -> Result<Chosen, ChainCorrectionError> {
    let highest_hz = HIGHEST / question.interval_s;
    // What was measured of an element says nothing of what lies beyond.
    let measured_hz = question.chain.covered_hz().map_or(f64::INFINITY, |(_, to_hz)| to_hz);
    let spectrum = Spectrum::of(question);
    let (wished_hz, sampling_from_hz) = match question.wish {
        Wish::Bandwidth(hz) if !(hz > 0.0 && hz.is_finite()) => {
            return Err(ChainCorrectionError::Bandwidth { value_hz: hz });
        }
        Wish::Bandwidth(hz) if hz > highest_hz => (highest_hz, Some(hz)),
        Wish::Bandwidth(hz) => (hz, None),
        Wish::LeastError => (spectrum.least_error(highest_hz.min(measured_hz)), None),
    };
    let measured_from_hz = (wished_hz > measured_hz).then_some(sampling_from_hz.unwrap_or(wished_hz));
    let sampling_from_hz = sampling_from_hz.filter(|_| measured_from_hz.is_none());
    let wished_hz = wished_hz.min(measured_hz);
    let mut bandwidth_hz = wished_hz;
    let mut limited_from_hz = None;
    let (_, over_hz) = spectrum.greatest_gain(wished_hz, question.greatest_gain);
    if let Some(over_hz) = over_hz {
        limited_from_hz = Some((wished_hz, over_hz));
        let lowest_hz = 1e-4 * wished_hz;
        if spectrum.greatest_gain(lowest_hz, question.greatest_gain).1.is_some() {
            return Err(ChainCorrectionError::Limit { limit: question.greatest_gain });
        }
        let (mut low, mut high) = (lowest_hz, wished_hz);
        for _ in 0..50 {
            let middle = (low * high).sqrt();
            if spectrum.greatest_gain(middle, question.greatest_gain).1.is_some() {
                high = middle
            } else {
                low = middle
            }
        }
        bandwidth_hz = low;
    }
    Ok(Chosen {
        bandwidth_hz,
        limited_from_hz,
        sampling_from_hz,
        measured_from_hz,
        flat_to_hz: bandwidth_hz * (2.0 * (1.0 / 0.99f64).log2()).sqrt(),
        greatest_gain: spectrum.greatest_gain(bandwidth_hz, question.greatest_gain).0,
        lost_rms: spectrum.lost(bandwidth_hz).sqrt(),
    })
}

/// Where the stretches begin: a quarter of their length apart over a short record; in a long one those in which most happens, so that a
/// single edge in a long rest is not passed over.
fn stretches(samples: SampleView<'_>, length: usize) -> Vec<usize> {
    let step = (length / 4).max(1);
    let last = samples.len() - length;
    let starts: Vec<usize> = (0..last).step_by(step).chain([last]).collect();
    if starts.len() <= STRETCHES {
        return starts;
    }
    // Differences over a few samples show edges; how much each quarter holds of them.
    let apart = DIFFERENCE.min(step);
    let happens = |from: usize| -> f64 {
        let differences = (from..from + step - apart).step_by(apart);
        differences.map(|k| (samples.at(k + apart) - samples.at(k)).powi(2)).filter(|d| d.is_finite()).sum()
    };
    let quarters: Vec<f64> = (0..samples.len() / step).map(|k| happens(k * step)).collect();
    // What lies in the middle of a window counts.
    let mut busiest: Vec<(f64, usize)> = starts
        .iter()
        .map(|from| {
            let middle = from / step + 1;
            (quarters.iter().skip(middle).take(2).sum(), *from)
        })
        .collect();
    busiest.sort_by(|a, b| b.0.total_cmp(&a.0));
    busiest.truncate(STRETCHES);
    busiest.into_iter().map(|(_, from)| from).collect()
}

/// The record's power over frequency beside the chain's gain.
struct Spectrum {
    interval_s: f64,
    step_hz: f64,
    /// Density, one-sided, per Hz.
    content: Vec<f64>,
    noise: f64,
    /// |M| on the same frequencies.
    gain: Vec<f64>,
    /// Largest 1/|M| that is trusted: where the chain leaves less, content cannot be told from noise.
    greatest_gain: f64,
    /// |M| on a finer grid, with its frequencies.
    fine: Vec<(f64, f64)>,
}

impl Spectrum {
    fn of(question: &Question<'_>) -> Self {
        let chain = without_coupling(question.chain);
        let response = response(&chain, question.reference);
        let gain_at = |hz: f64| chain.ratio * Complex64::norm(response.at_frequency(hz));
        let points = question.samples.len();
        let length = STRETCH.min(1 << points.max(2).ilog2());
        let window: Vec<f64> = (0..length)
            .map(|k| 0.5 - 0.5 * (std::f64::consts::TAU * (k as f64 + 0.5) / length as f64).cos())
            .collect();
        let weight: f64 = window.iter().map(|w| w * w).sum();
        let forward = RealFftPlanner::new().plan_fft_forward(length);
        let mut power = vec![0.0; length / 2 + 1];
        let mut used = 0u32;
        for from in stretches(question.samples, length) {
            let mut values: Vec<f64> = (from..from + length).map(|k| question.samples.at(k)).collect();
            if values.iter().any(|v| !v.is_finite()) {
                continue;
            }
            let mean = values.iter().sum::<f64>() / length as f64;
            values.iter_mut().zip(&window).for_each(|(v, w)| *v = (*v - mean) * w);
            let mut spectrum = forward.make_output_vec();
            // Lengths agree, so that this cannot fail.
            let _ = forward.process(&mut values, &mut spectrum);
            power.iter_mut().zip(&spectrum).for_each(|(p, s)| *p += s.norm_sqr());
            used += 1;
        }
        let density = 2.0 * question.interval_s / (weight * f64::from(used.max(1)));
        let noise = 2.0 * question.noise * question.noise * question.interval_s;
        // A spectrum of noise has the standard deviation of its mean; averaging lessens it by the root.
        let least = noise * (1.0 + CONTENT / (f64::from(used) / OVERLAP).max(1.0).sqrt());
        let content = power.iter().map(|p| density * p);
        // What is not clearly above the noise may be noise.
        let content = content.map(|p| if p > least { p - noise } else { 0.0 }).collect();
        let step_hz = 1.0 / (length as f64 * question.interval_s);
        let gain = (0..=length / 2).map(|k| gain_at(k as f64 * step_hz)).collect();
        let top = 0.5 / question.interval_s;
        let fine = (0..=2000).map(|k| top * 10f64.powf(-6.0 * (1.0 - f64::from(k) / 2000.0)));
        let fine = fine.map(|hz| (hz, gain_at(hz))).collect();
        Self {
            interval_s: question.interval_s,
            step_hz,
            content,
            noise,
            gain,
            greatest_gain: question.greatest_gain,
            fine,
        }
    }

    fn aim(&self, bandwidth_hz: f64) -> Aim {
        Aim::new(bandwidth_hz, self.interval_s)
    }

    /// What a bandwidth takes from the content at the reference: mean square.
    fn lost(&self, bandwidth_hz: f64) -> f64 {
        let aim = self.aim(bandwidth_hz);
        let part = |(k, (content, gain)): (usize, (&f64, &f64))| {
            let lost = 1.0 - aim.at(k as f64 * self.step_hz);
            if *content > 0.0 && gain * self.greatest_gain > 1.0 {
                lost * lost * content / (gain * gain)
            } else {
                0.0
            }
        };
        self.step_hz * self.content.iter().zip(&self.gain).enumerate().map(part).sum::<f64>()
    }

    /// Noise behind K: mean square.
    fn noise(&self, bandwidth_hz: f64) -> f64 {
        let aim = self.aim(bandwidth_hz);
        let part = |(k, gain): (usize, &f64)| (aim.at(k as f64 * self.step_hz) / gain).powi(2);
        self.noise * self.step_hz * self.gain.iter().enumerate().map(part).sum::<f64>()
    }

    fn least_error(&self, highest_hz: f64) -> f64 {
        let lowest_hz = self.step_hz.min(highest_hz);
        let steps = ((highest_hz / lowest_hz).log2() * PER_OCTAVE).ceil().max(1.0);
        let candidates = (0..=steps as u32).map(|k| highest_hz * (-f64::from(k) / PER_OCTAVE).exp2());
        let error = |hz: &f64| self.lost(*hz) + self.noise(*hz);
        candidates.min_by(|a, b| error(a).total_cmp(&error(b))).unwrap_or(highest_hz)
    }

    /// The largest |K| with its frequency, and where it first exceeds a limit.
    fn greatest_gain(&self, bandwidth_hz: f64, limit: f64) -> ((f64, f64), Option<f64>) {
        let aim = self.aim(bandwidth_hz);
        let (mut greatest, mut over) = ((0.0, 0.0), None);
        for &(hz, gain) in &self.fine {
            let size = aim.at(hz) / gain;
            if size > limit && over.is_none() {
                over = Some(hz);
            }
            if size > greatest.0 {
                greatest = (size, hz);
            }
        }
        (greatest, over)
    }
}
