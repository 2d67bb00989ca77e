//! The plot of one assessment: record with fit, residual, error against frequency; as SVG or PNG.
//!
//! Everything is first laid out as a [`scene::Scene`], plain data with no knowledge of a file format.

pub(crate) mod axis;
pub(crate) mod layout;
pub(crate) mod panel;
pub(crate) mod png;
pub mod scene;
pub(crate) mod svg;
mod trend;

use crate::subject::Subject;

pub use layout::{error_scene, record_scene, verdict_scene};
pub use png::PngError;
pub use svg::inline;
pub use trend::{TrendDrawing, TrendMark, TrendPlace, trend_scene};

/// The plot as an SVG document.
pub fn svg(subject: &Subject) -> String {
    svg::write(&layout::scene(subject))
}

/// The plot as a PNG image, two pixels for each unit of the SVG document.
///
/// # Errors
/// [`PngError`] when the drawing cannot be turned into an image.
pub fn png(subject: &Subject) -> Result<Vec<u8>, PngError> {
    png::render(&svg(subject))
}

#[cfg(test)]
mod tests;
