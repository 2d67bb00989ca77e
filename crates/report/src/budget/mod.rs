//! What people and programs read of a budget of uncertainty: JSON, words, lists, plot.
//!
//! Reading order: [`Subject`], [`text`], [`json`], [`csv`], [`plot`].

pub mod csv;
pub mod json;
pub mod plot;
pub mod text;

use flattop_core::finding::Finding;
use flattop_core::quantity::Unit;
use flattop_core::uncertainty::reading::{Budget, BudgetResult, Measurand};
use flattop_core::uncertainty::{Correlation, Evaluation, Quantity, Verdict};

use crate::prediction::Assumed;

/// One budget and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// The plan as the user named it.
    pub plan: String,
    /// What is read.
    pub measurand: Measurand,
    /// The inputs with their units, in the order of the terms; the unit is `None` where there is no symbol for it.
    pub inputs: Vec<(Quantity, Option<Unit>)>,
    /// Their correlations.
    pub correlations: Vec<Correlation>,
    /// What the core found.
    pub budget: Budget,
    /// Where the random numbers came from.
    pub seed: u64,
    /// Coverage probability.
    pub probability: f64,
    /// Digits of u that count.
    pub digits: u8,
    /// What nobody stated and a model had to assume.
    pub assumed: Vec<Assumed>,
    /// All remarks.
    pub findings: Vec<Finding>,
}

impl Subject {
    /// The result whose uncertainty is the largest beside its value.
    pub fn worst(&self) -> Option<&BudgetResult> {
        let share = |r: &&BudgetResult| r.drawn.standard_uncertainty / r.propagation.value.abs();
        self.budget.results.iter().max_by(|a, b| share(a).total_cmp(&share(b)))
    }

    /// Numbers of the inputs by what they contribute to a result, largest first.
    pub(crate) fn ranked(&self, result: &BudgetResult) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.inputs.len()).collect();
        let size = |k: &usize| result.propagation.terms[*k].contribution.abs();
        order.sort_by(|a, b| size(b).total_cmp(&size(a)));
        order
    }
}

/// The stable name of a verdict, as the JSON contract writes it.
pub fn verdict_code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Valid => "valid",
        Verdict::NotValid => "not-valid",
        Verdict::Undecided => "undecided",
    }
}

/// `A` or `B`.
pub(crate) fn evaluation_code(evaluation: Evaluation) -> &'static str {
    match evaluation {
        Evaluation::A => "A",
        Evaluation::B => "B",
    }
}

/// The unit of an input as printed.
pub(crate) fn symbol(unit: Option<Unit>) -> &'static str {
    unit.map_or("", Unit::symbol)
}

#[cfg(test)]
mod tests;
