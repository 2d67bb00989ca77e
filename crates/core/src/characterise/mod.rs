//! The response of a pairing against frequency, as a capture shows it: no model of the probe in it.
//!
//! ```text
//! H(f) = D_probe(f)/D_source(f),   D(f) = Σ w_k·(v_{k+1} − v_k)·exp(−j2πf·t_k)
//! ```
//! The difference of a settled step is an impulse: its spectrum needs no period, and both levels drop out of it. The window w is flat about the
//! edge and falls off by half cosines on the settled levels; it is as long as the record has room for, or [24 periods](spectrum::PERIODS) of f,
//! whichever is shorter, so that fast parts do not collect the noise of the whole record. Long records are averaged to 128 points or more a period first.
//! At f = 0 the sum is the difference of the levels: the gain stated is relative to it.
//! The source is a second column ([`Source::Column`]), or an edge of which at best the transition duration is known; then what sampling
//! does to a step, sin(πfΔ)/(πfΔ), is taken out as well. Sines with a reference column go by [`of_sines`].
//!
//! Noise of the settled levels is carried through the sums (law of propagation, JCGM 100, 5.2.2); where edges scatter more than that, by their
//! scatter. Sources: transform of a difference and of a sampled step: any text on sampling (from memory); Gaussian step: 10–90 % in
//! 2·1.2816 σ (its quantiles).
//!
//! Reading order: `column` (samples and noise), `edges`, [`spectrum`] (sums and their variance), `steps` (edges to response), `sweep`, `summary`
//! (delay, limit, bandwidth), `shape` (IEEE 181 figures).

mod column;
mod edges;
mod shape;
pub mod spectrum;
mod steps;
mod summary;
mod sweep;
#[cfg(test)]
mod tests;

use crate::assessment::Estimate;
use crate::finding::Finding;
use crate::samples::Record;

pub use steps::of_edges;
pub use sweep::of_sines;

/// Coverage factor of expanded uncertainties: 95 % of a normal distribution.
pub const COVERAGE_FACTOR: f64 = 1.959_963_984_540_054;

/// What was at the tip.
#[derive(Clone, Copy, Debug)]
pub enum Source<'a> {
    /// As another column shows it, sampled at the same times.
    Column(Record<'a>),
    /// A step that counts as ideal: what it lacks will be laid on the pairing.
    Ideal,
    /// A Gaussian step.
    Gaussian {
        /// 10–90 % transition duration, s.
        transition_s: Estimate,
    },
}

/// What the caller decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Largest expanded uncertainty (95 %) of a gain that is still stated, as a share of that gain.
    pub expanded_limit: f64,
    /// Band over which flatness is asked for, Hz.
    pub band_hz: Option<(f64, f64)>,
}

/// How the response was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Edges against a reference column.
    EdgesAgainstReference,
    /// Edges alone.
    EdgesAlone,
    /// Sines against a reference column.
    Sines,
}

/// The response at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Hz.
    pub frequency_hz: f64,
    /// Relative to the gain at low frequencies.
    pub gain: Estimate,
    /// Phase with the delay taken out, rad; positive leads.
    pub phase_rad: Estimate,
}

/// Why the response ends where it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The uncertainty would pass the limit.
    Uncertainty,
    /// 0.4 times the sampling rate.
    Sampling,
    /// The highest sine of the sweep.
    Sweep,
}

/// −3 dB frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bandwidth {
    /// Where the gain falls below 1/√2 for the first time, Hz.
    At(Estimate),
    /// Not reached up to this frequency, Hz.
    Above(f64),
}

/// 10–90 % transition durations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transition {
    /// As the probe's column shows it, s.
    pub recorded_s: Estimate,
    /// Of the source: of the reference column, or as stated; `None` for an edge that counts as ideal.
    pub source_s: Option<Estimate>,
    /// Of the pairing: √(recorded² − source²), s, which is exact for Gaussian steps; `None` where the source hides it.
    pub pairing_s: Option<Estimate>,
}

/// Largest deviation of the gain from 1 in a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flatness {
    /// The band that was looked at, Hz.
    pub band_hz: (f64, f64),
    /// Gain − 1 where it is furthest from nil.
    pub deviation: Estimate,
    /// Where, Hz.
    pub frequency_hz: f64,
}

/// Aberrations of the step as recorded, each as a share of the amplitude (IEEE 181, see [`crate::pulse`]).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aberrations {
    /// Beyond the level, after the transition.
    pub overshoot: Estimate,
    /// Short of the level again, after it was reached.
    pub undershoot: Estimate,
    /// The other way, before the transition.
    pub preshoot: Estimate,
}

/// The step as recorded about one edge, for drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Step {
    /// From the edge, s.
    pub time_s: Vec<f64>,
    /// The probe's column, from 0 to 1.
    pub probe: Vec<f64>,
    /// The reference column, from 0 to 1; empty without one.
    pub source: Vec<f64>,
}

/// Everything that comes out. There is always an answer; where it is empty, a finding of severity fault says why.
#[derive(Clone, Debug, PartialEq)]
pub struct Characteristic {
    /// How it was found.
    pub method: Method,
    /// Rising frequencies, up to where the uncertainty is within the limit.
    pub points: Vec<Point>,
    /// Why there are no more.
    pub end: End,
    /// The limit that was asked for.
    pub expanded_limit: f64,
    /// Gain at low frequencies, probe over reference; `None` without a reference.
    pub low_frequency_gain: Option<Estimate>,
    /// Delay of the probe against the reference, which was taken out of the phase, s; `None` without a reference: then time counts from the
    /// 50 % instant, and what was taken out says nothing of the pairing.
    pub delay_s: Option<Estimate>,
    /// −3 dB frequency; `None` without points.
    pub bandwidth: Option<Bandwidth>,
    /// Transition durations; `None` for sines.
    pub transition: Option<Transition>,
    /// The band that was asked for, Hz.
    pub band_hz: Option<(f64, f64)>,
    /// Flatness, where a band was asked for and measured.
    pub flatness: Option<Flatness>,
    /// Aberrations; `None` for sines.
    pub aberrations: Option<Aberrations>,
    /// Edges or captures used.
    pub edges: usize,
    /// Standard deviation of the noise on the probe's column, share of the step; `None` for sines.
    pub noise: Option<f64>,
    /// One edge.
    pub step: Step,
    /// Remarks.
    pub findings: Vec<Finding>,
}

impl Characteristic {
    /// Nothing but how it was tried.
    fn empty(method: Method, settings: &Settings) -> Self {
        Self {
            method,
            points: Vec::new(),
            end: End::Uncertainty,
            expanded_limit: settings.expanded_limit,
            band_hz: settings.band_hz,
            low_frequency_gain: None,
            delay_s: None,
            bandwidth: None,
            transition: None,
            flatness: None,
            aberrations: None,
            edges: 0,
            noise: None,
            step: Step::default(),
            findings: Vec::new(),
        }
    }

    /// First and last frequency stated, Hz.
    pub fn range_hz(&self) -> Option<(f64, f64)> {
        Some((self.points.first()?.frequency_hz, self.points.last()?.frequency_hz))
    }
}
