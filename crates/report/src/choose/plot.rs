//! The ranking as a drawing: the total error of each pairing against the tolerance, split into its causes.

use flattop_core::choice::{Judged, Standing};

use super::{Subject, text};
use crate::format::plain_percent;
use crate::plot::layout::colour;
use crate::plot::scene::{Anchor, Dash, Paint, Scene, Shape, Stroke};
use crate::plot::{self, PngError};
use crate::prediction::cause_code;

const WIDTH: f64 = 960.0;
const LEFT: f64 = 96.0;
const RIGHT: f64 = WIDTH - 36.0;
/// Room for what is written behind the longest bar.
const LABEL: f64 = 200.0;
/// Height of one pairing.
const ROW: f64 = 46.0;

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
        height: 0.0,
        title: headline.clone(),
        description: format!(
            "{} Bars: error of the {} of each pairing, best first, against a tolerance of {}.",
            headline,
            subject.wanted.measure.words(),
            plain_percent(subject.wanted.tolerance, 3)
        ),
        shapes: Vec::new(),
    };
    let mut y = 50.0;
    for line in crate::text::wrapped(&headline, 86) {
        scene.text((LEFT, y), 18.0, colour::INK, Anchor::Start, line);
        y += 25.0;
    }
    scene.text((LEFT, y), 13.0, colour::MUTED, Anchor::Start, subject.list.clone());
    y += 42.0;
    let largest = subject
        .judged
        .iter()
        .filter(|j| j.standing != Standing::Refused)
        .filter_map(|j| j.total)
        .fold(1.5 * subject.wanted.tolerance, f64::max)
        .min(4.0);
    let at = |error: f64| LEFT + (RIGHT - LEFT - LABEL) * (error / largest).min(1.0);
    let bottom = y + ROW * subject.judged.len() as f64;
    let allowed = at(subject.wanted.tolerance);
    scene.rectangle((LEFT, y - 6.0), (allowed, bottom), colour::ALLOWED);
    scene.text(
        (allowed + 6.0, y - 10.0),
        12.0,
        colour::ALLOWED_EDGE,
        Anchor::Start,
        format!("{} allowed", plain_percent(subject.wanted.tolerance, 3)),
    );
    let edge = Stroke { paint: colour::ALLOWED_EDGE, width: 1.4, dash: Dash::Dashed };
    for judged in &subject.judged {
        // Beside the bars only, so that it crosses no words.
        scene.line(vec![(allowed, y + 15.0), (allowed, y + 33.0)], edge);
        row(&mut scene, judged, y, &at);
        y += ROW;
    }
    scene.line(vec![(LEFT, y - 6.0), (LEFT, 0.0f64.max(bottom - ROW * subject.judged.len() as f64))], axis());
    scene.height = (y + 30.0).round();
    let paper = vec![(0.0, 0.0), (WIDTH, 0.0), (WIDTH, scene.height), (0.0, scene.height)];
    scene.shapes.insert(0, Shape::Area { points: paper, fill: colour::PAPER });
    scene
}

fn row(scene: &mut Scene, judged: &Judged, y: f64, at: &impl Fn(f64) -> f64) {
    let fill: Paint = match judged.standing {
        Standing::Suits => colour::FIT,
        Standing::MaySuit => colour::RECORD,
        Standing::TooFarOff => colour::ERROR,
        Standing::Refused => colour::MUTED,
    };
    scene.text((LEFT + 4.0, y + 11.0), 13.0, colour::INK, Anchor::Start, text::label(judged));
    let Some(total) = judged.total.filter(|_| judged.standing != Standing::Refused) else {
        scene.text((LEFT + 4.0, y + 28.0), 12.0, colour::MUTED, Anchor::Start, shortened(&judged.reason));
        return;
    };
    let error = judged.error.as_ref().map_or(0.0, |e| e.total.abs());
    scene.rectangle((LEFT, y + 17.0), (at(error).max(LEFT + 1.5), y + 31.0), fill);
    // The doubt on top of the error, hollow.
    let outline = Stroke { paint: fill, width: 1.2, dash: Dash::Solid };
    let (x0, x1) = (at(error), at(total));
    if x1 > x0 + 1.0 {
        let corners = vec![(x0, y + 17.0), (x1, y + 17.0), (x1, y + 31.0), (x0, y + 31.0), (x0, y + 17.0)];
        scene.line(corners, outline);
    }
    let mut words = plain_percent(total, 2);
    if let Some((cause, share)) = leading(judged) {
        words = format!("{words} ({} {})", cause, plain_percent(share, 2));
    }
    let x = x1.max(LEFT + 1.5) + 6.0;
    scene.text((x, y + 28.0), 12.0, colour::INK, Anchor::Start, words);
}

fn leading(judged: &Judged) -> Option<(&'static str, f64)> {
    let shares = judged.error.as_ref()?.shares.iter().filter_map(|s| Some((cause_code(s.cause), s.share?)));
    shares.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).filter(|(_, share)| share.abs() > 1e-4)
}

fn shortened(text: &str) -> String {
    let mut letters: String = text.chars().take(110).collect();
    if text.chars().count() > 110 {
        letters.push('…');
    }
    letters
}

fn axis() -> Stroke {
    Stroke { paint: colour::AXIS, width: 1.0, dash: Dash::Solid }
}
