//! A surface of second order in place of what a chain does, for many trials of what takes milliseconds each.

use super::Reading;
use super::model::{BothEffects, Chains, Facts, Formula, terms};
use super::waveform::ReadingError;
use crate::uncertainty::{Model, Quantities, Stream};

/// How far from the estimates the chain is looked at, in standard uncertainties.
const REACH: f64 = 1.5;

/// Trials in which surface and chain are compared.
const LOOKS: usize = 24;

/// One result: K or D about the estimates, in standard uncertainties of the inputs that move the chain.
struct Surface {
    facts: Facts,
    middle: f64,
    slopes: Vec<f64>,
    /// Half the second derivatives, by rows.
    bends: Vec<f64>,
}

/// All results as surfaces.
pub(super) struct Surfaces<'a> {
    reading: &'a Reading<'a>,
    formula: Formula,
    means: Vec<f64>,
    widths: Vec<f64>,
    /// Which inputs move a chain.
    moving: Vec<usize>,
    all: Vec<Surface>,
}

impl<'a> Surfaces<'a> {
    pub(super) fn new(
        reading: &'a Reading<'a>,
        formula: Formula,
        facts: &[Facts],
        quantities: &Quantities,
        effects: &mut BothEffects<'_>,
    ) -> Result<Self, ReadingError> {
        let means = quantities.means();
        let widths = quantities.standard_uncertainties();
        let moving: Vec<usize> =
            (0..means.len()).filter(|&k| !reading.inputs[k].steps.is_empty() && widths[k] > 0.0).collect();
        let n = moving.len();
        let mut all = Vec::with_capacity(facts.len());
        for facts in facts {
            let mut at = |shifts: &[(usize, f64)]| {
                let mut x = means.clone();
                for &(k, shift) in shifts {
                    x[moving[k]] += shift * REACH * widths[moving[k]];
                }
                effects.of(&Chains::at(reading, &means, &x), facts.frequency_hz)
            };
            let middle = facts.nominal;
            let mut slopes = vec![0.0; n];
            let mut bends = vec![0.0; n * n];
            let mut ups = vec![0.0; n];
            for k in 0..n {
                let (up, down) = (at(&[(k, 1.0)])?, at(&[(k, -1.0)])?);
                ups[k] = up;
                slopes[k] = 0.5 * (up - down) / REACH;
                bends[k * n + k] = 0.5 * (up - 2.0 * middle + down) / (REACH * REACH);
            }
            let largest = slopes.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
            for i in 0..n {
                for j in 0..i {
                    // Two small ones together are smaller still.
                    if slopes[i].abs().max(slopes[j].abs()) < 1e-2 * largest {
                        continue;
                    }
                    let both = at(&[(i, 1.0), (j, 1.0)])?;
                    let mixed = 0.5 * (both - ups[i] - ups[j] + middle) / (REACH * REACH);
                    (bends[i * n + j], bends[j * n + i]) = (mixed, mixed);
                }
            }
            all.push(Surface { facts: *facts, middle, slopes, bends });
        }
        Ok(Self { reading, formula, means, widths, moving, all })
    }

    fn effect(&self, surface: &Surface, z: &[f64]) -> f64 {
        let n = z.len();
        let mut sum = surface.middle;
        for i in 0..n {
            let bend: f64 = (0..n).map(|j| surface.bends[i * n + j] * z[j]).sum();
            sum += z[i] * (surface.slopes[i] + bend);
        }
        sum
    }

    fn shifts_into(&self, x: &[f64], z: &mut [f64]) {
        for (z, &k) in z.iter_mut().zip(&self.moving) {
            *z = (x[k] - self.means[k]) / self.widths[k];
        }
    }

    /// Root mean square distance of each result from that of the chain itself, over trials drawn as the others are.
    pub(super) fn distances(
        &self,
        quantities: &Quantities,
        seed: u64,
        effects: &mut BothEffects<'_>,
    ) -> Result<Vec<f64>, ReadingError> {
        let mut columns = vec![vec![0.0; LOOKS]; self.means.len()];
        // A block that no run gets to.
        quantities.draw(Stream::new(seed, u64::MAX, 0).bits(), u64::MAX, &mut columns);
        let mut squares = vec![0.0; self.all.len()];
        let mut z = vec![0.0; self.moving.len()];
        for trial in 0..LOOKS {
            let x: Vec<f64> = columns.iter().map(|column| column[trial]).collect();
            let terms = terms(self.reading, &self.means, &x);
            let chains = Chains::at(self.reading, &self.means, &x);
            self.shifts_into(&x, &mut z);
            for (square, surface) in squares.iter_mut().zip(&self.all) {
                let facts = &surface.facts;
                let exact = self.formula.value(facts, effects.of(&chains, facts.frequency_hz)?, &terms);
                let rough = self.formula.value(facts, self.effect(surface, &z), &terms);
                *square += (rough - exact) * (rough - exact) / LOOKS as f64;
            }
        }
        Ok(squares.into_iter().map(f64::sqrt).collect())
    }
}

impl Model for Surfaces<'_> {
    fn outputs(&self) -> usize {
        self.all.len()
    }

    fn evaluate(&self, inputs: &[&[f64]], outputs: &mut [&mut [f64]]) {
        let trials = outputs.first().map_or(0, |o| o.len());
        let mut x = vec![0.0; inputs.len()];
        let mut z = vec![0.0; self.moving.len()];
        for trial in 0..trials {
            for (x, column) in x.iter_mut().zip(inputs) {
                *x = column[trial];
            }
            let terms = terms(self.reading, &self.means, &x);
            self.shifts_into(&x, &mut z);
            for (surface, out) in self.all.iter().zip(outputs.iter_mut()) {
                out[trial] = self.formula.value(&surface.facts, self.effect(surface, &z), &terms);
            }
        }
    }
}
