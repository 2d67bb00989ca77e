//! Measured values: entry, captures and field together, and what tells that a field was measured.

use flattop_core::assessment::Estimate;
use flattop_core::bench::{Range, Toleranced};
use flattop_register::{
    Digest, Effect, Entry, EntryKind, Event, Filter, MeasuredQuantity, MeasurementRecord, Problem, Register,
    Thing,
};
use rusqlite::Connection;
use rusqlite::types::Value as Cell;

use super::common::*;

const CAPTURES: [&[u8]; 2] = [b"time,ch1\n0,1\n", b"time,ch2\n0,2\n"];

fn input() -> Thing {
    Thing::Input(input_id("bench-a/ch2"))
}

fn probe() -> Thing {
    Thing::Probe(id("probe-07"))
}

fn capacitance(value: f64, u: f64) -> MeasurementRecord {
    MeasurementRecord {
        quantity: MeasuredQuantity::InputCapacitance,
        value: Estimate { value, standard_uncertainty: u },
        upper: None,
        method: "substitution".to_owned(),
        ..range()
    }
}

fn measured(register: &Register, thing: &Thing) -> Vec<(&'static str, i64)> {
    register.measured_values(thing).unwrap().iter().map(|m| (m.field, m.entry)).collect()
}

#[test]
fn entry_captures_and_field_come_together() {
    let place = Place::new();
    let mut register = furnished(&place);
    let record = capacitance(13.0231e-12, 0.1234e-12);
    let done =
        register.log_measurements(&input(), std::slice::from_ref(&record), &CAPTURES, &act(1, None)).unwrap();
    let Entry { event: Event::Measurement(stored), act: noted, subject, .. } =
        register.entry(done[0].0.seq).unwrap()
    else {
        panic!("another kind")
    };
    let captures: Vec<Digest> = CAPTURES.iter().map(|raw| Digest::of(raw)).collect();
    assert_eq!(*stored, MeasurementRecord { captures: captures.clone(), ..record });
    assert_eq!((subject.input_id(), subject.probe), (Some(input_id("bench-a/ch2")), None));
    assert_eq!(
        noted.note.unwrap(),
        "capacitance of input \"bench-a/ch2\" changed from \"20 pF ± 1 pF\" to \"13.02 pF ± 250 fF\""
    );
    let field = register.input(&input_id("bench-a/ch2")).unwrap().capacitance_f.unwrap();
    assert_eq!(field, Toleranced { value: 13.02e-12, tolerance: Some(0.25e-12) });
    let told = register.measured_values(&input()).unwrap();
    assert_eq!((told.len(), told[0].field, told[0].value), (1, "capacitance", stored.value));
    assert_eq!((told[0].captures.clone(), told[0].entry, told[0].at), (captures, 2, act(1, None).at));
    assert_eq!(register.capture(&Digest::of(CAPTURES[1])).unwrap(), CAPTURES[1]);
    assert_eq!(register.verify(None).unwrap().problems, []);
    let filter = Filter { kinds: vec![EntryKind::Measurement], ..Filter::all() };
    assert_eq!(register.entries(&filter).unwrap().len(), 1);
    let csv = register.log_csv(&filter).unwrap();
    assert!(csv.contains(",input-capacitance,0.0000000000130231,"), "{csv}");
}

#[test]
fn a_range_and_a_tip_with_its_body() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.log_measurements(&probe(), &[range()], &CAPTURES, &act(1, None)).unwrap();
    let of = |quantity, value, u| MeasurementRecord { quantity, ..capacitance(value, u) };
    let both = [
        of(MeasuredQuantity::TipCapacitance, 13.8e-12, 0.05e-12),
        of(MeasuredQuantity::BodyCapacitance, -0.01e-12, 0.05e-12),
    ];
    register.log_measurements(&probe(), &both, &CAPTURES[..1], &act(2, None)).unwrap();
    let stored = register.probe(&id("probe-07")).unwrap();
    assert_eq!(stored.compensation_range_f, Some(Range { low: 8.93e-12, high: 32.27e-12 }));
    flattop_close::assert_close!(
        stored.tip_capacitance_f.unwrap().value,
        13.8e-12,
        flattop_close::relative(1e-12)
    );
    assert_eq!(stored.body_capacitance_f, Some(0.0));
    assert_eq!(
        measured(&register, &probe()),
        [("tip_capacitance", 3), ("body_capacitance", 4), ("compensation_range", 2)]
    );
}

#[test]
fn an_edit_or_a_withdrawal_takes_the_mark_away_and_a_new_measurement_brings_it_back() {
    let place = Place::new();
    let mut register = furnished(&place);
    let log = |register: &mut Register, value, day| {
        let record = capacitance(value, 0.1e-12);
        register.log_measurements(&input(), &[record], &CAPTURES, &act(day, None)).unwrap()[0].0.seq
    };
    let first = log(&mut register, 13e-12, 1);
    register.edit_field(&input(), "capacitance", Some("14 pF ± 1 pF")).unwrap();
    assert_eq!(measured(&register, &input()), []);
    register.edit_field(&input(), "label", Some("third from the left")).unwrap();
    let second = log(&mut register, 13.1e-12, 2);
    assert!(first < second);
    assert_eq!(measured(&register, &input()), [("capacitance", second)]);
    register.log_correction(second, Effect::Withdraws, &act(3, Some("wrong input"))).unwrap();
    assert_eq!(measured(&register, &input()), []);
    // The value itself is left to people: nobody knows what would be right.
    assert!(register.input(&input_id("bench-a/ch2")).unwrap().capacitance_f.is_some());
    // Back to what the first one said, which still counts.
    register.edit_field(&input(), "capacitance", Some("13 pF ± 200 fF")).unwrap();
    assert_eq!(measured(&register, &input()), [("capacitance", first)]);
}

#[test]
fn the_value_goes_along_in_an_export_but_not_the_mark() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.log_measurements(&input(), &[capacitance(13e-12, 0.1e-12)], &CAPTURES, &act(1, None)).unwrap();
    let text = register.export_toml().unwrap();
    assert!(text.contains("capacitance = \"13 pF ± 200 fF\""), "{text}");
    let other = Place::new();
    let mut copy = other.open();
    copy.import_toml(&text, &act(2, None)).unwrap();
    assert_eq!(copy.export_toml().unwrap(), text);
    assert_eq!(measured(&copy, &input()), []);
}

#[test]
fn what_cannot_be_kept_is_refused_and_nothing_is_written() {
    let place = Place::new();
    let mut register = furnished(&place);
    let before = (register.head().unwrap(), register.export_toml().unwrap());
    let good = capacitance(13e-12, 0.1e-12);
    let mut refused = |thing: &Thing, records: &[MeasurementRecord], raw: &[&[u8]]| {
        register.log_measurements(thing, records, raw, &act(1, None)).unwrap_err().to_string()
    };
    assert!(refused(&probe(), std::slice::from_ref(&good), &CAPTURES).contains("a probe has the rest"));
    assert!(refused(&input(), &[range()], &CAPTURES).contains("an input has a capacitance"));
    assert!(refused(&input(), std::slice::from_ref(&good), &[]).contains("without captures"));
    let unknown = MeasurementRecord { captures: vec![Digest::of(b"never given")], ..good.clone() };
    assert!(refused(&input(), &[unknown], &[]).contains("capture"));
    let half = MeasurementRecord { upper: None, ..range() };
    assert!(refused(&probe(), &[half], &CAPTURES).contains("two limits"));
    let broken = capacitance(f64::NAN, 1e-13);
    assert!(refused(&input(), &[good.clone(), broken], &CAPTURES).contains("determined"));
    // The second of two fails in the field: the first is not kept either.
    let below = capacitance(-1e-12, 1e-13);
    assert!(refused(&input(), &[good, below], &CAPTURES).contains("above zero"));
    assert_eq!((register.head().unwrap(), register.export_toml().unwrap()), before);
    assert!(register.captures().unwrap().is_empty());
}

#[test]
fn each_capture_is_verified() {
    let place = Place::new();
    let mut register = furnished(&place);
    register.log_measurements(&probe(), &[range()], &CAPTURES, &act(1, None)).unwrap();
    let db = Connection::open(place.path()).unwrap();
    db.execute_batch("DROP TRIGGER captures_are_not_removed; DROP TRIGGER captures_are_not_changed").unwrap();
    let [first, second] = CAPTURES.map(|raw| Digest::of(raw).to_string());
    db.execute("UPDATE captures SET stored = X'00' WHERE sha256 = ?1", [&first]).unwrap();
    db.execute("DELETE FROM captures WHERE sha256 = ?1", [&second]).unwrap();
    let found = register.verify(None).unwrap().problems;
    assert!(found.contains(&Problem::CaptureChanged { digest: first, entries: vec![2] }), "{found:?}");
    assert!(found.contains(&Problem::CaptureMissing { seq: 2, digest: second }), "{found:?}");
}

/// The digest worked out after LOGBOOK.md from the columns as they lie in the file.
#[test]
fn the_digest_is_what_the_document_says() {
    let place = Place::new();
    let mut register = furnished(&place);
    let done = register.log_measurements(&probe(), &[range()], &CAPTURES, &act(1, Some("µ"))).unwrap();
    let db = Connection::open(place.path()).unwrap();
    let columns = "seq previous at_utc offset_minutes author program kind pairing probe oscilloscope input stage capture \
        settings tolerance verdict compensation_error compensation_error_u time_constant_s time_constant_u_s correlation \
        tip_resistance_ohm shunt_resistance_ohm resistor_uncertainty method temperature_c corrects effect result note \
        quantity value value_u upper upper_u captures";
    let mut bytes = b"flattop-log-1\n".to_vec();
    for column in columns.split_whitespace() {
        let sql = format!("SELECT {column} FROM log WHERE seq = 2");
        let (class, text) = match db.query_row(&sql, [], |r| r.get::<_, Cell>(0)).unwrap() {
            Cell::Null => continue,
            Cell::Integer(v) => ("integer", v.to_string()),
            Cell::Real(v) => ("real", format!("{:016x}", v.to_bits())),
            Cell::Text(v) => ("text", v),
            Cell::Blob(_) => panic!("a blob in {column}"),
        };
        bytes.extend(format!("{column} {class} {}\n{text}\n", text.len()).bytes());
    }
    assert_eq!(Digest::of(&bytes), done[0].0.digest);
}
