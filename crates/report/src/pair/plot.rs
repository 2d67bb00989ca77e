//! Common-mode rejection against frequency, as a drawing: as the two stand with the doubt below it, and with both flat.

use flattop_core::pair::Rejection;

use super::{Subject, text};
use crate::plot::layout::colour;
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Anchor, Dash, Scene, Shape, Stroke};
use crate::plot::{self, PngError, axis};

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 520.0;
/// More is not drawn: nobody measures it.
const MOST_DB: f64 = 120.0;

/// The drawing as an SVG document.
pub fn svg(subject: &Subject) -> String {
    plot::svg::write(&scene(subject))
}

/// The drawing as a PNG image.
///
/// # Errors
/// [`PngError`] when it cannot be turned into an image.
pub fn png(subject: &Subject) -> Result<Vec<u8>, PngError> {
    plot::png::render(&svg(subject))
}

fn scene(subject: &Subject) -> Scene {
    let headline = text::headline(subject);
    let mut scene = Scene {
        width: WIDTH,
        height: HEIGHT,
        title: "Common-mode rejection of A − B".into(),
        description: headline.clone(),
        shapes: Vec::new(),
    };
    let paper = vec![(0.0, 0.0), (WIDTH, 0.0), (WIDTH, HEIGHT), (0.0, HEIGHT)];
    scene.shapes.push(Shape::Area { points: paper, fill: colour::PAPER });
    scene.text((96.0, 42.0), 18.0, colour::INK, Anchor::Start, "Common-mode rejection of A − B");
    for (k, line) in crate::text::wrapped(&headline, 120).into_iter().enumerate() {
        scene.text((96.0, 64.0 + 18.0 * k as f64), 13.0, colour::MUTED, Anchor::Start, line);
    }
    let all = &subject.rejection;
    let (Some(first), Some(last)) = (all.first(), all.last()) else { return scene };
    let lg = |f: f64| f.log10();
    let x = (lg(first.frequency_hz), lg(last.frequency_hz).max(lg(first.frequency_hz) + 0.1));
    let shown = |db: f64| db.min(MOST_DB);
    let trimmed = subject.trimmed.as_ref();
    let others = trimmed.into_iter().flat_map(|t| t.both_flat.iter());
    let highest = all.iter().chain(others).map(|r| shown(r.decibels())).fold(20.0, f64::max);
    let lowest = all.iter().map(|r| shown(r.at_least_decibels())).fold(highest, f64::min).min(20.0);
    let y = (10.0 * (lowest / 10.0).floor(), 10.0 * (highest / 10.0).ceil());
    let panel = Panel { left: 96.0, right: WIDTH - 36.0, top: 140.0, bottom: HEIGHT - 70.0, x, y };
    let (ticks, _) = axis::linear(y.0, y.1, 7);
    panel.y_axis(&mut scene, &ticks, "rejection, dB");
    let decades = axis::decades(first.frequency_hz, last.frequency_hz, "Hz");
    let decades: Vec<(f64, &str)> = decades.iter().map(|t| (lg(t.at), t.label.as_str())).collect();
    panel.x_axis(&mut scene, &decades, "frequency");
    let line = |all: &[Rejection], of: fn(&Rejection) -> f64| -> Vec<(f64, f64)> {
        all.iter().map(|r| panel.at(lg(r.frequency_hz), shown(of(r)).max(y.0))).collect()
    };
    let mut band = line(all, Rejection::decibels);
    band.extend(line(all, Rejection::at_least_decibels).into_iter().rev());
    let doubt = colour::FIT.faded(0.16);
    scene.shapes.push(Shape::Area { points: band, fill: doubt });
    let own = Stroke { paint: colour::FIT, width: 2.2, dash: Dash::Solid };
    let flat = Stroke { paint: colour::ERROR, width: 1.8, dash: Dash::Dashed };
    scene.line(line(all, Rejection::decibels), own);
    let mut key = vec![(Mark::Line(own), "as they are"), (Mark::Band(doubt), "at least (95 %)")];
    if let Some(trimmed) = trimmed {
        scene.line(line(&trimmed.both_flat, Rejection::at_least_decibels), flat);
        key.push((Mark::Line(flat), "both flat, at least"));
    }
    panel.heading(&mut scene, "", &key);
    scene
}
