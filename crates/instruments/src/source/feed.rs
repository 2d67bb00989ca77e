//! A source in a thread of its own, behind a queue with an end: the newest captures stay.

use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use flattop_core::finding::Finding;

use super::{Problem, Source, Step};

/// How long the thread's source is asked to wait at a time; it looks in between whether it is still wanted.
const TURN: Duration = Duration::from_millis(200);
/// Most problems that wait.
const MOST_PROBLEMS: usize = 16;

/// A source whose captures wait until they are asked for.
pub struct Feed {
    name: String,
    shared: Arc<Shared>,
}

struct Shared {
    queue: Mutex<Queue>,
    news: Condvar,
}

/// What waits. Pure: time and threads are its users' business.
#[derive(Debug)]
struct Queue {
    captures: usize,
    problems: usize,
    capacity: usize,
    steps: VecDeque<Step>,
    left_out: u64,
    has_ended: bool,
    is_wanted: bool,
}

impl Queue {
    fn new(capacity: usize) -> Self {
        Self {
            captures: 0,
            problems: 0,
            capacity: capacity.max(1),
            steps: VecDeque::new(),
            left_out: 0,
            has_ended: false,
            is_wanted: true,
        }
    }

    fn push(&mut self, step: Step) {
        match step {
            Step::Arrived(_) => {
                if self.captures == self.capacity {
                    self.remove(|step| matches!(step, Step::Arrived(_)));
                    self.captures -= 1;
                    self.left_out += 1;
                }
                self.captures += 1;
                self.steps.push_back(step);
            }
            Step::Problem(problem) => {
                // The same over and over is one problem with a number.
                if let Some(Step::Problem(last)) = self.steps.back_mut()
                    && last.cause == problem.cause
                {
                    *last = Problem { times: last.times + problem.times, ..problem };
                    return;
                }
                if self.problems == MOST_PROBLEMS {
                    self.remove(|step| matches!(step, Step::Problem(_)));
                    self.problems -= 1;
                }
                self.problems += 1;
                self.steps.push_back(Step::Problem(problem));
            }
            Step::Ended => self.has_ended = true,
            Step::Nothing => {}
        }
    }

    fn remove(&mut self, which: impl Fn(&Step) -> bool) {
        if let Some(oldest) = self.steps.iter().position(which) {
            self.steps.remove(oldest);
        }
    }

    fn pop(&mut self) -> Option<Step> {
        let mut step = match self.steps.pop_front() {
            Some(step) => step,
            None => return self.has_ended.then_some(Step::Ended),
        };
        match &mut step {
            Step::Arrived(arrived) => {
                self.captures -= 1;
                arrived.left_out += std::mem::take(&mut self.left_out);
                if arrived.left_out > 0 {
                    let message = format!("{} older captures were left out", arrived.left_out);
                    let remedy = "captures come faster than they are used; the newest is shown";
                    arrived.findings.push(Finding::note("captures-left-out", message, remedy));
                }
            }
            Step::Problem(_) => self.problems -= 1,
            Step::Nothing | Step::Ended => {}
        }
        Some(step)
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Feed {
    /// Lets `source` run; at most `capacity` of its captures wait, at least one. It ends with its feed, or after what it is
    /// waiting for.
    pub fn start(mut source: impl Source + 'static, capacity: usize) -> Self {
        let shared = Arc::new(Shared { queue: Mutex::new(Queue::new(capacity)), news: Condvar::new() });
        let name = source.name();
        let theirs = Arc::clone(&shared);
        std::thread::spawn(move || {
            loop {
                let step = source.next(TURN);
                let is_over = matches!(step, Step::Ended);
                let mut queue = theirs.lock();
                queue.push(step);
                if is_over || !queue.is_wanted {
                    queue.has_ended = true;
                    theirs.news.notify_all();
                    return;
                }
                theirs.news.notify_all();
            }
        });
        Self { name, shared }
    }
}

impl Source for Feed {
    fn next(&mut self, time_limit: Duration) -> Step {
        let queue = self.shared.lock();
        let is_empty = |queue: &mut Queue| queue.steps.is_empty() && !queue.has_ended;
        let waited = self.shared.news.wait_timeout_while(queue, time_limit, is_empty);
        let (mut queue, _) = waited.unwrap_or_else(PoisonError::into_inner);
        queue.pop().unwrap_or(Step::Nothing)
    }

    fn name(&self) -> String {
        self.name.clone()
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.shared.lock().is_wanted = false;
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cause, read};
    use super::*;
    use flattop_captures::ReadOptions;

    fn capture(name: &str) -> Step {
        let text: String = (0..20).map(|i| format!("{i}e-6,{}\n", i % 5)).collect();
        read(name.to_owned(), text.into_bytes(), &ReadOptions::default(), Duration::ZERO)
    }

    fn problem(path: &str) -> Step {
        let cause = Cause::Gone { path: path.into(), reason: "x".into() };
        Step::Problem(Problem { name: path.into(), at: Duration::ZERO, cause, times: 1 })
    }

    fn shown(step: Option<Step>) -> String {
        match step {
            Some(Step::Arrived(arrived)) => {
                let codes: Vec<_> = arrived.findings.iter().map(|f| f.code).collect();
                format!("{} {} {codes:?}", arrived.name, arrived.left_out)
            }
            Some(Step::Problem(problem)) => format!("{}! {}", problem.name, problem.times),
            Some(Step::Ended) => "ended".into(),
            _ => "nothing".into(),
        }
    }

    #[test]
    fn the_newest_stay_and_what_was_left_out_is_counted() {
        let mut queue = Queue::new(2);
        for step in [capture("a"), capture("b"), problem("p"), problem("p"), capture("c"), capture("d")] {
            queue.push(step);
        }
        assert_eq!(shown(queue.pop()), "p! 2");
        assert_eq!(shown(queue.pop()), "c 2 [\"captures-left-out\"]");
        queue.push(Step::Ended);
        assert_eq!(shown(queue.pop()), "d 0 []");
        assert_eq!(shown(queue.pop()), "ended");
        for n in 0..100 {
            queue.push(problem(&n.to_string()));
        }
        assert_eq!(queue.steps.len(), MOST_PROBLEMS);
    }

    struct Three(u32);

    impl Source for Three {
        fn next(&mut self, _: Duration) -> Step {
            self.0 += 1;
            if self.0 > 3 { Step::Ended } else { capture(&self.0.to_string()) }
        }

        fn name(&self) -> String {
            "three".into()
        }
    }

    #[test]
    fn a_feed_ends_with_its_source() {
        let mut feed = Feed::start(Three(0), 8);
        let long = Duration::from_secs(60);
        let steps: Vec<String> = (0..4).map(|_| shown(Some(feed.next(long)))).collect();
        assert_eq!(steps, ["1 0 []", "2 0 []", "3 0 []", "ended"]);
        assert_eq!(shown(Some(feed.next(long))), "ended");
        assert_eq!(feed.name(), "three");
    }
}
