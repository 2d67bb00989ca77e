//! How the e of a pairing went over time: drawing and drift.

use std::collections::BTreeMap;

use flattop_core::bench::{Moment, Significance, Stage};
use flattop_register::{Entry, Event, Series};
use flattop_report::plot::{TrendDrawing, TrendMark, TrendPlace, trend_scene};

use super::{assessment_of, figure};
use crate::document::Figure;
use crate::when;

/// The drawing for the entries of one pairing within a time.
pub(super) fn figure_of(
    name: &str,
    entries: &[&Entry],
    withdrawn: &BTreeMap<i64, i64>,
    tolerance: Option<f64>,
    (from, until): (Moment, Moment),
) -> Figure {
    let mark = |entry: &&Entry| {
        let record = assessment_of(entry)?;
        let error = record.compensation?.error;
        let place = if withdrawn.contains_key(&entry.seq) {
            TrendPlace::Withdrawn
        } else if record.stage == Stage::BeforeAdjustment {
            TrendPlace::BeforeAdjustment
        } else {
            TrendPlace::Counts
        };
        let time = entry.act.at.unix_ms as f64;
        Some(TrendMark { time, error: error.value, standard_uncertainty: error.standard_uncertainty, place })
    };
    let turned =
        |entry: &&&Entry| matches!(entry.event, Event::Adjustment) && !withdrawn.contains_key(&entry.seq);
    let scene = trend_scene(&TrendDrawing {
        heading: "Compensation error e over time".into(),
        time: (from.unix_ms as f64, until.unix_ms as f64),
        ticks: when::ticks(from, until),
        marks: entries.iter().filter_map(mark).collect(),
        turned: entries.iter().filter(turned).map(|entry| entry.act.at.unix_ms as f64).collect(),
        tolerance,
    });
    Figure { scene, caption: format!("{name}: e of each assessment with its 95 % interval.") }
}

/// The drift in words.
pub(super) fn drift(series: &Series) -> String {
    match &series.trend {
        Ok(trend) => {
            let share = |value: f64| figure(&format!("{:+.3} %", 100.0 * value));
            let stands = match trend.significance {
                Significance::Significant => "stands out from the scatter",
                Significance::NotSignificant => "does not stand out from the scatter",
            };
            format!(
                "Drift {} a month, standard uncertainty {} a month, over {} assessments in {} between adjustments: it \
                 {stands} (chance {} without any drift).",
                share(trend.drift_per_month),
                share(trend.standard_uncertainty).trim_start_matches('+'),
                trend.points,
                super::counted(trend.stretches, "stretch", "stretches"),
                flattop_report::format::plain_percent(trend.chance, 2),
            )
        }
        Err(error) => format!("No drift is stated: {error}."),
    }
}
