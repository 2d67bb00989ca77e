//! A chain's answer to a signal, at any time.

use super::TransientError;
use super::excitation::{Excitation, Form, Lines};
use super::findings;
use super::grid::{Grid, TELL};
use super::kernel::Kernel;
use super::table::Workspace;
use crate::chain::Transfer;
use crate::finding::Finding;
use crate::signal::Signal;
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::sync::Arc;

/// What arrives on the screen over time, V: single shots from rest, periodic signals in their settled state.
#[derive(Clone, Debug)]
pub struct Motion {
    kernel: Arc<Kernel>,
    excitation: Excitation,
    course: Course,
    /// Duration of the fastest ramp that the grid is good for, s.
    fastest_ramp: f64,
    scale: f64,
    findings: Vec<Finding>,
}

/// How the response is put together.
#[derive(Clone, Debug)]
enum Course {
    /// Phasor of a sine: offset, complex amplitude, frequency.
    Sine(f64, Complex64, f64),
    /// Offset, and weights of the tabulated response from given times on.
    Events(f64, Vec<(f64, f64)>),
    /// Straight lines.
    Lines(Marks),
    /// Straight lines of a period, with the table of a period; offset.
    Periods(f64),
}

/// Breaks with the state of the slow poles at each.
#[derive(Clone, Debug)]
struct Marks {
    base: f64,
    marks: Vec<Mark>,
    /// For each mark one state per slow pole: ∫exp(p(t − τ))·x'(τ)dτ up to it.
    states: Vec<f64>,
    /// Start and length of the period that any time is brought into.
    period: Option<(f64, f64)>,
}

#[derive(Clone, Copy, Debug)]
struct Mark {
    time: f64,
    jump: f64,
    bend: f64,
    level: f64,
    slope: f64,
}

impl Motion {
    /// The answer of a chain, on a grid chosen for this chain or a similar one; `samples` are H at
    /// [`Grid::frequencies`] (`None`: they are taken here).
    ///
    /// # Errors
    /// [`TransientError`] for a signal that is none or of another kind than that of the grid, for a wrong number of samples, and
    /// for a response that is not finite.
    pub fn new(
        transfer: &(impl Transfer + ?Sized),
        signal: &Signal,
        grid: &Grid,
        samples: Option<&[Complex64]>,
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        let own: Vec<Complex64>;
        let samples = if let Some(samples) = samples {
            samples
        } else {
            own = grid.frequencies.iter().map(|s| transfer.at(*s)).collect();
            &own
        };
        let excitation = Excitation::new(signal)?;
        if !grid.suits(&excitation) {
            return Err(TransientError::OtherSignal);
        }
        let kernel = Kernel::new(transfer, grid, samples, workspace)?;
        let mut findings = grid.findings.clone();
        findings.extend(kernel.findings(grid.scale));
        let fastest_ramp = excitation.shortest_ramp();
        let cut = grid.cut(samples, kernel.slow.direct, fastest_ramp);
        if cut > TELL
            && !findings.iter().any(|f| matches!(f.code, "response-bandwidth-cut" | "step-not-limited"))
        {
            findings.push(findings::bandwidth_cut(grid.frequencies[samples.len() - 1].im / TAU, cut));
        }
        let course = Course::new(&kernel, &excitation);
        Ok(Self { kernel: Arc::new(kernel), excitation, course, fastest_ramp, scale: grid.scale, findings })
    }

    /// The same chain's answer to another signal of straight lines, from the same table: an edge of another duration, say.
    ///
    /// Edges faster than that of the signal for which the grid was chosen lose accuracy, which is a finding.
    ///
    /// # Errors
    /// [`TransientError`] for a signal that is none, and for one that needs another table (another kind, another period).
    pub fn for_signal(&self, signal: &Signal) -> Result<Self, TransientError> {
        let excitation = Excitation::new(signal)?;
        let suits = match (&self.course, &excitation.form) {
            (Course::Lines(_), Form::Lines(_)) => true,
            (Course::Periods(_), Form::Lines(lines)) => lines.period == self.kernel.period,
            _ => false,
        };
        if !suits {
            return Err(TransientError::OtherSignal);
        }
        let course = Course::new(&self.kernel, &excitation);
        let mut findings = self.findings.clone();
        let ramp = excitation.shortest_ramp();
        findings.retain(|f| f.code != "edge-faster-than-grid");
        if ramp < 0.99 * self.fastest_ramp {
            findings.push(findings::edge_too_fast(3e-6 * (self.fastest_ramp / ramp.max(1e-15))));
        }
        Ok(Self {
            kernel: Arc::clone(&self.kernel),
            excitation,
            course,
            fastest_ramp: self.fastest_ramp,
            scale: self.scale,
            findings,
        })
    }

    /// The answer at a time (s), V.
    pub fn value(&self, time_s: f64) -> f64 {
        let kernel = &*self.kernel;
        let direct = kernel.slow.direct;
        let rest = match &self.course {
            Course::Sine(offset, phasor, frequency) => {
                let turns = frequency * time_s;
                return offset + (phasor * Complex64::cis(TAU * (turns - turns.round()))).im;
            }
            Course::Events(offset, events) => {
                offset + events.iter().map(|(at, weight)| weight * kernel.whole(time_s - at)).sum::<f64>()
            }
            Course::Lines(marks) => marks.value(kernel, time_s),
            Course::Periods(offset) => {
                let Form::Lines(Lines { breaks, .. }) = &self.excitation.form else { return f64::NAN };
                let period = kernel.period.unwrap_or(f64::NAN);
                let mut sum = *offset;
                for b in breaks {
                    let u = (time_s - b.time).rem_euclid(period);
                    if b.bend != 0.0 {
                        sum += b.bend * kernel.at(u, 0);
                    }
                    if b.jump != 0.0 {
                        sum += b.jump * kernel.at(u, 1);
                    }
                }
                sum
            }
        };
        if direct == 0.0 { rest } else { rest + direct * self.excitation.value(time_s) }
    }

    /// The answer at many times (s), V.
    pub fn values(&self, times_s: &[f64]) -> Vec<f64> {
        times_s.iter().map(|t| self.value(*t)).collect()
    }

    /// The signal that is answered.
    pub fn excitation(&self) -> &Excitation {
        &self.excitation
    }

    /// What limits the trust in these values: every bound that was reached.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }
}

impl Course {
    fn new(kernel: &Kernel, excitation: &Excitation) -> Self {
        let gain = kernel.slow.gain;
        match &excitation.form {
            Form::Sine { mean, amplitude, frequency } => {
                Self::Sine(gain * mean, amplitude * kernel.single, *frequency)
            }
            Form::Exponential { low, swing, width, .. } => {
                let mut events = vec![(0.0, *swing)];
                events.extend(width.map(|w| (w, -swing)));
                Self::Events(gain * low, events)
            }
            Form::Burst { mean, amplitude, end, .. } => {
                Self::Events(gain * mean, vec![(0.0, *amplitude), (*end, -amplitude)])
            }
            Form::Lines(lines) if kernel.period.is_some() => Self::Periods(gain * lines.mean),
            Form::Lines(lines) => Self::Lines(Marks::new(kernel, lines)),
        }
    }
}

impl Marks {
    fn new(kernel: &Kernel, lines: &Lines) -> Self {
        let poles = &kernel.slow.poles;
        let mut marks = Vec::new();
        let mut push = |shift: f64| {
            marks.extend(lines.breaks.iter().map(|b| Mark {
                time: b.time + shift,
                jump: b.jump,
                bend: b.bend,
                level: b.level,
                slope: b.slope,
            }));
        };
        let first = lines.breaks[0].time;
        let mut period = None;
        if let Some(length) = lines.period {
            // Enough periods before and after the one in question for all that is young, or leads.
            let back = (kernel.end() / length).ceil() as i64 + 1;
            let ahead = (-kernel.start() / length).ceil().max(0.0) as i64;
            for k in -back..=ahead {
                push(k as f64 * length);
            }
            period = Some((first, length));
        } else {
            push(0.0);
        }
        // From rest, or from the settled state at the start of a period: what one period adds, over what it takes away.
        let mut state = vec![0.0; poles.len()];
        if let Some(length) = lines.period {
            let end = marks[0].time + length;
            let count = lines.breaks.len();
            let mut previous: Option<Mark> = None;
            for mark in marks[..count].iter().copied().chain([Mark { time: end, jump: 0.0, ..marks[0] }]) {
                for (pole, v) in poles.iter().zip(&mut state) {
                    if let Some(p) = previous {
                        *v = advance(pole.at, *v, p.slope, mark.time - p.time);
                    }
                    *v += mark.jump;
                }
                previous = Some(mark);
            }
            // The state just before the first break, and then after its jump.
            for (pole, v) in poles.iter().zip(&mut state) {
                *v /= -(pole.at * length).exp_m1();
            }
        }
        let mut states = Vec::with_capacity(marks.len() * poles.len());
        let mut previous: Option<Mark> = None;
        for mark in &marks {
            for (pole, v) in poles.iter().zip(&mut state) {
                if let Some(p) = previous {
                    *v = advance(pole.at, *v, p.slope, mark.time - p.time);
                }
                *v += mark.jump;
                states.push(*v);
            }
            previous = Some(*mark);
        }
        Self { base: lines.base, marks, states, period }
    }

    fn value(&self, kernel: &Kernel, time: f64) -> f64 {
        let time = self.period.map_or(time, |(start, length)| start + (time - start).rem_euclid(length));
        let slow = &kernel.slow;
        let (oldest, newest) = (time - kernel.end(), time - kernel.start());
        let old = self.marks.partition_point(|m| m.time < oldest);
        // What happened long ago goes on in closed form …
        let mut sum = match old.checked_sub(1) {
            None => slow.gain * self.base,
            Some(k) => {
                let mark = self.marks[k];
                let since = time - mark.time;
                let states = &self.states[k * slow.poles.len()..];
                let decays: f64 = slow
                    .poles
                    .iter()
                    .zip(states)
                    .map(|(p, v)| p.residue / p.at * advance(p.at, *v, mark.slope, since))
                    .sum();
                slow.gain * (mark.level + mark.slope * since) + slow.rest_slope * mark.slope + decays
            }
        };
        // … and what is young is looked up.
        for mark in &self.marks[old..] {
            if mark.time > newest {
                break;
            }
            if mark.bend != 0.0 {
                sum += mark.bend * kernel.at(time - mark.time, 0);
            }
            if mark.jump != 0.0 {
                sum += mark.jump * kernel.at(time - mark.time, 1);
            }
        }
        sum
    }
}

/// ∫exp(p(t − τ))x'dτ, `span` later, while x has this slope.
fn advance(pole: f64, state: f64, slope: f64, span: f64) -> f64 {
    let grown = (pole * span).exp_m1();
    state + grown * (state + slope / pole)
}
