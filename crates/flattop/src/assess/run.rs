//! From a request to its results: reads, has the core assess, adds where it came from.

use std::path::{Path, PathBuf};

use flattop_captures::{Capture, ReadOptions};
use flattop_core::assessment::Assessment;
use flattop_core::divider::Divider;
use flattop_core::estimate::{reference, square};
use flattop_core::finding::Finding;
use flattop_core::samples::Record;
use flattop_report::format::plain;
use flattop_report::subject::{Assumptions, Failure, Method, RecordFacts, Subject};
use rayon::prelude::*;

use super::request::{Evidence, Request};
use crate::output::with_folder;
use crate::progress::Meter;

/// The results in the order of the captures. A capture that fails does not stop the others.
pub(crate) fn run(request: &Request) -> Vec<Result<Subject, Failure>> {
    let mut results = match &request.evidence {
        Evidence::Squares(files, read) => squares(request, files, read),
        Evidence::Sines(files, read) => vec![super::sines::run(request, files, read)],
        Evidence::ByEye(levels) => vec![super::by_eye::run(&request.assumptions, request.tolerance, levels)],
    };
    for subject in results.iter_mut().flatten() {
        remark_on_divider(subject);
        subject.assessment.findings.splice(0..0, request.findings.iter().cloned());
        subject.on_bench = request.on_bench.clone();
    }
    results
}

/// A remark on a divider that hardly divides: its resistors were probably named in the wrong order.
pub(crate) fn remark_on_divider(subject: &mut Subject) {
    let Divider { tip_resistance_ohm: tip, shunt_resistance_ohm: shunt } = subject.assumptions.divider;
    let ohms = |value| plain(value, "Ω", 6);
    if tip < shunt {
        let finding = Finding::warning(
            "divider-unusual",
            format!(
                "the resistor at the tip, {}, is smaller than the one at the oscilloscope, {}",
                ohms(tip),
                ohms(shunt)
            ),
            "name the resistor at the tip first, as in --divider 9M:1M for a 10× probe",
        );
        subject.assessment.findings.insert(0, finding);
    }
}

fn squares(request: &Request, files: &[PathBuf], read: &ReadOptions) -> Vec<Result<Subject, Failure>> {
    let meter = Meter::new(files.len());
    let results = files
        .par_iter()
        .enumerate()
        .map(|(index, file)| {
            let capture = open(file, read, &meter, index)?;
            Ok(square(name(file), &capture, &request.assumptions, request.tolerance))
        })
        .collect();
    meter.finish();
    results
}

/// The result of one capture of a square wave.
pub(crate) fn square(file: String, capture: &Capture, assumptions: &Assumptions, tolerance: f64) -> Subject {
    let (method, mut assessment) = assess(capture, &settings(assumptions, tolerance));
    assessment.findings.splice(0..0, capture.findings.iter().cloned());
    Subject {
        file,
        method,
        record: Some(facts(capture)),
        captures: Vec::new(),
        on_bench: None,
        assumptions: *assumptions,
        assessment,
    }
}

/// The way to assess that suits the columns of the capture.
fn assess(capture: &Capture, settings: &square::Settings) -> (Method, Assessment) {
    match capture.reference_record() {
        Some(source) => {
            (Method::Reference, reference::assess_with_reference(capture.record(), source, settings))
        }
        None => (Method::SquareWave, assess_square(capture.record(), settings)),
    }
}

/// The core's assessment, with the scan of a long record spread over the cores.
fn assess_square(record: Record<'_>, settings: &square::Settings) -> Assessment {
    let points = record.samples.len();
    let block = square::Scan::block_for(points);
    // A multiple of every block length, and long enough to be worth a thread.
    let stretch = block << 15;
    let scans: Vec<square::Scan> = (0..points.div_ceil(stretch))
        .into_par_iter()
        .map(|i| square::Scan::of(record.samples.slice(i * stretch..points.min((i + 1) * stretch)), block))
        .collect();
    let whole = scans.into_iter().reduce(|mut whole, next| {
        whole.append(next);
        whole
    });
    match whole {
        Some(scan) => square::assess_scanned(record, &scan, settings),
        None => square::assess(record, settings),
    }
}

/// What the estimators of the core need to know.
fn settings(assumptions: &Assumptions, tolerance: f64) -> square::Settings {
    square::Settings {
        divider: assumptions.divider,
        resistor_uncertainty: assumptions.resistor_standard_uncertainty(),
        tolerance,
        source_amplitude_v: assumptions.source_amplitude_v,
    }
}

/// Reads one capture and reports how far it has come as file number `index`.
pub(super) fn open(file: &Path, read: &ReadOptions, meter: &Meter, index: usize) -> Result<Capture, Failure> {
    flattop_captures::open(file, read, &|progress| meter.report(index, progress))
        .map_err(|error| Failure { file: name(file), message: with_folder(file, &error.to_string()) })
}

pub(super) fn facts(capture: &Capture) -> RecordFacts {
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

pub(super) fn name(file: &Path) -> String {
    file.display().to_string()
}
