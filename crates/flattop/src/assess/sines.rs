//! Sines of several frequencies, one capture each, make one result.

use std::path::PathBuf;

use flattop_captures::{Capture, ReadOptions};
use flattop_core::estimate::sine;
use flattop_core::finding::Finding;
use flattop_report::subject::{Assumptions, Failure, Method, Subject};
use rayon::prelude::*;

use super::request::Request;
use super::run::{facts, name, open};
use crate::progress::Meter;

/// One result from all captures together; without one of them there is none.
pub(super) fn run(request: &Request, files: &[PathBuf], read: &ReadOptions) -> Result<Subject, Failure> {
    let meter = Meter::new(files.len());
    let read: Vec<Result<Capture, Failure>> =
        files.par_iter().enumerate().map(|(index, file)| open(file, read, &meter, index)).collect();
    meter.finish();

    let names = files.iter().map(|file| name(file)).collect::<Vec<_>>();
    let troubles: Vec<&str> =
        read.iter().filter_map(|r| r.as_ref().err()).map(|failure| failure.message.as_str()).collect();
    if !troubles.is_empty() {
        return Err(Failure { file: names.join(", "), message: troubles.join("\n") });
    }
    let captures: Vec<Capture> = read.into_iter().flatten().collect();
    Ok(assess(&names, &captures, &request.assumptions, request.tolerance))
}

/// The result of captures at hand.
pub(super) fn assess(
    names: &[String],
    captures: &[Capture],
    assumptions: &Assumptions,
    tolerance: f64,
) -> Subject {
    let pairs: Vec<sine::SinePair<'_>> = captures
        .iter()
        .filter_map(|c| Some(sine::SinePair { probe: c.record(), reference: c.reference_record()? }))
        .collect();
    let settings = sine::Settings {
        divider: assumptions.divider,
        resistor_uncertainty: assumptions.resistor_standard_uncertainty(),
        tolerance,
    };
    let mut assessment = sine::assess(&pairs, &settings);
    assessment.findings.splice(0..0, from_reading(names, captures));
    Subject {
        file: names.join(", "),
        method: Method::Sine,
        record: None,
        captures: names.iter().cloned().zip(captures.iter().map(facts)).collect(),
        on_bench: None,
        assumptions: *assumptions,
        assessment,
    }
}

/// What the reader had to say: once where it is the same for every capture, else with the captures it is about.
fn from_reading(names: &[String], captures: &[Capture]) -> Vec<Finding> {
    let mut said: Vec<(Finding, Vec<&str>)> = Vec::new();
    for (name, capture) in names.iter().zip(captures) {
        for finding in &capture.findings {
            match said.iter_mut().find(|(known, _)| known == finding) {
                Some((_, about)) => about.push(name),
                None => said.push((finding.clone(), vec![name])),
            }
        }
    }
    let worded = |(mut finding, about): (Finding, Vec<&str>)| {
        if about.len() < captures.len() {
            finding.message = format!("in {}: {}", about.join(", "), finding.message);
        }
        finding
    };
    said.into_iter().map(worded).collect()
}
