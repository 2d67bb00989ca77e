//! From what was typed to a budget with its surroundings.

use std::ops::Range;
use std::path::Path;

use flattop_core::rating;
use flattop_core::signal::Shape;
use flattop_core::uncertainty::reading::{Measurand, Reading, budget};
use flattop_core::uncertainty::{Block, Settings, Stop};
use flattop_plan::Plan;
use flattop_plan::document::Grid;
use flattop_report::budget::Subject;
use rayon::prelude::*;

use super::Args;
use super::inputs::{Side, gather, measurand};
use crate::setup::{self, Around};
use crate::status::WrongUsage;

/// Bins of the histogram: about ten in a standard uncertainty.
const BINS: usize = 100;

/// How sure the answer has to be.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wish {
    /// Coverage probability of the intervals.
    pub(crate) coverage: f64,
    pub(crate) seed: u64,
    /// So many trials; without it until the answer is stable.
    pub(crate) trials: Option<u64>,
    pub(crate) most_trials: u64,
    pub(crate) digits: u8,
}

/// The budget, or what is wrong with plan or files.
pub(super) fn run(args: &Args) -> Result<Result<Subject, String>, WrongUsage> {
    let settings = crate::values::settings(&args.set).map_err(|message| WrongUsage { message })?;
    if args.plan.is_none() && settings.is_empty() {
        return Err(WrongUsage {
            message: "no plan and no settings; name a PLAN.toml, or start one with --template".to_owned(),
        });
    }
    Ok(from_plan(args, &settings))
}

fn from_plan(args: &Args, settings: &[(&str, &str)]) -> Result<Subject, String> {
    let file = args.plan.as_deref();
    let name = file.map_or_else(|| "settings".to_owned(), |file| file.display().to_string());
    let text = file.map_or_else(|| Ok(String::new()), crate::values::read_text)?;
    let plan = Plan::with_overrides(&name, &text, settings).map_err(|problems| problems.to_string())?;
    let folder = file.and_then(Path::parent).unwrap_or(Path::new(""));
    let wish = Wish {
        coverage: args.coverage,
        seed: args.seed,
        trials: args.trials,
        most_trials: args.most_trials,
        digits: args.digits,
    };
    of_plan(wish, &name, &plan, folder).map_err(|error| format!("{name}: {error}"))
}

/// The budget of a plan; files that it names are looked for in `folder`.
pub(crate) fn of_plan(wish: Wish, name: &str, plan: &Plan, folder: &Path) -> Result<Subject, String> {
    let Some(reading) = &plan.budget.reading else {
        return Err(
            "nothing is said to be read; add [reading] with quantity = \"amplitude\" or another".to_owned()
        );
    };
    let around = Around { node: &plan.node, contact: &plan.contact, input: &plan.input };
    let setup = setup::with_measured(setup::chain(&plan.probe, &around)?, &plan.measured, folder)?;
    let first = Side { setup, probe: &plan.probe, response_form: reading.response_form };
    let second = match &plan.budget.second {
        Some(second) => {
            let around = Around { node: &second.node, contact: &second.contact, input: &second.input };
            Some(Side {
                setup: setup::chain(&second.probe, &around)?,
                probe: &second.probe,
                response_form: second.response_form,
            })
        }
        None => None,
    };
    let Some(signal) = &plan.signal else {
        return Err("a reading is one of a signal; add [signal]".to_owned());
    };
    let (signal, mut findings) = setup::signal(signal, folder)?;
    let measurand = measurand(reading.quantity);
    let frequency_hz = match (&reading.frequencies, &signal.shape) {
        (Some(grid), _) => frequencies(grid),
        (None, Shape::Sine { frequency_hz }) => vec![*frequency_hz],
        (None, _) if measurand == Measurand::Amplitude => {
            return Err("[reading] frequencies: an amplitude is that of a sine; say at which frequencies, or give a [signal] of shape \"sine\"".to_owned());
        }
        _ => Vec::new(),
    };
    let inputs = gather(reading, &plan.budget.uncertain, &plan.budget.correlated, &first, second.as_ref())?;
    let question = Reading {
        measurand,
        signal: &signal,
        frequency_hz: &frequency_hz,
        chain: &inputs.first,
        second: inputs.second.as_ref(),
        shown: inputs.shown,
        noise_rms_v: inputs.noise_rms_v,
        inputs: &inputs.list,
        correlations: &inputs.correlations,
    };
    let stop = match wish.trials {
        Some(trials) => Stop::Trials(trials),
        None => Stop::Adaptive { digits: wish.digits, share: 0.2, most_trials: wish.most_trials },
    };
    let settings = Settings { seed: wish.seed, probability: wish.coverage, stop, bins: BINS };
    let budget = budget(&question, &settings, &in_parallel).map_err(|error| error.to_string())?;
    let exposure = setup::exposure(
        ("probe", &plan.probe),
        ("input", &plan.input),
        inputs.first.ratio,
        plan.circuit.as_ref(),
    )?;
    let survey = rating::survey(&signal, &exposure.parts, exposure.circuit)
        .map_err(|error| format!("[signal]: {error}"))?;
    findings.splice(0..0, plan.findings.iter().cloned());
    findings.extend(first.setup.findings);
    findings.extend(second.iter().flat_map(|s| s.setup.findings.iter().cloned()));
    findings.extend(inputs.findings);
    findings.extend(budget.findings.iter().cloned());
    findings.extend(survey.findings);
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    findings.dedup();
    Ok(Subject {
        plan: name.to_owned(),
        measurand,
        inputs: inputs.list.iter().map(|input| (input.quantity.clone(), input.unit)).collect(),
        correlations: inputs.correlations.clone(),
        budget,
        seed: wish.seed,
        probability: wish.coverage,
        digits: wish.digits,
        assumed: first
            .setup
            .assumed
            .into_iter()
            .chain(second.into_iter().flat_map(|s| s.setup.assumed))
            .collect(),
        findings,
    })
}

/// Blocks of trials on all processors; they come back in their order.
fn in_parallel(numbers: Range<u64>, work: &(dyn Fn(u64) -> Block + Sync)) -> Vec<Block> {
    numbers.into_par_iter().map(work).collect()
}

fn frequencies(grid: &Grid) -> Vec<f64> {
    match *grid {
        Grid::Points(ref points) => points.clone(),
        Grid::Span { start, stop, count } => {
            let last = f64::from(count - 1);
            let inner = (1..count - 1).map(|k| start * (stop / start).powf(f64::from(k) / last));
            std::iter::once(start).chain(inner).chain(std::iter::once(stop)).collect()
        }
    }
}
