//! Names and units above the numbers.

use super::layout::{Build, HeadLine};
use super::line::{self, Separator};
use crate::units;

/// What the lines above the data say about one column.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Heading {
    pub(crate) name: Option<String>,
    pub(crate) unit: Option<String>,
}

/// Headings for `columns` columns, the number of lines they took, and the number of names of a line directly above the
/// data that does not match the columns.
pub(crate) fn find(
    preamble: &[HeadLine<'_>],
    build: Build,
    columns: usize,
) -> (Vec<Heading>, usize, Option<usize>) {
    let none = || vec![Heading::default(); columns];
    let filled: Vec<&HeadLine<'_>> =
        preamble.iter().filter(|l| !l.text.trim_ascii().is_empty()).rev().take(2).collect();
    let Some(last) = filled.first() else { return (none(), 0, None) };
    if columns == 1 && last.text.iter().any(|b| matches!(b, b':' | b'=')) {
        return (none(), 0, None); // "Points: 1000" is a setting
    }
    let lower = fields(last.text, build.separator, columns);
    if lower.len() != columns {
        // A line that is split by the data's separator but has another number of names was meant as heading.
        let meant = lower.len() > 1 && build.separator != Separator::Blanks && !key_and_value(&lower);
        return (none(), 0, meant.then_some(lower.len()));
    }
    let upper = filled.get(1).map(|l| fields(l.text, build.separator, columns)).unwrap_or_default();
    let bare = |field: &str| field.trim_matches(|c| "()[]<>".contains(c)).trim().to_owned();
    let only_units = lower.iter().any(|f| units::unit(&bare(f)).is_some())
        && lower.iter().all(|f| {
            units::unit(&bare(f)).is_some() || (bare(f).chars().count() <= 4 && !units::names_time(f))
        });
    if only_units && upper.len() == columns {
        let pair = |(name, unit): (&String, &String)| {
            let (name, own) = units::split_heading(name);
            let unit = Some(bare(unit)).filter(|u| !u.is_empty()).or(own);
            Heading { name: Some(name).filter(|n| !n.is_empty()), unit }
        };
        return (upper.iter().zip(&lower).map(pair).collect(), 2, None);
    }
    let heading = |field: &String| {
        if only_units && units::unit(&bare(field)).is_some() {
            return Heading { name: None, unit: Some(bare(field)) };
        }
        let (name, unit) = units::split_heading(field);
        Heading { name: Some(name).filter(|n| !n.is_empty()), unit }
    };
    (lower.iter().map(heading).collect(), 1, None)
}

/// "Sample rate,1000000": a setting, not headings.
fn key_and_value(fields: &[String]) -> bool {
    fields.iter().skip(1).any(|f| f.trim().starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c)))
        || fields[0].trim_end().ends_with([':', '='])
}

/// The fields of a heading line; a comment sign before them and an empty field behind them are dropped.
fn fields(text: &[u8], separator: Separator, columns: usize) -> Vec<String> {
    let trimmed = text.trim_ascii();
    let commented = trimmed.strip_prefix(b"#").or_else(|| trimmed.strip_prefix(b"%"));
    let mut split = Vec::new();
    line::split(commented.unwrap_or(text), separator, &mut split);
    let mut fields: Vec<String> = split.iter().map(|f| line::to_text(f)).collect();
    if separator == Separator::Blanks {
        if columns == 1 {
            return vec![fields.join(" ")];
        }
        fields = join_units(fields);
    }
    if fields.len() == columns + 1 && fields.last().is_some_and(String::is_empty) {
        fields.pop();
    }
    fields
}

/// Puts `(ms)` back to the name before it where blanks separate.
fn join_units(words: Vec<String>) -> Vec<String> {
    let mut fields: Vec<String> = Vec::new();
    for word in words {
        match fields.last_mut() {
            Some(before) if word.starts_with(['(', '[']) => {
                before.push(' ');
                before.push_str(&word);
            }
            _ => fields.push(word),
        }
    }
    fields
}
