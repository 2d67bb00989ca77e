//! Readings off a screen make one result, without any capture.

use flattop_core::estimate::by_eye::{self, ByEyeError};
use flattop_core::finding::Finding;
use flattop_report::format::{plain, significant};
use flattop_report::subject::{Assumptions, Failure, Method, Subject};

use super::request::Levels;
use crate::values::Scale;

pub(super) fn run(assumptions: &Assumptions, tolerance: f64, levels: &Levels) -> Result<Subject, Failure> {
    let mut findings = Vec::new();
    let resolution = match levels.resolution {
        Some(reading) => reading.value,
        None => {
            // The finer of the two tells how finely was read: 5 beside 4.6 is 5.0.
            let step = levels.start.last_digit.min(levels.end.last_digit);
            findings.push(Finding::note(
                "resolution-assumed",
                format!(
                    "no resolution was given; the levels were taken as read to {}",
                    level(step, levels.start.scale)
                ),
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
        divider: assumptions.divider,
        resistor_uncertainty: assumptions.resistor_standard_uncertainty(),
        tolerance,
    };
    let mut assessment = by_eye::assess(&reading).map_err(|error| Failure {
        file: String::new(),
        message: format!("readings by eye: {}", in_words(&error, levels.start.scale)),
    })?;
    assessment.findings.splice(0..0, findings);
    Ok(Subject {
        file: String::new(),
        method: Method::ByEye,
        record: None,
        captures: Vec::new(),
        on_bench: None,
        assumptions: *assumptions,
        assessment,
    })
}

/// The core's error with its figures in the units that were typed.
fn in_words(error: &ByEyeError, scale: Scale) -> String {
    match *error {
        ByEyeError::TooCoarse { resolution, step } => format!(
            "a reading resolution of {} cannot show a step of {}: enlarge the trace",
            level(resolution, scale),
            level(step, scale)
        ),
        ByEyeError::TimeTooLong { time_s, half_period_s, latest_s } => format!(
            "a fall to 37 % after {} does not fit into half a period of {}: an exponential gets there before {}; check \
             the frequency and the time per division",
            plain(time_s, "s", 4),
            plain(half_period_s, "s", 4),
            plain(latest_s, "s", 3)
        ),
        ref other => other.to_string(),
    }
}

fn level(value: f64, scale: Scale) -> String {
    match scale {
        Scale::Divisions => format!("{} div", significant(value, 3)),
        Scale::Units => plain(value, "V", 3),
    }
}
