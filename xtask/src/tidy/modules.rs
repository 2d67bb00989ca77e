//! Which `.rs` files belong to a crate, and which of them only tests compile: found by following the `mod` lines.

use std::collections::BTreeMap;

use super::Violation;
use super::files::Tree;
use super::scan::{self, Blank};

/// What a reachable source file is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Use {
    /// Part of what a user runs.
    Shipped,
    /// Compiled for tests or benches only.
    Test,
}

/// All reachable `.rs` files.
pub(super) type Sources = BTreeMap<String, Use>;

/// Follows the modules of every target of every crate.
pub(super) fn sources(tree: &Tree) -> Sources {
    let mut sources = Sources::new();
    for (path, purpose) in tree.files.keys().filter_map(|path| Some((path, target(path)?))) {
        follow(tree, path, true, purpose, &mut sources);
    }
    sources
}

/// Files that no `mod` line leads to: nobody compiles them, so nothing in them is checked.
pub(super) fn orphans(tree: &Tree, sources: &Sources) -> Vec<Violation> {
    let rust = tree.files.keys().filter(|path| path.ends_with(".rs"));
    let lost = rust.filter(|path| !sources.contains_key(*path));
    lost.map(|path| {
        Violation::new(path, 0, "no `mod` line leads here: declare the module or delete the file")
    })
    .collect()
}

/// What Cargo takes the file for when it is the root of a target.
fn target(path: &str) -> Option<Use> {
    let inside = match path.split('/').collect::<Vec<_>>()[..] {
        ["crates", _, ref inside @ ..] | ["xtask", ref inside @ ..] => inside.to_vec(),
        _ => return None,
    };
    match inside[..] {
        ["src", "lib.rs" | "main.rs"] | ["build.rs"] => Some(Use::Shipped),
        ["src", "bin", file] | ["src", "bin", file, "main.rs"] if !file.is_empty() => Some(Use::Shipped),
        ["tests" | "benches" | "examples", file] if file.ends_with(".rs") => Some(Use::Test),
        ["tests" | "benches" | "examples", _, "main.rs"] => Some(Use::Test),
        _ => None,
    }
}

fn follow(tree: &Tree, path: &str, is_root: bool, purpose: Use, sources: &mut Sources) {
    let Some(text) = tree.files.get(path) else { return };
    // What is shipped anywhere is shipped, even if a test includes it as well.
    match sources.get(path) {
        Some(known) if *known == purpose || *known == Use::Shipped => return,
        _ => sources.insert(path.to_owned(), purpose),
    };
    for module in declared(text) {
        let purpose = if module.for_tests { Use::Test } else { purpose };
        if let Some(file) = module.candidates(path, is_root).into_iter().find(|f| tree.files.contains_key(f))
        {
            follow(tree, &file, false, purpose, sources);
        }
    }
}

struct Module {
    name: String,
    path: Option<String>,
    for_tests: bool,
}

impl Module {
    fn candidates(&self, parent: &str, is_root: bool) -> Vec<String> {
        let (folder, file) = parent.rsplit_once('/').unwrap_or(("", parent));
        if let Some(path) = &self.path {
            return vec![join(folder, path)];
        }
        let folder = match file.strip_suffix(".rs") {
            Some(stem) if !is_root && stem != "mod" => format!("{folder}/{stem}"),
            _ => folder.to_owned(),
        };
        vec![format!("{folder}/{}.rs", self.name), format!("{folder}/{}/mod.rs", self.name)]
    }
}

fn join(folder: &str, path: &str) -> String {
    let mut parts: Vec<&str> = folder.split('/').collect();
    for part in path.split('/') {
        match part {
            "." => {}
            ".." => drop(parts.pop()),
            name => parts.push(name),
        }
    }
    parts.join("/")
}

/// The `mod name;` lines of a file, with their attributes.
fn declared(text: &str) -> Vec<Module> {
    let code = scan::blank(text, Blank::CommentsAndStrings);
    let mut found = Vec::new();
    for at in scan::places(&code, "mod ") {
        let rest = &code[at + 4..];
        let Some((name, _)) = rest.split_once(';') else { continue };
        let name = name.trim();
        if name.is_empty() || !name.chars().all(|c| c.is_alphanumeric() || c == '_') {
            continue;
        }
        // Attributes stand between the end of the item before and the word `mod`; strings are in the original only.
        let start = code[..at].rfind([';', '}', '{']).map_or(0, |i| i + 1);
        let attributes = &text[start..at];
        let path = attributes.split_once("#[path").and_then(|(_, rest)| rest.split('"').nth(1));
        found.push(Module {
            name: name.to_owned(),
            path: path.map(str::to_owned),
            for_tests: code[start..at].contains("#[cfg(test)]"),
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn modules_are_followed() {
        let tree = Tree::of(&[
            (
                "crates/a/src/lib.rs",
                "//! A.\nmod b;\n#[cfg(test)]\nmod tests;\npub(crate) mod c {}\n// mod lost;\n",
            ),
            ("crates/a/src/b.rs", "mod inner;\n#[cfg(test)]\n#[path = \"b_tests.rs\"]\nmod tests;"),
            ("crates/a/src/b/inner.rs", ""),
            ("crates/a/src/b_tests.rs", ""),
            ("crates/a/src/tests.rs", ""),
            ("crates/a/src/lost.rs", ""),
            ("crates/a/tests/all/main.rs", "mod one;"),
            ("crates/a/tests/all/one.rs", ""),
            ("crates/a/tests/all/two.rs", ""),
            ("crates/a/benches/speed.rs", "#[path = \"../tests/all/one.rs\"] mod one;"),
        ]);
        let sources = sources(&tree);
        let of = |purpose| -> Vec<&str> {
            sources.iter().filter(|(_, p)| **p == purpose).map(|(path, _)| path.as_str()).collect()
        };
        assert_eq!(of(Use::Shipped), ["crates/a/src/b.rs", "crates/a/src/b/inner.rs", "crates/a/src/lib.rs"]);
        assert_eq!(of(Use::Test).len(), 5);
        let lost: Vec<String> = orphans(&tree, &sources).into_iter().map(|v| v.file).collect();
        assert_eq!(lost, ["crates/a/src/lost.rs", "crates/a/tests/all/two.rs"]);
    }
}
