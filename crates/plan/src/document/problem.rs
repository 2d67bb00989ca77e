//! What is wrong with a document, and where.

use std::fmt;

/// Where a problem is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// In the text; both count from 1, columns in characters.
    Text {
        /// Line.
        line: usize,
        /// Column.
        column: usize,
    },
    /// In a setting that was laid over the text, as typed.
    Setting {
        /// Path, such as `node.resistance`.
        path: String,
        /// Value.
        value: String,
    },
    /// In a value that lies below the text.
    Below {
        /// Where it comes from.
        origin: String,
        /// Value.
        value: String,
    },
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// The key with its table, such as `[probe.cable] length`; empty where there is none.
    pub key: String,
    /// What should stand there.
    pub expected: String,
    /// What stands there.
    pub found: String,
    /// What to do about it; empty where the rest says it.
    pub remedy: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            Place::Text { line, column } => write!(f, "line {line}, column {column}: ")?,
            Place::Setting { path, value } => write!(f, "setting \"{path}={value}\": ")?,
            Place::Below { origin, value } => write!(f, "{origin}={value}: ")?,
        }
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        write!(f, "expected {}, found {}", self.expected, self.found)?;
        if !self.remedy.is_empty() {
            write!(f, "; {}", self.remedy)?;
        }
        Ok(())
    }
}

/// All that is wrong with a document: one problem on each line, in the order of the text, settings last.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct Problems {
    /// The document, as the caller names it.
    pub name: String,
    /// At least one.
    pub problems: Vec<Problem>,
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, problem) in self.problems.iter().enumerate() {
            let end = if index == 0 { "" } else { "\n" };
            // A setting is not in the file.
            match problem.place {
                Place::Text { .. } => write!(f, "{end}{}, {problem}", self.name)?,
                Place::Setting { .. } | Place::Below { .. } => write!(f, "{end}{problem}")?,
            }
        }
        Ok(())
    }
}
