//! The highest sine and the fastest edge that a set-up carries within an accepted error.

use super::HIGHEST_HZ;
use super::summary::Step;
use crate::chain::Chain;
use crate::chain::answers::{self, CarriedBand};

/// What is carried within an accepted error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The error, as a share.
    pub accepted_error: f64,
    /// Sines whose shown amplitude is within the error of the one at the node without the probe; `None` where the gain at dc is
    /// already further off.
    pub sines: Option<CarriedBand>,
    /// 10–90 % transition duration at the node without the probe of the fastest edge whose shown transition duration is within
    /// the error of it, s; all slower ones up to [`SLOWEST_EDGE_S`] are, too. `None` where even that one is not.
    pub fastest_edge_s: Option<f64>,
}

/// The slowest edge that is looked at, s, as the ramp of the source from end to end.
pub const SLOWEST_EDGE_S: f64 = 1e-3;

/// The fastest, s.
const FASTEST_EDGE_S: f64 = 1e-12;

/// Edges tried in each decade on the way down.
const EDGES_PER_DECADE: f64 = 4.0;

impl Limits {
    pub(super) fn of(chain: &Chain, step: &Step, accepted_error: f64) -> Self {
        Self {
            accepted_error,
            sines: answers::carried_band(chain, accepted_error, HIGHEST_HZ),
            fastest_edge_s: fastest_edge_s(step, accepted_error),
        }
    }
}

fn fastest_edge_s(step: &Step, accepted: f64) -> Option<f64> {
    let within = |rise_s: f64| {
        step.transition_s(rise_s).is_some_and(|(truth, shown)| (shown / truth - 1.0).abs() <= accepted)
    };
    if !within(SLOWEST_EDGE_S) {
        return None;
    }
    let decades = (SLOWEST_EDGE_S / FASTEST_EDGE_S).log10();
    let steps = (decades * EDGES_PER_DECADE).ceil() as i32;
    let ramp = |k: i32| SLOWEST_EDGE_S * 10f64.powf(-f64::from(k) / EDGES_PER_DECADE);
    let truth = |rise_s| step.transition_s(rise_s).map(|(truth, _)| truth);
    let Some(k) = (1..=steps).find(|k| !within(ramp(*k))) else {
        return truth(FASTEST_EDGE_S);
    };
    let (mut inside, mut outside) = (ramp(k - 1), ramp(k));
    for _ in 0..16 {
        let middle = (inside * outside).sqrt();
        if within(middle) {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    truth(inside)
}
