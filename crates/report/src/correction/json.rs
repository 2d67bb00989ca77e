//! The JSON contract of a corrected record. `docs/correct-json.md` describes each field.

use std::collections::BTreeMap;

use flattop_core::correction::chain::Wish;
use flattop_core::correction::noise::NoiseSource;
use flattop_core::correction::shelf::Before;
use serde::Serialize;

use super::{Pulses, Subject, Undone, pulses, reference_code};
use crate::json::{Finding, Uncertain, finding, finite, write};

/// The JSON text, with a final line feed.
pub fn of(subject: &Subject) -> String {
    let all = subject.uncertainties();
    let (shelf, chain) = match &subject.undone {
        Undone::Shelf { known, summary, .. } => (Some((known, summary)), None),
        Undone::Chain { reference, wish, chosen, summary, .. } => {
            (None, Some((reference, wish, chosen, summary)))
        }
    };
    let uncertain = |value: f64, u: f64| Uncertain { value, standard_uncertainty: finite(u) };
    write(&Report {
        flattop_version: env!("CARGO_PKG_VERSION"),
        file: &subject.file,
        output: &subject.output,
        undone: if shelf.is_some() { "shelf" } else { "chain" },
        known_from: &subject.known_from,
        compensation_error: shelf.map(|(known, _)| uncertain(known.shelf.error, known.error_u)),
        time_constant_s: shelf
            .map(|(known, _)| uncertain(known.shelf.time_constant_s, known.time_constant_u_s)),
        correlation: shelf.and_then(|(known, _)| finite(known.correlation)),
        chain: chain.map(|(reference, wish, chosen, summary)| Chain {
            reference: reference_code(*reference),
            bandwidth_hz: finite(chosen.bandwidth_hz),
            bandwidth_from: match (chosen.limited_from_hz, chosen.sampling_from_hz, wish) {
                (Some(_), _, _) => "limit",
                (None, _, _) if chosen.measured_from_hz.is_some() => "measured",
                (None, Some(_), _) => "sampling",
                (None, None, Wish::Bandwidth(_)) => "asked",
                (None, None, Wish::LeastError) => "noise",
            },
            flat_to_hz: finite(chosen.flat_to_hz),
            greatest_gain: finite(chosen.greatest_gain.0),
            greatest_gain_hz: finite(chosen.greatest_gain.1),
            lost_rms: finite(chosen.lost_rms),
            delay_s: finite(summary.delay_s),
            start_samples: summary.start_samples,
            end_samples: summary.end_samples,
        }),
        before: match subject.before() {
            Before::Rest => "rest",
            Before::Unknown => "unknown",
        },
        start_up_samples: subject.start_up_samples(),
        missing: shelf.map_or(0, |s| s.1.missing) + chain.map_or(0, |c| c.3.missing),
        gaps: shelf.map(|(_, summary)| summary.gaps),
        unit: &subject.unit,
        noise: NoiseFacts {
            standard_deviation: finite(subject.noise.standard_deviation),
            source: match subject.noise.source {
                NoiseSource::Record => "record",
                NoiseSource::Step => "step",
                NoiseSource::Stated => "stated",
            },
            gain: finite(subject.noise_gain()),
        },
        standard_uncertainty: Spread {
            least: finite(all.least),
            rms: finite(all.rms),
            greatest: finite(all.greatest),
            median: all.inside.and_then(|inside| finite(inside.median_u)),
            greatest_inside: all.inside.and_then(|inside| finite(inside.greatest_u)),
        },
        bias_bound: finite(subject.bias_bound()),
        greatest_change: finite(subject.greatest_change()),
        pulse: subject.pulses.as_ref().map(pulse),
        findings: subject.findings.iter().map(finding).collect(),
        record: Record {
            points: subject.record.points,
            interval_s: finite(subject.record.interval_s),
            columns: subject.record.columns,
            column: subject.record.column,
            column_name: subject.record.column_name.as_deref(),
            format: &subject.record.format,
            sha256: &subject.record.sha256,
        },
    })
}

/// What stands in place of a result that could not be made.
pub fn failed(file: &str, error: &str) -> String {
    #[derive(Serialize)]
    struct Failed<'a> {
        file: &'a str,
        error: &'a str,
    }
    write(&Failed { file, error })
}

#[derive(Serialize)]
struct Report<'a> {
    flattop_version: &'static str,
    file: &'a str,
    output: &'a str,
    undone: &'static str,
    known_from: &'a str,
    compensation_error: Option<Uncertain>,
    time_constant_s: Option<Uncertain>,
    correlation: Option<f64>,
    chain: Option<Chain>,
    before: &'static str,
    start_up_samples: u64,
    missing: u64,
    gaps: Option<u64>,
    unit: &'a str,
    noise: NoiseFacts,
    standard_uncertainty: Spread,
    bias_bound: Option<f64>,
    greatest_change: Option<f64>,
    pulse: Option<Pulse>,
    findings: Vec<Finding>,
    record: Record<'a>,
}

#[derive(Serialize)]
struct Chain {
    reference: &'static str,
    bandwidth_hz: Option<f64>,
    bandwidth_from: &'static str,
    flat_to_hz: Option<f64>,
    greatest_gain: Option<f64>,
    greatest_gain_hz: Option<f64>,
    lost_rms: Option<f64>,
    delay_s: Option<f64>,
    start_samples: u64,
    end_samples: u64,
}

#[derive(Serialize)]
struct NoiseFacts {
    standard_deviation: Option<f64>,
    source: &'static str,
    gain: Option<f64>,
}

#[derive(Serialize)]
struct Spread {
    least: Option<f64>,
    rms: Option<f64>,
    greatest: Option<f64>,
    median: Option<f64>,
    greatest_inside: Option<f64>,
}

#[derive(Serialize)]
struct Record<'a> {
    points: usize,
    interval_s: Option<f64>,
    columns: usize,
    column: usize,
    column_name: Option<&'a str>,
    format: &'a str,
    sha256: &'a str,
}

#[derive(Serialize)]
struct Pulse {
    samples: usize,
    before: Side,
    after: Side,
}

/// Figures by name, and for those that are null why.
#[derive(Serialize)]
struct Side {
    #[serde(flatten)]
    figures: BTreeMap<&'static str, Option<f64>>,
    why: BTreeMap<&'static str, String>,
}

fn pulse(of: &Pulses) -> Pulse {
    let rows = pulses::rows(of);
    let side = |figure: &dyn Fn(&pulses::Row) -> flattop_core::pulse::Figure| Side {
        figures: rows.iter().map(|row| (row.field, figure(row).ok().and_then(finite))).collect(),
        why: rows.iter().filter_map(|row| Some((row.field, figure(row).err()?.to_string()))).collect(),
    };
    Pulse { samples: of.samples, before: side(&|row| row.before), after: side(&|row| row.after) }
}
