//! One panel: a frame on the page, its two axes, its heading and key.

use super::axis::Tick;
use super::layout::colour;
use super::scene::{Anchor, Dash, Paint, Scene, Stroke, text_width};

/// A rectangle of the page and the ranges it shows.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Panel {
    pub(crate) left: f64,
    pub(crate) right: f64,
    pub(crate) top: f64,
    pub(crate) bottom: f64,
    /// Values at the left and right edge, on the scale of the axis (the logarithm for a logarithmic one).
    pub(crate) x: (f64, f64),
    /// Values at the bottom and top edge.
    pub(crate) y: (f64, f64),
}

/// An entry of the key: what the mark is called and how it looks.
pub(crate) enum Mark {
    Line(Stroke),
    Band(Paint),
    Dot(Paint),
    Ring(Paint),
    Cross(Paint),
}

impl Panel {
    pub(crate) fn at_x(&self, x: f64) -> f64 {
        self.left + (self.right - self.left) * (x - self.x.0) / (self.x.1 - self.x.0)
    }

    pub(crate) fn at_y(&self, y: f64) -> f64 {
        self.bottom - (self.bottom - self.top) * (y - self.y.0) / (self.y.1 - self.y.0)
    }

    pub(crate) fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.at_x(x), self.at_y(y))
    }

    /// Hairlines at the ticks of y, and what is written at them.
    pub(crate) fn y_axis(&self, scene: &mut Scene, ticks: &[Tick], title: &str) {
        for tick in ticks {
            let y = self.at_y(tick.at);
            scene.line(vec![(self.left, y), (self.right, y)], hairline());
            scene.text((self.left - 8.0, y + 4.0), 12.0, colour::MUTED, Anchor::End, tick.label.clone());
        }
        scene.shapes.push(super::scene::Shape::Text {
            at: (self.left - 56.0, 0.5 * (self.top + self.bottom)),
            size: 12.5,
            paint: colour::INK,
            anchor: Anchor::Middle,
            turned: -90.0,
            text: title.into(),
        });
    }

    /// The base line, short strokes at the ticks of x, and what is written at them.
    pub(crate) fn x_axis(&self, scene: &mut Scene, ticks: &[(f64, &str)], title: &str) {
        let stroke = Stroke { paint: colour::AXIS, width: 1.0, dash: Dash::Solid };
        scene.line(vec![(self.left, self.bottom), (self.right, self.bottom)], stroke);
        for &(at, label) in ticks {
            let x = self.at_x(at);
            scene.line(vec![(x, self.bottom), (x, self.bottom + 5.0)], stroke);
            if !label.is_empty() {
                scene.text((x, self.bottom + 19.0), 12.0, colour::MUTED, Anchor::Middle, label);
            }
        }
        if !title.is_empty() {
            let middle = 0.5 * (self.left + self.right);
            scene.text((middle, self.bottom + 38.0), 12.5, colour::INK, Anchor::Middle, title);
        }
    }

    /// The heading above the panel, and the key to its marks to the right.
    pub(crate) fn heading(&self, scene: &mut Scene, heading: &str, key: &[(Mark, &str)]) {
        let base = self.top - 12.0;
        scene.text((self.left, base), 15.0, colour::INK, Anchor::Start, heading);
        let mut x = self.right;
        for (mark, name) in key.iter().rev() {
            x -= text_width(name, 12.0);
            scene.text((x, base), 12.0, colour::MUTED, Anchor::Start, *name);
            x -= 30.0;
            let y = base - 4.0;
            match *mark {
                Mark::Line(stroke) => scene.line(vec![(x, y), (x + 24.0, y)], stroke),
                Mark::Band(paint) => scene.rectangle((x, y - 5.0), (x + 24.0, y + 5.0), paint),
                Mark::Dot(fill) => disc(scene, (x + 15.0, y), 3.5, fill),
                Mark::Ring(paint) => {
                    disc(scene, (x + 15.0, y), 4.5, paint);
                    disc(scene, (x + 15.0, y), 2.8, colour::PAPER);
                }
                Mark::Cross(paint) => cross(scene, (x + 15.0, y), paint),
            }
            x -= 14.0;
        }
    }
}

pub(crate) fn disc(scene: &mut Scene, at: (f64, f64), radius: f64, fill: Paint) {
    scene.shapes.push(super::scene::Shape::Disc { at, radius, fill });
}

pub(crate) fn cross(scene: &mut Scene, (x, y): (f64, f64), paint: Paint) {
    for dy in [4.5, -4.5] {
        let stroke = Stroke { paint, width: 1.6, dash: Dash::Solid };
        scene.line(vec![(x - 4.5, y - dy), (x + 4.5, y + dy)], stroke);
    }
}

fn hairline() -> Stroke {
    Stroke { paint: colour::HAIR, width: 1.0, dash: Dash::Solid }
}
