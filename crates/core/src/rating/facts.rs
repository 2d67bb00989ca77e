//! Peak, rms, dc and the sines that a signal is made of, worked out from its description and not from samples.
//!
//! Repeating signals of straight lines: c(n) = (1/(T·(jω)²))·Σ Δslope·e^(−jωt) + (1/(T·jω))·Σ jump·e^(−jωt) over their corners.
//!
//! A signal that does not repeat has no harmonics. Each of its slopes is replaced by a lasting sine of the same swing whose steepest
//! slope is the same: amplitude A/2 at f = slope/(π·A). That is a bound: the current into a capacitance is nowhere larger, and a
//! lasting sine heats more than one passing edge. Of such a signal the rms value is its largest magnitude, for it may rest there.

use crate::signal::{Outside, Shape, Signal};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// One sine of a signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Hz.
    pub frequency_hz: f64,
    /// Amplitude (half the swing), V.
    pub amplitude_v: f64,
}

/// Where the components come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// They are the signal's Fourier components.
    Harmonics,
    /// They bound a signal that does not repeat: sines as steep as its slopes.
    SteepestSlopes,
}

/// What of a signal bears on ratings and on safety.
#[derive(Clone, Debug, PartialEq)]
pub struct SignalFacts {
    /// Largest magnitude, V.
    pub peak_v: f64,
    /// Root mean square, V; for signals that do not repeat the largest magnitude, as a bound.
    pub rms_v: f64,
    /// Mean, V; for signals that do not repeat the resting level of the larger magnitude.
    pub dc_v: f64,
    /// Distance between highest and lowest value, V.
    pub swing_v: f64,
    /// Sines, from the lowest frequency up. Infinite frequency: a jump, whose frequency nobody has stated.
    pub components: Vec<Component>,
    /// Where they come from.
    pub basis: Basis,
    /// Each harmonic that is not listed has an amplitude below this, V.
    pub unlisted_v: f64,
}

/// A description that is no signal.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SignalFault {
    /// Not finite, or not in its range.
    #[error("{quantity} is {value}: give a finite value above zero")]
    Value {
        /// Which one.
        quantity: &'static str,
        /// As given.
        value: f64,
    },
    /// Ramps longer than the time between them.
    #[error(
        "the ramps take {ramps_s} s, more than the {room_s} s that duty or width leave: shorten them or lower the frequency"
    )]
    Ramps {
        /// Half of both ramps together, s.
        ramps_s: f64,
        /// What there is, s.
        room_s: f64,
    },
    /// Points that do not belong together.
    #[error(
        "the signal's points need at least one time and as many values, times that rise, and a period longer than they last"
    )]
    Points,
}

/// Harmonics worked out at most.
const MOST_HARMONICS: u32 = 2000;

/// The facts of a signal. Harmonics with an amplitude below `least_v` (V) are not listed, but for the first.
///
/// # Errors
/// Descriptions that are no signal.
pub fn signal_facts(signal: &Signal, least_v: f64) -> Result<SignalFacts, SignalFault> {
    let (low, high) = (signal.low_v, signal.high_v);
    if !matches!(signal.shape, Shape::Points { .. }) {
        finite("low level", low)?;
        finite("high level", high)?;
    }
    let peak_v = low.abs().max(high.abs());
    let swing_v = (high - low).abs();
    let once = |resting: f64, components: Vec<Component>| SignalFacts {
        peak_v,
        rms_v: peak_v,
        dc_v: resting,
        swing_v,
        components,
        basis: Basis::SteepestSlopes,
        unlisted_v: 0.0,
    };
    let ramp =
        |duration_s: f64| Component { frequency_hz: 1.0 / (PI * duration_s), amplitude_v: 0.5 * swing_v };
    let either = if low.abs() > high.abs() { low } else { high };
    let mean = 0.5 * (low + high);
    let sine = |frequency_hz: f64| SignalFacts {
        peak_v,
        rms_v: mean.hypot(0.5 * swing_v * std::f64::consts::FRAC_1_SQRT_2),
        dc_v: mean,
        swing_v,
        components: vec![Component { frequency_hz, amplitude_v: 0.5 * swing_v }],
        basis: Basis::Harmonics,
        unlisted_v: 0.0,
    };
    match &signal.shape {
        Shape::Sine { frequency_hz } => Ok(sine(positive("frequency", *frequency_hz)?)),
        Shape::Burst { frequency_hz, cycles } => {
            positive("number of cycles", f64::from(*cycles))?;
            // While it lasts it is a sine, and bounded by one that lasts for ever.
            Ok(SignalFacts { basis: Basis::SteepestSlopes, ..sine(positive("frequency", *frequency_hz)?) })
        }
        Shape::Trapezoid { frequency_hz, duty, rise_s, fall_s } => {
            let period_s = 1.0 / positive("frequency", *frequency_hz)?;
            let width_s = positive("duty", *duty)? * period_s;
            let ramps_s = 0.5 * (ramp_of("rise", *rise_s)? + ramp_of("fall", *fall_s)?);
            let room_s = width_s.min(period_s - width_s);
            // A triangle uses all the room there is; the last digit must not forbid it.
            if ramps_s > room_s * (1.0 + 1e-9) || !(room_s > 0.0) {
                return Err(SignalFault::Ramps { ramps_s, room_s });
            }
            let middle = 0.5 * rise_s + width_s;
            let corners = [
                (0.0, low),
                (*rise_s, high),
                ((middle - 0.5 * fall_s).max(*rise_s), high),
                (middle + 0.5 * fall_s, low),
            ];
            Ok(repeating(&corners, period_s, least_v))
        }
        Shape::Pulse { width_s, rise_s, fall_s } => {
            let room_s = positive("width", *width_s)?;
            let ramps_s = 0.5 * (ramp_of("rise", *rise_s)? + ramp_of("fall", *fall_s)?);
            if ramps_s > room_s * (1.0 + 1e-9) {
                return Err(SignalFault::Ramps { ramps_s, room_s });
            }
            Ok(once(low, vec![ramp(rise_s.min(*fall_s))]))
        }
        Shape::Edge { rise_s } => Ok(once(either, vec![ramp(ramp_of("rise", *rise_s)?)])),
        Shape::Exponential { time_constant_s, width_s } => {
            // The steepest slope is the first: swing/τ.
            let component = ramp(positive("time constant", *time_constant_s)?);
            if let Some(width_s) = width_s {
                positive("width", *width_s)?;
            }
            Ok(once(if width_s.is_some() { low } else { either }, vec![component]))
        }
        Shape::Points { time_s, value_v, outside } => points(time_s, value_v, *outside, least_v),
    }
}

fn finite(quantity: &'static str, value: f64) -> Result<f64, SignalFault> {
    if value.is_finite() { Ok(value) } else { Err(SignalFault::Value { quantity, value }) }
}

fn positive(quantity: &'static str, value: f64) -> Result<f64, SignalFault> {
    if value > 0.0 { finite(quantity, value) } else { Err(SignalFault::Value { quantity, value }) }
}

fn ramp_of(quantity: &'static str, value: f64) -> Result<f64, SignalFault> {
    if value >= 0.0 { finite(quantity, value) } else { Err(SignalFault::Value { quantity, value }) }
}

fn points(
    time_s: &[f64],
    value_v: &[f64],
    outside: Outside,
    least_v: f64,
) -> Result<SignalFacts, SignalFault> {
    let rising = time_s.windows(2).all(|t| t[0] < t[1]);
    let all_finite = time_s.iter().chain(value_v).all(|x| x.is_finite());
    let (&[first_s, ..], &[.., last_s]) = (time_s, time_s) else { return Err(SignalFault::Points) };
    let (&[first_v, ..], &[.., last_v]) = (value_v, value_v) else { return Err(SignalFault::Points) };
    if time_s.len() != value_v.len() || !rising || !all_finite {
        return Err(SignalFault::Points);
    }
    match outside {
        Outside::Repeats { period_s } => {
            if !(period_s > last_s - first_s && period_s.is_finite()) {
                return Err(SignalFault::Points);
            }
            let corners: Vec<(f64, f64)> = time_s.iter().copied().zip(value_v.iter().copied()).collect();
            Ok(repeating(&corners, period_s, least_v))
        }
        Outside::Holds => {
            let (least, most) = extremes(value_v.iter().copied());
            let peak_v = least.abs().max(most.abs());
            let swing_v = most - least;
            let slope = time_s
                .windows(2)
                .zip(value_v.windows(2))
                .map(|(t, v)| ((v[1] - v[0]) / (t[1] - t[0])).abs())
                .fold(0.0, f64::max);
            let components = if swing_v > 0.0 {
                vec![Component { frequency_hz: slope / (PI * swing_v), amplitude_v: 0.5 * swing_v }]
            } else {
                Vec::new()
            };
            Ok(SignalFacts {
                peak_v,
                rms_v: peak_v,
                dc_v: if first_v.abs() > last_v.abs() { first_v } else { last_v },
                swing_v,
                components,
                basis: Basis::SteepestSlopes,
                unlisted_v: 0.0,
            })
        }
    }
}

fn extremes(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), v| (least.min(v), most.max(v)))
}

/// Facts of straight lines between corners `(time, value)`, repeated. Two corners at one time are a jump.
fn repeating(corners: &[(f64, f64)], period_s: f64, least_v: f64) -> SignalFacts {
    let (least, most) = extremes(corners.iter().map(|c| c.1));
    let swing_v = most - least;
    let next = |k: usize| match corners.get(k + 1) {
        Some(&corner) => corner,
        None => corners.first().map_or((period_s, 0.0), |&(t, v)| (t + period_s, v)),
    };
    // Pieces between corners; a piece shorter than rounding is a jump.
    let is_jump = |from: f64, to: f64| to - from <= 1e-15 * period_s;
    let (mut mean, mut square) = (0.0, 0.0);
    let mut kinks: Vec<(f64, f64)> = Vec::new();
    let mut jumps: Vec<(f64, f64)> = Vec::new();
    for (k, &(t0, v0)) in corners.iter().enumerate() {
        let (t1, v1) = next(k);
        if is_jump(t0, t1) {
            jumps.push((t0, v1 - v0));
            continue;
        }
        let share = (t1 - t0) / period_s;
        mean += share * 0.5 * (v0 + v1);
        square += share * (v0 * v0 + v0 * v1 + v1 * v1) / 3.0;
        let slope = (v1 - v0) / (t1 - t0);
        kinks.push((t0, slope));
        kinks.push((t1, -slope));
    }
    let total = |list: &[(f64, f64)]| list.iter().map(|x| x.1.abs()).sum::<f64>();
    let (kink, jump) = (total(&kinks), total(&jumps));
    // |c(n)| is below both bounds together, which fall with n: beyond this n nothing reaches `least_v`.
    let bound = |n: f64| {
        let omega = TAU * n / period_s;
        2.0 / period_s * (kink / (omega * omega) + jump / omega)
    };
    let mut components = Vec::new();
    let mut unlisted_v = least_v;
    for n in 1..=MOST_HARMONICS {
        if n > 1 && bound(f64::from(n)) < least_v {
            break;
        }
        let frequency_hz = f64::from(n) / period_s;
        let amplitude_v = harmonic(&kinks, &jumps, period_s, f64::from(n));
        if n == 1 || amplitude_v >= least_v {
            components.push(Component { frequency_hz, amplitude_v });
        }
        if n == MOST_HARMONICS {
            unlisted_v = bound(f64::from(n + 1)).max(least_v);
        }
    }
    SignalFacts {
        peak_v: least.abs().max(most.abs()),
        rms_v: square.sqrt(),
        dc_v: mean,
        swing_v,
        components,
        basis: Basis::Harmonics,
        unlisted_v,
    }
}

/// Amplitude of the `n`th harmonic, V.
fn harmonic(kinks: &[(f64, f64)], jumps: &[(f64, f64)], period_s: f64, n: f64) -> f64 {
    let turn = |t: f64| {
        // Whole periods taken off first, so that high harmonics keep their digits.
        let cycles = (n * (t / period_s)).fract();
        Complex64::from_polar(1.0, -TAU * cycles)
    };
    let sum = |list: &[(f64, f64)]| list.iter().map(|&(t, x)| turn(t) * x).sum::<Complex64>();
    let omega = TAU * n / period_s;
    let jomega = Complex64::new(0.0, omega);
    2.0 / period_s * (sum(kinks) / (jomega * jomega) + sum(jumps) / jomega).norm()
}
