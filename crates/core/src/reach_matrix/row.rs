//! One probe on all inputs: columns of numbers that are filled again for the next probe, so that no pair costs an allocation.

use super::{
    Inputs, LOAD_ALLOWANCE, LackingSet, Probes, Standing, combined_bandwidth_hz, combined_transition_s,
};
use crate::reach::{Errors, Margin, Verdict};

/// Everything said of the pairs of one probe, input by input. Numbers that cannot be said are NaN.
#[derive(Clone, Debug, Default)]
pub struct Row {
    standing: Vec<Standing>,
    margin_f: Vec<f64>,
    nearer_the_upper: Vec<bool>,
    tolerance_f: Vec<f64>,
    tolerance_known: Vec<bool>,
    error: Vec<f64>,
    lowest: Vec<f64>,
    highest: Vec<f64>,
    bandwidth_hz: Vec<f64>,
    transition_s: Vec<f64>,
    reads: Vec<f64>,
    lacking: Vec<LackingSet>,
}

/// What is said of one pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// The verdict.
    pub standing: Standing,
    /// Distance of the nominal input from the nearest limit, F: positive inside the range.
    pub margin_f: Option<f64>,
    /// Whether the upper limit of the range is the nearer one, where there is a margin.
    pub nearer_the_upper: bool,
    /// Sum of the tolerances of limit and input, F; nil where no tolerance of the input is known.
    pub tolerance_f: Option<f64>,
    /// Whether the input's tolerance is known.
    pub tolerance_known: bool,
    /// e that the best setting leaves, with the nominal values.
    pub error: Option<f64>,
    /// Lowest and highest e that the tolerances allow.
    pub error_bounds: Option<(f64, f64)>,
    /// −3 dB frequency of probe and input together, Hz.
    pub bandwidth_hz: Option<f64>,
    /// 10–90 % transition duration of probe and input together, s.
    pub transition_s: Option<f64>,
    /// What a voltage taken times the probe's ratio reads at low frequencies, over what it is; 1 on the input that the divider is made for.
    pub reads: Option<f64>,
    /// What is missing for any of it.
    pub lacking: LackingSet,
}

impl Cell {
    /// Whether the input's resistance is not the one that the divider is made for.
    pub fn wrong_load(&self) -> bool {
        self.reads.is_some_and(is_wrong)
    }

    /// Whether probe and input do for each other for sure: reached, or nothing to balance, and no wrong load.
    pub fn suits(&self) -> bool {
        matches!(self.standing, Standing::Reaches | Standing::NothingToBalance) && !self.wrong_load()
    }

    /// The e furthest from nil that the tolerances allow.
    pub fn worst_error(&self) -> Option<f64> {
        self.error_bounds.map(|(lowest, highest)| if -lowest > highest { lowest } else { highest })
    }

    /// What is missing for a verdict.
    pub fn lacking_for_verdict(&self) -> LackingSet {
        self.lacking.within(LackingSet::VERDICT)
    }

    /// What is missing for e.
    pub fn lacking_for_error(&self) -> LackingSet {
        self.lacking.within(LackingSet::ERROR)
    }
}

fn is_wrong(reads: f64) -> bool {
    !(1.0 - LOAD_ALLOWANCE..=1.0 + LOAD_ALLOWANCE).contains(&reads)
}

impl Row {
    /// The row of one probe.
    ///
    /// # Panics
    /// Where there is no such probe.
    pub fn of(probes: &Probes, index: usize, inputs: &Inputs) -> Self {
        let mut row = Self::default();
        row.fill(probes, index, inputs);
        row
    }

    /// How many inputs.
    pub fn len(&self) -> usize {
        self.standing.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.standing.is_empty()
    }

    /// Fills the row anew, in the memory it has.
    ///
    /// # Panics
    /// Where there is no such probe.
    pub fn fill(&mut self, probes: &Probes, index: usize, inputs: &Inputs) {
        self.verdicts(probes, index, inputs);
        self.errors(probes, index, inputs);
        let (probe_hz, probe_s) = (probes.bandwidth_hz[index], probes.transition_s[index]);
        refill(
            &mut self.bandwidth_hz,
            inputs.bandwidth_hz.iter().map(|b| combined_bandwidth_hz(probe_hz, *b)),
        );
        refill(
            &mut self.transition_s,
            inputs.transition_s.iter().map(|t| combined_transition_s(probe_s, *t)),
        );
        let (tip_ohm, ratio) = (probes.tip_ohm[index], probes.ratio[index]);
        refill(&mut self.reads, inputs.resistance_ohm.iter().map(|r| ratio * r / (tip_ohm + r)));
        let lacking = probes.lacking[index];
        let balances = probes.balances[index];
        let of_pair = |of_input: &LackingSet| {
            let both = lacking.and(*of_input);
            // A probe without compensation asks for no capacitance.
            if balances { both } else { both.within(LackingSet::BANDWIDTH) }
        };
        refill(&mut self.lacking, inputs.lacking.iter().map(of_pair));
    }

    fn verdicts(&mut self, probes: &Probes, index: usize, inputs: &Inputs) {
        let count = inputs.len();
        self.tolerance_known.clone_from(&inputs.tolerance_known);
        let range = probes.ranges[index].filter(|_| probes.unfit(index).is_none());
        let Some(range) = range else {
            let standing =
                if probes.balances[index] { Standing::CannotBeSaid } else { Standing::NothingToBalance };
            refill(&mut self.standing, std::iter::repeat_n(standing, count));
            refill(&mut self.margin_f, std::iter::repeat_n(f64::NAN, count));
            refill(&mut self.nearer_the_upper, std::iter::repeat_n(false, count));
            refill(&mut self.tolerance_f, std::iter::repeat_n(f64::NAN, count));
            return;
        };
        // Halves, so that nothing overflows.
        let middle_f = 0.5 * range.least_f + 0.5 * range.most_f;
        refill(&mut self.nearer_the_upper, inputs.nominal_f.iter().map(|c| *c > middle_f));
        self.standing.clear();
        self.margin_f.clear();
        self.tolerance_f.clear();
        for input in 0..count {
            let Margin { verdict, margin_f, tolerance_f } = range.margin(inputs.capacitance(input));
            let known = !margin_f.is_nan();
            self.standing.push(match verdict {
                _ if !known => Standing::CannotBeSaid,
                Verdict::Reaches => Standing::Reaches,
                Verdict::MayReach => Standing::MayReach,
                Verdict::OutOfReach => Standing::OutOfReach,
            });
            self.margin_f.push(margin_f);
            self.tolerance_f.push(if known { tolerance_f } else { f64::NAN });
        }
    }

    fn errors(&mut self, probes: &Probes, index: usize, inputs: &Inputs) {
        self.error.clear();
        self.lowest.clear();
        self.highest.clear();
        let Some(probe) = &probes.reach[index] else {
            for column in [&mut self.error, &mut self.lowest, &mut self.highest] {
                column.resize(inputs.len(), f64::NAN);
            }
            return;
        };
        for input in 0..inputs.len() {
            let capacitance = inputs.capacitance(input);
            let known = !capacitance.nominal_f.is_nan();
            let Errors { nominal, lowest, highest, .. } = probe.errors(capacitance);
            self.error.push(if known { nominal } else { f64::NAN });
            self.lowest.push(if known { lowest } else { f64::NAN });
            self.highest.push(if known { highest } else { f64::NAN });
        }
    }

    /// What is said of the pair with one input.
    ///
    /// # Panics
    /// Where there is no such input.
    #[inline]
    pub fn cell(&self, input: usize) -> Cell {
        let (lowest, highest) = (self.lowest[input], self.highest[input]);
        Cell {
            standing: self.standing[input],
            margin_f: known(self.margin_f[input]),
            nearer_the_upper: self.nearer_the_upper[input],
            tolerance_f: known(self.tolerance_f[input]),
            tolerance_known: self.tolerance_known[input],
            error: known(self.error[input]),
            error_bounds: known(lowest).zip(known(highest)),
            bandwidth_hz: known(self.bandwidth_hz[input]),
            transition_s: known(self.transition_s[input]),
            reads: known(self.reads[input]),
            lacking: self.lacking[input],
        }
    }

    /// All pairs in the order of the inputs.
    pub fn cells(&self) -> impl Iterator<Item = Cell> {
        (0..self.len()).map(|input| self.cell(input))
    }
}

fn known(value: f64) -> Option<f64> {
    (!value.is_nan()).then_some(value)
}

fn refill<T>(column: &mut Vec<T>, values: impl Iterator<Item = T>) {
    column.clear();
    column.extend(values);
}
