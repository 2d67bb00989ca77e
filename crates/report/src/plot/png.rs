//! An SVG document as a PNG image, with the font this program brings along.

use std::sync::Arc;

use resvg::usvg::fontdb::Database;
use resvg::{tiny_skia, usvg};

/// Pixels for each unit of the document.
const SCALE: f32 = 2.0;

/// Why a drawing did not become an image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PngError {
    /// The document could not be read back.
    Document {
        /// What the reader said.
        reason: String,
    },
    /// There is no room for the image.
    Size,
    /// The image could not be packed.
    Encoding {
        /// What the encoder said.
        reason: String,
    },
}

impl std::fmt::Display for PngError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Document { reason } => {
                write!(f, "the drawing could not be read back: {reason}; write SVG instead")
            }
            Self::Size => write!(f, "there is no room for the image; write SVG instead"),
            Self::Encoding { reason } => {
                write!(f, "the image could not be packed: {reason}; write SVG instead")
            }
        }
    }
}

impl std::error::Error for PngError {}

/// Draws the document.
pub(crate) fn render(svg: &str) -> Result<Vec<u8>, PngError> {
    let mut fonts = Database::new();
    fonts.load_font_data(epaint_default_fonts::UBUNTU_LIGHT.to_vec());
    let family = fonts
        .faces()
        .next()
        .and_then(|face| face.families.first())
        .map(|(name, _)| name.clone())
        .unwrap_or_default();
    fonts.set_sans_serif_family(&family);
    let options = usvg::Options { font_family: family, fontdb: Arc::new(fonts), ..usvg::Options::default() };
    let tree = usvg::Tree::from_str(svg, &options)
        .map_err(|error| PngError::Document { reason: error.to_string() })?;
    let size = tree.size();
    let mut image =
        tiny_skia::Pixmap::new((size.width() * SCALE).ceil() as u32, (size.height() * SCALE).ceil() as u32)
            .ok_or(PngError::Size)?;
    resvg::render(&tree, tiny_skia::Transform::from_scale(SCALE, SCALE), &mut image.as_mut());
    image.encode_png().map_err(|error| PngError::Encoding { reason: error.to_string() })
}
