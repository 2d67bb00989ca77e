//! Every small file that can be read, written with two columns more and read again.

#![allow(clippy::disallowed_methods)] // tests write the files that are widened, and read the results

use super::*;
use crate::{ReadOptions, open};
use flattop_close::{assert_close, relative};
use flattop_core::samples::SampleView;

/// Twice the probe's column, and a number that tells the sample.
struct Twice<'a> {
    samples: SampleView<'a>,
    asked: usize,
}

impl Added for Twice<'_> {
    fn names(&self) -> [&str; 2] {
        ["corrected", "standard_uncertainty"]
    }

    fn next<T: Stored + Written>(&mut self, range: Range<usize>, first: &mut [T], second: &mut [T]) {
        assert_eq!(range.start, self.asked);
        assert_eq!((first.len(), second.len()), (range.len(), range.len()));
        self.asked = range.end;
        for (k, at) in range.enumerate() {
            first[k] = T::narrow(2.0 * self.samples.at(at));
            second[k] = T::narrow(at as f64);
        }
    }

    fn decimals(&self) -> Option<usize> {
        None
    }
}

fn valid() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/captures/valid")
}

fn read(path: &Path, column: Option<usize>) -> Capture {
    let plain = ReadOptions { column, ..ReadOptions::default() };
    open(path, &plain, &|_| {}).unwrap_or_else(|_| {
        open(path, &ReadOptions { interval_s: Some(1e-6), ..plain }, &|_| {}).expect("a valid file")
    })
}

#[test]
fn every_valid_file_keeps_its_columns_and_gets_two() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut files: Vec<_> =
        std::fs::read_dir(valid()).expect("test files").map(|e| e.expect("a file").path()).collect();
    files.sort();
    assert!(files.len() > 50);
    for path in files {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let capture = read(&path, None);
        let ending = match (capture.format.content, name.len() % 2) {
            (Content::Text, 0) => "csv.gz",
            (Content::Text, _) => "csv",
            _ => "npy",
        };
        let place = folder.path().join(format!("{name}.{ending}"));
        let mut added = Twice { samples: capture.probe.stored(), asked: 0 };
        widen(&capture, &path, &place, &mut added).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(added.asked, capture.points, "{name}");

        // WAV states its interval, NPY of one column none.
        // Where the samples themselves rise evenly, as codes may, they are time to the reader once columns stand beside them.
        let rises = ["u1.npy", "i8-wide.npy"].contains(&&*name);
        let again = read(&place, Some(if rises { 2 } else { capture.probe.number }));
        let twice = read(&place, Some(capture.columns + 1));
        let number = read(&place, Some(capture.columns + 2));
        assert_eq!(again.columns, capture.columns + 2, "{name}");
        assert_eq!((again.points, twice.points), (capture.points, capture.points), "{name}");
        if capture.format.content != Content::Wav && !name.contains("two-columns-no-time") && !rises {
            assert_close!(again.interval_s, capture.interval_s, relative(1e-9), "{name}");
        }
        for k in 0..capture.points {
            let stored = capture.probe.stored().at(k);
            // WAV comes out as shares of full scale.
            let share = if capture.format.content == Content::Wav { capture.probe.scale() } else { 1.0 };
            let (kept, made) = (again.probe.stored().at(k), twice.probe.stored().at(k));
            if stored.is_nan() {
                assert!(kept.is_nan() && made.is_nan(), "{name}, sample {k}");
                continue;
            }
            let stored_or_made = if rises { 2.0 * stored } else { stored };
            assert_close!(kept, share * stored_or_made, relative(0.0), "{name}, sample {k}");
            assert_close!(made, 2.0 * share * stored, relative(1e-7), "{name}, sample {k}");
            assert_close!(
                number.probe.stored().at(k),
                share * k as f64,
                relative(1e-7),
                "{name}, sample {k}"
            );
        }
        if again.probe.name.is_some() {
            assert_eq!(again.probe.name, capture.probe.name, "{name}");
            assert_eq!(twice.probe.name.as_deref(), Some("corrected"), "{name}");
            assert_eq!(twice.probe.unit, capture.probe.unit, "{name}");
        }
    }
    let left = std::fs::read_dir(folder.path())
        .expect("the folder")
        .filter(|e| e.as_ref().is_ok_and(|e| e.path().extension().is_some_and(|x| x == "part")));
    assert_eq!(left.count(), 0);
}

#[test]
fn lines_stay_as_they_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let (from, to) = (folder.path().join("a.csv"), folder.path().join("b.csv"));
    let lines: Vec<String> = (0..20).map(|k| format!("{k}, 0.50")).collect();
    let text = format!("# Probe 07\r\ntime (us),CH1 (mV)\r\n{}\r\n\r\n", lines.join("\r\n"));
    std::fs::write(&from, &text).expect("written");
    let capture = read(&from, None);
    widen(&capture, &from, &to, &mut Twice { samples: capture.probe.stored(), asked: 0 }).expect("written");
    let got = std::fs::read_to_string(&to).expect("read");
    assert!(got.starts_with(
        "# Probe 07\r\ntime (us),CH1 (mV),corrected (mV),standard_uncertainty (mV)\r\n0, 0.50,1,0.000e0\r\n"
    ));
    assert!(got.ends_with("19, 0.50,1,1.900e1\r\n\r\n"), "{got}");
}

#[test]
fn the_capture_itself_and_wrong_names_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let from = folder.path().join("a.npy");
    std::fs::copy(valid().join("f4.npy"), &from).expect("copied");
    let capture = read(&from, None);
    let mut added = Twice { samples: capture.probe.stored(), asked: 0 };
    assert!(matches!(widen(&capture, &from, &from, &mut added), Err(WriteError::SameFile { .. })));
    let error = widen(&capture, &from, &folder.path().join("b.csv"), &mut added).expect_err("an array");
    assert!(error.to_string().ends_with("b.npy"), "{error}");
    let nowhere = folder.path().join("no/b.npy");
    let error = widen(&capture, &from, &nowhere, &mut added).expect_err("no folder");
    assert!(error.to_string().contains("cannot be written"), "{error}");
    assert_eq!(read(&from, None).points, 24);
}

/// What is no ordinary file is not replaced by one, and a link goes on leading to the same place.
#[cfg(unix)]
#[test]
fn what_stands_there_already_is_kept() {
    use std::os::unix::fs::symlink;
    let folder = tempfile::tempdir().expect("a folder");
    let place = |name: &str| folder.path().join(name);
    let from = place("a.npy");
    std::fs::copy(valid().join("f4.npy"), &from).expect("copied");
    let capture = read(&from, None);
    let twice = || Twice { samples: capture.probe.stored(), asked: 0 };
    let socket = place("b.npy");
    let _kept = std::os::unix::net::UnixListener::bind(&socket).expect("a socket");
    let error = widen(&capture, &from, &socket, &mut twice()).expect_err("no ordinary file");
    assert!(matches!(error, WriteError::NoFile { .. }), "{error}");
    std::fs::create_dir(place("c.npy")).expect("a folder");
    let error = widen(&capture, &from, &place("c.npy"), &mut twice()).expect_err("a folder");
    assert!(error.to_string().contains("no ordinary file"), "{error}");
    std::fs::write(place("old.npy"), "before").expect("written");
    symlink(place("old.npy"), place("link.npy")).expect("a link");
    widen(&capture, &from, &place("link.npy"), &mut twice()).expect("written");
    assert!(place("link.npy").is_symlink());
    assert_eq!(read(&place("old.npy"), Some(1)).points, 24);
    // The capture under another name is still the capture.
    symlink(&from, place("same.npy")).expect("a link");
    let error = widen(&capture, &from, &place("same.npy"), &mut twice()).expect_err("the capture");
    assert!(matches!(error, WriteError::SameFile { .. }), "{error}");
}

/// More than one block, so that both writers take turns.
#[test]
fn long_columns_arrive_in_order() {
    let folder = tempfile::tempdir().expect("a folder");
    let (from, to) = (folder.path().join("a.npy"), folder.path().join("b.npy"));
    const POINTS: usize = 700_001;
    // Up and down: a column that rises evenly would be time.
    let value = |k: usize| (k * 37 % 1009) as f32 / 7.0;
    let mut bytes = b"\x93NUMPY\x01\x00\x76\x00".to_vec();
    bytes.extend(
        format!("{:<117}\n", format!("{{'descr': '<f4', 'fortran_order': False, 'shape': ({POINTS},), }}"))
            .bytes(),
    );
    bytes.extend((0..POINTS).flat_map(|k| value(k).to_le_bytes()));
    std::fs::write(&from, bytes).expect("written");
    let capture = read(&from, None);
    widen(&capture, &from, &to, &mut Twice { samples: capture.probe.stored(), asked: 0 }).expect("written");
    let [old, twice, number] = [1, 2, 3].map(|c| read(&to, Some(c)));
    for k in (0..POINTS).step_by(997).chain([POINTS - 1]) {
        let value = value(k);
        assert_close!(old.probe.stored().at(k), f64::from(value), relative(0.0));
        assert_close!(twice.probe.stored().at(k), f64::from(2.0 * value), relative(0.0));
        assert_close!(number.probe.stored().at(k), k as f64, relative(0.0));
    }
}
