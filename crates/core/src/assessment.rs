//! From an estimate to what a person needs: verdict, what to turn and by how much, error against frequency.

use crate::divider::{Capacitances, Divider, Shelf};
use crate::finding::Finding;

/// A value with its standard uncertainty, both in the same unit (JCGM 100, 2.3.1).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty; never negative, never NaN.
    pub standard_uncertainty: f64,
}

/// The judgement on a pairing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// |e| is inside the tolerance with at least 95 % confidence.
    WithinTolerance,
    /// e is below −tolerance with at least 95 % confidence: fast signals read low.
    Undercompensated,
    /// e is above +tolerance with at least 95 % confidence: fast signals read high.
    Overcompensated,
    /// The record cannot carry a judgement; a finding says why and what to do.
    Undetermined,
}

/// Where the probe is adjusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AdjustedAt {
    /// The trimmer is across the tip resistor (C1).
    Tip,
    /// The trimmer is in the compensation box at the oscilloscope end (C2).
    Base,
}

/// What the trimmer has to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Adjustment {
    /// Which capacitance is changed.
    pub at: AdjustedAt,
    /// Change of capacitance that compensates the pairing, F; positive means increase.
    pub change_f: Estimate,
}

/// e and τp as estimated, with their covariance, and the divider they belong to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compensation {
    /// e.
    pub error: Estimate,
    /// τp, s.
    pub time_constant_s: Estimate,
    /// Correlation coefficient of the two estimates.
    pub correlation: f64,
    /// The resistors.
    pub divider: Divider,
    /// Relative standard uncertainty of each resistor, taken as independent.
    pub resistor_uncertainty: f64,
}

/// Error against frequency at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResponsePoint {
    /// Frequency of a sine, Hz.
    pub frequency_hz: f64,
    /// Relative amplitude error.
    pub amplitude_error: Estimate,
    /// Phase error, rad; positive leads.
    pub phase_error_rad: Estimate,
}

impl Compensation {
    /// The first-order response with the estimated values.
    pub fn shelf(&self) -> Shelf {
        Shelf { error: self.error.value, time_constant_s: self.time_constant_s.value }
    }

    /// C1 and C2 at the estimated values, F.
    pub fn capacitances(&self) -> Capacitances {
        self.divider.capacitances(self.shelf())
    }

    /// C1 with its uncertainty, F.
    pub fn tip_capacitance_f(&self) -> Estimate {
        self.propagate(|divider, shelf| divider.capacitances(shelf).tip_f)
    }

    /// C2 (cable, box and input together) with its uncertainty, F.
    pub fn shunt_capacitance_f(&self) -> Estimate {
        self.propagate(|divider, shelf| divider.capacitances(shelf).shunt_f)
    }

    /// Capacitance seen at the tip, F, without body capacitance.
    pub fn seen_at_tip_f(&self) -> Estimate {
        self.propagate(|divider, shelf| divider.capacitances(shelf).seen_at_tip_f())
    }

    /// What the trimmer has to do to compensate the pairing.
    pub fn adjustment(&self, at: AdjustedAt) -> Adjustment {
        let change_f = self.propagate(|divider, shelf| {
            let c = divider.capacitances(shelf);
            match at {
                AdjustedAt::Tip => divider.compensating_tip_capacitance_f(c.shunt_f) - c.tip_f,
                AdjustedAt::Base => divider.balanced_shunt_capacitance_f(c.tip_f) - c.shunt_f,
            }
        });
        Adjustment { at, change_f }
    }

    /// Amplitude and phase error of a sine at `frequency_hz`.
    pub fn response_at(&self, frequency_hz: f64) -> ResponsePoint {
        ResponsePoint {
            frequency_hz,
            amplitude_error: self.propagate(|_, shelf| shelf.amplitude_error(frequency_hz)),
            phase_error_rad: self.propagate(|_, shelf| shelf.phase_error_rad(frequency_hz)),
        }
    }

    /// Verdict against a tolerance on |e|: inside or outside only when at least 95 % sure (one-sided, normal).
    pub fn verdict(&self, tolerance: f64) -> Verdict {
        let margin = ONE_SIDED_95 * self.error.standard_uncertainty;
        let magnitude = self.error.value.abs();
        if magnitude + margin <= tolerance {
            Verdict::WithinTolerance
        } else if magnitude - margin > tolerance {
            if self.error.value < 0.0 { Verdict::Undercompensated } else { Verdict::Overcompensated }
        } else {
            Verdict::Undetermined
        }
    }

    /// Law of propagation (JCGM 100, 5.2.2) over e, τp (correlated) and both resistors (independent).
    ///
    /// Central differences over a small share of each standard uncertainty.
    fn propagate(&self, quantity: impl Fn(&Divider, Shelf) -> f64) -> Estimate {
        let shelf = self.shelf();
        let value = quantity(&self.divider, shelf);
        let slope = |step: f64, at: &dyn Fn(f64) -> f64| {
            if step > 0.0 { (at(step) - at(-step)) / (2.0 * step) } else { 0.0 }
        };
        let (u_e, u_tau) = (self.error.standard_uncertainty, self.time_constant_s.standard_uncertainty);
        let step_e = (1e-3 * u_e).max(1e-9);
        let step_tau = 1e-5 * shelf.time_constant_s;
        let by_e =
            slope(step_e, &|d| quantity(&self.divider, Shelf { error: shelf.error + d, ..shelf })) * u_e;
        let by_tau = slope(step_tau, &|d| {
            quantity(&self.divider, Shelf { time_constant_s: shelf.time_constant_s + d, ..shelf })
        }) * u_tau;
        let relative = |which: fn(&mut Divider) -> &mut f64| {
            slope(1e-5, &|d| {
                let mut divider = self.divider;
                *which(&mut divider) *= 1.0 + d;
                quantity(&divider, shelf)
            }) * self.resistor_uncertainty
        };
        let by_r1 = relative(|d| &mut d.tip_resistance_ohm);
        let by_r2 = relative(|d| &mut d.shunt_resistance_ohm);
        let variance = by_e * by_e
            + by_tau * by_tau
            + 2.0 * self.correlation * by_e * by_tau
            + by_r1 * by_r1
            + by_r2 * by_r2;
        Estimate { value, standard_uncertainty: variance.max(0.0).sqrt() }
    }
}

/// 95th percentile of the standard normal distribution.
pub const ONE_SIDED_95: f64 = 1.644_853_626_951_472_7;

/// What the estimator saw of the square wave itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SquareWave {
    /// Repetition frequency, Hz; `None` when the record holds fewer than three edges.
    pub frequency_hz: Option<Estimate>,
    /// Share of the period spent at the high level; `None` when the record holds fewer than three edges.
    pub duty: Option<f64>,
    /// Settled low level, V.
    pub low_level: Estimate,
    /// Settled high level, V.
    pub high_level: Estimate,
    /// Number of edges used.
    pub edges: usize,
    /// Transition duration of the edges as recorded (10–90 %), s; `None` when faster than the sampling shows.
    pub transition_s: Option<f64>,
    /// Standard deviation of the white noise on the record, V.
    pub noise_rms: f64,
}

/// The record and the fit over it, thinned for drawing: one entry for each stretch of the record, in time order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Middle of the stretch, s.
    pub time_s: Vec<f64>,
    /// Lowest sample of the stretch, V.
    pub lowest: Vec<f64>,
    /// Highest sample of the stretch, V.
    pub highest: Vec<f64>,
    /// Mean of the stretch, V.
    pub mean: Vec<f64>,
    /// Fitted value, V; NaN where the fit leaves the record out (edges and ringing).
    pub fit: Vec<f64>,
}

/// Everything that comes out of looking at one capture. A value with doubts; there is always a verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// The judgement.
    pub verdict: Verdict,
    /// The |e| that was still accepted.
    pub tolerance: f64,
    /// e, τp and what follows from them; `None` when the record cannot carry them at all.
    pub compensation: Option<Compensation>,
    /// Standard deviation with which e scatters from capture to capture of the same set-up: the part of its standard
    /// uncertainty that more captures average out. `None` when it was not told apart from the rest.
    pub scatter: Option<f64>,
    /// The square wave; `None` when there was none to see, or the method needs none.
    pub square_wave: Option<SquareWave>,
    /// Response measured against a reference column, if there was one: no model in it.
    pub measured_response: Vec<MeasuredPoint>,
    /// Remarks, in the order they were made.
    pub findings: Vec<Finding>,
    /// The record with the fit, for drawing.
    pub trace: Trace,
}

/// Gain and delay of the probe's column against the reference column at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredPoint {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Magnitude of probe over reference, relative to that at the lowest measured frequency.
    pub relative_gain: Estimate,
    /// Phase of probe against reference, rad; positive leads.
    pub phase_rad: Estimate,
}
