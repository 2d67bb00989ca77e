//! `flattop bench`: what stands on the bench, which probe belongs to which input, and the file it is kept in.

mod args;
mod change;
mod demo;
mod look;
pub(crate) mod measure;

pub(crate) use args::Args;
pub(crate) use look::{overview, shown};
pub(crate) use measure::Question;

use args::What;

use crate::output::complain;
use crate::status::{Ending, WrongUsage};

/// Makes the invented workshop in a new file, with a year that ends now.
pub(crate) fn make_demo(file: &std::path::Path) -> Result<(), String> {
    demo::make(file, crate::workbench::now()).map(|_| ())
}

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let outcome = match &args.what {
        What::Add(args) => change::add(args),
        What::Edit(args) => change::edit(args),
        What::Remove(args) => change::remove(args),
        What::Reinstate(args) => change::reinstate(args),
        What::Pair(args) => change::pair(args),
        What::Move(args) => change::move_probe(args),
        What::Void(args) => change::void(args),
        What::Measure(args) => measure::run(args),
        What::Import(args) => change::import(args),
        What::List(args) => look::list(args)?,
        What::Show(args) => look::show(args),
        What::Export(args) => look::export(args),
        What::Backup(args) => look::backup(args),
        What::Demo(args) => demo::run(args),
    };
    Ok(outcome.unwrap_or_else(|message| {
        complain(&message);
        Ending::Unusable
    }))
}
