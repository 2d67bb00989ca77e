//! A bench as text, digests and times beside the standards and beside Python's own readers.

use std::collections::BTreeMap;
use std::path::Path;

use flattop_core::bench::Moment;
use flattop_register::{
    Act, Digest, OpenMode, Register, Retired, ground_fields, input_fields, oscilloscope_fields, probe_fields,
    time,
};

use super::{Row, Tag, rows_of};

const BENCH: &str = include_str!("../../../testdata/register/bench.toml");
const VALUES: &str = include_str!("../../../testdata/register/values.csv");
const LISTS: [&str; 2] = [
    include_str!("../../../testdata/register/probes.csv"),
    include_str!("../../../testdata/register/inputs.csv"),
];

/// FIPS 180-4 example values, first and last 32 bits of each digest.
const DIGESTS: [(&str, u32, u32); 3] = [
    ("abc", 0xba78_16bf, 0xf200_15ad),
    ("448 bits", 0x248d_6a61, 0x19db_06c1),
    ("a million letters a", 0xcdc7_6e5c, 0xc711_2cd0),
];

/// RFC 3339, section 5.8: text, and milliseconds since 1970 counted by the calendar.
const TIMES: [(&str, f64); 3] = [
    ("1985-04-12T23:20:50.52Z", 482_196_050_520.0),
    ("1996-12-19T16:39:57-08:00", 851_042_397_000.0),
    ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130.0),
];

pub(super) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    for (name, first, last) in DIGESTS {
        let digest = Digest::of(&message(name)).0;
        let word = |at: usize| {
            f64::from(u32::from_be_bytes([digest[at], digest[at + 1], digest[at + 2], digest[at + 3]]))
        };
        let what = |part: &str| format!("SHA-256 of {name}, {part} 32 bits as a number");
        let id = format!("K-SHA-{}", name.replace(' ', "-"));
        rows.extend(rows_of(
            "FIPS 180-4, example values of NIST",
            Tag::Published,
            &[
                (&format!("{id}-first"), &what("first"), f64::from(first), word(0), 0.5, "1"),
                (&format!("{id}-last"), &what("last"), f64::from(last), word(28), 0.5, "1"),
            ],
        ));
    }
    for (text, expected) in TIMES {
        let got = time::read(text).map_or(f64::NAN, |at| at.unix_ms as f64);
        let list = [(
            &*format!("K-TIME-{}", &text[..4]),
            &*format!("{text} as milliseconds since 1970"),
            expected,
            got,
            0.5,
            "ms",
        )];
        rows.extend(rows_of("RFC 3339 (a profile of ISO 8601), section 5.8", Tag::Derived, &list));
    }
    rows.extend(beside_python());
    rows
}

fn message(name: &str) -> Vec<u8> {
    match name {
        "abc" => b"abc".to_vec(),
        "448 bits" => b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq".to_vec(),
        _ => vec![b'a'; 1_000_000],
    }
}

/// How many values of each kind Python reads, and how many of them are what the register holds.
fn beside_python() -> Vec<Row> {
    let ours = ours().unwrap_or_default();
    let mut counts: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    let mut reader = csv::Reader::from_reader(VALUES.as_bytes());
    for line in reader.records().flatten() {
        let [kind, place, value] = [0, 1, 2].map(|at| line.get(at).unwrap_or_default().to_owned());
        let (all, same) = counts.entry(kind.clone()).or_default();
        *all += 1.0;
        if ours.get(&(kind, place)) == Some(&value) {
            *same += 1.0;
        }
    }
    let source = |kind: &str| match kind {
        "toml" => "Python 3, `tomllib` (TOML 1.0), `reference/register_text.py`",
        "sha256" => "Python 3, `hashlib`, `reference/register_text.py`",
        "unix_ms" => "Python 3, `datetime`, `reference/register_text.py`",
        _ => "Python 3, `csv` in its strict mode (RFC 4180), `reference/register_text.py`",
    };
    counts
        .iter()
        .flat_map(|(kind, &(all, same))| {
            let (id, what) = (format!("K-PY-{kind}"), format!("{kind}: values read by Python that are ours"));
            rows_of(source(kind), Tag::Published, &[(&id, &what, all, same, 0.5, "values")])
        })
        .collect()
}

/// What the register holds, by kind and place.
fn ours() -> Option<BTreeMap<(String, String), String>> {
    // In memory: nothing is left behind.
    let mut register = Register::open(Path::new(":memory:"), OpenMode::Create).ok()?;
    let at = Moment { unix_ms: 0, offset_minutes: 0 };
    let act = Act { at, by: None, program: "xtask".into(), note: None };
    register.import_toml(BENCH, &act).ok()?;
    let mut held = BTreeMap::new();
    let mut hold = |kind: &str, place: String, value: String| held.insert((kind.to_owned(), place), value);
    hold("toml", "format".into(), "flattop-bench-1".into());
    let mut each = |place: &str, id: (&str, &str), fields: Vec<(&'static str, String)>, retired: bool| {
        hold("toml", format!("{place}.{}", id.0), id.1.to_owned());
        for (key, value) in fields {
            hold("toml", format!("{place}.{key}"), value);
        }
        if retired {
            hold("toml", format!("{place}.retired"), "true".into());
        }
    };
    for (i, scope) in register.oscilloscopes(Retired::Shown).ok()?.iter().enumerate() {
        let place = format!("oscilloscope.{i}");
        each(&place, ("id", scope.id.as_str()), oscilloscope_fields(scope), scope.retired);
        for (k, input) in scope.inputs.iter().enumerate() {
            each(
                &format!("{place}.input.{k}"),
                ("name", input.name.as_str()),
                input_fields(input),
                input.retired,
            );
        }
    }
    for (i, probe) in register.probes(Retired::Shown).ok()?.iter().enumerate() {
        let place = format!("probe.{i}");
        each(&place, ("id", probe.id.as_str()), probe_fields(probe), probe.retired);
        for (k, ground) in probe.ground_accessories.iter().enumerate() {
            each(
                &format!("{place}.ground.{k}"),
                ("name", ground.name.as_str()),
                ground_fields(ground),
                false,
            );
        }
    }
    for (i, pairing) in register.pairings(flattop_register::Voids::Shown).ok()?.iter().enumerate() {
        let place = |key: &str| format!("pairing.{i}.{key}");
        hold("toml", place("number"), pairing.number.to_string());
        hold("toml", place("probe"), pairing.probe.to_string());
        hold("toml", place("input"), pairing.input.to_string());
        hold("toml", place("made_at"), time::local(pairing.made_at));
        if let Some(by) = &pairing.made_by {
            hold("toml", place("made_by"), by.clone());
        }
        if let Some(tolerance) = pairing.tolerance {
            hold("toml", place("tolerance"), format!("{} %", (1e6 * tolerance).round() / 1e4));
        }
        if let Some(days) = pairing.recheck_interval_days {
            hold("toml", place("recheck_interval"), format!("{days} days"));
        }
        if let Some(end) = &pairing.voided {
            hold("toml", place("voided_at"), time::local(end.at));
            hold("toml", place("voided_why"), end.why.clone());
        }
    }
    // The lists read back by our own reader and written again.
    for (kind, list) in ["probes.csv", "inputs.csv"].into_iter().zip(LISTS) {
        let mut copy = Register::open(Path::new(":memory:"), OpenMode::Create).ok()?;
        copy.import_csv(list, &act).ok()?;
        let written = if kind == "probes.csv" {
            copy.probes_csv(Retired::Shown)
        } else {
            copy.inputs_csv(Retired::Shown)
        };
        let written = written.ok()?;
        let mut reader = csv::Reader::from_reader(written.as_bytes());
        let head = reader.headers().ok()?.clone();
        for (index, line) in reader.records().flatten().enumerate() {
            for (key, value) in head.iter().zip(&line) {
                hold(kind, format!("{index}.{key}"), value.to_owned());
            }
        }
    }
    for (name, ..) in DIGESTS {
        hold("sha256", name.to_owned(), Digest::of(&message(name)).to_string());
    }
    for (text, _) in TIMES {
        let at = time::read(text).ok()?;
        hold("unix_ms", text.to_owned(), at.unix_ms.to_string());
    }
    Some(held)
}
