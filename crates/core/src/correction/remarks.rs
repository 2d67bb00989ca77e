//! What has to be said about a corrected record: findings, with the figures.

use super::noise::{Noise, NoiseSource};
use super::shelf::{Before, Setting, Summary};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};

/// Remarks on a record freed of a shelf; `value` prints a value of the record with its unit.
pub fn on_shelf(
    setting: &Setting,
    noise: &Noise,
    summary: &Summary,
    value: &dyn Fn(f64) -> String,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let known = &setting.shelf;
    let e = known.shelf.error;
    let seconds = |s: f64| format_engineering(s, Unit::Second, 3);
    if !(known.error_u > 0.0) && !(known.time_constant_u_s > 0.0) {
        findings.push(Finding::note(
            "correction-taken-as-exact",
            "what was undone was given without an uncertainty, so that only noise and start are in the uncertainty of the samples",
            "give it with its tolerance, or from an assessment",
        ));
    } else if e.abs() < 2.0 * known.error_u {
        findings.push(Finding::warning(
            "correction-not-significant",
            format!(
                "the compensation error, {:.2} %, is not clearly different from nil (standard uncertainty {:.2} %)",
                100.0 * e,
                100.0 * known.error_u
            ),
            "the record as it was may be as good as the corrected one",
        ));
    }
    if noise.source == NoiseSource::Step {
        findings.push(Finding::note(
            "coarse-codes",
            format!(
                "the record's noise is hidden by the steps of its digitiser; {} were taken for it, a step over √12",
                value(noise.standard_deviation)
            ),
            "",
        ));
    }
    if summary.missing > 0 {
        findings.push(Finding::warning(
            "gaps-bridged",
            format!(
                "{} samples in {} {} are missing and stay so; across them the signal was taken as straight, and the uncertainty behind them \
                 allows for anything within the range of the record",
                summary.missing,
                summary.gaps,
                if summary.gaps == 1 { "gap" } else { "gaps" }
            ),
            "if the screen was overdriven, use a coarser range",
        ));
    }
    if setting.before == Before::Unknown && summary.start_up_samples > 0 {
        let lasts = seconds(summary.start_up_samples as f64 * setting.interval_s);
        if summary.start_up_samples >= summary.samples {
            findings.push(Finding::fault(
                "start-up-covers-record",
                format!(
                    "the record is too short: what the signal did before it still bears on its last sample ({} is the time constant)",
                    seconds((1.0 + e) * known.shelf.time_constant_s)
                ),
                "record a longer time before what matters, or say that the signal was at rest before: --at-rest",
            ));
        } else {
            findings.push(Finding::note(
                "start-up-uncertain",
                format!(
                    "what the signal did before the record is not known and raises the uncertainty of the first {} samples ({lasts})",
                    summary.start_up_samples
                ),
                "if it was at rest there, say so: --at-rest",
            ));
        }
    }
    // A bound, not a standard uncertainty: √3 of it compare with the noise.
    if summary.bias_bound > 3f64.sqrt() * setting.noise * summary.noise_gain {
        findings.push(Finding::note(
            "edges-between-samples",
            format!(
                "samples are {} apart: an edge between two of them may put those behind it off by up to {} until that dies away",
                seconds(setting.interval_s),
                value(summary.bias_bound)
            ),
            "sample faster where the first instants behind an edge matter",
        ));
    }
    findings
}
