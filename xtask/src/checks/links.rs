//! What instruments and controllers send each other, beside the examples of the standards.

use super::{Row, Tag, rows_of};
use flattop_scpi::block::{self, BlockReader};
use flattop_scpi::hislip::{Channel, Client};
use flattop_scpi::message::program;
use flattop_scpi::numbers::{self, Code, Order};
use flattop_scpi::status::DeviceError;
use flattop_scpi::usbtmc::{self, Tags};

const IEEE_488_2: &str = "IEEE Std 488.2-1992, 7.7.6 and 8.7.9, examples of blocks";
const SCPI_HEADERS: &str = "SCPI-1999, volume 1, 6.2.4, examples of compound headers";
const SCPI_NUMBERS: &str = "SCPI-1999, volume 1, 7.2.1";
const SCPI_ERRORS: &str = "SCPI-1999, volume 2, 21.8; IEEE Std 488.2-1992, 11.5.1";
const USBTMC: &str = "USBTMC 1.0, 3.2.1, example of a transfer";
const HISLIP: &str = "IVI-6.1, 2.4 and 6.1";
const IEEE_754: &str = "IEEE Std 754-2019, 3.4 and 3.6; π in its formats";
const COMPLEMENT: &str = "two's complement";

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    rows.extend(blocks());
    rows.extend(text());
    rows.extend(frames());
    rows.extend(codes());
    rows
}

/// Bytes that differ, surplus ones included.
fn differing(got: &[u8], expected: &[u8]) -> f64 {
    let same = got.iter().zip(expected).filter(|(a, b)| a == b).count();
    (got.len().max(expected.len()) - same) as f64
}

fn taken(message: &[u8]) -> Vec<u8> {
    let mut reader = BlockReader::new(100);
    let fed = reader.feed(message).is_ok() && reader.end().is_ok();
    if fed { reader.into_data() } else { b"none of it".to_vec() }
}

fn blocks() -> Vec<Row> {
    let definite = block::definite(b"ABCDE").unwrap_or_default();
    let list: [(&str, &str, f64, f64, f64, &str); 5] = [
        (
            "I-01",
            "#15 and five bytes: bytes read wrong",
            0.0,
            differing(&taken(b"#15ABCDE"), b"ABCDE"),
            0.5,
            "bytes",
        ),
        ("I-01", "the same written: bytes that differ", 0.0, differing(&definite, b"#15ABCDE"), 0.5, "bytes"),
        (
            "I-01",
            "with leading noughts, #3005: bytes read wrong",
            0.0,
            differing(&taken(b"#3005ABCDE"), b"ABCDE"),
            0.5,
            "bytes",
        ),
        (
            "I-02",
            "#0, five bytes, line feed with END: bytes read wrong",
            0.0,
            differing(&taken(b"#0AB\nDE\n"), b"AB\nDE"),
            0.5,
            "bytes",
        ),
        (
            "I-02",
            "the same written: bytes that differ",
            0.0,
            differing(&block::indefinite(b"AB\nDE"), b"#0AB\nDE\n"),
            0.5,
            "bytes",
        ),
    ];
    rows_of(IEEE_488_2, Tag::FromMemory, &list)
}

fn text() -> Vec<Row> {
    let headers = |message: &[u8]| -> Vec<u8> {
        let units = program(message).unwrap_or_default();
        units.iter().map(|u| u.header.as_str()).collect::<Vec<_>>().join(" ").into_bytes()
    };
    let compound = differing(&headers(b":FREQ:STAR 3 MHZ;STOP 5 MHZ"), b"FREQ:STAR FREQ:STOP");
    let common = differing(&headers(b"SENS:SWE:POIN?;*OPC?;TINT?"), b"SENS:SWE:POIN *OPC SENS:SWE:TINT");
    let mut rows = rows_of(
        SCPI_HEADERS,
        Tag::FromMemory,
        &[
            (
                "I-03",
                ":FREQ:STAR 3 MHZ;STOP 5 MHZ: letters of the two headers that differ",
                0.0,
                compound,
                0.5,
                "bytes",
            ),
            (
                "I-03",
                "a common header between two leaves the path: letters that differ",
                0.0,
                common,
                0.5,
                "bytes",
            ),
        ],
    );
    let missing = |text: &[u8]| {
        numbers::list(text, 9).map_or(f64::NAN, |v| v.iter().filter(|v| v.is_nan()).count() as f64)
    };
    let hexadecimal = numbers::number(b"#HFA").unwrap_or(f64::NAN);
    rows.extend(rows_of(
        SCPI_NUMBERS,
        Tag::FromMemory,
        &[
            (
                "I-04",
                "of 1, 9.9E37, -9.9E37 and 9.91E37: how many are no numbers",
                3.0,
                missing(b"1,9.9E37,-9.9E37,9.91E37"),
                0.5,
                "1",
            ),
            ("I-04", "#HFA", 250.0, hexadecimal, 0.5, "1"),
        ],
    ));
    let bit = |number| f64::from(DeviceError::standard(number).event_bit());
    let undefined =
        DeviceError::parse(b"-113,\"Undefined header\"\n").map_or(f64::NAN, |e| f64::from(e.number));
    rows.extend(rows_of(
        SCPI_ERRORS,
        Tag::FromMemory,
        &[
            ("I-05", "number of \"Undefined header\"", -113.0, undefined, 0.5, "1"),
            ("I-05", "bit of the event status that −113 sets", 32.0, bit(-113), 0.5, "1"),
            ("I-05", "bit that −222, Data out of range, sets", 16.0, bit(-222), 0.5, "1"),
            ("I-05", "bit that −350, Queue overflow, sets", 8.0, bit(-350), 0.5, "1"),
            ("I-05", "bit that −410, Query INTERRUPTED, sets", 4.0, bit(-410), 0.5, "1"),
        ],
    ));
    rows
}

fn frames() -> Vec<Row> {
    let mut tags = Tags::new();
    let out = usbtmc::out_transfers(b"*IDN?\n", 64, &mut tags).concat();
    let asked = usbtmc::request(64, &mut tags).1;
    let expected_out = b"\x01\x01\xfe\x00\x06\x00\x00\x00\x01\x00\x00\x00*IDN?\n\x00\x00";
    let expected_request = b"\x02\x02\xfd\x00\x40\x00\x00\x00\x00\x00\x00\x00";
    let mut rows = rows_of(
        USBTMC,
        Tag::FromMemory,
        &[
            (
                "I-06",
                "*IDN? as bulk-OUT transfer, padded to 20 bytes: bytes that differ",
                0.0,
                differing(&out, expected_out),
                0.5,
                "bytes",
            ),
            (
                "I-06",
                "the request for its answer: bytes that differ",
                0.0,
                differing(&asked, expected_request),
                0.5,
                "bytes",
            ),
        ],
    );
    let first = Client::new("hislip0", 100).output(Channel::Synchronous);
    let expected = b"HS\x00\x00\x01\x00XX\x00\x00\x00\x00\x00\x00\x00\x07hislip0";
    rows.extend(rows_of(
        HISLIP,
        Tag::FromMemory,
        &[(
            "I-07",
            "the message that begins a session: bytes that differ",
            0.0,
            differing(&first, expected),
            0.5,
            "bytes",
        )],
    ));
    rows
}

fn codes() -> Vec<Row> {
    let one = |bytes: &[u8], code| {
        numbers::decode(bytes, code, Order::MostSignificantFirst).map_or(f64::NAN, |v| v.iter().sum())
    };
    let pi = std::f64::consts::PI;
    let single = one(&[0x40, 0x49, 0x0f, 0xdb], Code::Float32);
    let double = one(&[0x40, 0x09, 0x21, 0xfb, 0x54, 0x44, 0x2d, 0x18], Code::Float64);
    let mut rows = rows_of(
        IEEE_754,
        Tag::FromMemory,
        &[
            // Half a unit of the last of 24 and of 53 bits, between 2 and 4.
            ("I-08", "40490FDB in binary32", pi, single, 2f64.powi(-23), "1"),
            ("I-08", "400921FB54442D18 in binary64", pi, double, 2f64.powi(-52), "1"),
        ],
    );
    let swapped = numbers::decode(&[0x00, 0x80], Code::Signed16, Order::LeastSignificantFirst);
    rows.extend(rows_of(
        COMPLEMENT,
        Tag::CommonPractice,
        &[
            ("I-09", "FF as a signed byte", -1.0, one(&[0xff], Code::Signed8), 0.5, "1"),
            (
                "I-09",
                "00 80, least significant first, as a signed code of two bytes",
                -32768.0,
                swapped.map_or(f64::NAN, |v| v.iter().sum()),
                0.5,
                "1",
            ),
            (
                "I-09",
                "FFFFFFFE as an unsigned code",
                4_294_967_294.0,
                one(&[0xff, 0xff, 0xff, 0xfe], Code::Unsigned32),
                0.5,
                "1",
            ),
        ],
    ));
    rows
}
