//! `flattop trim`: follows a source of captures while somebody turns a trimmer.

mod args;
mod screen;
pub(crate) mod session;
pub(crate) mod source;

use std::time::Duration;

use flattop_instruments::clock::{SharedClock, Steady};
use flattop_instruments::source::{Cause, Problem, Source as _, Step};

pub(crate) use args::Args;
use args::Sound;
use screen::{Audience, Screen};
use session::{Logging, Place, Session, Wish};

use crate::assess::{Known, Typed};
use crate::output::{complain, remark};
use crate::status::{Ending, WrongUsage};

/// Longest wait without a look at the time.
const TURN: Duration = Duration::from_millis(200);

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let doing = &args.doing;
    if !args.log && (doing.by.is_some() || doing.note.is_some() || doing.at.is_some()) {
        let message = "--by, --note and --at are for the logbook; add --log".to_owned();
        return Err(WrongUsage { message });
    }
    let read = args.columns.read()?;
    let clock: SharedClock = Steady::shared();
    let opened = (|| {
        let known = match &args.probe {
            Some(probe) => {
                let typed = Typed { probe, input: args.input.as_deref(), log: args.log };
                typed.known(&args.bench, &args.circuit)?
            }
            None => Known::default(),
        };
        Ok::<_, String>((known, source::open(args, &read, &clock)?))
    })();
    let (known, (feed, name)) = match opened {
        Ok(opened) => opened,
        Err(message) => {
            complain(&message);
            return Ok(Ending::Unusable);
        }
    };
    let title = match &known.on_bench {
        Some(place) => format!("{} on {}, {name}", place.probe, place.input),
        None => name,
    };
    let place =
        Place { bench: args.bench.clone(), doing: args.doing.clone(), temperature_c: args.temperature };
    let wish = Wish {
        circuit: args.circuit.clone(),
        hold: args.hold,
        captures: args.captures,
        logging: if args.log { Logging::ByItself(place) } else { Logging::Never },
    };
    let session = Session::new(wish, title, &known);
    Ok(follow(args, session, feed, &clock))
}

/// Takes capture after capture until the end.
fn follow(
    args: &Args,
    mut session: Session,
    mut feed: flattop_instruments::source::Feed,
    clock: &SharedClock,
) -> Ending {
    let mut screen = Screen::new(args);
    let begin = clock.now();
    let end = args.for_s.map(|seconds| begin + Duration::from_secs_f64(seconds.min(1e9)));
    let mut written = screen.open(&session.title);
    let mut has_failed = false;
    let mut last_problem = None;
    let mut next_ring = begin;
    while let Ok(Audience::There) = written {
        let now = clock.now();
        let is_over = end.is_some_and(|end| now >= end);
        let wait = end.map_or(TURN, |end| end.saturating_sub(now).min(TURN));
        match if is_over { Step::Ended } else { feed.next(wait) } {
            Step::Arrived(arrived) => {
                let time_s = arrived.at.saturating_sub(begin).as_secs_f64();
                let mut troubles = Vec::new();
                troubles.extend(session.take(*arrived, time_s).err());
                let is_last = session.is_held() || session.is_full();
                if is_last {
                    troubles.extend(session.close().err());
                }
                if let Some(shown) = session.shown() {
                    written = screen.show(&shown);
                }
                for trouble in troubles {
                    screen.trouble(&format!("not logged: {trouble}"));
                    has_failed = true;
                }
                last_problem = None;
                if is_last {
                    break;
                }
            }
            Step::Problem(problem) => {
                // The same over and over is told once.
                if last_problem.as_ref() != Some(&problem.cause) {
                    screen.trouble(&words(&problem));
                }
                last_problem = Some(problem.cause);
            }
            Step::Nothing => {}
            Step::Ended => {
                match session.close() {
                    Ok(()) => told(&session),
                    Err(trouble) => {
                        screen.trouble(&format!("not logged: {trouble}"));
                        has_failed = true;
                    }
                }
                break;
            }
        }
        if args.sound == Some(Sound::Bell) {
            let interval = session
                .state()
                .and_then(|state| flattop_report::trim::bell_interval_s(state, session.tolerance));
            if let Some(interval) = interval
                && clock.now() >= next_ring
            {
                screen::ring();
                next_ring = clock.now() + Duration::from_secs_f64(interval);
            }
        }
    }
    finished(&session, last_problem.is_some(), has_failed, written.err())
}

/// What was logged after the last line.
fn told(session: &Session) {
    for logged in session.shown().iter().flat_map(|shown| shown.logged) {
        remark(&format!("logged as entry {}: {}", logged.entry, logged.stage));
    }
}

fn finished(session: &Session, is_source_down: bool, has_failed: bool, unwritten: Option<String>) -> Ending {
    if let Some(message) = &unwritten {
        complain(message);
    }
    let has_any = session.shown().is_some();
    if !has_any {
        complain("not one capture came; check that the source is the right one and that captures arrive");
    } else if let Some(fault) = session.fault() {
        complain(&format!("the last capture could not be used: {} {}", fault.message, fault.remedy));
    }
    if has_failed || unwritten.is_some() || (is_source_down && !has_any) {
        return Ending::Unusable;
    }
    session.ending()
}

/// A problem of the source, with how often it came.
pub(crate) fn words(problem: &Problem) -> String {
    let words = match &problem.cause {
        // These name where it was.
        Cause::Gone { .. }
        | Cause::TooLarge { .. }
        | Cause::Outside { .. }
        | Cause::Stream { .. }
        | Cause::Read(_) => problem.cause.to_string(),
        other => format!("{}: {other}", problem.name),
    };
    if problem.times > 1 { format!("{words} ({} times)", problem.times) } else { words }
}
