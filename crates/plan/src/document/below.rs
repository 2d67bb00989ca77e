//! Values that lie below a text: they hold where neither the text nor a setting gives the key.

use super::Document;

/// One such value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Below {
    /// Path of the key that it is for.
    pub path: String,
    /// The value, as a setting would write it.
    pub text: String,
    /// Where it comes from, for messages: `from the bench: probe-07 bandwidth`.
    pub origin: String,
    /// How to correct it there.
    pub remedy: String,
}

/// A key that could have a value below the text, but has none: what to say when it is missed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lack {
    /// Path of the key.
    pub path: String,
    /// The key beside it whose value says where to look: the problem points there.
    pub named_by: &'static str,
    /// What should stand there.
    pub expected: String,
    /// What stands there.
    pub found: String,
    /// How to enter the missing value.
    pub remedy: String,
}

impl Document<'_> {
    /// Lays values below the text. `table` is the path of the table that they belong to: it counts as looked up from now on.
    pub fn lay_below(&mut self, table: &str, values: Vec<Below>, lacks: Vec<Lack>) {
        self.found.insert(table.to_owned());
        self.below.extend(values);
        self.lacks.extend(lacks);
    }

    /// The value below the text for a path, with its number.
    pub(super) fn below(&self, path: &str) -> Option<(usize, &Below)> {
        self.below.iter().enumerate().find(|(_, below)| below.path == path)
    }

    pub(super) fn lack(&self, path: &str) -> Option<&Lack> {
        self.lacks.iter().find(|lack| lack.path == path)
    }

    pub(super) fn is_looked_up(&self, table: &str) -> bool {
        self.found.contains(table)
    }

    /// Whether something lies below a table.
    pub(super) fn has_below_in(&self, table: &str) -> bool {
        let inside = |path: &str| path.strip_prefix(table).is_some_and(|rest| rest.starts_with('.'));
        self.below.iter().any(|below| inside(&below.path))
    }
}
