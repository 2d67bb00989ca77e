//! One line of text taken apart with care: quotes, blanks, missing values, and exact words for what is wrong.

use super::number::{self, OVERRANGE};

/// What separates fields.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Separator {
    /// This byte; blanks around fields do not count.
    Byte(u8),
    /// Any run of blanks and tabs. Also stands for a single column.
    Blanks,
}

/// Splits a line (without its end) into trimmed fields, quotes removed. Returns whether anything was quoted.
pub(crate) fn split<'a>(line: &'a [u8], separator: Separator, fields: &mut Vec<&'a [u8]>) -> bool {
    fields.clear();
    let mut quoted = false;
    let mut rest = line;
    loop {
        match separator {
            Separator::Blanks => {
                rest = rest.trim_ascii_start();
                if rest.is_empty() {
                    return quoted;
                }
            }
            Separator::Byte(b'\t') => rest = trim_start_spaces(rest),
            Separator::Byte(_) => rest = trim_start_blanks(rest),
        }
        let body_end = match rest {
            [b'"', inner @ ..] => memchr::memchr(b'"', inner).map(|at| at + 2),
            _ => None,
        };
        let from = body_end.unwrap_or(0);
        let end = match separator {
            Separator::Byte(b) => memchr::memchr(b, &rest[from..]),
            Separator::Blanks => memchr::memchr2(b' ', b'\t', &rest[from..]),
        };
        let end_at = end.map_or(rest.len(), |at| from + at);
        let mut field = rest[..end_at].trim_ascii_end();
        if body_end == Some(field.len()) {
            field = field[1..field.len() - 1].trim_ascii();
            quoted = true;
        }
        fields.push(field);
        if end.is_none() {
            return quoted;
        }
        rest = &rest[end_at + 1..];
    }
}

fn trim_start_spaces(text: &[u8]) -> &[u8] {
    &text[text.iter().take_while(|b| **b == b' ').count()..]
}

fn trim_start_blanks(text: &[u8]) -> &[u8] {
    &text[text.iter().take_while(|b| matches!(b, b' ' | b'\t')).count()..]
}

/// What a field says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Value {
    Number(f64),
    /// Blank, NaN, `--`, an overrange value or the like.
    Missing,
    /// Anything else.
    Words,
}

/// The value of one trimmed field.
pub(crate) fn value(field: &[u8], mark: u8) -> Value {
    match number::exact(field, mark) {
        Some(v) if v.abs() < OVERRANGE => Value::Number(v),
        Some(_) => Value::Missing,
        None if is_missing(field) => Value::Missing,
        None => Value::Words,
    }
}

/// Whether a field stands for "no value here".
pub(crate) fn is_missing(field: &[u8]) -> bool {
    const WORDS: [&[u8]; 14] = [
        b"nan",
        b"inf",
        b"infinity",
        b"n/a",
        b"na",
        b"#n/a",
        b"null",
        b"none",
        b"ol",
        b"ovl",
        b"ovr",
        b"overflow",
        b"overrange",
        b"invalid",
    ];
    let bare = field.strip_prefix(b"-").or_else(|| field.strip_prefix(b"+")).unwrap_or(field);
    field.is_empty() || field.iter().all(|b| *b == b'-') || WORDS.iter().any(|w| bare.eq_ignore_ascii_case(w))
}

/// Text from a file made fit for a message: short, one line, Latin-1 where it is not UTF-8.
pub(crate) fn quote(text: &[u8]) -> String {
    let text = to_text(text);
    let mut shown: String = text.chars().take(40).flat_map(|c| c.escape_debug()).collect();
    if text.chars().count() > 40 {
        shown.push('…');
    }
    format!("\"{shown}\"")
}

/// UTF-8, or else Latin-1 (ISO 8859-1), in which each byte is the character of that number.
pub(crate) fn to_text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|b| char::from(*b)).collect(),
    }
}
