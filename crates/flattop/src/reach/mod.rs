//! `flattop reach`: from data sheets to whether a probe's trimmer can balance an input.

mod args;
mod render;
mod request;
mod run;

pub(crate) use args::Args;

use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let request = request::Request::from_args(args)?;
    let results = run::run(&request);
    Ok(render::render(&request, &results))
}
