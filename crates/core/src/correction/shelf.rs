//! The first-order shelf undone, exactly where the true signal runs straight from sample to sample (first-order hold).
//!
//! With the interval T, h = T/τp, a = e^(−h), φ = (1 − a)/h, the shelf's output is y = x − r with the state r = e·(w − x), w being x
//! behind the low-pass of τp. For x straight between samples, Δ standing for the difference to the sample before,
//!
//! r\[n\] = a·r\[n−1\] − e·φ·Δx\[n\]   and with Δx = Δy + Δr   **r\[n\] = z·r\[n−1\] − q·Δy\[n\],  x = y + r**,
//! z = (a + e·φ)/(1 + e·φ), q = e·φ/(1 + e·φ).
//!
//! - Stable for every e > −1 and every T: 1 + eφ > 0 and 1 − z = (1 − a)/(1 + eφ) > 0; z > −1 since 1 + a + 2eφ > 1 + a − 2φ ≥ 0 (φ, the
//!   logarithmic mean of 1 and a, is not above their arithmetic mean). e ≤ −1 has no inverse and is refused.
//! - Driven by differences, so that the gain at dc is 1 to the last bit, and e = 0 changes nothing.
//! - Computed as r\[n\] = z⁴·r\[n−4\] + (four differences), the same formula for every sample however the record is cut into pieces:
//!   the pieces give the same bits.
//! - Straight *output* between samples, the other simple choice, would be wrong at each edge: behind the shelf an edge decays from the
//!   instant it happens. A jump *within* an interval is what straight input misses: then r is off by up to |e|·max(1 − φ, φ − a)/(1 + eφ)
//!   of the jump ([`Summary::bias_bound`]), half of h for small h. A jump equally likely anywhere in the interval makes the mean of that nil
//!   and its variance (e/(1 + eφ))²·((1 − a²)/2h − φ²)·Δx², which is part of the uncertainty.
//!
//! The uncertainty of a sample (JCGM 100, 5.1.2, 5.2.2): noise of the samples through the inverse, its building up included; e and τp with
//! their correlation by the sensitivities of r, which are recursions beside it; jumps between samples; what came before the record.

mod rows;
mod seen;

use multiversion::multiversion;

use super::{Inside, Stored, Written};
use crate::divider::Shelf;
use rows::{BLOCK, PAST, Rows, State, all_finite, recursion};
use seen::{Passed, Seen};

/// A shelf as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownShelf {
    /// e and τp.
    pub shelf: Shelf,
    /// Standard uncertainty of e.
    pub error_u: f64,
    /// Standard uncertainty of τp, s.
    pub time_constant_u_s: f64,
    /// Correlation coefficient of the two.
    pub correlation: f64,
}

/// What is known about the signal before the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Before {
    /// It rested at the level of the first sample, for many τp.
    Rest,
    /// It was somewhere within the range of the record.
    Unknown,
}

/// What a correction needs to know besides the samples. Values in the stored units of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// What to undo.
    pub shelf: KnownShelf,
    /// Time between samples, s.
    pub interval_s: f64,
    /// Standard deviation of the noise of one sample.
    pub noise: f64,
    /// Range of the record: greatest less least value.
    pub span: f64,
    /// What came before.
    pub before: Before,
}

/// A setting that cannot be worked with.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ShelfError {
    /// Nothing inverts it.
    #[error(
        "compensation error e is {error}: it must be above -1 (-100 %), or fast parts are lost for good; check e"
    )]
    Error {
        /// As given.
        error: f64,
    },
    /// Not above zero, or not finite.
    #[error("{quantity} is {value}: it must be finite and {range}")]
    Value {
        /// Which one.
        quantity: &'static str,
        /// As given.
        value: f64,
        /// What it should be.
        range: &'static str,
    },
}

/// The recursion's constants for one length of step.
#[derive(Clone, Copy, Debug)]
struct Step {
    a: f64,
    phi: f64,
    /// 1/(1 + eφ).
    g: f64,
    z: f64,
    /// q/e, so that it stands for e = 0, too.
    gain: f64,
}

impl Step {
    fn of(shelf: Shelf, step_s: f64) -> Self {
        let h = step_s / shelf.time_constant_s;
        let (a, lost) = ((-h).exp(), -(-h).exp_m1());
        // The interval may be so long that nothing is left of anything before it.
        let phi = if h > 0.0 { lost / h } else { 1.0 };
        let g = 1.0 / (1.0 + shelf.error * phi);
        Self { a, phi, g, z: 1.0 - lost * g, gain: phi * g }
    }

    /// Variance of what a jump of 1, equally likely anywhere in the step, makes of w beyond a ramp.
    fn jump_variance(&self, h: f64) -> f64 {
        if h < 1e-3 {
            h * h / 12.0 * (1.0 - h)
        } else {
            (1.0 - self.a * self.a) / (2.0 * h) - self.phi * self.phi
        }
    }

    /// The most that such a jump can make.
    fn jump_bound(&self) -> f64 {
        (1.0 - self.phi).max(self.phi - self.a)
    }
}

/// What came out, beside the samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// Samples taken in.
    pub samples: u64,
    /// How many of them were missing.
    pub missing: u64,
    /// Stretches of missing samples.
    pub gaps: u64,
    /// Standard deviation of the noise after over before, when it has built up.
    pub noise_gain: f64,
    /// Leading samples whose uncertainty is raised by more than a tenth by not knowing what came before.
    pub start_up_samples: u64,
    /// The most that a jump within one interval can put the samples after it off, for the largest step from sample to sample.
    pub bias_bound: f64,
    /// Largest and smallest standard uncertainty; nil where there is no sample.
    pub least_u: f64,
    /// See `least_u`.
    pub greatest_u: f64,
    /// Root mean square of the standard uncertainties.
    pub rms_u: f64,
    /// Median and greatest of them behind the start-up; `None` where there are none.
    pub inside: Option<Inside>,
    /// The largest change that the correction made to a sample.
    pub greatest_change: f64,
}

/// The corrector: takes samples in pieces of any length, gives corrected ones with their uncertainties.
#[derive(Clone, Debug)]
pub struct ShelfCorrector {
    setting: Setting,
    step: Step,
    z: f64,
    /// q, and the quadratic form of (ρ, v) for the variance by e and τp: ρ², 2ρv, v².
    q: f64,
    form: [f64; 3],
    jump: f64,
    /// Variance of the noise when it has built up.
    noise_variance: f64,
    /// Last sample; `None` before the first.
    last: Option<f64>,
    missing_since: u64,
    rows: Box<Rows>,
    /// Samples since the beginning or the last gap, as far as they matter.
    since: usize,
    /// What comes to the variance of the second sample.
    second: f64,
    passed: Passed,
    count: u64,
    missing: u64,
    gaps: u64,
}

impl ShelfCorrector {
    /// A corrector before its first sample.
    ///
    /// # Errors
    /// e not above −1, values that are not finite or below zero.
    pub fn new(setting: Setting) -> Result<Self, ShelfError> {
        let KnownShelf { shelf, error_u, time_constant_u_s, correlation } = setting.shelf;
        if !(shelf.error > -1.0 && shelf.error.is_finite()) {
            return Err(ShelfError::Error { error: shelf.error });
        }
        let positive = "above zero";
        let not_negative = "not below zero";
        for (quantity, value, range, fine) in [
            ("time constant, s,", shelf.time_constant_s, positive, shelf.time_constant_s > 0.0),
            ("interval between samples, s,", setting.interval_s, positive, setting.interval_s > 0.0),
            ("noise", setting.noise, not_negative, setting.noise >= 0.0),
            ("range", setting.span, not_negative, setting.span >= 0.0),
            ("standard uncertainty of e", error_u, not_negative, error_u >= 0.0),
            (
                "standard uncertainty of the time constant, s,",
                time_constant_u_s,
                not_negative,
                time_constant_u_s >= 0.0,
            ),
            ("correlation coefficient", correlation, "from -1 to 1", correlation.abs() <= 1.0),
        ] {
            if !(fine && value.is_finite()) {
                return Err(ShelfError::Value { quantity, value, range });
            }
        }
        let step = Step::of(shelf, setting.interval_s);
        let (e, tau, h) = (shelf.error, shelf.time_constant_s, setting.interval_s / shelf.time_constant_s);
        let Step { a, phi, g, z, gain } = step;
        let q = e * gain;
        // Slopes of q and z: r = q·ρ, so ∂r = ∂q·ρ + q·∂z·v with v the answer of 1/(1 − zD) to ρ of the sample before.
        let lost = -(-h).exp_m1();
        let (a_tau, phi_tau) = (a * h / tau, (phi - a) / tau);
        let q_slopes = [phi * g * g, e * g * g * phi_tau];
        let z_slopes = [phi * g * g * lost, g * a_tau + e * g * g * lost * phi_tau];
        // Two independent unit variables stand for (e, τp): the rows of the covariance's root.
        let independent = (1.0 - correlation * correlation).max(0.0).sqrt();
        let roots = [[error_u, correlation * time_constant_u_s], [0.0, independent * time_constant_u_s]];
        let mut form = [0.0; 3];
        for root in roots {
            let on_rho = root[0] * q_slopes[0] + root[1] * q_slopes[1];
            let on_v = q * (root[0] * z_slopes[0] + root[1] * z_slopes[1]);
            form[0] += on_rho * on_rho;
            form[1] += 2.0 * on_rho * on_v;
            form[2] += on_v * on_v;
        }
        let variance = setting.noise * setting.noise;
        let noise_variance = variance * noise_power(q, z);
        let first = start_up(start_variance(&setting), noise_variance.sqrt(), setting.span, z);
        Ok(Self {
            setting,
            step,
            z,
            q,
            form,
            jump: (e * g) * (e * g) * step.jump_variance(h).max(0.0),
            noise_variance,
            last: None,
            missing_since: 0,
            rows: Rows::new(),
            since: 0,
            second: 0.0,
            passed: Passed::new(first),
            count: 0,
            missing: 0,
            gaps: 0,
        })
    }

    /// Takes in the next samples; writes as many corrected ones and their standard uncertainties.
    ///
    /// A sample that is NaN or infinite is missing: it comes out as NaN twice. Across a gap the signal is taken as straight, and the
    /// uncertainty after it allows for anything within the range.
    ///
    /// Works on as many samples as the shortest of the three has.
    pub fn push<I: Stored, O: Written>(&mut self, samples: &[I], corrected: &mut [O], uncertainty: &mut [O]) {
        let count = samples.len().min(corrected.len()).min(uncertainty.len());
        let mut y = [0.0; BLOCK];
        let mut from = 0;
        while from < count {
            let end = from + self.passed.at_once(self.count, BLOCK.min(count - from));
            let y = &mut y[..end - from];
            for (place, sample) in y.iter_mut().zip(&samples[from..end]) {
                *place = sample.wide();
            }
            let (out, u) = (&mut corrected[from..end], &mut uncertainty[from..end]);
            if all_finite(y) {
                self.run(y, out, u);
            } else {
                self.with_gaps(y, out, u);
            }
            from = end;
        }
    }

    /// Gain of the recursion for z⁻¹ = `delay`, a number on the unit circle.
    pub(super) fn response(&self, delay: num_complex::Complex64) -> num_complex::Complex64 {
        1.0 - self.q * (1.0 - delay) / (1.0 - self.z * delay)
    }

    /// What there is to say about all that was taken in so far.
    pub fn summary(&self) -> Summary {
        let present = self.count - self.missing;
        let e = self.setting.shelf.shelf.error;
        let noise_gain = noise_power(self.q, self.z).sqrt();
        let seen = self.passed.all();
        let u = |variance: f64| variance.max(0.0).sqrt();
        Summary {
            samples: self.count,
            missing: self.missing,
            gaps: self.gaps,
            noise_gain,
            start_up_samples: self.passed.start_up_samples(self.count),
            bias_bound: e.abs() * self.step.g * self.step.jump_bound() * self.greatest_jump(&seen),
            least_u: if present > 0 { u(-seen.least.of_all()) } else { 0.0 },
            greatest_u: u(seen.most.of_all()),
            rms_u: u(seen.sum.iter().sum::<f64>() / present.max(1) as f64),
            inside: self.passed.inside(),
            greatest_change: self.q.abs() * seen.rho.of_all().max(0.0),
        }
    }

    /// Largest step from one corrected sample to the next.
    fn greatest_jump(&self, seen: &Seen) -> f64 {
        if self.jump > 0.0 { (seen.jump.of_all().max(0.0) / self.jump).sqrt() } else { 0.0 }
    }

    fn with_gaps<O: Written>(&mut self, y: &[f64], out: &mut [O], u: &mut [O]) {
        let mut from = 0;
        while from < y.len() {
            let missing = y[from..].iter().take_while(|v| !v.is_finite()).count();
            for place in out[from..from + missing].iter_mut().chain(&mut u[from..from + missing]) {
                *place = O::narrow(f64::NAN);
            }
            if missing > 0 {
                self.gaps += u64::from(self.missing_since == 0);
                self.missing_since += missing as u64;
                self.missing += missing as u64;
                self.count += missing as u64;
            }
            from += missing;
            let present = y[from..].iter().take_while(|v| v.is_finite()).count();
            if present > 0 {
                self.run(
                    &y[from..from + present],
                    &mut out[from..from + present],
                    &mut u[from..from + present],
                );
            }
            from += present;
        }
    }

    /// The first sample, or the first after a gap: the states with which the recursions go on.
    fn begin(&mut self, y: f64) -> State {
        let variance = self.setting.noise * self.setting.noise;
        let Some(last) = self.last else {
            // The first sample carries its own noise and none of others.
            let first = variance - self.noise_variance;
            let second = variance * self.q * self.q * 2.0 * self.z / (1.0 + self.z);
            self.second = second - self.z * self.z * first;
            return State {
                t: 0.0,
                rho: 0.0,
                v: 0.0,
                x: y,
                s: 0.0,
                b: start_variance(&self.setting) + first,
            };
        };
        let e = self.setting.shelf.shelf.error;
        let long =
            Step::of(self.setting.shelf.shelf, (self.missing_since + 1) as f64 * self.setting.interval_s);
        let before = self.rows.last();
        // No jump within the gap: it is part of what is unknown about it.
        let unknown = e * long.g * (1.0 - long.a) * self.setting.span;
        let noise = 2.0 * (e * long.gain) * (e * long.gain) * variance;
        let carried = long.z * long.z * before.b.max(0.0);
        let rho = long.z * before.rho - (y - last) * long.gain / self.step.gain;
        self.second = 0.0;
        State {
            t: 0.0,
            rho,
            v: long.z * before.v,
            x: y + self.q * rho,
            s: 0.0,
            b: carried + unknown * unknown / 3.0 + noise,
        }
    }

    /// The next sample by the plain recursions: right behind a beginning, where four samples of the past are not there yet. With what
    /// a jump puts into the variance.
    fn next(&mut self, y: f64) -> (State, f64) {
        let before = self.rows.last();
        let t = self.last.unwrap_or(y) - y;
        let rho = self.z * before.rho + t;
        let x = y + self.q * rho;
        let s = self.jump * ((x - before.x) * (x - before.x));
        let second = std::mem::take(&mut self.second);
        let s_and_second = s + second;
        let b = self.z * self.z * before.b + s_and_second;
        (State { t, rho, v: self.z * before.v + before.rho, x, s: s_and_second, b }, s)
    }

    /// Samples that are all there, at most [`BLOCK`] of them.
    fn run<O: Written>(&mut self, y: &[f64], out: &mut [O], u: &mut [O]) {
        let mut done = 0;
        while done < y.len() && (self.since < PAST || self.missing_since > 0) {
            let begins = self.last.is_none() || self.missing_since > 0;
            let (state, jump) = if begins { (self.begin(y[done]), 0.0) } else { self.next(y[done]) };
            self.since = if begins { 1 } else { self.since + 1 };
            self.missing_since = 0;
            self.last = Some(y[done]);
            self.rows.put(state);
            let variance = variance_of(self.noise_variance, state.b, state.rho, state.v, self.form);
            self.passed.take(self.count, &[variance], &[state.rho], &[jump]);
            self.count += 1;
            (out[done], u[done]) = (O::narrow(state.x), O::root(variance));
            done += 1;
        }
        if done < y.len() {
            self.block(&y[done..], &mut out[done..], &mut u[done..]);
        }
    }

    /// Samples behind at least four others.
    fn block<O: Written>(&mut self, y: &[f64], out: &mut [O], u: &mut [O]) {
        let n = y.len();
        let before = self.last.unwrap_or(y[0]);
        let numbers =
            Numbers { z: self.z, q: self.q, jump: self.jump, noise: self.noise_variance, form: self.form };
        rows_of(&mut self.rows, y, before, &numbers);
        let Rows { rho, x, s, variance, .. } = &*self.rows;
        let block = PAST..PAST + n;
        written(&x[block.clone()], &variance[block.clone()], out, u);
        self.passed.take(self.count, &variance[block.clone()], &rho[block.clone()], &s[block]);
        self.rows.move_on(n);
        self.last = y.last().copied();
        self.count += n as u64;
    }
}

/// Of the first state, e·(w − x): w anywhere within the span about x with even odds (JCGM 100, 4.3.7).
fn start_variance(setting: &Setting) -> f64 {
    let half_width = setting.shelf.shelf.error * setting.span;
    match setting.before {
        Before::Rest => 0.0,
        Before::Unknown => half_width * half_width / 3.0,
    }
}

/// What the rows of a block are made with.
struct Numbers {
    z: f64,
    q: f64,
    jump: f64,
    noise: f64,
    form: [f64; 3],
}

/// Fills the rows of a block of at most [`BLOCK`] samples, `before` being the sample ahead of them.
#[multiversion(targets("x86_64+avx2"))]
fn rows_of(rows: &mut Rows, y: &[f64], before: f64, numbers: &Numbers) {
    let n = y.len();
    let &Numbers { z, q, jump, noise, form } = numbers;
    let Rows { t, rho, v, x, s, b, variance } = rows;
    let block = PAST..PAST + n;
    t[PAST] = before - y[0];
    for (t, pair) in t[PAST + 1..].iter_mut().zip(y.windows(2)) {
        *t = pair[0] - pair[1];
    }
    recursion::<0>(z, t, rho, n);
    recursion::<1>(z, rho, v, n);
    for ((x, y), rho) in x[block.clone()].iter_mut().zip(y).zip(&rho[block.clone()]) {
        *x = y + q * rho;
    }
    let (now, before) = (&x[block.clone()], &x[PAST - 1..PAST - 1 + n]);
    for ((s, now), before) in s[block.clone()].iter_mut().zip(now).zip(before) {
        *s = jump * ((now - before) * (now - before));
    }
    recursion::<0>(z * z, s, b, n);
    let states = b[block.clone()].iter().zip(&rho[block.clone()]).zip(&v[block.clone()]);
    for (place, ((b, rho), v)) in variance[block].iter_mut().zip(states) {
        *place = variance_of(noise, *b, *rho, *v, form);
    }
}

/// Corrected samples and their standard uncertainties, as they are stored.
#[multiversion(targets("x86_64+avx2"))]
fn written<O: Written>(x: &[f64], variance: &[f64], out: &mut [O], u: &mut [O]) {
    for (out, x) in out.iter_mut().zip(x) {
        *out = O::narrow(*x);
    }
    for (u, variance) in u.iter_mut().zip(variance) {
        *u = O::root(*variance);
    }
}

/// Variance of a sample.
#[inline(always)]
fn variance_of(noise: f64, b: f64, rho: f64, v: f64, [on_rho, on_both, on_v]: [f64; 3]) -> f64 {
    let sum = noise + b + rho * (on_rho * rho + on_both * v) + on_v * (v * v);
    // Rounding can leave a hair below nil.
    if sum > 0.0 { sum } else { 0.0 }
}

/// White noise through x = y + r: variance after over before, when it has built up.
fn noise_power(q: f64, z: f64) -> f64 {
    // Answer to a pulse: 1 − q, then q(1 − z)·z^(k−1).
    (1.0 - q) * (1.0 - q) + q * q * (1.0 - z) / (1.0 + z)
}

/// Samples until the start's variance has sunk to a fifth of the noise's (the uncertainty is then raised by a tenth), or to 1e-6 of the
/// span where there is no noise.
fn start_up(start_variance: f64, sigma: f64, span: f64, z: f64) -> u64 {
    let enough = (0.21 * sigma * sigma).max(1e-12 * span * span);
    if !(start_variance > enough) {
        return 0;
    }
    let each = -2.0 * z.abs().ln();
    let samples = (start_variance / enough).ln() / each;
    if samples.is_finite() { samples.ceil() as u64 } else { 1 }
}

#[cfg(test)]
mod tests;
