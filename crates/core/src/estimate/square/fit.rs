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
}

/// Sum of squares that one more linear term has to take away (99 % of the chi-squared distribution), and one that
/// is searched for over several shapes.
const WORTH_ONE: f64 = 6.6;
const WORTH_SEARCHED: f64 = 16.0;
/// The same for a slow tail, which is searched for and so near to the divider's own that chance should not bring it in:
/// with two parameters more, chance takes away 13 once in 700 records.
const WORTH_SLOW: f64 = 13.0;
/// Prior standard deviation of the sag of a source's flats, as a share of the step (common practice for calibration
/// outputs), and what it becomes once a record shows that its source is worse.
pub(super) const SAG: (f64, f64) = (0.005, 0.1);
/// Mains frequencies looked for, Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];

/// What the choice of terms needs to know about the record.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setting {
    /// Sample interval, s.
    pub interval_s: f64,
    /// ln τ above which a lone tail cannot come from the divider, τ in sample intervals.
    pub slowest_ln_tau: f64,
    /// Rough height of the step, V.
    pub step: f64,
    /// Step of the quantiser, V.
    pub quantum: Option<f64>,
}

/// Solves for given terms from a start found by a search over τ.
pub(super) fn solve(model: &Model<'_>, start: Option<&[f64]>) -> Option<Fit> {
    let fit = descend(model, start)?;
    let Some(slow) = model.offset_of(|t| matches!(t, Term::Slow { .. })) else { return Some(fit) };
    if fit.theta[slow] > fit.theta[LN_TAU] {
        return Some(fit);
    }
    // The two exponentials took each other's place: give them their own and go on from there.
    let mut swapped = fit.theta.clone();
    swapped.swap(slow, LN_TAU);
    swapped.swap(slow + 1, TAIL);
    let other = descend(model, Some(&swapped))?;
    Some(if other.cost < fit.cost { other } else { fit })
}

fn descend(model: &Model<'_>, start: Option<&[f64]>) -> Option<Fit> {
    let start = match start {
        Some(theta) => theta.to_vec(),
        None => search(model)?,
    };
    let options = Options { max_passes: 60, relative_step: 1e-7, relative_cost: 1e-8, ..Options::default() };
    let solution: Solution = least_squares::solve(model, &start, &options).ok()?;
    let covariance = solution.covariance?;
    (solution.theta.iter().all(|v| v.is_finite())).then_some(Fit {
        theta: solution.theta,
        covariance,
        cost: solution.cost,
    })
}

/// The best of a few time constants, everything linear solved for each. The slow term starts without amplitude.
fn search(model: &Model<'_>) -> Option<Vec<f64>> {
    let p = model.parameters();
    let mut best: Option<(f64, Vec<f64>)> = None;
    let slow = model.offset_of(|t| matches!(t, Term::Slow { .. }));
    let slow_starts: &[f64] = if slow.is_some() { &[-1.3, 0.0, 2.0] } else { &[0.0] };
    let starts = [0.3, 0.6, 1.0, 1.7, 3.0, 6.0].iter().flat_map(|f| slow_starts.iter().map(move |s| (f, s)));
    for (factor, shift) in starts {
        let mut theta = vec![0.0; p];
        theta[LN_TAU] = model.prior_ln_tau.0 + f64::ln(*factor);
        theta[TAIL] = 1e-3;
        if let Some(i) = slow {
            theta[i] = Term::slow_centre(model.prior_ln_tau.0.exp()) + shift;
            if theta[i] < theta[LN_TAU] + 0.5 {
                continue;
            }
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
        if let Term::Hum { .. } = term
            && index == offset + 2
        {
            return true;
        }
        offset += term.parameters();
    }
    false
}

/// Adds terms one at a time, each the one that takes most away from the sum of squares, while they are worth it.
///
/// The terms stay in the model.
pub(super) fn choose_terms(model: &mut Model<'_>, setting: &Setting) -> Option<Choice> {
    let fit = solve(model, None)?;
    let mut fit = trust(model, fit, setting)?;
    // A quantiser without dither leaves steps on the record that any slow term would seem to explain: a term has to
    // explain more than they can be.
    let samples: f64 = model.averages.iter().filter(|a| model.takes_part(a)).map(|a| a.count).sum();
    let steps = setting
        .quantum
        .map_or(0.0, |q| samples * (0.4 * q * undithered(model.noise, q) / model.noise).powi(2));
    // A tail of few undithered codes is too rough for its time constant to mean much.
    let coarse = setting.quantum.map_or(0.0, |q| 5.0 * q * undithered(model.noise, q));
    for _round in 0..8 {
        let lone_slow = !has_slow(model)
            && fit.theta[LN_TAU] > setting.slowest_ln_tau
            && fit.theta[TAIL].abs() > (3.0 * deviation(&fit, TAIL)).min(fit.theta[STEP].abs()).max(coarse);
        let candidates = candidates(model, setting);
        let mut best: Option<(f64, Term)> = None;
        // Whatever is slow shows as a sag first.
        let sags = model
            .offset_of(|t| matches!(t, Term::Sag { .. }))
            .is_some_and(|i| fit.theta[i].abs() > 2.5 * deviation(&fit, i));
        for (term, worth) in candidates {
            let gain = match term {
                Term::Slow { .. } if !sags && !lone_slow => 0.0,
                Term::Slow { .. } => solve(&model.with(term), None).map_or(0.0, |f| fit.cost - f.cost),
                _ => gain_of(model, &fit, term),
            };
            let gain = gain / (worth + steps);
            if gain > 1.0 && best.as_ref().is_none_or(|(g, _)| gain > *g) {
                best = Some((gain, term));
            }
        }
        if lone_slow {
            best = Some((f64::INFINITY, slow_term(model, setting.step)));
        }
        let Some((_, term)) = best else { break };
        let kept = model.terms.clone();
        *model = model.with(term);
        // A start by search again: a new slow tail may change which time constant is the divider's.
        match solve(model, None) {
            Some(better) if better.cost < fit.cost - WORTH_ONE || lone_slow => fit = better,
            _ => {
                model.terms = kept;
                break;
            }
        }
    }
    let lone_tail_possible = has_slow(model)
        && fit.theta[TAIL].abs() < 3.0 * deviation(&fit, TAIL)
        && lone_tail_cost(model, setting).is_some_and(|cost| cost < fit.cost + 9.0);
    Some(Choice { fit, lone_tail_possible })
}

/// Share of a quantiser's error that noise of a total standard deviation does not average out: the first harmonic of the
/// saw-tooth, exp(−2π²(σ/q)²), the quantiser's own q²/12 taken out of σ² first.
pub(super) fn undithered(noise: f64, quantum: f64) -> f64 {
    let dither = (noise * noise - quantum * quantum / 12.0).max(0.0);
    (-2.0 * std::f64::consts::PI.powi(2) * dither / (quantum * quantum)).exp()
}

/// The outcome of [`choose_terms`].
#[derive(Clone, Debug)]
pub(super) struct Choice {
    pub fit: Fit,
    /// Whether the one tail that there is, taken as slow company, could as well be the divider's.
    pub lone_tail_possible: bool,
}

/// Sum of squares with a single tail of the slowest time constant that the divider might have.
fn lone_tail_cost(model: &Model<'_>, setting: &Setting) -> Option<f64> {
    let mut single = model.clone();
    single.terms.retain(|t| !matches!(t, Term::Slow { .. } | Term::Sag { .. }));
    single.prior_ln_tau = (setting.slowest_ln_tau, 0.05);
    solve(&single, None).map(|fit| fit.cost)
}

fn deviation(fit: &Fit, i: usize) -> f64 {
    fit.covariance[i * fit.theta.len() + i].max(0.0).sqrt()
}

fn has_slow(model: &Model<'_>) -> bool {
    model.terms.iter().any(|t| matches!(t, Term::Slow { .. }))
}

fn slow_term(model: &Model<'_>, step: f64) -> Term {
    Term::Slow { expected_tau: model.prior_ln_tau.0.exp(), step }
}

/// Terms that could be added next, each with the sum of squares it has to take away.
fn candidates(model: &Model<'_>, setting: &Setting) -> Vec<(Term, f64)> {
    let mut list = Vec::new();
    let orders: Vec<i32> = model
        .terms
        .iter()
        .filter_map(|t| if let Term::Drift { order } = t { Some(*order) } else { None })
        .collect();
    let next = orders.iter().max().map_or(1, |o| o + 1);
    if next <= 3 {
        list.push((Term::Drift { order: next }, WORTH_ONE));
    }
    let duration_s = model.points * setting.interval_s;
    let hums: Vec<f64> = model
        .terms
        .iter()
        .filter_map(
            |t| if let Term::Hum { nominal, .. } = t { Some(nominal / setting.interval_s) } else { None },
        )
        .collect();
    for mains in MAINS_HZ {
        let cycles = duration_s * mains;
        // Less than most of a cycle looks like drift and is taken as such; and there is one mains at a time.
        if cycles < 0.7 || hums.first().is_some_and(|f| (f / mains - (f / mains).round()).abs() > 0.01) {
            continue;
        }
        for harmonic in [1.0, 2.0, 3.0] {
            let nominal = mains * harmonic * setting.interval_s;
            let present = hums.iter().any(|f| (f / (mains * harmonic) - 1.0).abs() < 0.01);
            // Harmonics are looked for once their fundamental is there.
            let fitting = harmonic < 1.5 || !hums.is_empty();
            if !present && fitting && nominal < 0.2 {
                list.push((Term::Hum { nominal }, WORTH_SEARCHED));
            }
        }
    }
    if !has_slow(model) && model.edges.len() >= 2 {
        list.push((slow_term(model, setting.step), WORTH_SLOW));
    }
    list
}

/// Reduction of the weighted sum of squares that a term would bring, everything else adjusting to first order.
fn gain_of(model: &Model<'_>, fit: &Fit, term: Term) -> f64 {
    let larger = model.with(term);
    let (p, q) = (model.parameters(), larger.parameters());
    let mut theta = fit.theta.clone();
    theta.resize(q, 0.0);
    // At nil amplitude a hum's frequency has no say.
    let frozen = matches!(term, Term::Hum { .. }).then_some(p + 2);
    let free: Vec<usize> = (0..q).filter(|i| frozen != Some(*i)).collect();
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
    solve_triangle(&triangle).map_or(0.0, |solution| cost - solution.cost)
}

/// Widens what is assumed of an unseen earlier edge, or of the source's flats, when the record contradicts it.
pub(super) fn trust(model: &mut Model<'_>, fit: Fit, setting: &Setting) -> Option<Fit> {
    let step = setting.step;
    // A quantiser's steps look like a sag of a code or two.
    let coarse = setting.quantum.map_or(0.0, |q| 2.5 * q * undithered(model.noise, q));
    let mut widened = false;
    let mut offset = BASE;
    // A droop that the narrow prior forbade may have been taken for a slow tail of the divider.
    let taken =
        fit.theta[LN_TAU] > model.prior_ln_tau.0 + 1.0 && fit.theta[TAIL].abs() > 3.0 * deviation(&fit, TAIL);
    for term in &mut model.terms {
        let parameters = term.parameters();
        match term {
            Term::History { spread } if fit.theta[offset].abs() > 2.0 * *spread && *spread < 0.5 => {
                *spread = 0.5;
                widened = true;
            }
            Term::Sag { spread }
                if (taken || fit.theta[offset].abs() > 1.5 * *spread + coarse) && *spread < SAG.1 * step =>
            {
                *spread = SAG.1 * step;
                widened = true;
            }
            _ => {}
        }
        offset += parameters;
    }
    match (widened, taken) {
        (false, _) => Some(fit),
        (true, false) => solve(model, Some(&fit.theta)),
        (true, true) => solve(model, None),
    }
}
