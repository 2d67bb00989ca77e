//! The plot of a response: gain and phase with their 95 % bands, and the step that was recorded; as SVG or PNG.

use flattop_core::characterise::{Bandwidth, COVERAGE_FACTOR, Point};

use super::text::range_sentence;
use super::{Subject, headline};
use crate::plot::axis::{Tick, decades, linear, typographic};
use crate::plot::layout::{GAP, LEFT, RIGHT, WIDTH, colour, lines, on_paper, widened};
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Anchor, Dash, Scene, Stroke};
use crate::plot::{PngError, png as image, svg as document};

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

const SHOWN: Stroke = Stroke { paint: colour::ERROR, width: 2.2, dash: Dash::Solid };
const SOURCE: Stroke = Stroke { paint: colour::FIT, width: 1.6, dash: Dash::Dashed };
/// Gain below which nothing is drawn, dB.
const LOWEST_DB: f64 = -30.0;

fn scene(subject: &Subject) -> Scene {
    let found = &subject.found;
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: headline(subject),
        description: format!(
            "{} {} Panels: gain and phase against frequency, each with a 95 % band; the step as recorded.",
            headline(subject),
            range_sentence(subject)
        ),
        shapes: Vec::new(),
    };
    let mut top = heading(&mut scene, subject) + 54.0;
    if found.points.len() > 1 {
        gain(&mut scene, subject, (top, top + 240.0));
        top += 240.0 + GAP;
        phase(&mut scene, &found.points, (top, top + 170.0));
        top += 170.0 + GAP;
    }
    if found.step.time_s.len() > 1 {
        step(&mut scene, subject, (top, top + 210.0));
        top += 210.0 + GAP;
    }
    on_paper(scene, top - GAP)
}

fn heading(scene: &mut Scene, subject: &Subject) -> f64 {
    let mut y = 50.0;
    for line in lines(&headline(subject).replace("(-", "(−"), 20.0) {
        scene.text((LEFT, y), 20.0, colour::INK, Anchor::Start, line);
        y += 27.0;
    }
    for line in lines(&range_sentence(subject), 15.0) {
        scene.text((LEFT, y), 15.0, colour::INK, Anchor::Start, line);
        y += 21.0;
    }
    for line in lines(&subject.files(), 13.0) {
        scene.text((LEFT, y + 2.0), 13.0, colour::MUTED, Anchor::Start, line);
        y += 18.0;
    }
    y - 18.0
}

/// Frequencies on a logarithmic axis.
fn across(points: &[Point]) -> (f64, f64) {
    let log = |p: Option<&Point>| p.map_or(0.0, |p| p.frequency_hz.log10());
    (log(points.first()), log(points.last()))
}

fn frequencies(scene: &mut Scene, panel: &Panel, title: &str) {
    let (low, high) = (10f64.powf(panel.x.0), 10f64.powf(panel.x.1));
    let ticks = decades(low, high, "Hz");
    let hair = Stroke { paint: colour::HAIR, width: 1.0, dash: Dash::Solid };
    for tick in &ticks {
        let x = panel.at_x(tick.at.log10());
        scene.line(vec![(x, panel.top), (x, panel.bottom)], hair);
    }
    let marks: Vec<_> = ticks.iter().map(|t| (t.at.log10(), t.label.as_str())).collect();
    panel.x_axis(scene, &marks, title);
}

/// A line with its band; `of` gives value and half-width.
fn banded(scene: &mut Scene, panel: &Panel, points: &[Point], of: impl Fn(&Point) -> (f64, f64, f64)) {
    let at = |x: f64, y: f64| panel.at(x, y.clamp(panel.y.0, panel.y.1));
    let rows: Vec<(f64, (f64, f64, f64))> = points.iter().map(|p| (p.frequency_hz.log10(), of(p))).collect();
    let upper = rows.iter().map(|(x, v)| at(*x, v.2));
    let lower = rows.iter().rev().map(|(x, v)| at(*x, v.0));
    scene.area(upper.chain(lower).collect(), SHOWN.paint.faded(0.28));
    scene.line(rows.iter().map(|(x, v)| at(*x, v.1)).collect(), SHOWN);
    if rows.len() <= 24 {
        for (x, v) in &rows {
            let at = at(*x, v.1);
            scene.shapes.push(crate::plot::scene::Shape::Disc { at, radius: 3.0, fill: SHOWN.paint });
        }
    }
}

fn gain(scene: &mut Scene, subject: &Subject, (top, bottom): (f64, f64)) {
    let points = &subject.found.points;
    let db = |gain: f64| 20.0 * gain.max(1e-6).log10();
    let of = |p: &Point| {
        let half = COVERAGE_FACTOR * p.gain.standard_uncertainty;
        (db(p.gain.value - half), db(p.gain.value), db(p.gain.value + half))
    };
    let low = points.iter().map(|p| of(p).0).fold(-1.0, f64::min).max(LOWEST_DB);
    let high = points.iter().map(|p| of(p).2).fold(0.5, f64::max);
    let panel =
        Panel { left: LEFT, right: RIGHT, top, bottom, x: across(points), y: widened(low, high, 0.06) };
    let (ticks, _) = linear(panel.y.0, panel.y.1, 6);
    panel.y_axis(scene, &ticks, "gain, dB");
    frequencies(scene, &panel, "");
    banded(scene, &panel, points, of);
    let mut key = vec![(Mark::Line(SHOWN), "measured"), (Mark::Band(SHOWN.paint.faded(0.28)), "95 % band")];
    let edge = Stroke { paint: colour::ALLOWED_EDGE, width: 1.2, dash: Dash::Dashed };
    let level = db(std::f64::consts::FRAC_1_SQRT_2);
    if level > panel.y.0 {
        scene.line(vec![panel.at(panel.x.0, level), panel.at(panel.x.1, level)], edge);
        key.push((Mark::Line(edge), "−3 dB"));
    }
    if let Some(Bandwidth::At(f)) = subject.found.bandwidth {
        let x = f.value.log10();
        scene.line(vec![panel.at(x, level), (panel.at_x(x), panel.bottom)], edge);
    }
    panel.heading(scene, "Gain, relative to low frequencies", &key);
}

fn phase(scene: &mut Scene, points: &[Point], (top, bottom): (f64, f64)) {
    let of = |p: &Point| {
        let half = COVERAGE_FACTOR * p.phase_rad.standard_uncertainty;
        let d = |v: f64| v.to_degrees();
        (d(p.phase_rad.value - half), d(p.phase_rad.value), d(p.phase_rad.value + half))
    };
    let low = points.iter().map(|p| of(p).0).fold(-2.0, f64::min);
    let high = points.iter().map(|p| of(p).2).fold(2.0, f64::max);
    let panel =
        Panel { left: LEFT, right: RIGHT, top, bottom, x: across(points), y: widened(low, high, 0.06) };
    let (ticks, _) = linear(panel.y.0, panel.y.1, 5);
    panel.y_axis(scene, &ticks, "phase, °");
    frequencies(scene, &panel, "frequency of a sine");
    banded(scene, &panel, points, of);
    panel.heading(scene, "Phase, delay taken out", &[(Mark::Line(SHOWN), "measured")]);
}

fn step(scene: &mut Scene, subject: &Subject, (top, bottom): (f64, f64)) {
    let step = &subject.found.step;
    let all = || step.probe.iter().chain(&step.source).copied().filter(|v| v.is_finite());
    let (low, high) = (all().fold(0.0, f64::min), all().fold(1.0, f64::max));
    let x = (step.time_s[0], step.time_s[step.time_s.len() - 1]);
    let panel = Panel { left: LEFT, right: RIGHT, top, bottom, x, y: widened(low, high, 0.06) };
    let (ticks, _) = linear(panel.y.0, panel.y.1, 5);
    panel.y_axis(scene, &ticks, "share of the step");
    let (ticks, prefix) = linear(x.0, x.1, 8);
    let marks: Vec<(f64, &str)> = ticks.iter().map(|t: &Tick| (t.at, t.label.as_str())).collect();
    panel.x_axis(scene, &marks, &format!("time from the edge, {prefix}s"));
    let line = |values: &[f64]| -> Vec<(f64, f64)> {
        step.time_s.iter().zip(values).filter(|(_, v)| v.is_finite()).map(|(&t, &v)| panel.at(t, v)).collect()
    };
    let mut key = vec![(Mark::Line(SHOWN), "probe")];
    if !step.source.is_empty() {
        scene.line(line(&step.source), SOURCE);
        key.push((Mark::Line(SOURCE), "source"));
    }
    scene.line(line(&step.probe), SHOWN);
    panel.heading(scene, &typographic("One edge as recorded"), &key);
}
