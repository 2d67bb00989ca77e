//! Every small file in `testdata/captures`: what each valid one gives, and the whole text of each error.

use std::collections::BTreeSet;
use std::path::PathBuf;

use flattop_captures::{Capture, ReadError, ReadOptions, open, read_bytes};
use flattop_close::{assert_close, relative, within};

/// File, given interval, points, columns, probe's column, start, interval, first and last value, finding codes. The
/// figures follow from T(k) and V(k) in `testdata/captures/make.py`; times that are rounded or jittered come close.
type Valid = (&'static str, Option<f64>, usize, usize, usize, f64, f64, f64, f64, &'static [&'static str]);

#[rustfmt::skip]
const VALID: &[Valid] = &[
    ("text-beside-samples.csv", None, 24, 5, 5, -4e-6, 1e-6, -0.5, 0.523, &["text-beside-samples", "time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("setting-above-column.csv", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["preamble-skipped", "unit-assumed"]),
    ("blank-lines-at-end.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("blanks-decimal-comma.txt", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("blanks.txt", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("byte-order-mark.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("carriage-return-twice.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("comma-and-blank.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("comma.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("cr-only.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("crlf.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("current-unit.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["unit-unknown"]),
    ("double-spaced.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "blank-lines", "time-unit-assumed", "unit-assumed"]),
    ("empty-columns.csv", None, 24, 4, 4, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("f4.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.5230000019073486, &["unit-assumed"]),
    ("f8-big-end.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["unit-assumed"]),
    ("f8-columns-first.npy", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["second-axis-is-time", "time-column-by-numbers", "unit-assumed"]),
    ("f8-nan.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["missing-samples", "unit-assumed"]),
    ("f8-rows-fortran.npy", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "unit-assumed"]),
    ("f8-rows.npy", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "unit-assumed"]),
    ("f8-trailing.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["trailing-bytes", "unit-assumed"]),
    ("f8-version-2.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["unit-assumed"]),
    ("f8-version-3.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["unit-assumed"]),
    ("f8.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["unit-assumed"]),
    ("float-32.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.5, 0.5230000019073486, &["unit-assumed"]),
    ("float-64.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.5, 0.523, &["unit-assumed"]),
    ("gzip-npy.npy.gz", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &["unit-assumed"]),
    ("gzip-text.csv.gz", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("gzip-two-members.gz", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("header-brackets-semicolon.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("header-underscore.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("header-units.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("i2.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -10000.0, 10460.0, &["unit-assumed"]),
    ("i8-wide.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, 9007199254740992.0, 9007199254741016.0, &["integers-rounded", "unit-assumed"]),
    ("index-time-voltage-no-header.csv", None, 24, 3, 3, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "index-column", "time-unit-assumed", "unit-assumed"]),
    ("index-time-voltage.csv", None, 24, 3, 3, -4e-6, 1e-6, -0.5, 0.523, &["index-column"]),
    ("last-line-cut-in-time.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "last-line-cut", "unit-assumed"]),
    ("last-line-cut.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "last-line-cut", "unit-assumed"]),
    ("micro-greek-utf8.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("micro-latin1.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("micro-sign-utf8.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("missing-samples.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["missing-samples"]),
    ("no-line-end.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("one-column.csv", Some(1e-6), 24, 1, 1, 0.0, 1e-6, -0.5, 0.523, &[]),
    ("pcm-16-chunks.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.30517578125, 0.3192138671875, &["unit-assumed"]),
    ("pcm-16-cut.wav", None, 21, 1, 1, 0.0, 1.0 / 48e3, -0.30517578125, 0.3173828125, &["data-cut-short", "unit-assumed"]),
    ("pcm-16-stereo-extensible.wav", None, 24, 2, 1, 0.0, 1.0 / 48e3, -0.30517578125, 0.3192138671875, &["unit-assumed"]),
    ("pcm-16.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.30517578125, 0.3192138671875, &["unit-assumed"]),
    ("pcm-24.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.30517578125, 0.3192138671875, &["unit-assumed"]),
    ("pcm-32.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.30517578125, 0.3192138671875, &["unit-assumed"]),
    ("pcm-8.wav", None, 24, 1, 1, 0.0, 1.0 / 48e3, -0.3125, 0.3125, &["unit-assumed"]),
    ("preamble-comments.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["preamble-skipped"]),
    ("preamble.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["preamble-skipped", "preamble-numbers"]),
    ("quoted-decimal-comma.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("quoted.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("seventeen-digits.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("tab-and-blanks.txt", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("tab-decimal-comma.txt", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("tab.txt", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("three-columns.csv", None, 24, 3, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("time-jitter.csv", None, 24, 2, 2, -4.01e-6, 1.00087e-6, -0.5, 0.523, &["time-jitter"]),
    ("time-last.csv", None, 24, 2, 1, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("time-rounded.csv", None, 200, 2, 2, 5e-1, 1e-7, -0.5, 0.507, &["time-rounded"]),
    ("time-unit-unknown.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-unit-unknown"]),
    ("trailing-comma.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("trailing-semicolon-no-header.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("two-columns-no-time.csv", Some(1e-6), 24, 2, 1, 0.0, 1e-6, -0.5, 0.523, &[]),
    ("two-time-columns.csv", None, 24, 4, 2, -4e-6, 1e-6, -0.5, 0.523, &["extra-time-column"]),
    ("u1.npy", Some(1e-6), 24, 1, 1, 0.0, 1e-6, 100.0, 123.0, &["unit-assumed"]),
    ("unit-row-short.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("unit-row.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("utf16-be.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("utf16-le.csv", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &[]),
    ("whole-number-codes.csv", Some(1e-6), 24, 2, 1, 0.0, 1e-6, -10000.0, 10460.0, &["comma-may-be-decimal", "unit-assumed"]),
    ("zstd-text.csv.zst", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
    ("zstd-two-frames.zst", None, 24, 2, 2, -4e-6, 1e-6, -0.5, 0.523, &["time-column-by-numbers", "time-unit-assumed", "unit-assumed"]),
];

/// File, given interval, and the error's text behind the file's name.
#[rustfmt::skip]
const INVALID: &[(&str, Option<f64>, &str)] = &[
    ("utf16-no-mark.csv", None, ", byte 1: expected text in UTF-8, found text in UTF-16 without its byte order mark; save the text as UTF-8"),
    ("units-in-fields.csv", None, ", line 24: expected lines of numbers, found 24 lines of text only, the last \"0.0000190 s,0.523 V\"; export the samples as plain numbers, not settings, units or dates with them"),
    ("bad-header.npy", Some(1e-6), ", byte 60: expected '(', found '['; the file is damaged or of another kind; save the array again"),
    ("binary.dat", None, ", byte 0: expected numbers as text, an NPY file or a WAV file (also packed with gzip or zstd), found the byte 0x00, which does not belong in text; export the capture as comma-separated text"),
    ("blank-line-no-time.csv", Some(1e-6), ", line 17: expected a number, found a blank line inside the data; write NaN for a missing sample, or remove the line"),
    ("blank-only.csv", None, ", line 1: expected lines of numbers, found blank lines only; export the samples as plain numbers, not settings, units or dates with them"),
    ("complex.npy", Some(1e-6), ", byte 20: expected real numbers f4, f8, i1, u1, i2, u2, i4, u4, i8 or u8, found \"<c16\"; save the samples as an array of one of these types"),
    ("compressed.wav", None, ", byte 20: expected PCM of 8, 16, 24 or 32 bits or float of 32 or 64 bits, found format 2 with 16 bits; save it uncompressed as PCM or float"),
    ("control-byte-late.csv", None, ", byte 266: expected numbers as text, an NPY file or a WAV file (also packed with gzip or zstd), found the byte 0x00, which does not belong in text; export the capture as comma-separated text"),
    ("cut-in-header.npy", Some(1e-6), ", byte 60: expected a header of 118 bytes, found the end of the file; the file is damaged or of another kind; save the array again"),
    ("cut.npy", Some(1e-6), ", byte 312: expected 24 numbers of 8 bytes from byte 128 on, found the end of the file after 184 bytes of them; the file is cut short; save or copy it again"),
    ("decimal-comma-and-comma.csv", None, ", line 2: expected 2 numbers as the headings name, found 4 separated by commas, \"-0,0000040,-0,500\"; if the comma is the decimal mark, export with semicolon or tab as separator"),
    ("decimal-mark-changes.csv", None, ", line 16: expected 2 numbers with decimal point, found \"0,0000110\" in column 1; correct the number, or remove the text after the data"),
    ("empty.csv", None, ": the file is empty (0 bytes); export the capture again"),
    ("few-points.wav", None, ": expected at least 16 points, found 10; export a longer part of the record"),
    ("field-missing-early.csv", None, ", line 5: expected 2 numbers, found 1 in \"0.0000000\"; complete the line, or remove it and what follows"),
    ("field-missing.csv", None, ", line 16: expected 2 numbers, found 1 in \"0.0000110\"; complete the line, or remove it and what follows"),
    ("field-too-much.csv", None, ", line 16: expected 2 numbers, found 3 in \"0.0000110,0.5,0.6\"; remove what is too much; a decimal comma needs semicolon or tab as separator"),
    ("five-points.csv", None, ": expected at least 16 points, found 5; export a longer part of the record"),
    ("footer.csv", None, ", line 25: expected 2 numbers, found \"End of record\" in column 1; remove the text after the data or between the samples, or write NaN for a missing sample"),
    ("gzip-cut.gz", None, ", byte 303: expected more packed data, found the end of the file; the file is cut short or damaged; copy or export it again"),
    ("gzip-damaged.gz", None, ", byte 400: expected more packed data, found damaged packed data (corrupt gzip stream does not have a matching checksum); the file is cut short or damaged; copy or export it again"),
    ("gzip-empty.gz", None, ": the file is empty (0 bytes); export the capture again"),
    ("gzip-in-gzip.gz", None, ", byte 0: expected numbers as text, an NPY file or a WAV file (also packed with gzip or zstd), found a packed file within a packed file; export the capture as comma-separated text"),
    ("header-only.csv", None, ", line 1: expected lines of numbers, found one line of text only, \"Time (s),U (V)\"; export the samples as plain numbers, not settings, units or dates with them"),
    ("huge-shape.npy", Some(1e-6), ", byte 320: expected 4611686018427387904 × 3 numbers of 8 bytes from byte 128 on, found the end of the file after 192 bytes of them; the file is cut short; save or copy it again"),
    ("no-data.wav", None, ", byte 36: expected a chunk \"data\" with the samples, found the end of the file; the file is damaged; save it again"),
    ("no-interval-index.csv", None, ": no time between samples: of the 2 columns none is time, one only counts samples; pass it with --interval, for example --interval 1us"),
    ("no-interval-two-columns.csv", None, ": no time between samples: none of the 2 columns is named time or rises evenly; pass it with --interval, for example --interval 1us"),
    ("no-interval.csv", None, ": no time between samples: there is one column of values and no time column; pass it with --interval, for example --interval 1us"),
    ("no-interval.npy", None, ": no time between samples: an array of one column holds no time; pass it with --interval, for example --interval 1us"),
    ("no-rate.wav", None, ", byte 24: expected a sample rate, found 0; the file is damaged; save it again"),
    ("one-long-line.csv", None, ", line 1: expected one sample for each line, found 100 numbers on the only line; export samples below each other, not side by side"),
    ("three-axes.npy", Some(1e-6), ", byte 59: expected a shape of one or two axes, found 3 axes; save samples as an array of N values or of N rows and one column for each channel"),
    ("time-backwards.csv", None, ", line 16: expected time to rise from sample to sample, found -11 µs after 10 µs; export one record only, in the order it was taken; if column 1 is not time, pass --interval"),
    ("time-blank.csv", None, ", line 16: expected a time, found \"\" in the time column 1; remove the line, or pass --interval if samples are evenly spaced"),
    ("time-descending.csv", None, ", line 3: expected time to rise from sample to sample, found 18 µs after 19 µs; export one record only, in the order it was taken"),
    ("time-gap.csv", None, ", line 11: expected the next sample after 1 µs, found a step of 4 µs: 3 samples are missing before this one; export the record without gaps, or only the part before or after; if column 1 is not time, pass --interval"),
    ("time-gap.npy", None, ", sample 13: expected the next sample after 1 µs, found a step of 4 µs: 3 samples are missing before this one; export the record without gaps, or only the part before or after"),
    ("time-repeats.csv", None, ", line 17: expected time to rise from sample to sample, found the time of line 16 again (11 µs); remove the sample that is there twice, or export time with more digits; if column 1 is not time, pass --interval"),
    ("time-two-gaps.csv", None, ", line 22: expected the next sample after 1 µs, found a step of 2 µs: 1 sample is missing before this one (the first of 2 gaps); export the record without gaps, or only the part before or after"),
    ("time-uneven.csv", None, ", line 3: expected evenly spaced samples, every 23 µs, found times that are up to 84 µs away from even spacing; export the record as sampled, not as compressed or interpolated points"),
    ("two-records.csv", None, ", line 26: expected time to rise from sample to sample, found -4 µs after 19 µs; export one record only, in the order it was taken"),
    ("version-9.npy", Some(1e-6), ", byte 6: expected NPY version 1.0, 2.0 or 3.0, found 9.0; save the array in one of these versions"),
    ("words-early.csv", None, ", line 6: expected 2 numbers, found \"trigger\" in column 1; remove the text after the data or between the samples, or write NaN for a missing sample"),
    ("words-in-data.csv", None, ", line 17: expected 2 numbers, found \"abc\" in column 2; remove the text after the data or between the samples, or write NaN for a missing sample"),
    ("words-in-time.csv", None, ", line 16: expected 2 numbers, found \"abc\" in column 1; remove the text after the data or between the samples, or write NaN for a missing sample"),
    ("words-only.txt", None, ", line 2: expected lines of numbers, found 2 lines of text only, the last \"and no capture\"; export the samples as plain numbers, not settings, units or dates with them"),
    ("zip.zip", None, ", byte 0: expected numbers as text, an NPY file or a WAV file (also packed with gzip or zstd), found a ZIP archive or a spreadsheet; export the capture as comma-separated text"),
    ("zstd-cut.zst", None, ", byte 0: expected more packed data, found damaged packed data (Failed to parse block header: Error while reading bytes for Raw: failed to fill whole buffer); the file is cut short or damaged; copy or export it again"),
];

fn folder(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../testdata/captures").join(name)
}

/// Reads a file from its folder and from memory; both must give the same.
fn read(folder_name: &str, file: &str, interval_s: Option<f64>) -> Result<Capture, ReadError> {
    let path = folder(folder_name).join(file);
    let options = ReadOptions { interval_s, ..ReadOptions::default() };
    let opened = open(&path, &options, &|_| {});
    #[allow(clippy::disallowed_methods)] // the test reads its own file
    let bytes = std::fs::read(&path).expect("the file is in the repository");
    match (&opened, &read_bytes(file, &bytes, &options)) {
        (Ok(a), Ok(b)) => {
            assert_eq!(a.sha256(), b.sha256(), "{file}");
            assert_eq!(a.findings, b.findings, "{file}");
            let bits =
                |c: &Capture| c.record().samples.to_vec().iter().map(|v| v.to_bits()).collect::<Vec<_>>();
            assert_eq!(bits(a), bits(b), "{file}");
        }
        (a, b) => assert_eq!(a.as_ref().err(), b.as_ref().err(), "{file}"),
    }
    opened
}

/// The table and the folder hold the same names.
fn check_names<'a>(folder_name: &str, table: impl Iterator<Item = &'a str>) {
    let names: BTreeSet<String> = table.map(str::to_owned).collect();
    let there: BTreeSet<String> = std::fs::read_dir(folder(folder_name))
        .expect("the folder is in the repository")
        .map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names, there);
}

#[test]
fn valid_files_give_what_they_hold() {
    check_names("valid", VALID.iter().map(|v| v.0));
    for &(file, given, points, columns, probe, start_s, interval_s, first, last, codes) in VALID {
        let capture = read("valid", file, given).unwrap_or_else(|e| panic!("{e}"));
        let found: Vec<&str> = capture.findings.iter().map(|f| f.code).collect();
        assert_eq!(found, codes, "{file}");
        assert_eq!(
            (capture.points, capture.columns, capture.probe.number),
            (points, columns, probe),
            "{file}"
        );
        let view = capture.probe.view();
        assert_eq!(view.len(), points, "{file}");
        let about = |x: f64| if file.contains("jitter") { relative(2e-3) } else { within(1e-15 * x.abs()) };
        assert_close!(capture.interval_s, interval_s, about(interval_s));
        assert_close!(capture.start_s, start_s, within(1e-12));
        let single = if file.contains("f4") || file.contains("float-32") { 1e-7 } else { 1e-15 };
        assert_close!(view.at(0), first, relative(single));
        assert_close!(view.at(points - 1), last, relative(single));
    }
}

#[test]
fn invalid_files_say_where_and_what_to_do() {
    check_names("invalid", INVALID.iter().map(|v| v.0));
    for &(file, given, text) in INVALID {
        match read("invalid", file, given) {
            Ok(capture) => panic!("{file} was read: {capture:?}"),
            Err(error) => assert_eq!(error.to_string(), format!("{file}{text}")),
        }
    }
}

/// Missing values are those six, and the message says how many and where.
#[test]
fn missing_samples_become_nan() {
    let capture = read("valid", "missing-samples.csv", None).expect("valid");
    let volts = capture.record().samples.to_vec();
    let missing: Vec<usize> = (0..volts.len()).filter(|k| volts[*k].is_nan()).collect();
    assert_eq!(missing, [3, 4, 5, 9, 10, 11]);
    let message = "6 samples of column 2 are missing (blank, not a number or over range), first on line 5";
    assert_eq!(capture.findings[0].message, message);
    assert_close!(volts[12], -0.488, within(0.0));
}

fn with(column: Option<usize>, reference: Option<usize>, interval_s: Option<f64>) -> ReadOptions {
    ReadOptions { column, reference, interval_s }
}

#[test]
fn columns_are_chosen_by_number() {
    let path = folder("valid").join("three-columns.csv");
    let capture = open(&path, &with(Some(3), Some(2), None), &|_| {}).expect("both columns are there");
    assert_eq!(capture.probe.name.as_deref(), Some("CH2"));
    assert_close!(capture.record().samples.at(23), 2.0 * 0.523, within(1e-15));
    let reference = capture.reference_record().expect("asked for");
    assert_close!(reference.samples.at(23), 0.523, within(1e-15));
    // With the reference in the first column of values, the probe is the next one.
    let capture = open(&path, &with(None, Some(2), None), &|_| {}).expect("one column is left");
    assert_eq!(capture.probe.number, 3);
}

#[test]
fn wrong_columns_are_refused_with_a_list() {
    let listing = "the columns are 1 \"Time\" (time), 2 \"CH1\", 3 \"CH2\"";
    for (options, text) in [
        (with(Some(4), None, None), "--column 4: the file has columns 1 to 3"),
        (with(Some(0), None, None), "--column 0: the file has columns 1 to 3"),
        (with(Some(1), None, None), "--column 1: this is a time column, not a voltage"),
        (with(None, Some(1), None), "--reference 1: this is a time column, not a voltage"),
        (with(Some(2), Some(2), None), "--reference 2: the reference is the probe's own column"),
    ] {
        let error = open(&folder("valid").join("three-columns.csv"), &options, &|_| {}).expect_err("refused");
        assert_eq!(error.to_string(), format!("three-columns.csv: {text}; {listing}"));
    }
    let index = open(&folder("valid").join("index-time-voltage.csv"), &with(Some(1), None, None), &|_| {});
    let text = index.expect_err("refused").to_string();
    assert!(text.contains("this column counts samples"), "{text}");
    for bad in [0.0, -1e-6, f64::NAN, f64::INFINITY] {
        let error = open(&folder("valid").join("comma.csv"), &with(None, None, Some(bad)), &|_| {});
        assert!(error.expect_err("refused").to_string().contains("--interval: expected a time above zero"));
    }
}

#[test]
fn given_interval_wins_with_a_finding() {
    for (file, code, probe) in [
        ("header-units.csv", "interval-overrides-time", 2),
        ("pcm-16.wav", "interval-overrides-time", 1),
        ("comma.csv", "interval-overrides-time", 2),
        ("f8-rows.npy", "interval-overrides-time", 2),
    ] {
        let options = with(None, None, Some(2e-6));
        let capture = open(&folder("valid").join(file), &options, &|_| {}).expect("valid");
        assert_close!(capture.interval_s, 2e-6, within(0.0));
        assert_close!(capture.start_s, 0.0, within(0.0));
        assert!(capture.findings.iter().any(|f| f.code == code), "{file}: {:?}", capture.findings);
        assert_eq!(capture.probe.number, probe, "{file}");
    }
}

#[test]
fn a_file_that_is_not_there() {
    let error =
        open(&folder("valid").join("none.csv"), &ReadOptions::default(), &|_| {}).expect_err("not there");
    assert!(matches!(error, ReadError::Open { .. }), "{error}");
    let error = open(&folder("valid"), &ReadOptions::default(), &|_| {}).expect_err("a folder");
    assert!(error.to_string().contains("it is a folder"), "{error}");
}

fn error_of(name: &str, text: &str) -> String {
    read_bytes(name, text.as_bytes(), &ReadOptions::default()).expect_err("a fault").to_string()
}

#[test]
fn fields_that_are_no_numbers_are_named() {
    let lines = |form: &dyn Fn(u32) -> String| (0..40).map(form).collect::<String>();
    let piped = lines(&|k| format!("{k}e-6|0.{k}\n"));
    assert_eq!(
        error_of("piped.txt", &format!("time|ch1\n{piped}")),
        "piped.txt, line 41: expected lines of numbers, found fields separated by \"|\", \"39e-6|0.39\"; export \
         with comma, semicolon or tab between the numbers"
    );
    for (form, clock) in [
        ("14:03:27.0{k}, 0.{k}\n", "14:03:27.039"),
        ("2026-03-02T14:03:{k};0.5\n", "14:03:39"),
        ("2026-03-02 9:05:{k}\t0.5\n", "9:05:39"),
    ] {
        let text = lines(&|k| form.replace("{k}", &format!("{k:02}")));
        let error = error_of("clock.csv", &text);
        let found =
            format!("line 40: expected lines of numbers, found the clock time \"{clock}\"; export time");
        assert!(error.contains(&found) && error.contains("--interval"), "{error}");
    }
}

#[test]
fn a_line_written_twice_is_named_even_where_times_are_coarse() {
    let mut rows: Vec<String> = (0..2000).map(|k| format!("{:.6},{}", f64::from(k) * 1e-6, k % 7)).collect();
    rows.insert(901, rows[900].clone());
    let text = format!("Time (s),U (V)\n{}\n", rows.join("\n"));
    assert_eq!(
        error_of("twice.csv", &text),
        "twice.csv, line 903: expected time to rise from sample to sample, found the time of line 902 again \
         (900 µs); remove the sample that is there twice, or export time with more digits"
    );
    // The unit of the column counts.
    let in_ms = text.replace("Time (s)", "Time (ms)");
    assert!(
        error_of("twice.csv", &in_ms).contains("line 902 again (900 ns)"),
        "{}",
        error_of("twice.csv", &in_ms)
    );
}

#[test]
fn a_column_without_numbers_is_passed_over_with_a_warning() {
    let rows = |second: &str| -> String { (0..40).map(|k| format!("{k}e-6,{second},0.{k}\n")).collect() };
    let named = format!("Time (s),ch1 (V),ch2 (V)\n{}", rows("NaN"));
    let capture = read_bytes("ch1-off.csv", named.as_bytes(), &ReadOptions::default()).expect("readable");
    assert_eq!((capture.probe.number, capture.findings.len()), (3, 1), "{:?}", capture.findings);
    let finding = &capture.findings[0];
    assert_eq!(finding.code, "column-empty");
    assert_eq!(finding.message, "column 2 \"ch1\" holds no numbers in the first 40 lines; column 3 is used");
    // A name is enough, and so is a written NaN; asking for the column is an answer in itself.
    let codes = |text: &str, column: Option<usize>| {
        let options = ReadOptions { column, ..ReadOptions::default() };
        let capture = read_bytes("a.csv", text.as_bytes(), &options).expect("readable");
        capture.findings.iter().filter(|f| f.code == "column-empty").count()
    };
    assert_eq!(codes(&format!("Time (s),ch1 (V),ch2 (V)\n{}", rows("")), None), 1);
    assert_eq!(codes(&rows("NaN"), None), 1);
    assert_eq!(codes(&rows(""), None), 0);
    assert_eq!(codes(&named, Some(3)), 0);
}
