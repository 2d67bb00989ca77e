//! Standard input, a pipe or any other stream of records.

use std::collections::VecDeque;
use std::io::{ErrorKind, Read};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use flattop_captures::ReadOptions;

use super::{Cause, Piece, Problem, Source, SplitError, Splitter, Step, read};
use crate::clock::SharedClock;

/// Bytes read at a time.
const PIECE: usize = 1 << 16;
/// Pieces that wait between the thread that reads and the one that splits.
const WAITING: usize = 16;

/// A stream of records; see [`Splitter`] for where they end.
pub struct Stream {
    name: String,
    options: ReadOptions,
    clock: SharedClock,
    inbox: Receiver<std::io::Result<Vec<u8>>>,
    splitter: Splitter,
    waiting: VecDeque<Piece>,
    /// Why reading ended, until it is told.
    failure: Option<String>,
    is_over: bool,
}

impl Stream {
    /// Reads `reader` to its end, in a thread of its own: it may block for as long as it likes. Records have at most
    /// `most_bytes`, and are read with `options`.
    pub fn new(
        name: &str,
        mut reader: impl Read + Send + 'static,
        options: ReadOptions,
        most_bytes: usize,
        clock: SharedClock,
    ) -> Self {
        let (outbox, inbox) = sync_channel(WAITING);
        std::thread::spawn(move || {
            loop {
                let mut piece = vec![0; PIECE];
                let outcome = match reader.read(&mut piece) {
                    Ok(0) => return,
                    Ok(count) => {
                        piece.truncate(count);
                        Ok(piece)
                    }
                    Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                    Err(error) => Err(error),
                };
                let is_last = outcome.is_err();
                if outbox.send(outcome).is_err() || is_last {
                    return;
                }
            }
        });
        Self {
            name: name.to_owned(),
            options,
            clock,
            inbox,
            splitter: Splitter::new(most_bytes),
            waiting: VecDeque::new(),
            failure: None,
            is_over: false,
        }
    }

    fn problem(&self, cause: Cause) -> Step {
        Step::Problem(Problem { name: self.name.clone(), at: self.clock.now(), cause, times: 1 })
    }

    fn waiting(&mut self) -> Option<Step> {
        Some(match self.waiting.pop_front()? {
            Piece::Record(number, bytes) => {
                let name = format!("{} {number}", self.name);
                read(name, bytes, &self.options, self.clock.now())
            }
            Piece::Fault(fault) => self.problem(SplitError::into(fault)),
        })
    }
}

impl Source for Stream {
    fn next(&mut self, time_limit: Duration) -> Step {
        let end = self.clock.now() + time_limit;
        loop {
            if let Some(step) = self.waiting() {
                return step;
            }
            if let Some(reason) = self.failure.take() {
                return self.problem(Cause::Stream { name: self.name.clone(), reason });
            }
            if self.is_over {
                return Step::Ended;
            }
            match self.inbox.recv_timeout(end.saturating_sub(self.clock.now())) {
                Ok(Ok(bytes)) => self.waiting.extend(self.splitter.feed(&bytes)),
                Ok(Err(error)) => self.failure = Some(error.to_string()),
                Err(RecvTimeoutError::Timeout) => return Step::Nothing,
                Err(RecvTimeoutError::Disconnected) => {
                    self.waiting.extend(self.splitter.end());
                    self.is_over = true;
                }
            }
        }
    }

    fn name(&self) -> String {
        self.name.clone()
    }
}
