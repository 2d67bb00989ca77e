//! `flattop characterise`: from edges or sines to the response of a pairing against frequency.

mod args;
mod run;
mod written;

pub(crate) use args::{Args, band, transition};
pub(crate) use run::{Evidence, Request, run as characterised};
pub(crate) use written::touchstone;

use flattop_report::characterise::{Subject, csv, json, of, png, svg};

use crate::output::{complain, draw, print, save};
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let request = args.request()?;
    let mut subject = match characterised(&request) {
        Ok(subject) => subject,
        Err(message) => {
            complain(&message);
            return Ok(Ending::Unusable);
        }
    };
    let found = !subject.found.points.is_empty();
    let mut endings = vec![if found { Ending::Good } else { Ending::Undetermined }];
    // Without a response there is nothing to store; the report says why.
    if found {
        if let Some(file) = &args.output {
            subject.written_to = Some(file.display().to_string());
            let is_network = file.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("s2p"));
            let text = if is_network { touchstone(&subject) } else { Ok(json::of(&subject)) };
            endings.push(stored(file, text));
        }
        if let Some(file) = &args.csv {
            endings.push(stored(file, Ok(csv(&subject))));
        }
    }
    if let Some(file) = &args.plot {
        endings.push(draw(file, || svg(&subject), || png(&subject).map_err(|error| error.to_string())));
    }
    endings.push(print(words(args, &subject).as_bytes()));
    Ok(endings.into_iter().max().unwrap_or(Ending::Good))
}

fn words(args: &Args, subject: &Subject) -> String {
    if args.json { json::of(subject) } else { of(subject) }
}

fn stored(file: &std::path::Path, text: Result<String, String>) -> Ending {
    match text.and_then(|text| save(file, text.as_bytes())) {
        Ok(()) => Ending::Good,
        Err(reason) => {
            complain(&format!("{}: {reason}", file.display()));
            Ending::Unusable
        }
    }
}
