//! Dialogue files: the one that comes along, keys, faults, and what their conversations come to.

use std::collections::BTreeSet;

use super::*;
use crate::clock::Hand;
use crate::transport::{Loopback, Reply};
use crate::{Trouble, clock::SharedClock};
use flattop_close::{assert_close, relative};
use flattop_core::finding::Finding;
use flattop_plan::{Need, keys_markdown};
use proptest::prelude::*;
use std::sync::Arc;

/// Every key, with values that go together.
const FULL: &str = r#"
instrument = { name = "Bench A scope", ending = "carriage-return-line-feed" }
limits = { answer_time = "2 s", capture_time = 10, answer_bytes = 100, sample_bytes = 1000 }
identify = { ask = "WHO?", contains = "bench a" }
prepare = { send = "SETUP", errors = "FAULT?" }
arm = { send = ["GO"] }
wait = { ask = "THERE?", until = "YES", every = "100 ms" }
samples = { ask = "CODES?", coding = "block", code = "unsigned-16", byte_order = "least-significant-first", points = "head.1" }
volts = { code_offset = "head.5", step = "scale / 25", origin = "-head.2", probe_factor = 10 }
seconds = { interval = "head.3", start = "head.4" }
recover = { send = ["STOP"], synchronise = "ECHO? {number}" }
[[query]]
name = "head"
ask = "HEAD?"
when = "each-capture"
[[query]]
name = "scale"
ask = "SCALE?"
when = "once"
"#;

fn problems(text: &str) -> Vec<String> {
    Dialogue::parse("my.toml", text).unwrap_err().to_string().lines().map(str::to_owned).collect()
}

#[test]
fn the_one_that_comes_along_is_read() {
    let dialogue = Dialogue::scpi_1999().unwrap();
    assert_eq!(dialogue.samples.coding, Coding::Block(Code::Float32, Order::MostSignificantFirst));
    assert_eq!(dialogue.queries.len(), 2);
}

/// Only headers that SCPI-1999, volume 2, has (from memory), and common commands of IEEE 488.2.
#[test]
fn the_one_that_comes_along_has_standard_headers_only() {
    let standard = [
        "*CLS",
        "*ESE",
        "*IDN",
        "*OPC",
        "ABORt",
        "FETCh",
        "FORMat:BORDer",
        "FORMat:DATA",
        "INITiate",
        "SENSe:SWEep:POINts",
        "SENSe:SWEep:TINTerval",
        "SYSTem:ERRor",
    ];
    let dialogue = Dialogue::scpi_1999().unwrap();
    let mut messages = vec![dialogue.identify.clone(), dialogue.samples.ask.clone()];
    messages.extend(dialogue.prepare.iter().chain(&dialogue.arm).chain(&dialogue.after_fault).cloned());
    messages.extend(dialogue.errors.iter().chain(dialogue.wait.iter().map(|w| &w.ask)).cloned());
    messages.extend(dialogue.queries.iter().map(|query| query.ask.clone()));
    messages.extend(dialogue.synchronise.iter().map(|s| s.replace("{number}", "1")));
    let mut used = BTreeSet::new();
    for message in messages {
        for unit in flattop_scpi::message::program(message.as_bytes()).unwrap() {
            assert!(standard.contains(&unit.header.as_str()), "{}", unit.header);
            used.insert(unit.header);
        }
    }
    assert_eq!(used.len(), standard.len());
}

#[test]
fn keys_are_those_that_are_read() {
    let asked = read::asked(FULL);
    let listed: BTreeSet<&str> = KEYS.iter().map(|key| key.path).collect();
    assert_eq!(asked.keys().map(String::as_str).collect::<BTreeSet<_>>(), listed);
    for key in KEYS {
        assert_eq!(asked[key.path], key.kind, "{}", key.path);
        let toml = format!("x = {}", key.example);
        assert!(toml.parse::<toml_edit::DocumentMut>().is_ok(), "{}", key.path);
    }
}

#[test]
fn formats_document_holds_the_table_of_keys() {
    let document = include_str!("../../../../FORMATS.md");
    let table = keys_markdown(KEYS);
    assert!(document.contains(&table), "FORMATS.md should hold:\n{table}");
}

/// Requirements in the table are those of the reader.
#[test]
fn required_keys_are_missed() {
    let keys: BTreeSet<String> =
        Dialogue::parse("x", "").unwrap_err().problems.into_iter().map(|problem| problem.key).collect();
    let required: BTreeSet<String> = KEYS
        .iter()
        .filter(|key| key.need == Need::Required)
        .map(|key| {
            let (table, name) = key.table_and_name();
            format!("{table} {name}")
        })
        .collect();
    assert_eq!(keys, required);
}

#[test]
fn faults_point_at_line_column_and_key() {
    let change = |from: &str, to: &str| {
        assert!(FULL.contains(from), "{from}");
        problems(&FULL.replacen(from, to, 1))
    };
    assert_eq!(
        change("head.5", "haed.5"),
        [
            "my.toml, line 9, column 25: [volts] code_offset: expected the name of a [[query]], found \"haed\"; did you mean \"head\"?"
        ]
    );
    assert_eq!(
        change("byte_order", "byteorder"),
        [
            "my.toml, line 8, column 11: [samples] byte_order: expected one of \"most-significant-first\", \"least-significant-first\", found nothing",
            "my.toml, line 8, column 69: [samples] byteorder: expected a known key, found \"byteorder\"; did you mean \"byte_order\"?",
        ]
    );
    assert_eq!(
        change("unsigned-16", "unsigend-16"),
        [
            "my.toml, line 8, column 54: [samples] code: expected one of \"unsigned-8\", \"signed-8\", \"unsigned-16\", \"signed-16\", \"unsigned-32\", \"signed-32\", \"float-32\", \"float-64\", found \"unsigend-16\"; did you mean \"unsigned-16\"?"
        ]
    );
    assert_eq!(
        change("scale / 25", "scale / 0"),
        [
            "my.toml, line 9, column 42: [volts] step: expected a number with or without unit, an item of a query's answer such as \"preamble.3\", or a product such as \"scale / 25\", found \"scale / 0\"; nothing can be divided by 0"
        ]
    );
    assert_eq!(
        change("ECHO? {number}", "ECHO?"),
        [
            "my.toml, line 11, column 44: [recover] synchronise: expected a question with {number} in it, found \"ECHO?\"; the instrument must answer with that number: \"*ESE {number};*ESE?\""
        ]
    );
    assert_eq!(
        change("\"head.3\"", "\"0 s\""),
        ["my.toml, line 10, column 24: [seconds] interval: expected a time above zero, found 0 s"]
    );
    assert_eq!(
        change("\"GO\"", "\"GO\\n\""),
        [
            "my.toml, line 6, column 16: [arm] send: expected a message in one line of plain ASCII, found \"GO\\n\"; its end is sent by itself"
        ]
    );
    assert_eq!(
        change("name = \"scale\"", "name = \"head\""),
        [
            "my.toml, line 9, column 42: [volts] step: expected the name of a [[query]], found \"scale\"; the queries are head, head",
            "my.toml, line 17, column 8: [[query]] name (no. 2): expected a name that no other query has, found \"head\"",
        ]
    );
    assert_eq!(
        change("\"block\"", "\"list\"")[0],
        "my.toml, line 8, column 53: [samples] code: expected no code where coding is list, found one; take it out"
    );
}

#[test]
fn a_dry_run_tells_the_conversation() {
    let text = Dialogue::parse("x", FULL).unwrap().dry_run();
    let expected = r#"Dialogue: Bench A scope
Nothing has been sent.
Each message is sent with the ending \r\n.

After connecting:
  > WHO?
  < one line within 2s, at most 100 bytes: who it is, must contain "bench a"
  > SETUP
  > FAULT?
  < one line within 2s, at most 100 bytes: 0 for no error
  > SCALE?
  < one line within 2s, at most 100 bytes: "scale"

For each capture:
  > GO
  > THERE?
  < "YES" when the capture is there; else asked again every 100ms, for at most 10s
  > HEAD?
  < one line within 2s, at most 100 bytes: "head"
  > CODES?
  < a definite or indefinite block of unsigned codes of 16 bits, the least significant first, head.1 samples, within 2s, at most 1000 bytes

volts = (sample - head.5) * (scale / 25) + (-head.2)
these contain the probe's factor, 10
seconds = head.4 + number * head.3, numbers from 0

After a fault the link is cleared, or opened anew, then:
  > STOP
  > ECHO? 1
  < 1; what comes before it is late and left out
"#;
    assert_eq!(text, expected);
}

/// An instrument that answers from a list of pairs.
fn instrument(
    text: &str,
    answers: &'static [(&'static str, &'static [u8])],
) -> (Instrument<Loopback>, SharedClock) {
    let clock: SharedClock = Arc::new(Hand::new());
    let answer = move |message: &[u8]| {
        let question = std::str::from_utf8(message).unwrap().trim();
        let found = answers.iter().find(|(asked, _)| *asked == question);
        found.map(|(_, answer)| Reply::now(*answer)).into_iter().collect()
    };
    let dialogue = Dialogue::parse("x", text).unwrap();
    let loopback = Loopback::new(answer, Arc::clone(&clock));
    (Instrument::new(dialogue, loopback, Arc::clone(&clock)), clock)
}

const ANSWERS: [(&str, &[u8]); 6] = [
    ("WHO?", b"Harrow Lane Lift Works,Bench A scope,0,1\n"),
    ("FAULT?", b"0,\"no error\"\n"),
    ("SCALE?", b"5.0E-1\n"),
    ("THERE?", b"yes\n"),
    ("HEAD?", b"2,-1.5,1E-6,-4E-6,128,\"text, with comma\"\n"),
    ("CODES?", b"#14\x80\x00\x02\x01\n"),
];

/// Worked by hand: (128 − 128)·0.5/25 + 1.5 = 1.5 V and (258 − 128)·0.02 + 1.5 = 4.1 V.
#[test]
fn codes_become_volts_and_seconds() {
    let (mut instrument, clock) = instrument(FULL, &ANSWERS);
    let acquired = instrument.capture().unwrap();
    assert_close!(acquired.volts[0], 1.5, relative(1e-15));
    assert_close!(acquired.volts[1], 4.1, relative(1e-15));
    assert_eq!(acquired.volts.len(), 2);
    assert_close!(acquired.interval_s, 1e-6, relative(1e-15));
    assert_close!(acquired.start_s, -4e-6, relative(1e-15));
    let codes: Vec<&str> = acquired.findings.iter().map(|finding: &Finding| finding.code).collect();
    assert_eq!(codes, ["instrument-probe-factor"]);
    assert_eq!(instrument.identity(), "Harrow Lane Lift Works,Bench A scope,0,1");
    // All answers were at once there.
    assert_eq!(clock.now(), std::time::Duration::ZERO);
}

fn trouble(question: &str, answer: &'static [u8]) -> Trouble {
    let mut answers = ANSWERS;
    answers.iter_mut().find(|(asked, _)| *asked == question).unwrap().1 = answer;
    instrument(FULL, Box::leak(Box::new(answers))).0.capture().unwrap_err()
}

#[test]
fn answers_that_make_no_sense_are_named() {
    let words = |question: &str, answer| trouble(question, answer).to_string();
    assert_eq!(
        words("WHO?", b"Some other scope\n"),
        "loopback: \"WHO?\": expected an instrument that calls itself \"bench a\", found \"Some other scope\""
    );
    assert_eq!(
        words("FAULT?", b"-113,\"Undefined header\"\n"),
        "the instrument reports error -113 after \"SETUP\": Undefined header; check this command in its manual"
    );
    assert_eq!(
        words("HEAD?", b"2,-1.5,1E-6,-4E-6\n"),
        "\"HEAD?\": expected a number as item 5 of the answer, found 4 items"
    );
    assert_eq!(
        words("HEAD?", b"2,-1.5,9.91E37,0,128\n"),
        "\"HEAD?\": expected a number as item 3 of the answer, found no number, as SCPI writes it"
    );
    assert_eq!(
        words("HEAD?", b"2,-1.5,0,0,128\n"),
        "[seconds] interval: expected a time above zero, found 0"
    );
    assert_eq!(words("HEAD?", b"3,-1.5,1,0,128\n"), "\"CODES?\": expected 3 samples, found 2 samples");
    assert!(matches!(trouble("HEAD?", b"3,-1.5,1,0,128\n"), Trouble::WrongLength { .. }));
    assert_eq!(
        words("CODES?", b"#13abc\n"),
        "\"CODES?\": expected whole samples of 2 bytes each, found 3 bytes"
    );
    assert_eq!(
        words("THERE?", b"no\n"),
        "waiting for a capture (\"THERE?\"): no trigger?: no answer within 10s, only 0 bytes of it; check that the instrument can do this, or allow it more time"
    );
}

#[test]
fn lists_of_numbers() {
    let text = FULL
        .replace(
            "coding = \"block\", code = \"unsigned-16\", byte_order = \"least-significant-first\"",
            "coding = \"list\"",
        )
        .replace("scale / 25", "1");
    let mut answers = ANSWERS;
    answers[5].1 = b" +1.30E+2, 9.91E37\r\n";
    let (mut instrument, _) = instrument(&text, Box::leak(Box::new(answers)));
    let volts = instrument.capture().unwrap().volts;
    assert_close!(volts[0], 130.0 - 128.0 + 1.5, relative(1e-15));
    assert!(volts[1].is_nan());
}

proptest! {
    #[test]
    fn prop_no_text_panics(text: String) {
        let _ = Dialogue::parse("x", &text);
    }

    #[test]
    fn prop_no_change_panics(at in 0..FULL.len(), length in 0usize..12, new in "[ -~\n]{0,8}") {
        let end = (at + length).min(FULL.len());
        let text = [&FULL[..at], &new, &FULL[end..]].concat();
        if let Ok(dialogue) = Dialogue::parse("x", &text) {
            let _ = dialogue.dry_run();
        }
    }
}

/// The pieces of the guide, one after the other, are a dialogue; what it says of the dry run is so; its formulas are terms.
#[test]
fn the_guide_is_true() {
    let guide = include_str!("../../../../docs/dialogues.md");
    let mut text = String::from("[[query]]\nname = \"points\"\nask = \"P?\"\nwhen = \"once\"\n");
    for piece in guide.split("```toml\n").skip(1) {
        text += piece.split("```").next().unwrap();
    }
    Dialogue::parse("docs/dialogues.md", &text.replace('…', "Q?")).unwrap();
    let excerpt = guide.split("```\n").find(|part| part.starts_with("After connecting:")).unwrap();
    assert!(Dialogue::scpi_1999().unwrap().dry_run().contains(excerpt), "{excerpt}");
    let rows = guide.lines().skip_while(|line| !line.contains("| code_offset | step |")).skip(2);
    let mut terms = 0;
    for cell in rows.take_while(|line| line.starts_with('|')).flat_map(|line| line.split('|').skip(2)) {
        if let Some(text) = cell.trim().strip_prefix('`').and_then(|cell| cell.strip_suffix('`')) {
            Term::parse(text.trim_matches('"'), flattop_core::quantity::Unit::Ratio).unwrap();
            terms += 1;
        }
    }
    assert!(terms >= 8, "{terms}");
    Term::parse("1 / rate", flattop_core::quantity::Unit::Second).unwrap();
}
