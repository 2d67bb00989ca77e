//! Whatever is changed behind the register's back is found, and named.

use flattop_core::bench::Stage;
use flattop_register::{Problem, Subject};
use proptest::prelude::*;
use rusqlite::Connection;
use rusqlite::types::Value as Cell;

use super::common::*;

const UNGUARD: &str =
    "DROP TRIGGER log_is_not_changed; DROP TRIGGER log_is_not_shortened; DROP TRIGGER log_only_grows;
    DROP TRIGGER captures_are_not_changed; DROP TRIGGER captures_are_not_removed;
    DROP TRIGGER captures_are_not_replaced; PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;";

/// A logbook of nine entries of many kinds, and an open back door to it.
fn opened() -> (Place, Connection) {
    let place = Place::new();
    let mut register = furnished(&place);
    register.log_assessment(1, &assessed(-0.07, Stage::BeforeAdjustment), &[b"one"], &act(1, None)).unwrap();
    register.log_adjustment(1, &act(2, Some("eighth of a turn"))).unwrap();
    register.log_assessment(1, &assessed(0.001, Stage::AfterAdjustment), &[b"two"], &act(2, None)).unwrap();
    for day in 3..6 {
        register.log_note(&Subject::of_probe(&id("probe-07")), &act(day, Some("a note"))).unwrap();
    }
    let effect = flattop_register::Effect::Remarks;
    register.log_correction(2, effect, &act(6, Some("long lead"))).unwrap();
    let probe = flattop_register::Thing::Probe(id("probe-07"));
    register.log_measurements(&probe, &[range()], &[b"four", b"five"], &act(7, None)).unwrap();
    drop(register);
    let db = Connection::open(place.path()).unwrap();
    db.execute_batch(UNGUARD).unwrap();
    (place, db)
}

/// Problems besides the guards that the back door took away.
fn problems(place: &Place) -> Vec<Problem> {
    let mut problems = place.open().verify(None).unwrap().problems;
    let all = problems.len();
    problems.retain(|p| !matches!(p, Problem::Guard { .. }));
    assert_eq!(all - problems.len(), 6, "each missing guard is named");
    problems
}

/// Changes one byte or bit of a stored value.
fn flipped(value: Cell, at: usize, bit: u8) -> Option<Cell> {
    Some(match value {
        Cell::Null => Cell::Null,
        Cell::Integer(v) => Cell::Integer(v ^ (1 << (bit % 5))),
        Cell::Real(v) => {
            Cell::Real(Some(f64::from_bits(v.to_bits() ^ (1 << (at % 52)))).filter(|v| v.is_finite())?)
        }
        Cell::Text(text) => {
            let mut bytes = text.into_bytes();
            let length = bytes.len();
            *bytes.get_mut(at % length.max(1))? ^= 1 << (bit % 7);
            Cell::Text(String::from_utf8(bytes).ok()?)
        }
        Cell::Blob(mut bytes) => {
            let length = bytes.len();
            *bytes.get_mut(at % length.max(1))? ^= 1 << (bit % 8);
            Cell::Blob(bytes)
        }
    })
}

const COLUMNS: [&str; 36] = [
    "previous",
    "at_utc",
    "offset_minutes",
    "author",
    "program",
    "kind",
    "pairing",
    "probe",
    "oscilloscope",
    "input",
    "stage",
    "capture",
    "settings",
    "tolerance",
    "verdict",
    "compensation_error",
    "compensation_error_u",
    "time_constant_s",
    "time_constant_u_s",
    "correlation",
    "tip_resistance_ohm",
    "shunt_resistance_ohm",
    "resistor_uncertainty",
    "method",
    "temperature_c",
    "corrects",
    "effect",
    "result",
    "note",
    "quantity",
    "value",
    "value_u",
    "upper",
    "upper_u",
    "captures",
    "digest",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn prop_a_flipped_bit_in_any_field_names_its_entry(at in 0..200_usize, bit in 0..8_u8, seq in 1..=9_i64) {
        let (place, db) = opened();
        let mut tried = 0;
        for column in COLUMNS {
            let read = format!("SELECT {column} FROM log WHERE seq = ?1");
            let write = format!("UPDATE log SET {column} = ?2 WHERE seq = ?1");
            let before: Cell = db.query_row(&read, [seq], |r| r.get(0)).unwrap();
            let Some(after) = flipped(before.clone(), at, bit).filter(|a| *a != before) else { continue };
            db.execute(&write, (seq, &after)).unwrap();
            let found = problems(&place);
            prop_assert!(found.contains(&Problem::Changed { seq }), "{column}: {found:?}");
            // Nothing else is accused but what follows from it: the next link, or a capture by another name.
            let innocent = found.iter().any(|p| matches!(p, Problem::Changed { seq: s } if *s != seq));
            prop_assert!(!innocent, "{column}: {found:?}");
            db.execute(&write, (seq, &before)).unwrap();
            tried += 1;
        }
        prop_assert!(tried > 5);
        prop_assert_eq!(problems(&place), []);
    }
}

/// A value put where there was none, or taken away, is a change too; so is the same number in another storage class.
#[test]
fn added_and_removed_values_are_changes() {
    let (place, db) = opened();
    for (spoil, mend) in [
        (
            "UPDATE log SET author = NULL WHERE seq = 5",
            "UPDATE log SET author = 'door shop, early shift' WHERE seq = 5",
        ),
        ("UPDATE log SET tolerance = 0.01 WHERE seq = 5", "UPDATE log SET tolerance = NULL WHERE seq = 5"),
        (
            "UPDATE log SET note = note || char(0) WHERE seq = 5",
            "UPDATE log SET note = 'a note' WHERE seq = 5",
        ),
    ] {
        db.execute_batch(spoil).unwrap();
        assert_eq!(problems(&place), [Problem::Changed { seq: 5 }], "{spoil}");
        db.execute_batch(mend).unwrap();
        assert_eq!(problems(&place), []);
    }
}

#[test]
fn missing_entries_are_named() {
    let (place, db) = opened();
    db.execute_batch("DELETE FROM log WHERE seq IN (5, 6)").unwrap();
    assert_eq!(problems(&place), [Problem::Missing { first: 5, last: 6 }]);
    db.execute_batch("DELETE FROM log WHERE seq = 1").unwrap();
    assert_eq!(
        problems(&place),
        [Problem::Missing { first: 1, last: 1 }, Problem::Missing { first: 5, last: 6 }]
    );
}

/// Closing the gap by renumbering does not help.
#[test]
fn a_gap_that_was_closed_is_found() {
    let (place, db) = opened();
    db.execute_batch("DELETE FROM log WHERE seq = 5; UPDATE log SET seq = seq - 1 WHERE seq > 5").unwrap();
    let found = problems(&place);
    assert!(found.contains(&Problem::Moved { seq: 5, written_as: 6 }), "{found:?}");
}

#[test]
fn exchanged_entries_are_named_with_their_old_places() {
    let (place, db) = opened();
    db.execute_batch(
        "UPDATE log SET seq = 100 WHERE seq = 5; UPDATE log SET seq = 5 WHERE seq = 6; UPDATE log SET seq = 6 WHERE seq = 100",
    )
    .unwrap();
    let found = problems(&place);
    assert!(found.contains(&Problem::Moved { seq: 5, written_as: 6 }), "{found:?}");
    assert!(found.contains(&Problem::Moved { seq: 6, written_as: 5 }), "{found:?}");
}

/// An entry written anew with a digest that fits it no longer carries the one behind it.
#[test]
fn an_entry_written_anew_breaks_the_link() {
    let (place, db) = opened();
    let other = Place::new();
    let mut register = furnished(&other);
    register.log_assessment(1, &assessed(0.5, Stage::BeforeAdjustment), &[b"one"], &act(1, None)).unwrap();
    drop(register);
    db.execute_batch(&format!(
        "DELETE FROM log WHERE seq = 2; ATTACH '{}' AS other; INSERT INTO log SELECT * FROM other.log WHERE seq = 2;",
        other.path().display()
    ))
    .unwrap();
    assert_eq!(problems(&place), [Problem::Unlinked { seq: 3 }]);
}

#[test]
fn captures_are_checked() {
    let (place, db) = opened();
    let name = flattop_register::Digest::of(b"one").to_string();
    db.execute("UPDATE captures SET stored = X'6f6e66' WHERE sha256 = ?1", [&name]).unwrap();
    assert_eq!(problems(&place), [Problem::CaptureChanged { digest: name.clone(), entries: vec![2] }]);
    let shown = place.open().capture(&flattop_register::Digest::of(b"one")).unwrap_err().to_string();
    assert!(shown.contains("is not what it was"), "{shown}");
    db.execute("DELETE FROM captures WHERE sha256 = ?1", [&name]).unwrap();
    assert_eq!(problems(&place), [Problem::CaptureMissing { seq: 2, digest: name }]);
    let orphan = flattop_register::Digest::of(b"three").to_string();
    db.execute("INSERT INTO captures VALUES (?1, 5, 'plain', CAST('three' AS BLOB))", [&orphan]).unwrap();
    assert!(problems(&place).contains(&Problem::CaptureOrphan { digest: orphan }));
}
