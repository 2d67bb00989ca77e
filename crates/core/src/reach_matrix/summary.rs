//! What a row comes to: how many inputs a probe suits, where its margin is least; and candidates ranked by it.

use std::cmp::Ordering;

use super::{Inputs, Probes, Row, Standing};

/// The input on which the margin is least.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Least {
    /// Index of the input.
    pub input: usize,
    /// Margin there, F.
    pub margin_f: f64,
    /// Sum of the tolerances there, F.
    pub tolerance_f: f64,
}

impl Least {
    /// What the tolerances leave of the margin, F.
    pub fn spare_f(&self) -> f64 {
        self.margin_f - self.tolerance_f
    }
}

/// One probe on all inputs, in few words.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Summary {
    /// Inputs that were judged.
    pub judged: usize,
    /// Inputs left out: of at most [`super::MATCHED_OHM`], where the probe is a compensated one.
    pub left_out: usize,
    /// Inputs it suits for sure.
    pub suits: usize,
    /// How often each standing occurs, in the order of [`Standing::ALL`], wrong loads not counted.
    pub standings: [usize; Standing::ALL.len()],
    /// Inputs whose resistance is not the one the divider is made for.
    pub wrong_load: usize,
    /// Where tolerances leave least of the margin.
    pub least: Option<Least>,
    /// The e furthest from nil that tolerances allow, and the input.
    pub worst_error: Option<(usize, f64)>,
    /// The smallest bandwidth together with an input, Hz, and the input.
    pub least_bandwidth: Option<(usize, f64)>,
}

impl Summary {
    /// Sums a row up.
    ///
    /// # Panics
    /// Where the row was not filled with these inputs and a probe of this index.
    pub fn of(row: &Row, probes: &Probes, index: usize, inputs: &Inputs) -> Self {
        let mut sum = Self::default();
        for input in 0..row.len() {
            if probes.balances(index) && inputs.is_matched(input) {
                sum.left_out += 1;
                continue;
            }
            sum.judged += 1;
            let cell = row.cell(input);
            if let Some(bandwidth) = cell.bandwidth_hz
                && sum.least_bandwidth.is_none_or(|(_, least)| bandwidth < least)
            {
                sum.least_bandwidth = Some((input, bandwidth));
            }
            if cell.wrong_load() {
                sum.wrong_load += 1;
                continue;
            }
            sum.suits += usize::from(cell.suits());
            sum.standings[cell.standing as usize] += 1;
            if let Some((margin_f, tolerance_f)) = cell.margin_f.zip(cell.tolerance_f) {
                let here = Least { input, margin_f, tolerance_f };
                if sum.least.is_none_or(|least| here.spare_f() < least.spare_f()) {
                    sum.least = Some(here);
                }
            }
            if let Some(error) = cell.worst_error()
                && sum.worst_error.is_none_or(|(_, worst)| error.abs() > worst.abs())
            {
                sum.worst_error = Some((input, error));
            }
        }
        sum
    }

    /// How often `standing` occurs.
    pub fn count(&self, standing: Standing) -> usize {
        self.standings[standing as usize]
    }

    /// Whether it suits every input that was judged, and there was one.
    pub fn suits_all(&self) -> bool {
        self.judged > 0 && self.suits == self.judged
    }
}

/// Best first: suits all; suits more; is out of reach or wrongly loaded on fewer; more margin left where it is least; more bandwidth.
/// Equal ones stay as they are.
pub fn rank(a: &Summary, b: &Summary) -> Ordering {
    let bad = |s: &Summary| s.count(Standing::OutOfReach) + s.wrong_load;
    let spare = |s: &Summary| s.least.map_or(f64::NEG_INFINITY, |least| least.spare_f());
    let bandwidth = |s: &Summary| s.least_bandwidth.map_or(0.0, |(_, hz)| hz);
    (b.suits_all().cmp(&a.suits_all()))
        .then_with(|| b.suits.cmp(&a.suits))
        .then_with(|| bad(a).cmp(&bad(b)))
        .then_with(|| spare(b).total_cmp(&spare(a)))
        .then_with(|| bandwidth(b).total_cmp(&bandwidth(a)))
}
