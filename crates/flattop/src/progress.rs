//! A progress bar on standard error, for long reads and for people only.

use std::io::IsTerminal;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use flattop_captures::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Reads shorter than this show nothing.
const PATIENCE: Duration = Duration::from_millis(300);

/// Adds up how far the reading of several files has come.
pub(crate) struct Meter {
    /// `None` where nobody is watching.
    state: Option<Mutex<State>>,
}

struct State {
    started: Instant,
    files: Vec<Progress>,
    bar: Option<ProgressBar>,
}

impl Meter {
    /// A meter over `files` files; it stays dark when standard error is not a terminal.
    pub(crate) fn new(files: usize) -> Self {
        let state = std::io::stderr().is_terminal().then(|| {
            Mutex::new(State {
                started: now(),
                files: vec![Progress { done_bytes: 0, total_bytes: 0 }; files],
                bar: None,
            })
        });
        Self { state }
    }

    /// Takes note of how far file number `index` has come.
    pub(crate) fn report(&self, index: usize, progress: Progress) {
        let Some(state) = &self.state else { return };
        // A thread that panicked while holding the lock leaves numbers that are still good enough for a bar.
        let mut state = state.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(file) = state.files.get_mut(index) {
            *file = progress;
        }
        if state.started.elapsed() < PATIENCE {
            return;
        }
        let done: u64 = state.files.iter().map(|file| file.done_bytes).sum();
        let total: u64 = state.files.iter().map(|file| file.total_bytes).sum();
        let bar = state.bar.get_or_insert_with(bar);
        bar.set_length(total);
        bar.set_position(done);
    }

    /// Takes the bar off the screen.
    pub(crate) fn finish(&self) {
        let Some(state) = &self.state else { return };
        let state = state.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some(bar) = &state.bar {
            bar.finish_and_clear();
        }
    }
}

#[allow(clippy::disallowed_methods)] // the program may look at the clock, and only for the eye
fn now() -> Instant {
    Instant::now()
}

fn bar() -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
    // The template is a constant; if it were wrong the default style would stay.
    if let Ok(style) = ProgressStyle::with_template("reading  {bar:32}  {bytes} of {total_bytes}") {
        bar.set_style(style.progress_chars("=- "));
    }
    bar
}
