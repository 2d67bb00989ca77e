//! Many variants of one chain at the same frequencies: what is costly is worked out once.

use super::line::LineAt;
use super::measured::Measured;
use super::parts::{Chain, Place};
use super::shape::ScreenAt;
use super::variants::{Against, Cause, Causes, Variant};
use super::walk::{Costly, node_factor, to_screen, walk};
use num_complex::Complex64;

/// A chain at given complex frequencies.
#[derive(Clone, Debug)]
pub struct Spectra<'a> {
    chain: &'a Chain,
    costly: Vec<Costly<Complex64>>,
    /// Entries of the measured elements: for each frequency as many as there are elements.
    placed: Vec<[Complex64; 4]>,
}

impl<'a> Spectra<'a> {
    /// Works out cable, response and measured elements at each frequency s, rad/s.
    pub fn of(chain: &'a Chain, s: &[Complex64]) -> Self {
        let costly = s.iter().map(|&s| Costly::of(&chain.cable, &chain.input, s)).collect();
        let mut placed = Vec::with_capacity(s.len() * chain.measured.len());
        for &s in s {
            placed.extend(chain.measured.iter().map(|(_, element)| element.entries(s)));
        }
        Self { chain, costly, placed }
    }

    /// How many frequencies.
    pub fn len(&self) -> usize {
        self.costly.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.costly.is_empty()
    }

    /// H at each frequency, in order, not multiplied by N; equal to [`Chain::against_without`].
    pub fn transfer(&self, against: Against, without: impl Into<Causes>) -> Vec<Complex64> {
        let mut out = Vec::with_capacity(self.len());
        self.transfer_into(against, without, &mut out);
        out
    }

    /// As [`Spectra::transfer`], into a list that is emptied first.
    pub fn transfer_into(&self, against: Against, without: impl Into<Causes>, out: &mut Vec<Complex64>) {
        let without = without.into();
        let variant = Variant::new(self.chain, against, without);
        out.clear();
        out.extend(self.costly.iter().enumerate().map(|(k, costly)| {
            let mut costly = *costly;
            if without.has(Cause::Cable) {
                costly.line = LineAt::of(&variant.cable, costly.s);
            }
            if without.has(Cause::Input) {
                costly.screen = ScreenAt::of(&variant.input, costly.s);
            }
            let (numerator, denominator) =
                variant.with_node_factor(costly.s, to_screen(&self.walk(&variant, &costly, k), &costly));
            numerator / denominator
        }));
    }

    /// From the source's EMF to the node with the probe on it, at each frequency.
    pub fn at_node(&self) -> Vec<Complex64> {
        let variant = Variant::new(self.chain, Against::Source, Causes::NONE);
        let at = |(k, costly)| {
            let walk = self.walk(&variant, costly, k);
            walk.node_v / walk.source_v
        };
        self.costly.iter().enumerate().map(at).collect()
    }

    /// From the source's EMF to the node without the probe, at each frequency.
    pub fn unloaded(&self) -> Vec<Complex64> {
        self.costly.iter().map(|costly| node_factor(&self.chain.node, costly.s).inv()).collect()
    }

    fn walk(
        &self,
        variant: &Variant<'_>,
        costly: &Costly<Complex64>,
        k: usize,
    ) -> super::walk::Walk<Complex64> {
        let places: &[(Place, Measured)] = &self.chain.measured;
        let first = k * places.len();
        walk(&variant.lumps, costly, places, |number| variant.entries(number, || self.placed[first + number]))
    }
}
