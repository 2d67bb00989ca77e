//! From sines at several frequencies to the response, by the sine fits of [`crate::estimate::sine`].

use super::summary::{self, Raw};
use super::{COVERAGE_FACTOR, Characteristic, End, Method, Settings};
use crate::assessment::Estimate;
use crate::divider::Divider;
use crate::estimate::sine::{self, SinePair};
use crate::finding::{Finding, Severity};
use crate::quantity::{Unit, format_engineering};

/// Remarks of the fits that do not depend on a model of the divider.
const OF_FITS: [&str; 4] = ["columns-differ", "no-sine", "sine-distorted", "column-inverted"];
/// Neighbouring frequencies further apart than this leave phase and bandwidth between them open.
const COARSE: f64 = 2.1;

/// The response from captures of one sine each with the source in a second column, in any order.
pub fn of_sines(pairs: &[SinePair<'_>], settings: &Settings) -> Characteristic {
    let mut out = Characteristic::empty(Method::Sines, settings);
    // The fits give ratios without a model; the divider matters to what is made of them, which is left out here.
    let fitted = sine::assess(
        pairs,
        &sine::Settings {
            divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
            resistor_uncertainty: 0.0,
            tolerance: 0.01,
        },
    );
    out.findings.extend(fitted.findings.into_iter().filter(|f| OF_FITS.contains(&f.code)));
    out.edges = pairs.len();
    if out.findings.iter().any(|f| f.severity == Severity::Fault) {
        return out;
    }
    let points = fitted.measured_response;
    if points.len() < 2 {
        out.findings.push(Finding::fault(
            "one-frequency",
            format!(
                "{} capture(s) at one frequency cannot show how the gain changes with frequency",
                points.len()
            ),
            "add captures from well below to well above where the response falls",
        ));
        return out;
    }
    let mut raw: Vec<Raw> = Vec::with_capacity(points.len());
    out.end = End::Sampling;
    for p in &points {
        let relative = p.relative_gain.standard_uncertainty / p.relative_gain.value;
        if !(COVERAGE_FACTOR * relative <= settings.expanded_limit) {
            out.end = End::Uncertainty;
            break;
        }
        // The same frequency twice would be no table.
        if raw.last().is_some_and(|last| p.frequency_hz <= last.frequency_hz * (1.0 + 1e-9)) {
            continue;
        }
        raw.push(Raw {
            frequency_hz: p.frequency_hz,
            ln_gain: Estimate { value: p.relative_gain.value.ln(), standard_uncertainty: relative },
            phase_rad: p.phase_rad,
        });
    }
    if let Some(gap) = raw.windows(2).find(|w| w[1].frequency_hz > COARSE * w[0].frequency_hz) {
        let hertz = |r: &Raw| format_engineering(r.frequency_hz, Unit::Hertz, 3);
        out.findings.push(Finding::warning(
            "sweep-coarse",
            format!(
                "between {} and {} nothing was measured; phase is taken to change by less than half a turn there, gain as a straight line",
                hertz(&gap[0]),
                hertz(&gap[1])
            ),
            "add captures in between, at least two in each octave where the response falls",
        ));
    }
    if raw.is_empty() {
        out.findings.push(Finding::fault(
            "response-in-noise",
            "at no frequency is the response known within the limit",
            "raise the source, or record more periods",
        ));
    }
    summary::finish(&mut out, raw, 0.0, End::Sweep);
    out
}
