//! Entries, filters, corrections, captures, trends.

use flattop_core::assessment::Verdict;
use flattop_core::bench::{PairingState, Significance, Stage};
use flattop_register::{
    Digest, Effect, EntryKind, Event, Filter, Order, Problem, Register, RegisterError, Subject,
};

use super::common::*;

#[test]
fn an_assessment_comes_out_as_it_went_in() {
    let place = Place::new();
    let mut register = furnished(&place);
    let capture = b"time,ch1\n0,1\n".repeat(500);
    let record = assessed(-0.0731, Stage::BeforeAdjustment);
    let head =
        register.log_assessment(1, &record, &[&capture], &act(1, Some("cold room\nlong lead"))).unwrap();
    let entry = register.entry(head.seq).unwrap();
    let digest = Digest::of(&capture);
    let Event::Assessment(stored) = &entry.event else { panic!("{entry:?}") };
    assert_eq!(**stored, flattop_register::AssessmentRecord { captures: vec![digest], ..record.clone() });
    assert_eq!((entry.digest, &entry.act), (head.digest, &act(1, Some("cold room\nlong lead"))));
    assert_eq!(entry.subject.input_id(), Some(input_id("bench-a/ch1")));
    assert_eq!(register.capture(&digest).unwrap(), capture);
    let kept = register.captures().unwrap();
    assert_eq!((kept.len(), kept[0].bytes), (1, capture.len() as u64));
    assert!(kept[0].stored_bytes * 10 < kept[0].bytes);
    // The same bytes again take no more room; what cannot be squeezed is kept as it is.
    register.log_assessment(1, &record, &[&capture], &act(1, None)).unwrap();
    register.log_assessment(1, &record, &[b"x"], &act(1, None)).unwrap();
    assert_eq!(register.captures().unwrap().len(), 2);
    assert_eq!(register.capture(&Digest::of(b"x")).unwrap(), b"x");
    assert_eq!(register.verify(None).unwrap().problems, []);
}

#[test]
fn what_cannot_be_kept_is_refused_and_nothing_is_written() {
    let place = Place::new();
    let mut register = furnished(&place);
    let before = register.head().unwrap();
    let mut record = assessed(0.0, Stage::Check);
    record.temperature_c = Some(f64::NAN);
    let refused = register.log_assessment(1, &record, &[b"bytes"], &act(1, None)).unwrap_err();
    assert!(refused.to_string().starts_with("the temperature is NaN"), "{refused}");
    record.temperature_c = None;
    record.captures = vec![Digest::of(b"never given")];
    assert!(register.log_assessment(1, &record, &[], &act(1, None)).is_err());
    assert!(register.log_assessment(7, &assessed(0.0, Stage::Check), &[], &act(1, None)).is_err());
    assert!(register.log_note(&Subject::default(), &act(1, None)).is_err());
    assert!(register.log_note(&Subject::of_probe(&id("nobody")), &act(1, Some("x"))).is_err());
    assert!(register.log_correction(99, Effect::Remarks, &act(1, Some("x"))).is_err());
    assert_eq!(register.head().unwrap(), before);
    assert!(register.captures().unwrap().is_empty());
}

#[test]
fn filters_let_through_what_they_say() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.add_probe(&probe("probe-08")).unwrap();
    register.pair(&id("probe-08"), &input_id("bench-a/ch2"), TERMS, &act(1, None)).unwrap();
    for (day, pairing, e) in [(2, 1, 0.001), (3, 2, 0.05), (4, 1, -0.05)] {
        register.log_assessment(pairing, &assessed(e, Stage::Check), &[], &act(day, None)).unwrap();
    }
    register.log_note(&Subject::of_probe(&id("probe-08")), &act(5, Some("tip is bent"))).unwrap();
    let seqs =
        |filter: Filter| -> Vec<i64> { register.entries(&filter).unwrap().iter().map(|e| e.seq).collect() };
    assert_eq!(seqs(Filter::all()), [1, 2, 3, 4, 5, 6]);
    assert_eq!(seqs(Filter { pairing: Some(1), ..Filter::all() }), [1, 3, 5]);
    assert_eq!(seqs(Filter { probe: Some(id("probe-08")), ..Filter::all() }), [2, 4, 6]);
    assert_eq!(seqs(Filter { input: Some(input_id("bench-a/ch2")), ..Filter::all() }), [2, 4]);
    assert_eq!(seqs(Filter { verdict: Some(Verdict::Undercompensated), ..Filter::all() }), [5]);
    let kinds = vec![EntryKind::PairingMade, EntryKind::Note];
    assert_eq!(seqs(Filter { kinds, ..Filter::all() }), [1, 2, 6]);
    let (from, until) = (Some(START_MS + 2 * DAY_MS), Some(START_MS + 4 * DAY_MS));
    assert_eq!(seqs(Filter { from_unix_ms: from, until_unix_ms: until, ..Filter::all() }), [3, 4]);
    let newest = Filter { order: Order::NewestFirst, limit: Some(2), ..Filter::all() };
    assert_eq!(seqs(newest), [6, 5]);
}

fn state(register: &Register, day: i64) -> PairingState {
    register.standing(1, START_MS + day * DAY_MS).unwrap().status.state
}

#[test]
fn a_withdrawn_entry_does_not_count_and_a_withdrawn_withdrawal_neither() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.log_assessment(1, &assessed(0.001, Stage::Check), &[], &act(1, None)).unwrap();
    let wrong = register.log_assessment(1, &assessed(0.2, Stage::Check), &[], &act(2, None)).unwrap();
    assert_eq!(state(&register, 2), PairingState::OutOfTolerance);
    register.log_correction(wrong.seq, Effect::Remarks, &act(3, Some("noisy"))).unwrap();
    assert_eq!(state(&register, 3), PairingState::OutOfTolerance);
    let taken = register.log_correction(wrong.seq, Effect::Withdraws, &act(3, Some("wrong probe"))).unwrap();
    assert_eq!(state(&register, 3), PairingState::InTolerance);
    register.log_correction(taken.seq, Effect::Withdraws, &act(4, Some("right probe"))).unwrap();
    assert_eq!(state(&register, 4), PairingState::OutOfTolerance);
    register.log_assessment(1, &assessed(0.002, Stage::AfterAdjustment), &[], &act(5, None)).unwrap();
    register.log_adjustment(1, &act(6, Some("a touch more"))).unwrap();
    assert_eq!(state(&register, 6), PairingState::Due);
}

#[test]
fn the_series_of_a_pairing_shows_its_drift() {
    let place = Place::new();
    let mut register = furnished(&place);
    for month in 0..6_i64 {
        let e = 0.002 * month as f64 - if month >= 3 { 0.01 } else { 0.0 };
        let stage = if month == 3 { Stage::AfterAdjustment } else { Stage::Check };
        register.log_assessment(1, &assessed(e, stage), &[], &act(30 * month, None)).unwrap();
    }
    let series = register.series(1).unwrap();
    let trend = series.trend.unwrap();
    assert_eq!((series.points.len(), trend.stretches, trend.significance), (6, 2, Significance::Significant));
    // 0.002 in 30 days are 0.002 · 30.436875/30 in a mean month.
    flattop_close::assert_close!(
        trend.drift_per_month,
        0.002 * 30.436_875 / 30.0,
        flattop_close::relative(1e-6)
    );
}

#[test]
fn a_cut_off_end_shows_against_a_noted_head() {
    let place = Place::new();
    let mut register = furnished(&place);
    let noted = register.log_note(&Subject::default(), &act(1, Some("x"))).unwrap();
    register.log_note(&Subject::default(), &act(2, Some("y"))).unwrap();
    assert_eq!(register.verify(Some(noted)).unwrap().problems, []);
    drop(register);
    let db = rusqlite::Connection::open(place.path()).unwrap();
    let drop_guard = "DROP TRIGGER log_is_not_shortened; DELETE FROM log WHERE seq >= 2;
        CREATE TRIGGER log_is_not_shortened BEFORE DELETE ON log BEGIN SELECT RAISE(ABORT, 'x'); END;";
    db.execute_batch(drop_guard).unwrap();
    let register = place.open();
    assert_eq!(register.verify(None).unwrap().problems, []);
    assert_eq!(register.verify(Some(noted)).unwrap().problems, [Problem::NotedHead { seq: noted.seq }]);
}

#[test]
fn the_table_itself_refuses_changes() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.log_assessment(1, &assessed(0.0, Stage::Check), &[b"bytes"], &act(1, None)).unwrap();
    drop(register);
    let db = rusqlite::Connection::open(place.path()).unwrap();
    for sql in [
        "UPDATE log SET note = 'better'",
        "DELETE FROM log",
        "INSERT OR REPLACE INTO log SELECT * FROM log WHERE seq = 1",
        "INSERT INTO log (seq, previous, at_utc, offset_minutes, program, kind, digest) VALUES (9, '', '', 0, '', '', '')",
        "UPDATE captures SET bytes = 1",
        "DELETE FROM captures",
        "INSERT OR REPLACE INTO captures SELECT sha256, 1, encoding, stored FROM captures",
    ] {
        let refused = db.execute_batch(sql);
        assert!(refused.is_err(), "{sql}");
    }
    assert_eq!(place.open().verify(None).unwrap().problems, []);
}

#[test]
fn a_digest_is_sixty_four_digits() {
    let digest = Digest::of(b"abc");
    assert_eq!(digest.to_string().parse::<Digest>().unwrap(), digest);
    for bad in ["", "ab", &"G".repeat(64), &"A".repeat(64)] {
        assert!(matches!(bad.parse::<Digest>(), Err(RegisterError::Entry { .. })), "{bad}");
    }
}
