//! A reading's budget: the law of propagation and, beside it, Monte Carlo, with the verdict on the first.

use std::cell::RefCell;

use super::kernel::Kernel;
use super::model::{BothEffects, Chains, Facts, Formula, terms};
use super::surface::Surfaces;
use super::waveform::ReadingError;
use super::{Measurand, Reading};
use crate::finding::Finding;
use crate::uncertainty::{
    Model, Order, Outcome, Propagation, Quantities, Settings, Sharing, Stop, Summary, Validation, Verdict,
    numerical_tolerance, propagate, run, validate,
};

/// Share of the standard uncertainty that a surface may be off without being remarked on.
pub const SURFACE_LIMIT: f64 = 0.05;

/// Digits of u that count where the stopping rule does not say.
const USUAL_DIGITS: u8 = 2;

/// The budget of one reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// One for each frequency, or just one.
    pub results: Vec<BudgetResult>,
    /// Trials made.
    pub trials: u64,
    /// Whether the stopping rule was met; `None` where there was none.
    pub is_stable: Option<bool>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// What is found for one frequency, or for a reading without one.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetResult {
    /// Hz; of amplitudes only.
    pub frequency_hz: Option<f64>,
    /// As read, or as the chain would show it, V or s.
    pub shown: f64,
    /// Law of propagation; its value is the corrected reading.
    pub propagation: Propagation,
    /// Monte Carlo.
    pub drawn: Summary,
    /// The one held against the other.
    pub validation: Validation,
    /// Root mean square distance of the surface from the chain, V or s; `None` where the chain itself was asked in each trial.
    pub surface_distance: Option<f64>,
}

impl BudgetResult {
    /// Shown less corrected: the known error of the reading as it stands.
    pub fn known_error(&self) -> f64 {
        self.shown - self.propagation.value
    }
}

/// Works out the budget. `spread` shares out blocks of trials; see [`run`].
///
/// # Errors
/// [`ReadingError`].
pub fn budget(
    reading: &Reading<'_>,
    settings: &Settings,
    spread: Sharing<'_>,
) -> Result<Budget, ReadingError> {
    reading.chain.check()?;
    reading.second.map_or(Ok(()), |chain| chain.check())?;
    if let Some(&value) = reading.frequency_hz.iter().find(|f| !(**f > 0.0 && f.is_finite())) {
        return Err(ReadingError::Frequency { value });
    }
    let list = reading.inputs.iter().map(|input| input.quantity.clone()).collect();
    let quantities = Quantities::new(list, reading.correlations.to_vec())?;
    let means = quantities.means();
    let mut effects = BothEffects::new(reading)?;
    let shown = effects.shown(reading.chain)?;
    let formula = Formula::new(reading, &shown);
    let frequencies =
        if reading.measurand == Measurand::Amplitude { reading.frequency_hz } else { &[f64::NAN][..] };
    let facts: Vec<Facts> = frequencies
        .iter()
        .map(|&f| formula.facts(reading, f, &shown, &mut effects))
        .collect::<Result<_, _>>()?;
    if let Some(facts) = facts.iter().find(|f| !(f.nominal.abs() > 0.0) && !reading.measurand.is_time()) {
        let _ = facts;
        let remedy = "check coupling, bandwidth and frequency";
        return Err(ReadingError::Nothing { measurand: reading.measurand.code(), remedy });
    }
    if reading.measurand == Measurand::TransitionDuration
        && let Some(facts) = facts.iter().find(|f| !(f.shown * f.shown > f.nominal + f.forms[0].0))
    {
        let added_s = (facts.nominal + facts.forms[0].0).max(0.0).sqrt();
        return Err(ReadingError::Faster { shown_s: facts.shown, added_s });
    }

    let effects = RefCell::new(effects);
    let mut propagations = Vec::with_capacity(facts.len());
    for facts in &facts {
        let failed = RefCell::new(None);
        let model = |x: &[f64]| {
            let chains = Chains::at(reading, &means, x);
            match effects.borrow_mut().of(&chains, facts.frequency_hz) {
                Ok(effect) => formula.value(facts, effect, &terms(reading, &means, x)),
                Err(error) => {
                    *failed.borrow_mut() = Some(error);
                    f64::NAN
                }
            }
        };
        let propagation = propagate(&quantities, &model, settings.probability, Order::First);
        if let Some(error) = failed.into_inner() {
            return Err(error);
        }
        propagations.push(propagation);
    }

    let mut effects = effects.into_inner();
    let kernel = match reading.measurand {
        Measurand::Amplitude => Kernel::new(reading, &means, &facts),
        _ => None,
    };
    let (outcome, distances) = match kernel {
        Some(kernel) => (draw(&quantities, &kernel, settings, spread)?, None),
        None => {
            let surfaces = Surfaces::new(reading, formula, &facts, &quantities, &mut effects)?;
            let distances = surfaces.distances(&quantities, settings.seed, &mut effects)?;
            (draw(&quantities, &surfaces, settings, spread)?, Some(distances))
        }
    };
    let digits = match settings.stop {
        Stop::Adaptive { digits, .. } => digits,
        Stop::Trials(_) => USUAL_DIGITS,
    };
    let results: Vec<BudgetResult> = facts
        .iter()
        .zip(propagations)
        .zip(outcome.results)
        .enumerate()
        .map(|(k, ((facts, propagation), drawn))| {
            let tolerance = numerical_tolerance(drawn.standard_uncertainty, digits);
            let doubt = (drawn.doubt[2], drawn.doubt[3]);
            BudgetResult {
                frequency_hz: Some(facts.frequency_hz).filter(|f| f.is_finite()),
                shown: facts.shown,
                validation: validate(propagation.interval(), drawn.symmetric, tolerance, doubt),
                surface_distance: distances.as_ref().map(|d| d[k]),
                propagation,
                drawn,
            }
        })
        .collect();
    let findings = remarks(&quantities, &results, outcome.trials, outcome.is_stable);
    Ok(Budget { results, trials: outcome.trials, is_stable: outcome.is_stable, findings })
}

fn draw(
    quantities: &Quantities,
    model: &dyn Model,
    settings: &Settings,
    spread: Sharing<'_>,
) -> Result<Outcome, ReadingError> {
    Ok(run(quantities, model, settings, spread)?)
}

fn remarks(
    quantities: &Quantities,
    results: &[BudgetResult],
    trials: u64,
    is_stable: Option<bool>,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let count = |verdict| results.iter().filter(|r| r.validation.verdict == verdict).count();
    let of = |number: usize| {
        if results.len() == 1 {
            String::new()
        } else {
            format!(" at {number} of {} frequencies", results.len())
        }
    };
    if count(Verdict::NotValid) > 0 {
        let where_ = of(count(Verdict::NotValid));
        findings.push(Finding::note(
            "propagation-not-valid",
            format!(
                "the interval by the law of propagation differs from that by Monte Carlo by more than the numerical tolerance{where_}"
            ),
            "state the interval by Monte Carlo",
        ));
    }
    if count(Verdict::Undecided) > 0 || is_stable == Some(false) {
        findings.push(Finding::note(
            "trials-exhausted",
            format!("{trials} trials were not enough to know all ends to a fifth of the numerical tolerance"),
            "allow more trials, or ask for one digit less",
        ));
    }
    let rough = results.iter().filter_map(|r| {
        let share = r.surface_distance? / r.drawn.standard_uncertainty;
        Some(share).filter(|s| *s > SURFACE_LIMIT)
    });
    if let Some(worst) = rough.reduce(f64::max) {
        findings.push(Finding::warning(
            "surface-rough",
            format!(
                "the surface of second order that stands for the chain in the trials is off by {:.0} % of the standard uncertainty",
                100.0 * worst
            ),
            "take the Monte Carlo interval as rough; smaller tolerances make it closer",
        ));
    }
    let is_estimated = |k: usize| quantities.list()[k].effective_freedom().is_finite();
    if quantities.correlations().iter().any(|c| is_estimated(c.first) || is_estimated(c.second)) {
        findings.push(Finding::note(
            "freedom-of-correlated",
            "the effective degrees of freedom count correlated inputs as if they were not correlated (JCGM 100, G.4.1)",
            "",
        ));
    }
    findings
}
