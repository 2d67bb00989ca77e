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

use super::{Stored, Written};
use crate::divider::Shelf;

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
    /// The largest change that the correction made to a sample.
    pub greatest_change: f64,
}

const BLOCK: usize = 256;
/// Samples of the past that the formulas look at.
const PAST: usize = 4;
const ROOM: usize = BLOCK + PAST;

/// The corrector: takes samples in pieces of any length, gives corrected ones with their uncertainties.
#[derive(Clone, Debug)]
pub struct ShelfCorrector {
    setting: Setting,
    step: Step,
    /// z, z², z⁴ and the same of z².
    z: [f64; 3],
    w: [f64; 3],
    /// e·q/e and its quadratic form of (ρ, v) for the variance by e and τp: ρ², 2ρv, v².
    q: f64,
    form: [f64; 3],
    jump: f64,
    /// Variance of the noise when it has built up.
    noise_variance: f64,
    /// Last sample; `None` before the first.
    last: Option<f64>,
    missing_since: u64,
    /// The last [`PAST`] of each: ρ's drive t and its first sum, ρ, v's first sum, v, jumps' drive and first sum, their variance; x.
    t: [f64; PAST],
    tt: [f64; PAST],
    rho: [f64; PAST],
    cc: [f64; PAST],
    v: [f64; PAST],
    s: [f64; PAST],
    ss: [f64; PAST],
    b: [f64; PAST],
    /// Last drive of v, last corrected sample.
    c: f64,
    x: f64,
    /// Put into the next sample's t, v's drive and variance, and into the variance of the one after it.
    pending: Pending,
    count: u64,
    missing: u64,
    gaps: u64,
    greatest_jump: f64,
    u: (f64, f64, f64),
    greatest_change: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Pending {
    fresh: bool,
    t: f64,
    c: f64,
    s: [f64; 2],
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
        let (z2, w) = (z * z, z * z);
        Ok(Self {
            setting,
            step,
            z: [z, z2, z2 * z2],
            w: [w, w * w, w * w * w * w],
            q,
            form,
            jump: (e * g) * (e * g) * step.jump_variance(h).max(0.0),
            noise_variance,
            last: None,
            missing_since: 0,
            t: [0.0; PAST],
            tt: [0.0; PAST],
            rho: [0.0; PAST],
            cc: [0.0; PAST],
            v: [0.0; PAST],
            s: [0.0; PAST],
            ss: [0.0; PAST],
            b: [0.0; PAST],
            c: 0.0,
            x: 0.0,
            pending: Pending::default(),
            count: 0,
            missing: 0,
            gaps: 0,
            greatest_jump: 0.0,
            u: (f64::INFINITY, 0.0, 0.0),
            greatest_change: 0.0,
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
            let part = &samples[from..count.min(from + BLOCK)];
            for (place, sample) in y.iter_mut().zip(part) {
                *place = sample.wide();
            }
            let y = &y[..part.len()];
            let end = from + part.len();
            let (out, u) = (&mut corrected[from..end], &mut uncertainty[from..end]);
            // The difference of a number with itself is nil unless it is not finite.
            if y.iter().fold(0.0, |sum, v| sum + (v - v)).abs() <= 0.0 {
                self.run(y, out, u);
            } else {
                self.with_gaps(y, out, u);
            }
            from = end;
        }
    }

    /// What there is to say about all that was taken in so far.
    pub fn summary(&self) -> Summary {
        let present = self.count - self.missing;
        let e = self.setting.shelf.shelf.error;
        let sigma = self.noise_variance.sqrt();
        let noise_gain = noise_power(self.q, self.z[0]).sqrt();
        Summary {
            samples: self.count,
            missing: self.missing,
            gaps: self.gaps,
            noise_gain,
            start_up_samples: start_up(self.start_variance(), sigma, self.setting.span, self.z[0])
                .min(self.count),
            bias_bound: e.abs() * self.step.g * self.step.jump_bound() * self.greatest_jump,
            least_u: if present > 0 { self.u.0.max(0.0).sqrt() } else { 0.0 },
            greatest_u: self.u.1.sqrt(),
            rms_u: if present > 0 { (self.u.2 / present as f64).sqrt() } else { 0.0 },
            greatest_change: self.greatest_change,
        }
    }

    /// Of the first state, e·(w − x): w anywhere within the span about x with even odds (JCGM 100, 4.3.7).
    fn start_variance(&self) -> f64 {
        let half_width = self.setting.shelf.shelf.error * self.setting.span;
        match self.setting.before {
            Before::Rest => 0.0,
            Before::Unknown => half_width * half_width / 3.0,
        }
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

    /// The first sample, or the first after a gap: what the states are is put in as if it came with it.
    fn begin(&mut self, y: f64) {
        let variance = self.setting.noise * self.setting.noise;
        let Some(last) = self.last else {
            // The first sample carries its own noise and none of others.
            let first = variance - self.noise_variance;
            let second = variance * self.q * self.q * 2.0 * self.z[0] / (1.0 + self.z[0]);
            let start = self.start_variance();
            self.pending =
                Pending { fresh: true, t: 0.0, c: 0.0, s: [start + first, second - self.w[0] * first] };
            self.x = y;
            return;
        };
        let step_s = (self.missing_since + 1) as f64 * self.setting.interval_s;
        let long = Step::of(self.setting.shelf.shelf, step_s);
        let newest = PAST - 1;
        let unknown = self.setting.shelf.shelf.error * long.g * (1.0 - long.a) * self.setting.span;
        let noise = 2.0 * (self.setting.shelf.shelf.error * long.gain).powi(2) * variance;
        let carried = long.z * long.z * self.b[newest].max(0.0);
        self.pending = Pending {
            fresh: true,
            t: long.z * self.rho[newest] - (y - last) * long.gain / self.step.gain,
            c: long.z * self.v[newest],
            s: [carried + unknown * unknown / 3.0 + noise, 0.0],
        };
        let nil = [0.0; PAST];
        (self.t, self.tt, self.rho, self.cc, self.v) = (nil, nil, nil, nil, nil);
        (self.s, self.ss, self.b, self.c) = (nil, nil, nil, 0.0);
        // No jump within the gap: it is part of what is unknown about it.
        self.x = y + self.q * self.pending.t;
    }

    /// Samples that are all there, at most [`BLOCK`] of them.
    fn run<O: Written>(&mut self, y: &[f64], out: &mut [O], u: &mut [O]) {
        let n = y.len();
        if self.last.is_none() || self.missing_since > 0 {
            self.begin(y[0]);
            self.last = Some(y[0]);
            self.missing_since = 0;
        }
        let mut last = self.last.unwrap_or(y[0]);
        let [z, z2, z4] = self.z;
        let [w, w2, w4] = self.w;
        let mut t = with_past(&self.t);
        for i in 0..n {
            t[PAST + i] = last - y[i];
            last = y[i];
        }
        t[PAST] += self.pending.t;
        let mut tt = with_past(&self.tt);
        first_sum(z, &t, &mut tt, n);
        let mut rho = with_past(&self.rho);
        recursion(z2, z4, &tt, &mut rho, n);
        // v's drive is ρ of the sample before.
        let mut c = [0.0; ROOM];
        c[PAST - 1] = self.c;
        c[PAST] = self.pending.c;
        c[PAST..PAST + n].iter_mut().zip(&rho[PAST - 1..]).for_each(|(c, rho)| *c += rho);
        let mut cc = with_past(&self.cc);
        for i in PAST..PAST + n {
            cc[i] = c[i] + z * c[i - 1];
        }
        let mut v = with_past(&self.v);
        recursion(z2, z4, &cc, &mut v, n);
        let mut x = [0.0; ROOM];
        for i in 0..n {
            x[i + 1] = y[i] + self.q * rho[PAST + i];
        }
        x[0] = self.x;
        let mut s = with_past(&self.s);
        for i in 0..n {
            let step = x[i + 1] - x[i];
            s[PAST + i] = step * step;
        }
        let jump = greatest(&s[PAST..PAST + n]);
        for i in 0..n {
            s[PAST + i] *= self.jump;
        }
        let mut moved = [0.0; BLOCK];
        for i in 0..n {
            moved[i] = (self.q * rho[PAST + i]).abs();
        }
        let change = greatest(&moved[..n]);
        if self.pending.fresh {
            s[PAST] += self.pending.s[0];
            if n > 1 {
                s[PAST + 1] += self.pending.s[1];
            }
        } else {
            s[PAST] += self.pending.s[1];
        }
        let mut ss = with_past(&self.ss);
        first_sum(w, &s, &mut ss, n);
        let mut b = with_past(&self.b);
        recursion(w2, w4, &ss, &mut b, n);
        let [on_rho, on_both, on_v] = self.form;
        let base = self.noise_variance;
        let mut variance = [0.0; BLOCK];
        for i in 0..n {
            let (rho, v) = (rho[PAST + i], v[PAST + i]);
            let sum = base + b[PAST + i] + rho * (on_rho * rho + on_both * v) + on_v * (v * v);
            // Rounding can leave a hair below nil.
            variance[i] = if sum > 0.0 { sum } else { 0.0 };
        }
        for i in 0..n {
            out[i] = O::narrow(x[i + 1]);
            u[i] = O::narrow(variance[i].sqrt());
        }
        let variance = &variance[..n];
        let (least, most, sum) = (-greatest_of(variance, |v| -v), greatest(variance), total(variance));
        self.last = Some(last);
        for (state, row) in [
            (&mut self.t, &t),
            (&mut self.tt, &tt),
            (&mut self.rho, &rho),
            (&mut self.cc, &cc),
            (&mut self.v, &v),
            (&mut self.s, &s),
            (&mut self.ss, &ss),
            (&mut self.b, &b),
        ] {
            state.copy_from_slice(&row[n..n + PAST]);
        }
        self.x = x[n];
        let left = if self.pending.fresh && n == 1 { self.pending.s[1] } else { 0.0 };
        self.c = c[PAST + n - 1];
        self.pending = Pending { s: [0.0, left], ..Pending::default() };
        self.count += n as u64;
        self.greatest_jump = self.greatest_jump.max(jump.sqrt());
        self.greatest_change = self.greatest_change.max(change);
        self.u = (self.u.0.min(least), self.u.1.max(most), self.u.2 + sum);
    }
}

/// The greatest of numbers that are not below nil. Side by side in [`PAST`] lanes, since one comparison waits for the one before.
fn greatest(values: &[f64]) -> f64 {
    greatest_of(values, |v| v).max(0.0)
}

#[inline(always)]
fn greatest_of(values: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    let mut lanes = [f64::NEG_INFINITY; PAST];
    let mut groups = values.chunks_exact(PAST);
    for group in &mut groups {
        for (lane, value) in lanes.iter_mut().zip(group) {
            let value = of(*value);
            *lane = if value > *lane { value } else { *lane };
        }
    }
    groups.remainder().iter().map(|v| of(*v)).chain(lanes).fold(f64::NEG_INFINITY, f64::max)
}

fn total(values: &[f64]) -> f64 {
    let mut lanes = [0.0; PAST];
    let mut groups = values.chunks_exact(PAST);
    for group in &mut groups {
        for (lane, value) in lanes.iter_mut().zip(group) {
            *lane += value;
        }
    }
    groups.remainder().iter().chain(&lanes).sum()
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

/// Room for a block behind the past of a state.
fn with_past(past: &[f64; PAST]) -> [f64; ROOM] {
    let mut row = [0.0; ROOM];
    row[..PAST].copy_from_slice(past);
    row
}

/// sum\[i\] = drive\[i\] + z·drive\[i−1\].
#[inline(always)]
fn first_sum(z: f64, drive: &[f64; ROOM], sum: &mut [f64; ROOM], n: usize) {
    for i in PAST..PAST + n {
        sum[i] = drive[i] + z * drive[i - 1];
    }
}

/// state\[i\] = z⁴·state\[i−4\] + (sum\[i\] + z²·sum\[i−2\]): four recursions side by side, each answering to every fourth sample.
#[inline(always)]
fn recursion(z2: f64, z4: f64, sum: &[f64; ROOM], state: &mut [f64; ROOM], n: usize) {
    for i in PAST..PAST + n {
        state[i] = sum[i] + z2 * sum[i - 2];
    }
    let mut lanes = [state[0], state[1], state[2], state[3]];
    let mut groups = state[PAST..PAST + n].chunks_exact_mut(PAST);
    for group in &mut groups {
        for (lane, place) in lanes.iter_mut().zip(group) {
            *lane = z4 * *lane + *place;
            *place = *lane;
        }
    }
    for (lane, place) in lanes.iter().zip(groups.into_remainder()) {
        *place += z4 * lane;
    }
}

#[cfg(test)]
mod tests;
