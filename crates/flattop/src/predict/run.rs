//! From what was typed to a prediction with its surroundings.

use std::path::Path;

use flattop_core::prediction::{Question, predict};
use flattop_core::rating;
use flattop_plan::Plan;
use flattop_plan::document::Grid;
use flattop_report::prediction::Subject;

use super::Args;
use crate::setup::{self, Around, OnBench, Which};
use crate::status::WrongUsage;

/// The error up to which something counts as carried, where nobody says.
const USUAL_ERROR: f64 = 0.03;

/// Frequencies where nobody says: 10 Hz to 1 GHz, fifty in each decade.
const USUAL_FREQUENCIES: (f64, f64, u32) = (10.0, 1e9, 401);

/// The prediction, or what is wrong with plan or files.
pub(super) fn run(args: &Args) -> Result<Result<Subject, String>, WrongUsage> {
    let settings = args.settings().map_err(|message| WrongUsage { message })?;
    if args.plan.is_none() && settings.is_empty() {
        return Err(WrongUsage {
            message: "no plan and no options; name a PLAN.toml, or start one with --template".to_owned(),
        });
    }
    let bench = OnBench::new(&args.bench, Which::InForce);
    Ok(from_plan(args.plan.as_deref(), &settings, &bench))
}

fn from_plan(file: Option<&Path>, settings: &[(&str, &str)], bench: &OnBench<'_>) -> Result<Subject, String> {
    let name = file.map_or_else(|| "options".to_owned(), |file| file.display().to_string());
    let text = file.map_or_else(|| Ok(String::new()), crate::values::read_text)?;
    let plan = Plan::with_bench(&name, &text, settings, bench).map_err(|problems| problems.to_string())?;
    let folder = file.and_then(Path::parent).unwrap_or(Path::new(""));
    // Errors of a plan's values need its name before them.
    predict_plan(&name, &plan, folder).map_err(|error| format!("{name}: {error}"))
}

/// The prediction of a plan; files that it names are looked for in `folder`.
pub(crate) fn predict_plan(name: &str, plan: &Plan, folder: &Path) -> Result<Subject, String> {
    let around = Around { node: &plan.node, contact: &plan.contact, input: &plan.input };
    let setup = setup::with_measured(setup::chain(&plan.probe, &around)?, &plan.measured, folder)?;
    let (signal, mut findings) = match &plan.signal {
        Some(signal) => setup::signal(signal, folder)?,
        None => (setup::no_signal(), Vec::new()),
    };
    let frequency_hz = plan.output.frequencies.as_ref().map_or_else(usual_frequencies, frequencies);
    let time_s = plan.output.times.as_ref().map_or_else(Vec::new, times);
    let question = Question {
        chain: &setup.chain,
        signal: &signal,
        frequency_hz: &frequency_hz,
        time_s: &time_s,
        accepted_error: plan.output.error.unwrap_or(USUAL_ERROR),
        doubts: &setup.doubts,
    };
    let prediction = predict(&question).map_err(|error| error.to_string())?;
    let exposure = setup::exposure(
        ("probe", &plan.probe),
        ("input", &plan.input),
        setup.chain.ratio,
        plan.circuit.as_ref(),
    )?;
    let survey = match &plan.signal {
        Some(_) => Some(
            rating::survey(&signal, &exposure.parts, exposure.circuit)
                .map_err(|error| format!("[signal]: {error}"))?,
        ),
        None => None,
    };
    findings.splice(0..0, plan.findings.iter().cloned());
    findings.extend(setup.findings);
    findings.extend(prediction.findings.iter().cloned());
    findings.extend(survey.iter().flat_map(|s| s.findings.iter().cloned()));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Ok(Subject {
        plan: name.to_owned(),
        chain: setup.chain,
        signal,
        frequency_hz,
        prediction,
        survey,
        part_names: exposure.parts.iter().map(|part| part.name.clone()).collect(),
        assumed: setup.assumed,
        findings,
    })
}

fn usual_frequencies() -> Vec<f64> {
    let (start, stop, count) = USUAL_FREQUENCIES;
    frequencies(&Grid::Span { start, stop, count })
}

fn frequencies(grid: &Grid) -> Vec<f64> {
    spread(grid, |start, stop, share| {
        // From 0 no logarithmic scale starts.
        if start > 0.0 { start * (stop / start).powf(share) } else { stop * share }
    })
}

fn times(grid: &Grid) -> Vec<f64> {
    spread(grid, |start, stop, share| start + (stop - start) * share)
}

fn spread(grid: &Grid, at: impl Fn(f64, f64, f64) -> f64) -> Vec<f64> {
    match *grid {
        Grid::Points(ref points) => points.clone(),
        Grid::Span { start, stop, count } => {
            let last = f64::from(count - 1);
            // Both ends exactly as typed.
            let inner = (1..count - 1).map(|k| at(start, stop, f64::from(k) / last));
            std::iter::once(start).chain(inner).chain(std::iter::once(stop)).collect()
        }
    }
}
