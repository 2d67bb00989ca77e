//! `flattop correct`: from a capture to the same without what the pairing did to it.

mod args;
mod known;
mod run;
mod watch;

pub(crate) use args::{Against, Args, error, time_constant};
pub(crate) use known::{Source, What, entry, setup_of, shelf, typed};
pub(crate) use run::{Request, run as correct};

use flattop_report::correction::{json, plot, text};

use crate::found::Trouble;
use crate::output::{complain, draw, print};
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let subject = match known::find(&args.known)?.and_then(|source| correct(&Request::of(args), &source)) {
        Ok(subject) => subject,
        Err(trouble) => {
            let (message, ending) = match trouble {
                Trouble::Unusable(message) => (message, Ending::Unusable),
                Trouble::Undetermined(message) => (message, Ending::Undetermined),
            };
            complain(&message);
            let written = if args.json {
                print(json::failed(&args.capture.display().to_string(), &message).as_bytes())
            } else {
                Ending::Good
            };
            return Ok(ending.max(written));
        }
    };
    let drawn = args.plot.as_deref().map_or(Ending::Good, |file| {
        draw(file, || plot::svg(&subject), || plot::png(&subject).map_err(|error| error.to_string()))
    });
    let words = if args.json { json::of(&subject) } else { text::of(&subject) };
    let ending = if subject.fault().is_some() { Ending::Undetermined } else { Ending::Good };
    Ok([ending, print(words.as_bytes()), drawn].into_iter().max().unwrap_or(Ending::Good))
}
