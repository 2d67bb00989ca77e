//! Where captures come from, as typed.

use std::path::Path;

use flattop_captures::ReadOptions;
use flattop_instruments::clock::SharedClock;
use flattop_instruments::dialogue::Dialogue;
use flattop_instruments::source::{AtStart, Feed, FromInstrument, Pace, Stream, Wake, Watch};

use super::Args;
use crate::address::Address;
use crate::dialogue::load;

/// Most bytes of a capture; a million samples as text are less.
const MOST_BYTES: usize = 256 << 20;
/// Captures that wait at most where they come faster than they are assessed; the newest stay.
const WAITING: usize = 4;
/// Captures of a stream that wait: it can be made to wait itself, so that none is left out.
const WAITING_OF_STREAM: usize = 1 << 16;

/// The source, running, and what to call it.
pub(super) fn open(args: &Args, read: &ReadOptions, clock: &SharedClock) -> Result<(Feed, String), String> {
    if let Some(address) = &args.connect {
        let dialogue = match &args.dialogue {
            Some(file) => load(file)?,
            None => Dialogue::scpi_1999().map_err(|e| e.to_string())?,
        };
        return Ok((instrument(address, dialogue, clock), address.name()));
    }
    if let Some(path) = &args.watch {
        let is_there = path.exists()
            || path.parent().is_some_and(|folder| folder.as_os_str().is_empty() || folder.is_dir());
        if !is_there {
            return Err(format!(
                "{}: neither it nor its folder exists; name a folder or file that is there",
                path.display()
            ));
        }
        return Ok((watch(path, read, clock), format!("watching {}", path.display())));
    }
    let stream = Stream::new("standard input", std::io::stdin(), read.clone(), MOST_BYTES, clock.clone());
    Ok((Feed::start(stream, WAITING_OF_STREAM), "standard input".to_owned()))
}

/// An instrument, running.
pub(crate) fn instrument(address: &Address, dialogue: Dialogue, clock: &SharedClock) -> Feed {
    let (theirs, time_limit, clock_there) = (address.clone(), dialogue.bounds.answer_time, clock.clone());
    let connect = Box::new(move || theirs.connect(&clock_there, time_limit));
    Feed::start(
        FromInstrument::new(&address.name(), dialogue, connect, clock.clone()).asking_status(),
        WAITING,
    )
}

/// A watched file or folder, running.
fn watch(path: &Path, read: &ReadOptions, clock: &SharedClock) -> Feed {
    let when = (AtStart::PassOver, Wake::SystemOrLook);
    Feed::start(
        Watch::new(path, read.clone(), Pace::usual(), MOST_BYTES as u64, when, clock.clone()),
        WAITING,
    )
}
