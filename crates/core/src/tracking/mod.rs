//! The error of a pairing while somebody turns its trimmer: one running estimate over captures, which answers a change at
//! once and settles as noise allows.
//!
//! - Since the last change of e, captures are averaged, weighted by what scatters from one to the next. What repeats in all of
//!   them (a droop that cannot be excluded, what the model leaves out) is not reduced by averaging.
//! - A change is found by [`detect`]: while nothing moves false alarms are [`detect::FALSE_ALARM_EVERY`] captures apart, or more.
//! - Captures that scatter more than they state widen both.
//!
//! Whether a screwdriver turns cannot be seen: a reading that rests may be a trimmer at its end stop, or a hand at rest.

pub mod detect;
mod remarks;
mod scatter;
mod segment;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;

use crate::assessment::{AdjustedAt, Compensation, Estimate, Verdict};
use crate::divider::Divider;
use crate::finding::Finding;
use detect::Detector;
use scatter::Scatter;
use segment::{Segment, parts};

/// Captures kept for dating a change.
const KEPT: usize = 64;
/// Numbers of last captures that are compared with those before them.
const SPLITS: [usize; 5] = [4, 8, 16, 32, KEPT];
/// Captures after a change until the reading can be called settled, and until it is so whatever its noise.
const SETTLED: (usize, usize) = (3, 10);
/// Share of the tolerance that noise may be of a settled reading.
const SETTLED_NOISE: f64 = 0.2;
/// Captures without a change after which the trimmer counts as at rest.
pub const AT_REST: usize = 3;
/// Significant changes in a row that lead away, until it is said.
const AWAY: usize = 2;
/// Captures that rest outside the tolerance, until it is said.
pub const NOT_MOVING: usize = 6;
/// Figures of one group further apart than this, in standard deviations, are not one group.
const ONE_GROUP: f64 = 2.0;

/// What has to be known beside the captures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// The |e| that is still accepted.
    pub tolerance: f64,
    /// Where the trimmer is.
    pub adjusted_at: AdjustedAt,
}

/// What one capture said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When it was complete, s; never before the one before it.
    pub time_s: f64,
    /// e and τp.
    pub compensation: Compensation,
    /// [`Assessment::scatter`](crate::assessment::Assessment::scatter).
    pub scatter: Option<f64>,
}

/// How the reading stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// It has just changed: the newest captures count, those before do not.
    Moving,
    /// No change since; noise is being averaged out.
    Settling,
    /// More captures would hardly change it.
    Settled,
}

/// Which way the last change went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heading {
    /// Nothing has moved for [`AT_REST`] captures, or ever.
    AtRest,
    /// |e| became smaller, or e came inside the tolerance.
    Towards,
    /// |e| became larger, outside of the tolerance.
    Away,
    /// e went past nought and is outside the tolerance on the other side.
    Past,
}

/// How far the trimmer has come since the beginning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Travel {
    /// Change of e. What repeats in all captures cancels.
    pub error: Estimate,
    /// Change of the trimmer's capacitance, F.
    pub trimmer_f: Estimate,
}

/// A reading at which the trimmer rested.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Time of its first capture, s.
    pub time_s: f64,
    /// e.
    pub error: Estimate,
    /// How many captures.
    pub captures: usize,
}

/// What is known after a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Its time, s.
    pub time_s: f64,
    /// How many have been used since the beginning.
    pub captures: usize,
    /// How the reading stands.
    pub phase: Phase,
    /// The running estimate.
    pub compensation: Compensation,
    /// Standard deviation of e in it that more captures reduce.
    pub averaging: f64,
    /// The judgement on the running estimate.
    pub verdict: Verdict,
    /// How many captures in a row, this one included, it has been within the tolerance without a change between them.
    pub held: usize,
    /// How many captures since the last change, this one included.
    pub since_change: usize,
    /// The time they span, s.
    pub since_change_s: f64,
    /// Which way it goes.
    pub heading: Heading,
    /// How far the trimmer has come; `None` before it moved.
    pub travel: Option<Travel>,
    /// How many changes were found.
    pub changes: usize,
    /// How many times the stated scatter captures show; 1 where it explains what is seen.
    pub scatter_ratio: f64,
    /// Where reading and screwdriver disagree.
    pub findings: Vec<Finding>,
}

/// Follows the captures of one session.
#[derive(Clone, Debug)]
pub struct Track {
    settings: Settings,
    detector: Detector,
    scatter: Scatter,
    recent: VecDeque<Reading>,
    segment: Option<Segment>,
    start: Option<Start>,
    stops: Vec<Stop>,
    captures: usize,
    changes: usize,
    away: usize,
    heading: Heading,
    held: usize,
    /// e before the last change.
    before: f64,
    /// The capacitance that is not turned, F, as the captures tell it that tell it best: near the goal hardly any tail is left.
    fixed_f: Option<Estimate>,
}

/// Where the trimmer stood at the beginning.
#[derive(Clone, Copy, Debug)]
struct Start {
    error: f64,
    u_averaged: f64,
}

impl Track {
    /// Nothing has come yet.
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            detector: Detector::new(detect::LIMIT, detect::AT_ONCE),
            scatter: Scatter::new(),
            recent: VecDeque::new(),
            segment: None,
            start: None,
            stops: Vec::new(),
            captures: 0,
            changes: 0,
            away: 0,
            heading: Heading::AtRest,
            held: 0,
            before: 0.0,
            fixed_f: None,
        }
    }

    /// A capture that said nothing of e: the verdict is not held over it.
    pub fn miss(&mut self) {
        self.held = 0;
    }

    /// Where the trimmer rested before, oldest first; not where it is now.
    pub fn stops(&self) -> &[Stop] {
        &self.stops
    }

    /// Takes what a capture said.
    pub fn push(&mut self, reading: Reading) -> State {
        self.captures += 1;
        let e = reading.compensation.error.value;
        let (scatter, _) = parts(&reading);
        let ratio = self.scatter.ratio();
        self.scatter.push(e, scatter);
        self.recent.push_back(reading);
        if self.recent.len() > KEPT {
            self.recent.pop_front();
        }
        let (segment, is_change) = match self.segment.take() {
            None => (Segment::new(&reading), false),
            Some(mut old) => {
                let figure = (e - old.mean()) / old.u_against(scatter, ratio);
                let change = self.detector.push(figure).map(|change| change.figures_since);
                old.push(&reading);
                match change.or_else(|| self.split(&old, ratio)) {
                    None => (old, false),
                    Some(since) => (self.change(&old, since, ratio), true),
                }
            }
        };
        let state = self.state(&reading, &segment, is_change, ratio);
        self.segment = Some(segment);
        state
    }

    /// A change that the mean has followed before the sums could find it: the last captures are not one group with those
    /// before them. How many, where that is so.
    fn split(&self, segment: &Segment, ratio: f64) -> Option<usize> {
        SPLITS.into_iter().find(|since| {
            let first = self.recent.len().saturating_sub(*since);
            let last: Vec<Reading> = self.recent.iter().skip(first).copied().collect();
            let Some(before) = (last.len() == *since).then(|| segment.without(&last)).flatten() else {
                return false;
            };
            before.figure(&whole(&last), ratio).abs() > detect::APART
        })
    }

    /// Closes the captures before a change, and begins anew with those after it.
    fn change(&mut self, segment: &Segment, since: usize, ratio: f64) -> Segment {
        let since = since.clamp(1, self.recent.len());
        let after: Vec<Reading> = self.recent.iter().skip(self.recent.len() - since).copied().collect();
        self.detector = Detector::new(detect::LIMIT, detect::AT_ONCE);
        self.changes += 1;
        if let Some(old) = segment.without(&after) {
            self.before = old.mean();
            self.start.get_or_insert(Start { error: old.mean(), u_averaged: old.u_averaged(ratio) });
            if old.count >= AT_REST {
                let error = old.compensation(ratio).error;
                self.stops.push(Stop { time_s: old.since_s, error, captures: old.count });
            }
        }
        group(&after, ratio)
    }

    fn state(&mut self, reading: &Reading, segment: &Segment, is_change: bool, ratio: f64) -> State {
        let compensation = segment.compensation(ratio);
        self.learn_fixed(&compensation);
        let tolerance = self.settings.tolerance;
        let verdict = compensation.verdict(tolerance);
        let averaging = segment.u_averaged(ratio);
        if is_change {
            self.turn(compensation.error.value);
        } else if segment.count >= AT_REST {
            self.heading = Heading::AtRest;
        }
        let is_within = verdict == Verdict::WithinTolerance;
        self.held = match (is_within, is_change) {
            (false, _) => 0,
            (true, true) => 1,
            (true, false) => self.held + 1,
        };
        let is_quiet = averaging <= (SETTLED_NOISE * tolerance).max(segment.u_repeating());
        let phase = match segment.count {
            _ if is_change => Phase::Moving,
            n if n >= SETTLED.1 || (n >= SETTLED.0 && is_quiet) => Phase::Settled,
            _ => Phase::Settling,
        };
        let mut state = State {
            time_s: reading.time_s,
            captures: self.captures,
            phase,
            compensation,
            averaging,
            verdict,
            held: self.held,
            since_change: segment.count,
            since_change_s: reading.time_s - segment.since_s,
            heading: self.heading,
            travel: self.travel(&compensation, averaging),
            changes: self.changes,
            scatter_ratio: ratio,
            findings: Vec::new(),
        };
        state.findings = remarks::of(&state, self.away);
        state
    }

    /// Which way a change to `e` went.
    fn turn(&mut self, e: f64) {
        let (before, tolerance) = (self.before, self.settings.tolerance);
        self.heading = if e.abs() <= tolerance {
            Heading::Towards
        } else if before * e < 0.0 && before.abs() > tolerance {
            Heading::Past
        } else if e.abs() > before.abs() {
            Heading::Away
        } else {
            Heading::Towards
        };
        self.away = if self.heading == Heading::Away { self.away + 1 } else { 0 };
    }

    /// From the change of e alone, and the capacitance that is not turned.
    fn travel(&self, now: &Compensation, averaging: f64) -> Option<Travel> {
        let (start, fixed) = (self.start?, self.fixed_f?);
        let change = now.error.value - start.error;
        let u = averaging.hypot(start.u_averaged);
        let of = |e: f64| trimmer_f(&now.divider, self.settings.adjusted_at, fixed.value, e);
        let change_f = of(now.error.value) - of(start.error);
        let slope = (of(now.error.value + 1e-6) - of(now.error.value - 1e-6)) / 2e-6;
        let u_f = (slope * u).hypot(fixed.standard_uncertainty / fixed.value * change_f);
        Some(Travel {
            error: Estimate { value: change, standard_uncertainty: u },
            trimmer_f: Estimate { value: change_f, standard_uncertainty: u_f },
        })
    }

    /// Keeps the capacitance that is not turned where this estimate tells it better.
    fn learn_fixed(&mut self, now: &Compensation) {
        let found = match self.settings.adjusted_at {
            AdjustedAt::Tip => now.shunt_capacitance_f(),
            AdjustedAt::Base => now.tip_capacitance_f(),
        };
        let relative = |c: Estimate| c.standard_uncertainty / c.value;
        if found.value > 0.0 && self.fixed_f.is_none_or(|known| relative(found) < relative(known)) {
            self.fixed_f = Some(found);
        }
    }
}

/// Captures as one group.
fn whole(readings: &[Reading]) -> Segment {
    let mut segment = Segment::new(&readings[0]);
    readings[1..].iter().for_each(|reading| segment.push(reading));
    segment
}

/// Captures after a change as one group; where the newest is not one with the others, the trimmer still turns, and it alone
/// counts.
fn group(after: &[Reading], ratio: f64) -> Segment {
    let newest = after[after.len() - 1];
    let mut segment = Segment::new(&after[0]);
    for reading in &after[1..] {
        let (scatter, _) = parts(reading);
        let figure = (reading.compensation.error.value - segment.mean()) / segment.u_against(scatter, ratio);
        if figure.abs() > ONE_GROUP {
            return Segment::new(&newest);
        }
        segment.push(reading);
    }
    segment
}

/// Capacitance of the trimmer that makes e of `error` beside the other capacitance, F. From (1+e)·g0 = C1/(C1+C2).
fn trimmer_f(divider: &Divider, at: AdjustedAt, fixed_f: f64, error: f64) -> f64 {
    let Divider { tip_resistance_ohm: r1, shunt_resistance_ohm: r2 } = *divider;
    let share = (1.0 + error) * r2 / (r1 + r2);
    match at {
        AdjustedAt::Tip => fixed_f * share / (1.0 - share),
        AdjustedAt::Base => fixed_f * (1.0 - share) / share,
    }
}
