//! The rules of this repository that reading its files can check: `cargo xtask tidy`, and a test that does the same.

mod docs;
mod files;
mod graph;
mod modules;
mod rust;
mod scan;
mod words;

use files::Tree;
use std::path::{Path, PathBuf};

/// One place where a rule is broken.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Violation {
    /// Path from the root of the repository, with `/` between its parts.
    file: String,
    /// Line, counted from 1; 0 where the file as a whole is meant.
    line: usize,
    /// What is wrong, and what to do.
    message: String,
}

impl Violation {
    fn new(file: &str, line: usize, message: impl Into<String>) -> Self {
        Self { file: file.to_owned(), line, message: message.into() }
    }
}

impl std::fmt::Display for Violation {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.line {
            0 => write!(f, "{}: {}", self.file, self.message),
            line => write!(f, "{}:{line}: {}", self.file, self.message),
        }
    }
}

/// Checks every rule. `Err` lists all places where one is broken.
pub(crate) fn run() -> Result<String, String> {
    let tree = Tree::read(&root())?;
    let violations = violations(&tree);
    if violations.is_empty() {
        return Ok(format!("{} files keep the rules of the repository", tree.files.len()));
    }
    let lines: Vec<String> = violations.iter().map(ToString::to_string).collect();
    Err(format!("{} broken rules:\n{}", lines.len(), lines.join("\n")))
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn violations(tree: &Tree) -> Vec<Violation> {
    let sources = modules::sources(tree);
    let mut found = Vec::new();
    found.extend(graph::check(tree));
    found.extend(modules::orphans(tree, &sources));
    found.extend(rust::check(tree, &sources));
    found.extend(words::check(tree));
    found.extend(docs::check(tree, &sources));
    found.sort();
    found.dedup();
    found
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_repository_keeps_its_rules() {
        if let Err(message) = super::run() {
            panic!("{message}");
        }
    }
}
