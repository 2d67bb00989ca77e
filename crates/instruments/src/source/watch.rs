//! A watched file or folder: complete captures as they are saved there.

use std::collections::{BTreeSet, VecDeque};
use std::fs::{DirEntry, File, Metadata};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::{Duration, SystemTime};

use flattop_captures::ReadOptions;
use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, RecursiveMode, Watcher};

use super::ledger::{Ledger, Pace, Seen, Verdict};
use super::{Cause, Problem, Source, Step, read};
use crate::clock::SharedClock;

/// Most files of a folder that are looked at.
const MOST_FILES: usize = 100_000;
/// Endings of names under which programs keep what is not complete yet.
const UNFINISHED: [&str; 5] = [".tmp", ".part", ".partial", ".temp", "~"];
/// Words of the system that may wait.
const MOST_WORDS: usize = 4096;

/// What happens with files that are there at the beginning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AtStart {
    /// Only what changes later is told.
    PassOver,
    /// They are told as well.
    Tell,
}

/// What brings a look forward.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wake {
    /// The system's word, where it gives one. It gives none for network shares: looks go on all the same.
    SystemOrLook,
    /// Nothing: only looks.
    Look,
}

/// A watched place.
pub struct Watch {
    path: PathBuf,
    /// The folder that is looked at; the path itself, or where the file is.
    folder: PathBuf,
    /// The one file that counts.
    only: Option<String>,
    options: ReadOptions,
    pace: Pace,
    most_bytes: u64,
    clock: SharedClock,
    ledger: Ledger,
    ready: VecDeque<Seen>,
    touched: BTreeSet<String>,
    words: Option<Words>,
    next_look: Duration,
    is_gone: bool,
    /// No file outside of it is read, whatever links lead there.
    within: Option<PathBuf>,
}

/// The system's word about changes.
struct Words {
    inbox: Receiver<String>,
    /// Ends with it.
    _watcher: notify::RecommendedWatcher,
}

impl Watch {
    /// Watches `path`, a folder, or a file that need not be there yet. Captures are read with `options` and have at most
    /// `most_bytes`.
    pub fn new(
        path: &Path,
        options: ReadOptions,
        pace: Pace,
        most_bytes: u64,
        (at_start, wake): (AtStart, Wake),
        clock: SharedClock,
    ) -> Self {
        let is_folder = path.is_dir();
        let parent = || path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let (folder, only) = if is_folder {
            (path.to_owned(), None)
        } else {
            (parent().to_owned(), path.file_name().map(|name| name.to_string_lossy().into_owned()))
        };
        // Listened first and looked afterwards: nothing falls between.
        let words = (wake == Wake::SystemOrLook).then(|| words(&folder)).flatten();
        let there = match at_start {
            AtStart::PassOver => listing(&folder, only.as_deref()).unwrap_or_default(),
            AtStart::Tell => Vec::new(),
        };
        Self {
            path: path.to_owned(),
            folder,
            only,
            options,
            pace,
            most_bytes,
            next_look: clock.now(),
            clock,
            ledger: Ledger::new(pace, there),
            ready: VecDeque::new(),
            touched: BTreeSet::new(),
            words,
            is_gone: false,
            within: None,
        }
    }

    /// The same, reading no file outside of `folder`, which is a path without links; of links, only those that stay in it.
    #[must_use]
    pub fn within(mut self, folder: PathBuf) -> Self {
        self.within = Some(folder);
        self
    }

    /// Whether the system tells of changes; else only looks find them.
    pub fn is_told(&self) -> bool {
        self.words.is_some()
    }

    fn look(&mut self) -> Option<Step> {
        let now = self.clock.now();
        self.next_look = now + self.pace.look;
        match listing(&self.folder, self.only.as_deref()) {
            Ok(there) => {
                self.is_gone = false;
                let touched = std::mem::take(&mut self.touched);
                self.ready.extend(self.ledger.look(now, there, &touched));
                None
            }
            Err(_) if self.is_gone => None,
            Err(error) => {
                self.is_gone = true;
                let path = self.folder.display().to_string();
                let cause = Cause::Gone { path, reason: error.to_string() };
                Some(Step::Problem(Problem { name: self.name(), at: now, cause, times: 1 }))
            }
        }
    }

    /// Reads a file that is ready; `None` where it is not, after all.
    fn take(&mut self, seen: &Seen) -> Option<Step> {
        let mut path = self.folder.join(&seen.name);
        let now = self.clock.now();
        if let Some(within) = &self.within {
            match path.canonicalize() {
                Ok(real) if real.starts_with(within) => path = real,
                // A file that is gone by now is no matter of links.
                Err(_) => {}
                Ok(_) => {
                    self.ledger.told(now, seen, Some(seen));
                    let cause = Cause::Outside { name: seen.name.clone() };
                    return Some(Step::Problem(Problem {
                        name: seen.name.clone(),
                        at: now,
                        cause,
                        times: 1,
                    }));
                }
            }
        }
        if seen.size > self.most_bytes {
            self.ledger.told(now, seen, Some(seen));
            let (bytes, limit) = (seen.size, self.most_bytes);
            let cause = Cause::TooLarge { path: path.display().to_string(), bytes, limit };
            return Some(Step::Problem(Problem { name: seen.name.clone(), at: now, cause, times: 1 }));
        }
        let bytes = contents(&path, self.most_bytes);
        let after = look_at(&path, &seen.name);
        let step = match bytes {
            // What was written meanwhile makes a mixture.
            Ok(_) if after.as_ref() != Some(seen) => {
                self.ledger.told(now, seen, after.as_ref());
                return None;
            }
            Ok(bytes) => read(seen.name.clone(), bytes, &self.options, now),
            Err(error) => {
                let cause = Cause::Gone { path: path.display().to_string(), reason: error.to_string() };
                Step::Problem(Problem { name: seen.name.clone(), at: now, cause, times: 1 })
            }
        };
        if matches!(step, Step::Problem(_)) {
            // Perhaps its writer has only paused.
            return (self.ledger.failed(now, &seen.name) == Verdict::Say).then_some(step);
        }
        self.ledger.told(now, seen, after.as_ref());
        Some(step)
    }

    fn wait(&mut self, time: Duration) {
        let Some(words) = &self.words else {
            self.clock.pause(time);
            return;
        };
        match words.inbox.recv_timeout(time) {
            Ok(name) => {
                self.touched.insert(name);
                self.touched.extend(words.inbox.try_iter().take(MOST_WORDS));
                self.next_look = self.clock.now();
            }
            Err(RecvTimeoutError::Timeout) => {}
            // The system has stopped telling: looks go on.
            Err(RecvTimeoutError::Disconnected) => self.words = None,
        }
    }
}

impl Source for Watch {
    fn next(&mut self, time_limit: Duration) -> Step {
        let end = self.clock.now() + time_limit;
        loop {
            while let Some(seen) = self.ready.pop_front() {
                if let Some(step) = self.take(&seen) {
                    return step;
                }
            }
            let now = self.clock.now();
            if now >= self.next_look {
                if let Some(step) = self.look() {
                    return step;
                }
                if !self.ready.is_empty() {
                    continue;
                }
            }
            if now >= end {
                return Step::Nothing;
            }
            let wait = self.next_look.saturating_sub(now).min(end - now);
            self.wait(wait.max(Duration::from_millis(1)));
        }
    }

    fn name(&self) -> String {
        self.path.display().to_string()
    }
}

/// Asks the system to tell of changes in a folder; `None` where it can't.
fn words(folder: &Path) -> Option<Words> {
    let (outbox, inbox) = sync_channel(MOST_WORDS);
    let handler = move |event: notify::Result<notify::Event>| {
        let Ok(event) = event else { return };
        let is_change = match event.kind {
            EventKind::Create(_) | EventKind::Modify(_) | EventKind::Remove(_) => true,
            // Our own reading is no change.
            EventKind::Access(kind) => kind == AccessKind::Close(AccessMode::Write),
            EventKind::Any | EventKind::Other => true,
        };
        let names = event.paths.iter().filter(|_| is_change).filter_map(|path| path.file_name());
        for name in names {
            // Where too many wait, the next look finds them all.
            let _ = outbox.try_send(name.to_string_lossy().into_owned());
        }
    };
    let mut watcher = notify::recommended_watcher(handler).ok()?;
    watcher.watch(folder, RecursiveMode::NonRecursive).ok()?;
    Some(Words { inbox, _watcher: watcher })
}

/// The files of a folder that can be captures.
fn listing(folder: &Path, only: Option<&str>) -> std::io::Result<Vec<Seen>> {
    if let Some(name) = only {
        let found = look_at(&folder.join(name), name);
        // The folder must be there, the file need not.
        std::fs::metadata(folder)?;
        return Ok(found.into_iter().collect());
    }
    let entries = std::fs::read_dir(folder)?.take(MOST_FILES);
    Ok(entries.filter_map(|entry| seen_entry(&entry.ok()?)).collect())
}

fn seen_entry(entry: &DirEntry) -> Option<Seen> {
    let name = entry.file_name().to_string_lossy().into_owned();
    let lower = name.to_lowercase();
    if name.starts_with('.') || UNFINISHED.iter().any(|ending| lower.ends_with(ending)) {
        return None;
    }
    look_at(&entry.path(), &name)
}

/// A look at a file; `None` where it is none.
fn look_at(path: &Path, name: &str) -> Option<Seen> {
    let metadata = std::fs::metadata(path).ok().filter(Metadata::is_file)?;
    let changed = metadata.modified().map_or(0, nanoseconds);
    Some(Seen { name: name.to_owned(), size: metadata.len(), changed, id: id(&metadata) })
}

#[cfg(unix)]
fn id(metadata: &Metadata) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    Some((metadata.dev(), metadata.ino()))
}

#[cfg(not(unix))]
fn id(_: &Metadata) -> Option<(u64, u64)> {
    None
}

/// Nanoseconds since 1970, negative before.
fn nanoseconds(time: SystemTime) -> i128 {
    match time.duration_since(SystemTime::UNIX_EPOCH) {
        Ok(after) => i128::try_from(after.as_nanos()).unwrap_or(i128::MAX),
        Err(before) => -i128::try_from(before.duration().as_nanos()).unwrap_or(i128::MAX),
    }
}

/// Reads a file into memory, not by mapping it: it may be shortened at any moment.
fn contents(path: &Path, most_bytes: u64) -> std::io::Result<Vec<u8>> {
    #[allow(clippy::disallowed_methods)] // the one place where this crate opens a capture
    let file = File::open(path)?;
    let mut bytes = Vec::new();
    file.take(most_bytes.saturating_add(1)).read_to_end(&mut bytes)?;
    Ok(bytes)
}
