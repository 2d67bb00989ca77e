//! Adding, editing, removing; pairing and moving.

use flattop_core::bench::PairingState;
use flattop_register::{Change, EntryKind, Filter, RegisterError, Retired, Thing, Voids};
use proptest::prelude::*;

use super::common::*;

#[test]
fn what_goes_in_comes_out() {
    let place = Place::new();
    let register = furnished(&place);
    assert_eq!(register.oscilloscope(&id("bench-a")).unwrap(), scope());
    assert_eq!(register.probe(&id("probe-07")).unwrap(), probe("probe-07"));
    assert_eq!(register.probes(Retired::Hidden).unwrap(), [probe("probe-07")]);
    assert_eq!(register.oscilloscopes(Retired::Hidden).unwrap(), [scope()]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn prop_random_things_come_out_to_the_last_bit(probe in any_probe(), input in any_input()) {
        let place = Place::new();
        let mut register = place.open();
        register.add_probe(&probe).unwrap();
        let scope = flattop_core::bench::Oscilloscope {
            inputs: vec![input],
            ..flattop_register::unknown_oscilloscope(id("s"))
        };
        register.add_oscilloscope(&scope).unwrap();
        drop(register);
        let register = place.open();
        prop_assert_eq!(register.probe(&id("p")).unwrap(), probe);
        prop_assert_eq!(register.oscilloscope(&id("s")).unwrap(), scope);
    }
}

#[test]
fn fields_are_edited_one_by_one() {
    let place = Place::new();
    let mut register = furnished(&place);
    let probe = Thing::Probe(id("probe-07"));
    let change = register.edit_field(&probe, "tip_capacitance", Some("13p ± 1p")).unwrap();
    assert_eq!(
        change,
        Change::Edited {
            thing: probe.clone(),
            key: "tip_capacitance",
            before: Some("12 pF ± 1 pF".to_owned()),
            after: Some("13 pF ± 1 pF".to_owned()),
        }
    );
    assert_eq!(
        register.edit_field(&probe, "tip_capacitance", Some("13 pF ± 1 pF")).unwrap(),
        Change::Unchanged(probe.clone())
    );
    register.edit_field(&probe, "cable.length", Some("1.2 m")).unwrap();
    register.edit_field(&probe, "serial", None).unwrap();
    let message = |r: Result<Change, RegisterError>| r.unwrap_err().to_string();
    assert!(message(register.edit_field(&probe, "length", None)).contains("cable.length"));
    assert!(message(register.edit_field(&probe, "tip_capacitance", Some("13 kHz"))).contains("a frequency"));
    assert!(message(register.edit_field(&probe, "ratio", Some("0.1"))).contains("from 1 to"));
    assert!(
        message(register.edit_field(&probe, "compensation_range", Some("25 pF to 10 pF")))
            .contains("smaller end first")
    );
    let ground = Thing::Ground(id("probe-07"), id("lead"));
    register.edit_field(&ground, "inductance", Some("150 nH")).unwrap();
    register.edit_field(&Thing::Pairing(1), "recheck_interval", Some("26 weeks")).unwrap();
    register
        .edit_field(&Thing::Input(input_id("bench-a/ch2")), "response", Some("maximally-flat-3"))
        .unwrap();
    register.edit_field(&Thing::Oscilloscope(id("bench-a")), "note", Some("fan is loud")).unwrap();
    assert_eq!(register.pairing(1).unwrap().recheck_interval_days, Some(182));
    let stored = register.probe(&id("probe-07")).unwrap();
    assert_eq!((stored.cable.length_m, stored.serial), (Some(1.2), None));
    assert_eq!(stored.ground_accessories[0].inductance_h, Some(150e-9));
}

#[test]
fn an_edit_is_all_or_nothing_and_leaves_a_trace_where_there_is_history() {
    let place = Place::new();
    let mut register = furnished(&place);
    let probe = Thing::Probe(id("probe-07"));
    let before = register.head().unwrap();
    let refused = register.edit(&probe, &[("serial", Some("77")), ("ratio", Some("0.1"))], &act(1, None));
    assert!(refused.is_err());
    assert_ne!(register.probe(&id("probe-07")).unwrap().serial.as_deref(), Some("77"));
    assert_eq!(register.head().unwrap(), before);
    let changes = register
        .edit(&probe, &[("serial", Some("77")), ("tip_capacitance", None)], &act(1, Some("relabelled")))
        .unwrap();
    assert_eq!(changes.len(), 2);
    let entry = register.entry(register.head().unwrap().unwrap().seq).unwrap();
    let note = entry.act.note.unwrap();
    assert!(note.contains("serial of probe \"probe-07\" changed from"), "{note}");
    assert!(
        note.contains("to \"77\"") && note.contains("to not known") && note.ends_with("relabelled"),
        "{note}"
    );
    assert_eq!(entry.subject.probe, Some(id("probe-07")));
    // The same once more changes nothing, and says nothing.
    let head = register.head().unwrap();
    register.edit(&probe, &[("serial", Some("77"))], &act(2, None)).unwrap();
    assert_eq!(register.head().unwrap(), head);
}

#[test]
fn what_is_spoken_of_is_retired_and_the_rest_deleted() {
    let place = Place::new();
    let mut register = furnished(&place);
    let unused = Thing::Input(input_id("bench-a/ch2"));
    assert_eq!(register.remove(&unused, &act(1, None)).unwrap(), Change::Deleted(unused.clone()));
    let scope_thing = Thing::Oscilloscope(id("bench-a"));
    assert_eq!(
        register.remove(&scope_thing, &act(2, None)).unwrap(),
        Change::Retired { thing: scope_thing.clone(), voided: vec![1] }
    );
    assert!(register.oscilloscopes(Retired::Hidden).unwrap().is_empty());
    assert!(register.oscilloscope(&id("bench-a")).unwrap().inputs[0].retired);
    assert!(register.pairings(Voids::Hidden).unwrap().is_empty());
    let again = register.add_oscilloscope(&scope()).unwrap_err().to_string();
    assert!(again.contains("retired, since the logbook speaks of it"), "{again}");
    let pairing = register.pair(&id("probe-07"), &input_id("bench-a/ch1"), TERMS, &act(3, None));
    assert!(matches!(pairing, Err(RegisterError::Retired { .. })));
    assert!(matches!(register.remove(&scope_thing, &act(3, None)), Err(RegisterError::Retired { .. })));
    register.reinstate(&scope_thing, &act(4, None)).unwrap();
    assert_eq!(register.pair(&id("probe-07"), &input_id("bench-a/ch1"), TERMS, &act(5, None)).unwrap(), 2);
    let kinds: Vec<EntryKind> =
        register.entries(&Filter::all()).unwrap().iter().map(|e| e.event.kind()).collect();
    use EntryKind::{PairingMade, PairingVoided, Reinstatement, Retirement};
    assert_eq!(kinds, [PairingMade, PairingVoided, Retirement, Reinstatement, PairingMade]);
    assert_eq!(register.verify(None).unwrap().problems, []);
}

#[test]
fn an_unused_oscilloscope_goes_with_its_inputs_and_its_id_is_free() {
    let place = Place::new();
    let mut register = place.open();
    register.add_oscilloscope(&scope()).unwrap();
    let thing = Thing::Oscilloscope(id("bench-a"));
    assert_eq!(register.remove(&thing, &act(0, None)).unwrap(), Change::Deleted(thing));
    register.add_oscilloscope(&scope()).unwrap();
    register.add_probe(&probe("probe-07")).unwrap();
    let thing = Thing::Probe(id("probe-07"));
    assert_eq!(register.remove(&thing, &act(0, None)).unwrap(), Change::Deleted(thing));
    register.add_probe(&probe("probe-07")).unwrap();
    assert_eq!(register.head().unwrap(), None);
}

#[test]
fn a_move_voids_the_pairing_and_tells_the_error_to_expect() {
    let place = Place::new();
    let mut register = furnished(&place);
    let seq = register
        .log_assessment(1, &assessed(0.0, flattop_core::bench::Stage::Check), &[], &act(1, None))
        .unwrap()
        .seq;
    let (probe, to) = (id("probe-07"), input_id("bench-a/ch2"));
    assert!(matches!(register.pair(&probe, &to, TERMS, &act(2, None)), Err(RegisterError::Paired { .. })));
    let moved = register.move_probe(&probe, &to, TERMS, &act(2, None)).unwrap();
    assert_eq!((moved.voided, moved.made), (1, 2));
    let forecast = moved.forecast.unwrap();
    assert_eq!(forecast.rests_on, Some(seq));
    // 100 pF in all (90 µs over 900 kΩ), 5 pF more: 100/105 − 1.
    flattop_close::assert_close!(
        forecast.expected.compensation_error,
        -1.0 / 21.0,
        flattop_close::relative(1e-9)
    );
    assert!(forecast.expected.standard_uncertainty.unwrap() > 1e-3);
    let state = |r: &flattop_register::Register, n| r.standing(n, START_MS).unwrap().status.state;
    assert_eq!(state(&register, 1), PairingState::VoidMoved);
    assert_eq!(state(&register, 2), PairingState::NeverChecked);
    assert_eq!(register.pairing(1).unwrap().voided.unwrap().why, "moved to bench-a/ch2");
    assert!(matches!(
        register.move_probe(&probe, &to, TERMS, &act(3, None)),
        Err(RegisterError::SamePlace { .. })
    ));
    // Back again without a capture: the data sheet alone.
    let back = register.move_probe(&probe, &input_id("bench-a/ch1"), TERMS, &act(3, None)).unwrap();
    let forecast = back.forecast.unwrap();
    assert_eq!(forecast.rests_on, None);
    assert!(forecast.expected.standard_uncertainty.unwrap() > 0.01);
    let unpaired = register.log_adjustment(1, &act(4, None));
    assert!(matches!(unpaired, Err(RegisterError::Void { number: 1 })));
}

#[test]
fn what_is_missing_for_a_forecast_is_named() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.edit_field(&Thing::Input(input_id("bench-a/ch2")), "capacitance", None).unwrap();
    let said = register.forecast(1, &input_id("bench-a/ch2")).unwrap().unwrap_err().to_string();
    assert!(said.contains("the capacitance of input \"bench-a/ch2\""), "{said}");
}

#[test]
fn what_is_due_comes_in_order_of_need() {
    use flattop_core::bench::Stage::Check;
    let place = Place::new();
    let mut register = furnished(&place);
    for (number, name) in [(2, "probe-08"), (3, "probe-09"), (4, "probe-10")] {
        register.add_probe(&probe(name)).unwrap();
        let made = register.pair(&id(name), &input_id("bench-a/ch1"), TERMS, &act(0, None)).unwrap();
        assert_eq!(made, number);
    }
    register.edit_field(&Thing::Probe(id("probe-10")), "compensation_range", Some("20 pF to 30 pF")).unwrap();
    register.log_assessment(1, &assessed(0.001, Check), &[], &act(1, None)).unwrap();
    register.log_assessment(2, &assessed(0.05, Check), &[], &act(1, None)).unwrap();
    let due = |register: &flattop_register::Register, day| {
        let at = START_MS + day * DAY_MS;
        let all = register.due(at).unwrap();
        for one in &all {
            assert_eq!(register.standing(one.pairing.number, at).unwrap(), *one);
        }
        all.iter().map(|s| (s.pairing.number, s.status.state)).collect::<Vec<_>>()
    };
    use PairingState::{Due, NeverChecked, OutOfReach, OutOfTolerance};
    assert_eq!(due(&register, 2), [(4, OutOfReach), (2, OutOfTolerance), (3, NeverChecked)]);
    assert_eq!(due(&register, 91), [(4, OutOfReach), (2, OutOfTolerance), (3, NeverChecked), (1, Due)]);
}
