//! Tests of the WAV reader.

use std::sync::Arc;

use super::*;
use flattop_close::{assert_close, within};
use proptest::prelude::*;

fn file(code: u16, channels: u16, bits: u16, rate: u32, data: &[u8]) -> Vec<u8> {
    let frame = channels * bits / 8;
    let mut bytes = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0".to_vec();
    bytes.extend(code.to_le_bytes());
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate.to_le_bytes());
    bytes.extend((rate * u32::from(frame)).to_le_bytes());
    bytes.extend(frame.to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

fn volts(bytes: Vec<u8>, column: usize) -> Vec<f64> {
    let options = ReadOptions { column: Some(column), ..ReadOptions::default() };
    read("f", &Arc::new(Bytes::Held(bytes)), &options).expect("valid").probe.view().to_vec()
}

/// Full scale is ±1 (common practice): the ends and the middle of each code range.
#[test]
fn full_scale_is_one() {
    let padded = |codes: &[&[u8]]| -> Vec<u8> {
        codes.iter().cycle().take(18).flat_map(|c| c.iter().copied()).collect()
    };
    let cases: [(u16, u16, Vec<u8>, [f64; 3]); 5] = [
        (1, 8, padded(&[&[0], &[128], &[255]]), [-1.0, 0.0, 127.0 / 128.0]),
        (1, 16, padded(&[&[0, 0x80], &[0, 0], &[0xff, 0x7f]]), [-1.0, 0.0, 32_767.0 / 32_768.0]),
        (
            1,
            24,
            padded(&[&[0, 0, 0x80], &[0, 0, 0], &[0xff, 0xff, 0x7f]]),
            [-1.0, 0.0, 8_388_607.0 / 8_388_608.0],
        ),
        (
            1,
            32,
            padded(&[&[0, 0, 0, 0x80], &[0; 4], &[0xff, 0xff, 0xff, 0x7f]]),
            [-1.0, 0.0, 2_147_483_647.0 / 2_147_483_648.0],
        ),
        (3, 32, padded(&[&(-2.5f32).to_le_bytes(), &[0; 4], &0.75f32.to_le_bytes()]), [-2.5, 0.0, 0.75]),
    ];
    for (code, bits, data, expected) in cases {
        let got = volts(file(code, 1, bits, 1000, &data), 1);
        for (k, want) in expected.iter().enumerate() {
            assert_close!(got[k], *want, within(1e-15));
        }
    }
}

#[test]
fn channels_are_columns() {
    let data: Vec<u8> = (0..20i16).flat_map(|k| [k, -k, 1000 + k]).flat_map(i16::to_le_bytes).collect();
    for (column, code) in [(1, 19.0), (2, -19.0), (3, 1019.0)] {
        let got = volts(file(1, 3, 16, 96_000, &data), column);
        assert_close!(got[19], code / 32_768.0, within(1e-15));
    }
}

/// RF64 (EBU Tech 3306, from memory): the length stands in the chunk `ds64`.
#[test]
fn long_file_with_its_length_elsewhere() {
    let data: Vec<u8> = (0..20i16).flat_map(i16::to_le_bytes).collect();
    let mut bytes = file(1, 1, 16, 1000, &data);
    bytes[..4].copy_from_slice(b"RF64");
    bytes[40..44].copy_from_slice(&u32::MAX.to_le_bytes());
    let mut ds64 = b"ds64\x1c\0\0\0".to_vec();
    ds64.extend([0; 8]);
    ds64.extend(40u64.to_le_bytes());
    ds64.extend([0; 12]);
    bytes.splice(12..12, ds64);
    bytes.extend(b"LIST\x04\0\0\0abcd");
    assert_eq!(volts(bytes, 1).len(), 20);
}

proptest! {
    #[test]
    fn prop_mutated_files_never_panic(edits in prop::collection::vec((12usize..120, any::<u8>()), 1..6), cut in 0usize..90) {
        let mut bytes = file(1, 2, 16, 1000, &[1; 80]);
        for (at, value) in edits {
            let at = at.min(bytes.len() - 1);
            bytes[at] = value;
        }
        bytes.truncate(bytes.len() - cut);
        if is_wav(&bytes) {
            let _ = read("f", &Arc::new(Bytes::Held(bytes)), &ReadOptions::default());
        }
    }
}
