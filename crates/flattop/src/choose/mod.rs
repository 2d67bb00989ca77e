//! `flattop choose`: from a list of probes and inputs to the pairing that suits a measurement.

mod args;
mod run;

pub(crate) use args::Args;
pub(crate) use run::ranked;

use flattop_core::choice::Standing;
use flattop_report::choose::{json, plot, text};

use crate::output::{complain, draw, print};
use crate::setup::{OnBench, Which};
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let settings = crate::values::settings(&args.set).map_err(|message| WrongUsage { message })?;
    let which = if args.all { Which::Every } else { Which::InForce };
    let bench = OnBench::new(&args.bench, which);
    let subject = match run::run(&args.list, &settings, &bench) {
        Ok(subject) => subject,
        Err(message) => {
            complain(&message);
            return Ok(Ending::Unusable);
        }
    };
    let drawn = args.plot.as_deref().map_or(Ending::Good, |file| {
        draw(file, || plot::svg(&subject), || plot::png(&subject).map_err(|error| error.to_string()))
    });
    let words = if args.json { json::of(&subject) } else { text::of(&subject) };
    let ending = match subject.best().map(|best| best.standing) {
        Some(Standing::Suits) => Ending::Good,
        Some(_) => Ending::Undetermined,
        None => Ending::Outside,
    };
    Ok([ending, print(words.as_bytes()), drawn].into_iter().max().unwrap_or(Ending::Good))
}
