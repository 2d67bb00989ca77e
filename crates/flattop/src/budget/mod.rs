//! `flattop budget`: from a plan with tolerances to the uncertainty of a reading, and where it comes from.

mod args;
mod inputs;
mod run;

pub(crate) use args::Args;
pub(crate) use run::{Wish, of_plan};

use std::path::Path;

use flattop_core::finding::Severity;
use flattop_report::budget::{Subject, csv, json, plot, text};

use crate::output::{complain, draw, print};
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    if args.template {
        return Ok(print(flattop_plan::budget_template().as_bytes()));
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
    let listed = args.csv.as_deref().map_or(Ending::Good, |file| list(file, &subject));
    let words = if args.json { json::of(&subject) } else { text::of(&subject) };
    Ok([ending(&subject), print(words.as_bytes()), drawn, listed].into_iter().max().unwrap_or(Ending::Good))
}

/// A signal beyond what probe or input is rated for ends like a result outside tolerance.
fn ending(subject: &Subject) -> Ending {
    let has_fault = subject.findings.iter().any(|finding| finding.severity == Severity::Fault);
    if has_fault { Ending::Outside } else { Ending::Good }
}

#[allow(clippy::disallowed_methods)] // writing files is the program's part
fn list(file: &Path, subject: &Subject) -> Ending {
    match std::fs::write(file, csv::of(subject)) {
        Ok(()) => Ending::Good,
        Err(error) => {
            complain(&format!(
                "{}: cannot be written: {error}; check the folder and the space left in it",
                file.display()
            ));
            Ending::Unusable
        }
    }
}
