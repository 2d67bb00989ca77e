//! What the doubt about the numbers of a chain makes of the answers.
//!
//! Each uncertain number is shifted by one standard uncertainty, the answer is computed again, and the differences are added as
//! root of the sum of squares (JCGM 100:2008, 5.1.2 with finite differences as in 5.1.3, note 2). The numbers count as not correlated.

use super::{Answer, Measure};
use crate::chain::Chain;

/// One number that is not known exactly.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Its name, as a key of a plan or in words.
    pub name: String,
    /// The chain with this number higher by one standard uncertainty, and all that follows from it.
    pub shifted: Chain,
}

/// Standard uncertainties of the answers, each in the unit of what it belongs to.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubts {
    /// Of the gain against the source, for each frequency.
    pub gain: Vec<f64>,
    /// Of the gain against the unloaded node, for each frequency.
    pub gain_at_node: Vec<f64>,
    /// Of the phase, for each frequency, rad.
    pub phase_rad: Vec<f64>,
    /// Of the shown voltage, for each time, V.
    pub shown_v: Vec<f64>,
    /// Of the −3 dB bandwidth, Hz.
    pub bandwidth_hz: Option<f64>,
    /// Of the highest sine within the accepted error, Hz.
    pub highest_sine_hz: Option<f64>,
    /// Of the fastest edge within the accepted error, s.
    pub fastest_edge_s: Option<f64>,
    /// Of the transition duration for an ideal step, s.
    pub transition_duration_s: Option<f64>,
    /// Of each error.
    pub errors: Vec<(Measure, f64)>,
    /// What each number contributes to the error of each measure, largest first for the first measure.
    pub contributions: Vec<Contribution>,
}

/// What one number contributes.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// Its name.
    pub name: String,
    /// Change of each error for a shift by one standard uncertainty.
    pub errors: Vec<(Measure, f64)>,
}

impl Doubts {
    /// From the answer and those of the shifted chains, with their names.
    pub(super) fn from_shifts(answer: &Answer, shifted: &[(&str, Answer)]) -> Self {
        let list = |of: &dyn Fn(&Answer) -> Vec<f64>| {
            let nominal = of(answer);
            let mut squares = vec![0.0; nominal.len()];
            for (_, other) in shifted {
                for ((square, a), b) in squares.iter_mut().zip(&nominal).zip(of(other)) {
                    *square += (b - a) * (b - a);
                }
            }
            squares.into_iter().map(f64::sqrt).collect::<Vec<f64>>()
        };
        let single = |of: &dyn Fn(&Answer) -> Option<f64>| {
            let nominal = of(answer)?;
            // A figure that a shift makes vanish has no uncertainty that could be stated.
            let squares: Option<f64> =
                shifted.iter().map(|(_, o)| of(o).map(|v| (v - nominal) * (v - nominal))).sum();
            squares.map(f64::sqrt)
        };
        let error = |a: &Answer, measure| a.errors.iter().find(|e| e.measure == measure).map(|e| e.total);
        let errors = answer
            .errors
            .iter()
            .filter_map(|e| Some((e.measure, single(&|a| error(a, e.measure))?)))
            .collect();
        let mut contributions: Vec<Contribution> = shifted
            .iter()
            .map(|(name, other)| Contribution {
                name: (*name).to_owned(),
                errors: answer
                    .errors
                    .iter()
                    .filter_map(|e| Some((e.measure, error(other, e.measure)? - e.total)))
                    .collect(),
            })
            .collect();
        let weight = |c: &Contribution| c.errors.first().map_or(0.0, |(_, d)| d.abs());
        contributions.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
        Self {
            gain: list(&|a| a.response.iter().map(|p| p.gain).collect()),
            gain_at_node: list(&|a| a.gain_at_node.clone()),
            phase_rad: phases(answer, shifted),
            shown_v: list(&|a| a.body.shown_v.clone()),
            bandwidth_hz: single(&|a| a.summary.bandwidth_hz),
            highest_sine_hz: single(&|a| a.limits.sines.and_then(|band| band.to_hz)),
            fastest_edge_s: single(&|a| a.limits.fastest_edge_s),
            transition_duration_s: single(&|a| a.summary.transition_duration_s),
            errors,
            contributions,
        }
    }
}

/// Phases differ by less than half a turn, whatever side of ±π they are on.
fn phases(answer: &Answer, shifted: &[(&str, Answer)]) -> Vec<f64> {
    use std::f64::consts::{PI, TAU};
    let turn = |d: f64| (d + PI).rem_euclid(TAU) - PI;
    let at = |k: usize| {
        let nominal = answer.response[k].phase_rad;
        shifted.iter().map(|(_, o)| turn(o.response[k].phase_rad - nominal).powi(2)).sum::<f64>().sqrt()
    };
    (0..answer.response.len()).map(at).collect()
}
