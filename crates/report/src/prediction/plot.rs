//! The plot of a prediction: shown against true, gain and impedance against frequency, what each cause makes; as SVG or PNG.

mod frequency;
mod shares;
mod time;

use flattop_core::finding::Severity;

use super::{Subject, headline, text};
use crate::plot::layout::{GAP, LEFT, RIGHT, WIDTH, colour, lines, on_paper};
use crate::plot::panel::Panel;
use crate::plot::scene::{Anchor, Dash, Scene, Shape, Stroke};
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

const TRUE: Stroke = Stroke { paint: colour::FIT, width: 1.8, dash: Dash::Dashed };
const SHOWN: Stroke = Stroke { paint: colour::ERROR, width: 2.2, dash: Dash::Solid };

fn scene(subject: &Subject) -> Scene {
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: format!("{} {}", headline(subject), subject.plan),
        description: String::new(),
        shapes: Vec::new(),
    };
    let mut top = heading(&mut scene, subject) + 54.0;
    let mut panels = Vec::new();
    for draw in [time::close, time::whole, frequency::gain, frequency::impedance, shares::bars] {
        if let Some(drawn) = draw(&mut scene, subject, top) {
            top = drawn.bottom + GAP;
            panels.push(drawn.describes);
        }
    }
    scene.description =
        format!("{} {} {}", headline(subject), text::limits_sentence(subject), panels.join(" "));
    on_paper(scene, top - GAP)
}

/// Where a panel ends, and what it shows in words.
struct Drawn {
    bottom: f64,
    describes: &'static str,
}

/// Headline, limits, where it came from. Returns the y below it.
fn heading(scene: &mut Scene, subject: &Subject) -> f64 {
    let mut y = 50.0;
    for line in lines(&headline(subject).replace("(-", "(−"), 20.0) {
        scene.text((LEFT, y), 20.0, colour::INK, Anchor::Start, line);
        y += 27.0;
    }
    for line in lines(&text::limits_sentence(subject), 15.0) {
        scene.text((LEFT, y), 15.0, colour::INK, Anchor::Start, line);
        y += 21.0;
    }
    // Whoever looks at the picture alone must not miss that there are cautions: the one on the voltage itself, else the gravest.
    let cautions =
        || subject.findings.iter().filter(|f| subject.is_caution(f) && f.severity >= Severity::Warning);
    let first =
        cautions().find(|f| f.code == "hazardous-voltage").or_else(|| cautions().max_by_key(|f| f.severity));
    if let Some(finding) = first {
        let message = crate::text::sentence(&finding.message);
        let remedy = crate::text::capitalised(&crate::text::sentence(&finding.remedy));
        for line in lines(&format!("Caution: {message} {remedy}"), 15.0) {
            scene.text((LEFT, y), 15.0, colour::ERROR, Anchor::Start, line);
            y += 21.0;
        }
    }
    if !subject.plan.is_empty() {
        scene.text((LEFT, y + 2.0), 13.0, colour::MUTED, Anchor::Start, subject.plan.clone());
        y += 18.0;
    }
    y - 18.0
}

fn panel(top: f64, height: f64, x: (f64, f64), y: (f64, f64)) -> Panel {
    Panel { left: LEFT, right: RIGHT, top, bottom: top + height, x, y }
}

/// A line through points on the page, kept within the panel's height.
fn curve(scene: &mut Scene, panel: &Panel, points: &[(f64, f64)], stroke: Stroke) {
    let inside = |y: f64| (panel.top..=panel.bottom).contains(&y);
    let mut run: Vec<(f64, f64)> = Vec::new();
    for pair in points.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        // Where the straight line between two points is within top and bottom.
        let slope = b.1 - a.1;
        let (mut from, mut to) = (0.0, 1.0);
        if slope.abs() > 0.0 {
            let (t, u) = ((panel.top - a.1) / slope, (panel.bottom - a.1) / slope);
            (from, to) = (t.min(u).max(0.0), t.max(u).min(1.0));
        } else if !inside(a.1) {
            to = -1.0;
        }
        if from > to {
            continue;
        }
        let on = |t: f64| (a.0 + t * (b.0 - a.0), a.1 + t * slope);
        if run.is_empty() {
            run.push(on(from));
        }
        run.push(on(to));
        if to < 1.0 {
            scene.line(std::mem::take(&mut run), stroke);
        }
    }
    if run.len() > 1 {
        scene.line(run, stroke);
    }
}

/// A filled band between two curves, cut at the panel's edges.
fn band(scene: &mut Scene, panel: &Panel, upper: &[(f64, f64)], lower: &[(f64, f64)]) {
    let kept = |&(x, y): &(f64, f64)| (x, y.clamp(panel.top, panel.bottom));
    let points = upper.iter().map(kept).chain(lower.iter().rev().map(kept)).collect();
    scene.shapes.push(Shape::Area { points, fill: SHOWN.paint.faded(0.28) });
}
