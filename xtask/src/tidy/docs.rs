//! Documents that must agree with the sources: the map of the code, the JSON fields, and the list of finding codes.

use std::collections::{BTreeMap, BTreeSet};

use super::Violation;
use super::files::Tree;
use super::modules::{Sources, Use};
use super::scan::{self, Blank, places};

const MAP: &str = "ARCHITECTURE.md";
const CODES: &str = "docs/json.md";
/// What one command writes as JSON: where its objects are, and under which field of the whole each of them stands.
struct Written {
    /// The command, as the heading of its part of the document names it.
    command: &'static str,
    source: &'static str,
    objects: &'static [(&'static str, &'static str)],
}
const WRITTEN: [Written; 2] = [
    Written {
        command: "assess",
        source: "crates/report/src/json.rs",
        objects: &[
            ("Report", ""),
            ("Coverage", "coverage."),
            ("Adjustment", "adjustment."),
            ("SquareWave", "square_wave."),
            ("Assumptions", "assumptions."),
            ("Record", "record."),
            ("Pairing", "pairing."),
        ],
    },
    Written {
        command: "reach",
        source: "crates/report/src/reach/json.rs",
        objects: &[
            ("Report", ""),
            ("Bounds", "compensation_error_bounds."),
            ("SquareWave", "square_wave."),
            ("Stated", "stated."),
        ],
    },
];
const SEVERITIES: [&str; 3] = ["note", "warning", "fault"];

pub(super) fn check(tree: &Tree, sources: &Sources) -> Vec<Violation> {
    let mut found = map(tree);
    for written in &WRITTEN {
        found.extend(fields(tree, written));
    }
    found.extend(codes(tree, sources));
    found
}

/// The tables of fields in a command's part of the document list exactly the fields of its JSON objects.
fn fields(tree: &Tree, written: &Written) -> Vec<Violation> {
    let path = written.source;
    let source = tree.files.get(path).map_or("", String::as_str);
    let mut made = BTreeMap::new();
    for (object, prefix) in written.objects {
        let head = format!("pub struct {object} {{\n");
        let Some(at) = source.find(&head) else {
            return vec![Violation::new(path, 0, format!("no `{}`", head.trim_end()))];
        };
        let first = scan::line_of(source, at) + 1;
        let body = source[at + head.len()..].lines().take_while(|line| *line != "}");
        for (index, line) in body.enumerate() {
            let field = line.trim().strip_prefix("pub ").and_then(|l| l.split_once(':'));
            if let Some((name, _)) = field {
                made.insert(format!("{prefix}{name}"), first + index);
            }
        }
    }
    // The tables of fields have four columns: field, unit, meaning, when it is null.
    let document = tree.files.get(CODES).map_or("", String::as_str);
    let mut listed = BTreeMap::new();
    let mut inside = false;
    for (index, line) in document.lines().enumerate() {
        if line.starts_with("## ") {
            inside = line.contains(&format!("`flattop {} --json`", written.command));
        }
        if !inside {
            continue;
        }
        if let [_, field, _, _, _, ""] = cells(line)[..] {
            let name = field.strip_prefix('`').and_then(|f| f.strip_suffix('`'));
            listed.extend(name.map(|name| (name.to_owned(), index + 1)));
        }
    }
    let unlisted = made.iter().filter(|(name, _)| !listed.contains_key(*name)).map(|(name, line)| {
        Violation::new(path, *line, format!("the field `{name}` is missing from {CODES}"))
    });
    let unmade = listed
        .iter()
        .filter(|(name, _)| !made.contains_key(*name))
        .map(|(name, line)| Violation::new(CODES, *line, format!("no JSON object has the field `{name}`")));
    unlisted.chain(unmade).collect()
}

/// Every crate and every folder at the root stands in the map, itself or by what is in it.
fn map(tree: &Tree) -> Vec<Violation> {
    let text = tree.files.get(MAP).map_or("", String::as_str);
    let crates = tree.crates().into_iter().map(|name| format!("crates/{name}"));
    tree.top_folders
        .iter()
        .cloned()
        .chain(crates)
        .filter(|place| !text.contains(&format!("`{place}`")) && !text.contains(&format!("`{place}/")))
        .map(|place| Violation::new(MAP, 0, format!("`{place}` is missing from the map")))
        .collect()
}

/// Severities by code, and the first place of each code.
type Codes = BTreeMap<String, (BTreeSet<String>, String, usize)>;

/// The tables of codes list exactly those that the sources make, with their severities.
fn codes(tree: &Tree, sources: &Sources) -> Vec<Violation> {
    let mut made = Codes::new();
    let mut found = Vec::new();
    for (path, text) in
        sources.iter().filter(|(_, u)| **u == Use::Shipped).filter_map(|(p, _)| tree.files.get_key_value(p))
    {
        if path.starts_with("crates/") {
            found.extend(made_in(path, text, &mut made));
        }
    }
    let listed = listed(tree.files.get(CODES).map_or("", String::as_str), &mut found);
    for (code, (severities, path, line)) in &made {
        match listed.get(code) {
            None => {
                found.push(Violation::new(path, *line, format!("the code `{code}` is missing from {CODES}")))
            }
            Some((there, at)) if there != severities => {
                let severities = severities.iter().cloned().collect::<Vec<_>>().join(", ");
                found.push(Violation::new(
                    CODES,
                    *at,
                    format!("`{code}` has the severity {severities} in the sources"),
                ));
            }
            Some(_) => {}
        }
    }
    for (code, (_, line)) in listed.iter().filter(|(code, _)| !made.contains_key(*code)) {
        found.push(Violation::new(CODES, *line, format!("no source makes the code `{code}`")));
    }
    found
}

/// Collects the codes of a source file: the string literals in the first argument of each finding made.
fn made_in(path: &str, text: &str, made: &mut Codes) -> Vec<Violation> {
    let bare = scan::without_tests(&scan::blank(text, Blank::CommentsAndStrings));
    let with_strings = scan::blank(text, Blank::Comments);
    let mut found = Vec::new();
    for severity in SEVERITIES {
        let call = format!("Finding::{severity}(");
        for at in places(&bare, &call) {
            let from = at + call.len();
            let first = scan::split_outside(&bare[from..], ",")[0];
            let mut codes: Vec<&str> = literals(&with_strings[from..from + first.len()]);
            if codes.is_empty() {
                // A variable: the hyphenated literals of its function up to here are the codes it can hold.
                let start = bare[..at].rfind("\nfn ").or_else(|| bare[..at].rfind(" fn ")).unwrap_or(0);
                codes = literals(&with_strings[start..at])
                    .into_iter()
                    .filter(|c| is_code(c) && c.contains('-'))
                    .collect();
            }
            let line = scan::line_of(text, at);
            if codes.is_empty() || !codes.iter().all(|code| is_code(code)) {
                found.push(Violation::new(
                    path,
                    line,
                    "the code of this finding cannot be read off: write it as a literal",
                ));
            }
            for code in codes {
                let entry = made.entry(code.to_owned());
                entry
                    .or_insert_with(|| (BTreeSet::new(), path.to_owned(), line))
                    .0
                    .insert(severity.to_owned());
            }
        }
    }
    found
}

/// The plain string literals in `text`, which holds no comments.
fn literals(text: &str) -> Vec<&str> {
    text.split('"').skip(1).step_by(2).collect()
}

/// The cells of a table's row, with what stands before the first and behind the last bar. A bar in a cell is `\\|`.
fn cells(line: &str) -> Vec<&str> {
    let bars = line.match_indices('|').map(|(at, _)| at).filter(|at| !line[..*at].ends_with('\\'));
    let (mut cells, mut start) = (Vec::new(), 0);
    for bar in bars {
        cells.push(line[start..bar].trim());
        start = bar + 1;
    }
    cells.push(line[start..].trim());
    cells
}

fn is_code(text: &str) -> bool {
    let word = |w: &str| !w.is_empty() && w.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit());
    text.split('-').all(word)
}

/// Codes, their severities and their lines in the tables whose rows are `` | `code` | severity, severity | … ``.
fn listed(text: &str, found: &mut Vec<Violation>) -> BTreeMap<String, (BTreeSet<String>, usize)> {
    let mut codes = BTreeMap::new();
    for (index, line) in text.lines().enumerate() {
        let [_, code, severities, _, ""] = cells(line)[..] else { continue };
        let Some(code) = code.strip_prefix('`').and_then(|c| c.strip_suffix('`')) else { continue };
        let severities: BTreeSet<String> = severities.split(", ").map(str::to_owned).collect();
        // Tables of fields have a unit in this place.
        if !is_code(code) || !severities.iter().all(|s| SEVERITIES.contains(&s.as_str())) {
            continue;
        }
        if codes.insert(code.to_owned(), (severities, index + 1)).is_some() {
            found.push(Violation::new(CODES, index + 1, format!("`{code}` is listed twice")));
        }
    }
    codes
}

#[cfg(test)]
mod tests {
    use super::super::modules::sources;
    use super::*;

    fn broken(source: &str, list: &str) -> Vec<String> {
        let tree = Tree::of(&[("crates/core/src/lib.rs", source), (CODES, list)]);
        codes(&tree, &sources(&tree)).into_iter().map(|v| v.message).collect()
    }

    #[test]
    fn codes_are_listed_exactly() {
        let source = "fn f(x: bool) {\n    Finding::note(\n        \"a-b\",\n        \"text, text\",\n    );\n    \
                      Finding::fault(if x { \"c\" } else { \"d\" }, \"\", \"\");\n}\n\
                      fn g() {\n    let (code, word) = (\"e-f\", \"above\");\n    Finding::warning(code, word, \"\");\n}\n\
                      // Finding::note(\"no\")\n#[cfg(test)]\nmod tests { fn t() { Finding::note(\"t\", \"\", \"\"); } }\n";
        let list = "| `a-b` | note | x |\n| `c` | fault | x |\n| `d` | fault | x |\n| `e-f` | warning | x |\n| `value` | V | x |\n";
        assert_eq!(broken(source, list), [""; 0]);
        assert_eq!(broken(source, &list.replace("fault", "note, fault")).len(), 2);
        assert_eq!(broken(source, &list.replacen("`c`", "`d`", 1)).len(), 2);
        assert_eq!(broken(source, &format!("{list}| `g` | note | x |")), ["no source makes the code `g`"]);
        assert_eq!(broken("fn f(code: &'static str) { Finding::note(code, x, y); }", "").len(), 1);
    }

    #[test]
    fn fields_are_listed_exactly() {
        // The last of them, so that the part of another command stands before it.
        let (other, written) = (&WRITTEN[0], &WRITTEN[1]);
        let mut objects = String::new();
        let mut list = format!(
            "## `flattop {} --json`\n| `other` | | | never |\n## `flattop {} --json`\n",
            other.command, written.command
        );
        for (object, prefix) in written.objects {
            objects += &format!("pub struct {object} {{\n    pub value: f64,\n}}\n");
            list += &format!("| `{prefix}value` | 1 | \\|e\\| | never |\n");
        }
        let broken = |objects: &str, list: &str| -> Vec<(String, usize)> {
            let tree = Tree::of(&[(written.source, objects), (CODES, list)]);
            fields(&tree, written).into_iter().map(|v| (v.file, v.line)).collect()
        };
        assert_eq!(broken(&objects, &list), []);
        let line = list.lines().count() + 1;
        assert_eq!(broken(&objects, &format!("{list}| `more` | | | never |")), [(CODES.to_owned(), line)]);
        // What stands under another heading is not this command's.
        assert_eq!(broken(&objects, &format!("{list}## Codes\n| `more` | | | never |")), []);
        assert_eq!(broken(&objects, &list.replace(written.command, "other")).len(), written.objects.len());
        assert_eq!(
            broken(&objects.replacen("}", "    pub more: f64,\n}", 1), &list),
            [(written.source.to_owned(), 3)]
        );
        assert_eq!(broken("", &list).len(), 1);
    }

    #[test]
    fn the_map_names_every_part() {
        let map_of =
            |text: &str| map(&Tree::of(&[("crates/a/Cargo.toml", ""), ("docs/x.md", ""), (MAP, text)])).len();
        assert_eq!(map_of("`crates/` `docs/`"), 1);
        assert_eq!(map_of("`crates/ab` `docs/x.md`"), 1);
        assert_eq!(map_of("`crates/`: `crates/a`, `docs`"), 0);
        assert_eq!(map_of(""), 3);
    }
}
