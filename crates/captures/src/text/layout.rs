//! Where the numbers start in a text, and how their lines are built.
//!
//! Declared rules, in this order. A line is taken apart at semicolons, else tabs, else commas, else blanks: the first of
//! these that stands in the line and leaves nothing but numbers and missing values. A comma counts as decimal mark only
//! where it does not separate, or within quotes. The data starts at the first of at least [`RUN`] lines of one build.

use super::line::{self, Separator};
use super::number;

/// Lines of one build that make a run of data.
pub(crate) const RUN: usize = 8;
/// A run of this many lines that ends before the data starts is data with a fault behind it, not preamble.
const SHORT_RUN: usize = 3;

/// How lines of data are built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Build {
    pub(crate) separator: Separator,
    /// Decimal mark.
    pub(crate) mark: u8,
    /// Number of fields, a trailing empty one counted too.
    pub(crate) fields: usize,
}

/// One line's build; the mark is unknown while no number has one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Shape {
    separator: Separator,
    mark: Option<u8>,
    fields: usize,
    /// Whether there is at least one number.
    numeric: bool,
}

/// A line of the head: its number from 1 and its text without the line end.
#[derive(Clone, Copy, Debug)]
pub(crate) struct HeadLine<'a> {
    pub(crate) number: u64,
    pub(crate) text: &'a [u8],
    /// Byte position of its start in the head.
    pub(crate) start: usize,
}

/// The found layout.
#[derive(Debug)]
pub(crate) struct Layout<'a> {
    pub(crate) build: Build,
    /// Lines before the data.
    pub(crate) preamble: Vec<HeadLine<'a>>,
    /// First lines of the data, blank ones left out.
    pub(crate) sample: Vec<HeadLine<'a>>,
    /// Data lines at the start that have text in columns which are empty further down.
    pub(crate) beside: usize,
    /// Numbers of preamble lines that hold nothing but numbers.
    pub(crate) numeric_preamble: Vec<u64>,
}

/// Why no layout was found.
#[derive(Debug, PartialEq)]
pub(crate) enum LayoutFault<'a> {
    /// No line of numbers at all.
    NoNumbers,
    /// Numbers, then something else on this line.
    Broken { number: u64, text: &'a [u8], build: Build },
}

/// Most data lines that are looked at.
const SAMPLE_LINES: usize = 1000;

/// Finds the layout from the first lines. `lines` must not hold a last line that may go on after the head.
pub(crate) fn find<'a>(lines: &[HeadLine<'a>]) -> Result<Layout<'a>, LayoutFault<'a>> {
    let mut run: Option<Run<'a>> = None;
    let mut broken: Option<(Run<'a>, HeadLine<'a>)> = None;
    let mut numeric_preamble = Vec::new();
    let mut fields = Vec::new();
    for (index, line) in lines.iter().enumerate() {
        if line.text.trim_ascii().is_empty() {
            continue;
        }
        if let Some(current) = run.as_mut()
            && current.continues(line, &mut fields)
        {
            if current.lines.len() == RUN {
                break;
            }
            continue;
        }
        if let Some(ended) = run.take() {
            if ended.lines.len() >= SHORT_RUN && broken.is_none() {
                broken = Some((ended, *line));
            } else {
                numeric_preamble.extend(ended.lines.iter().map(|l| l.number));
            }
        }
        run = shape(line.text, &mut fields).filter(|s| s.numeric).map(|shape| Run {
            shape,
            lines: vec![*line],
            first_index: index,
        });
    }
    let run = match (run, broken) {
        // The longer run that follows is built the same way, or there is none: the break is a fault in the data.
        (found, Some((before, at)))
            if found.as_ref().is_none_or(|r| {
                r.lines.len() < RUN
                    || (r.shape.separator, r.shape.fields) == (before.shape.separator, before.shape.fields)
            }) =>
        {
            let build = before.build();
            return Err(LayoutFault::Broken { number: at.number, text: at.text, build });
        }
        (Some(run), broken) => {
            if let Some((before, _)) = broken {
                numeric_preamble.extend(before.lines.iter().map(|l| l.number));
                numeric_preamble.sort_unstable();
            }
            run
        }
        (None, _) => return Err(LayoutFault::NoNumbers),
    };
    let mut build = run.build();
    let beside = lines_with_text_beside(&lines[..run.first_index], &run, &mut fields);
    let first_index = run.first_index - beside;
    let rest = &lines[first_index..];
    let sample: Vec<_> =
        rest.iter().filter(|l| !l.text.trim_ascii().is_empty()).take(SAMPLE_LINES).copied().collect();
    if run.shape.mark.is_none() {
        // The first lines are whole numbers; a later one may show the mark.
        let later = sample.iter().filter_map(|l| shape(l.text, &mut fields)).find_map(|s| s.mark);
        build.mark = later.unwrap_or(build.mark);
    }
    Ok(Layout { build, preamble: lines[..first_index].to_vec(), sample, beside, numeric_preamble })
}

/// Some exports write settings beside the first samples. Counts the lines above the run that hold numbers in all its
/// filled columns; only where the run has columns that are always empty.
fn lines_with_text_beside<'a>(above: &[HeadLine<'a>], run: &Run<'a>, fields: &mut Vec<&'a [u8]>) -> usize {
    let Build { separator, mark, fields: count } = run.build();
    let mut filled = vec![false; count];
    for line in &run.lines {
        line::split(line.text, separator, fields);
        filled.iter_mut().zip(fields.iter()).for_each(|(filled, field)| *filled |= !field.is_empty());
    }
    // An empty column at the end is a trailing separator.
    if !filled[..count - 1].contains(&false) {
        return 0;
    }
    let mut holds_samples = |line: &&HeadLine<'a>| {
        line::split(line.text, separator, fields);
        let number = |field: &[u8]| number::printed(field).is_some_and(|p| p.mark.is_none_or(|m| m == mark));
        fields.len() == count
            && filled.iter().zip(fields.iter()).all(|(filled, field)| !filled || number(field))
    };
    above.iter().rev().take_while(|l| holds_samples(l)).count()
}

/// Consecutive lines of one build.
#[derive(Debug)]
struct Run<'a> {
    shape: Shape,
    lines: Vec<HeadLine<'a>>,
    first_index: usize,
}

impl<'a> Run<'a> {
    fn build(&self) -> Build {
        let Shape { separator, mark, fields, .. } = self.shape;
        Build { separator, mark: mark.unwrap_or(b'.'), fields }
    }

    fn continues(&mut self, line: &HeadLine<'a>, fields: &mut Vec<&'a [u8]>) -> bool {
        let own = self.shape;
        let Some((mark, _)) = numbers(line.text, own.separator, own.fields, own.mark, fields) else {
            return false;
        };
        self.shape.mark = own.mark.or(mark);
        self.lines.push(*line);
        true
    }
}

/// The build of one line, or `None` when there are words in it.
fn shape<'a>(text: &'a [u8], fields: &mut Vec<&'a [u8]>) -> Option<Shape> {
    let separators =
        [b';', b'\t', b','].into_iter().filter(|b| text.trim_ascii().contains(b)).map(Separator::Byte);
    for separator in separators.chain([Separator::Blanks]) {
        line::split(text, separator, fields);
        let count = fields.len();
        if let Some((mark, numeric)) = numbers(text, separator, count, None, fields) {
            return Some(Shape { separator, mark, fields: count, numeric });
        }
    }
    None
}

/// When the line consists of `count` numbers or missing values that agree on the mark: the mark, and whether there is
/// any number.
fn numbers<'a>(
    text: &'a [u8],
    separator: Separator,
    count: usize,
    mark: Option<u8>,
    fields: &mut Vec<&'a [u8]>,
) -> Option<(Option<u8>, bool)> {
    line::split(text, separator, fields);
    if fields.len() != count {
        return None;
    }
    let (mut mark, mut numeric) = (mark, false);
    for field in fields.iter() {
        match number::printed(field) {
            Some(found) => {
                if found.mark.is_some() && mark.is_some() && found.mark != mark {
                    return None;
                }
                mark = mark.or(found.mark);
                numeric = true;
            }
            None if line::is_missing(field) => {}
            None => return None,
        }
    }
    Some((mark, numeric))
}
