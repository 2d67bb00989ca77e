//! Fits the model, and decides from the record itself which company the square wave has.

use super::model::{BASE, LN_TAU, Model, STEP, TAIL, Term};
use crate::numeric::least_squares::{self, Options, Problem, Solution};
use crate::numeric::linear::{Triangle, solve_triangle};

/// A fitted model.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub theta: Vec<f64>,
    /// Covariance for the noise that the model was weighted with.
    pub covariance: Vec<f64>,
    /// Weighted sum of squares, priors included.
    pub cost: f64,
    /// Averages that took part.
    pub rows: usize,
}

/// Sum of squares that one more linear term has to take away (99 % of the chi-squared distribution), and one that
/// is searched for over several shapes.
const WORTH_ONE: f64 = 6.6;
const WORTH_SEARCHED: f64 = 16.0;
/// Mains frequencies looked for, Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];

/// What the choice of terms needs to know about the record.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setting {
    /// Sample interval, s.
    pub interval_s: f64,
    /// ln τ above which a lone tail cannot come from the divider, τ in sample intervals.
    pub slowest_ln_tau: f64,
    /// Step of the quantiser, V.
    pub quantum: Option<f64>,
}

/// Solves for given terms from a start found by a search over τ.
pub(super) fn solve(model: &Model<'_>, start: Option<&[f64]>) -> Option<Fit> {
    let start = match start {
        Some(theta) => theta.to_vec(),
        None => search(model)?,
    };
    let options = Options { max_passes: 60, relative_step: 1e-8, relative_cost: 1e-9, ..Options::default() };
    let solution: Solution = least_squares::solve(model, &start, &options).ok()?;
    let covariance = solution.covariance?;
    (solution.theta.iter().all(|v| v.is_finite())).then_some(Fit {
        theta: solution.theta,
        covariance,
        cost: solution.cost,
        rows: solution.rows,
    })
}

/// The best of a few time constants, everything linear solved for each. The slow term starts without amplitude.
fn search(model: &Model<'_>) -> Option<Vec<f64>> {
    let p = model.parameters();
    let mut best: Option<(f64, Vec<f64>)> = None;
    for factor in [0.3, 0.6, 1.0, 1.7, 3.0, 6.0] {
        let mut theta = vec![0.0; p];
        theta[LN_TAU] = model.prior_ln_tau.0 + f64::ln(factor);
        theta[TAIL] = 1e-3;
        let slow = model.offset_of(|t| matches!(t, Term::Slow { .. }));
        if let (Some(i), Some(Term::Slow { centre_ln })) =
            (slow, model.terms.iter().find(|t| matches!(t, Term::Slow { .. })))
        {
            theta[i] = *centre_ln;
        }
        let frozen = |i: usize| i == LN_TAU || slow == Some(i) || is_frequency(model, i);
        let free: Vec<usize> = (0..p).filter(|&i| !frozen(i)).collect();
        let mut triangle = Triangle::new(free.len());
        let mut row = vec![0.0; free.len()];
        // The values at zero linear parameters are nil, so the residual there is minus the observation.
        let zero: Vec<f64> = (0..p).map(|i| if frozen(i) { theta[i] } else { 0.0 }).collect();
        model.visit(&zero, |residual, full| {
            for (r, &i) in row.iter_mut().zip(&free) {
                *r = full[i];
            }
            triangle.push(-residual, &row);
        });
        triangle.fold();
        let Ok(solution) = solve_triangle(&triangle) else { continue };
        for (value, &i) in solution.theta.iter().zip(&free) {
            theta[i] = *value;
        }
        if best.as_ref().is_none_or(|(cost, _)| solution.cost < *cost) {
            best = Some((solution.cost, theta));
        }
    }
    best.map(|(_, theta)| theta)
}

fn is_frequency(model: &Model<'_>, index: usize) -> bool {
    let mut offset = BASE;
    for term in &model.terms {
        if let Term::Hum { frequency_free: true, .. } = term
            && index == offset + 2
        {
            return true;
        }
        offset += term.parameters();
    }
    false
}

/// Adds terms one at a time, each the one that takes most away from the sum of squares, while they are worth it.
pub(super) fn choose_terms(model: &mut Model<'_>, setting: &Setting) -> Option<Fit> {
    let mut fit = solve(model, None)?;
    // A quantiser without dither leaves steps on the record that any slow term would seem to explain: a term has to
    // explain more than they can be.
    let samples: f64 = model.averages.iter().filter(|a| model.takes_part(a)).map(|a| a.count).sum();
    let steps = setting.quantum.map_or(0.0, |q| {
        let dither = (model.noise * model.noise - q * q / 12.0).max(0.0);
        let share = (-2.0 * std::f64::consts::PI.powi(2) * dither / (q * q)).exp();
        samples * (0.4 * q * share / model.noise).powi(2)
    });
    for _round in 0..8 {
        let lone_slow = !has_slow(model)
            && fit.theta[LN_TAU] > setting.slowest_ln_tau
            && fit.theta[TAIL].abs() > 3.0 * deviation(&fit, TAIL).min(fit.theta[STEP].abs());
        let candidates = candidates(model, setting);
        let mut best: Option<(f64, Vec<Term>)> = None;
        for (terms, worth) in candidates {
            let gain = gain_of(model, &fit, &terms) / (worth + steps);
            if gain > 1.0 && best.as_ref().is_none_or(|(g, _)| gain > *g) {
                best = Some((gain, terms));
            }
        }
        if lone_slow {
            best = Some((f64::INFINITY, vec![slow_term(model)]));
        }
        let Some((_, terms)) = best else { break };
        let kept = model.terms.clone();
        model.terms.extend(terms);
        // A start by search again: a new slow tail may change which time constant is the divider's.
        match solve(model, None) {
            Some(better) if better.cost < fit.cost - WORTH_ONE || lone_slow => fit = better,
            _ => {
                model.terms = kept;
                break;
            }
        }
    }
    Some(fit)
}

fn deviation(fit: &Fit, i: usize) -> f64 {
    fit.covariance[i * fit.theta.len() + i].max(0.0).sqrt()
}

fn has_slow(model: &Model<'_>) -> bool {
    model.terms.iter().any(|t| matches!(t, Term::Slow { .. }))
}

fn slow_term(model: &Model<'_>) -> Term {
    Term::Slow { centre_ln: model.prior_ln_tau.0 + f64::ln(12.0) }
}

/// Terms that could be added next, each with the sum of squares it has to take away.
fn candidates(model: &Model<'_>, setting: &Setting) -> Vec<(Vec<Term>, f64)> {
    let mut list = Vec::new();
    let orders: Vec<i32> =
        model.terms.iter().filter_map(|t| if let Term::Drift { order } = t { Some(*order) } else { None }).collect();
    let next = orders.iter().max().map_or(1, |o| o + 1);
    if next <= 3 {
        list.push((vec![Term::Drift { order: next }], WORTH_ONE));
    }
    let duration_s = model.points * setting.interval_s;
    for mains in MAINS_HZ {
        let cycles = duration_s * mains;
        if cycles < 0.3 {
            continue;
        }
        for harmonic in [1.0, 2.0, 3.0] {
            let nominal = mains * harmonic * setting.interval_s;
            let present = model.terms.iter().any(|t| {
                if let Term::Hum { nominal: n, .. } = t { (n / nominal - 1.0).abs() < 0.01 } else { false }
            });
            let harmonics_too = harmonic < 1.5
                || model.terms.iter().any(|t| {
                    matches!(t, Term::Hum { nominal: n, .. } if (n / (mains * setting.interval_s) - 1.0).abs() < 0.01)
                });
            if !present && harmonics_too && nominal < 0.2 {
                list.push((vec![Term::Hum { nominal, frequency_free: cycles * harmonic > 0.7 }], WORTH_SEARCHED));
            }
        }
    }
    if !has_slow(model) && model.edges.len() >= 2 {
        list.push((vec![slow_term(model)], WORTH_SEARCHED));
    }
    list
}

/// Reduction of the weighted sum of squares that terms would bring, everything else adjusting to first order.
fn gain_of(model: &Model<'_>, fit: &Fit, terms: &[Term]) -> f64 {
    let mut larger = model.clone();
    larger.terms.extend_from_slice(terms);
    let (p, q) = (model.parameters(), larger.parameters());
    let shifts: &[f64] =
        if terms.iter().any(|t| matches!(t, Term::Slow { .. })) { &[-1.0, 0.0, 1.5] } else { &[0.0] };
    let mut most = 0.0_f64;
    for shift in shifts {
        let mut theta = fit.theta.clone();
        theta.resize(q, 0.0);
        let mut frozen = Vec::new();
        let mut offset = p;
        for term in terms {
            match term {
                Term::Slow { centre_ln } => {
                    theta[offset] = centre_ln + shift;
                    frozen.push(offset);
                }
                Term::Hum { frequency_free: true, .. } => frozen.push(offset + 2),
                _ => {}
            }
            offset += term.parameters();
        }
        let free: Vec<usize> = (0..q).filter(|i| !frozen.contains(i)).collect();
        let mut triangle = Triangle::new(free.len());
        let mut row = vec![0.0; free.len()];
        let mut cost = 0.0;
        larger.visit(&theta, |residual, full| {
            for (r, &i) in row.iter_mut().zip(&free) {
                *r = full[i];
            }
            cost += residual * residual;
            triangle.push(-residual, &row);
        });
        triangle.fold();
        if let Ok(solution) = solve_triangle(&triangle) {
            most = most.max(cost - solution.cost);
        }
    }
    most
}

/// Widens what is assumed of an unseen earlier edge when the record contradicts it.
pub(super) fn trust_history(model: &mut Model<'_>, fit: Fit) -> Option<Fit> {
    let Some(i) = model.offset_of(|t| matches!(t, Term::History { .. })) else { return Some(fit) };
    for term in &mut model.terms {
        if let Term::History { spread } = term
            && fit.theta[i].abs() > 2.0 * *spread
            && *spread < 0.5
        {
            *spread = 0.5;
            return solve(model, Some(&fit.theta));
        }
    }
    Some(fit)
}
