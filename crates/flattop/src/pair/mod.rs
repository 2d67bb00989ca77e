//! `flattop pair`: two probes used as a difference, or for the time between them.

mod args;
mod run;

pub(crate) use args::Args;
pub(crate) use run::{Request, Side, check_edges, on_bench, planned, told};

use flattop_report::pair::{json, plot, text};

use crate::found::Trouble;
use crate::output::{complain, draw, print};
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let subject = match run::run(args)? {
        Ok(subject) => subject,
        Err(trouble) => {
            let (message, ending) = match trouble {
                Trouble::Unusable(message) => (message, Ending::Unusable),
                Trouble::Undetermined(message) => (message, Ending::Undetermined),
            };
            complain(&message);
            return Ok(ending);
        }
    };
    let drawn = args.plot.as_deref().map_or(Ending::Good, |file| {
        draw(file, || plot::svg(&subject), || plot::png(&subject).map_err(|error| error.to_string()))
    });
    let words = if args.json { json::write_json(&subject) } else { text::report(&subject) };
    Ok(drawn.max(print(words.as_bytes())))
}
