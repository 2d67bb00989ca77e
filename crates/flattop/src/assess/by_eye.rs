//! Readings off a screen make one result, without any capture.

use flattop_core::estimate::by_eye;
use flattop_core::finding::Finding;
use flattop_report::format::significant;
use flattop_report::subject::{Failure, Method, Subject};

use super::request::{Levels, Request};

pub(super) fn run(request: &Request, levels: &Levels) -> Result<Subject, Failure> {
    let mut findings = Vec::new();
    let resolution = match levels.resolution {
        Some(reading) => reading.value,
        None => {
            // The finer of the two tells how finely was read: 5 beside 4.6 is 5.0.
            let step = levels.start.last_digit.min(levels.end.last_digit);
            findings.push(Finding::note(
                "resolution-assumed",
                format!("no resolution was given; the levels were taken as read to {}", significant(step, 3)),
                "pass --resolution with the finest step that could be told apart",
            ));
            step
        }
    };
    let reading = by_eye::ByEye {
        start: levels.start.value,
        end: levels.end.value,
        resolution,
        frequency_hz: levels.frequency_hz,
        fall_to_37_percent: levels
            .time_to_37
            .map(|time| by_eye::TimeReading { time_s: time.value, resolution_s: time.last_digit }),
        divider: request.assumptions.divider,
        resistor_uncertainty: request.assumptions.resistor_standard_uncertainty(),
        tolerance: request.tolerance,
    };
    let mut assessment = by_eye::assess(&reading)
        .map_err(|error| Failure { file: String::new(), message: format!("readings by eye: {error}") })?;
    assessment.findings.splice(0..0, findings);
    Ok(Subject {
        file: String::new(),
        method: Method::ByEye,
        record: None,
        captures: Vec::new(),
        assumptions: request.assumptions,
        assessment,
    })
}
