//! Several programs at once, and programs that end in the middle.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use flattop_register::{OpenMode, Problem, Register, Subject};

use super::common::*;

/// What tells a child apart: the bench, and how many notes to write.
const BENCH: &str = "FLATTOP_TEST_BENCH";
const COUNT: &str = "FLATTOP_TEST_COUNT";

/// Not a test by itself: the part that the tests below run in other processes.
#[test]
#[ignore = "run by the other tests of this file as a process of its own"]
fn a_child_that_writes_notes() {
    let (Some(path), Some(count)) = (std::env::var_os(BENCH), std::env::var_os(COUNT)) else { return };
    let count: usize = count.to_str().unwrap().parse().unwrap();
    let mut register = Register::open(Path::new(&path), OpenMode::Create).unwrap();
    for number in 0..count {
        let note = format!("note {number} {}", "x".repeat(number % 300));
        let head = register.log_note(&Subject::default(), &act(1, Some(&note))).unwrap();
        println!("acknowledged {} {}", head.seq, head.digest);
    }
}

fn child(path: &Path, count: usize) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "processes::a_child_that_writes_notes",
            "--ignored",
            "--nocapture",
            "--test-threads=1",
        ])
        .env(BENCH, path)
        .env(COUNT, count.to_string())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

#[test]
fn a_killed_program_loses_nothing_that_was_acknowledged() {
    let place = Place::new();
    let mut acknowledged: Vec<(i64, String)> = Vec::new();
    for round in 0..200_u64 {
        let mut running = child(&place.path(), 1_000_000);
        let mut lines = BufReader::new(running.stdout.take().unwrap()).lines();
        // Killed at another moment each time; what it said until then counts, the rest of the pipe included.
        let mut seen = 0;
        for line in lines.by_ref() {
            let line = line.unwrap();
            if let Some((_, rest)) = line.split_once("acknowledged ") {
                let (seq, digest) = rest.split_once(' ').unwrap();
                acknowledged.push((seq.parse().unwrap(), digest.to_owned()));
                seen += 1;
            }
            if seen > (7 * round % 23) as usize {
                if round % 2 == 1 {
                    std::thread::sleep(std::time::Duration::from_micros(137 * round));
                }
                running.kill().unwrap();
                break;
            }
        }
        for line in lines.map_while(Result::ok) {
            // The last line may be cut.
            if let Some((seq, digest)) = line.split_once("acknowledged ").and_then(|(_, r)| r.split_once(' '))
                && digest.len() == 64
            {
                acknowledged.push((seq.parse().unwrap(), digest.to_owned()));
            }
        }
        running.wait().unwrap();
        assert!(seen > 0, "the child wrote nothing");
    }
    let register = place.open();
    assert_eq!(register.verify(None).unwrap().problems, []);
    for (seq, digest) in &acknowledged {
        assert_eq!(register.entry(*seq).unwrap().digest.to_string(), *digest);
    }
    assert!(acknowledged.len() > 1000, "{}", acknowledged.len());
    drop(register);
    // SQLite's own check, by a connection of its own.
    let db = rusqlite::Connection::open(place.path()).unwrap();
    let said: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(said, "ok");
}

#[test]
fn several_programs_write_at_once_from_the_very_start() {
    let place = Place::new();
    let running: Vec<Child> = (0..4).map(|_| child(&place.path(), 60)).collect();
    for one in running {
        let done = one.wait_with_output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stdout));
    }
    let found = place.open().verify(None).unwrap();
    assert_eq!((found.entries, found.problems), (240, Vec::<Problem>::new()));
}

#[test]
fn a_reader_sees_one_state_while_another_writes() {
    let place = Place::new();
    drop(furnished(&place));
    let mut running = child(&place.path(), 200);
    let reader = Register::open(&place.path(), OpenMode::ReadOnly).unwrap();
    let mut last = 0;
    while running.try_wait().unwrap().is_none() {
        let found = reader.verify(None).unwrap();
        assert_eq!(found.problems, []);
        assert!(last <= found.entries);
        last = found.entries;
    }
    assert_eq!(reader.verify(None).unwrap().entries, 201);
}
