//! Lines of text with two fields more.

use std::io::{self, BufRead, BufReader, BufWriter, Write};
use std::path::Path;

use flate2::Compression;
use flate2::write::GzEncoder;

use super::{Added, CHANGED, TextBuild, create};
use crate::capture::{Capture, Packing};
use crate::packed;
use crate::text::line::Separator;
use crate::text::{Input, Source};

/// Samples whose values are asked for at once.
const BLOCK: usize = 1 << 14;

pub(super) fn write<A: Added>(
    capture: &Capture,
    build: &TextBuild,
    half: &Path,
    place: &Path,
    added: &mut A,
) -> io::Result<()> {
    let file = BufWriter::with_capacity(1 << 18, create(half)?);
    if place.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("gz")) {
        let mut packed = GzEncoder::new(file, Compression::default());
        lines(capture, build, &mut packed, added)?;
        packed.finish()?.flush()
    } else {
        let mut file = file;
        lines(capture, build, &mut file, added)?;
        file.flush()
    }
}

fn lines<A: Added>(
    capture: &Capture,
    build: &TextBuild,
    out: &mut dyn Write,
    added: &mut A,
) -> io::Result<()> {
    let quiet = |_| {};
    let unpacked = || Ok(packed::reader(capture.format.packing, &capture.bytes, &quiet));
    let input = match capture.format.packing {
        Packing::Plain => Input::Whole(&capture.bytes),
        _ => Input::Stream(&unpacked),
    };
    let changed = || io::Error::from(CHANGED);
    let source = Source::start(&capture.file, input).map_err(|_| changed())?;
    let reader = source.reader().map_err(|_| changed())?;
    let mut reader = BufReader::with_capacity(1 << 18, reader);
    let mut fields = Fields::new(capture.points, added);
    let heading_lines = &build.heading_lines[..build.headings];
    let (mut line, mut number) = (Vec::new(), 0u64);
    loop {
        line.clear();
        if reader.read_until(build.eol, &mut line)? == 0 {
            return if fields.given == capture.points { Ok(()) } else { Err(changed()) };
        }
        number += 1;
        let (text, end) = split_end(&line, build.eol);
        if number < build.first_line {
            let heading = heading_lines.iter().position(|at| *at == number);
            let names =
                heading.map(|which| headings(capture, fields.added.names(), which, heading_lines.len()));
            match names {
                Some(names) => put(out, build, text, end, [names[0].as_bytes(), names[1].as_bytes()])?,
                None => out.write_all(&line)?,
            }
        } else if text.trim_ascii().is_empty() {
            out.write_all(&line)?;
        } else if build.cut != Some(number) && text != [0x1a] {
            let [first, second] = fields.next(build.mark).ok_or_else(changed)?;
            if build.mark == b',' && build.separator == Separator::Byte(b',') {
                // A comma that separates and one that marks decimals stand apart by quotes.
                put(out, build, text, end, [&quoted(first), &quoted(second)])?;
            } else {
                put(out, build, text, end, [first, second])?;
            }
        }
    }
}

fn quoted(field: &[u8]) -> Vec<u8> {
    [b"\"", field, b"\""].concat()
}

/// A line without its end, and that end.
fn split_end(line: &[u8], eol: u8) -> (&[u8], &[u8]) {
    let mut length = line.len() - usize::from(line.last() == Some(&eol));
    while length > 0 && line[length - 1] == b'\r' {
        length -= 1;
    }
    line.split_at(length)
}

/// A line with two fields more, before the separator that ends it where lines end with one.
fn put(
    out: &mut dyn Write,
    build: &TextBuild,
    text: &[u8],
    end: &[u8],
    fields: [&[u8]; 2],
) -> io::Result<()> {
    let separator = match build.separator {
        Separator::Byte(byte) => byte,
        Separator::Blanks if text.contains(&b'\t') => b'\t',
        Separator::Blanks => b' ',
    };
    let text = text.trim_ascii_end_of(separator);
    let closes = build.trailing && text.last() == Some(&separator);
    out.write_all(text)?;
    if !closes {
        out.write_all(&[separator])?;
    }
    out.write_all(fields[0])?;
    out.write_all(&[separator])?;
    out.write_all(fields[1])?;
    if closes {
        out.write_all(&[separator])?;
    }
    out.write_all(end)
}

trait TrimEnd {
    fn trim_ascii_end_of(&self, separator: u8) -> &[u8];
}

impl TrimEnd for [u8] {
    /// Without blanks at the end, but for one that separates.
    fn trim_ascii_end_of(&self, separator: u8) -> &[u8] {
        let mut text = self;
        while let [rest @ .., last] = text
            && last.is_ascii_whitespace()
            && *last != separator
        {
            text = rest;
        }
        text
    }
}

/// What is added to heading line `which` of `all`.
fn headings(capture: &Capture, names: [&str; 2], which: usize, all: usize) -> [String; 2] {
    let unit = capture.probe.unit.as_deref();
    match (which, all, &capture.probe.name, unit) {
        // Units in a line of their own, or nothing but units.
        (1, 2, _, unit) => [unit.unwrap_or_default().to_owned(), unit.unwrap_or_default().to_owned()],
        (0, 1, None, Some(unit)) => [unit.to_owned(), unit.to_owned()],
        (0, 1, _, Some(unit)) => names.map(|name| format!("{name} ({unit})")),
        _ => names.map(str::to_owned),
    }
}

/// The added values as text, one pair after the other.
struct Fields<'a, A> {
    added: &'a mut A,
    points: usize,
    given: usize,
    first: Vec<f64>,
    second: Vec<f64>,
    at: usize,
    text: [Vec<u8>; 2],
}

impl<'a, A: Added> Fields<'a, A> {
    fn new(points: usize, added: &'a mut A) -> Self {
        let (first, second, text) = (Vec::new(), Vec::new(), [Vec::new(), Vec::new()]);
        Self { added, points, given: 0, first, second, at: 0, text }
    }

    fn next(&mut self, mark: u8) -> Option<[&[u8]; 2]> {
        if self.given == self.points {
            return None;
        }
        if self.at == self.first.len() {
            let count = BLOCK.min(self.points - self.given);
            self.first.resize(count, 0.0);
            self.second.resize(count, 0.0);
            self.added.next(self.given..self.given + count, &mut self.first, &mut self.second);
            self.at = 0;
        }
        let (value, uncertainty) = (self.first[self.at], self.second[self.at]);
        let [first, second] = &mut self.text;
        first.clear();
        second.clear();
        // Writing to memory cannot fail.
        let _ = match self.added.decimals() {
            Some(decimals) if value.is_finite() => write!(first, "{value:.decimals$}"),
            _ => write!(first, "{value}"),
        };
        let _ = write!(second, "{uncertainty:.3e}");
        if mark == b',' {
            for byte in first.iter_mut().chain(second.iter_mut()).filter(|byte| **byte == b'.') {
                *byte = b',';
            }
        }
        self.at += 1;
        self.given += 1;
        Some([&self.text[0], &self.text[1]])
    }
}
