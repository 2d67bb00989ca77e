//! Who may depend on whom, read from the `Cargo.toml` of each crate.

use super::Violation;
use super::files::Tree;

/// Crate, what of ours it may use, and what its tests may use besides.
const ALLOWED: [(&str, &[&str], &[&str]); 12] = [
    ("close", &[], &[]),
    ("core", &[], &["close"]),
    ("captures", &["core"], &["close"]),
    ("plan", &["core"], &["close"]),
    ("scpi", &[], &["close"]),
    // Of `core` the divider, quantities as typed, and streams of random numbers.
    ("practice", &["core", "scpi"], &["close"]),
    // Of `plan` only its reading layer of TOML and its table of keys.
    ("instruments", &["core", "captures", "plan", "scpi"], &["close"]),
    ("register", &["core"], &["close"]),
    ("report", &["core", "register"], &["close"]),
    ("record", &["core", "register", "report"], &["close"]),
    // The built page as files; it knows nothing of ours.
    ("page", &[], &[]),
    (
        "flattop",
        &[
            "core",
            "captures",
            "plan",
            "register",
            "report",
            "record",
            "instruments",
            "scpi",
            "practice",
            "page",
        ],
        &["close"],
    ),
];

pub(super) fn check(tree: &Tree) -> Vec<Violation> {
    let mut found = Vec::new();
    for name in tree.crates() {
        let path = format!("crates/{name}/Cargo.toml");
        let Some(manifest) = tree.files.get(&path) else {
            found.push(Violation::new(&path, 0, "missing: each folder in crates/ is a crate"));
            continue;
        };
        let Some((_, uses, test_uses)) = ALLOWED.iter().find(|(known, ..)| *known == name) else {
            found.push(Violation::new(&path, 0, "the crate is not in the table of xtask/src/tidy/graph.rs"));
            continue;
        };
        for Dependency { line, on, for_tests } in ours(manifest) {
            let allowed = uses.contains(&on) || (for_tests && test_uses.contains(&on));
            if !allowed {
                let kind = if for_tests { "tests of " } else { "" };
                found.push(Violation::new(&path, line, format!("{kind}{name} may not use {on}")));
            }
        }
    }
    found
}

struct Dependency<'a> {
    line: usize,
    on: &'a str,
    for_tests: bool,
}

/// Our own crates in all tables of dependencies, those for one platform included.
fn ours(manifest: &str) -> Vec<Dependency<'_>> {
    let mut table = "";
    let mut found = Vec::new();
    for (index, line) in manifest.lines().enumerate() {
        let line = line.trim();
        // A table of its own for one dependency: `[dependencies.flattop-core]`.
        let mut key = line.split(['.', '=', ' ']).next().unwrap_or("");
        if let Some(header) = line.strip_prefix('[') {
            table = header.trim_end_matches(']');
            key = table.rsplit('.').next().unwrap_or("");
        }
        let Some(on) = key.trim_matches('"').strip_prefix("flattop-") else { continue };
        if table.contains("dependencies") {
            found.push(Dependency { line: index + 1, on, for_tests: table.contains("dev-dependencies") });
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(name: &str, manifest: &str) -> Vec<usize> {
        check(&Tree::of(&[(&format!("crates/{name}/Cargo.toml"), manifest)])).iter().map(|v| v.line).collect()
    }

    #[test]
    fn knowledge_points_one_way() {
        let fine = "[package]\nname = \"flattop-core\"\n[dev-dependencies]\nflattop-close.workspace = true\n";
        assert_eq!(lines("core", fine), [0; 0]);
        assert_eq!(lines("report", "[dependencies]\nflattop-captures.workspace = true\n"), [2]);
        assert_eq!(lines("core", "[dependencies]\nflattop-close = { path = \"../close\" }\n"), [2]);
        assert_eq!(
            lines("captures", "[target.'cfg(unix)'.dependencies.flattop-report]\npath = \"..\"\n"),
            [1]
        );
        assert_eq!(lines("close", "[dev-dependencies]\nflattop-core.workspace = true\n"), [2]);
        assert_eq!(lines("unheard-of", "[dependencies]\n"), [0]);
    }
}
