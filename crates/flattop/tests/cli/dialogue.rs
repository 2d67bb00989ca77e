//! `flattop dialogue`: files checked with line and key, tried on a socket, replayed from a transcript.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;

use super::bench::Bench;

/// A conversation with a digitizer after SCPI-1999, as the tests of the library wrote it down.
const TRANSCRIPT: &str = include_str!("../../../instruments/tests/live/scpi-1999.transcript");

fn with_template() -> (Bench, String) {
    let bench = Bench::new();
    let text = bench.run(&["dialogue", "template"]).stdout;
    bench.write("d.toml", &text);
    (bench, text)
}

#[test]
fn the_template_is_checked_and_its_conversation_printed() {
    let (bench, _) = with_template();
    let run = bench.run(&["dialogue", "check", "d.toml"]);
    assert_eq!(run.status, 0, "{run:?}");
    for part in ["Nothing has been sent", "  > *IDN?", "  > FETCh?", "seconds = "] {
        assert!(run.stdout.contains(part), "{part}: {}", run.stdout);
    }
}

#[test]
fn a_bad_file_is_refused_with_line_and_key() {
    let (bench, text) = with_template();
    let line = text.lines().position(|line| line.starts_with("answer_time")).unwrap() + 1;
    for (from, to, part) in [
        ("answer_time = \"5 s\"", "answer_tiem = \"5 s\"", "answer_tiem"),
        ("answer_time = \"5 s\"", "answer_time = \"5 V\"", "[limits] answer_time"),
    ] {
        bench.write("bad.toml", &text.replace(from, to));
        for args in [
            &["dialogue", "check", "bad.toml"][..],
            &["trim", "--connect", "tcp://127.0.0.1:9", "--dialogue", "bad.toml"],
        ] {
            let run = bench.run(args);
            assert_eq!(run.status, 1, "{run:?}");
            assert!(
                run.stderr.contains(part) && run.stderr.contains(&format!("bad.toml, line {line}, column ")),
                "{line}: {run:?}"
            );
            assert!(run.stdout.is_empty(), "{run:?}");
        }
    }
    let run = bench.run(&["dialogue", "check", "none.toml"]);
    assert!(run.status == 1 && run.stderr.contains("none.toml"), "{run:?}");
}

#[test]
fn a_transcript_tests_a_dialogue() {
    let (bench, text) = with_template();
    bench.write("t", TRANSCRIPT);
    let run = bench.run(&["dialogue", "replay", "d.toml", "t"]);
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.contains("Replayed: 2 captures"), "{}", run.stdout);
    bench.write("other.toml", &text.replace("\"FETCh?\"", "\"FETCH:RAW?\""));
    let run = bench.run(&["dialogue", "replay", "other.toml", "t"]);
    assert_eq!(run.status, 1, "{run:?}");
    assert!(run.stderr.contains("FETCh?") && run.stderr.contains("FETCH:RAW?"), "{run:?}");
    bench.write("t", "no transcript");
    let run = bench.run(&["dialogue", "replay", "d.toml", "t"]);
    assert!(run.status == 1 && run.stderr.contains("line 1"), "{run:?}");
}

#[test]
fn an_instrument_that_does_not_understand_is_quoted() {
    let (bench, text) = with_template();
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("tcp://{}", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut errors: Vec<&str> = Vec::new();
            let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
            while let Some(Ok(line)) = lines.next() {
                let answer = match line.as_str() {
                    "*IDN?" => "Harrow Lane Lift Works,Bench A scope,0,0",
                    "SYSTem:ERRor?" => errors.pop().unwrap_or("0,\"No error\""),
                    "*ESR?" => "32",
                    "*STB?" => "4",
                    "SENSe:SWEep:POINts?" => {
                        // Of what comes from here on the next connection knows nothing.
                        errors.push("-113,\"Undefined header\"");
                        "none"
                    }
                    "SENSe:SWEep:TINTerval?" => "1E-6",
                    "FETCh?" => "#14\0\0\0\0",
                    "*OPC?" => "1",
                    other if other.starts_with("*ESE ") => {
                        other.trim_start_matches("*ESE ").split(';').next().unwrap()
                    }
                    _ => continue,
                }
                .to_owned();
                if stream.write_all(format!("{answer}\n").as_bytes()).is_err() {
                    break;
                }
            }
        }
    });
    bench.write("d.toml", &text.replace("\"5 s\"", "\"2 s\""));
    let run = bench.run(&["dialogue", "try", "d.toml", &address, "--record", "said"]);
    assert_eq!(run.status, 1, "{run:?}");
    assert!(
        run.stderr.contains("SENSe:SWEep:POINts?") && run.stderr.contains("expected a number"),
        "{run:?}"
    );
    // IEEE 488.2, 11.5.1: bit 5 is a command error.
    assert!(run.stderr.contains("the instrument says: *ESR? 32: a message was not understood"), "{run:?}");
    // What was said is kept all the same, without the instrument's own name.
    let said = String::from_utf8(bench.read("said")).unwrap();
    assert!(said.starts_with("# flattop transcript 1") && said.contains("POINts?"), "{said}");
}
