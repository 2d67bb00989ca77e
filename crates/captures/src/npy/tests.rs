//! Tests of the NPY reader. Byte layout: NumPy 2.4 format manual ("Format Version 1.0"), files regenerated with NumPy.

use std::sync::Arc;

use super::*;
use flattop_close::{assert_close, within};
use proptest::prelude::*;

/// The header as the manual gives it: padded with blanks and a line feed so that the data starts at a multiple of 64.
fn file(descr: &str, fortran: &str, shape: &str, data: &[u8]) -> Vec<u8> {
    let mut text = format!("{{'descr': '{descr}', 'fortran_order': {fortran}, 'shape': {shape}, }}");
    while (10 + text.len() + 1) % 64 != 0 {
        text.push(' ');
    }
    text.push('\n');
    let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
    bytes.extend((text.len() as u16).to_le_bytes());
    bytes.extend(text.as_bytes());
    bytes.extend(data);
    bytes
}

/// NumPy 2.4: shape (2, 3) '<f8' has header length 118 (76 00) and 176 bytes; shape (5,) '<i2' holding 0 to 4 has 138
/// bytes and ends 00 00 01 00 02 00 03 00 04 00.
#[test]
fn header_facts_of_the_manual() {
    let rows = file("<f8", "False", "(2, 3)", &[0; 48]);
    assert_eq!((&rows[..8], &rows[8..10], rows.len()), (&b"\x93NUMPY\x01\x00"[..], &[0x76, 0][..], 176));
    let header = header::read("f", &rows).expect("valid");
    assert_eq!((header.shape, header.data_at, header.fortran_order), (vec![2, 3], 128, false));
    assert_eq!(header.number, Number::F64 { big: false });
    let codes = file("<i2", "False", "(5,)", &[0, 0, 1, 0, 2, 0, 3, 0, 4, 0]);
    assert_eq!(codes.len(), 138);
    let header = header::read("f", &codes).expect("valid");
    let column = Strided { at: header.data_at, step: 2, count: 5, number: header.number };
    assert_eq!(columns::doubles(&codes, &column), [0.0, 1.0, 2.0, 3.0, 4.0]);
}

/// Same manual: in Fortran order the elements of [[0, 1, 2], [3, 4, 5]] lie as 0, 3, 1, 4, 2, 5. Here with 20 rows of 17
/// columns, so that no axis counts as tiny.
#[test]
fn fortran_order_gives_the_same_columns() {
    let value = |row: usize, column: usize| (row * 17 + column) as f64;
    let c: Vec<u8> = (0..340).flat_map(|i| value(i / 17, i % 17).to_le_bytes()).collect();
    let f: Vec<u8> = (0..340).flat_map(|i| value(i % 20, i / 20).to_le_bytes()).collect();
    for (order, data) in [("False", c), ("True", f)] {
        let bytes = Arc::new(Bytes::Held(file("<f8", order, "(20, 17)", &data)));
        let options = ReadOptions { column: Some(5), interval_s: Some(1.0), reference: Some(17) };
        let read = read("f", &bytes, &options).expect("valid");
        assert_eq!((read.points, read.columns), (20, 17));
        let expected: Vec<f64> = (0..20).map(|row| value(row, 4)).collect();
        assert_eq!(read.probe.view().to_vec(), expected);
        assert_close!(read.reference.expect("asked for").view().at(19), value(19, 16), within(0.0));
    }
}

/// Every kind of number, both byte orders, against the standard library's own conversion.
#[test]
fn every_kind_of_number() {
    let values: [i64; 20] = std::array::from_fn(|k| k as i64 * 5 + 3);
    macro_rules! check {
        ($($kind:literal $type:ty),*) => { $(
            for (order, big) in [("<", false), (">", true)] {
                let convert = |v: &i64| if big { (*v as $type).to_be_bytes().to_vec() } else { (*v as $type).to_le_bytes().to_vec() };
                let data: Vec<u8> = values.iter().flat_map(convert).collect();
                let bytes = Arc::new(Bytes::Held(file(&format!("{order}{}", $kind), "False", "(20,)", &data)));
                let options = ReadOptions { interval_s: Some(1e-6), ..ReadOptions::default() };
                let read = read("f", &bytes, &options).expect("valid");
                assert_eq!(read.probe.view().to_vec(), values.map(|v| v as f64), "{order}{}", $kind);
            }
        )* };
    }
    check!("f4" f32, "f8" f64, "i1" i8, "u1" u8, "i2" i16, "u2" u16, "i4" i32, "u4" u32, "i8" i64, "u8" u64);
}

/// A mapped column in native order is not copied.
#[test]
fn native_columns_stay_in_place() {
    let data: Vec<u8> = (0..100).flat_map(|k| (k as f32).to_ne_bytes()).collect();
    let bytes = Arc::new(Bytes::Held(file("<f4", "False", "(100,)", &data)));
    let options = ReadOptions { interval_s: Some(1e-6), ..ReadOptions::default() };
    let read = read("f", &bytes, &options).expect("valid");
    let aligned = bytes.as_ptr().align_offset(4) == 0;
    assert_eq!(format!("{:?}", read.probe).contains("in place"), aligned && cfg!(target_endian = "little"));
}

/// A float time column: evenly spaced as far as single precision tells.
#[test]
fn single_precision_time() {
    let rows: Vec<u8> =
        (0..5000).flat_map(|k| [k as f32 * 1e-6, (k % 2) as f32]).flat_map(f32::to_le_bytes).collect();
    let bytes = Arc::new(Bytes::Held(file("<f4", "False", "(5000, 2)", &rows)));
    let read = read("f", &bytes, &ReadOptions::default()).expect("valid");
    assert_close!(read.interval_s, 1e-6, within(1e-12));
    assert_eq!(read.probe.number, 2);
}

proptest! {
    #[test]
    fn prop_mutated_headers_never_panic(at in 0usize..140, value in any::<u8>(), cut in 0usize..300, shape in "\\([0-9, L]{0,30}\\)") {
        let mut bytes = file("<f8", "False", &shape, &[7; 160]);
        let place = at % bytes.len();
        bytes[place] = value;
        bytes.truncate(bytes.len().saturating_sub(cut % 100));
        if bytes.starts_with(MAGIC) {
            let options = ReadOptions { interval_s: Some(1e-6), ..ReadOptions::default() };
            let _ = read("f", &Arc::new(Bytes::Held(bytes)), &options);
        }
    }
}

/// The lengths of the two files above, told as soon as the header is whole and not before.
#[test]
fn lengths_are_told_by_the_header() {
    let rows = file("<f8", "False", "(2, 3)", &[0; 48]);
    assert_eq!(length("f", &rows[..127]), Ok(None));
    assert_eq!(length("f", &rows[..128]), Ok(Some(176)));
    assert_eq!(length("f", &rows), Ok(Some(176)));
    assert_eq!(length("f", &file("<i2", "False", "(5,)", &[])), Ok(Some(138)));
    let vast = file("<f8", "False", "(9999999999999, 9999999999999)", &[]);
    assert_eq!(length("f", &vast), Ok(Some(u64::MAX)));
    for bad in [
        &b"\x93NUMPY\x09\x00\x00\x00"[..],
        b"\x93NUMPY\x02\x00\xff\xff\xff\xff",
        &file("<f8", "Maybe", "()", &[]),
    ] {
        assert!(length("f", bad).is_err(), "{bad:?}");
    }
}
