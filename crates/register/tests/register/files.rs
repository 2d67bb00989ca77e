//! Files that are no bench, that are older or newer, that cannot be read or written.

use std::io::Write as _;

use flattop_register::{Digest, OpenMode, Opening, Register, RegisterError, Subject};
use rusqlite::Connection;

use super::common::*;

/// A bench of version 1, written by `testdata/make_v1.py` after LOGBOOK.md, without any code of this crate.
const VERSION_1: &str = include_str!("../../testdata/v1.sql");
/// The last digest that script printed.
const VERSION_1_HEAD: &str = "279bbddab48315af6e509bd840bd64f6cb801c8e6d95f3ad17fb950e55691f86";

fn write(place: &Place, bytes: &[u8]) {
    let mut options = std::fs::OpenOptions::new();
    options.create(true).write(true).truncate(true).open(place.path()).unwrap().write_all(bytes).unwrap();
}

fn open(place: &Place, mode: OpenMode) -> Result<Register, RegisterError> {
    Register::open(&place.path(), mode)
}

#[test]
fn version_1_is_migrated_with_a_backup_and_its_digests_hold() {
    let place = Place::new();
    Connection::open(place.path()).unwrap().execute_batch(VERSION_1).unwrap();
    assert!(matches!(open(&place, OpenMode::ReadOnly), Err(RegisterError::Older { found: 1, known: 3 })));
    let mut register = open(&place, OpenMode::Existing).unwrap();
    let Opening::Migrated { from: 1, to: 3, backup } = register.opening().clone() else {
        panic!("{:?}", register.opening())
    };
    let found = register.verify(None).unwrap();
    assert_eq!((found.entries, found.captures, &found.problems[..]), (5, 1, &[][..]));
    assert_eq!(found.head.unwrap().digest.to_string(), VERSION_1_HEAD);
    let probe = register.probe(&id("probe-07")).unwrap();
    assert_eq!(probe.voltage_rating.len(), 2);
    assert_eq!(probe.ground_accessories[0].inductance_h, Some(150e-9));
    assert_eq!(register.entry(2).unwrap().subject.pairing, Some(1));
    register.log_note(&Subject::default(), &act(1, Some("after the migration"))).unwrap();
    assert_eq!(register.verify(found.head).unwrap().problems, []);
    assert_eq!(open(&place, OpenMode::Existing).unwrap().opening(), &Opening::Opened);
    // The backup is the file as it was.
    let old = Connection::open(backup).unwrap();
    let version: i64 = old.pragma_query_value(None, "user_version", |r| r.get(0)).unwrap();
    let entries: i64 = old.query_row("SELECT count(*) FROM log", [], |r| r.get(0)).unwrap();
    assert_eq!((version, entries), (1, 5));
}

/// The same bench as version 2 left it.
#[test]
fn version_2_is_migrated_and_its_digests_hold() {
    let place = Place::new();
    let db = Connection::open(place.path()).unwrap();
    db.execute_batch(VERSION_1).unwrap();
    db.execute_batch(include_str!("../../src/schema/v2.sql")).unwrap();
    db.pragma_update(None, "user_version", 2).unwrap();
    drop(db);
    let mut register = open(&place, OpenMode::Existing).unwrap();
    assert!(matches!(register.opening(), Opening::Migrated { from: 2, to: 3, .. }));
    let found = register.verify(None).unwrap();
    assert_eq!((found.entries, &found.problems[..]), (5, &[][..]));
    assert_eq!(found.head.unwrap().digest.to_string(), VERSION_1_HEAD);
    let probe = flattop_register::Thing::Probe(id("probe-07"));
    register.log_measurements(&probe, &[range()], &[b"one"], &act(1, None)).unwrap();
    assert_eq!(register.verify(found.head).unwrap().problems, []);
    assert_eq!(register.measured_values(&probe).unwrap().len(), 1);
}

#[test]
fn a_migrated_file_has_the_tables_of_a_new_one() {
    let schema = |path: &std::path::Path| -> Vec<String> {
        let db = Connection::open(path).unwrap();
        let mut statement =
            db.prepare("SELECT sql FROM sqlite_master WHERE sql NOT NULL ORDER BY name").unwrap();
        let rows = statement.query_map([], |r| r.get(0)).unwrap();
        rows.collect::<Result<_, _>>().unwrap()
    };
    let (old, new) = (Place::new(), Place::new());
    Connection::open(old.path()).unwrap().execute_batch(VERSION_1).unwrap();
    drop((old.open(), new.open()));
    assert_eq!(schema(&old.path()), schema(&new.path()));
}

#[test]
fn a_newer_file_is_refused_and_left_alone() {
    let place = Place::new();
    drop(furnished(&place));
    Connection::open(place.path()).unwrap().pragma_update(None, "user_version", 99).unwrap();
    for mode in [OpenMode::Create, OpenMode::Existing, OpenMode::ReadOnly] {
        let refused = open(&place, mode).unwrap_err().to_string();
        assert!(refused.contains("version 99") && refused.contains("newer program"), "{refused}");
    }
}

#[test]
fn other_files_are_no_bench_and_are_left_alone() {
    let place = Place::new();
    let is_no_bench = |place: &Place| {
        for mode in [OpenMode::Create, OpenMode::Existing, OpenMode::ReadOnly] {
            assert!(matches!(open(place, mode), Err(RegisterError::NotABench { .. })), "{mode:?}");
        }
    };
    assert!(matches!(open(&place, OpenMode::Existing), Err(RegisterError::NoFile { .. })));
    let text = "time_s,ch1_v\n0,0\n".repeat(100);
    write(&place, text.as_bytes());
    is_no_bench(&place);
    assert_eq!(std::fs::metadata(place.path()).unwrap().len(), text.len() as u64);
    std::fs::remove_file(place.path()).unwrap();
    Connection::open(place.path()).unwrap().execute_batch("CREATE TABLE songs (title TEXT)").unwrap();
    is_no_bench(&place);
    let gone = Register::open(&place.folder.path().join("no/such/bench.sqlite"), OpenMode::Create);
    assert!(matches!(gone, Err(RegisterError::CannotOpen { .. })), "{gone:?}");
}

#[test]
fn an_empty_file_becomes_a_bench() {
    let place = Place::new();
    write(&place, b"");
    assert_eq!(open(&place, OpenMode::Create).unwrap().opening(), &Opening::Created);
}

#[test]
fn reading_only_reads() {
    let place = Place::new();
    drop(furnished(&place));
    let mut register = open(&place, OpenMode::ReadOnly).unwrap();
    assert_eq!(register.probe(&id("probe-07")).unwrap().id, id("probe-07"));
    let refused = register.log_note(&Subject::default(), &act(1, Some("x"))).unwrap_err();
    assert!(matches!(refused, RegisterError::ReadOnly), "{refused:?}");
}

#[test]
fn a_damaged_file_is_said_to_be_damaged() {
    let place = Place::new();
    let mut register = furnished(&place);
    for day in 0..200 {
        register.log_note(&Subject::default(), &act(day, Some(&"x".repeat(500)))).unwrap();
    }
    drop(register);
    // Everything behind the first page is overwritten, as a bad disk would.
    let length = std::fs::metadata(place.path()).unwrap().len();
    let mut file = std::fs::OpenOptions::new().write(true).open(place.path()).unwrap();
    std::io::Seek::seek(&mut file, std::io::SeekFrom::Start(8192)).unwrap();
    file.write_all(&vec![0xA5; length as usize - 8192]).unwrap();
    drop(file);
    let found = open(&place, OpenMode::Existing)
        .and_then(|register| register.entries(&flattop_register::Filter::all()));
    let error = found.unwrap_err();
    assert!(matches!(error, RegisterError::Corrupt { .. }), "{error:?}");
    assert!(error.to_string().contains("backup"));
}

#[test]
fn a_backup_is_a_bench() {
    let place = Place::new();
    let register = furnished(&place);
    let copy = place.folder.path().join("copy.sqlite");
    register.back_up_to(&copy).unwrap();
    let other = Register::open(&copy, OpenMode::Existing).unwrap();
    assert_eq!(other.export_toml().unwrap(), register.export_toml().unwrap());
    assert_eq!(other.head().unwrap(), register.head().unwrap());
    assert!(register.back_up_to(&copy).is_err());
}

#[test]
fn digests_print_as_the_standard_does() {
    // FIPS 180-4, example "abc".
    assert_eq!(
        Digest::of(b"abc").to_string(),
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    );
}
