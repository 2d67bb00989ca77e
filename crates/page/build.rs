//! Builds the page with npm where `page/dist` is missing or older than what it is made of.
//!
//! `FLATTOP_PAGE=as-is` takes `page/dist` as it lies there, for work on the Rust side and for packaging.

use std::path::Path;
use std::process::Command;
use std::time::SystemTime;

/// What the page is made of, below `page/`.
const SOURCES: [&str; 8] = [
    "src",
    "public",
    "scripts",
    "index.html",
    "package.json",
    "package-lock.json",
    "tsconfig.json",
    "vite.config.ts",
];

fn main() {
    println!("cargo::rerun-if-env-changed=FLATTOP_PAGE");
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../page");
    for source in SOURCES {
        println!("cargo::rerun-if-changed={}", page.join(source).display());
    }
    let built = page.join("dist/index.html");
    println!("cargo::rerun-if-changed={}", built.display());
    if let Err(message) = build(&page, &built) {
        println!("cargo::error={message}");
        std::process::exit(1);
    }
}

fn build(page: &Path, built: &Path) -> Result<(), String> {
    let as_is = std::env::var_os("FLATTOP_PAGE").is_some_and(|value| value == "as-is");
    let made = modified(built);
    if as_is {
        return match made {
            Some(_) => Ok(()),
            None => Err("FLATTOP_PAGE=as-is, but page/dist/index.html is not there; build it: cd page && npm ci && npm run build".to_owned()),
        };
    }
    let newest = SOURCES.iter().filter_map(|source| newest(&page.join(source))).max();
    let Some(newest) = newest else {
        return Err(format!(
            "{}: the sources of the page are not there; check out the whole repository",
            page.display()
        ));
    };
    if made.is_some_and(|made| newest <= made) {
        return Ok(());
    }
    // Installed packages that fit the lock file stay: somebody may be working with them.
    let installed = modified(&page.join("node_modules/.package-lock.json"));
    let locked = modified(&page.join("package-lock.json"));
    if installed.is_none() || locked > installed {
        npm(page, &["ci", "--no-audit", "--no-fund"])?;
    }
    npm(page, &["run", "build"])
}

fn npm(page: &Path, arguments: &[&str]) -> Result<(), String> {
    let words = format!("npm {}", arguments.join(" "));
    let done = Command::new("npm").args(arguments).current_dir(page).output().map_err(|error| {
        format!("{words} cannot be run ({error}); install Node.js 20 or later with npm (Debian: apt-get install nodejs npm)")
    })?;
    if done.status.success() {
        return Ok(());
    }
    let said = [String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr)].concat();
    let lines: Vec<&str> = said.lines().filter(|line| !line.trim().is_empty()).collect();
    let last = lines[lines.len().saturating_sub(12)..].join(" | ");
    Err(format!("{words} failed in page/; run it there to see more. It said: {last}"))
}

fn modified(path: &Path) -> Option<SystemTime> {
    path.metadata().and_then(|meta| meta.modified()).ok()
}

/// The newest change below a path.
fn newest(path: &Path) -> Option<SystemTime> {
    if !path.is_dir() {
        return modified(path);
    }
    let entries = path.read_dir().ok()?;
    entries.filter_map(|entry| newest(&entry.ok()?.path())).max()
}
