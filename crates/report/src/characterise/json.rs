//! The JSON contract of `flattop characterise`. `docs/characterise-json.md` describes every field.

use flattop_core::assessment::Estimate;
use flattop_core::characterise::{Bandwidth, COVERAGE_FACTOR, End};
use serde::Serialize;

use super::{Subject, method_code};
use crate::json::{Coverage, Finding, Uncertain, finding, finite, write};

/// The JSON text, with a final line feed.
pub fn of(subject: &Subject) -> String {
    write(&Report::of(subject))
}

/// A whole response.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Report {
    pub flattop_version: &'static str,
    pub headline: String,
    pub method: &'static str,
    pub coverage: Coverage,
    pub expanded_limit: f64,
    pub lowest_hz: Option<f64>,
    pub highest_hz: Option<f64>,
    pub ended_by: Option<&'static str>,
    pub bandwidth_hz: Option<Uncertain>,
    pub bandwidth_above_hz: Option<f64>,
    pub low_frequency_gain: Option<Uncertain>,
    pub delay_s: Option<Uncertain>,
    pub transition: Option<Transition>,
    pub aberrations: Option<Aberrations>,
    pub flatness: Option<Flatness>,
    pub edges: usize,
    pub noise: Option<f64>,
    pub response: Vec<At>,
    pub findings: Vec<Finding>,
    pub captures: Vec<CaptureFacts>,
}

/// 10–90 % transition durations.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Transition {
    pub recorded_s: Option<Uncertain>,
    pub source_s: Option<Uncertain>,
    pub pairing_s: Option<Uncertain>,
}

/// IEEE 181, shares of the amplitude.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Aberrations {
    pub overshoot: Option<Uncertain>,
    pub undershoot: Option<Uncertain>,
    pub preshoot: Option<Uncertain>,
}

/// Largest deviation in a band.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Flatness {
    pub from_hz: f64,
    pub to_hz: f64,
    pub deviation: Option<Uncertain>,
    pub frequency_hz: f64,
}

/// One frequency.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct At {
    pub frequency_hz: f64,
    pub gain: Option<Uncertain>,
    pub phase_rad: Option<Uncertain>,
}

/// One capture.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct CaptureFacts {
    pub file: String,
    pub points: usize,
    pub interval_s: Option<f64>,
    pub column: usize,
    pub sha256: String,
}

impl Report {
    /// The contract's shape of a response.
    pub fn of(subject: &Subject) -> Self {
        let found = &subject.found;
        let range = found.range_hz();
        let some = |estimate: Option<Estimate>| estimate.and_then(Uncertain::of);
        let (at, above) = match found.bandwidth {
            Some(Bandwidth::At(f)) => (Uncertain::of(f), None),
            Some(Bandwidth::Above(f)) => (None, finite(f)),
            None => (None, None),
        };
        Self {
            flattop_version: env!("CARGO_PKG_VERSION"),
            headline: super::headline(subject),
            method: method_code(found.method),
            coverage: Coverage { probability: 0.95, factor: COVERAGE_FACTOR },
            expanded_limit: found.expanded_limit,
            lowest_hz: range.map(|r| r.0),
            highest_hz: range.map(|r| r.1),
            ended_by: range.map(|_| match found.end {
                End::Uncertainty => "uncertainty",
                End::Sampling => "sampling",
                End::Sweep => "sweep",
            }),
            bandwidth_hz: at,
            bandwidth_above_hz: above,
            low_frequency_gain: some(found.low_frequency_gain),
            delay_s: some(found.delay_s),
            transition: found.transition.map(|t| Transition {
                recorded_s: Uncertain::of(t.recorded_s),
                source_s: some(t.source_s),
                pairing_s: some(t.pairing_s),
            }),
            aberrations: found.aberrations.map(|a| Aberrations {
                overshoot: Uncertain::of(a.overshoot),
                undershoot: Uncertain::of(a.undershoot),
                preshoot: Uncertain::of(a.preshoot),
            }),
            flatness: found.flatness.map(|f| Flatness {
                from_hz: f.band_hz.0,
                to_hz: f.band_hz.1,
                deviation: Uncertain::of(f.deviation),
                frequency_hz: f.frequency_hz,
            }),
            edges: found.edges,
            noise: found.noise.and_then(finite),
            response: found
                .points
                .iter()
                .map(|p| At {
                    frequency_hz: p.frequency_hz,
                    gain: Uncertain::of(p.gain),
                    phase_rad: Uncertain::of(p.phase_rad),
                })
                .collect(),
            findings: found.findings.iter().map(finding).collect(),
            captures: subject
                .captures
                .iter()
                .map(|(file, facts)| CaptureFacts {
                    file: file.clone(),
                    points: facts.points,
                    interval_s: finite(facts.interval_s),
                    column: facts.column,
                    sha256: facts.sha256.clone(),
                })
                .collect(),
        }
    }
}
