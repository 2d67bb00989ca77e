//! Reading a two-column text, against a general CSV reader and against plain scans of the same bytes.
//!
//! `cargo bench -p flattop-captures --bench read -- [LINES] [--one]` (10 million lines unless told otherwise; `--one`
//! writes the voltage only, read with a given interval). The methods take turns within each round, and the medians are
//! printed with their ratio to the newline count, because the machine's speed changes from minute to minute.
#![allow(clippy::disallowed_methods, clippy::print_stdout, clippy::unwrap_used, missing_docs)]

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;
use std::time::Instant;

use flattop_captures::{ReadOptions, open};

const ROUNDS: usize = 7;

type Method<'a> = (&'a str, Box<dyn Fn() -> usize + 'a>);

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let lines = arguments.iter().find_map(|a| a.replace('_', "").parse().ok()).unwrap_or(10_000_000);
    let one = arguments.iter().any(|a| a == "--one");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("capture.csv");
    write_capture(&path, lines, one);
    let bytes = std::fs::metadata(&path).unwrap().len();
    println!("{lines} lines, {bytes} bytes, median of {ROUNDS} rounds");
    let options = ReadOptions { interval_s: one.then_some(1e-9), ..ReadOptions::default() };
    let map = || {
        let file = File::open(&path).unwrap();
        // SAFETY: the file is ours, in a folder of our own, and nobody writes to it any more.
        #[allow(unsafe_code)]
        unsafe {
            memmap2::Mmap::map(&file).unwrap()
        }
    };
    let resident = map();
    let methods: [Method<'_>; 6] = [
        ("newline count, resident", Box::new(|| memchr::memchr_iter(b'\n', &resident).count())),
        ("newline count, fresh map", Box::new(|| memchr::memchr_iter(b'\n', &map()).count())),
        ("whole file into memory", Box::new(|| std::fs::read(&path).unwrap().len() / 28)),
        ("open", Box::new(|| open(&path, &options, &|_| {}).unwrap().points)),
        (
            "open and digest",
            Box::new(|| {
                let capture = open(&path, &options, &|_| {}).unwrap();
                capture.points * capture.sha256().len() / 64
            }),
        ),
        ("csv + fast-float2, fresh map", Box::new(|| general(&map()))),
    ];
    let mut times = vec![Vec::new(); methods.len()];
    for _ in 0..ROUNDS {
        for ((name, method), times) in methods.iter().zip(&mut times) {
            let before = Instant::now();
            let points = method();
            times.push(before.elapsed().as_secs_f64());
            assert!(name.contains("memory") || points == lines, "{name}: {points} points");
        }
    }
    let median = |times: &mut Vec<f64>| {
        times.sort_unstable_by(f64::total_cmp);
        times[times.len() / 2]
    };
    let medians: Vec<f64> = times.iter_mut().map(median).collect();
    for ((name, _), seconds) in methods.iter().zip(&medians) {
        let rate = bytes as f64 / seconds / 1e6;
        println!("{name:30} {seconds:8.4} s {rate:8.0} MB/s {:6.2} × newline count", seconds / medians[0]);
    }
    println!("open / (csv + fast-float2)      {:.3}   (goal: at most 0.5)", medians[3] / medians[5]);
    println!("open / newline count            {:.2}    (goal: at most 6)", medians[3] / medians[0]);
}

/// What a program would do with the usual crates: all columns into vectors.
fn general(bytes: &[u8]) -> usize {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(bytes);
    let mut record = csv::ByteRecord::new();
    let mut columns: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    while reader.read_byte_record(&mut record).unwrap() {
        for (field, column) in record.iter().zip(&mut columns) {
            column.push(fast_float2::parse(field).unwrap());
        }
    }
    columns[0].len()
}

/// A 1 kHz square wave with an undercompensated edge, noise and an 8-bit converter, 1 ns apart; time with nine
/// significant digits, voltage with six. The same arguments give the same bytes.
fn write_capture(path: &Path, lines: usize, one: bool) {
    let mut out = BufWriter::with_capacity(1 << 20, File::create(path).unwrap());
    let mut state = 0x9e37_79b9_7f4a_7c15u64;
    let mut random = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let step = 1.6 / 256.0;
    for k in 0..lines {
        let time = (k as f64 - (lines / 2) as f64) * 1e-9;
        let phase = time.rem_euclid(1e-3);
        let sign = if phase < 5e-4 { 1.0 } else { -1.0 };
        let since_edge = phase.rem_euclid(5e-4);
        let noise = (0..12).map(|_| random()).sum::<f64>() - 6.0;
        let volts = 0.5 * sign * (1.0 - 0.08 * (-since_edge / 30e-6).exp()) + 2e-3 * noise;
        let volts = (volts / step).round() * step;
        if !one {
            write_exponent(&mut out, time, 8);
            out.write_all(b",").unwrap();
        }
        write_exponent(&mut out, volts, 5);
        out.write_all(b"\n").unwrap();
    }
    out.flush().unwrap();
}

/// As most instruments print: a two-digit exponent with its sign.
fn write_exponent(out: &mut impl std::io::Write, value: f64, decimals: usize) {
    let text = format!("{value:.decimals$e}");
    let (digits, power) = text.split_once('e').unwrap();
    let power: i32 = power.parse().unwrap();
    let sign = if power < 0 { '-' } else { '+' };
    write!(out, "{digits}e{sign}{:02}", power.abs()).unwrap();
}
