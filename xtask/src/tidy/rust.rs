//! Rules of Rust sources: what each crate may not call, first lines, lengths, and comparisons that cannot fail.

use super::Violation;
use super::files::Tree;
use super::modules::{Sources, Use};
use super::scan::{self, Blank, places};

/// Lines of a file that is not for tests.
const LONGEST: usize = 800;
/// Files that may be longer, each with its reason.
const MAY_BE_LONGER: [(&str, &str); 0] = [];

/// Modules and types that pure libraries may not name: values in, values out.
const OUTSIDE_WORLD: [&str; 5] = ["fs", "net", "env", "process", "thread"];
const CLOCKS: [&str; 2] = ["SystemTime", "Instant"];
/// Only the program and the chores print.
const PRINTING: [&str; 7] =
    ["print!", "println!", "eprint!", "eprintln!", "dbg!", "io::stdout", "io::stderr"];
const LIBRARIES: [&str; 8] =
    ["close", "core", "captures", "instruments", "plan", "register", "report", "scpi"];
/// Libraries that know no outside world at all.
const PURE: [&str; 2] = ["core", "scpi"];

pub(super) fn check(tree: &Tree, sources: &Sources) -> Vec<Violation> {
    let mut found = Vec::new();
    for (path, purpose) in sources {
        let Some(text) = tree.files.get(path) else { continue };
        let code = scan::blank(text, Blank::CommentsAndStrings);
        found.extend(comparisons(path, &code));
        if *purpose == Use::Test {
            continue;
        }
        if !text.starts_with("//! ") {
            found.push(Violation::new(path, 1, "the first line of a module states its one idea: `//! …`"));
        }
        let lines = text.lines().count();
        if lines > LONGEST && !MAY_BE_LONGER.iter().any(|(long, _)| long == path) {
            found.push(Violation::new(
                path,
                0,
                format!("{lines} lines; stop at {LONGEST}: split the module"),
            ));
        }
        let Some((name, _)) = path.strip_prefix("crates/").and_then(|p| p.split_once('/')) else { continue };
        if LIBRARIES.contains(&name) {
            found.extend(calls(path, &scan::without_tests(&code), name));
        }
    }
    found
}

/// Forbidden names in `code` of the library `name`.
fn calls(path: &str, code: &str, name: &str) -> Vec<Violation> {
    let mut found = Vec::new();
    let mut forbid = |at: usize, what: &str| {
        let message = format!("{what}: not in {name}, leave it to the program");
        found.push(Violation::new(path, scan::line_of(code, at), message));
    };
    for word in PRINTING {
        places(code, word).for_each(|at| forbid(at, word));
    }
    // A library neither ends the program nor looks at its environment; pure ones know no outside world at all.
    let is_pure = PURE.contains(&name);
    let modules: &[&str] = if is_pure { &OUTSIDE_WORLD } else { &["env", "process"] };
    for (at, module) in std_modules(code) {
        if modules.contains(&module) {
            forbid(at, &format!("std::{module}"));
        }
    }
    if is_pure {
        for word in CLOCKS.iter().chain(&["rand::"]) {
            places(code, word).for_each(|at| forbid(at, word));
        }
    }
    found
}

/// The first part of each path that starts with `std::`, those in a group in braces included.
fn std_modules(code: &str) -> Vec<(usize, &str)> {
    let mut found = Vec::new();
    for at in places(code, "std::") {
        let rest = &code[at + 5..];
        if rest.starts_with('{') {
            let inside = &rest[1..scan::group(rest) - 1];
            found.extend(
                scan::split_outside(inside, ",").into_iter().map(|part| (at, identifier(part.trim_start()))),
            );
        } else {
            found.push((at, identifier(rest)));
        }
    }
    found
}

fn identifier(text: &str) -> &str {
    text.split(|c: char| !(c.is_alphanumeric() || c == '_')).next().unwrap_or("")
}

/// `assert!((a - b) < tolerance)`: passes whenever `a` is far too small.
fn comparisons(path: &str, code: &str) -> Vec<Violation> {
    let mut found = Vec::new();
    for at in places(code, "assert!(").chain(places(code, "debug_assert!(")) {
        let open = at + code[at..].find('(').unwrap_or(0);
        let whole = scan::group(&code[open..]);
        let inside = code.get(open + 1..open + whole - 1).unwrap_or("");
        let condition = scan::split_outside(inside, ",")[0];
        let clauses =
            scan::split_outside(condition, "&&").into_iter().flat_map(|c| scan::split_outside(c, "||"));
        if clauses.into_iter().any(is_bare_difference) {
            let message =
                "a difference below a tolerance without `.abs()` cannot fail on one side: use assert_close!";
            found.push(Violation::new(path, scan::line_of(code, at), message));
        }
    }
    found
}

/// Whether the clause is a plain difference, in brackets or not, below a small number written out.
fn is_bare_difference(clause: &str) -> bool {
    let parts = scan::split_outside(clause, " < ");
    let [left, right] = parts[..] else { return false };
    let mut left = left.trim();
    if left.starts_with('(') && scan::group(left) == left.len() {
        left = &left[1..left.len() - 1];
    } else if right.trim().parse::<f64>().is_ok_and(|limit| limit < 0.1) {
        // Without brackets only against a literal tolerance: `end - start < length` is a fair question.
    } else {
        return false;
    }
    scan::split_outside(left, " - ").len() > 1
}

#[cfg(test)]
mod tests {
    use super::super::modules::sources;
    use super::*;

    fn broken(path: &str, text: &str) -> Vec<usize> {
        let tree = Tree::of(&[(path, text)]);
        check(&tree, &sources(&tree)).iter().map(|v| v.line).collect()
    }

    #[test]
    fn the_core_knows_no_outside_world() {
        let core = |text: &str| broken("crates/core/src/lib.rs", &format!("//! Core.\n{text}"));
        assert_eq!(core("use std::fmt::Write;\n// std::fs\nconst S: &str = \"std::fs\";"), [0; 0]);
        assert_eq!(core("use std::fs::File;"), [2]);
        assert_eq!(core("use std::{fmt, thread};"), [2]);
        assert_eq!(core("fn f() {\n    let t = Instant::now();\n    println!();\n}"), [4, 3]);
        assert_eq!(core("fn f() { rand::random() }"), [2]);
        assert_eq!(core("fn f() { operand::random() }"), [0; 0]);
        assert_eq!(core("#[cfg(test)]\nmod tests {\n    use std::fs;\n}"), [0; 0]);
    }

    #[test]
    fn libraries_do_not_print() {
        assert_eq!(broken("crates/report/src/lib.rs", "//! R.\nfn f() { std::process::exit(1) }"), [2]);
        assert_eq!(broken("crates/captures/src/lib.rs", "//! C.\nfn f() { eprintln!() }"), [2]);
        assert_eq!(broken("crates/captures/benches/b.rs", "fn f() { eprintln!() }"), [0; 0]);
        assert_eq!(broken("crates/flattop/src/main.rs", "//! F.\nfn f() { eprintln!() }"), [0; 0]);
    }

    #[test]
    fn modules_say_what_they_are_and_stay_short() {
        assert_eq!(broken("crates/close/src/lib.rs", "fn f() {}"), [1]);
        let long = format!("//! Long.\n{}", "\n".repeat(LONGEST));
        assert_eq!(broken("crates/close/src/lib.rs", &long), [0]);
        assert_eq!(broken("crates/close/src/lib.rs", &long[1..].replacen("/", "//", 1)), [0]);
    }

    #[test]
    fn differences_need_their_magnitude() {
        let test = |condition: &str| {
            broken("crates/core/tests/t.rs", &format!("fn f() {{ assert!({condition}); }}"))
        };
        for bad in [
            "(a - b) < 1e-9",
            "a - b < 1e-9",
            "x > 1.0 && (a[0] - f(c, d)) < tolerance",
            "a - b < 0.01, \"a - b\"",
        ] {
            assert_eq!(test(bad), [1], "{bad}");
        }
        for good in [
            "(a - b).abs() < 1e-9",
            "a < b - c",
            "f(a - b) < 1e-9",
            "end - start < length",
            "(a * b) < 1e-9",
            "a < -1.0",
        ] {
            assert_eq!(test(good), [0; 0], "{good}");
        }
    }
}
