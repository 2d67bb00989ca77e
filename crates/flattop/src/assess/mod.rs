//! `flattop assess`: from captures, or from readings off a screen, to the compensation error.

mod args;
mod by_eye;
mod render;
mod request;
mod run;
mod sines;

pub(crate) use args::Args;

use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let request = request::Request::from_args(args)?;
    let results = run::run(&request);
    Ok(render::render(&request, &results))
}
