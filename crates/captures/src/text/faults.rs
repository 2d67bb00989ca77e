//! Faults of a text in words.

use super::block::{LineFault, Plan, careful};
use super::columns::Columns;
use super::layout::{Build, HeadLine, Layout, LayoutFault};
use super::line;
use super::number;
use crate::axis::Fault;
use crate::error::ReadError;
use crate::select::{self, Kind};
use crate::units::{self, Unit};

/// A plan with nothing but the build, to take a line apart.
pub(crate) fn plan_of(build: Build) -> Plan {
    Plan {
        separator: build.separator,
        mark: build.mark,
        eol: b'\n',
        columns: build.fields,
        trailing: false,
        time: None,
        probe: 0,
        reference: None,
        provisional: 0.0,
    }
}

/// The fault of a line that breaks off the first numbers of a file.
pub(crate) fn broken(file: &str, plan: &Plan, number: u64, text: &[u8]) -> ReadError {
    let at = |probe: usize| careful(&Plan { probe, ..plan.clone() }, text).err();
    let fault = (0..plan.columns).find_map(at).unwrap_or(LineFault::Words(0));
    on_line(file, plan, number, text, fault)
}

/// One line that is not built as the others.
pub(crate) fn on_line(file: &str, plan: &Plan, number: u64, text: &[u8], fault: LineFault) -> ReadError {
    let mut parts = Vec::new();
    line::split(text, plan.separator, &mut parts);
    let numbers = match plan.columns {
        1 => "1 number".to_owned(),
        n => format!("{n} numbers"),
    };
    let (expected, found, remedy) = match fault {
        LineFault::Count(found) => {
            let remedy = if found < plan.columns {
                "complete the line, or remove it and what follows"
            } else if plan.mark == b'.' && plan.separator == line::Separator::Byte(b',') {
                "remove what is too much; a decimal comma needs semicolon or tab as separator"
            } else {
                "remove what is too much on the line"
            };
            (numbers, format!("{found} in {}", line::quote(text)), remedy)
        }
        LineFault::Words(column) => {
            let word = parts.get(column).copied().unwrap_or_default();
            let remedy =
                if word.contains(&b'.') != word.contains(&b',') && word.iter().any(u8::is_ascii_digit) {
                    let mark = if plan.mark == b'.' { "point" } else { "comma" };
                    return ReadError::Line {
                        file: file.to_owned(),
                        line: number,
                        expected: format!("{numbers} with decimal {mark}"),
                        found: format!("{} in column {}", line::quote(word), column + 1),
                        remedy: "correct the number, or remove the text after the data".into(),
                    };
                } else {
                    "remove the text after the data or between the samples, or write NaN for a missing sample"
                };
            (numbers, format!("{} in column {}", line::quote(word), column + 1), remedy)
        }
        LineFault::NoTime(column) => {
            let word = parts.get(column).copied().unwrap_or_default();
            let found = format!("{} in the time column {}", line::quote(word), column + 1);
            ("a time".to_owned(), found, "remove the line, or pass --interval if samples are evenly spaced")
        }
    };
    ReadError::Line { file: file.to_owned(), line: number, expected, found, remedy: remedy.into() }
}

/// A time column that is no even axis. `blank` are the numbers of blank lines, which hold no sample; `doubt` is the
/// column when only its numbers made it time.
pub(crate) fn time(
    file: &str,
    first_line: u64,
    blank: &[u64],
    fault: Fault,
    unit: Unit,
    doubt: Option<usize>,
) -> ReadError {
    let line_of = |index: usize| {
        let mut line = first_line + index as u64;
        for &b in blank {
            if b <= line {
                line += 1;
            } else {
                break;
            }
        }
        line
    };
    let (index, expected, found, mut remedy) =
        in_words(fault, unit, &|index| format!("line {}", line_of(index)));
    if let Some(column) = doubt {
        remedy.push_str(&format!("; if column {} is not time, pass --interval", column + 1));
    }
    ReadError::Line { file: file.to_owned(), line: line_of(index), expected, found, remedy }
}

/// Sample index from 0, what was expected, what was found, and the remedy. `unit` is that of the times, `place` names a
/// sample in the file.
pub(crate) fn in_words(
    fault: Fault,
    unit: Unit,
    place: &dyn Fn(usize) -> String,
) -> (usize, String, String, String) {
    // A single time in all its digits, so that it can be found; a step as a person would say it.
    let exactly = |time: f64| units::seconds(unit.to_si(time), 12);
    let about = |step: f64, digits: usize| units::seconds(unit.to_si(step), digits);
    match fault {
        Fault::Backwards { index, from, to } => (
            index,
            "time to rise from sample to sample".into(),
            format!("{} after {}", exactly(to), exactly(from)),
            "export one record only, in the order it was taken".into(),
        ),
        Fault::Repeats { index, at } => (
            index,
            "time to rise from sample to sample".into(),
            format!("the time of {} again ({})", place(index.saturating_sub(1)), exactly(at)),
            "remove the sample that is there twice, or export time with more digits".into(),
        ),
        Fault::Gap { index, missing, places, step, interval } => {
            let more = if places > 1 { format!(" (the first of {places} gaps)") } else { String::new() };
            let plural = if missing == 1 { "sample is" } else { "samples are" };
            (
                index,
                format!("the next sample after {}", about(interval, 5)),
                format!("a step of {}: {missing} {plural} missing before this one{more}", about(step, 5)),
                "export the record without gaps, or only the part before or after".into(),
            )
        }
        Fault::Uneven { index, off, interval } => (
            index,
            format!("evenly spaced samples, every {}", about(interval, 5)),
            format!("times that are up to {} away from even spacing", about(off, 2)),
            "export the record as sampled, not as compressed or interpolated points".into(),
        ),
    }
}

pub(crate) fn layout_error(
    file: &str,
    fault: LayoutFault<'_>,
    lines: &[HeadLine<'_>],
    head: &[u8],
    whole: bool,
) -> ReadError {
    let file = file.to_owned();
    match fault {
        LayoutFault::Broken { number, text, build } => {
            let plan = plan_of(build);
            broken(&file, &plan, number, text)
        }
        LayoutFault::NoNumbers if lines.is_empty() => ReadError::Line {
            file,
            line: 1,
            expected: "one sample for each line".into(),
            found: format!("no line end in the first {} bytes", head.len()),
            remedy: "export with one sample for each line".into(),
        },
        LayoutFault::NoNumbers => {
            let filled = lines.iter().filter(|l| !l.text.trim_ascii().is_empty());
            let (count, last) = filled.fold((0, None), |(n, _), l| (n + 1, Some(l)));
            if let Some((line, (found, remedy))) = last.and_then(|l| Some((l.number, odd_build(l.text)?))) {
                let expected = "lines of numbers".into();
                return ReadError::Line { file, line, expected, found, remedy: remedy.into() };
            }
            let found = match last {
                None => "blank lines only".to_owned(),
                Some(l) if !whole => format!("none in the first {} lines", l.number),
                Some(l) if count == 1 => format!("one line of text only, {}", line::quote(l.text)),
                Some(l) => format!("{count} lines of text only, the last {}", line::quote(l.text)),
            };
            ReadError::Line {
                file,
                line: last.map_or(1, |l| l.number),
                expected: "lines of numbers".into(),
                found,
                remedy: "export the samples as plain numbers, not settings, units or dates with them".into(),
            }
        }
    }
}

/// What keeps a line that looks like data from being read, and the remedy.
fn odd_build(text: &[u8]) -> Option<(String, &'static str)> {
    let is_number = |field: &[u8]| number::printed(field.trim_ascii()).is_some();
    if text.contains(&b'|') && text.split(|b| *b == b'|').any(is_number) {
        let found = format!("fields separated by \"|\", {}", line::quote(text));
        return Some((found, "export with comma, semicolon or tab between the numbers"));
    }
    let clock =
        text.split(|b| matches!(b, b' ' | b'\t' | b',' | b';' | b'T' | b'"')).find(|f| is_clock(f))?;
    let found = format!("the clock time {}", line::quote(clock));
    Some((found, "export time as seconds from the trigger, or leave it out and pass --interval"))
}

/// Hours, minutes and mostly seconds, such as `14:03:27.125`.
fn is_clock(field: &[u8]) -> bool {
    let mut parts = field.split(|b| *b == b':');
    let hours = parts.next().unwrap_or_default();
    let rest: Vec<&[u8]> = parts.collect();
    let two_digits = |part: &[u8]| part.len() == 2 && part.iter().all(u8::is_ascii_digit);
    let number = |part: &[u8]| part.iter().all(|b| b.is_ascii_digit() || *b == b'.');
    matches!(hours.len(), 1..=2)
        && hours.iter().all(u8::is_ascii_digit)
        && match rest.as_slice() {
            [minutes] => two_digits(minutes),
            [minutes, seconds] => two_digits(minutes) && seconds.len() >= 2 && number(seconds),
            _ => false,
        }
}

/// All samples on one line.
pub(crate) fn one_line_only(file: &str, layout: &Layout<'_>, whole: bool) -> Result<(), ReadError> {
    match layout.sample.as_slice() {
        [only] if whole && layout.build.fields >= select::LEAST_POINTS => Err(ReadError::Line {
            file: file.to_owned(),
            line: only.number,
            expected: "one sample for each line".into(),
            found: format!("{} numbers on the only line", layout.build.fields),
            remedy: "export samples below each other, not side by side".into(),
        }),
        _ => Ok(()),
    }
}

/// Two names above four columns of whole numbers is a decimal comma that also separates.
pub(crate) fn decimal_comma_suspected(
    file: &str,
    layout: &Layout<'_>,
    columns: &Columns,
) -> Result<(), ReadError> {
    let comma = layout.build.separator == line::Separator::Byte(b',');
    match (columns.mismatch, layout.sample.first()) {
        (Some(names), Some(first)) if comma && names * 2 == columns.kinds.len() => Err(ReadError::Line {
            file: file.to_owned(),
            line: first.number,
            expected: format!("{names} numbers as the headings name"),
            found: format!("{} separated by commas, {}", columns.kinds.len(), line::quote(first.text)),
            remedy: "if the comma is the decimal mark, export with semicolon or tab as separator".into(),
        }),
        _ => Ok(()),
    }
}

pub(crate) fn no_interval(file: &str, columns: &Columns) -> ReadError {
    let found = match columns.kinds.as_slice() {
        [_] => "there is one column of values and no time column".to_owned(),
        kinds if kinds.contains(&Kind::Index) => {
            format!("of the {} columns none is time, one only counts samples", kinds.len())
        }
        kinds => format!("none of the {} columns is named time or rises evenly", kinds.len()),
    };
    ReadError::NoInterval { file: file.to_owned(), found }
}
