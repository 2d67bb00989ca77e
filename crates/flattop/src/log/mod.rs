//! `flattop log`: the logbook, read, checked, worked out again, and filled from many captures at once.

mod args;
mod batch;
mod look;
mod write;

pub(crate) use args::Args;
pub(crate) use look::history;

use args::What;

use crate::output::complain;
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let outcome = match &args.what {
        None => look::list(&args.list)?,
        Some(What::List(args)) => look::list(args)?,
        Some(What::Show(args)) => look::show(args),
        Some(What::Trend(args)) => look::trend(args),
        Some(What::Due(args)) => look::due(args),
        Some(What::Verify(args)) => look::verify(args)?,
        Some(What::Recompute(args)) => look::recompute(args),
        Some(What::Capture(args)) => look::capture(args),
        Some(What::Note(args)) => write::note(args),
        Some(What::Adjusted(args)) => write::adjusted(args),
        Some(What::Correct(args)) => write::correct(args),
        Some(What::Batch(args)) => batch::run(args)?,
    };
    Ok(outcome.unwrap_or_else(|message| {
        complain(&message);
        Ending::Unusable
    }))
}
