//! Captures made without the model that is fitted to them: the source's wave is walked through in time, segment by
//! segment, and the divider's state equation is solved exactly on each.

use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};

/// Everything about one simulated capture.
#[derive(Clone, Debug)]
pub(crate) struct Truth {
    /// e.
    pub error: f64,
    /// τp, s.
    pub tau_s: f64,
    /// Period; infinite for a single edge.
    pub period_s: f64,
    /// Share of the period at the high level.
    pub duty: f64,
    /// Time of the middle of the first rising edge, s.
    pub first_edge_s: f64,
    /// Duration of the source's linear edges, s.
    pub edge_s: f64,
    /// Settled levels, V.
    pub low_v: f64,
    /// Settled step, V; negative for an inverted wave.
    pub step_v: f64,
    /// Time constant of an ac-coupled source, s; infinite for none. Negative: the flats creep outwards.
    pub coupling_s: f64,
    /// Ringing of a second-order low-pass: overshoot of its step response and its natural frequency in Hz; no overshoot
    /// means no such low-pass.
    pub ringing: (f64, f64),
    /// State of the divider's tail when a single-edge record starts, as a share of e times the step.
    pub history: f64,
    /// Hum: amplitude in V, frequency, phase.
    pub hum: (f64, f64, f64),
    /// Drift over the record, V.
    pub drift_v: f64,
    /// Slow dielectric tail: share and time constant.
    pub hook: (f64, f64),
    /// White noise, V.
    pub noise_v: f64,
    /// Whether the droop of the source is one that nobody mentions: drawn from what the estimator expects.
    pub(crate) unmentioned_droop: bool,
    /// Step of the digitiser, V; nil for none.
    pub quantum_v: f64,
    /// Number of samples and their interval.
    pub points: usize,
    /// Sample interval, s.
    pub interval_s: f64,
}

impl Truth {
    /// A plain 1 kHz wave through a perfect probe: two periods in 2,500 samples.
    pub(crate) fn plain() -> Self {
        Self {
            error: 0.0,
            tau_s: 100e-6,
            period_s: 1e-3,
            duty: 0.5,
            first_edge_s: 0.11e-3,
            edge_s: 1.7e-6,
            low_v: 0.0,
            step_v: 1.0,
            coupling_s: f64::INFINITY,
            ringing: (0.0, 1e7),
            history: 0.0,
            hum: (0.0, 50.0, 0.0),
            drift_v: 0.0,
            hook: (0.0, 1e-3),
            noise_v: 2e-3,
            unmentioned_droop: false,
            quantum_v: 0.0,
            points: 2500,
            interval_s: 0.8e-6,
        }
    }

    /// Time over which a coupling of time constant τc makes the flats droop by flat_s/τc of the step, s.
    pub(crate) fn flat_s(&self) -> f64 {
        if self.period_s.is_finite() {
            self.duty * (1.0 - self.duty) * self.period_s
        } else {
            self.points as f64 * self.interval_s - self.first_edge_s
        }
    }

    /// The samples without noise and quantiser, V.
    pub(crate) fn clean(&self) -> Vec<f64> {
        let duration = self.points as f64 * self.interval_s;
        let single = !self.period_s.is_finite();
        // Long enough before the record for every transient but that of an ac coupling, which starts settled.
        let settle = if single {
            0.0
        } else {
            (14.0 * self.tau_s.max(3.0 * self.hook.1 * f64::from(u8::from(self.hook.0 != 0.0)))
                / self.period_s)
                .ceil()
        };
        let mut breaks: Vec<(f64, f64)> = Vec::new(); // time, source value there
        let half = 0.5 * self.edge_s;
        if single {
            breaks.extend([
                (-1.0, 0.0),
                (self.first_edge_s - half, 0.0),
                (self.first_edge_s + half, 1.0),
                (duration + 1.0, 1.0),
            ]);
        } else {
            let mut rise = self.first_edge_s - (settle + 1.0) * self.period_s;
            while rise < duration + self.period_s {
                let fall = rise + self.duty * self.period_s;
                breaks.extend([
                    (rise - half, 0.0),
                    (rise + half, 1.0),
                    (fall - half, 1.0),
                    (fall + half, 0.0),
                ]);
                rise += self.period_s;
            }
        }
        let mut out = Vec::with_capacity(self.points);
        let mean = if single { 0.0 } else { self.duty };
        let (mut low_pass, mut slow) = (mean, mean);
        let (mut coupled, mut source_before) = (breaks[0].1 - mean, breaks[0].1);
        if !self.coupling_s.is_finite() {
            coupled = breaks[0].1;
        }
        if single {
            breaks[0].0 = 0.0_f64.min(self.first_edge_s - half);
            (low_pass, slow) = (-self.history, 0.0);
        } else if self.coupling_s.is_finite() {
            (low_pass, slow) = (0.0, 0.0);
            // Settled start of the coupling: the mean of its output over a period is nil; just before a rising edge it
            // stands at the end of the low flat.
            let (low, all) =
                ((1.0 - self.duty) * self.period_s / self.coupling_s, self.period_s / self.coupling_s);
            let after_fall =
                -(1.0 - (-self.duty * self.period_s / self.coupling_s).exp()) / (1.0 - (-all).exp());
            coupled = after_fall * (-low).exp();
        }
        let mut now = breaks[0].0;
        let mut resonance =
            Resonance::new(self.ringing, low_pass + (1.0 + self.error) * (coupled - low_pass));
        let mut next_break = 1;
        let mut sample = 0;
        while sample < self.points {
            let due = sample as f64 * self.interval_s;
            let Some(&(break_at, break_value)) = breaks.get(next_break) else { break };
            let (until, at_break) = if break_at <= due { (break_at, true) } else { (due, false) };
            let (from_time, from_value) = breaks[next_break - 1];
            let h = until - now;
            let source = if at_break {
                break_value
            } else {
                from_value + (break_value - from_value) * (until - from_time) / (break_at - from_time)
            };
            let begin = coupled;
            coupled = if self.coupling_s.is_finite() {
                let x = h / self.coupling_s;
                let gain = if x > 0.0 { -(-x).exp_m1() / x } else { 1.0 };
                coupled * (-x).exp() + (source - source_before) * gain
            } else {
                source
            };
            source_before = source;
            low_pass = advance(low_pass, begin, coupled, h, self.tau_s);
            slow = advance(slow, begin, coupled, h, self.hook.1);
            let behind = coupled + self.error * (coupled - low_pass) + self.hook.0 * (coupled - slow);
            let mut v = resonance.advance(behind, h);
            now = until;
            if at_break {
                next_break += 1;
            } else {
                v = if self.ringing.0 > 0.0 { v } else { behind };
                let mut volts = self.low_v + self.step_v * v;
                volts += self.hum.0 * (std::f64::consts::TAU * self.hum.1 * due + self.hum.2).sin();
                volts += self.drift_v * due / duration;
                out.push(volts);
                sample += 1;
            }
        }
        out
    }

    /// The samples as an instrument would store them, V.
    pub(crate) fn capture(&self, rng: &mut impl Rng) -> Vec<f64> {
        let mut samples = self.clean();
        for v in &mut samples {
            let z: f64 = StandardNormal.sample(rng);
            *v += self.noise_v * z;
            if self.quantum_v > 0.0 {
                *v = (*v / self.quantum_v).round() * self.quantum_v;
            }
        }
        samples
    }

    /// Standard deviation of a sample with the quantiser's share, V.
    pub(crate) fn effective_noise(&self) -> f64 {
        (self.noise_v.powi(2) + self.quantum_v.powi(2) / 12.0).sqrt()
    }
}

/// A second-order low-pass of unit gain, solved exactly for input that is linear between the given instants.
struct Resonance {
    pole: (f64, f64),
    residue: (f64, f64),
    state: (f64, f64),
    input: f64,
}

impl Resonance {
    fn new((overshoot, natural_hz): (f64, f64), settled: f64) -> Self {
        let overshoot = overshoot.max(1e-6);
        let ln = -overshoot.ln();
        let damping = ln / (std::f64::consts::PI.powi(2) + ln * ln).sqrt();
        let omega = std::f64::consts::TAU * natural_hz;
        let pole = (-damping * omega, omega * (1.0 - damping * damping).sqrt());
        // ω²/((s−p)(s−p*)): the residue at p is ω²/(p−p*) = −j·ω²/(2·Im p).
        let residue = (0.0, -omega * omega / (2.0 * pole.1));
        let state = times(divide((-settled, 0.0), pole), (1.0, 0.0));
        Self { pole, residue, state, input: settled }
    }

    fn advance(&mut self, input: f64, h: f64) -> f64 {
        if h > 0.0 {
            let slope = (input - self.input) / h;
            let growth = (self.pole.0 * h).exp();
            let e = (growth * (self.pole.1 * h).cos(), growth * (self.pole.1 * h).sin());
            let em1_over_p = divide((e.0 - 1.0, e.1), self.pole);
            let ramp = divide((em1_over_p.0 - h, em1_over_p.1), self.pole);
            let z = times(self.state, e);
            self.state = (
                z.0 + self.input * em1_over_p.0 + slope * ramp.0,
                z.1 + self.input * em1_over_p.1 + slope * ramp.1,
            );
            self.input = input;
        }
        2.0 * times(self.residue, self.state).0
    }
}

fn times(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

fn divide(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    let n = b.0 * b.0 + b.1 * b.1;
    ((a.0 * b.0 + a.1 * b.1) / n, (a.1 * b.0 - a.0 * b.1) / n)
}

/// First-order low-pass over a linear piece of input, exactly.
fn advance(state: f64, from: f64, to: f64, h: f64, tau: f64) -> f64 {
    if h <= 0.0 {
        return state;
    }
    let slope = (to - from) / h;
    to - slope * tau + (state - from + slope * tau) * (-h / tau).exp()
}

/// Kinds of captures of the study.
pub(crate) const KINDS: &[&str] = &[
    "clean",
    "noisy",
    "ringing",
    "hum",
    "tilt",
    "one-edge",
    "drift",
    "eight-bit",
    "slow-edges",
    "fast-edges",
    "coarse",
    "duty",
    "hook",
    "hum-six",
    "hum-short",
];

/// A random capture of a kind.
///
/// # Panics
/// When the kind is not one of [`KINDS`].
pub(crate) fn random(kind: &str, rng: &mut impl Rng) -> Truth {
    let mut t = Truth::plain();
    t.error = if rng.random_bool(0.5) { rng.random_range(-0.12..0.12) } else { rng.random_range(-0.6..1.15) };
    t.tau_s = 100e-6 * (0.3 * normal(rng)).exp();
    t.first_edge_s = rng.random_range(0.05e-3..0.45e-3);
    t.edge_s = rng.random_range(1.6e-6..2.4e-6);
    t.period_s *= rng.random_range(0.97..1.03);
    match kind {
        "clean" => {}
        "noisy" => t.noise_v = 0.03,
        "ringing" => {
            t.interval_s = 0.08e-6;
            t.points = 12_500;
            t.first_edge_s *= 0.5;
            t.edge_s = rng.random_range(0.16e-6..0.24e-6);
            t.ringing = (0.35, rng.random_range(5e5..3e6));
        }
        "hum" | "hum-six" | "hum-short" => {
            (t.points, t.interval_s) = match kind {
                "hum" => (20_000, 1e-6),
                "hum-six" => (60_000, 2e-6),
                _ => (10_000, 0.5e-6),
            };
            t.edge_s = 2.2 * t.interval_s;
            let mains = if rng.random_bool(0.5) { 50.0 } else { 60.0 };
            t.hum =
                (0.025, mains * rng.random_range(0.998..1.002), rng.random_range(0.0..std::f64::consts::TAU));
        }
        "tilt" => t.coupling_s = 0.5e-3 / rng.random_range(0.01..0.03),
        "one-edge" => {
            t.period_s = f64::INFINITY;
            t.points = 2500;
            t.interval_s = 0.2e-6;
            t.first_edge_s = rng.random_range(40e-6..100e-6);
            t.edge_s = rng.random_range(0.4e-6..0.8e-6);
            // The edge before the record was as long ago as the tail is seen, or up to a third longer.
            let seen = t.points as f64 * t.interval_s - t.first_edge_s;
            t.history = -(-(seen * rng.random_range(1.0..1.33) - t.first_edge_s) / t.tau_s).exp();
        }
        "drift" => {
            t.points = 10_000;
            t.drift_v = rng.random_range(-0.05..0.05);
        }
        "eight-bit" => {
            t.noise_v = 1e-6;
            t.quantum_v = 2.6 / 256.0 * (1.0 + t.error.max(0.0));
        }
        "slow-edges" => t.edge_s = rng.random_range(2e-6..5e-6),
        "fast-edges" => t.edge_s = 10e-9,
        "coarse" => {
            t.points = 4000;
            t.interval_s = 10e-6;
            t.edge_s = 10e-9;
            t.noise_v = 5e-3;
        }
        "duty" => {
            t.duty = rng.random_range(0.2..0.8);
            t.step_v = -1.0;
        }
        "hook" => t.hook = (0.006, 1e-3),
        other => panic!("no kind {other}"),
    }
    if kind != "tilt" && kind != "hook" {
        // No source is quite flat: half a per cent of the step over a flat, either way.
        t.unmentioned_droop = true;
        t.coupling_s = t.flat_s() / (DROOP * normal(rng));
    }
    t
}

/// Standard deviation of the droop over a flat that sources are taken to have, as a share of the step: the estimator's.
pub(crate) const DROOP: f64 = 0.005;

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}
