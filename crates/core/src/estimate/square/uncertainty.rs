//! From the fitted parameters to e and τp with their covariance: noise, edge times and quantiser put together.

use super::model::{LN_TAU, STEP, TAIL, Term};
use super::{Work, model};
use crate::assessment::Estimate;

/// e and τp (in samples) with standard uncertainties and correlation.
#[derive(Clone, Copy, Debug)]
pub(super) struct ErrorAndTau {
    pub error: Estimate,
    pub tau: Estimate,
    pub correlation: f64,
}

/// e from the fitted parameters; where the source is not flat, what the divider makes of that is taken apart again.
///
/// A source tail A + C·HPs behind the divider 1 + e·HPp gives the coefficient e·(A + C·(1+k)) to the divider's
/// exponential and C·(1 − e·k) to the slow one, with k = τp/(τs − τp) (partial fractions). A source whose flats sag
/// straight by S gives e·(A + q) to the divider's exponential and A − e·q to the step, with q = S·τp·(1/th + 1/tl): the
/// response of the high-pass to the change of slope at each edge; th and tl are the lengths of the flats.
pub(super) fn error_of(model: &model::Model<'_>, theta: &[f64]) -> f64 {
    let tau = theta[LN_TAU].exp();
    let mut error = theta[TAIL] / theta[STEP];
    if let Some(i) = model.offset_of(|t| matches!(t, Term::Slow { .. })) {
        let k = tau / (theta[i].exp() - tau);
        for _ in 0..8 {
            let c = theta[i + 1] / (1.0 - error * k);
            error = theta[TAIL] / (theta[STEP] + c * (1.0 + k));
        }
    } else if let Some(i) = model.offset_of(|t| matches!(t, Term::Sag { .. })) {
        let (high, low) = model.flat_lengths();
        let slopes = if model.edges.len() > 1 { 1.0 / high + 1.0 / low } else { 1.0 / high };
        let q = theta[i] * tau * slopes;
        for _ in 0..8 {
            error = theta[TAIL] / (theta[STEP] + q * (1.0 + error));
        }
    }
    error
}

pub(super) fn error_and_tau(work: &Work) -> ErrorAndTau {
    let model = work.model();
    let theta = &work.fit.theta;
    let p = theta.len();
    let error = error_of(&model, theta);
    let tau = theta[LN_TAU].exp();
    let sag = model.offset_of(|t| matches!(t, Term::Sag { .. }));
    let (by, along) = gradient(work, &model);
    let covariance = &work.fit.covariance;
    let dot = |v: &[f64]| -> f64 { v.iter().zip(&by).map(|(a, b)| a * b).sum() };
    let scale = work.noise.scale;
    let mut ee = dot(&along) * scale;
    let mut tt = covariance[LN_TAU * p + LN_TAU] * scale;
    let mut et = along[LN_TAU] * scale;
    // A common shift of the edges scales the tail: exp(δ/τ).
    let by_shift = error * work.times.shift_uncertainty / tau;
    ee += MODEL_FLOOR * MODEL_FLOOR + by_shift * by_shift;
    tt += MODEL_FLOOR * MODEL_FLOOR;
    if sag.is_some() {
        let by_bow = straight_sag(work, &model, &along);
        ee += by_bow * by_bow / 3.0;
    }
    if let Some((step, share)) = work.noise.quantum
        && share > 0.01
    {
        let [q_ee, q_et, q_tt] = quantiser(work, &model, &along, step);
        let remaining = step * step / 12.0 * share * share;
        ee += remaining * q_ee;
        et += remaining * q_et;
        tt += remaining * q_tt;
        // A tail within one code is not seen at all; one over many codes is seen in as many places.
        let unseen = step * share / work.fit.theta[STEP] / (1.0 + (theta[TAIL] / step).abs());
        ee += unseen * unseen / 12.0;
        let of_tail = (step * share / theta[TAIL].abs().max(1e-3 * step)).min(1.0);
        tt += of_tail * of_tail / 12.0;
    }
    // ln τ is never known worse than before looking.
    let (u_e, u_ln_tau) = (ee.max(0.0).sqrt(), tt.max(0.0).sqrt().min(work.prior_ln_tau.1));
    ErrorAndTau {
        error: Estimate { value: error, standard_uncertainty: u_e },
        tau: Estimate { value: tau, standard_uncertainty: tau * u_ln_tau },
        correlation: if u_e > 0.0 && u_ln_tau > 0.0 { (et / (u_e * u_ln_tau)).clamp(-1.0, 1.0) } else { 0.0 },
    }
}

/// Gradient of e by the parameters, and its product with their covariance.
fn gradient(work: &Work, model: &model::Model<'_>) -> (Vec<f64>, Vec<f64>) {
    let theta = &work.fit.theta;
    let p = theta.len();
    let mut by = vec![0.0; p];
    let slow = model.offset_of(|t| matches!(t, Term::Slow { .. }));
    let sag = model.offset_of(|t| matches!(t, Term::Sag { .. }));
    for i in [Some(LN_TAU), Some(STEP), Some(TAIL), slow, slow.map(|i| i + 1), sag].into_iter().flatten() {
        let h = 1e-6 * theta[i].abs().max(1e-3 * theta[STEP].abs()).max(1e-9);
        let at = |d: f64| {
            let mut moved = theta.clone();
            moved[i] += d;
            error_of(model, &moved)
        };
        by[i] = (at(h) - at(-h)) / (2.0 * h);
    }
    let covariance = &work.fit.covariance;
    let along: Vec<f64> = (0..p).map(|i| (0..p).map(|j| covariance[i * p + j] * by[j]).sum()).collect();
    (by, along)
}

/// Standard deviation of e from capture to capture of the same set-up: what the noise of the samples and the edges timed from
/// them make of it. What is known before looking, the quantiser and what the model leaves out are the same each time.
pub(super) fn scatter(work: &Work) -> f64 {
    let model = work.model();
    let (_, along) = gradient(work, &model);
    let weight = 1.0 / (work.noise.sample * work.noise.sample);
    let mut variance = 0.0;
    model.evaluate(&work.fit.theta, |average, _, row| {
        if model.takes_part(average) {
            let of_e: f64 = along.iter().zip(row).map(|(a, r)| a * r).sum();
            variance += weight * average.count * of_e * of_e;
        }
    });
    let by_shift =
        error_of(&model, &work.fit.theta) * work.times.shift_uncertainty / work.fit.theta[LN_TAU].exp();
    (variance * work.noise.scale + by_shift * by_shift).sqrt()
}

/// What the lumped divider leaves out (the cable's resistance and delay, the source's resistance) moves e by up to 7e-5
/// and ln τp by up to 4e-5 in the simulated chains of the validation dossier; taken as the half width of a rectangular distribution.
const MODEL_FLOOR: f64 = 4e-5;

/// Change of e by the bow of the fitted sag: an exponential one was assumed, it may as well be straight.
fn straight_sag(work: &Work, model: &model::Model<'_>, along_e: &[f64]) -> f64 {
    let weight = 1.0 / (work.noise.sample * work.noise.sample);
    let mut change = 0.0;
    model.evaluate(&work.fit.theta, |average, _, row| {
        if model.takes_part(average) {
            let of_e: f64 = along_e.iter().zip(row).map(|(a, r)| a * r).sum();
            change += weight * average.count * of_e * model.bow(&work.fit.theta, average);
        }
    });
    change
}

/// Σ over codes of the squared sensitivities to the error of that code: samples that show the same code share it.
fn quantiser(work: &Work, model: &model::Model<'_>, along_e: &[f64], step: f64) -> [f64; 3] {
    let p = work.fit.theta.len();
    let covariance = &work.fit.covariance;
    let mut by_code: std::collections::BTreeMap<i64, (f64, f64)> = std::collections::BTreeMap::new();
    let weight = 1.0 / (work.noise.sample * work.noise.sample);
    model.evaluate(&work.fit.theta, |average, _, row| {
        if !model.takes_part(average) {
            return;
        }
        let code = ((average.mean - work.levels.low) / step).round() as i64;
        let of_e: f64 = (0..p).map(|i| along_e[i] * row[i]).sum();
        let of_ln_tau: f64 = (0..p).map(|i| covariance[LN_TAU * p + i] * row[i]).sum();
        let sums = by_code.entry(code).or_insert((0.0, 0.0));
        sums.0 += weight * average.count * of_e;
        sums.1 += weight * average.count * of_ln_tau;
    });
    let mut out = [0.0; 3];
    for (e, t) in by_code.values() {
        out[0] += e * e;
        out[1] += e * t;
        out[2] += t * t;
    }
    out
}
