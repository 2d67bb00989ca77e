//! The model that is fitted: a square wave behind the divider, plus whatever slow or periodic company the record has.
//!
//! ```text
//! v(t) = L + A·s(t) + B·g(t; τp) [+ C·g(t; τs)] [+ drift] [+ hum],   e = B/A
//! ```
//! with s = ±½ the ideal square wave and g its response through a high-pass of the given time constant: it jumps by ±1
//! at each edge and decays. The levels are those of the settled wave. Times are in sample intervals throughout.

use super::condense::Average;
use super::edges::{Edge, Rhythm};
use crate::numeric::least_squares::Problem;

/// Company of the square wave that a record may show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Term {
    /// State of the tail at the start of the record, when too few edges tell it; its prior standard deviation.
    History { spread: f64 },
    /// Power of time: order 1 is linear drift.
    Drift { order: i32 },
    /// Sinusoid near a nominal frequency, in cycles per sample; with its frequency free within a narrow prior.
    Hum { nominal: f64 },
    /// Sag of every flat towards the middle, as a slowly drooping source or an ac coupling gives: continuous at the
    /// edges, its parameter is the sag over a whole flat. Its prior standard deviation in volts.
    Sag { spread: f64 },
    /// A second, slower exponential: droop of the source, AC coupling, or a dielectric tail. The expected τp in samples
    /// and the step in volts scale what is known of such tails beforehand.
    Slow { expected_tau: f64, step: f64 },
}

impl Term {
    /// Parameters the term brings.
    pub(super) fn parameters(&self) -> usize {
        match self {
            Term::History { .. } | Term::Drift { .. } | Term::Sag { .. } => 1,
            Term::Hum { .. } => 3,
            Term::Slow { .. } => 2,
        }
    }
}

/// Where the parameters that every model has are found.
pub(super) const LN_TAU: usize = 0;
pub(super) const LEVEL: usize = 1;
pub(super) const STEP: usize = 2;
pub(super) const TAIL: usize = 3;
pub(super) const BASE: usize = 4;

/// Relative prior spread of a mains frequency: ±0.2 Hz at 50 Hz.
const HUM_FREQUENCY_SPREAD: f64 = 4e-3;
/// Where the wall of the prior of ln τp begins, in spreads below its centre, and how steep it is.
const FASTEST: f64 = 2.6;
const WALL: f64 = 40.0;

/// Prior of ln(τs/τp) of the slow term: its centre and its spread, from a dielectric tail to an ac coupling.
const SLOW_PRIOR: (f64, f64) = (3.4, 2.0);

/// Prior spread of the amplitude of a slow tail as a share of the step, and its derivative by ln τs.
///
/// Dielectric tails stay within a per cent or so (from memory; no published figure for probes was found). The droop of
/// an ac coupling has the amplitude 1, but then its time constant is long against the wave.
fn slow_amplitude_spread(tau_ratio: f64) -> (f64, f64) {
    let square = 4e-4 * tau_ratio * tau_ratio;
    (0.006 + square, 2.0 * square)
}

impl Term {
    /// A slow tail's ln τs where its prior is centred.
    pub(super) fn slow_centre(expected_tau: f64) -> f64 {
        expected_tau.ln() + SLOW_PRIOR.0
    }
}

/// A least-squares problem over averages. Rows are weighted by √count/noise.
#[derive(Clone, Debug)]
pub(super) struct Model<'a> {
    pub averages: &'a [Average],
    pub edges: &'a [Edge],
    pub rhythm: Option<Rhythm>,
    pub terms: Vec<Term>,
    /// Standard deviation of a sample, V.
    pub noise: f64,
    /// Averages that begin sooner than this after an edge are left out, in samples.
    pub hold_off: f64,
    /// Prior of ln τp: centre and spread.
    pub prior_ln_tau: (f64, f64),
    /// Length of the record in samples, to scale drift.
    pub points: f64,
}

/// Amplitude of g right after each edge (index flat ≥ 1), and in flat 0 at the start of the record or at the virtual
/// edge before it; with the derivative by ln τ, and by the history where there is one.
struct Tails {
    tau: f64,
    /// Origin of the decay of each flat, and amplitude there, and its derivative by ln τ.
    flats: Vec<(f64, f64, f64)>,
}

impl Tails {
    fn new(tau: f64, edges: &[Edge], rhythm: Option<Rhythm>, history: f64) -> Self {
        let mut flats = Vec::with_capacity(edges.len() + 1);
        match rhythm {
            Some(r) => {
                // Steady state: the edge before the record is one flat of the other kind earlier.
                let first = edges[0];
                let high = r.duty * r.period;
                let low = r.period - high;
                let (before, other) = if first.rising { (low, high) } else { (high, low) };
                let sign = -first.sign();
                // g just after the edge that begins a flat: ±(1 − exp(−other/τ))/(1 − exp(−T/τ)).
                let (top, bottom) = (-(-other / tau).exp_m1(), -(-r.period / tau).exp_m1());
                let amplitude = sign * top / bottom;
                let d_top = -(-other / tau).exp() * other / tau;
                let d_bottom = -(-r.period / tau).exp() * r.period / tau;
                let slope = sign * (d_top * bottom - top * d_bottom) / (bottom * bottom);
                flats.push((first.at - before, amplitude, slope));
            }
            None => flats.push((0.0, history, 0.0)),
        }
        for (i, edge) in edges.iter().enumerate() {
            let (origin, amplitude, slope) = flats[i];
            let x = (edge.at - origin) / tau;
            let decay = (-x).exp();
            flats.push((edge.at, amplitude * decay + edge.sign(), (slope + amplitude * x) * decay));
        }
        Self { tau, flats }
    }

    /// g and ∂g/∂ln τ averaged over an average.
    #[inline]
    fn at(&self, average: &Average) -> (f64, f64) {
        let (origin, amplitude, slope) = self.flats[average.flat as usize];
        let x = (average.at - origin) / self.tau;
        let w2 = (average.half_width / self.tau).powi(2);
        // Mean of an exponential over ±w: sinh(w)/w, to fourth order; its derivative by ln τ likewise.
        let e = (-x).exp();
        let decay = e * (1.0 + w2 / 6.0 + w2 * w2 / 120.0);
        let by_width = e * (w2 / 3.0 + w2 * w2 / 30.0);
        (amplitude * decay, (slope + amplitude * x) * decay - amplitude * by_width)
    }
}

impl Model<'_> {
    pub(super) fn offset_of(&self, wanted: impl Fn(&Term) -> bool) -> Option<usize> {
        let mut offset = BASE;
        for term in &self.terms {
            if wanted(term) {
                return Some(offset);
            }
            offset += term.parameters();
        }
        None
    }

    /// The model with one more term; a slow tail takes the place of a sag.
    pub(super) fn with(&self, term: Term) -> Self {
        let mut larger = self.clone();
        if matches!(term, Term::Slow { .. }) {
            larger.terms.retain(|t| !matches!(t, Term::Sag { .. }));
        }
        larger.terms.push(term);
        larger
    }

    /// Whether an average takes part in the fit.
    #[inline]
    pub(super) fn takes_part(&self, average: &Average) -> bool {
        average.since_edge - average.half_width >= self.hold_off
    }

    /// Lengths of a high and a low flat, in samples; without a rhythm the longest one seen stands for both.
    pub(super) fn flat_lengths(&self) -> (f64, f64) {
        match self.rhythm {
            Some(r) => (r.duty * r.period, (1.0 - r.duty) * r.period),
            None => {
                let last = self.edges.last().map_or(1.0, |e| self.points - e.at);
                let longest = self.edges.windows(2).map(|w| w[1].at - w[0].at).fold(last, f64::max);
                (longest, longest)
            }
        }
    }

    /// Unit sag at an average: from +½ to −½ of the side it is on, over its flat; and the bow that an exponential sag
    /// has against a straight one, for a unit of squared sag over the step.
    fn sag(&self, average: &Average, side: f64, lengths: (f64, f64)) -> (f64, f64) {
        let length = if side > 0.0 { lengths.0 } else { lengths.1 };
        let begin = match (average.flat.checked_sub(1), self.rhythm) {
            (Some(i), _) => self.edges[i as usize].at,
            // What stands before a lone edge is taken to be settled; before several, to be one more flat of the kind.
            (None, None) if self.edges.len() < 2 => return (-side, 0.0),
            (None, _) => self.edges[0].at - length,
        };
        let x = (average.at - begin) / length;
        (2.0 * side * (0.5 - x), 2.0 * side * (x * x - x))
    }

    /// The bow of the fitted sag at an average, V; nil without a sag.
    pub(super) fn bow(&self, theta: &[f64], average: &Average) -> f64 {
        let Some(i) = self.offset_of(|t| matches!(t, Term::Sag { .. })) else { return 0.0 };
        let (_, bow) = self.sag(average, self.high(average.flat), self.flat_lengths());
        theta[i] * theta[i] / theta[STEP] * bow
    }

    fn high(&self, flat: u32) -> f64 {
        let first_is_high = !self.edges[0].rising;
        if flat.is_multiple_of(2) == first_is_high { 0.5 } else { -0.5 }
    }

    /// Calls `each(average, fitted value, derivatives)` for all averages, those left out included.
    pub(super) fn evaluate(&self, theta: &[f64], mut each: impl FnMut(&Average, f64, &[f64])) {
        let history_at = self.offset_of(|t| matches!(t, Term::History { .. }));
        let history = history_at.map_or(0.0, |i| theta[i]);
        let tails = Tails::new(theta[LN_TAU].exp(), self.edges, self.rhythm, history);
        let slow_at = self.offset_of(|t| matches!(t, Term::Slow { .. }));
        let slow = slow_at.map(|i| Tails::new(theta[i].exp(), self.edges, self.rhythm, 0.0));
        let mut row = vec![0.0; self.parameters()];
        let scale = 2.0 / self.points;
        let lengths = self.flat_lengths();
        for average in self.averages {
            let (g, g_ln_tau) = tails.at(average);
            let s = self.high(average.flat);
            row[LN_TAU] = theta[TAIL] * g_ln_tau;
            row[LEVEL] = 1.0;
            row[STEP] = s;
            row[TAIL] = g;
            let mut value = theta[LEVEL] + theta[STEP] * s + theta[TAIL] * g;
            let mut offset = BASE;
            for term in &self.terms {
                match *term {
                    Term::History { .. } => {
                        let width = (average.half_width / tails.tau).powi(2) / 6.0;
                        row[offset] = theta[TAIL] * (-average.at / tails.tau).exp() * (1.0 + width);
                    }
                    Term::Drift { order } => {
                        let x = average.at * scale - 1.0;
                        row[offset] = if order == 1 { x } else { x.powi(order) - 1.0 / f64::from(order + 1) };
                        value += theta[offset] * row[offset];
                    }
                    Term::Hum { nominal } => {
                        let shift = theta[offset + 2];
                        let omega = std::f64::consts::TAU * nominal * (1.0 + shift);
                        let time = average.at - 0.5 * self.points;
                        let (sin, cos) = (omega * time).sin_cos();
                        let smear = 1.0 - (omega * average.half_width).powi(2) / 6.0;
                        row[offset] = cos * smear;
                        row[offset + 1] = sin * smear;
                        value += theta[offset] * row[offset] + theta[offset + 1] * row[offset + 1];
                        let by_omega = time
                            * (theta[offset + 1] * row[offset] - theta[offset] * row[offset + 1])
                            - omega * average.half_width.powi(2) / 3.0
                                * (theta[offset] * cos + theta[offset + 1] * sin);
                        row[offset + 2] = std::f64::consts::TAU * nominal * by_omega;
                    }
                    Term::Sag { .. } => {
                        // Exponential as a coupling's: y·exp(−δx) is straight up to (S²/A)·(x² − x), S the sag.
                        let (straight, bow) = self.sag(average, s, lengths);
                        // Before there is a step there is no bow either.
                        let share = if theta[STEP].abs() > 0.0 { theta[offset] / theta[STEP] } else { 0.0 };
                        row[offset] = straight + 2.0 * share * bow;
                        row[STEP] -= share * share * bow;
                        value += theta[offset] * (straight + share * bow);
                    }
                    Term::Slow { .. } => {
                        if let Some(slow) = &slow {
                            let (gs, gs_ln_tau) = slow.at(average);
                            row[offset] = theta[offset + 1] * gs_ln_tau;
                            row[offset + 1] = gs;
                            value += theta[offset + 1] * gs;
                        }
                    }
                }
                offset += term.parameters();
            }
            each(average, value, &row);
        }
    }

    /// Fitted value in a stretch of the record given as an average of a flat.
    pub(super) fn value_at(&self, theta: &[f64], stretches: &[Average]) -> Vec<f64> {
        let mut values = Vec::with_capacity(stretches.len());
        Model { averages: stretches, ..self.clone() }.evaluate(theta, |_, value, _| values.push(value));
        values
    }
}

impl Problem for Model<'_> {
    fn parameters(&self) -> usize {
        BASE + self.terms.iter().map(Term::parameters).sum::<usize>()
    }

    fn visit(&self, theta: &[f64], mut emit: impl FnMut(f64, &[f64])) {
        let p = self.parameters();
        let mut weighted = vec![0.0; p];
        self.evaluate(theta, |average, value, row| {
            if self.takes_part(average) {
                let weight = average.count.sqrt() / self.noise;
                for (w, r) in weighted.iter_mut().zip(row) {
                    *w = weight * r;
                }
                emit(weight * (value - average.mean), &weighted);
            }
        });
        // What is known before looking, as rows of its own.
        // Below a fifth of the expected capacitance no probe is found: there the prior turns into a wall.
        let (centre, spread) = self.prior_ln_tau;
        let beyond = ((theta[LN_TAU] - centre) / spread + FASTEST).min(0.0);
        weighted.fill(0.0);
        weighted[LN_TAU] = (1.0 - 2.0 * WALL * beyond) / spread;
        emit((theta[LN_TAU] - centre) / spread - WALL * beyond * beyond, &weighted);
        let mut prior = |index: usize, centre: f64, spread: f64| {
            weighted.fill(0.0);
            weighted[index] = 1.0 / spread;
            emit((theta[index] - centre) / spread, &weighted);
        };
        let mut offset = BASE;
        for term in &self.terms {
            match *term {
                Term::History { spread } | Term::Sag { spread } => prior(offset, 0.0, spread),
                Term::Hum { .. } => prior(offset + 2, 0.0, HUM_FREQUENCY_SPREAD),
                Term::Slow { expected_tau, .. } => {
                    prior(offset, Term::slow_centre(expected_tau), SLOW_PRIOR.1)
                }
                _ => {}
            }
            offset += term.parameters();
        }
        if let Some(i) = self.offset_of(|t| matches!(t, Term::Slow { .. }))
            && let Some(Term::Slow { expected_tau, step }) =
                self.terms.iter().find(|t| matches!(t, Term::Slow { .. })).copied()
        {
            let (spread, by_ln_tau) = slow_amplitude_spread(theta[i].exp() / expected_tau);
            let residual = theta[i + 1] / (step * spread);
            weighted.fill(0.0);
            weighted[i] = -residual * by_ln_tau / spread;
            weighted[i + 1] = 1.0 / (step * spread);
            emit(residual, &weighted);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::condense::condense;
    use super::*;
    use crate::samples::SampleView;
    use flattop_close::{assert_close, within};

    /// Every derivative against a central difference of the value.
    #[test]
    fn derivatives_are_those_of_the_value() {
        let edges: Vec<Edge> =
            (0..5).map(|i| Edge { at: 30.3 + 100.0 * f64::from(i), rising: i % 2 == 0 }).collect();
        let samples = vec![0.5; 500];
        let averages = condense(SampleView::volts(&samples), &edges, 2.0, None);
        let rhythm = Rhythm { period: 200.0, period_uncertainty: 0.0, duty: 0.5, scatter: 0.0 };
        for rhythm in [Some(rhythm), None] {
            let mut terms = vec![
                Term::Drift { order: 1 },
                Term::Drift { order: 2 },
                Term::Hum { nominal: 0.003 },
                Term::Slow { expected_tau: 20.0, step: 2.0 },
                Term::Sag { spread: 0.01 },
            ];
            if rhythm.is_none() {
                terms.push(Term::History { spread: 0.1 });
            }
            let model = Model {
                averages: &averages,
                edges: &edges,
                rhythm,
                terms,
                noise: 1.0,
                hold_off: 0.0,
                prior_ln_tau: (3.0, 1.0),
                points: 500.0,
            };
            let mut theta = vec![3.4, 0.1, 2.0, 0.3, 0.05, 0.02, 0.1, -0.07, 0.002, 6.1, 0.04, 0.03];
            if rhythm.is_none() {
                theta.push(-0.1);
            }
            let mut rows: Vec<Vec<f64>> = Vec::new();
            model.evaluate(&theta, |_, _, row| rows.push(row.to_vec()));
            for p in 0..theta.len() {
                let h = 1e-5;
                let shifted = |d: f64| {
                    let mut moved = theta.clone();
                    moved[p] += d;
                    let mut values = Vec::new();
                    model.evaluate(&moved, |_, value, _| values.push(value));
                    values
                };
                let (up, down) = (shifted(h), shifted(-h));
                let slopes: Vec<f64> = up.iter().zip(&down).map(|(a, b)| (a - b) / (2.0 * h)).collect();
                let analytic: Vec<f64> = rows.iter().map(|r| r[p]).collect();
                // The width correction is carried to fourth order, its derivative to the same.
                assert_close!(analytic, slopes, within(2e-6), "parameter {p}");
            }
        }
    }
}
