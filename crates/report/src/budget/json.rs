//! The JSON contract of `flattop budget`. `docs/budget-json.md` describes every field.
//!
//! The rules are those of [`crate::json`]: SI units, null and never absent, no NaN.

use flattop_core::uncertainty::Interval;
use flattop_core::uncertainty::reading::BudgetResult;
use serde::Serialize;

use super::{Subject, evaluation_code, symbol, verdict_code};
use crate::json::{Finding, finding, finite, write};
use crate::prediction::AssumedValue;

/// The JSON text, with a final line feed.
pub fn of(subject: &Subject) -> String {
    write(&Report::of(subject))
}

/// The whole.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Report {
    pub flattop_version: &'static str,
    pub plan: String,
    pub measurand: &'static str,
    pub unit: &'static str,
    pub coverage_probability: f64,
    pub seed: u64,
    pub trials: u64,
    pub is_stable: Option<bool>,
    pub digits: u8,
    pub inputs: Vec<Input>,
    pub correlations: Vec<Correlated>,
    pub results: Vec<Result>,
    pub assumed: Vec<Assumed>,
    pub findings: Vec<Finding>,
}

/// An input.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Input {
    pub name: String,
    pub unit: &'static str,
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
    pub distribution: &'static str,
    pub evaluation: &'static str,
    pub degrees_of_freedom: Option<f64>,
}

/// Two inputs that are correlated.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Correlated {
    pub first: String,
    pub second: String,
    pub coefficient: f64,
}

/// One result.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Result {
    pub frequency_hz: Option<f64>,
    pub shown: Option<f64>,
    pub known_error: Option<f64>,
    pub propagation: Propagation,
    pub monte_carlo: MonteCarlo,
    pub validation: Validation,
}

/// By the law of propagation.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Propagation {
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
    pub effective_degrees_of_freedom: Option<f64>,
    pub coverage_factor: Option<f64>,
    pub expanded_uncertainty: Option<f64>,
    pub interval: [Option<f64>; 2],
    pub terms: Vec<Term>,
}

/// What an input does, in the order of `inputs`.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Term {
    pub sensitivity: Option<f64>,
    pub contribution: Option<f64>,
    pub share: Option<f64>,
}

/// By Monte Carlo.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct MonteCarlo {
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
    pub symmetric_interval: [Option<f64>; 2],
    pub shortest_interval: [Option<f64>; 2],
    pub symmetric_interval_doubt: [Option<f64>; 2],
    pub shortest_interval_doubt: [Option<f64>; 2],
    pub surface_distance: Option<f64>,
}

/// The one held against the other.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Validation {
    pub verdict: &'static str,
    pub tolerance: Option<f64>,
    pub low_difference: Option<f64>,
    pub high_difference: Option<f64>,
}

/// Something that was assumed.
#[derive(Debug, Serialize)]
#[allow(missing_docs)]
pub struct Assumed {
    pub what: String,
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
    pub words: Option<String>,
    pub why: String,
}

impl Report {
    /// The contract's shape of a budget.
    pub fn of(subject: &Subject) -> Self {
        let name = |k: usize| subject.inputs.get(k).map_or_else(String::new, |(q, _)| q.name.clone());
        Self {
            flattop_version: env!("CARGO_PKG_VERSION"),
            plan: subject.plan.clone(),
            measurand: subject.measurand.code(),
            unit: subject.measurand.unit().symbol(),
            coverage_probability: subject.probability,
            seed: subject.seed,
            trials: subject.budget.trials,
            is_stable: subject.budget.is_stable,
            digits: subject.digits,
            inputs: subject
                .inputs
                .iter()
                .map(|(quantity, unit)| Input {
                    name: quantity.name.clone(),
                    unit: symbol(*unit),
                    value: finite(quantity.distribution.mean()),
                    standard_uncertainty: finite(quantity.distribution.standard_uncertainty()),
                    distribution: quantity.distribution.words(),
                    evaluation: evaluation_code(quantity.evaluation),
                    degrees_of_freedom: finite(quantity.effective_freedom()),
                })
                .collect(),
            correlations: subject
                .correlations
                .iter()
                .map(|c| Correlated {
                    first: name(c.first),
                    second: name(c.second),
                    coefficient: c.coefficient,
                })
                .collect(),
            results: subject.budget.results.iter().map(result).collect(),
            assumed: subject
                .assumed
                .iter()
                .map(|assumed| {
                    let (value, standard_uncertainty, words) = match &assumed.value {
                        AssumedValue::Number { value, standard_uncertainty, .. } => {
                            (finite(*value), standard_uncertainty.and_then(finite), None)
                        }
                        AssumedValue::Words(words) => (None, None, Some(words.clone())),
                    };
                    Assumed {
                        what: assumed.what.clone(),
                        value,
                        standard_uncertainty,
                        words,
                        why: assumed.why.clone(),
                    }
                })
                .collect(),
            findings: subject.findings.iter().map(finding).collect(),
        }
    }
}

fn ends(interval: Interval) -> [Option<f64>; 2] {
    [finite(interval.low), finite(interval.high)]
}

fn result(result: &BudgetResult) -> Result {
    let p = &result.propagation;
    let drawn = &result.drawn;
    Result {
        frequency_hz: result.frequency_hz.and_then(finite),
        shown: finite(result.shown),
        known_error: finite(result.known_error()),
        propagation: Propagation {
            value: finite(p.value),
            standard_uncertainty: finite(p.standard_uncertainty),
            effective_degrees_of_freedom: finite(p.coverage.freedom),
            coverage_factor: finite(p.coverage.factor),
            expanded_uncertainty: finite(p.coverage.expanded),
            interval: ends(p.interval()),
            terms: p
                .terms
                .iter()
                .map(|t| Term {
                    sensitivity: finite(t.sensitivity),
                    contribution: finite(t.contribution),
                    share: finite(t.share),
                })
                .collect(),
        },
        monte_carlo: MonteCarlo {
            value: finite(drawn.mean),
            standard_uncertainty: finite(drawn.standard_uncertainty),
            symmetric_interval: ends(drawn.symmetric),
            shortest_interval: ends(drawn.shortest),
            symmetric_interval_doubt: [finite(drawn.doubt[2]), finite(drawn.doubt[3])],
            shortest_interval_doubt: drawn.shortest_doubt.map(finite),
            surface_distance: result.surface_distance.and_then(finite),
        },
        validation: Validation {
            verdict: verdict_code(result.validation.verdict),
            tolerance: finite(result.validation.tolerance),
            low_difference: finite(result.validation.low),
            high_difference: finite(result.validation.high),
        },
    }
}
