//! Watched files and folders.
#![allow(clippy::disallowed_methods)] // writes what is watched

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use flattop_captures::ReadOptions;
use flattop_instruments::clock::{Hand, SharedClock, Steady};
use flattop_instruments::source::{AtStart, Cause, Pace, Source, Step, Wake, Watch};

const PACE: Pace = Pace {
    look: Duration::from_millis(100),
    settle: Duration::from_millis(300),
    patience: Duration::from_millis(2000),
};

fn text(level: usize) -> String {
    (0..40).map(|i| format!("{i}e-6,{}\n", level + i % 2)).collect()
}

fn watch(path: &Path, at_start: AtStart) -> (Watch, SharedClock) {
    let clock: SharedClock = Arc::new(Hand::new());
    let watch =
        Watch::new(path, ReadOptions::default(), PACE, 100_000, (at_start, Wake::Look), Arc::clone(&clock));
    (watch, clock)
}

/// Everything that comes within so many milliseconds: names with their first value.
fn all(watch: &mut Watch, clock: &SharedClock, milliseconds: u64) -> Vec<String> {
    let end = clock.now() + Duration::from_millis(milliseconds);
    let mut seen = Vec::new();
    while clock.now() < end {
        match watch.next(end - clock.now()) {
            Step::Arrived(arrived) => {
                seen.push(format!("{} {}", arrived.name, arrived.capture.record().samples.at(0)));
            }
            Step::Problem(problem) => seen.push(format!("{}!", problem.name)),
            Step::Nothing => {}
            Step::Ended => panic!("ended"),
        }
    }
    seen
}

#[test]
fn complete_files_arrive_once() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    fs::write(file("old.csv"), text(1)).unwrap();
    let (mut watch, clock) = watch(folder.path(), AtStart::PassOver);
    assert_eq!(all(&mut watch, &clock, 1000), [""; 0]);
    // Growing in steps.
    fs::write(file("a.csv"), &text(2)[..100]).unwrap();
    assert_eq!(all(&mut watch, &clock, 250), [""; 0]);
    fs::write(file("a.csv"), text(2)).unwrap();
    assert_eq!(all(&mut watch, &clock, 250), [""; 0]);
    assert_eq!(all(&mut watch, &clock, 1000), ["a.csv 2"]);
    // By way of a temporary name, and renamed afterwards.
    fs::write(file("b.csv.part"), text(3)).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), [""; 0]);
    fs::rename(file("b.csv.part"), file("b.csv")).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), ["b.csv 3"]);
    fs::rename(file("b.csv"), file("c.csv")).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), [""; 0]);
    // Overwritten in place, with a time of change from long ago.
    fs::write(file("a.csv"), text(4)).unwrap();
    let old = std::time::SystemTime::UNIX_EPOCH + Duration::from_secs(86_400);
    fs::File::options().write(true).open(file("a.csv")).unwrap().set_modified(old).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), ["a.csv 4"]);
    // Folders and hidden files are none.
    fs::create_dir(file("folder.csv")).unwrap();
    fs::write(file(".hidden.csv"), text(5)).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), [""; 0]);
}

#[test]
fn a_burst_arrives_whole() {
    let folder = tempfile::tempdir().unwrap();
    let (mut watch, clock) = watch(folder.path(), AtStart::Tell);
    for level in 0..30 {
        fs::write(folder.path().join(format!("{level:02}.csv")), text(level)).unwrap();
    }
    let mut seen = all(&mut watch, &clock, 1000);
    seen.sort();
    let expected: Vec<String> = (0..30).map(|level| format!("{level:02}.csv {level}")).collect();
    assert_eq!(seen, expected);
}

#[test]
fn what_cannot_be_read_is_a_problem_that_ends_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (mut watch, clock) = watch(folder.path(), AtStart::Tell);
    fs::write(folder.path().join("notes.txt"), "turned to the left").unwrap();
    fs::write(folder.path().join("large.csv"), vec![b'1'; 100_001]).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), ["large.csv!"]);
    assert_eq!(all(&mut watch, &clock, 4000), ["notes.txt!"]);
    fs::write(folder.path().join("a.csv"), text(1)).unwrap();
    assert_eq!(all(&mut watch, &clock, 4000), ["a.csv 1"]);
    // A writer that pauses for longer than a file must settle is not cut short.
    let whole = text(2);
    fs::write(folder.path().join("b.csv"), &whole[..90]).unwrap();
    assert_eq!(all(&mut watch, &clock, 1500), [""; 0]);
    fs::write(folder.path().join("b.csv"), whole).unwrap();
    assert_eq!(all(&mut watch, &clock, 4000), ["b.csv 2"]);
}

#[test]
fn one_file_that_comes_and_goes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scope.csv");
    let (mut watch, clock) = watch(&path, AtStart::Tell);
    assert_eq!(watch.name(), path.display().to_string());
    assert_eq!(all(&mut watch, &clock, 500), [""; 0]);
    fs::write(folder.path().join("other.csv"), text(9)).unwrap();
    fs::write(&path, text(1)).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), ["scope.csv 1"]);
    fs::remove_file(&path).unwrap();
    assert_eq!(all(&mut watch, &clock, 500), [""; 0]);
    fs::write(&path, text(2)).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), ["scope.csv 2"]);
}

#[test]
fn a_folder_that_vanishes_is_said_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("exports");
    fs::create_dir(&path).unwrap();
    let (mut watch, clock) = watch(&path, AtStart::Tell);
    fs::remove_dir(&path).unwrap();
    let Step::Problem(problem) = watch.next(Duration::from_secs(1)) else { panic!("no problem") };
    assert!(matches!(problem.cause, Cause::Gone { .. }));
    assert_eq!(all(&mut watch, &clock, 1000), [""; 0]);
    fs::create_dir(&path).unwrap();
    fs::write(path.join("a.csv"), text(1)).unwrap();
    assert_eq!(all(&mut watch, &clock, 1000), ["a.csv 1"]);
}

/// With the system's word and its clock: the only way to see that both are used.
#[test]
fn the_system_tells_of_changes() {
    let folder = tempfile::tempdir().unwrap();
    let pace = Pace { look: Duration::from_secs(5), settle: Duration::from_millis(20), ..PACE };
    let clock = Steady::shared();
    let wake = (AtStart::PassOver, Wake::SystemOrLook);
    let mut watch = Watch::new(folder.path(), ReadOptions::default(), pace, 100_000, wake, clock);
    fs::write(folder.path().join("a.csv"), text(1)).unwrap();
    let Step::Arrived(arrived) = watch.next(Duration::from_secs(60)) else { panic!("nothing came") };
    assert_eq!(arrived.name, "a.csv");
}
