//! What is slow in a response, undone by recursions: pairs of a real pole and a real zero, each a shelf.
//!
//! A zero of the response is a pole of its inverse and leaves a tail there. Tails that last many samples are left to the recursion of
//! [`super::super::shelf`], one for each zero (a divider has one such pair, a node of high resistance behind it another); the pole beside it
//! keeps the two together near a gain of 1. Nothing rests on the choice: the kernel undoes what the recursions leave.

use num_complex::Complex64;

use super::super::shelf::{Before, KnownShelf, Setting, ShelfCorrector};
use super::ChainSetting;
use crate::chain::{Transfer, Variant};
use crate::divider::Shelf;

/// Intervals that a time constant has to last to be left to a recursion.
const SLOW: f64 = 50.0;

/// Slowest time constant that is looked for, s.
const SLOWEST_S: f64 = 1.0;

/// Errors of a shelf between which a pole and a zero make a pair.
const PAIR: std::ops::Range<f64> = -0.9..9.0;

/// The slow shelves of a response, slowest first. Those that are like given ones, one for each, where there are any to be like.
pub(super) fn shelves(response: &Variant<'_>, interval_s: f64, like: Option<&[Shelf]>) -> Vec<Shelf> {
    let fastest = 1.0 / (SLOW * interval_s);
    // A pair that lies at the limit must not be lost for a hair.
    let fastest = if like.is_some() { 2.0 * fastest } else { fastest };
    let real = |rate: f64| {
        let (numerator, denominator) = response.quotient(Complex64::new(-rate, 0.0));
        (numerator.re, denominator.re)
    };
    let mut poles = changes(fastest, |rate| real(rate).1);
    let zeros = changes(fastest, |rate| real(rate).0);
    let mut shelves = Vec::new();
    for zero in zeros {
        let nearest = (0..poles.len())
            .filter(|k| PAIR.contains(&(poles[*k] / zero - 1.0)))
            .min_by(|a, b| (poles[*a] / zero).ln().abs().total_cmp(&(poles[*b] / zero).ln().abs()));
        if let Some(nearest) = nearest {
            let pole = poles.swap_remove(nearest);
            shelves.push(Shelf { error: pole / zero - 1.0, time_constant_s: 1.0 / pole });
        }
    }
    let Some(like) = like else { return shelves };
    let apart = |a: &Shelf, b: &Shelf| (a.time_constant_s / b.time_constant_s).ln().abs();
    like.iter()
        .map(|one| shelves.iter().min_by(|a, b| apart(a, one).total_cmp(&apart(b, one))).unwrap_or(one))
        .copied()
        .collect()
}

/// The rates (1/s) at which something changes its sign, in rising order.
fn changes(fastest: f64, of: impl Fn(f64) -> f64) -> Vec<f64> {
    const PER_DECADE: f64 = 100.0;
    let mut found = Vec::new();
    let mut low = 1.0 / SLOWEST_S;
    let mut sign = of(low) > 0.0;
    while low < fastest {
        let high = (low * 10f64.powf(1.0 / PER_DECADE)).min(fastest);
        if (of(high) > 0.0) != sign {
            let (mut below, mut above) = (low, high);
            for _ in 0..60 {
                let middle = 0.5 * (below + above);
                if (of(middle) > 0.0) == sign { below = middle } else { above = middle }
            }
            found.push(0.5 * (below + above));
            sign = !sign;
        }
        low = high;
    }
    found
}

/// The recursions of one chain, one behind the other.
pub(super) struct Slow {
    shelves: Vec<Shelf>,
    sections: Vec<Section>,
}

struct Section {
    corrector: ShelfCorrector,
    /// What is not known of the section before goes the same way.
    of_unknown: ShelfCorrector,
}

impl Slow {
    pub(super) fn new(shelves: Vec<Shelf>, setting: &ChainSetting) -> Self {
        let mut span = setting.span;
        let mut sections = Vec::with_capacity(shelves.len());
        for &shelf in &shelves {
            let exact = KnownShelf { shelf, error_u: 0.0, time_constant_u_s: 0.0, correlation: 0.0 };
            let of = |span, before| {
                let interval_s = setting.interval_s;
                ShelfCorrector::new(Setting { shelf: exact, interval_s, noise: 0.0, span, before }).ok()
            };
            if let (Some(corrector), Some(of_unknown)) = (of(span, setting.before), of(0.0, Before::Rest)) {
                sections.push(Section { corrector, of_unknown });
            }
            // What a shelf made smaller has a wider range behind its inverse.
            span *= (1.0 / (1.0 + shelf.error)).max(1.0);
        }
        Self { shelves, sections }
    }

    pub(super) fn shelves(&self) -> &[Shelf] {
        &self.shelves
    }

    /// The slowest time constant of the inverse's tails, s; nil where there is none.
    pub(super) fn slowest_s(&self) -> f64 {
        self.shelves.iter().map(|shelf| (1.0 + shelf.error) * shelf.time_constant_s).fold(0.0, f64::max)
    }

    /// Gain over frequency.
    pub(super) fn response(&self, frequency_hz: f64, interval_s: f64) -> Complex64 {
        let delay = Complex64::from_polar(1.0, -std::f64::consts::TAU * frequency_hz * interval_s);
        self.sections.iter().map(|section| section.corrector.response(delay)).product()
    }

    /// The next samples, in place, and the standard uncertainty of what came before the record or is missing in it.
    pub(super) fn push(&mut self, values: &mut [f64], unknown: &mut [f64]) {
        unknown.fill(0.0);
        let mut input = vec![0.0; values.len()];
        let (mut own, mut nothing) = (input.clone(), input.clone());
        for (number, section) in self.sections.iter_mut().enumerate() {
            input.copy_from_slice(values);
            section.corrector.push(&input, values, &mut own);
            if number == 0 {
                unknown.copy_from_slice(&own);
                continue;
            }
            input.copy_from_slice(unknown);
            section.of_unknown.push(&input, unknown, &mut nothing);
            unknown.iter_mut().zip(&own).for_each(|(u, own)| *u = u.hypot(*own));
        }
    }
}
