//! What has to be said about a corrected record: findings, with the figures.

use super::chain::{ChainSetting, ChainSummary, Chosen, Wish};
use super::noise::{Noise, NoiseSource};
use super::shelf::{Before, Setting, Summary};
use crate::chain::{Chain, Coupling};
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
    findings.extend(coarse_codes(noise, value));
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

/// A remark where the digitiser's steps hide the noise.
fn coarse_codes(noise: &Noise, value: &dyn Fn(f64) -> String) -> Option<Finding> {
    (noise.source == NoiseSource::Step).then(|| {
        let message = format!(
            "the record's noise is hidden by the steps of its digitiser; {} were taken for it, a step over √12",
            value(noise.standard_deviation)
        );
        Finding::note("coarse-codes", message, "")
    })
}

/// What a record was freed of a whole chain with.
#[derive(Clone, Copy, Debug)]
pub struct Undoing<'a> {
    /// What was undone.
    pub chain: &'a Chain,
    /// How many doubts about it there were.
    pub doubts: usize,
    /// How.
    pub setting: &'a ChainSetting,
    /// What bandwidth was wished for.
    pub wish: Wish,
    /// What it came to.
    pub chosen: &'a Chosen,
    /// What came out.
    pub summary: &'a ChainSummary,
    /// Noise of the record.
    pub noise: &'a Noise,
}

/// Remarks on a record freed of a whole chain; `value` prints a value of the record with its unit.
pub fn on_chain(undoing: &Undoing<'_>, value: &dyn Fn(f64) -> String) -> Vec<Finding> {
    let Undoing { chain, doubts, setting, wish, chosen, summary, noise } = *undoing;
    let hertz = |hz: f64| format_engineering(hz, Unit::Hertz, 3);
    let mut findings = Vec::new();
    if let Some((wished_hz, over_hz)) = chosen.limited_from_hz {
        findings.push(Finding::warning(
            "bandwidth-limited",
            format!(
                "up to {} the inverse would amplify too much, from {} on; it stops at {}, where it reaches {:.3} times",
                hertz(wished_hz),
                hertz(over_hz),
                hertz(chosen.bandwidth_hz),
                chosen.greatest_gain.0
            ),
            "what lies above is not in the record; a shorter ground lead or a faster probe would bring it there",
        ));
    }
    if let (Some(wished_hz), Some((from_hz, to_hz))) = (chosen.measured_from_hz, chain.covered_hz()) {
        findings.push(Finding::warning(
            "measured-range",
            format!(
                "a measured element covers {} to {} only; the chain is undone no further, though {} was asked for",
                hertz(from_hz),
                hertz(to_hz),
                hertz(wished_hz)
            ),
            "measure the element over a wider range, or ask for less",
        ));
    }
    if let Some(wished_hz) = chosen.sampling_from_hz {
        findings.push(Finding::warning(
            "bandwidth-beyond-sampling",
            format!(
                "{} is more than these samples carry; {} is a sixth of their rate",
                hertz(wished_hz),
                hertz(chosen.bandwidth_hz)
            ),
            "sample faster",
        ));
    }
    if wish == Wish::LeastError && chosen.limited_from_hz.is_none() {
        findings.push(Finding::note(
            "bandwidth-from-noise",
            format!(
                "no bandwidth was asked for; at {} noise and loss together are least for this record",
                hertz(chosen.bandwidth_hz)
            ),
            "name another with --bandwidth",
        ));
    }
    if let Coupling::Ac { corner_hz } = chain.input.coupling {
        findings.push(Finding::warning(
            "coupling-not-undone",
            format!("the input is coupled through a capacitor of {}; what it took away is not in the record and stays away", hertz(corner_hz)),
            "record with dc coupling where slow parts matter",
        ));
    }
    if doubts == 0 {
        findings.push(Finding::note(
            "correction-taken-as-exact",
            "no value of the plan has a tolerance, so that only noise and ends are in the uncertainty of the samples",
            "write tolerances into the plan, such as \"12 pF +- 1 pF\"",
        ));
    }
    findings.extend(coarse_codes(noise, value));
    if summary.missing > 0 {
        findings.push(Finding::warning(
            "gaps-widened",
            format!("{} samples are missing, or too near to missing ones to be restored", summary.missing),
            "if the screen was overdriven, use a coarser range",
        ));
    }
    findings.extend(ends(setting, summary));
    findings.extend(slow_start(setting, summary, value));
    if summary.bias_bound > noise.standard_deviation * summary.noise_gain
        && summary.bias_bound > 1e-6 * noise.span()
    {
        // A bandwidth of a twentieth of the sampling rate is carried by a quarter of the samples, too.
        let remedy = if chosen.bandwidth_hz * setting.interval_s < 0.05 {
            "the samples lie closer than the bandwidth needs: keep every fourth of them; or ask for a lower --bandwidth"
        } else {
            "ask for a lower --bandwidth, below the frequency that rings on"
        };
        findings.push(Finding::warning(
            "kernel-cut",
            format!(
                "the chain rings on for longer than the correction can follow; samples may be off by up to {}",
                value(summary.bias_bound)
            ),
            remedy,
        ));
    }
    findings
}

/// Remarks on what lies before and behind the record.
fn ends(setting: &ChainSetting, summary: &ChainSummary) -> Option<Finding> {
    let (first, last) = (summary.start_samples, summary.end_samples);
    let lasts = |samples: u64| format_engineering(samples as f64 * setting.interval_s, Unit::Second, 3);
    if first + last >= summary.samples {
        return Some(Finding::fault(
            "ends-cover-record",
            format!(
                "the record is too short: what lies beyond its ends bears on all of its {} samples ({} at the start, {} at the end)",
                summary.samples,
                lasts(first),
                lasts(last)
            ),
            "record a longer time about what matters, or ask for a smaller --bandwidth",
        ));
    }
    let which = match (first, last) {
        (0, 0) => return None,
        (0, last) => format!("the last {last} samples ({})", lasts(last)),
        (first, 0) => format!("the first {first} samples ({})", lasts(first)),
        (first, last) => {
            format!("the first {first} and last {last} samples ({} and {})", lasts(first), lasts(last))
        }
    };
    Some(Finding::note(
        "ends-uncertain",
        format!("what lies beyond the record is not known and raises the uncertainty of {which}"),
        if first > 0 { "if the signal was at rest before the record, say so: --at-rest" } else { "" },
    ))
}

/// A remark where slow tails may have come into the record.
fn slow_start(
    setting: &ChainSetting,
    summary: &ChainSummary,
    value: &dyn Fn(f64) -> String,
) -> Option<Finding> {
    let samples = summary.slow_start_samples;
    if samples == 0 || setting.before == Before::Rest {
        return None;
    }
    let seconds = |s: f64| format_engineering(s, Unit::Second, 3);
    let tail = seconds(summary.slow_time_constant_s);
    let remedy = "if the signal was at rest before the record, say so: --at-rest; otherwise record a longer time before what matters";
    if samples < summary.samples {
        return Some(Finding::note(
            "slow-start-uncertain",
            format!(
                "slow tails (time constant {tail}) of what the signal did before the record raise the uncertainty of the first {samples} \
                 samples ({})",
                seconds(samples as f64 * setting.interval_s)
            ),
            remedy,
        ));
    }
    let inside = summary.inside.map_or(summary.greatest_u, |inside| inside.median_u);
    Some(Finding::warning(
        "slow-start-uncertain",
        format!(
            "slow tails (time constant {tail}) of what the signal did before the record may lie under all of its {} samples; with them the \
             standard uncertainty is {}, of levels more than of what is fast",
            summary.samples,
            value(inside)
        ),
        remedy,
    ))
}
