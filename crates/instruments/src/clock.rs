//! Time that only goes on: the system's steady clock, or one that a test turns by hand.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// A clock that no change of the date moves.
pub trait Clock: Send + Sync {
    /// Time since the clock was made.
    fn now(&self) -> Duration;
    /// Waits.
    fn pause(&self, time: Duration);
}

/// A clock that is shared.
pub type SharedClock = Arc<dyn Clock>;

/// The system's steady clock.
#[derive(Debug)]
pub struct Steady {
    start: Instant,
}

impl Steady {
    /// Begins at 0.
    #[allow(clippy::disallowed_methods)] // the one place where this crate looks at a clock
    pub fn new() -> Self {
        Self { start: Instant::now() }
    }

    /// A shared one.
    pub fn shared() -> SharedClock {
        Arc::new(Self::new())
    }
}

impl Default for Steady {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for Steady {
    fn now(&self) -> Duration {
        self.start.elapsed()
    }

    fn pause(&self, time: Duration) {
        std::thread::sleep(time);
    }
}

/// A clock that stands still until it is turned: waiting turns it.
#[derive(Clone, Debug, Default)]
pub struct Hand {
    nanoseconds: Arc<AtomicU64>,
}

impl Hand {
    /// Begins at 0.
    pub fn new() -> Self {
        Self::default()
    }
}

impl Clock for Hand {
    fn now(&self) -> Duration {
        Duration::from_nanos(self.nanoseconds.load(Ordering::SeqCst))
    }

    fn pause(&self, time: Duration) {
        let nanoseconds = u64::try_from(time.as_nanos()).unwrap_or(u64::MAX);
        self.nanoseconds.fetch_add(nanoseconds, Ordering::SeqCst);
    }
}
