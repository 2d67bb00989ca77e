//! A drawing as plain data: shapes in painting order, in units of one pixel at normal size, y downward.

/// A colour with its share of opacity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paint {
    /// Red, green, blue.
    pub rgb: [u8; 3],
    /// 0 transparent to 1 opaque.
    pub opacity: f64,
}

impl Paint {
    /// An opaque colour.
    pub const fn solid(rgb: [u8; 3]) -> Self {
        Self { rgb, opacity: 1.0 }
    }

    /// The same colour, less opaque.
    pub const fn faded(self, opacity: f64) -> Self {
        Self { opacity, ..self }
    }
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub paint: Paint,
    /// Width.
    pub width: f64,
    /// Continuous or dashed.
    pub dash: Dash,
}

/// Continuous or dashed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dash {
    /// A continuous line.
    Solid,
    /// A dashed line.
    Dashed,
}

/// Which part of a text stands at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// The start.
    Start,
    /// The middle.
    Middle,
    /// The end.
    End,
}

/// One shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// An open line through points.
    Line {
        /// The points.
        points: Vec<(f64, f64)>,
        /// How it is drawn.
        stroke: Stroke,
    },
    /// A closed, filled outline.
    Area {
        /// The corners.
        points: Vec<(f64, f64)>,
        /// The filling.
        fill: Paint,
    },
    /// A filled disc.
    Disc {
        /// Centre.
        at: (f64, f64),
        /// Radius.
        radius: f64,
        /// The filling.
        fill: Paint,
    },
    /// Text on one line.
    Text {
        /// Where the anchor stands, on the base line.
        at: (f64, f64),
        /// Height of the letters.
        size: f64,
        /// Colour.
        paint: Paint,
        /// Which part stands at the point.
        anchor: Anchor,
        /// Degrees clockwise about the point.
        turned: f64,
        /// The words.
        text: String,
    },
}

/// A whole drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// What it is, for those who cannot see it.
    pub title: String,
    /// What it shows, for those who cannot see it.
    pub description: String,
    /// Shapes in painting order.
    pub shapes: Vec<Shape>,
}

impl Scene {
    /// Adds a straight or bent line.
    pub fn line(&mut self, points: Vec<(f64, f64)>, stroke: Stroke) {
        self.shapes.push(Shape::Line { points, stroke });
    }

    /// Adds a filled outline.
    pub fn area(&mut self, points: Vec<(f64, f64)>, fill: Paint) {
        self.shapes.push(Shape::Area { points, fill });
    }

    /// Adds a filled rectangle between two corners.
    pub fn rectangle(&mut self, (x0, y0): (f64, f64), (x1, y1): (f64, f64), fill: Paint) {
        self.area(vec![(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill);
    }

    /// Adds upright text.
    pub fn text(&mut self, at: (f64, f64), size: f64, paint: Paint, anchor: Anchor, text: impl Into<String>) {
        self.shapes.push(Shape::Text { at, size, paint, anchor, turned: 0.0, text: text.into() });
    }
}

/// Width that a text may take: generous, since a reader's sans-serif font is not known.
pub fn text_width(text: &str, size: f64) -> f64 {
    0.56 * size * text.chars().count() as f64
}
