//! One session: captures go in, what is shown and logged comes out.

use flattop_captures::{Capture, ReadOptions};
use flattop_core::assessment::Verdict;
use flattop_core::bench::Stage;
use flattop_core::finding::{Finding, Severity};
use flattop_core::source_wave::{self, Advice};
use flattop_core::tracking::{AT_REST, Phase, Reading, Settings as TrackSettings, State, Track};
use flattop_instruments::source::Arrived;
use flattop_report::subject::{Assumptions, OnBench, Subject};
use flattop_report::trim::{Logged, Shown};

use crate::assess::{self, Circuit};
use crate::logged::{self, Settings};
use crate::status::Ending;
use crate::workbench::{BenchFile, Doing};

/// e of this many captures is remembered.
const MOST_HISTORY: usize = 4096;

/// What is asked of a session.
#[derive(Clone, Debug)]
pub(crate) struct Wish {
    pub(crate) circuit: Circuit,
    /// Captures in a row that must be within the tolerance; 0 for no end.
    pub(crate) hold: usize,
    /// End after so many captures.
    pub(crate) captures: Option<u64>,
    pub(crate) logging: Logging,
}

/// What becomes of the best captures.
#[derive(Clone, Debug)]
pub(crate) enum Logging {
    /// Nothing.
    Never,
    /// Before the first turn and after the last one they go into the logbook by themselves.
    ByItself(Place),
    /// They are kept, and go into the logbook when somebody says so.
    OnDemand,
}

/// Where an entry goes, and what stands with it.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    pub(crate) bench: BenchFile,
    pub(crate) doing: Doing,
    pub(crate) temperature_c: Option<f64>,
}

/// Which entries can be made now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Loggable {
    pub(crate) before: bool,
    pub(crate) after: bool,
    pub(crate) check: bool,
}

/// A capture that may be logged.
struct Kept {
    subject: Subject,
    bytes: Vec<u8>,
    options: ReadOptions,
    scatter: f64,
}

/// What a session knows.
pub(crate) struct Session {
    wish: Wish,
    pub(crate) title: String,
    assumptions: Assumptions,
    pub(crate) tolerance: f64,
    on_bench: Option<OnBench>,
    /// Remarks on the pairing.
    standing: Vec<Finding>,
    track: Track,
    state: Option<State>,
    history: Vec<f64>,
    number: usize,
    used: usize,
    advice: Option<Advice>,
    frequency_hz: Option<f64>,
    /// The best capture before the first change, then since the last one.
    best: Option<Kept>,
    /// The best one before the first change, where it waits for somebody to say that it shall be logged.
    before: Option<Kept>,
    has_turned: bool,
    newest: Option<Capture>,
    last: Last,
}

/// What the last capture left to show.
#[derive(Default)]
struct Last {
    capture: String,
    time_s: f64,
    assessment: Option<flattop_core::assessment::Assessment>,
    is_used: bool,
    findings: Vec<Finding>,
    logged: Vec<Logged>,
}

impl Session {
    pub(crate) fn new(wish: Wish, title: String, known: &assess::Known) -> Self {
        let (assumptions, tolerance) = wish.circuit.assumed(known);
        Self {
            wish,
            title,
            assumptions,
            tolerance,
            on_bench: known.on_bench.clone(),
            standing: known.findings.clone(),
            track: Track::new(TrackSettings { tolerance, adjusted_at: assumptions.adjusted_at }),
            state: None,
            history: Vec::new(),
            number: 0,
            used: 0,
            advice: None,
            frequency_hz: None,
            best: None,
            before: None,
            has_turned: false,
            newest: None,
            last: Last::default(),
        }
    }

    /// Takes a capture. Logs what has to be logged at it; an error is that the logbook could not be written.
    pub(crate) fn take(&mut self, arrived: Arrived, time_s: f64) -> Result<(), String> {
        self.number += 1;
        let Arrived { capture, bytes, options, name, findings, .. } = arrived;
        let mut subject = assess::square(name.clone(), &capture, &self.assumptions, self.tolerance);
        assess::remark_on_divider(&mut subject);
        subject.assessment.findings.splice(0..0, findings);
        subject.on_bench = self.on_bench.clone();
        let compensation = subject.assessment.compensation.filter(|_| subject.can_be_acted_on());
        let mut logged = Vec::new();
        let mut trouble = Ok(());
        let mut tracking = Vec::new();
        match compensation {
            Some(compensation) => {
                let reading = Reading { time_s, compensation, scatter: subject.assessment.scatter };
                let changes = self.state.as_ref().map_or(0, |state| state.changes);
                let state = self.track.push(reading);
                if self.history.len() == MOST_HISTORY {
                    self.history.drain(..MOST_HISTORY / 2);
                }
                self.history.push(compensation.error.value);
                self.used += 1;
                if state.changes > changes {
                    if !self.has_turned {
                        match self.wish.logging.clone() {
                            Logging::ByItself(place) => {
                                let entry = self.log(Stage::BeforeAdjustment, &place);
                                trouble = entry.map(|entry| logged.extend(entry));
                            }
                            Logging::OnDemand => self.before = self.best.take(),
                            Logging::Never => {}
                        }
                    }
                    self.has_turned = true;
                    self.best = None;
                }
                tracking.clone_from(&state.findings);
                self.state = Some(state);
                let scatter = subject.assessment.scatter.unwrap_or(compensation.error.standard_uncertainty);
                self.advise(&subject);
                // Of equally good ones the newest.
                let keeps = !matches!(self.wish.logging, Logging::Never);
                if keeps && self.best.as_ref().is_none_or(|best| scatter <= 1.2 * best.scatter) {
                    self.best = Some(Kept { subject: subject.clone(), bytes, options, scatter });
                }
            }
            None => self.track.miss(),
        }
        self.newest = Some(capture);
        let mut all = tracking;
        all.extend(self.advice.iter().flat_map(|advice| advice.findings.iter().cloned()));
        all.extend(self.standing.iter().cloned());
        // That a single capture is too close to call is the average's business.
        let own = subject.assessment.findings.iter().filter(|f| f.code != "too-close-to-call");
        all.extend(own.cloned());
        self.last = Last {
            capture: name,
            time_s,
            is_used: compensation.is_some(),
            assessment: Some(subject.assessment),
            findings: all,
            logged,
        };
        trouble
    }

    /// What to do about the source, anew when it is another one.
    fn advise(&mut self, subject: &Subject) {
        let (Some(state), Some(record)) = (&self.state, &subject.record) else { return };
        let wave = subject.assessment.square_wave;
        let frequency_hz = wave.and_then(|wave| wave.frequency_hz).map(|f| f.value);
        let is_same = match (self.frequency_hz, frequency_hz) {
            (Some(before), Some(now)) => (now / before - 1.0).abs() < 0.01,
            (before, now) => before.is_none() && now.is_none(),
        };
        if is_same && self.advice.is_some() && self.used > 3 {
            return;
        }
        self.frequency_hz = frequency_hz;
        self.advice = Some(source_wave::advise(&source_wave::Setup {
            time_constant_s: state.compensation.time_constant_s.value,
            frequency_hz,
            interval_s: record.interval_s,
            points: record.points,
            transition_s: wave.and_then(|wave| wave.transition_s),
        }));
    }

    /// Whether the verdict has been held long enough.
    pub(super) fn is_held(&self) -> bool {
        self.wish.hold > 0
            && self.last.is_used
            && self.state.as_ref().is_some_and(|state| state.held >= self.wish.hold)
    }

    /// Whether all captures that were asked for have come.
    pub(super) fn is_full(&self) -> bool {
        self.wish.captures.is_some_and(|most| self.number as u64 >= most)
    }

    /// Logs the end: what the trimmer was turned to, or the check where it never was. `Err` says why nothing was logged.
    pub(super) fn close(&mut self) -> Result<(), String> {
        let Logging::ByItself(place) = self.wish.logging.clone() else { return Ok(()) };
        let stage = if self.has_turned { Stage::AfterAdjustment } else { Stage::Check };
        self.rests()?;
        let entry = self.log(stage, &place)?;
        self.last.logged.extend(entry);
        Ok(())
    }

    /// Whether there is a reading that rests.
    fn rests(&self) -> Result<(), String> {
        let Some(state) = &self.state else { return Err("no capture could be used".into()) };
        if state.phase == Phase::Moving || state.since_change < AT_REST {
            return Err(format!(
                "the trimmer moved within the last {AT_REST} captures, so that nothing rests that could be logged as 'after'; capture again"
            ));
        }
        Ok(())
    }

    /// Which entries [`Session::log_now`] can make.
    pub(crate) fn loggable(&self) -> Loggable {
        let rests = self.best.is_some() && self.rests().is_ok() && self.is_paired();
        Loggable {
            before: self.before.is_some() && self.is_paired(),
            after: rests && self.has_turned,
            check: rests && !self.has_turned,
        }
    }

    fn is_paired(&self) -> bool {
        self.on_bench.as_ref().is_some_and(|place| place.pairing.is_some())
    }

    /// Logs what was kept for a stage, once.
    pub(crate) fn log_now(&mut self, stage: Stage, place: &Place) -> Result<Logged, String> {
        let nothing = |why: &str| Err(format!("there is nothing to log: {why}"));
        match (stage, self.has_turned) {
            (Stage::BeforeAdjustment, false) => {
                return nothing("the trimmer has not been turned; log a check in place of it");
            }
            (Stage::AfterAdjustment, false) => {
                return nothing("the trimmer has not been turned; log a check in place of it");
            }
            (Stage::Check, true) => return nothing("the trimmer has been turned; log before and after"),
            (Stage::BeforeAdjustment, true) => {
                std::mem::swap(&mut self.best, &mut self.before);
                let entry = self.log(stage, place);
                std::mem::swap(&mut self.best, &mut self.before);
                return match entry? {
                    Some(entry) => Ok(entry),
                    None => nothing(
                        "the state before is in the logbook already, or no capture of it could be used",
                    ),
                };
            }
            (Stage::AfterAdjustment, true) | (Stage::Check, false) => self.rests()?,
        }
        match self.log(stage, place)? {
            Some(entry) => Ok(entry),
            None => nothing("this state is in the logbook already; capture again"),
        }
    }

    fn log(&mut self, stage: Stage, place: &Place) -> Result<Option<Logged>, String> {
        let Some(kept) = &mut self.best else { return Ok(None) };
        let act = place.doing.act()?;
        let mut register = place.bench.change()?;
        let file = Some(kept.subject.file.clone());
        let settings = Settings::of_capture(file, &kept.options, &self.assumptions, self.tolerance);
        let record = logged::record_of(&kept.subject, &settings, stage, place.temperature_c);
        let head = logged::log_bytes(&mut register, &mut kept.subject, &record, &[&kept.bytes], &act)?;
        // Only what is in the logbook is done with.
        self.best = None;
        let stage = match stage {
            Stage::BeforeAdjustment => "before",
            Stage::AfterAdjustment => "after",
            Stage::Check => "check",
        };
        Ok(Some(Logged { stage, entry: head.seq, digest: head.digest.to_string() }))
    }

    /// The newest capture.
    pub(crate) fn newest(&self) -> Option<&Capture> {
        self.newest.as_ref()
    }

    /// What there is to show after the last capture; `None` before the first.
    pub(crate) fn shown(&self) -> Option<Shown<'_>> {
        Some(Shown {
            title: &self.title,
            capture: &self.last.capture,
            number: self.number,
            time_s: self.last.time_s,
            assessment: self.last.assessment.as_ref()?,
            state: self.state.as_ref(),
            is_used: self.last.is_used,
            stops: self.track.stops(),
            history: &self.history,
            hold: self.wish.hold,
            tolerance: self.tolerance,
            adjusted_at: self.assumptions.adjusted_at,
            frequency_hz: self.frequency_hz,
            advice: self.advice.as_ref(),
            findings: &self.last.findings,
            logged: &self.last.logged,
        })
    }

    /// The running estimate.
    pub(super) fn state(&self) -> Option<&State> {
        self.state.as_ref()
    }

    /// How the session ended.
    pub(super) fn ending(&self) -> Ending {
        match self.state.as_ref().filter(|_| self.last.is_used).map(|state| state.verdict) {
            Some(Verdict::WithinTolerance) => Ending::Good,
            Some(Verdict::Undercompensated | Verdict::Overcompensated) => Ending::Outside,
            Some(Verdict::Undetermined) | None => Ending::Undetermined,
        }
    }

    /// The reason why captures cannot be used, where the last one could not.
    pub(super) fn fault(&self) -> Option<&Finding> {
        self.last.findings.iter().find(|finding| finding.severity == Severity::Fault)
    }
}
