//! From a request to the response: reads, has the core characterise, adds where it came from.

use std::path::PathBuf;

use flattop_captures::{Capture, ReadOptions};
use flattop_core::assessment::Estimate;
use flattop_core::characterise::{self, Characteristic, Settings, Source};
use flattop_core::estimate::sine::SinePair;
use flattop_core::finding::Finding;
use flattop_report::characterise::Subject;
use flattop_report::subject::RecordFacts;

use crate::output::with_folder;
use crate::progress::Meter;

/// What is to be done.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    pub(crate) captures: Vec<PathBuf>,
    pub(crate) read: ReadOptions,
    pub(crate) evidence: Evidence,
    pub(crate) settings: Settings,
}

/// What the captures hold.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Evidence {
    /// Edges; the source in the reference column.
    EdgesWithReference,
    /// Edges, with what is known of the source.
    Edges(Option<Estimate>),
    /// One sine each, the source in the reference column.
    Sines,
}

pub(crate) fn run(request: &Request) -> Result<Subject, String> {
    let meter = Meter::new(request.captures.len());
    let read = request.captures.iter().enumerate().map(|(index, file)| {
        let capture = flattop_captures::open(file, &request.read, &|progress| meter.report(index, progress));
        capture.map_err(|error| with_folder(file, &error.to_string()))
    });
    let captures: Result<Vec<Capture>, String> = read.collect();
    meter.finish();
    let captures = captures?;
    let mut found = characterised(request, &captures);
    found.findings.splice(0..0, from_reading(&request.captures, &captures));
    Ok(Subject {
        captures: request
            .captures
            .iter()
            .zip(&captures)
            .map(|(file, capture)| (file.display().to_string(), facts(capture)))
            .collect(),
        stated_source_s: match request.evidence {
            Evidence::Edges(stated) => stated,
            _ => None,
        },
        found,
        written_to: None,
    })
}

fn characterised(request: &Request, captures: &[Capture]) -> Characteristic {
    let settings = &request.settings;
    let pairs: Vec<SinePair<'_>> = captures
        .iter()
        .filter_map(|c| Some(SinePair { probe: c.record(), reference: c.reference_record()? }))
        .collect();
    match (request.evidence, captures, pairs.as_slice()) {
        (Evidence::EdgesWithReference, _, [pair]) => {
            characterise::of_edges(pair.probe, Source::Column(pair.reference), settings)
        }
        (Evidence::Edges(stated), [capture], _) => {
            let source = stated.map_or(Source::Ideal, |transition_s| Source::Gaussian { transition_s });
            characterise::of_edges(capture.record(), source, settings)
        }
        _ => characterise::of_sines(&pairs, settings),
    }
}

/// What the reader had to say, with the capture it is about where there are several.
fn from_reading(files: &[PathBuf], captures: &[Capture]) -> Vec<Finding> {
    let mut all: Vec<Finding> = Vec::new();
    for (file, capture) in files.iter().zip(captures) {
        for finding in &capture.findings {
            let mut finding = finding.clone();
            if captures.len() > 1 && !captures.iter().all(|c| c.findings.contains(&finding)) {
                finding.message = format!("in {}: {}", file.display(), finding.message);
            }
            if !all.contains(&finding) {
                all.push(finding);
            }
        }
    }
    all
}

fn facts(capture: &Capture) -> RecordFacts {
    RecordFacts {
        points: capture.points,
        interval_s: capture.interval_s,
        columns: capture.columns,
        column: capture.probe.number,
        column_name: capture.probe.name.clone(),
        format: capture.format.to_string(),
        sha256: capture.sha256().to_owned(),
    }
}
