//! `flattop predict`: from a plan to what the screen would show, and why.

mod args;
mod keys;
mod run;

pub(crate) use args::Args;
pub(crate) use run::predict_plan;

use flattop_core::finding::Severity;
use flattop_report::prediction::{Subject, json, plot, text};

use crate::output::{complain, draw, print};
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    if args.template {
        return Ok(print(flattop_plan::template().as_bytes()));
    }
    let subject = match run::run(args)? {
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
    Ok([ending(&subject), print(words.as_bytes()), drawn].into_iter().max().unwrap_or(Ending::Good))
}

/// A signal beyond what probe or input is rated for ends like a result outside tolerance.
fn ending(subject: &Subject) -> Ending {
    let has_fault = subject.findings.iter().any(|finding| finding.severity == Severity::Fault);
    if has_fault { Ending::Outside } else { Ending::Good }
}
