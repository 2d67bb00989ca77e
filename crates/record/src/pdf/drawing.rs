//! What is put on a page: text, rules, and the shapes of a drawing.

use flattop_report::plot::scene::{Anchor, Dash, Paint as ScenePaint, Scene, Shape};
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Transform};
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;

use super::letters::{Letters, Style};

/// How dark something is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    /// Text.
    Full,
    /// What steps back: labels, heads of columns.
    Muted,
    /// Hairlines.
    Hair,
}

impl Ink {
    fn rgb(self) -> [u8; 3] {
        match self {
            Self::Full => [22, 26, 32],
            Self::Muted => [88, 94, 102],
            Self::Hair => [196, 200, 206],
        }
    }
}

/// One thing on a page; lengths in points from the upper left corner.
#[derive(Clone, Debug)]
pub(super) enum Op<'a> {
    Text { at: (f32, f32), size: f32, style: Style, ink: Ink, text: String },
    Rule { from: (f32, f32), to: (f32, f32), width: f32, ink: Ink },
    Scene { scene: &'a Scene, at: (f32, f32), scale: f32 },
}

/// Draws it.
pub(super) fn draw(surface: &mut Surface<'_>, letters: &Letters, op: &Op<'_>) {
    match op {
        Op::Text { at, size, style, ink, text } => {
            surface.set_fill(Some(fill(ink.rgb(), 1.0)));
            // There is one weight; a fine outline makes the heavier one.
            let heavier =
                (*style == Style::Strong).then(|| Stroke { width: 0.032 * size, ..line(ink.rgb(), 1.0) });
            surface.set_stroke(heavier);
            write(surface, letters, *at, *size, *style, text);
            surface.set_stroke(None);
        }
        Op::Rule { from, to, width, ink } => {
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke { width: *width, ..line(ink.rgb(), 1.0) }));
            if let Some(path) = path([*from, *to].into_iter(), false) {
                surface.draw_path(&path);
            }
            surface.set_stroke(None);
        }
        Op::Scene { scene, at, scale } => {
            surface.push_transform(&Transform::from_row(*scale, 0.0, 0.0, *scale, at.0, at.1));
            scene.shapes.iter().for_each(|shape| draw_shape(surface, letters, shape));
            surface.pop();
        }
    }
}

fn write(surface: &mut Surface<'_>, letters: &Letters, at: (f32, f32), size: f32, style: Style, text: &str) {
    let (mut x, y) = at;
    for piece in letters.shaped(text, style).iter() {
        let font = letters.font(piece.font);
        surface.draw_glyphs(Point::from_xy(x, y), &piece.glyphs, font, &piece.text, size, false);
        x += size * piece.width;
    }
}

fn draw_shape(surface: &mut Surface<'_>, letters: &Letters, shape: &Shape) {
    surface.set_fill(None);
    surface.set_stroke(None);
    let small = |(x, y): (f64, f64)| (x as f32, y as f32);
    match shape {
        Shape::Line { points, stroke } => {
            let dash = match stroke.dash {
                Dash::Solid => None,
                Dash::Dashed => Some(StrokeDash { array: vec![6.0, 4.0], offset: 0.0 }),
            };
            let ScenePaint { rgb, opacity } = stroke.paint;
            surface.set_stroke(Some(Stroke { width: stroke.width as f32, dash, ..line(rgb, opacity) }));
            if let Some(path) = path(points.iter().copied().map(small), false) {
                surface.draw_path(&path);
            }
        }
        Shape::Area { points, fill: paint } => {
            surface.set_fill(Some(fill(paint.rgb, paint.opacity)));
            if let Some(path) = path(points.iter().copied().map(small), true) {
                surface.draw_path(&path);
            }
        }
        Shape::Disc { at, radius, fill: paint } => {
            surface.set_fill(Some(fill(paint.rgb, paint.opacity)));
            if let Some(path) = disc(small(*at), *radius as f32) {
                surface.draw_path(&path);
            }
        }
        Shape::Text { at, size, paint, anchor, turned, text } => {
            surface.set_fill(Some(fill(paint.rgb, paint.opacity)));
            let size = *size as f32;
            let width = letters.width(text, Style::Text, size);
            let back = match anchor {
                Anchor::Start => 0.0,
                Anchor::Middle => 0.5 * width,
                Anchor::End => width,
            };
            let (x, y) = small(*at);
            surface.push_transform(&Transform::from_rotate_at(*turned as f32, x, y));
            write(surface, letters, (x - back, y), size, Style::Text, text);
            surface.pop();
        }
    }
    surface.set_fill(None);
    surface.set_stroke(None);
}

fn path(mut points: impl Iterator<Item = (f32, f32)>, closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let (x, y) = points.next()?;
    builder.move_to(x, y);
    points.for_each(|(x, y)| builder.line_to(x, y));
    if closed {
        builder.close();
    }
    builder.finish()
}

/// Four cubic curves; their greatest distance from the circle is 0.03 % of the radius.
fn disc((x, y): (f32, f32), r: f32) -> Option<Path> {
    const K: f32 = 0.552_284_8;
    let k = K * r;
    let mut builder = PathBuilder::new();
    builder.move_to(x + r, y);
    builder.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
    builder.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
    builder.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
    builder.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
    builder.close();
    builder.finish()
}

fn share(opacity: f64) -> NormalizedF32 {
    NormalizedF32::new(opacity.clamp(0.0, 1.0) as f32).unwrap_or(NormalizedF32::ONE)
}

fn fill([r, g, b]: [u8; 3], opacity: f64) -> Fill {
    Fill { paint: rgb::Color::new(r, g, b).into(), opacity: share(opacity), ..Fill::default() }
}

fn line([r, g, b]: [u8; 3], opacity: f64) -> Stroke {
    Stroke {
        paint: rgb::Color::new(r, g, b).into(),
        opacity: share(opacity),
        line_cap: LineCap::Butt,
        line_join: LineJoin::Round,
        ..Stroke::default()
    }
}
