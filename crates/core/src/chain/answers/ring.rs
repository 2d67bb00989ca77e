//! The ringing that dominates what a chain does after an edge.

use super::super::parts::{Chain, Coupling};
use super::super::scalar::{Jet, Scalar};
use super::super::transfer::Transfer;
use super::super::walk::walk_chain;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A pair of complex poles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ringing {
    /// The pole above the real axis, rad/s.
    pub pole: Complex64,
    /// |pole|/2π, Hz.
    pub natural_frequency_hz: f64,
    /// Im pole/2π: the frequency at which it is seen to ring, Hz.
    pub frequency_hz: f64,
    /// ζ = −Re pole/|pole|, above 0 and below 1.
    pub damping_ratio: f64,
    /// Q = 1/(2ζ).
    pub quality: f64,
    /// Size of its share in the response to a step of the source, at the start of the step, relative to the settled step; as the screen shows it.
    pub step_share: f64,
}

impl Ringing {
    /// What is left of `step_share` half a period later, where a ringing response overshoots.
    pub fn after_half_a_period(&self) -> f64 {
        self.step_share * (std::f64::consts::PI * self.pole.re / self.pole.im).exp()
    }
}

/// Local summits of the response that Newton's method starts from, at most.
const SUMMITS: usize = 8;

/// The pair of complex poles of node, contact, probe and input's R ∥ C that has the largest share in the response to a step
/// half a period after it (so that what dies at once does not count); `None` where none is complex.
///
/// Poles of the input's response and coupling are no ringing of the probe and are not looked for; that response does count in `step_share`. A measured
/// response counts in neither: whether its ringing is that of the lead, it does not tell.
/// Newton's method on the denominator, from the resonance of contact with tip capacitance and from the summits of the response below 100 GHz.
pub fn ringing(chain: &Chain) -> Option<Ringing> {
    let mut chain = chain.clone();
    chain.input.coupling = Coupling::Dc;
    chain.measured.retain(|(_, element)| !element.is_response());
    let settled = chain.at(Complex64::new(0.0, 0.0)).norm();
    let mut found: Vec<Ringing> = Vec::new();
    for omega in starts(&chain) {
        for damping in [0.02, 0.2, 0.6] {
            let start = Complex64::new(-damping * omega, omega);
            let Some(pole) = newton(&chain, start) else { continue };
            if found.iter().all(|known| (known.pole - pole).norm() > 1e-6 * pole.norm()) {
                found.push(describe(&chain, pole, settled));
            }
        }
    }
    found
        .into_iter()
        .filter(|r| r.step_share.is_finite())
        .max_by(|a, b| a.after_half_a_period().total_cmp(&b.after_half_a_period()))
}

/// Angular frequencies at which a resonance is to be expected.
fn starts(chain: &Chain) -> Vec<f64> {
    let mut omegas = Vec::new();
    let c2 = chain.shunt_capacitance_f();
    let through = if chain.tip.resistance_ohm > 0.0 {
        let c1 = chain.tip.capacitance_f;
        if c1 > 0.0 { c1 * c2 / (c1 + c2) } else { 0.0 }
    } else {
        c2
    };
    let seen = through + chain.tip.body_capacitance_f;
    let square = chain.contact.inductance_h * seen;
    if square > 0.0 {
        omegas.push(1.0 / square.sqrt());
    }
    let grid: Vec<f64> = (0..=800).map(|k| TAU * 10.0_f64.powf(3.0 + 0.01 * f64::from(k))).collect();
    let heights: Vec<f64> = grid
        .iter()
        .map(|&omega| {
            let (walk, _) = walk_chain(chain, Complex64::new(0.0, omega));
            (walk.input_v * walk.scale / walk.source_v).norm()
        })
        .collect();
    let mut summits: Vec<usize> = (1..grid.len() - 1)
        .filter(|&k| heights[k] > heights[k - 1] && heights[k] >= heights[k + 1])
        .collect();
    summits.sort_by(|a, b| heights[*b].total_cmp(&heights[*a]));
    omegas.extend(summits.into_iter().take(SUMMITS).map(|k| grid[k]));
    omegas
}

/// A zero of the denominator above the real axis and left of the imaginary one, or `None` if the way does not lead to one.
fn newton(chain: &Chain, start: Complex64) -> Option<Complex64> {
    let mut s = start;
    for _ in 0..80 {
        let (walk, _) = walk_chain(chain, Jet::variable(s));
        let mut step = walk.source_v.value / walk.source_v.slope;
        if !step.is_finite() {
            return None;
        }
        // No longer leaps than half of where it is: far away the tangent means nothing.
        let limit = 0.5 * s.norm();
        if step.norm() > limit {
            step *= limit / step.norm();
        }
        s -= step;
        if step.norm() <= 1e-13 * s.norm() {
            // A pair that meets on the real axis does not ring.
            return (s.im > 1e-6 * s.norm() && s.re < 0.0).then_some(s);
        }
    }
    None
}

fn describe(chain: &Chain, pole: Complex64, settled: f64) -> Ringing {
    let (walk, costly) = walk_chain(chain, Jet::variable(pole));
    let numerator = walk.input_v.value * walk.scale * costly.screen.numerator(costly.s).value();
    let residue = numerator / (walk.source_v.slope * costly.screen.denominator.value);
    let damping_ratio = -pole.re / pole.norm();
    Ringing {
        pole,
        natural_frequency_hz: pole.norm() / TAU,
        frequency_hz: pole.im / TAU,
        damping_ratio,
        quality: 0.5 / damping_ratio,
        step_share: 2.0 * (residue / pole).norm() / settled,
    }
}
