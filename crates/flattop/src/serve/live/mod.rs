//! Live sessions: captures that come by themselves or are dropped in, and everyone who reads what becomes of them.

mod hub;
mod routes;
mod source;

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::http::StatusCode;

use super::answer::{Answer, Problem};
pub(super) use hub::CanLog;
use hub::Live;
pub(super) use routes::*;

/// Sessions at a time.
pub(super) const MOST_SESSIONS: usize = 8;
/// Readers of events at a time, of all sessions together.
const MOST_READERS: usize = 64;
/// A session that nobody reads or feeds for so long ends.
const FORGOTTEN: Duration = Duration::from_secs(1800);

/// All of them.
#[derive(Default)]
pub(super) struct Sessions {
    all: Mutex<HashMap<String, Arc<Live>>>,
    made: AtomicU64,
}

impl Sessions {
    fn lock(&self) -> MutexGuard<'_, HashMap<String, Arc<Live>>> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A name for a new one, which nobody can guess.
    fn name(&self) -> Answer<String> {
        let mut random = [0u8; 9];
        getrandom::fill(&mut random).map_err(|_| Problem::internal())?;
        let number = self.made.fetch_add(1, Ordering::Relaxed) + 1;
        let rest: String = random.iter().map(|byte| format!("{byte:02x}")).collect();
        Ok(format!("s{number}-{rest}"))
    }

    /// Refuses where there are enough.
    fn has_room(&self, now: Duration) -> Answer<()> {
        self.sweep(now);
        if self.lock().len() < MOST_SESSIONS {
            return Ok(());
        }
        Err(too_many())
    }

    fn add(&self, live: &Arc<Live>) -> Answer<()> {
        let mut all = self.lock();
        if all.len() >= MOST_SESSIONS {
            return Err(too_many());
        }
        all.insert(live.id().to_owned(), Arc::clone(live));
        Ok(())
    }

    fn find(&self, id: &str) -> Answer<Arc<Live>> {
        let found = self.lock().get(id).cloned();
        found
            .ok_or_else(|| Problem::not_found("there is no such session, or not any more; start another one"))
    }

    fn all(&self) -> Vec<Arc<Live>> {
        let mut all: Vec<_> = self.lock().values().cloned().collect();
        all.sort_by(|a, b| a.id().cmp(b.id()));
        all
    }

    fn readers(&self) -> usize {
        self.lock().values().map(|live| live.readers()).sum()
    }

    fn remove(&self, id: &str) -> Answer<()> {
        let live = self.find(id)?;
        live.end("it was ended from the page");
        self.lock().remove(id);
        Ok(())
    }

    /// Ends those that nobody has read for long.
    pub(super) fn sweep(&self, now: Duration) {
        self.lock().retain(|_, live| {
            let stays = !live.is_forgotten(now, FORGOTTEN);
            if !stays {
                live.end("nobody read it for half an hour");
            }
            stays
        });
    }

    /// Ends all of them.
    pub(super) fn end(&self) {
        for (_, live) in self.lock().drain() {
            live.end("the server ends");
        }
    }
}

fn too_many() -> Problem {
    let message = format!("{MOST_SESSIONS} sessions are going on already; end one of them first");
    Problem::new(StatusCode::TOO_MANY_REQUESTS, "too-many-sessions", message)
}
