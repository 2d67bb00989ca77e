//! What no committed text may hold: paths of one machine, and hosts that packages come from.

use super::Violation;
use super::files::Tree;

/// Folders at the root of somebody's machine.
const MACHINE_FOLDERS: [&str; 3] = ["work", "tmp", "root"];
/// A temporary folder is no secret where something makes one.
const MAY_NAME_TEMPORARY: [&str; 1] = ["tmp"];
/// Hosts, split so that this file does not hold what it looks for.
const HOSTS: [&[&str]; 4] =
    [&["crates", "io"], &["pypi", "org"], &["registry", "npmjs", "org"], &["static", "rust-lang", "org"]];

pub(super) fn check(tree: &Tree) -> Vec<Violation> {
    let mut found = Vec::new();
    for (path, text) in &tree.files {
        for (index, line) in text.lines().enumerate() {
            let mut report = |message: String| found.push(Violation::new(path, index + 1, message));
            for folder in MACHINE_FOLDERS {
                if names_folder(line, folder)
                    && !(MAY_NAME_TEMPORARY.contains(&folder) && is_script_or_test(path))
                {
                    report("path of one machine: use a path relative to the repository".to_owned());
                }
            }
            let is_source_of_a_package = path == "Cargo.lock" && line.starts_with("source = ");
            for host in HOSTS.iter().map(|parts| parts.join(".")) {
                if line.contains(&host) && !is_source_of_a_package {
                    report(format!("{host}: name the package, not the host it comes from"));
                }
            }
        }
    }
    found
}

/// Whether `line` holds an absolute path that starts with `folder`.
fn names_folder(line: &str, folder: &str) -> bool {
    line.match_indices(&format!("/{folder}/")).any(|(at, _)| {
        // In `a/work/b` it is a folder of the repository, in `https://host/work/` part of an address.
        let before = line[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || "_-./}$)".contains(c))
    })
}

fn is_script_or_test(path: &str) -> bool {
    path.starts_with("scripts/")
        || path.starts_with("reference/")
        || path.contains("/tests/")
        || path.ends_with("tests.rs")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(path: &str, text: &str) -> Vec<usize> {
        check(&Tree::of(&[(path, text)])).iter().map(|v| v.line).collect()
    }

    #[test]
    fn machine_paths_and_hosts_are_found() {
        let machine = |folder: &str| format!("see\n`/{folder}/main`\n");
        for folder in MACHINE_FOLDERS {
            assert_eq!(lines("README.md", &machine(folder)), [2], "{folder}");
        }
        assert_eq!(lines("scripts/setup", &machine("tmp")), [0; 0]);
        assert_eq!(lines("scripts/setup", &machine("work")), [2]);
        assert_eq!(lines("README.md", "crates/work/src and ${TMPDIR}/tmp/"), [0; 0]);
        for host in HOSTS {
            let line = format!("source = \"registry+https://github.com/rust-lang/{}-index\"", host.join("."));
            assert_eq!(lines("Cargo.lock", &line), [0; 0]);
            assert_eq!(lines("README.md", &line), [1]);
        }
    }
}
