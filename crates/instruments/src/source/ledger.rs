//! Which files of a folder are complete and new, from looks at their names, sizes and times of change.
//!
//! Pure: it is told what was seen, and when by a clock that only goes on. A time of change is compared for being another,
//! never for being later: clocks of file servers and cameras go wrong, copies keep old times. A file counts as complete
//! when it has looked the same for a while. A file that has merely got another name is not new.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// A file as seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// Its name in the folder.
    pub name: String,
    /// Bytes.
    pub size: u64,
    /// Time of last change, in the system's own count.
    pub changed: i128,
    /// Device and number of the file, where the system has them.
    pub id: Option<(u64, u64)>,
}

/// How long things take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// Time between two looks.
    pub look: Duration,
    /// How long a file must look the same.
    pub settle: Duration,
    /// How long a file that can't be read may stay the same before it is said.
    pub patience: Duration,
}

impl Pace {
    /// For people who wait beside the bench.
    pub const fn usual() -> Self {
        Self {
            look: Duration::from_millis(250),
            settle: Duration::from_millis(400),
            patience: Duration::from_secs(3),
        }
    }
}

/// What is known of each file.
#[derive(Clone, Debug)]
pub struct Ledger {
    pace: Pace,
    files: BTreeMap<String, File>,
    /// Files that have vanished since the last look but one, for telling new names.
    vanished: Vec<Seen>,
    order: u64,
}

#[derive(Clone, Debug)]
struct File {
    seen: Seen,
    /// When it was first seen like this.
    since: Duration,
    /// Files are told in the order in which they changed.
    order: u64,
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Told before, or not wanted.
    Known,
    /// To be told when it has settled.
    Waiting,
    /// Could not be read; once more at this time.
    Doubtful(Duration),
}

/// What to do about a file that can't be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing yet: it may not be complete.
    Wait,
    /// Say so.
    Say,
}

impl Ledger {
    /// An empty ledger. The files of `there` are old ones.
    pub fn new(pace: Pace, there: Vec<Seen>) -> Self {
        let mut ledger = Self { pace, files: BTreeMap::new(), vanished: Vec::new(), order: 0 };
        for seen in there {
            ledger.enter(seen, Duration::ZERO, State::Known);
        }
        ledger
    }

    /// Takes a look. `touched` are names of which the system says that they were written; they are told again even if
    /// nothing shows. Files that are complete and new come back, first changed first.
    pub fn look(&mut self, now: Duration, there: Vec<Seen>, touched: &BTreeSet<String>) -> Vec<Seen> {
        let names: BTreeSet<&str> = there.iter().map(|seen| seen.name.as_str()).collect();
        let gone: Vec<String> =
            self.files.keys().filter(|name| !names.contains(name.as_str())).cloned().collect();
        let mut vanished = Vec::new();
        for name in gone {
            if let Some(File { seen, state: State::Known, .. }) = self.files.remove(&name) {
                vanished.push(seen);
            }
        }
        // First come the changes of one look by what little is known of their order.
        let mut there = there;
        there.sort_by(|a, b| (a.changed, &a.name).cmp(&(b.changed, &b.name)));
        for seen in there {
            let is_touched = touched.contains(&seen.name);
            match self.files.get_mut(&seen.name) {
                Some(file) if file.seen == seen && !is_touched => {}
                Some(_) => self.enter(seen, now, State::Waiting),
                None => {
                    let mut old = vanished.iter().chain(&self.vanished);
                    let is_renamed = seen.id.is_some()
                        && old.any(|v| (v.id, v.size, v.changed) == (seen.id, seen.size, seen.changed));
                    self.enter(seen, now, if is_renamed { State::Known } else { State::Waiting });
                }
            }
        }
        self.vanished = vanished;
        let mut ready: Vec<&File> = self.files.values().filter(|file| self.is_ready(file, now)).collect();
        ready.sort_by_key(|file| file.order);
        ready.into_iter().map(|file| file.seen.clone()).collect()
    }

    fn is_ready(&self, file: &File, now: Duration) -> bool {
        match file.state {
            State::Known => false,
            // Empty files are about to be written.
            State::Waiting => file.seen.size > 0 && now >= file.since + self.pace.settle,
            State::Doubtful(at) => now >= at,
        }
    }

    fn enter(&mut self, seen: Seen, since: Duration, state: State) {
        self.order += 1;
        self.files.insert(seen.name.clone(), File { seen, since, order: self.order, state });
    }

    /// The file was told, and looked like this afterwards: if it has changed meanwhile, it is told again later. Whether it
    /// is still the same comes back.
    pub fn told(&mut self, now: Duration, before: &Seen, after: Option<&Seen>) -> bool {
        let is_same = after == Some(before);
        if is_same {
            if let Some(file) = self.files.get_mut(&before.name) {
                file.state = State::Known;
            }
        } else if let Some(after) = after {
            self.enter(after.clone(), now, State::Waiting);
        }
        is_same
    }

    /// The file could not be read.
    pub fn failed(&mut self, now: Duration, name: &str) -> Verdict {
        let Some(file) = self.files.get_mut(name) else { return Verdict::Wait };
        match file.state {
            State::Doubtful(_) => {
                file.state = State::Known;
                Verdict::Say
            }
            _ => {
                file.state = State::Doubtful(now + self.pace.patience);
                Verdict::Wait
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ms(milliseconds: u64) -> Duration {
        Duration::from_millis(milliseconds)
    }

    fn seen(name: &str, size: u64, changed: i128, id: u64) -> Seen {
        Seen { name: name.into(), size, changed, id: Some((1, id)) }
    }

    struct Bench(Ledger);

    impl Bench {
        fn new(there: &[Seen]) -> Self {
            let pace = Pace { look: ms(100), settle: ms(200), patience: ms(1000) };
            Self(Ledger::new(pace, there.to_vec()))
        }

        /// Names that are ready, which are told at once.
        fn look(&mut self, at: u64, there: &[Seen]) -> Vec<String> {
            self.touch(at, there, &[])
        }

        fn touch(&mut self, at: u64, there: &[Seen], touched: &[&str]) -> Vec<String> {
            let touched = touched.iter().map(|name| (*name).to_owned()).collect();
            let ready = self.0.look(ms(at), there.to_vec(), &touched);
            for seen in &ready {
                assert!(self.0.told(ms(at), seen, Some(seen)));
            }
            ready.into_iter().map(|seen| seen.name).collect()
        }
    }

    const NONE: [&str; 0] = [];

    #[test]
    fn a_file_is_told_once_when_it_has_settled() {
        let mut bench = Bench::new(&[seen("old", 9, 1, 1)]);
        let old = seen("old", 9, 1, 1);
        assert_eq!(bench.look(0, &[old.clone(), seen("a", 0, 5, 2)]), NONE);
        assert_eq!(bench.look(300, &[old.clone(), seen("a", 0, 5, 2)]), NONE);
        assert_eq!(bench.look(400, &[old.clone(), seen("a", 10, 6, 2)]), NONE);
        assert_eq!(bench.look(500, &[old.clone(), seen("a", 20, 7, 2)]), NONE);
        assert_eq!(bench.look(600, &[old.clone(), seen("a", 20, 7, 2)]), NONE);
        assert_eq!(bench.look(700, &[old.clone(), seen("a", 20, 7, 2)]), ["a"]);
        assert_eq!(bench.look(2000, &[old, seen("a", 20, 7, 2)]), NONE);
    }

    #[test]
    fn overwritten_in_place_with_an_older_time() {
        let mut bench = Bench::new(&[seen("a", 20, 1000, 2)]);
        assert_eq!(bench.look(0, &[seen("a", 20, 10, 2)]), NONE);
        assert_eq!(bench.look(200, &[seen("a", 20, 10, 2)]), ["a"]);
        // Same size, same coarse time: only the system's word tells.
        assert_eq!(bench.look(400, &[seen("a", 20, 10, 2)]), NONE);
        assert_eq!(bench.touch(500, &[seen("a", 20, 10, 2)], &["a"]), NONE);
        assert_eq!(bench.look(700, &[seen("a", 20, 10, 2)]), ["a"]);
    }

    #[test]
    fn renamed_files_are_not_new_and_replaced_ones_are() {
        let mut bench = Bench::new(&[]);
        bench.look(0, &[seen("a", 20, 5, 2)]);
        assert_eq!(bench.look(200, &[seen("a", 20, 5, 2)]), ["a"]);
        bench.look(300, &[seen("b", 20, 5, 2)]);
        assert_eq!(bench.look(900, &[seen("b", 20, 5, 2)]), NONE);
        // Another file takes the name.
        bench.look(1000, &[seen("b", 20, 5, 3)]);
        assert_eq!(bench.look(1200, &[seen("b", 20, 5, 3)]), ["b"]);
        // Renamed before it was told: told under its new name.
        bench.look(1300, &[seen("c", 20, 5, 4), seen("b", 20, 5, 3)]);
        bench.look(1400, &[seen("d", 20, 5, 4), seen("b", 20, 5, 3)]);
        assert_eq!(bench.look(1600, &[seen("d", 20, 5, 4), seen("b", 20, 5, 3)]), ["d"]);
    }

    #[test]
    fn bursts_come_in_the_order_of_their_changes() {
        let mut bench = Bench::new(&[]);
        bench.look(0, &[seen("z", 1, 9, 1)]);
        bench.look(10, &[seen("z", 1, 9, 1), seen("b", 1, 2, 2), seen("a", 1, 2, 3), seen("c", 1, 1, 4)]);
        let all = [seen("z", 1, 9, 1), seen("b", 1, 2, 2), seen("a", 1, 2, 3), seen("c", 1, 1, 4)];
        assert_eq!(bench.look(300, &all), ["z", "c", "a", "b"]);
    }

    #[test]
    fn a_file_that_changes_while_it_is_read_is_told_again() {
        let mut ledger = Bench::new(&[]).0;
        let (first, second) = (seen("a", 20, 5, 2), seen("a", 30, 6, 2));
        ledger.look(ms(0), vec![first.clone()], &BTreeSet::new());
        let ready = ledger.look(ms(200), vec![first.clone()], &BTreeSet::new());
        assert_eq!(ready.first(), Some(&first));
        assert!(!ledger.told(ms(200), &first, Some(&second)));
        assert_eq!(ledger.look(ms(400), vec![second.clone()], &BTreeSet::new()), [second]);
    }

    #[test]
    fn what_cannot_be_read_is_said_once_and_late() {
        let mut ledger = Bench::new(&[]).0;
        let file = seen("a", 20, 5, 2);
        let look = |ledger: &mut Ledger, at| ledger.look(ms(at), vec![file.clone()], &BTreeSet::new()).len();
        look(&mut ledger, 0);
        assert_eq!(look(&mut ledger, 200), 1);
        assert_eq!(ledger.failed(ms(200), "a"), Verdict::Wait);
        assert_eq!(look(&mut ledger, 1100), 0);
        assert_eq!(look(&mut ledger, 1200), 1);
        assert_eq!(ledger.failed(ms(1200), "a"), Verdict::Say);
        assert_eq!(look(&mut ledger, 9000), 0);
    }

    proptest! {
        /// Whatever is seen when: the last state of a file is told, once, after it has settled.
        #[test]
        fn prop_the_last_state_is_told_once(states in prop::collection::vec((1u64..4, -2i128..2, 0u64..3), 1..20)) {
            let mut bench = Bench::new(&[]);
            let mut told = Vec::new();
            for (index, (size, changed, id)) in states.iter().enumerate() {
                let at = index as u64 * 100;
                let file = seen("a", *size, *changed, *id);
                if !bench.look(at, std::slice::from_ref(&file)).is_empty() {
                    told.push(file);
                }
            }
            let (size, changed, id) = states[states.len() - 1];
            let last = seen("a", size, changed, id);
            for at in 0..10 {
                if !bench.look(100_000 + at * 100, std::slice::from_ref(&last)).is_empty() {
                    told.push(last.clone());
                }
            }
            prop_assert_eq!(told.last(), Some(&last));
            prop_assert!(told.windows(2).all(|w| w[0] != w[1] || states.len() > 1));
        }
    }
}
