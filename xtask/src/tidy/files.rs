//! The text files of the repository, in memory: every rule looks at these and at nothing else.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Folders and files that are made, not kept.
const NOT_KEPT: [&str; 6] = [".git", "target", ".venv", "__pycache__", "node_modules", "dist"];

/// Everything the rules look at.
#[derive(Clone, Debug, Default)]
pub(super) struct Tree {
    /// Text by path from the root, with `/` between its parts. Binary files are left out.
    pub(super) files: BTreeMap<String, String>,
    /// Names of the folders at the root.
    pub(super) top_folders: BTreeSet<String>,
}

impl Tree {
    /// Reads the repository at `root`.
    pub(super) fn read(root: &Path) -> Result<Self, String> {
        let mut tree = Self::default();
        tree.walk(root, "")?;
        Ok(tree)
    }

    fn walk(&mut self, folder: &Path, prefix: &str) -> Result<(), String> {
        let broken = |error: std::io::Error| format!("{}: {error}", folder.display());
        for entry in std::fs::read_dir(folder).map_err(broken)? {
            let entry = entry.map_err(broken)?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if NOT_KEPT.contains(&name.as_str()) || name.ends_with(".tmp") {
                continue;
            }
            let path = format!("{prefix}{name}");
            if entry.file_type().map_err(broken)?.is_dir() {
                if prefix.is_empty() {
                    self.top_folders.insert(name);
                }
                self.walk(&entry.path(), &format!("{path}/"))?;
                continue;
            }
            #[allow(clippy::disallowed_methods, reason = "a chore program reads the repository")]
            let bytes = std::fs::read(entry.path()).map_err(|e| format!("{path}: {e}"))?;
            if let Ok(text) = String::from_utf8(bytes) {
                self.files.insert(path, text);
            }
        }
        Ok(())
    }

    /// Names of the folders right below `crates/`.
    pub(super) fn crates(&self) -> BTreeSet<&str> {
        self.files
            .keys()
            .filter_map(|path| path.strip_prefix("crates/")?.split_once('/'))
            .map(|p| p.0)
            .collect()
    }

    #[cfg(test)]
    pub(super) fn of(files: &[(&str, &str)]) -> Self {
        let files: BTreeMap<String, String> =
            files.iter().map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect();
        let top_folders =
            files.keys().filter_map(|p| p.split_once('/')).map(|(top, _)| top.to_owned()).collect();
        Self { files, top_folders }
    }
}
