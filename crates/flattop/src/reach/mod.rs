//! `flattop reach`: from data sheets to whether a probe's trimmer can balance an input: values typed, a bench, candidates.

mod across;
mod args;
mod render;
mod request;
mod run;

pub(crate) use across::matrix;
pub(crate) use args::Args;
pub(crate) use request::tolerated;
pub(crate) use run::judged;

use flattop_report::compatibility::Extent;

use crate::output::complain;
use crate::status::{Ending, WrongUsage};
use args::InputTyped;

/// Runs the command. Values typed make a single reach, names a look at the bench.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let values = args.inputs.iter().any(|input| matches!(input, InputTyped::Value(_)));
    if args.range.is_some() || values {
        let request = request::Request::from_args(args)?;
        let results = run::run(&request);
        return Ok(render::render(&request, &results));
    }
    Ok(across::run(&over_a_bench(args)).unwrap_or_else(|message| {
        complain(&message);
        Ending::Unusable
    }))
}

fn over_a_bench(args: &Args) -> across::Request {
    let named = |input: &InputTyped| match input {
        InputTyped::Named(name) => Some(name.clone()),
        InputTyped::Value(_) => None,
    };
    across::Request {
        bench: args.bench.clone(),
        probes: args.probes.clone(),
        inputs: args.inputs.iter().filter_map(named).collect(),
        candidates: args.candidates.clone(),
        style: match (args.json, args.csv) {
            (true, _) => across::Style::Json,
            (_, true) => across::Style::Csv,
            _ => across::Style::Words,
        },
        extent: if args.summary { Extent::Sums } else { Extent::Pairs },
        plot: args.plot.clone(),
    }
}
