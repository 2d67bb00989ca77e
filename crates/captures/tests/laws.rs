//! Laws of the readers: what is written comes back, whatever the dress; nothing in a file makes them panic.

use std::io::Write as _;
use std::sync::Mutex;

use flattop_captures::{Capture, Progress, ReadError, ReadOptions, open, read_bytes};
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;

/// How a text is dressed.
#[derive(Clone, Debug)]
struct Dress {
    separator: &'static str,
    decimal_comma: bool,
    quoted: bool,
    trailing: bool,
    end: &'static str,
    header: Header,
    style: Style,
    mark: &'static str,
    last_end: bool,
}

#[derive(Clone, Copy, Debug)]
enum Header {
    None,
    Names,
    Preamble,
    UnitRow,
}

#[derive(Clone, Copy, Debug)]
enum Style {
    Fixed,
    Exponent,
    CapitalPlus,
    Shortest,
}

fn dress() -> impl Strategy<Value = Dress> {
    let separator = prop::sample::select(vec![",", ";", "\t", " ", "   ", ", ", "\t ", " ; "]);
    let end = prop::sample::select(vec!["\n", "\r\n", "\r"]);
    let header = prop::sample::select(vec![Header::None, Header::Names, Header::Preamble, Header::UnitRow]);
    let style =
        prop::sample::select(vec![Style::Fixed, Style::Exponent, Style::CapitalPlus, Style::Shortest]);
    let mark = prop::sample::select(vec!["", "\u{feff}"]);
    (separator, any::<bool>(), any::<bool>(), any::<bool>(), end, header, style, mark, any::<bool>())
        .prop_map(|(separator, comma, quoted, trailing, end, header, style, mark, last_end)| Dress {
            separator,
            // A comma that separates cannot be the decimal mark, unless fields are quoted.
            decimal_comma: comma && (quoted || !separator.contains(',')),
            quoted,
            trailing: trailing && !separator.trim_matches(' ').is_empty(),
            end,
            header,
            style,
            mark,
            last_end,
        })
}

impl Dress {
    fn number(&self, value: f64) -> String {
        let text = match self.style {
            Style::Fixed => format!("{value:.9}"),
            Style::Exponent => format!("{value:.8e}"),
            Style::CapitalPlus => {
                let text = format!("{value:+.8E}");
                if text.contains("E-") { text } else { text.replace('E', "E+") }
            }
            Style::Shortest => format!("{value}"),
        };
        if self.decimal_comma { text.replace('.', ",") } else { text }
    }

    fn line(&self, fields: &[String]) -> String {
        let quote = |f: &String| if self.quoted { format!("\"{f}\"") } else { f.clone() };
        let mut line = fields.iter().map(quote).collect::<Vec<_>>().join(self.separator);
        if self.trailing {
            line.push_str(self.separator.trim_end_matches(' '));
        }
        line + self.end
    }

    /// The text, and the numbers as written.
    fn write(&self, times: &[f64], volts: &[f64]) -> (String, Vec<f64>) {
        let mut text = self.mark.to_owned();
        let words = |a: &str, b: &str| self.line(&[a.to_owned(), b.to_owned()]);
        match self.header {
            Header::None => {}
            Header::Names => text += &words("Time(s)", "CH1(V)"),
            Header::Preamble => {
                text += &format!("Bench A scope, 200 MHz{}Length{}24{}", self.end, self.separator, self.end);
                text += &words("Time(s)", "CH1(V)");
            }
            Header::UnitRow => text += &(words("Time", "CH1") + &words("s", "V")),
        }
        let mut written = Vec::new();
        for (t, v) in times.iter().zip(volts) {
            let fields = [self.number(*t), self.number(*v)];
            written.push(fields[1].replace(',', ".").parse().expect("a number was written"));
            text += &self.line(&fields);
        }
        if !self.last_end {
            text.truncate(text.len() - self.end.len());
        }
        (text, written)
    }
}

fn read(bytes: &[u8]) -> Result<Capture, ReadError> {
    read_bytes("law.csv", bytes, &ReadOptions::default())
}

fn utf16(text: &str, low_first: bool) -> Vec<u8> {
    let units = std::iter::once(0xfeff).chain(text.trim_start_matches('\u{feff}').encode_utf16());
    units.flat_map(|u| if low_first { u.to_le_bytes() } else { u.to_be_bytes() }).collect()
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).expect("memory does not fail");
    encoder.finish().expect("memory does not fail")
}

fn bits(capture: &Capture) -> Vec<u64> {
    capture.record().samples.to_vec().iter().map(|v| v.to_bits()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn prop_what_is_written_comes_back(
        dress in dress(),
        volts in prop::collection::vec(-20.0f64..20.0, 20..60),
        start in -1000i32..1000,
        interval in prop::sample::select(vec![1e-6, 2e-6, 4e-5, 1e-3, 2.5e-3]),
    ) {
        let times: Vec<f64> = (0..volts.len()).map(|k| f64::from(start + k as i32) * interval).collect();
        let (text, written) = dress.write(&times, &volts);
        let capture = read(text.as_bytes()).unwrap_or_else(|e| panic!("{e}\n{text}"));
        prop_assert_eq!(&bits(&capture), &written.iter().map(|v| v.to_bits()).collect::<Vec<_>>(), "{}", text);
        assert_close!(capture.interval_s, interval, relative(1e-9));
        assert_close!(capture.start_s, times[0], within(1e-9 * interval));
        prop_assert!(!capture.findings.iter().any(|f| f.code == "last-line-cut" || f.code == "time-rounded"));
        // The same text, encoded or packed, gives the same.
        for other in [utf16(&text, true), utf16(&text, false), gzip(text.as_bytes())] {
            let again = read(&other).unwrap_or_else(|e| panic!("{e}\n{text}"));
            prop_assert_eq!(bits(&again), bits(&capture));
            prop_assert_eq!(&again.findings, &capture.findings);
            assert_close!(again.interval_s, capture.interval_s, relative(1e-12));
        }
    }

    #[test]
    fn prop_random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..600), given in any::<bool>()) {
        let options = ReadOptions { interval_s: given.then_some(1e-6), ..ReadOptions::default() };
        let _ = read_bytes("random", &bytes, &options);
    }

    #[test]
    fn prop_random_number_like_text_never_panics(
        text in "[-+0-9.,;\teE \"\r\nNa#]{0,400}", given in any::<bool>(), column in prop::option::of(0usize..4),
    ) {
        let options = ReadOptions { interval_s: given.then_some(1e-6), column, reference: None };
        if let Err(error) = read_bytes("random", text.as_bytes(), &options) {
            prop_assert!(error.to_string().starts_with("random"), "{}", error);
        }
    }

    #[test]
    fn prop_mutations_of_valid_files_never_panic(
        file in 0usize..80, edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
        cut in prop::option::of(any::<prop::sample::Index>()), given in any::<bool>(),
    ) {
        let files = valid_files();
        let mut bytes = files[file % files.len()].clone();
        for (at, value) in edits {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        if let Some(at) = cut {
            bytes.truncate(at.index(bytes.len()));
        }
        let options = ReadOptions { interval_s: given.then_some(1e-6), ..ReadOptions::default() };
        if let Ok(capture) = read_bytes("mutated", &bytes, &options) {
            prop_assert!(capture.interval_s > 0.0 && capture.interval_s.is_finite());
            prop_assert_eq!(capture.record().samples.len(), capture.points);
            prop_assert_eq!(capture.sha256().len(), 64);
        }
    }

    /// A single broken line in a long file is found by its number.
    #[test]
    fn prop_the_broken_line_is_named(line in 20usize..5000, word in "[a-z]{1,8}") {
        prop_assume!(!["nan", "inf", "na", "ol", "ovl", "ovr", "null", "none", "invalid", "infinity", "overflow"].contains(&word.as_str()));
        let mut lines: Vec<String> = (0..5000).map(|k| format!("{:.6},{}", f64::from(k) * 1e-6, k % 7)).collect();
        lines[line - 1] = format!("{},{word}", lines[line - 1].split(',').next().unwrap_or_default());
        let error = read((lines.join("\n") + "\n").as_bytes()).expect_err("words are refused");
        let expected = format!("law.csv, line {line}: expected 2 numbers, found \"{word}\" in column 2;");
        prop_assert!(error.to_string().starts_with(&expected), "{}", error);
    }

    /// A gap anywhere is found, with its line and the number of missing samples.
    #[test]
    fn prop_the_gap_is_named(line in 2usize..3000, missing in 1usize..50) {
        let number = |k: usize| if k + 1 < line { k } else { k + missing };
        let text: String = (0..3000).map(|k| format!("{:.6},{}\n", number(k) as f64 * 1e-6, k % 7)).collect();
        let error = read(text.as_bytes()).expect_err("gaps are refused").to_string();
        prop_assert!(error.starts_with(&format!("law.csv, line {line}: ")), "{}", error);
        prop_assert!(error.contains(&format!(": {missing} sample")), "{}", error);
    }
}

fn valid_files() -> &'static [Vec<u8>] {
    static FILES: std::sync::OnceLock<Vec<Vec<u8>>> = std::sync::OnceLock::new();
    FILES.get_or_init(|| {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../testdata/captures/valid");
        let mut paths: Vec<_> =
            std::fs::read_dir(folder).expect("there").map(|e| e.expect("readable").path()).collect();
        paths.sort();
        #[allow(clippy::disallowed_methods)] // the test reads its own files
        paths.iter().map(|p| std::fs::read(p).expect("readable")).collect()
    })
}

/// Many blocks, with lines that need care in all of them: against the plainest reader, `str::parse` line by line.
#[test]
fn long_files_agree_with_a_plain_reader() {
    let mut text = String::from("Time (us),A (mV),B (V)\n");
    let mut state = 1u64;
    for k in 0..400_000 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let volts = (state >> 40) as f64 / 1e4 - 500.0;
        text += &match state >> 60 {
            0 => format!("{k}.0 , {volts:.3} ,1\r\n"),
            1 => format!("{k}.0,NaN,2\n"),
            2 => format!("\"{k}.0\",\"{volts:.4}\",3\n\n"),
            3 => format!("{k}e0,{volts:.17},4\n"),
            4 => format!("+{k}.00000,{volts:e},5\n"),
            _ => format!("{k}.0,{:.0},6\n", volts / 100.0),
        };
    }
    let expected: Vec<(f64, f64)> = text
        .lines()
        .skip(1)
        .filter(|l| !l.is_empty())
        .map(|l| {
            let fields: Vec<f64> =
                l.split(',').map(|f| f.trim().trim_matches('"').parse().expect("a number")).collect();
            (fields[1], fields[2])
        })
        .collect();
    let options = ReadOptions { column: Some(2), reference: Some(3), interval_s: None };
    let path = tempfile::NamedTempFile::new().expect("a temporary file");
    path.as_file().write_all(text.as_bytes()).expect("room for it");
    let seen = Mutex::new(Vec::new());
    let progress = |p: Progress| seen.lock().expect("no panic").push(p);
    let mapped = open(path.path(), &options, &progress).expect("valid");
    let packed = read_bytes("long.gz", &gzip(text.as_bytes()), &options).expect("valid");
    let wide = read_bytes("long", &utf16(&text, true), &options).expect("valid");
    for capture in [&mapped, &packed, &wide] {
        assert_eq!(capture.points, 400_000);
        assert_close!(capture.interval_s, 1e-6, within(0.0));
        let (a, b) = (capture.record().samples, capture.reference_record().expect("asked for").samples);
        assert!(expected.iter().enumerate().all(|(k, (x, y))| {
            let same =
                |got: f64, want: f64| got.to_bits() == want.to_bits() || (got.is_nan() && want.is_nan());
            // Stored in millivolts as written, given in volts.
            same(a.at(k), x * 1e-3) && same(b.at(k), *y)
        }));
        let codes: Vec<_> = capture.findings.iter().map(|f| f.code).collect();
        assert_eq!(codes, ["blank-lines", "missing-samples"]);
    }
    assert_eq!(mapped.findings, packed.findings);
    let seen = seen.into_inner().expect("no panic");
    assert!(seen.len() > 3 && seen.iter().all(|p| p.done_bytes <= p.total_bytes));
    assert_eq!(seen.last().map(|p| p.done_bytes), Some(text.len() as u64));
}

/// Six significant digits over a million samples: neighbours repeat, yet the interval is recovered.
#[test]
fn coarse_times_over_a_long_record() {
    let six_digits = |t: f64| format!("{t:.5e}");
    let text: String = (0..1_000_000)
        .map(|k| format!("{},{}\n", six_digits((f64::from(k) - 250_000.0) * 1.25e-9), k % 2))
        .collect();
    for bytes in [text.clone().into_bytes(), gzip(text.as_bytes())] {
        let capture = read(&bytes).expect("valid");
        assert!(capture.findings.iter().any(|f| f.code == "time-rounded"), "{:?}", capture.findings);
        assert_close!(capture.interval_s, 1.25e-9, relative(1e-6));
        assert_close!(capture.start_s, -250_000.0 * 1.25e-9, within(1e-9));
    }
    // A gap larger than the printed step is still found.
    let cut: String = text.lines().enumerate().filter(|(k, _)| !(600_000..600_100).contains(k)).fold(
        String::new(),
        |mut all, (_, l)| {
            all += l;
            all += "\n";
            all
        },
    );
    let error = read(cut.as_bytes()).expect_err("gap").to_string();
    assert!(error.contains("line 60000") || error.contains("line 600001"), "{error}");
}
