//! Standard output and standard error: a reader that goes away early is no error.

use std::collections::HashSet;
use std::ffi::{OsStr, OsString};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::status::Ending;

/// Writes to standard output. A closed pipe counts as written.
pub(crate) fn print(bytes: &[u8]) -> Ending {
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Ok(()) => Ending::Good,
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ending::Good,
        Err(error) => {
            complain(&format!(
                "standard output: cannot be written: {error}; check the space left where it goes"
            ));
            Ending::Unusable
        }
    }
}

/// Tells the user of something that went wrong.
pub(crate) fn complain(message: &str) {
    // With standard error gone there is nobody left to tell.
    let _ = writeln!(std::io::stderr().lock(), "error: {message}");
}

/// Tells the user of something done beside what was asked.
pub(crate) fn remark(message: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{message}");
}

/// Draws into a file, as PNG or SVG after its name, and tells how that ended.
pub(crate) fn draw(
    file: &Path,
    svg: impl FnOnce() -> String,
    png: impl FnOnce() -> Result<Vec<u8>, String>,
) -> Ending {
    let is_png = file.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("png"));
    let drawing = if is_png { png() } else { Ok(svg().into_bytes()) };
    match drawing.and_then(|bytes| save(file, &bytes)) {
        Ok(()) => Ending::Good,
        Err(reason) => {
            complain(&format!("{}: {reason}", file.display()));
            Ending::Unusable
        }
    }
}

/// A file's name without its folder; empty where the path ends in none.
pub(crate) fn bare_name(file: &Path) -> String {
    file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// A reader's message with the file's folder before the name: readers say the bare one, and of several files the folder tells them apart.
pub(crate) fn with_folder(file: &Path, message: &str) -> String {
    match message.strip_prefix(&bare_name(file)) {
        Some(rest) => format!("{}{rest}", file.display()),
        None => message.to_owned(),
    }
}

/// The name of one of several drawings: `plot.svg` with `ch1` makes `plot-ch1.svg`; a name already taken gets a number.
pub(crate) fn own_name(file: &Path, of: &OsStr, taken: &mut HashSet<PathBuf>) -> PathBuf {
    let mut base = file.file_stem().map(OsString::from).unwrap_or_default();
    base.push("-");
    base.push(of);
    let named = |number: u32| {
        let mut name = base.clone();
        if number > 1 {
            name.push(format!("-{number}"));
        }
        name.push(".");
        name.push(file.extension().unwrap_or_default());
        file.with_file_name(name)
    };
    // There are more numbers than drawings, so one is free.
    let free = (1..).map(named).find(|name| !taken.contains(name)).unwrap_or_else(|| file.to_owned());
    taken.insert(free.clone());
    free
}

/// Writes a file whole.
#[allow(clippy::disallowed_methods)] // writing files is the program's part
pub(crate) fn save(target: &Path, bytes: &[u8]) -> Result<(), String> {
    std::fs::write(target, bytes).map_err(|error| match target.parent() {
        Some(folder) if error.kind() == ErrorKind::NotFound && !folder.as_os_str().is_empty() => {
            format!("cannot be written: the folder {} does not exist; make it first", folder.display())
        }
        _ => format!("cannot be written: {error}; check the folder and the space left in it"),
    })
}
