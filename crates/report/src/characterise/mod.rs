//! What people and programs read of a pairing's response: JSON, CSV, words, plot.

pub mod json;
mod plot;
#[cfg(test)]
mod tests;
mod text;

use std::fmt::Write as _;

use flattop_core::assessment::Estimate;
use flattop_core::characterise::{Bandwidth, COVERAGE_FACTOR, Characteristic, Method};
use flattop_core::finding::Severity;

use crate::format::{plain, quantity};
use crate::subject::RecordFacts;

pub use plot::{png, svg};
pub use text::of;

/// A response and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// Captures with their facts.
    pub captures: Vec<(String, RecordFacts)>,
    /// Transition duration of the source as stated, s.
    pub stated_source_s: Option<Estimate>,
    /// What the core found.
    pub found: Characteristic,
    /// Where the response was written, if it was.
    pub written_to: Option<String>,
}

impl Subject {
    /// All captures by name.
    fn files(&self) -> String {
        self.captures.iter().map(|(file, _)| file.as_str()).collect::<Vec<_>>().join(", ")
    }
}

/// The stable name of a method, as the JSON contract writes it.
pub fn method_code(method: Method) -> &'static str {
    match method {
        Method::EdgesAgainstReference => "edges-against-reference",
        Method::EdgesAlone => "edges-alone",
        Method::Sines => "sines",
    }
}

/// What the response is, in one sentence: bandwidth first.
pub fn headline(subject: &Subject) -> String {
    let found = &subject.found;
    match found.bandwidth {
        Some(Bandwidth::At(f)) => format!("Bandwidth {} (-3 dB).", quantity(f, "Hz").with_units()),
        Some(Bandwidth::Above(f)) => {
            format!(
                "Bandwidth above {}: the gain does not fall by 3 dB as far as it is known.",
                plain(f, "Hz", 3)
            )
        }
        None => {
            let why = found.findings.iter().find(|f| f.severity == Severity::Fault);
            format!("NO RESPONSE: {}", crate::text::sentence(why.map_or("nothing was found", |f| &f.message)))
        }
    }
}

/// The response as CSV with a line of names, SI units; uncertainties are standard ones.
pub fn csv(subject: &Subject) -> String {
    let mut text = String::from(
        "frequency_hz,gain,gain_standard_uncertainty,phase_rad,phase_standard_uncertainty_rad\n",
    );
    for p in &subject.found.points {
        let _ = writeln!(
            text,
            "{:e},{:e},{:e},{:e},{:e}",
            p.frequency_hz,
            p.gain.value,
            p.gain.standard_uncertainty,
            p.phase_rad.value,
            p.phase_rad.standard_uncertainty
        );
    }
    text
}

/// Half-width of the 95 % interval of a gain, as a share of that gain.
fn expanded_share(gain: Estimate) -> f64 {
    COVERAGE_FACTOR * gain.standard_uncertainty / gain.value
}
