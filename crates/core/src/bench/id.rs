//! The short names that people give to things: `bench-a`, `bench-a/ch1`, `probe-07`.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

/// Longest name, in letters.
const LONGEST: usize = 40;

/// A name in kebab case: lower-case letters a to z, digits, and single hyphens between them; at most 40 letters.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(String);

/// The name of an input: that of its oscilloscope, a slash, and its own.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InputId {
    /// The oscilloscope.
    pub oscilloscope: Id,
    /// The input's own name, unique on that oscilloscope.
    pub name: Id,
}

/// Why a text is no name.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum IdError {
    /// No letters at all.
    #[error("the id is empty: give a short name such as \"probe-07\"")]
    Empty,
    /// Too long.
    #[error(
        "the id \"{found}\" has {length} letters: use at most {LONGEST}, and put the rest into the label"
    )]
    TooLong {
        /// The text.
        found: String,
        /// Its length.
        length: usize,
    },
    /// A letter that may not stand there.
    #[error(
        "the id \"{found}\" holds {letter:?}: use lower-case letters a to z, digits and hyphens only{}",
        suggestion.as_ref().map(|s| format!(", for example \"{s}\"")).unwrap_or_default()
    )]
    Letter {
        /// The text.
        found: String,
        /// The first letter that is not allowed.
        letter: char,
        /// A name that would do.
        suggestion: Option<String>,
    },
    /// A hyphen at an end, or two in a row.
    #[error(
        "the id \"{found}\" has a hyphen at an end or two in a row: put single hyphens between letters{}",
        suggestion.as_ref().map(|s| format!(", for example \"{s}\"")).unwrap_or_default()
    )]
    Hyphen {
        /// The text.
        found: String,
        /// A name that would do.
        suggestion: Option<String>,
    },
    /// An input without its oscilloscope, or with too many slashes.
    #[error(
        "\"{found}\" is no input: write the oscilloscope and the input with a slash between, for example \"bench-a/ch1\""
    )]
    NotAnInput {
        /// The text.
        found: String,
    },
}

impl Id {
    /// Checks a text.
    ///
    /// # Errors
    /// See [`IdError`]; the message proposes a name that would do.
    pub fn new(text: &str) -> Result<Self, IdError> {
        if text.is_empty() {
            return Err(IdError::Empty);
        }
        let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if let Some(letter) = text.chars().find(|c| !allowed(*c)) {
            return Err(IdError::Letter { found: text.to_owned(), letter, suggestion: suggestion(text) });
        }
        if text.starts_with('-') || text.ends_with('-') || text.contains("--") {
            return Err(IdError::Hyphen { found: text.to_owned(), suggestion: suggestion(text) });
        }
        let length = text.len();
        if length > LONGEST {
            return Err(IdError::TooLong { found: text.to_owned(), length });
        }
        Ok(Self(text.to_owned()))
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl InputId {
    /// Reads `oscilloscope/input`.
    ///
    /// # Errors
    /// No slash or several, or a part that is no name.
    pub fn new(text: &str) -> Result<Self, IdError> {
        match text.split_once('/') {
            Some((oscilloscope, name)) if !name.contains('/') => {
                Ok(Self { oscilloscope: Id::new(oscilloscope)?, name: Id::new(name)? })
            }
            _ => Err(IdError::NotAnInput { found: text.to_owned() }),
        }
    }
}

/// The same text with what is not allowed turned into hyphens, if anything is left of it.
fn suggestion(text: &str) -> Option<String> {
    let lower = text.to_lowercase();
    let words = lower.split(|c: char| !(c.is_ascii_lowercase() || c.is_ascii_digit()));
    let joined = words.filter(|w| !w.is_empty()).collect::<Vec<_>>().join("-");
    let short = joined.get(..joined.len().min(LONGEST))?.trim_end_matches('-').to_owned();
    (!short.is_empty()).then_some(short)
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for InputId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.oscilloscope, self.name)
    }
}

impl FromStr for Id {
    type Err = IdError;
    fn from_str(text: &str) -> Result<Self, IdError> {
        Self::new(text)
    }
}

impl FromStr for InputId {
    type Err = IdError;
    fn from_str(text: &str) -> Result<Self, IdError> {
        Self::new(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_that_will_not_do_get_a_proposal() {
        let message = |text: &str| Id::new(text).unwrap_err().to_string();
        assert_eq!(
            message("Probe 07"),
            "the id \"Probe 07\" holds 'P': use lower-case letters a to z, digits and hyphens only, \
             for example \"probe-07\""
        );
        assert!(message("-a").ends_with("for example \"a\""));
        assert!(message("--").ends_with("between letters"));
        assert!(message("").contains("empty"));
        assert!(message(&"a".repeat(41)).contains("41 letters"));
        assert!(InputId::new("ch1").unwrap_err().to_string().contains("bench-a/ch1"));
        assert!(InputId::new("a/b/c").is_err());
        assert_eq!(InputId::new("bench-a/ch1").unwrap().to_string(), "bench-a/ch1");
    }

    proptest! {
        #[test]
        fn prop_a_proposal_is_a_name(text in "\\PC{0,60}") {
            if let Err(IdError::Letter { suggestion: Some(s), .. } | IdError::Hyphen { suggestion: Some(s), .. }) =
                Id::new(&text)
            {
                prop_assert!(Id::new(&s).is_ok(), "{s}");
            }
        }
    }
}
