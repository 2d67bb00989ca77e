//! Where a session is shown: a panel painted over itself, lines of words, or lines of JSON.
//!
//! The cursor always rests below the panel, and nothing of the terminal is changed: whatever stops the program leaves it
//! as it was, with the last panel on it.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::io::{ErrorKind, IsTerminal, Write};

use flattop_report::trim::{self, HEIGHT, Letters, Shown};

use super::Args;

/// Smallest terminal that a panel fits into.
const SMALLEST: (u16, u16) = (HEIGHT as u16 + 1, 80);

/// One of the three.
pub(super) struct Screen {
    kind: Kind,
    letters: Letters,
    /// Codes of remarks that were told with their words: once is enough.
    told: HashSet<&'static str>,
    painted: Vec<String>,
    /// Troubles shown below the panel since it was painted.
    is_below: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Panel,
    Lines,
    Json,
}

/// Whether anybody still listens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Audience {
    There,
    Gone,
}

impl Screen {
    pub(super) fn new(args: &Args) -> Self {
        let out = std::io::stdout();
        let size = console::Term::stdout().size_checked();
        let fits = size.is_some_and(|(rows, columns)| rows >= SMALLEST.0 && columns >= SMALLEST.1);
        let kind = match (args.json, args.lines) {
            (true, _) => Kind::Json,
            (false, false) if out.is_terminal() && fits => Kind::Panel,
            _ => Kind::Lines,
        };
        let letters = if crate::workbench::has_unicode() { Letters::Unicode } else { Letters::Ascii };
        Self { kind, letters, told: HashSet::new(), painted: Vec::new(), is_below: false }
    }

    /// Cautions, and what is followed.
    pub(super) fn open(&mut self, title: &str) -> Result<Audience, String> {
        let text = format!("{}\nFollowing: {title}. Ctrl-C ends it.\n", trim::CAUTIONS);
        // The panel explains itself.
        let text = if self.kind == Kind::Lines { format!("{text}{}", trim::COLUMNS) } else { text };
        if self.kind == Kind::Json {
            crate::output::remark(text.trim_end());
            return Ok(Audience::There);
        }
        say(text.as_bytes())
    }

    /// Shows what there is after a capture.
    pub(super) fn show(&mut self, shown: &Shown<'_>) -> Result<Audience, String> {
        let text = match self.kind {
            Kind::Json => trim::json(shown),
            Kind::Lines => self.lines(shown),
            Kind::Panel => self.panel(shown),
        };
        say(text.as_bytes())
    }

    /// Something went wrong, and the session goes on.
    pub(super) fn trouble(&mut self, message: &str) {
        crate::output::complain(message);
        self.is_below = true;
    }

    fn lines(&mut self, shown: &Shown<'_>) -> String {
        let mut text = trim::line(shown);
        for finding in shown.findings {
            if self.told.insert(finding.code) {
                text.push_str(&trim::finding_lines(finding));
            }
        }
        let present: HashSet<&str> = shown.findings.iter().map(|finding| finding.code).collect();
        // What went away and comes back is told again.
        self.told.retain(|code| present.contains(code));
        for logged in shown.logged {
            let _ = writeln!(text, "  Logged as entry {}: {}.", logged.entry, logged.stage);
        }
        text
    }

    /// Only lines that have changed are written, all at once.
    fn panel(&mut self, shown: &Shown<'_>) -> String {
        let lines = trim::panel(shown, self.letters);
        let mut text = String::new();
        let is_over = self.painted.len() == lines.len() && !self.is_below;
        if is_over {
            let _ = write!(text, "\x1b[{}A", lines.len());
        }
        for (index, line) in lines.iter().enumerate() {
            if is_over && self.painted[index] == *line {
                text.push('\n');
            } else {
                let _ = write!(text, "\r{line}\x1b[K\n");
            }
        }
        self.painted = lines;
        self.is_below = !shown.logged.is_empty();
        for logged in shown.logged {
            let _ = writeln!(text, "Logged as entry {}: {}.", logged.entry, logged.stage);
        }
        text
    }
}

/// One stroke of the terminal's bell.
pub(super) fn ring() {
    let mut out = std::io::stderr().lock();
    // A bell that nobody hears is no loss.
    let _ = out.write_all(b"\x07").and_then(|()| out.flush());
}

fn say(bytes: &[u8]) -> Result<Audience, String> {
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Ok(()) => Ok(Audience::There),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(Audience::Gone),
        Err(error) => {
            Err(format!("standard output: cannot be written: {error}; check the space left where it goes"))
        }
    }
}
