//! Captures of a square wave behind a divider probe, in closed form: superposed edges, each a sum of exponentials.
//!
//! The chain source → coupling → divider (and dielectric tail) → second-order low-pass has simple poles, so its answer to
//! one edge is Σ c·exp(p·t); the edges of all periods before the record add up to a geometric series. Nothing here is
//! shared with the estimator or with the simulator of the honesty study.

use flattop_core::assessment::{Assessment, Verdict};
use flattop_core::divider::Divider;
use flattop_core::estimate::square::{Settings, assess};
use flattop_core::finding::Severity;
use flattop_core::samples::{Record, SampleView};
use num_complex::Complex64 as Complex;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::{PI, TAU};

/// How the source goes from level to level, with the whole duration in s (the time constant for the exponential).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Shape {
    Linear(f64),
    /// Two linear edges in a row: parabolic start and end.
    Smooth(f64),
    Exponential(f64),
}

/// What the source does on its flats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Droop {
    None,
    /// Behind a first-order high-pass of this corner frequency, Hz.
    Coupled(f64),
    /// Straight sag by this share of the step over half a period.
    Straight(f64),
}

/// One capture. Times in s, frequencies in Hz, the rest in V.
#[derive(Clone, Debug)]
pub(crate) struct Wave {
    pub(crate) error: f64,
    pub(crate) tau_s: f64,
    pub(crate) frequency_hz: f64,
    pub(crate) duty: f64,
    /// Time of the middle of a rising edge after the first sample.
    pub(crate) rise_s: f64,
    pub(crate) shape: Shape,
    pub(crate) droop: Droop,
    /// Overshoot and natural frequency of a second-order low-pass.
    pub(crate) ringing: Option<(f64, f64)>,
    /// Share and time constant of a dielectric tail.
    pub(crate) hook: Option<(f64, f64)>,
    pub(crate) low_v: f64,
    pub(crate) step_v: f64,
    /// Amplitude, frequency and phase in rad.
    pub(crate) hum: (f64, f64, f64),
    /// Over the whole record.
    pub(crate) drift_v: f64,
    pub(crate) noise_v: f64,
    pub(crate) quantum_v: f64,
    pub(crate) points: usize,
    pub(crate) interval_s: f64,
    pub(crate) seed: u64,
    pub(crate) divider: Divider,
}

pub(crate) const TENFOLD: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
pub(crate) const HUNDREDFOLD: Divider = Divider { tip_resistance_ohm: 99e6, shunt_resistance_ohm: 1e6 };
pub(crate) const TOLERANCE: f64 = 0.01;
/// Slowness of the straight droop's exponential.
const KAPPA: f64 = 300.0;

impl Wave {
    /// 1 kHz, 3 V, two and a half periods in 5,000 samples, edges of 1.2 µs, noise of 0.2 % of the step.
    pub(crate) fn plain(error: f64) -> Self {
        Self {
            error,
            tau_s: 1.1e-4,
            frequency_hz: 1e3,
            duty: 0.5,
            rise_s: 2.101_3e-4,
            shape: Shape::Linear(1.2e-6),
            droop: Droop::None,
            ringing: None,
            hook: None,
            low_v: 0.0,
            step_v: 3.0,
            hum: (0.0, 50.0, 0.0),
            drift_v: 0.0,
            noise_v: 6e-3,
            quantum_v: 0.0,
            points: 5000,
            interval_s: 0.5e-6,
            seed: 1,
            divider: TENFOLD,
        }
    }

    pub(crate) fn settings(&self) -> Settings {
        Settings {
            divider: self.divider,
            resistor_uncertainty: 0.01 / 3.0_f64.sqrt(),
            tolerance: TOLERANCE,
            source_amplitude_v: None,
        }
    }

    /// What an estimator should find: with a dielectric tail, the divider's error on the plateau before that tail.
    pub(crate) fn expected(&self) -> f64 {
        self.error / (1.0 + self.hook.map_or(0.0, |h| h.0))
    }

    /// Standard deviation of one sample, quantiser included.
    pub(crate) fn sample_deviation(&self) -> f64 {
        (self.noise_v.powi(2) + self.quantum_v.powi(2) / 12.0).sqrt() / self.step_v.abs()
    }

    pub(crate) fn duration_s(&self) -> f64 {
        self.points as f64 * self.interval_s
    }

    /// Poles of the answer to one ideal edge, each with its coefficient; one of each conjugate pair, counted twice.
    fn poles(&self) -> Vec<(Complex, Complex)> {
        // Stages: value at s, and poles with residues.
        type Stage = (Box<dyn Fn(Complex) -> Complex>, Vec<(Complex, Complex)>);
        let real = |x: f64| Complex::new(x, 0.0);
        let mut stages: Vec<Stage> = Vec::new();
        stages.push(match self.droop {
            Droop::None => (Box::new(|s| 1.0 / s), vec![(real(0.0), real(1.0))]),
            Droop::Coupled(corner) => {
                let c = TAU * corner;
                (Box::new(move |s| 1.0 / (s + c)), vec![(real(-c), real(1.0))])
            }
            Droop::Straight(share) => {
                // 1 − κ·(1 − exp(−c·t)) with c·t tiny: straight to within share²/(2κ).
                let c = 2.0 * share * self.frequency_hz / KAPPA;
                (
                    Box::new(move |s| (1.0 - KAPPA) / s + KAPPA / (s + c)),
                    vec![(real(0.0), real(1.0 - KAPPA)), (real(-c), real(KAPPA))],
                )
            }
        });
        let (e, a) = (self.error, 1.0 / self.tau_s);
        let (h, b) = self.hook.map_or((0.0, 1.0), |(share, tau)| (share, 1.0 / tau));
        let mut tails = vec![(real(-a), real(-a * e))];
        if h.abs() > 0.0 {
            tails.push((real(-b), real(-b * h)));
        }
        stages.push((Box::new(move |s| 1.0 + e * s / (s + a) + h * s / (s + b)), tails));
        if let Some((overshoot, natural_hz)) = self.ringing {
            let ln = -overshoot.ln();
            let damping = ln / (PI * PI + ln * ln).sqrt();
            let omega = TAU * natural_hz;
            let q = Complex::new(-damping * omega, omega * (1.0 - damping * damping).sqrt());
            let gain = omega * omega;
            let residue = 2.0 * gain / (q - q.conj());
            stages.push((Box::new(move |s| gain / ((s - q) * (s - q.conj()))), vec![(q, residue)]));
        }
        if let Shape::Exponential(tau) = self.shape {
            let d = 1.0 / tau;
            stages.push((Box::new(move |s| d / (s + d)), vec![(real(-d), real(d))]));
        }
        let mut out = Vec::new();
        for (i, (_, own)) in stages.iter().enumerate() {
            for &(pole, residue) in own {
                let others = stages.iter().enumerate().filter(|(j, _)| *j != i);
                out.push((pole, others.fold(residue, |product, (_, (value, _))| product * value(pole))));
            }
        }
        out
    }

    /// The samples without noise and quantiser.
    pub(crate) fn clean(&self) -> Vec<f64> {
        let poles = self.poles();
        let period = 1.0 / self.frequency_hz;
        let (half, moments): (f64, Vec<Complex>) = match self.shape {
            Shape::Linear(w) => (0.5 * w, poles.iter().map(|(p, _)| sinhc(p * (0.5 * w))).collect()),
            Shape::Smooth(w) => (0.5 * w, poles.iter().map(|(p, _)| sinhc(p * (0.25 * w)).powi(2)).collect()),
            Shape::Exponential(_) => (0.0, vec![Complex::new(1.0, 0.0); poles.len()]),
        };
        // Before a rising edge well ahead of the record: all earlier edges as a geometric series, brought to that edge.
        let mut at = self.rise_s - (self.rise_s / period).ceil() * period - period;
        let mut rising = true;
        let mut states: Vec<Complex> = poles
            .iter()
            .zip(&moments)
            .map(|((p, _), m)| {
                let whole = (p * period).exp();
                let series = if p.norm() > 0.0 {
                    (whole - (p * ((1.0 - self.duty) * period)).exp()) / (1.0 - whole)
                } else {
                    Complex::new(0.0, 0.0)
                };
                series * m
            })
            .collect();
        let mean = match self.droop {
            // The mean of the straight droop's large slow part.
            Droop::Straight(_) => -KAPPA * self.duty,
            _ => 0.0,
        };
        let mut next = at;
        let mut out = Vec::with_capacity(self.points);
        for k in 0..self.points {
            let t = k as f64 * self.interval_s;
            while t >= next + half {
                let sign = if rising { 1.0 } else { -1.0 };
                for (((p, _), m), state) in poles.iter().zip(&moments).zip(&mut states) {
                    *state = *state * (p * (next - at)).exp() + sign * m;
                }
                at = next;
                next += period * if rising { self.duty } else { 1.0 - self.duty };
                rising = !rising;
            }
            let under_way = t - next + half;
            let sign = if rising { 1.0 } else { -1.0 };
            let mut value = Complex::new(0.0, 0.0);
            for ((p, c), state) in poles.iter().zip(&states) {
                let x = p * (t - at);
                let mut part = Complex::new(0.0, 0.0);
                if x.re > -60.0 {
                    let decay = if p.im.abs() > 0.0 { x.exp() } else { Complex::new(x.re.exp(), 0.0) };
                    part += state * decay;
                }
                if under_way > 0.0 {
                    part += sign * partial(self.shape, *p, under_way);
                }
                value += c * part;
            }
            let mut volts = self.low_v + self.step_v * (value.re - mean);
            volts += self.hum.0 * (TAU * self.hum.1 * t + self.hum.2).sin();
            volts += self.drift_v * t / self.duration_s();
            out.push(volts);
        }
        out
    }

    /// The samples as an instrument stores them.
    pub(crate) fn capture(&self) -> Vec<f64> {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(self.seed);
        let mut samples = self.clean();
        for v in &mut samples {
            let z: f64 = StandardNormal.sample(&mut rng);
            *v += self.noise_v * z;
            if self.quantum_v > 0.0 {
                *v = (*v / self.quantum_v).round() * self.quantum_v;
            }
        }
        samples
    }

    pub(crate) fn assess(&self) -> Assessment {
        let samples = self.capture();
        assess(record(&samples, self.interval_s), &self.settings())
    }

    /// Sets a quantiser of 256 codes filled to `share` by the whole capture.
    pub(crate) fn eight_bits(mut self, share: f64) -> Self {
        let clean = self.clean();
        let (low, high) = clean.iter().fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
        self.quantum_v = (high - low) / (256.0 * share);
        self
    }
}

/// A record in volts that starts at time zero.
pub(crate) fn record(samples: &[f64], interval_s: f64) -> Record<'_> {
    Record { samples: SampleView::volts(samples), start_s: 0.0, interval_s }
}

/// exp(p·t) convolved with what has come of an edge `x` seconds after its start.
fn partial(shape: Shape, p: Complex, x: f64) -> Complex {
    match shape {
        Shape::Linear(w) => phi(p * x)[0] * (x / w),
        Shape::Smooth(w) => {
            let quarter = 0.25 * w * w;
            let mut value = phi(p * x)[1] * (x * x / quarter);
            let y = x - 0.5 * w;
            if y > 0.0 {
                value -= 2.0 * phi(p * y)[1] * (y * y / quarter);
            }
            value
        }
        Shape::Exponential(_) => Complex::new(0.0, 0.0),
    }
}

/// (exp z − 1)/z and (exp z − 1 − z)/z².
fn phi(z: Complex) -> [Complex; 2] {
    if z.norm() > 0.1 {
        let grown = z.exp() - 1.0;
        return [grown / z, (grown - z) / (z * z)];
    }
    let (mut first, mut second) = (Complex::new(0.0, 0.0), Complex::new(0.0, 0.0));
    let (mut power, mut factorial) = (Complex::new(1.0, 0.0), 1.0);
    for n in 1..=10 {
        factorial *= f64::from(n);
        first += power / factorial;
        second += power / (factorial * f64::from(n + 1));
        power *= z;
    }
    [first, second]
}

fn sinhc(z: Complex) -> Complex {
    if z.norm() > 1e-3 { z.sinh() / z } else { 1.0 + z * z / 6.0 }
}

/// What is asked of an assessment beside the verdict.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Demand {
    /// Departure of e that is accepted whatever the stated uncertainty.
    pub(crate) floor: f64,
    /// The stated uncertainty may be this large at most.
    pub(crate) uncertainty: f64,
    /// Whether the estimator may decline.
    pub(crate) may_refuse: bool,
}

impl Demand {
    /// For a record whose samples say enough: u at most twelve times what white noise alone leaves to the mean of the samples
    /// within one time constant after the edges, and 0.1 %. Flats of fewer than five time constants cannot rule out that
    /// the source sags: 0.8 % of the step for that is accepted.
    pub(crate) fn of(wave: &Wave) -> Self {
        let edges = (2.0 * wave.duration_s() * wave.frequency_hz).max(1.0);
        let samples = (edges * wave.tau_s / wave.interval_s).max(1.0);
        let longest = (wave.duty.max(1.0 - wave.duty) / wave.frequency_hz).min(wave.duration_s());
        let hidden = if longest < 5.0 * wave.tau_s { 0.008 * (1.0 + wave.error.abs()) } else { 0.0 };
        let noise = 12.0 * wave.sample_deviation() / samples.sqrt();
        Self { floor: 1e-4, uncertainty: noise + 1e-3 + hidden, may_refuse: false }
    }
}

/// `None` when the assessment holds; otherwise what is wrong with it, with the capture.
pub(crate) fn fault_of(wave: &Wave, assessment: &Assessment, demand: Demand) -> Option<String> {
    let truth = wave.expected();
    let codes: Vec<&str> = assessment.findings.iter().map(|f| f.code).collect();
    let say = |what: String| Some(format!("{what}\n    findings {codes:?}\n    {wave:?}"));
    let Some(c) = assessment.compensation else {
        let faults =
            assessment.findings.iter().any(|f| f.severity == Severity::Fault && !f.remedy.is_empty());
        if assessment.verdict != Verdict::Undetermined || !faults {
            return say(format!("declined with verdict {:?} and without a fault", assessment.verdict));
        }
        return if demand.may_refuse { None } else { say("declined".to_owned()) };
    };
    let (e, u) = (c.error.value, c.error.standard_uncertainty);
    if !((e - truth).abs() <= (4.0 * u).max(demand.floor)) {
        return say(format!("e = {e:+.5} for {truth:+.5}, u = {u:.5}: {:.1} u off", (e - truth).abs() / u));
    }
    if !(u > 0.0 && u <= demand.uncertainty) {
        return say(format!(
            "e = {e:+.5} for {truth:+.5}, u = {u:.5} where {:.5} would do",
            demand.uncertainty
        ));
    }
    if wrong(truth, assessment.verdict) {
        return say(format!(
            "verdict {:?} for e = {truth:+.5} (found {e:+.5}, u = {u:.5})",
            assessment.verdict
        ));
    }
    None
}

/// Whether a verdict says what is not so.
pub(crate) fn wrong(truth: f64, verdict: Verdict) -> bool {
    match verdict {
        Verdict::WithinTolerance => truth.abs() > TOLERANCE,
        Verdict::Undercompensated => truth > -TOLERANCE,
        Verdict::Overcompensated => truth < TOLERANCE,
        Verdict::Undetermined => false,
    }
}

/// Assesses every wave and fails with all that do not hold.
pub(crate) fn hold(waves: impl IntoIterator<Item = (Wave, Demand)>) {
    let mut count = 0;
    let faults: Vec<String> = waves
        .into_iter()
        .filter_map(|(wave, demand)| {
            count += 1;
            fault_of(&wave, &wave.assess(), demand)
        })
        .collect();
    assert!(count > 0, "no captures");
    assert!(faults.is_empty(), "{} of {count} captures:\n{}", faults.len(), faults.join("\n"));
}
