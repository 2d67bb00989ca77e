//! `flattop report`: records to print and keep, made from the bench and its logbook.

mod args;
mod run;

use std::path::Path;

pub(crate) use args::{Args, line, through};
pub(crate) use run::{About, composed};

use args::{How, What};
use flattop_record::document::Document;
use flattop_record::{html, pdf};

use crate::output::{complain, remark, save};
use crate::status::{Ending, WrongUsage};

/// Form of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Html,
    Pdf,
}

impl Form {
    /// The form that a name says.
    fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_ascii_lowercase();
        match ending.as_str() {
            "html" | "htm" => Some(Self::Html),
            "pdf" => Some(Self::Pdf),
            _ => None,
        }
    }
}

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let how = match &args.what {
        What::Assessment(args) => &args.how,
        What::Bench(args) => &args.how,
        What::Period(args) => {
            if args.to <= args.from {
                let message = "the period ends before it begins; give --from the earlier day".into();
                return Err(WrongUsage { message });
            }
            &args.how
        }
    };
    let outcome = run::document(&args.what, how)
        .and_then(|(document, ending)| write(&document, how).map(|()| ending))
        .unwrap_or_else(|message| {
            complain(&message);
            Ending::Unusable
        });
    Ok(outcome)
}

fn write(document: &Document, how: &How) -> Result<(), String> {
    let name = how.output.display();
    let bytes = match Form::of(&how.output) {
        Some(Form::Pdf) => pdf::write(document, how.paper.paper()).map_err(|e| format!("{name}: {e}"))?,
        _ => html::write(document, how.paper.paper()).into_bytes(),
    };
    save(&how.output, &bytes).map_err(|reason| format!("{name}: {reason}"))?;
    remark(&format!("wrote {name}: {}", document.identification));
    Ok(())
}
