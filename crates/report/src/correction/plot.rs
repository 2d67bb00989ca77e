//! The plot of a corrected record: about its first transition and all of it, before and after, with the 95 % band; as SVG or PNG.

use super::{Subject, headline};
use crate::plot::axis::linear;
use crate::plot::layout::{GAP, LEFT, RIGHT, WIDTH, colour, lines, on_paper, widened};
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Anchor, Dash, Scene, Shape, Stroke};
use crate::plot::{PngError, png as image, svg as document};
use crate::subject::COVERAGE_FACTOR_95;

/// The plot as an SVG document.
pub fn svg(subject: &Subject) -> String {
    document::write(&scene(subject))
}

/// The plot as a PNG image, two pixels for each unit of the SVG document.
///
/// # Errors
/// [`PngError`] when the drawing cannot be turned into an image.
pub fn png(subject: &Subject) -> Result<Vec<u8>, PngError> {
    image::render(&svg(subject))
}

const BEFORE: Stroke = Stroke { paint: colour::ERROR, width: 1.8, dash: Dash::Dashed };
const AFTER: Stroke = Stroke { paint: colour::FIT, width: 2.0, dash: Dash::Solid };

/// Something over time in volts: before, after, half-width of the band.
type Row = (f64, (f64, f64), (f64, f64), f64);

fn scene(subject: &Subject) -> Scene {
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: format!("{} {}", headline(subject), subject.file),
        description: format!(
            "{} Panels: the record before and after correction, about the first transition and all of it, with a 95 % band; the \
             half-width of that band over time.",
            headline(subject)
        ),
        shapes: Vec::new(),
    };
    let mut y = 50.0;
    for line in lines(&headline(subject).replace(" -", " −"), 20.0) {
        scene.text((LEFT, y), 20.0, colour::INK, Anchor::Start, line);
        y += 27.0;
    }
    let files = format!("{} to {}  ·  known from {}", subject.file, subject.output, subject.known_from);
    for line in lines(&files, 13.0) {
        scene.text((LEFT, y), 13.0, colour::MUTED, Anchor::Start, line);
        y += 18.0;
    }
    let mut top = y + 34.0;
    let volts = subject.volts_per_unit;
    let pair = |(low, high): (f64, f64)| (volts * low, volts * high);
    let close: Vec<Row> = (subject.trace.close.iter())
        .map(|p| {
            (p.time_s, pair((p.before, p.before)), pair((p.after, p.after)), volts * COVERAGE_FACTOR_95 * p.u)
        })
        .collect();
    let whole: Vec<Row> = (subject.trace.whole.iter())
        .map(|s| (s.time_s, pair(s.before), pair(s.after), volts * COVERAGE_FACTOR_95 * s.u))
        .collect();
    if close.len() > 1 {
        top = waves(&mut scene, &close, "First transition", (top, 270.0));
    }
    if whole.len() > 1 {
        top = waves(&mut scene, &whole, "The whole record", (top, 230.0));
        top = band_width(&mut scene, &whole, top);
    }
    on_paper(scene, top - GAP)
}

/// Before and after over time. Returns where the next panel begins.
fn waves(scene: &mut Scene, rows: &[Row], heading: &str, (top, height): (f64, f64)) -> f64 {
    let finite = || rows.iter().filter(|r| (r.1.0 + r.2.1 + r.3).is_finite());
    let low = finite().map(|r| r.1.0.min(r.2.0)).fold(f64::INFINITY, f64::min);
    let high = finite().map(|r| r.1.1.max(r.2.1)).fold(f64::NEG_INFINITY, f64::max);
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else { return top };
    if !(low <= high) {
        return top;
    }
    let panel = Panel {
        left: LEFT,
        right: RIGHT,
        top,
        bottom: top + height,
        x: (first.0, last.0),
        y: widened(low, high, 0.12),
    };
    let (ticks, prefix) = linear(panel.y.0, panel.y.1, 6);
    panel.y_axis(scene, &ticks, &format!("voltage, {prefix}V"));
    for run in runs(rows) {
        let at = |value: fn(&Row) -> f64| move |r: &Row| panel.at(r.0, value(r).clamp(panel.y.0, panel.y.1));
        let upper = run.iter().map(at(|r| r.2.1 + r.3));
        let lower = run.iter().rev().map(at(|r| r.2.0 - r.3));
        scene
            .shapes
            .push(Shape::Area { points: upper.chain(lower).collect(), fill: AFTER.paint.faded(0.22) });
        for (stroke, of) in [(BEFORE, (|r| r.1) as fn(&Row) -> (f64, f64)), (AFTER, |r| r.2)] {
            outline(scene, &panel, run, stroke, of);
        }
    }
    time_axis(scene, &panel);
    let band = Mark::Band(AFTER.paint.faded(0.22));
    panel.heading(
        scene,
        heading,
        &[(Mark::Line(BEFORE), "before"), (Mark::Line(AFTER), "corrected"), (band, "95 % band")],
    );
    panel.bottom + GAP
}

/// Rows between missing ones.
fn runs(rows: &[Row]) -> impl Iterator<Item = &[Row]> {
    rows.split(|r| !(r.1.0 + r.2.0 + r.3).is_finite()).filter(|run| !run.is_empty())
}

/// A line through the middles, or up and down through least and greatest values where they differ.
fn outline(scene: &mut Scene, panel: &Panel, run: &[Row], stroke: Stroke, of: fn(&Row) -> (f64, f64)) {
    let mut points: Vec<(f64, f64)> = Vec::with_capacity(2 * run.len());
    for (k, row) in run.iter().enumerate() {
        let (low, high) = of(row);
        // Up and down in turns, so that the line does not cross itself.
        let ends = if k % 2 == 0 { [low, high] } else { [high, low] };
        let both = if high > low { &ends[..] } else { &ends[..1] };
        points.extend(both.iter().map(|v| panel.at(row.0, *v)));
    }
    scene.line(points, stroke);
}

/// Half-width of the band over time. Returns where the next panel begins.
fn band_width(scene: &mut Scene, rows: &[Row], top: f64) -> f64 {
    let greatest = rows.iter().map(|r| r.3).filter(|u| u.is_finite()).fold(0.0, f64::max);
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else { return top };
    if !(greatest > 0.0) {
        return top;
    }
    let panel = Panel {
        left: LEFT,
        right: RIGHT,
        top,
        bottom: top + 120.0,
        x: (first.0, last.0),
        y: (0.0, 1.08 * greatest),
    };
    let (ticks, prefix) = linear(panel.y.0, panel.y.1, 4);
    panel.y_axis(scene, &ticks, &format!("± {prefix}V"));
    for run in runs(rows) {
        scene.line(run.iter().map(|r| panel.at(r.0, r.3)).collect(), AFTER);
    }
    time_axis(scene, &panel);
    panel.heading(scene, "Half-width of the 95 % band", &[]);
    panel.bottom + GAP
}

fn time_axis(scene: &mut Scene, panel: &Panel) {
    let (ticks, prefix) = linear(panel.x.0, panel.x.1, 8);
    let marks: Vec<_> = ticks.iter().map(|tick| (tick.at, tick.label.as_str())).collect();
    panel.x_axis(scene, &marks, &format!("time, {prefix}s"));
}
