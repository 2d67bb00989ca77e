//! How e of a pairing went over the months, as a drawing: points with their 95 % bars, the tolerance, adjustments.

use flattop_core::bench::{MONTH_MS, Moment, Significance, Stage};

use super::{History, text};
use crate::bench::text::day;
use crate::plot::layout::colour;
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Anchor, Dash, Scene, Shape, Stroke};
use crate::plot::{self, PngError, axis};
use crate::subject::COVERAGE_FACTOR_95;

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 460.0;

/// The drawing as an SVG document.
pub fn svg(history: &History) -> String {
    plot::svg::write(&scene(history))
}

/// The drawing as a PNG image.
///
/// # Errors
/// [`PngError`] when it cannot be turned into an image.
pub fn png(history: &History) -> Result<Vec<u8>, PngError> {
    plot::png::render(&svg(history))
}

/// The drawing as plain data.
pub fn scene(history: &History) -> Scene {
    let pairing = &history.pairing;
    let headline = format!("{} on {}: compensation error over time", pairing.probe, pairing.input);
    let said = text::drift(&history.series).unwrap_or_else(|| "No assessment yet.".into());
    let mut scene = Scene {
        width: WIDTH,
        height: HEIGHT,
        title: headline.clone(),
        description: format!("{headline}. Drift {said}"),
        shapes: Vec::new(),
    };
    let paper = vec![(0.0, 0.0), (WIDTH, 0.0), (WIDTH, HEIGHT), (0.0, HEIGHT)];
    scene.shapes.push(Shape::Area { points: paper, fill: colour::PAPER });
    scene.text((96.0, 42.0), 18.0, colour::INK, Anchor::Start, headline);
    scene.text((96.0, 64.0), 13.0, colour::MUTED, Anchor::Start, format!("Drift {said}"));
    let points = &history.series.points;
    let (Some((_, first)), Some((_, last))) = (points.first(), points.last()) else { return scene };
    let half = |u: Option<f64>| COVERAGE_FACTOR_95 * u.unwrap_or(0.0);
    let largest = points
        .iter()
        .map(|(_, p)| p.compensation_error.abs() + half(p.standard_uncertainty))
        .chain(history.tolerance.map(|t| 1.3 * t))
        .fold(1e-4, f64::max);
    let margin = 0.03 * (last.at.unix_ms - first.at.unix_ms).max(86_400_000) as f64;
    let x = (first.at.unix_ms as f64 - margin, last.at.unix_ms as f64 + margin);
    let percent = 100.0 * largest * 1.05;
    let panel = Panel {
        left: 96.0,
        right: WIDTH - 36.0,
        top: 118.0,
        bottom: HEIGHT - 64.0,
        x,
        y: (-percent, percent),
    };
    let band = history.tolerance.map(|tolerance| {
        let y = 100.0 * tolerance;
        scene.rectangle((panel.left, panel.at_y(y)), (panel.right, panel.at_y(-y)), colour::ALLOWED);
    });
    let (ticks, _) = axis::linear(-percent, percent, 6);
    panel.y_axis(&mut scene, &ticks, "e, %");
    let days = day_ticks(x, history.offset_minutes);
    let days: Vec<(f64, &str)> = days.iter().map(|(at, label)| (*at, label.as_str())).collect();
    panel.x_axis(&mut scene, &days, "");
    let bar = Stroke { paint: colour::FIT, width: 1.6, dash: Dash::Solid };
    let turned = Stroke { paint: colour::MUTED, width: 1.2, dash: Dash::Dashed };
    for (at, (_, point)) in points.iter().enumerate() {
        let (t, e) = (point.at.unix_ms as f64, 100.0 * point.compensation_error);
        if point.stage == Stage::AfterAdjustment {
            // Between the look before and the look after.
            let before = at.checked_sub(1).map_or(t, |b| points[b].1.at.unix_ms as f64);
            let middle = 0.5 * (t + before.max(t - 2.0 * margin));
            scene.line(vec![panel.at(middle, -percent), panel.at(middle, percent)], turned);
        }
        let u = 100.0 * half(point.standard_uncertainty);
        scene.line(vec![panel.at(t, e - u), panel.at(t, e + u)], bar);
        scene.shapes.push(Shape::Disc { at: panel.at(t, e), radius: 3.6, fill: colour::FIT });
    }
    let drift = drift_line(&mut scene, &panel, history);
    let mut key = vec![(Mark::Dot(colour::FIT), "assessment, 95 %"), (Mark::Line(turned), "trimmer turned")];
    if let Some(stroke) = drift {
        key.push((Mark::Line(stroke), "drift"));
    }
    if band.is_some() {
        key.push((Mark::Band(colour::ALLOWED), "tolerance"));
    }
    panel.heading(&mut scene, "", &key);
    scene
}

/// The fitted drift through the last stretch between adjustments, where it stands out.
fn drift_line(scene: &mut Scene, panel: &Panel, history: &History) -> Option<Stroke> {
    let trend = history.series.trend.as_ref().ok()?;
    let points = &history.series.points;
    let start = points.iter().rposition(|(_, p)| p.stage == Stage::AfterAdjustment).unwrap_or(0);
    let stretch = &points[start..];
    if trend.significance != Significance::Significant || stretch.len() < 2 {
        return None;
    }
    let n = stretch.len() as f64;
    let mean_t = stretch.iter().map(|(_, p)| p.at.unix_ms as f64).sum::<f64>() / n;
    let mean_e = stretch.iter().map(|(_, p)| p.compensation_error).sum::<f64>() / n;
    let at = |t: f64| panel.at(t, 100.0 * (mean_e + trend.drift_per_month * (t - mean_t) / MONTH_MS));
    let ends = [stretch[0].1.at.unix_ms as f64, stretch[stretch.len() - 1].1.at.unix_ms as f64];
    let stroke = Stroke { paint: colour::ERROR, width: 1.6, dash: Dash::Solid };
    scene.line(ends.map(at).to_vec(), stroke);
    Some(stroke)
}

/// About six days, evenly spread.
fn day_ticks((low, high): (f64, f64), offset_minutes: i16) -> Vec<(f64, String)> {
    const DAY_MS: f64 = 86_400_000.0;
    let days = (high - low) / DAY_MS;
    let steps = [1.0, 2.0, 7.0, 14.0, 30.0, 60.0, 90.0, 180.0, 365.0, 730.0, 3650.0];
    let step = steps.into_iter().find(|s| days / s <= 7.0).unwrap_or(36_500.0) * DAY_MS;
    let shift = f64::from(offset_minutes) * 60_000.0;
    let first = ((low + shift) / step).ceil() as i64;
    (first..first + 9)
        .map(|k| k as f64 * step - shift)
        .filter(|t| *t <= high)
        .map(|t| (t, day(Moment { unix_ms: t.round() as i64, offset_minutes })))
        .collect()
}
