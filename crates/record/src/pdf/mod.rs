//! A record as a PDF document: set by our own flow, written by krilla.
//!
//! Fonts are embedded as subsets with a map to Unicode, so that text can be searched and copied; each section has its
//! bookmark; title, language, author and date stand in the metadata.

mod drawing;
mod flow;
mod letters;
mod table;

pub(crate) use table::COMPACT;

use krilla::destination::XyzDestination;
use krilla::geom::Point;
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;

use crate::document::Document;
use crate::when;
use drawing::{Ink, Op, draw};
use flow::Flow;
use letters::{Letters, Style};

/// Size of the pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm.
    A4,
    /// 8.5 in × 11 in.
    Letter,
}

impl Paper {
    /// Width and height, points of 1/72 in.
    pub fn size_pt(self) -> (f32, f32) {
        match self {
            Self::A4 => (595.276, 841.89),
            Self::Letter => (612.0, 792.0),
        }
    }

    /// The name that style sheets use.
    pub fn css_name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}

/// A page: its size, and the edges of what is printed on it, points.
#[derive(Clone, Copy, Debug)]
struct Sheet {
    width: f32,
    height: f32,
    left: f32,
    right: f32,
    top: f32,
    bottom: f32,
}

impl Sheet {
    fn of(paper: Paper) -> Self {
        let (width, height) = paper.size_pt();
        Self { width, height, left: 54.0, right: width - 54.0, top: 62.0, bottom: height - 62.0 }
    }
}

/// Why there is no document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PdfError {
    /// A font that this program brings along cannot be read.
    Font,
    /// The document could not be written.
    Writing {
        /// What the writer said.
        reason: String,
    },
}

impl std::fmt::Display for PdfError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Font => write!(f, "a font of this program cannot be read; write HTML instead"),
            Self::Writing { reason } => {
                write!(f, "the PDF could not be put together: {reason}; write HTML instead")
            }
        }
    }
}

impl std::error::Error for PdfError {}

/// The record as the bytes of a PDF file.
///
/// # Errors
/// [`PdfError`] when the document cannot be put together.
pub fn write(document: &Document, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let letters = Letters::new()?;
    let mut flow = flow::set(document, paper, &letters);
    running_lines(&mut flow, document);
    let mut out = krilla::Document::new();
    out.set_metadata(metadata(document));
    let sheet = flow.sheet;
    for page in &flow.pages {
        let settings = PageSettings::from_wh(sheet.width, sheet.height)
            .ok_or_else(|| PdfError::Writing { reason: "the size of the page".into() })?;
        let mut page_out = out.start_page_with(settings);
        let mut surface = page_out.surface();
        page.iter().for_each(|op| draw(&mut surface, &letters, op));
        surface.finish();
        page_out.finish();
    }
    let mut outline = Outline::new();
    for place in &flow.outline {
        let target = XyzDestination::new(place.page, Point::from_xy(sheet.left, place.y));
        outline.push_child(OutlineNode::new(place.heading.clone(), target));
    }
    out.set_outline(outline);
    out.finish().map_err(|error| PdfError::Writing { reason: format!("{error:?}") })
}

/// Heads and feet, now that the number of pages is known.
fn running_lines(flow: &mut Flow<'_>, document: &Document) {
    const SIZE: f32 = 7.6;
    let sheet = flow.sheet;
    let total = flow.pages.len();
    let letters = flow.letters;
    let text = |x: f32, y: f32, text: String| Op::Text {
        at: (x, y),
        size: SIZE,
        style: Style::Text,
        ink: Ink::Muted,
        text,
    };
    let from_right = |words: &str| sheet.right - letters.width(words, Style::Text, SIZE);
    let width = sheet.right - sheet.left;
    let cut = |words: &str, room: f32| letters.lines(words, Style::Text, SIZE, room).swap_remove(0);
    for (at, page) in flow.pages.iter_mut().enumerate() {
        let (head, foot) = (sheet.top - 22.0, sheet.height - 34.0);
        if at > 0 {
            page.push(text(sheet.left, head, document.title.clone()));
            let rule =
                |y: f32| Op::Rule { from: (sheet.left, y), to: (sheet.right, y), width: 0.4, ink: Ink::Hair };
            page.push(rule(head + 6.0));
        }
        if let Some(laboratory) = &document.laboratory {
            let words = cut(laboratory, 0.55 * width);
            page.push(text(from_right(&words), head, words));
        }
        page.push(text(sheet.left, foot, cut(&document.identification, 0.6 * width)));
        let issued = format!("issued {} by {}", when::day(document.issued_at), document.program);
        page.push(text(sheet.left, foot + 9.5, cut(&issued, 0.6 * width)));
        let number = format!("page {} of {total}", at + 1);
        page.push(text(from_right(&number), foot, number));
    }
}

fn metadata(document: &Document) -> Metadata {
    let mut metadata = Metadata::new()
        .title(format!("{}: {}", document.title, document.subtitle))
        .description(document.identification.clone())
        .language("en".into())
        .creator(document.program.clone());
    if let Some(author) = document.author.clone().or_else(|| document.laboratory.clone()) {
        metadata = metadata.authors(vec![author]);
    }
    if let Some(date) = date(document) {
        metadata = metadata.creation_date(date);
    }
    metadata
}

/// The time of issue for the metadata; PDF knows the years 0 to 9999 only.
fn date(document: &Document) -> Option<DateTime> {
    let text = when::utc(document.issued_at);
    let number = |range: std::ops::Range<usize>| text.get(range)?.parse::<u8>().ok();
    let year = text.get(0..4)?.parse::<u16>().ok()?;
    Some(
        DateTime::new(year)
            .month(number(5..7)?)
            .day(number(8..10)?)
            .hour(number(11..13)?)
            .minute(number(14..16)?)
            .second(number(17..19)?)
            .utc_offset_hour(0)
            .utc_offset_minute(0),
    )
}
