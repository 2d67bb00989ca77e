//! A session of trimming as it goes on: one line of JSON for each capture, one line of words, or a panel in a terminal.

mod digits;
mod json;
mod panel;
#[cfg(test)]
mod tests;
mod text;

use flattop_core::assessment::{AdjustedAt, Assessment, Verdict};
use flattop_core::finding::Finding;
use flattop_core::source_wave::Advice;
use flattop_core::tracking::{State, Stop};

pub use json::{Line, line as json};
pub use panel::{HEIGHT, Letters, panel};
pub use text::{CAUTIONS, COLUMNS, finding_lines, headline, line};

/// What a capture left in the logbook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Logged {
    /// `before`, `after` or `check`.
    pub stage: &'static str,
    /// Number of the entry.
    pub entry: i64,
    /// Its digest.
    pub digest: String,
}

/// Everything there is to show after a capture.
#[derive(Clone, Copy, Debug)]
pub struct Shown<'a> {
    /// What is trimmed, in words: the pairing, or the source.
    pub title: &'a str,
    /// Name of the capture.
    pub capture: &'a str,
    /// Its number in this session, from 1; unusable ones count.
    pub number: usize,
    /// When it was complete, s since the session began.
    pub time_s: f64,
    /// The capture by itself.
    pub assessment: &'a Assessment,
    /// The running estimate, this capture included; where it was of no use, as it was before; `None` before the first.
    pub state: Option<&'a State>,
    /// Whether this capture is in it.
    pub is_used: bool,
    /// Where the trimmer rested before.
    pub stops: &'a [Stop],
    /// e of each usable capture so far, oldest first.
    pub history: &'a [f64],
    /// How many captures in a row the verdict has to be held for; nil for no end.
    pub hold: usize,
    /// The |e| that is still accepted.
    pub tolerance: f64,
    /// Where the trimmer is.
    pub adjusted_at: AdjustedAt,
    /// The square wave, as seen last.
    pub frequency_hz: Option<f64>,
    /// What suits.
    pub advice: Option<&'a Advice>,
    /// Remarks: of the tracking, on the source, on the pairing, on the capture.
    pub findings: &'a [Finding],
    /// Entries of the logbook made at this capture.
    pub logged: &'a [Logged],
}

/// How often a bell rings for an error, s between two strokes: the larger the error, the faster, and never within the tolerance.
pub fn bell_interval_s(state: &State, tolerance: f64) -> Option<f64> {
    if state.verdict == Verdict::WithinTolerance {
        return None;
    }
    // From a stroke every 0.4 s, 25 tolerances off and beyond, to one every 2 s at the limit.
    let times = state.compensation.error.value.abs() / tolerance;
    Some((2.0 / times.max(1.0).sqrt()).clamp(0.4, 2.0))
}
