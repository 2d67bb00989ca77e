//! Records whose extremes are cut off: told by what a cut leaves, never by a level alone.

use super::Work;
use super::judge::{step_of, volts};
use super::model::{LN_TAU, Term};
use crate::finding::Finding;
use crate::samples::Record;

/// The reason why levels cannot be told, unless a cut explains it: many samples lie exactly on an extreme.
pub(super) fn or_cut(record: &Record<'_>, work: &Work, reason: Finding) -> Finding {
    let view = record.samples;
    let stride = (view.len() / 65_536).max(1);
    let near = 0.01 * work.levels.quantum.unwrap_or(0.0) + 1e-9 * work.levels.span();
    for limit in [work.range.1, work.range.0] {
        let there = (0..view.len()).step_by(stride).filter(|&k| (view.at(k) - limit).abs() <= near).count();
        if there >= 8 && there * stride * 30 > view.len() {
            return cut_off(limit, 100.0 * (there * stride) as f64 / view.len() as f64);
        }
    }
    reason
}

fn cut_off(limit: f64, per_cent: f64) -> Finding {
    Finding::fault(
        "clipped",
        format!(
            "The record is cut off at {}: {per_cent:.0} % of the samples lie exactly there.",
            volts(limit)
        ),
        "Choose a less sensitive range or shift the trace so that the whole wave, overshoot included, fits on the screen.",
    )
}

/// Refuses a record whose extremes are cut off.
pub(super) fn clipped(record: &Record<'_>, work: &Work) -> Result<(), Finding> {
    let view = record.samples;
    let step = step_of(work);
    let quantum = work.levels.quantum.unwrap_or(0.0);
    let near = (0.01 * quantum).max(1e-9 * work.levels.span());
    let stride = (view.len() / 65_536).max(1);
    for upper in [true, false] {
        let (limit, sign) = if upper { (work.range.1, 1.0) } else { (work.range.0, -1.0) };
        let middle = work.levels.middle();
        let (mut side, mut at_limit, mut next) = (0usize, 0usize, 0usize);
        for k in (0..view.len()).step_by(stride) {
            let v = sign * view.at(k);
            side += usize::from(v > sign * middle);
            at_limit += usize::from(v >= sign * limit - near);
            next += usize::from((v - sign * limit + quantum).abs() < 0.3 * quantum);
        }
        if at_limit < 8 || at_limit * 50 < side {
            continue;
        }
        // Noise wider than a step would spread over the limit: many samples exactly on it mean that it cuts. Without
        // noise, the time spent on the last codes tells; without a quantiser, the shape of the rest does.
        let noise = super::first_noise(work).sample;
        let cut = if at_limit * 4 > side && only_other_side_moves(work, upper) {
            true
        } else if quantum > 0.0 && noise <= 0.7 * quantum {
            stays_too_long(work, sign, limit, quantum)
        } else if noise > 1e-5 * step {
            // Noise thins out towards the last code; a limit piles up on it.
            quantum == 0.0 || at_limit > next + next / 5
        } else {
            beyond_limit(work, sign, limit, quantum.max(near))
        };
        if cut {
            return Err(cut_off(limit, 100.0 * at_limit as f64 / side.max(1) as f64));
        }
    }
    Ok(())
}

/// Whether the flats of one side move clearly less than those of the other: both show the same tail and the same noise,
/// unless one is cut off.
fn only_other_side_moves(work: &Work, upper: bool) -> bool {
    // Means of the flats soon after the edge and once the tail is over, and scatter within the averages.
    let tau = work.prior_ln_tau.0.exp();
    let mut sums = [[(0.0, 0.0); 2]; 2];
    let mut inner = [(0.0, 0.0); 2];
    for a in work.averages.iter().filter(|a| a.flat > 0 && a.since_edge >= work.hold_off) {
        let rising = work.edges[a.flat as usize - 1].rising;
        let side = usize::from(rising == upper);
        inner[side].0 += a.inner_squares;
        inner[side].1 += a.inner_freedom;
        let part = if a.since_edge < work.hold_off + 0.3 * tau {
            0
        } else if a.since_edge > 2.0 * tau {
            1
        } else {
            continue;
        };
        sums[side][part].0 += a.count * a.mean;
        sums[side][part].1 += a.count;
    }
    let quantum = work.levels.quantum.unwrap_or(0.0);
    let scatter = |(squares, freedom): (f64, f64)| if freedom > 20.0 { squares / freedom } else { f64::NAN };
    let (other, this) = (scatter(inner[0]), scatter(inner[1]));
    // Little noise toggles between two codes on one side, up to q/2 rms, and leaves the other at rest: more than that
    // stirs both.
    if other > (0.55 * quantum).powi(2).max((1e-4 * step_of(work)).powi(2)) && this < 0.03 * other {
        return true;
    }
    let tail = |side: [(f64, f64); 2]| -> Option<(f64, f64)> {
        let [(early, n), (late, m)] = side;
        (n > 0.0 && m > 0.0).then(|| {
            (
                early / n - late / m,
                work.levels.least_noise().max(work.noise.sample) * (1.0 / n + 1.0 / m).sqrt(),
            )
        })
    };
    let (Some((other, u)), Some((this, _))) = (tail(sums[0]), tail(sums[1])) else { return false };
    let less = other.abs() - this.abs();
    less > (6.0 * u).max(2.2 * quantum).max(0.003 * step_of(work)) && this.abs() < 0.75 * other.abs()
}

/// Whether a noise-free quantised record stays on the last code longer than an exponential would.
///
/// Running away from a level, an exponential spends ever more time on each code, and rests only on the one it tends to:
/// a peak that stays on its first code longer than on the next one was cut, and so was a rise that comes to the last
/// code fast.
fn stays_too_long(work: &Work, sign: f64, limit: f64, quantum: f64) -> bool {
    let upper_is_high = sign > 0.0;
    let mut flats: std::collections::BTreeMap<u32, Vec<(i64, f64)>> = std::collections::BTreeMap::new();
    for average in work.averages.iter().filter(|a| a.since_edge.is_finite() && a.since_edge >= work.hold_off)
    {
        let rising = average.flat > 0 && work.edges[average.flat as usize - 1].rising;
        if rising == upper_is_high {
            let below = (sign * (limit - average.mean) / quantum).round() as i64;
            flats.entry(average.flat).or_default().push((below, average.count));
        }
    }
    let tau = work.prior_ln_tau.0.exp().min(work.fit.theta[LN_TAU].exp());
    flats.values().any(|codes| {
        let on = |code: i64| codes.iter().filter(|(c, _)| *c == code).map(|(_, n)| n).sum::<f64>();
        let (top, next) = (on(0), on(1));
        let starts_on_top = codes.first().is_some_and(|(c, _)| *c == 0);
        let ends_on_top = codes.last().is_some_and(|(c, _)| *c == 0);
        match (starts_on_top, ends_on_top) {
            (true, false) => top > 8.0 && top > 1.6 * next && next > 0.0,
            (false, true) => {
                top > 3.0 * next && next > 0.0 && next < 0.45 * tau && on(2) > 0.0 && on(3) > 0.0
            }
            _ => false,
        }
    })
}

/// Whether a fit without the samples at the limit says that the signal went clearly beyond it there.
fn beyond_limit(work: &Work, sign: f64, limit: f64, quantum: f64) -> bool {
    let inside: Vec<_> =
        work.averages.iter().filter(|a| sign * (a.mean - limit) < -0.6 * quantum).copied().collect();
    let mut model = super::model::Model { averages: &inside, ..work.model() };
    // Company found on a cut record may be the cut itself.
    model.terms.retain(|t| matches!(t, Term::History { .. } | Term::Drift { order: 1 }));
    let upper_inside =
        inside.iter().filter(|a| model.takes_part(a) && sign * (a.mean - work.levels.middle()) > 0.0);
    if upper_inside.count() < 12 {
        return false;
    }
    let Some(fit) = super::fit::solve(&model, None) else { return false };
    let mut beyond = false;
    let whole = super::model::Model { terms: model.terms.clone(), ..work.model() };
    let p = fit.theta.len();
    whole.evaluate(&fit.theta, |average, value, row| {
        if whole.takes_part(average) && sign * (average.mean - limit) >= -0.6 * quantum {
            let variance: f64 = (0..p)
                .map(|i| (0..p).map(|j| row[i] * fit.covariance[i * p + j] * row[j]).sum::<f64>())
                .sum();
            let doubt = 4.0 * variance.max(0.0).sqrt() + 1.5 * quantum + 0.003 * step_of(work);
            beyond |= sign * (value - limit) > doubt;
        }
    });
    beyond
}

/// Share of the samples that lie exactly on one of the two extremes of the record.
pub(super) fn share_at_extremes(record: &Record<'_>, work: &Work) -> f64 {
    let view = record.samples;
    let stride = (view.len() / 65_536).max(1);
    let near = 0.01 * work.levels.quantum.unwrap_or(0.0) + 1e-9 * work.levels.span();
    let (mut there, mut all) = (0.0, 0.0);
    for k in (0..view.len()).step_by(stride) {
        let v = view.at(k);
        all += 1.0;
        there += f64::from(u8::from((v - work.range.0).abs() <= near || (v - work.range.1).abs() <= near));
    }
    there / all
}
