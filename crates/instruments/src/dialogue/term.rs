//! Terms: a constant, an item of an answer, or a product of them.

use flattop_core::quantity::{Unit, parse};

/// A number of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    /// Name of the query.
    pub query: String,
    /// Item of its answer, counted from 1.
    pub item: usize,
}

/// One factor of a term.
#[derive(Clone, Debug, PartialEq)]
pub enum Factor {
    /// A number.
    Constant(f64),
    /// A number of an answer.
    Answer(Reference),
}

/// What is done with a factor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Operation {
    /// Multiply by it.
    Times,
    /// Divide by it.
    By,
}

/// A product, from left to right, in the unit of its key.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// As written.
    pub text: String,
    /// Its factors; the first is multiplied.
    pub factors: Vec<(Operation, Factor)>,
}

/// Most items of an answer that can be named.
const MOST_ITEMS: usize = 1000;

impl Term {
    /// Reads a term. Constants may have a unit of the kind of `unit`. `Err` says what was found and what to do.
    pub(super) fn parse(text: &str, unit: Unit) -> Result<Self, (String, String)> {
        let trimmed = text.trim();
        let (sign, mut rest) = match trimmed.strip_prefix('-') {
            Some(rest) => (-1.0, rest),
            None => (1.0, trimmed),
        };
        let mut factors = Vec::new();
        let mut operation = Operation::Times;
        loop {
            let end = rest.find(['*', '/']).unwrap_or(rest.len());
            let first = factors.is_empty();
            let mut factor = factor(rest[..end].trim(), if first { unit } else { Unit::Ratio })?;
            if first && sign < 0.0 {
                match &mut factor {
                    Factor::Constant(value) => *value = -*value,
                    Factor::Answer(_) => factors.push((Operation::Times, Factor::Constant(-1.0))),
                }
            }
            if operation == Operation::By && factor == Factor::Constant(0.0) {
                return Err((format!("\"{text}\""), "nothing can be divided by 0".to_owned()));
            }
            factors.push((operation, factor));
            match rest[end..].chars().next() {
                Some('*') => operation = Operation::Times,
                Some(_) => operation = Operation::By,
                None => break,
            }
            rest = &rest[end + 1..];
        }
        Ok(Self { text: trimmed.to_owned(), factors })
    }

    /// The answers that it needs.
    pub fn references(&self) -> impl Iterator<Item = &Reference> {
        self.factors.iter().filter_map(|(_, factor)| match factor {
            Factor::Answer(reference) => Some(reference),
            Factor::Constant(_) => None,
        })
    }

    /// Its value, if it needs no answer.
    pub fn constant(&self) -> Option<f64> {
        self.value(&mut |_| Err(())).ok()
    }

    /// Its value, with `answer` for what instruments say.
    ///
    /// # Errors
    /// Those of `answer`.
    pub fn value<E>(&self, answer: &mut dyn FnMut(&Reference) -> Result<f64, E>) -> Result<f64, E> {
        let mut value = 1.0;
        for (operation, factor) in &self.factors {
            let factor = match factor {
                Factor::Constant(constant) => *constant,
                Factor::Answer(reference) => answer(reference)?,
            };
            match operation {
                Operation::Times => value *= factor,
                Operation::By => value /= factor,
            }
        }
        Ok(value)
    }
}

fn factor(text: &str, unit: Unit) -> Result<Factor, (String, String)> {
    if !text.starts_with(|c: char| c.is_ascii_alphabetic()) {
        return match parse(text, unit) {
            Ok(value) => Ok(Factor::Constant(value)),
            Err(error) => Err((format!("\"{text}\""), error.to_string())),
        };
    }
    let (query, item) = text.split_once('.').unwrap_or((text, "1"));
    let item = item.parse().ok().filter(|item| (1..=MOST_ITEMS).contains(item));
    match item {
        Some(item) if is_name(query) => Ok(Factor::Answer(Reference { query: query.to_owned(), item })),
        _ => Err((
            format!("\"{text}\""),
            format!("name a query and an item of its answer, 1 to {MOST_ITEMS}: preamble.3"),
        )),
    }
}

/// Whether a query may be called so.
pub(super) fn is_name(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_alphabetic())
        && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};
    use proptest::prelude::*;

    fn value(text: &str, unit: Unit) -> f64 {
        let term = Term::parse(text, unit).unwrap();
        term.value::<()>(&mut |r| Ok(if r.query == "scale" { 5.0 * r.item as f64 } else { 7.0 })).unwrap()
    }

    #[test]
    fn terms() {
        assert_close!(value("40 mV", Unit::Volt), 0.04, relative(1e-15));
        assert_close!(value("-1.5", Unit::Volt), -1.5, within(0.0));
        assert_close!(value("scale / 25", Unit::Volt), 0.2, relative(1e-15));
        assert_close!(value("-scale.3*8/256", Unit::Volt), -15.0 * 8.0 / 256.0, relative(1e-15));
        assert_close!(value("1 us", Unit::Second), 1e-6, relative(1e-15));
        assert_close!(value("1e-3", Unit::Ratio), 1e-3, relative(1e-15));
        assert_eq!(Term::parse("2 * 3", Unit::Ratio).unwrap().constant(), Some(6.0));
        assert_eq!(Term::parse("a", Unit::Ratio).unwrap().constant(), None);
        for bad in ["", "1 2", "scale.0", "scale.x", "a b", "1 s", "1/0", "2*", "a.1.2"] {
            assert!(Term::parse(bad, Unit::Volt).is_err(), "{bad:?}");
        }
    }

    proptest! {
        #[test]
        fn prop_any_text_is_read_or_refused(text in "[-a-c0-9. */µé]{0,16}") {
            let _ = Term::parse(&text, Unit::Second);
        }
    }
}
