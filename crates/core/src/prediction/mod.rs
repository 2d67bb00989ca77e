//! What a chain would show of a signal, against what is there with no probe; with each cause's share.
//!
//! *True* is the voltage of the node with no probe on it: the source's EMF through the node's own resistance and capacitance.
//! *Shown* is what the screen shows: the input's voltage times N, behind the input's response.
//!
//! A share of an error is the error less the error with that cause taken out ([`crate::chain::Cause`]). Causes act upon each other, so the shares
//! need not add up to the whole; what is left is stated as the remainder.

mod body;
mod doubt;
mod limits;
mod parameter;
mod readings;
mod remarks;
mod shares;
mod summary;
mod window;

pub use doubt::{Contribution, Doubt, Doubts};
pub use limits::{Limits, SLOWEST_EDGE_S};
pub use parameter::Parameter;
pub use readings::{Measure, SETTLING_BAND, duration_error};
pub use shares::{MeasuredError, Share};
pub use summary::Summary;
pub use window::Window;

use crate::chain::answers::{self, ResponsePoint};
use crate::chain::{Chain, ChainError};
use crate::finding::Finding;
use crate::pulse::Figures;
use crate::signal::{Shape, Signal};
use crate::transient::{TransientError, Workspace};
use body::Body;
use std::f64::consts::TAU;
use summary::Step;

/// Up to where bandwidths are looked for, Hz: beyond any probe.
pub const HIGHEST_HZ: f64 = 1e11;

/// Frequency at which data sheets state the capacitance of an input, Hz (common practice).
pub const DATA_SHEET_HZ: f64 = 1e6;

/// How many times a waveform is asked for where the caller names none.
pub const USUAL_TIMES: usize = 2000;

/// The same for the waveforms behind shares, which need fewer digits.
const SHARE_TIMES: usize = 500;

/// The same for signals given by points.
const SHARE_TIMES_OF_POINTS: usize = 200;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question<'a> {
    /// The cascade.
    pub chain: &'a Chain,
    /// What the source does.
    pub signal: &'a Signal,
    /// Frequencies of the response, Hz.
    pub frequency_hz: &'a [f64],
    /// Times of the waveform, s, rising; where empty, [`Window::times`] are taken.
    pub time_s: &'a [f64],
    /// The error that is still accepted, for [`Limits`]: 0.03 for ±3 %.
    pub accepted_error: f64,
    /// What is not known exactly.
    pub doubts: &'a [Doubt],
}

/// Why there is no prediction.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PredictionError {
    /// The chain has an impossible value.
    #[error(transparent)]
    Chain(#[from] ChainError),
    /// The signal or its response cannot be computed.
    #[error(transparent)]
    Transient(#[from] TransientError),
    /// The accepted error makes no sense.
    #[error("accepted error is {given}: give a share above 0 and below 1, such as 0.03 for 3 %")]
    AcceptedError {
        /// As given.
        given: f64,
    },
    /// A frequency or a time that cannot be asked for.
    #[error("{quantity} {value} cannot be asked for: {remedy}")]
    Grid {
        /// Which one.
        quantity: &'static str,
        /// As given, in SI units.
        value: f64,
        /// What it should be.
        remedy: &'static str,
    },
}

/// The shown waveform against the true one, at the same times.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    /// s.
    pub time_s: Vec<f64>,
    /// At the node with no probe, V.
    pub true_v: Vec<f64>,
    /// On the screen, V at the tip (the input's voltage times N).
    pub shown_v: Vec<f64>,
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// At each frequency asked for.
    pub response: Vec<ResponsePoint>,
    /// Gain of each point against the node without the probe, ideally 1.
    pub gain_at_node: Vec<f64>,
    /// Over time.
    pub waveform: Waveform,
    /// Shown 50 % instant less true one (of a sine: its delay), s.
    pub delay_s: Option<f64>,
    /// Pulse figures of the true waveform; `None` for signals without two states.
    pub true_figures: Option<Figures>,
    /// Pulse figures of the shown waveform.
    pub shown_figures: Option<Figures>,
    /// What a data sheet would print.
    pub summary: Summary,
    /// What is carried within the accepted error.
    pub limits: Limits,
    /// Errors of what is read off the screen, and their causes.
    pub errors: Vec<MeasuredError>,
    /// Standard uncertainties that come from [`Question::doubts`]; `None` where every number was taken as exact.
    pub doubts: Option<Doubts>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// Answers a question.
///
/// # Errors
/// [`PredictionError`] for a chain, a signal or a grid that makes no sense.
pub fn predict(question: &Question<'_>) -> Result<Prediction, PredictionError> {
    check(question)?;
    let mut workspace = Workspace::new();
    let window = Window::of(question.chain, question.signal);
    let share_times = window.times(match question.signal.shape {
        // Each time asks for all points that are still ringing.
        Shape::Points { .. } => SHARE_TIMES_OF_POINTS,
        _ => SHARE_TIMES,
    });
    let times = if question.time_s.is_empty() { window.times(USUAL_TIMES) } else { question.time_s.to_vec() };
    let view = View { question, window: &window, share_times: &share_times, times: &times };
    let answer = Answer::of(question.chain, &view, Depth::Shares, &mut workspace)?;
    let mut shifted = Vec::with_capacity(question.doubts.len());
    for doubt in question.doubts {
        doubt.shifted.check()?;
        shifted
            .push((doubt.name.as_str(), Answer::of(&doubt.shifted, &view, Depth::Totals, &mut workspace)?));
    }
    let doubts = (!shifted.is_empty()).then(|| Doubts::from_shifts(&answer, &shifted));
    let Answer { response, gain_at_node, body, summary, limits, errors } = answer;
    let mut findings = body.findings;
    findings.extend(remarks::remarks(question, &summary, &doubts));
    Ok(Prediction {
        response,
        gain_at_node,
        waveform: Waveform { time_s: times, true_v: body.true_v, shown_v: body.shown_v },
        delay_s: body.delay_s,
        true_figures: body.true_figures,
        shown_figures: body.shown_figures,
        summary,
        limits,
        errors,
        doubts,
        findings,
    })
}

/// What all answers of one question look at.
struct View<'a> {
    question: &'a Question<'a>,
    window: &'a Window,
    /// For what only serves as shares.
    share_times: &'a [f64],
    /// Those asked for.
    times: &'a [f64],
}

/// How much is worked out.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Depth {
    /// Everything, with each cause's share.
    Shares,
    /// The errors as a whole only.
    Totals,
}

/// All answers for one chain.
struct Answer {
    response: Vec<ResponsePoint>,
    gain_at_node: Vec<f64>,
    body: Body,
    summary: Summary,
    limits: Limits,
    errors: Vec<MeasuredError>,
}

impl Answer {
    fn of(
        chain: &Chain,
        view: &View<'_>,
        depth: Depth,
        workspace: &mut Workspace,
    ) -> Result<Self, PredictionError> {
        let question = view.question;
        let response = answers::response(chain, question.frequency_hz);
        let node = |f: f64| 1f64.hypot(TAU * f * chain.node.resistance_ohm * chain.node.capacitance_f);
        let gain_at_node = response.iter().map(|p| p.gain * node(p.frequency_hz)).collect();
        let body = Body::of(chain, view, depth, workspace)?;
        let step = Step::of(chain, workspace)?;
        let summary = Summary::of(chain, &step);
        let limits = Limits::of(chain, &step, question.accepted_error);
        let errors = shares::errors(&body);
        Ok(Self { response, gain_at_node, body, summary, limits, errors })
    }
}

fn check(question: &Question<'_>) -> Result<(), PredictionError> {
    question.chain.check()?;
    if !(question.accepted_error > 0.0 && question.accepted_error < 1.0) {
        return Err(PredictionError::AcceptedError { given: question.accepted_error });
    }
    for &value in question.frequency_hz {
        if !(value >= 0.0 && value.is_finite()) {
            return Err(PredictionError::Grid {
                quantity: "frequency in Hz",
                value,
                remedy: "give 0 or more",
            });
        }
    }
    for (k, &value) in question.time_s.iter().enumerate() {
        if !value.is_finite() || (k > 0 && value <= question.time_s[k - 1]) {
            return Err(PredictionError::Grid { quantity: "time in s", value, remedy: "give rising times" });
        }
    }
    Ok(())
}
