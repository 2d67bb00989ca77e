//! `flattop assess`: from captures, or from readings off a screen, to the compensation error.

mod args;
mod by_eye;
mod pairing;
mod render;
mod request;
mod run;
mod sines;

pub(crate) use args::{Args, Circuit, Columns, LoggedStage, Place};
pub(crate) use pairing::{Typed, known};
pub(crate) use request::{Evidence, Known, Levels, Request};
pub(crate) use run::{remark_on_divider, square};

use flattop_captures::Capture;
use flattop_core::bench::Stage;
use flattop_report::subject::{Assumptions, Failure, Subject};

use crate::logged;
use crate::status::{Ending, WrongUsage};

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let doing = &args.logging.doing;
    if !args.logging.log && (doing.by.is_some() || doing.note.is_some() || doing.at.is_some()) {
        let message = "--by, --note and --at are for the logbook; add --log".to_owned();
        return Err(WrongUsage { message });
    }
    let known = match pairing::of_args(args) {
        Ok(known) => known,
        Err(message) => {
            crate::output::complain(&message);
            return Ok(Ending::Unusable);
        }
    };
    let request = Request::from_args(args, known.as_ref())?;
    let mut results = run::run(&request);
    let logged = if args.logging.log { log(args, &request, &mut results) } else { Ending::Good };
    Ok(render::render(&request, &results).max(logged))
}

/// Captures of sines, worked out anew.
pub(crate) fn sines(
    names: &[String],
    captures: &[Capture],
    assumptions: &Assumptions,
    tolerance: f64,
) -> Subject {
    sines::assess(names, captures, assumptions, tolerance)
}

/// Readings by eye, worked out anew.
pub(crate) fn by_eye(assumptions: &Assumptions, tolerance: f64, levels: &Levels) -> Result<Subject, Failure> {
    by_eye::run(assumptions, tolerance, levels)
}

/// Writes the results into the logbook, and into each result where it went.
fn log(args: &Args, request: &Request, results: &mut [Result<Subject, Failure>]) -> Ending {
    let outcome = (|| {
        let act = args.logging.doing.act()?;
        let mut register = args.logging.bench.change()?;
        let stage = args.logging.stage.map_or(Stage::Check, LoggedStage::stage);
        for subject in results.iter_mut().flatten() {
            logged::log(&mut register, subject, request, stage, args.logging.temperature, &act)?;
        }
        Ok::<_, String>(())
    })();
    match outcome {
        Ok(()) => Ending::Good,
        Err(message) => {
            crate::output::complain(&format!("not logged: {message}"));
            Ending::Unusable
        }
    }
}
