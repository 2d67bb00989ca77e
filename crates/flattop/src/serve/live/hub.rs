//! One session and its readers. What is kept for readers does not grow: the newest capture, some troubles, a short history.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use flattop_core::assessment::AdjustedAt;
use flattop_core::bench::Stage;
use flattop_instruments::clock::SharedClock;
use flattop_instruments::source::{Arrived, Cause, Problem};
use flattop_report::subject::OnBench;
use flattop_report::trim::{self, Logged};
use serde::Serialize;
use tokio::sync::watch;
use utoipa::ToSchema;

use super::super::drawing::{Drawing, Window};
use crate::practise::running::Practice;
use crate::trim::session::{Loggable, Place, Session};

/// Captures of the history.
const MOST_HISTORY: usize = 500;
/// Troubles that wait for readers.
const MOST_TROUBLES: usize = 16;

/// A session.
pub(in crate::serve) struct Live {
    id: String,
    facts: Facts,
    clock: SharedClock,
    begin: Duration,
    inside: Mutex<Inside>,
    /// Number of the newest event.
    news: watch::Sender<u64>,
    readers: AtomicUsize,
    is_over: AtomicBool,
}

/// What stays the same.
#[derive(Clone)]
pub(super) struct Facts {
    pub(super) title: String,
    pub(super) source: serde_json::Value,
    pub(super) takes_files: bool,
    pub(super) on_bench: Option<OnBench>,
    pub(super) tolerance: f64,
    pub(super) hold: usize,
    pub(super) adjusted_at: AdjustedAt,
    pub(super) read: flattop_captures::ReadOptions,
    /// The bench that is turned from the page.
    pub(super) practice: Option<Arc<Practice>>,
}

struct Inside {
    session: Session,
    /// Events so far.
    events: u64,
    /// The newest capture: number of its event, how many there have been, its data less the opening brace.
    capture: Option<(u64, u64, Arc<str>)>,
    captures: u64,
    left_out: u64,
    troubles: VecDeque<(u64, Arc<str>)>,
    last_cause: Option<Cause>,
    history: VecDeque<Past>,
    ended: Option<(u64, String)>,
    used: Duration,
}

/// A usable capture of before.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub(in crate::serve) struct Past {
    /// Its number.
    number: usize,
    /// When it was complete, s since the session began.
    time_s: f64,
    /// e of this capture alone.
    value: f64,
    standard_uncertainty: f64,
}

/// Which entries of the logbook can be made now.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub(in crate::serve) struct CanLog {
    before: bool,
    after: bool,
    check: bool,
}

impl CanLog {
    fn of(loggable: Loggable) -> Self {
        Self { before: loggable.before, after: loggable.after, check: loggable.check }
    }
}

/// What the page is told after a capture, besides the object of `docs/trim-json.md`.
#[derive(Serialize)]
struct Extras {
    can_log: CanLog,
    adjusted_at: &'static str,
    stored: Option<String>,
    drawing: Drawing,
}

/// An entry of the logbook.
#[derive(Debug, Serialize, ToSchema)]
pub(in crate::serve) struct Entered {
    stage: &'static str,
    entry: i64,
    digest: String,
}

/// A session as it stands.
#[derive(Debug, Serialize, ToSchema)]
pub(in crate::serve) struct Standing {
    id: String,
    /// What is trimmed, and where captures come from.
    title: String,
    /// As it was asked for.
    #[schema(value_type = Object)]
    source: serde_json::Value,
    pairing: Option<PairingShown>,
    tolerance: f64,
    /// Captures in a row that the verdict should be held for.
    hold: usize,
    /// `tip` or `base`.
    adjusted_at: &'static str,
    captures: u64,
    /// Captures that came too fast to be assessed.
    left_out: u64,
    /// Why it ended; null while it goes on.
    ended: Option<String>,
    can_log: CanLog,
    /// Usable captures, oldest first; left out of the list of sessions.
    #[serde(skip_serializing_if = "Option::is_none")]
    history: Option<Vec<Past>>,
    /// Data of the newest event `capture`; left out of the list of sessions.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    last: Option<serde_json::Value>,
}

/// A pairing of the bench.
#[derive(Debug, Serialize, ToSchema)]
struct PairingShown {
    probe: String,
    input: String,
    number: Option<i64>,
}

/// How much of a session is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Detail {
    Brief,
    Full,
}

/// An event for a reader.
#[derive(Debug)]
pub(super) struct Told {
    pub(super) number: u64,
    pub(super) kind: &'static str,
    pub(super) data: String,
}

/// How far a reader has come.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bookmark {
    pub(super) event: u64,
    captures: Option<u64>,
}

impl Bookmark {
    pub(super) fn after(event: u64) -> Self {
        Self { event, captures: None }
    }
}

impl Live {
    pub(super) fn new(id: String, facts: Facts, session: Session, clock: &SharedClock) -> Self {
        let now = clock.now();
        Self {
            id,
            facts,
            clock: clock.clone(),
            begin: now,
            inside: Mutex::new(Inside {
                session,
                events: 0,
                capture: None,
                captures: 0,
                left_out: 0,
                troubles: VecDeque::new(),
                last_cause: None,
                history: VecDeque::new(),
                ended: None,
                used: now,
            }),
            news: watch::Sender::new(0),
            readers: AtomicUsize::new(0),
            is_over: AtomicBool::new(false),
        }
    }

    pub(super) fn id(&self) -> &str {
        &self.id
    }

    pub(super) fn facts(&self) -> &Facts {
        &self.facts
    }

    pub(super) fn readers(&self) -> usize {
        self.readers.load(Ordering::Relaxed)
    }

    pub(super) fn is_over(&self) -> bool {
        self.is_over.load(Ordering::Relaxed)
    }

    fn lock(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn is_forgotten(&self, now: Duration, after: Duration) -> bool {
        self.readers() == 0 && now >= self.lock().used + after
    }

    /// Takes a capture, tells all readers, and gives what they are told.
    pub(super) fn take(&self, arrived: Arrived) -> Result<String, String> {
        let now = self.clock.now();
        let time_s = arrived.at.saturating_sub(self.begin).as_secs_f64();
        let mut inside = self.lock();
        inside.used = now;
        if let Some((_, why)) = &inside.ended {
            return Err(why.clone());
        }
        inside.left_out += arrived.left_out;
        // Nothing is logged by itself here, so nothing can fail.
        inside.session.take(arrived, time_s)?;
        inside.last_cause = None;
        let data = inside.data(self.facts.adjusted_at).ok_or("the capture was lost; please report this")?;
        inside.remember();
        inside.events += 1;
        inside.captures += 1;
        let (number, captures) = (inside.events, inside.captures);
        inside.capture = Some((number, captures, Arc::from(data.as_str())));
        drop(inside);
        self.news.send_replace(number);
        Ok(with_left_out(0, &data))
    }

    /// Tells all readers of a trouble; the same over and over once.
    pub(super) fn trouble(&self, problem: &Problem) {
        let mut inside = self.lock();
        if inside.last_cause.as_ref() == Some(&problem.cause) {
            return;
        }
        inside.last_cause = Some(problem.cause.clone());
        let words = crate::trim::words(problem);
        let (message, remedy) = words.split_once("; ").unwrap_or((&words, ""));
        let data = serde_json::json!({"message": message, "remedy": remedy, "times": problem.times});
        inside.events += 1;
        let number = inside.events;
        if inside.troubles.len() == MOST_TROUBLES {
            inside.troubles.pop_front();
        }
        inside.troubles.push_back((number, Arc::from(data.to_string())));
        drop(inside);
        self.news.send_replace(number);
    }

    /// Ends it.
    pub(super) fn end(&self, why: &str) {
        self.is_over.store(true, Ordering::Relaxed);
        let mut inside = self.lock();
        if inside.ended.is_none() {
            inside.events += 1;
            let number = inside.events;
            inside.ended = Some((number, why.to_owned()));
            drop(inside);
            self.news.send_replace(number);
        }
    }

    /// What is newer than a reader's bookmark: troubles, and of the captures the newest only.
    pub(super) fn since(&self, mark: &mut Bookmark) -> Vec<Told> {
        let mut inside = self.lock();
        inside.used = self.clock.now();
        let mut told: Vec<Told> = inside
            .troubles
            .iter()
            .filter(|(number, _)| *number > mark.event)
            .map(|(number, data)| Told { number: *number, kind: "trouble", data: data.to_string() })
            .collect();
        if let Some((number, captures, data)) =
            inside.capture.as_ref().filter(|(number, ..)| *number > mark.event)
        {
            let left_out = mark.captures.map_or(0, |before| captures.saturating_sub(before + 1));
            told.push(Told { number: *number, kind: "capture", data: with_left_out(left_out, data) });
            mark.captures = Some(*captures);
        }
        if let Some((number, why)) = inside.ended.as_ref().filter(|(number, _)| *number > mark.event) {
            let data = serde_json::json!({"reason": why}).to_string();
            told.push(Told { number: *number, kind: "ended", data });
        }
        told.sort_by_key(|told| told.number);
        mark.event = told.last().map_or(mark.event, |told| told.number);
        told
    }

    /// A reader begins.
    pub(super) fn listen(self: &Arc<Self>) -> (watch::Receiver<u64>, Reading) {
        self.readers.fetch_add(1, Ordering::Relaxed);
        (self.news.subscribe(), Reading(Arc::clone(self)))
    }

    pub(super) fn log(&self, stage: Stage, place: &Place) -> Result<Entered, String> {
        let mut inside = self.lock();
        inside.used = self.clock.now();
        let Logged { stage, entry, digest } = inside.session.log_now(stage, place)?;
        Ok(Entered { stage, entry, digest })
    }

    pub(super) fn window(&self, from_s: Option<f64>, to_s: Option<f64>, stretches: usize) -> Option<Window> {
        let mut inside = self.lock();
        inside.used = self.clock.now();
        inside.session.newest().map(|capture| Window::of(capture, from_s, to_s, stretches))
    }

    pub(super) fn standing(&self, detail: Detail) -> Standing {
        let inside = self.lock();
        let Facts { title, source, on_bench, tolerance, hold, adjusted_at, .. } = self.facts.clone();
        let is_full = detail == Detail::Full;
        let last = || {
            let (.., data) = inside.capture.as_ref()?;
            serde_json::from_str(&with_left_out(0, data)).ok()
        };
        Standing {
            id: self.id.clone(),
            title,
            source,
            pairing: on_bench.map(|place| PairingShown {
                probe: place.probe,
                input: place.input,
                number: place.pairing,
            }),
            tolerance,
            hold,
            adjusted_at: flattop_report::subject::adjusted_at_code(adjusted_at),
            captures: inside.captures,
            left_out: inside.left_out,
            ended: inside.ended.as_ref().map(|(_, why)| why.clone()),
            can_log: CanLog::of(inside.session.loggable()),
            history: is_full.then(|| inside.history.iter().copied().collect()),
            last: is_full.then(|| last().unwrap_or(serde_json::Value::Null)),
        }
    }
}

impl Inside {
    /// Data of an event `capture`, less the opening brace.
    fn data(&self, adjusted_at: AdjustedAt) -> Option<String> {
        let shown = self.session.shown()?;
        let running = shown.state.map(|state| &state.compensation);
        let extras = Extras {
            can_log: CanLog::of(self.session.loggable()),
            adjusted_at: flattop_report::subject::adjusted_at_code(adjusted_at),
            stored: None,
            drawing: Drawing::of(shown.assessment).with_error_of(running),
        };
        let line = trim::json(&shown);
        let line = line.trim().strip_prefix('{')?.strip_suffix('}')?.to_owned();
        let extras = serde_json::to_string(&extras).ok()?;
        Some(format!("{line},{}", extras.strip_prefix('{')?))
    }

    /// Adds the newest capture to the history.
    fn remember(&mut self) {
        let past = self.session.shown().and_then(|shown| {
            let error = shown.assessment.compensation.filter(|_| shown.is_used)?.error;
            let (value, standard_uncertainty) = (error.value, error.standard_uncertainty);
            Some(Past { number: shown.number, time_s: shown.time_s, value, standard_uncertainty })
        });
        let Some(past) = past.filter(|past| past.value.is_finite() && past.standard_uncertainty.is_finite())
        else {
            return;
        };
        if self.history.len() == MOST_HISTORY {
            self.history.pop_front();
        }
        self.history.push_back(past);
    }
}

fn with_left_out(left_out: u64, data: &str) -> String {
    format!("{{\"left_out\":{left_out},{data}")
}

/// A reader, for as long as it reads.
pub(super) struct Reading(Arc<Live>);

impl Drop for Reading {
    fn drop(&mut self) {
        self.0.readers.fetch_sub(1, Ordering::Relaxed);
    }
}
