//! What is left of a response to an elementary event once its fast transient has died: closed forms.

use super::poles::Pole;
use crate::chain::Transfer;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// The slow part of a transfer function: its behaviour at s = 0 and its slow real poles.
#[derive(Clone, Debug)]
pub(super) struct Slow {
    /// Share that passes at once, at all frequencies (limit of H for high frequencies), already taken out of `gain`.
    pub direct: f64,
    /// H(0).
    pub gain: f64,
    /// H'(0), s.
    pub slope: f64,
    /// H'(0) of H without its slow poles, s.
    pub rest_slope: f64,
    pub poles: Vec<Pole>,
}

impl Slow {
    /// `span` is the length of the table, s: H without its slow poles is smooth on a scale of 1/span.
    pub(super) fn new(
        transfer: &(impl Transfer + ?Sized),
        direct: f64,
        poles: Vec<Pole>,
        span: Option<f64>,
    ) -> Self {
        let near = 1e-7 * poles.first().map_or(1.0, |p| p.at.abs().min(1.0));
        let gain = transfer.at(Complex64::new(0.0, near)).re - direct;
        // Without the slow poles, so that nothing large cancels; the h² error is taken off by a second step.
        let rest = |h: f64| {
            let s = Complex64::new(0.0, h);
            let slow: Complex64 = poles.iter().map(|p| p.residue / (s - p.at)).sum();
            (transfer.at(s) - slow).im / h
        };
        let rest_slope = span.map_or(0.0, |span| (4.0 * rest(0.01 / span) - rest(0.02 / span)) / 3.0);
        let slope = rest_slope - poles.iter().map(|p| p.residue / (p.at * p.at)).sum::<f64>();
        Self { direct, gain, slope, rest_slope, poles }
    }
}

/// The elementary event whose response is tabulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Event {
    /// A bend: the ramp t from 0 on. Its first derivative answers a jump.
    Bend,
    /// 1 − exp(−t/τ) from 0 on, τ in s.
    Exponential(f64),
    /// sin 2πft from 0 on, f in Hz.
    Sine(f64),
}

impl Event {
    /// Laplace transform.
    pub(super) fn spectrum(self, s: Complex64) -> Complex64 {
        match self {
            Self::Bend => 1.0 / (s * s),
            Self::Exponential(tau) => 1.0 / (s * (1.0 + s * tau)),
            Self::Sine(frequency) => {
                let w = TAU * frequency;
                w / (s * s + w * w)
            }
        }
    }

    /// Which derivative of the tabulated response is of the size of a step.
    pub(super) fn step_order(self) -> usize {
        usize::from(self == Self::Bend)
    }
}

/// constant + linear·u + Σ c·exp(p·u) + Im(z·exp(jωu)).
#[derive(Clone, Debug, Default)]
pub(super) struct Tail {
    pub constant: f64,
    pub linear: f64,
    /// (p, c).
    pub decays: Vec<(f64, f64)>,
    /// (f in Hz, z).
    pub sine: Option<(f64, Complex64)>,
}

/// Exponentials that fall below exp of minus this within the table are not part of a tail.
pub(super) const DEAD: f64 = 40.0;

impl Tail {
    /// Tail of the response to an event; `span` is the length of the table, s.
    pub(super) fn new(transfer: &(impl Transfer + ?Sized), event: Event, slow: &Slow, span: f64) -> Self {
        match event {
            Event::Bend => Self {
                constant: slow.slope,
                linear: slow.gain,
                decays: slow.poles.iter().map(|p| (p.at, p.residue / (p.at * p.at))).collect(),
                sine: None,
            },
            Event::Exponential(tau) => {
                let mut q = -1.0 / tau;
                // A pole of the chain on the pole of the signal: moved apart by so little that the signal changes by less
                // than 1e-7 of its swing, which avoids the limit form.
                for pole in &slow.poles {
                    if (q - pole.at).abs() < 1e-7 * pole.at.abs() {
                        q = pole.at * (1.0 + 1e-7);
                    }
                }
                let mut decays: Vec<_> =
                    slow.poles.iter().map(|p| (p.at, -p.residue * q / (p.at * (p.at - q)))).collect();
                if -q * span < DEAD {
                    decays.push((q, slow.direct - transfer.at(Complex64::new(q, 0.0)).re));
                }
                Self { constant: slow.gain, linear: 0.0, decays, sine: None }
            }
            Event::Sine(frequency) => {
                let w = TAU * frequency;
                Self {
                    constant: 0.0,
                    linear: 0.0,
                    decays: slow
                        .poles
                        .iter()
                        .map(|p| (p.at, p.residue * w / (p.at * p.at + w * w)))
                        .collect(),
                    sine: Some((frequency, transfer.at_frequency(frequency) - slow.direct)),
                }
            }
        }
    }

    /// Value at u (s after the event).
    pub(super) fn value(&self, u: f64) -> f64 {
        let decays: f64 = self.decays.iter().map(|(p, c)| c * (p * u).exp()).sum();
        let sine = self.sine.map_or(0.0, |(f, z)| (z * turn(f, u)).im);
        self.constant + self.linear * u + decays + sine
    }

    /// First derivative at u.
    pub(super) fn rate(&self, u: f64) -> f64 {
        let decays: f64 = self.decays.iter().map(|(p, c)| c * p * (p * u).exp()).sum();
        let sine = self.sine.map_or(0.0, |(f, z)| TAU * f * (z * turn(f, u)).re);
        self.linear + decays + sine
    }

    /// The tail of what a table that repeats every `period` and is damped by `sigma` adds to itself:
    /// Σ over m ≥ 1 of tail(u + m·period)·exp(−σ·m·period), again as a tail.
    pub(super) fn repeated(&self, period: f64, sigma: f64) -> Self {
        let e = (-sigma * period).exp();
        let (one, two) = (e / (1.0 - e), period * e / ((1.0 - e) * (1.0 - e)));
        Self {
            constant: self.constant * one + self.linear * two,
            linear: self.linear * one,
            decays: self
                .decays
                .iter()
                .map(|&(p, c)| {
                    let z = ((p - sigma) * period).exp();
                    (p, c * z / (1.0 - z))
                })
                .collect(),
            sine: self.sine.map(|(f, amplitude)| {
                let z = e * turn(f, period);
                (f, amplitude * z / (1.0 - z))
            }),
        }
    }

    /// Calls `each` with the index, value, first and second derivative at `count` places from `start` on, `step` apart.
    pub(super) fn march(&self, start: f64, step: f64, count: usize, mut each: impl FnMut(usize, [f64; 3])) {
        // Exponentials by multiplication, started afresh often enough to stay exact.
        const FRESH: usize = 64;
        let ratios: Vec<f64> = self.decays.iter().map(|(p, _)| (p * step).exp()).collect();
        let mut now: Vec<f64> = vec![0.0; ratios.len()];
        let (w, sine_ratio) = self.sine.map_or((0.0, Complex64::ZERO), |(f, _)| (TAU * f, turn(f, step)));
        let mut rotor = Complex64::ZERO;
        for k in 0..count {
            let u = start + k as f64 * step;
            if k % FRESH == 0 {
                for ((p, c), value) in self.decays.iter().zip(&mut now) {
                    *value = c * (p * u).exp();
                }
                rotor = self.sine.map_or(Complex64::ZERO, |(f, z)| z * turn(f, u));
            }
            let mut out = [self.constant + self.linear * u, self.linear, 0.0];
            for (((p, _), ratio), value) in self.decays.iter().zip(&ratios).zip(&mut now) {
                out[0] += *value;
                out[1] += *value * p;
                out[2] += *value * p * p;
                *value *= ratio;
            }
            if w > 0.0 {
                out[0] += rotor.im;
                out[1] += w * rotor.re;
                out[2] -= w * w * rotor.im;
                rotor *= sine_ratio;
            }
            each(k, out);
        }
    }
}

/// exp(j2πfu), the whole turns taken out first.
fn turn(frequency: f64, u: f64) -> Complex64 {
    let turns = frequency * u;
    Complex64::cis(TAU * (turns - turns.round()))
}
