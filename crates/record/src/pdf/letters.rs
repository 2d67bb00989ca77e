//! Text to glyphs: widths for breaking lines, and the same glyphs for drawing them.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::ttf_parser::Tag;
use rustybuzz::{Face, Feature, UnicodeBuffer, shape};

use super::PdfError;

/// How text looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Style {
    /// Running text.
    Text,
    /// The same letters, a little heavier.
    Strong,
    /// Letters of one width.
    Code,
}

/// Text in one font.
#[derive(Debug)]
pub(super) struct Piece {
    pub(super) font: usize,
    pub(super) text: String,
    pub(super) glyphs: Vec<KrillaGlyph>,
    /// Width at size 1.
    pub(super) width: f32,
}

/// What was shaped before, by font and text.
type Known = HashMap<(usize, String), Rc<Vec<Piece>>>;

/// Stands for a letter that no font has.
const REPLACEMENT: char = '\u{fffd}';

/// The fonts this program brings along: 0 for text, 1 with letters of one width.
pub(super) struct Letters {
    faces: [Face<'static>; 2],
    fonts: [Font; 2],
    known: RefCell<Known>,
}

impl Letters {
    pub(super) fn new() -> Result<Self, PdfError> {
        let data = [epaint_default_fonts::UBUNTU_LIGHT, epaint_default_fonts::HACK_REGULAR];
        let face = |at: usize| Face::from_slice(data[at], 0).ok_or(PdfError::Font);
        let font = |at: usize| Font::new(data[at].to_vec().into(), 0).ok_or(PdfError::Font);
        Ok(Self {
            faces: [face(0)?, face(1)?],
            fonts: [font(0)?, font(1)?],
            known: RefCell::new(HashMap::new()),
        })
    }

    pub(super) fn font(&self, at: usize) -> Font {
        self.fonts[at.min(1)].clone()
    }

    /// The text in pieces of one font each.
    pub(super) fn shaped(&self, text: &str, style: Style) -> Rc<Vec<Piece>> {
        let first = usize::from(style == Style::Code);
        let key = (first, text.to_owned());
        if let Some(known) = self.known.borrow().get(&key) {
            return Rc::clone(known);
        }
        let pieces = Rc::new(self.pieces(text, first));
        self.known.borrow_mut().insert(key, Rc::clone(&pieces));
        pieces
    }

    /// Width of the text at a size.
    pub(super) fn width(&self, text: &str, style: Style, size: f32) -> f32 {
        // What is drawn heavier is a little wider as well, by less than anybody sees.
        size * self.shaped(text, style).iter().map(|piece| piece.width).sum::<f32>()
    }

    fn pieces(&self, text: &str, first: usize) -> Vec<Piece> {
        let mut runs: Vec<(usize, String)> = Vec::new();
        for c in text.chars() {
            let c = if c.is_control() { ' ' } else { c };
            let has = |font: usize| self.faces[font].glyph_index(c).is_some();
            let found = [first, 1 - first].into_iter().find(|font| has(*font));
            let (font, c) = match found {
                Some(font) => (font, c),
                None if self.faces[first].glyph_index(REPLACEMENT).is_some() => (first, REPLACEMENT),
                None => (1 - first, REPLACEMENT),
            };
            match runs.last_mut() {
                Some((last, run)) if *last == font => run.push(c),
                _ => runs.push((font, c.to_string())),
            }
        }
        runs.into_iter().map(|(font, run)| self.piece(font, run)).collect()
    }

    fn piece(&self, font: usize, text: String) -> Piece {
        let face = &self.faces[font];
        let em = face.units_per_em().max(1) as f32;
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(&text);
        // Figures keep their common width, so that they stand below each other; ligatures would hide letters of digests.
        let off = |name: &[u8; 4]| Feature::new(Tag::from_bytes(name), 0, ..);
        let is_figure = text.chars().any(|c| c.is_ascii_digit());
        let features = if is_figure { vec![off(b"kern"), off(b"liga")] } else { vec![off(b"liga")] };
        let output = shape(face, &features, buffer);
        let (infos, positions) = (output.glyph_infos(), output.glyph_positions());
        let starts: Vec<usize> = infos.iter().map(|info| info.cluster as usize).collect();
        let mut glyphs = Vec::with_capacity(infos.len());
        let mut width = 0.0;
        for (at, (info, position)) in infos.iter().zip(positions).enumerate() {
            let start = starts[at];
            let end = starts.iter().copied().filter(|s| *s > start).min().unwrap_or(text.len());
            let of = |units: i32| units as f32 / em;
            let advance = of(position.x_advance);
            glyphs.push(KrillaGlyph::new(
                GlyphId::new(info.glyph_id),
                advance,
                of(position.x_offset),
                of(position.y_offset),
                of(position.y_advance),
                start..end,
                None,
            ));
            width += advance;
        }
        Piece { font, text, glyphs, width }
    }

    /// Text broken into lines of at most `width`; a word that is wider is broken where it has to be. Never empty.
    pub(super) fn lines(&self, text: &str, style: Style, size: f32, width: f32) -> Vec<String> {
        let space = self.width(" ", style, size);
        let mut lines = Vec::new();
        let (mut line, mut used) = (String::new(), 0.0);
        for word in text.split(|c: char| c.is_whitespace() && c != '\u{a0}').filter(|word| !word.is_empty()) {
            let wide = self.width(word, style, size);
            if !line.is_empty() && used + space + wide <= width {
                line.push(' ');
                line.push_str(word);
                used += space + wide;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            let mut pieces =
                if wide <= width { vec![word.to_owned()] } else { self.cut(word, style, size, width) };
            line = pieces.pop().unwrap_or_default();
            lines.append(&mut pieces);
            used = self.width(&line, style, size);
        }
        if !line.is_empty() || lines.is_empty() {
            lines.push(line);
        }
        lines
    }

    /// A long word in parts, cut behind a hyphen or slash where there is one.
    fn cut(&self, word: &str, style: Style, size: f32, width: f32) -> Vec<String> {
        let mut parts = Vec::new();
        let mut part = String::new();
        for c in word.chars() {
            part.push(c);
            if self.width(&part, style, size) > width && part.chars().count() > 1 {
                part.pop();
                let good = part.rfind(['-', '/', '_', '.']).map(|at| at + 1).filter(|at| 2 * at > part.len());
                let rest = part.split_off(good.unwrap_or(part.len()));
                parts.push(std::mem::replace(&mut part, rest));
                part.push(c);
            }
        }
        parts.push(part);
        parts
    }

    /// Width of the widest word.
    pub(super) fn widest_word(&self, text: &str, style: Style, size: f32) -> f32 {
        text.split_whitespace().map(|word| self.width(word, style, size)).fold(0.0, f32::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fonts_have_every_sign_that_records_use_and_figures_of_one_width() {
        let letters = Letters::new().unwrap();
        for sign in "−±×·–—’“”≤≥√Ωµτωσ°²½ρÅéß".chars() {
            let missing = letters.faces[0].glyph_index(sign).is_none();
            assert!(!(missing && letters.faces[1].glyph_index(sign).is_none()), "{sign}");
        }
        let widths: Vec<f32> =
            "0123456789".chars().map(|c| letters.width(&c.to_string(), Style::Text, 1e3)).collect();
        assert!(widths.iter().all(|w| (w - widths[0]).abs() <= 1.0), "{widths:?}");
    }

    #[test]
    fn lines_keep_all_letters_and_stay_within_their_width() {
        let letters = Letters::new().unwrap();
        let digest = "0123456789abcdef".repeat(4);
        let text = format!("a word {digest} {} 漢字 and more — “quoted” words that go on", "x".repeat(180));
        for width in [40.0, 90.0, 400.0] {
            let lines = letters.lines(&text, Style::Text, 9.0, width);
            assert!(
                lines.iter().all(|line| letters.width(line, Style::Text, 9.0) <= width + 0.5),
                "{lines:?}"
            );
            let bare = |text: &str| text.replace(' ', "");
            assert_eq!(bare(&lines.concat()), bare(&text));
        }
        assert_eq!(letters.lines("", Style::Text, 9.0, 50.0), [""]);
    }
}
