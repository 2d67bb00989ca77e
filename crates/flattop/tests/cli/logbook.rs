//! `assess --log` and `flattop log`: from captures to entries, and what can be asked of them, through the real program.

use std::process::Stdio;

use flattop_close::{assert_close, relative};

use super::bench::{Bench, number};
use super::register::{done, furnished};
use super::signals::{Signal, sine_csv};

/// A capture that is off by `error`, with noise of its own.
fn capture(error: f64, seed: u64) -> String {
    // C1 = (1+e)·g0·(C1+C2).
    let total_f = 120e-12;
    let tip_f = 0.1 * (1.0 + error) * total_f;
    Signal { seed, points: 8_000, interval_s: 5e-7, ..Signal::with(tip_f, total_f - tip_f) }.csv()
}

/// A bench on which probe 07 was found off, adjusted, and looked at again.
fn with_history() -> Bench {
    let bench = furnished();
    done(
        &bench,
        "pair probe-07 bench-a/ch1|--tolerance|1%|--interval|90 days|--at|2026-01-10T08:00:00+01:00",
    );
    bench.write("before.csv", &capture(-0.05, 3));
    bench.write("after.csv", &capture(0.001, 4));
    for (file, stage, status) in [("before.csv", "before", 3), ("after.csv", "after", 0)] {
        let minute = if stage == "before" { "00" } else { "20" };
        let at = format!("2026-01-10T09:{minute}:00+01:00");
        let json = bench.json(
            &[
                "assess",
                file,
                "--probe",
                "probe-07",
                "--log",
                "--stage",
                stage,
                "--at",
                &at,
                "--by",
                "bench technician",
                "--temperature",
                "23",
                "--bench",
                "b",
            ],
            status,
        );
        assert_eq!(json["pairing"]["input"], "bench-a/ch1");
        assert!(json["pairing"]["logged_as"]["entry"].as_i64().is_some(), "{json:#}");
    }
    bench
}

fn log(bench: &Bench, args: &[&str]) -> super::bench::Run {
    let args: Vec<&str> = ["log"].iter().chain(args).copied().chain(["--bench", "b"]).collect();
    bench.run(&args)
}

#[test]
fn the_bench_gives_the_resistors_and_the_tolerance() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1|--tolerance|7%");
    done(&bench, "edit bench-a/ch1|resistance=1.1M ± 3%");
    bench.write("c.csv", &capture(-0.05, 3));
    let json = bench.json(&["assess", "c.csv", "--probe", "probe-07", "--bench", "b"], 0);
    assert_close!(number(&json, "/tolerance"), 0.07, relative(1e-12));
    assert_close!(number(&json, "/assumptions/shunt_resistance_ohm"), 1.1e6, relative(1e-12));
    assert!((number(&json, "/assumptions/tip_resistance_ohm") - 9.9e6).abs() < 1.0);
    assert!((number(&json, "/assumptions/resistor_tolerance") - 0.03).abs() < 1e-12);
    assert!(json["pairing"]["logged_as"].is_null());
    // What is typed goes before it; without a pairing nothing can be logged.
    let json =
        bench.json(&["assess", "c.csv", "--probe", "probe-07", "--tolerance", "2%", "--bench", "b"], 3);
    assert_close!(number(&json, "/tolerance"), 0.02, relative(1e-12));
    let run = bench.run(&[
        "assess",
        "c.csv",
        "--probe",
        "probe-07",
        "--input",
        "bench-a/ch2",
        "--log",
        "--bench",
        "b",
    ]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("flattop bench move probe-07 bench-a/ch2"), "{run:?}");
    let run = bench.run(&["assess", "c.csv", "--probe", "probe-11", "--bench", "b"]);
    assert!(run.status == 1 && run.stderr.contains("name one with --input"), "{run:?}");
}

#[test]
fn entries_are_listed_filtered_and_shown() {
    let bench = with_history();
    let list = log(&bench, &[]).stdout;
    assert!(list.contains("before: e -5.") && list.contains("after: e +0.1"), "{list}");
    assert!(list.lines().all(|line| line.chars().count() <= 80), "{list}");
    let verdicts = bench.json(&["log", "--verdict", "undercompensated", "--bench", "b"], 0);
    assert_eq!(verdicts.as_array().map(Vec::len), Some(1));
    assert_eq!(verdicts[0]["assessment"]["stage"], "before-adjustment");
    assert_close!(number(&verdicts, "/0/assessment/temperature_c"), 23.0, relative(1e-12));
    let early = bench
        .json(&["log", "--until", "2026-01-10T08:30:00+01:00", "--kind", "pairing-made", "--bench", "b"], 0);
    assert_eq!(early.as_array().map(Vec::len), Some(1));
    let last = bench.json(&["log", "--last", "1", "--bench", "b"], 0);
    assert_eq!((last[0]["seq"].as_i64(), last[0]["by"].as_str()), (Some(3), Some("bench technician")));
    let whole = bench.json(&["log", "show", "2", "--bench", "b"], 0);
    assert_eq!(whole["settings"]["file"], "before.csv");
    assert_eq!(whole["result"]["verdict"], "undercompensated");
    assert_close!(
        number(&whole, "/result/compensation_error/value"),
        number(&whole, "/assessment/compensation_error/value"),
        relative(1e-12)
    );
    // CSV as RFC 4180 has it: CRLF, as many cells in each line, quotes doubled. Read by the csv crate.
    log(&bench, &["note", "said \"fine\", twice", "--about", "probe-07"]);
    let text = log(&bench, &["--csv"]).stdout;
    assert!(text.ends_with("\r\n"));
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.len(), 4);
    assert!(rows[3].iter().any(|cell| cell == "said \"fine\", twice"));
    let run = log(&bench, &["--kind", "assessments"]);
    assert!(run.status == 2 && run.stderr.contains("pairing-made"), "{run:?}");
}

#[test]
fn states_follow_the_logbook() {
    let bench = with_history();
    // Ninety days after 2026-01-10 it is due; the day before it is not.
    let due = |day: &str, status| bench.json(&["log", "due", "--on", day, "--bench", "b"], status);
    assert_eq!(due("2026-04-09", 0).as_array().map(Vec::len), Some(0));
    assert_eq!(due("2026-04-12", 3)[0]["state"], "due");
    // A turn of the trimmer asks for a check.
    assert_eq!(log(&bench, &["adjusted", "probe-07", "--at", "2026-01-11T09:00:00+01:00"]).status, 0);
    let turned = due("2026-01-12", 3);
    assert_eq!(
        (turned[0]["state"].as_str(), turned[0]["adjusted_since"].as_bool()),
        (Some("due"), Some(true))
    );
    // The good check withdrawn, the bad one counts.
    assert_eq!(log(&bench, &["correct", "3", "captured on the wrong input", "--withdraw"]).status, 0);
    assert_eq!(due("2026-01-12", 3)[0]["state"], "out-of-tolerance");
    let run = log(&bench, &["correct", "99", "no"]);
    assert!(run.status == 1 && run.stderr.contains("no entry \"99\""), "{run:?}");
}

#[test]
fn trends_are_told_and_drawn() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1|--tolerance|1%|--at|2026-01-01T08:00:00Z");
    for month in 0..6_u32 {
        bench.write("c.csv", &capture(0.001 + 0.0012 * f64::from(month), u64::from(month) + 1));
        let at = format!("2026-{:02}-05T08:00:00Z", month + 1);
        let run =
            bench.run(&["assess", "c.csv", "--probe", "probe-07", "--log", "--at", &at, "--bench", "b"]);
        assert_eq!(run.status, 0, "{run:?}");
    }
    let json = bench.json(&["log", "trend", "probe-07", "--bench", "b"], 0);
    let (slope, u) = (
        number(&json, "/0/trend/drift_per_month/value"),
        number(&json, "/0/trend/drift_per_month/standard_uncertainty"),
    );
    // Made with 0.12 % from one capture to the next, 151 days for 5 steps: 0.121 % a mean month.
    assert!((slope - 0.001_21).abs() < 3.0 * u && u < 2e-4, "{slope} {u}");
    assert_eq!(json[0]["trend"]["stands_out"], true);
    let words = log(&bench, &["trend", "1", "--plot", "trend.svg"]).stdout;
    assert!(words.contains("stands out") && words.contains("leaves its tolerance of 1 %"), "{words}");
    assert!(
        words.contains('\u{28ff}') || words.chars().any(|c| ('\u{2801}'..='\u{28ff}').contains(&c)),
        "{words}"
    );
    let svg = bench.read("trend.svg");
    let tree = resvg::usvg::Tree::from_data(&svg, &resvg::usvg::Options::default()).unwrap();
    assert!(tree.size().width() > 900.0);
}

#[test]
fn assessments_work_out_the_same_again() {
    let bench = with_history();
    bench.write("wide.csv", &capture(0.03, 9));
    for args in [
        &[
            "assess",
            "wide.csv",
            "--probe",
            "probe-07",
            "--divider",
            "9.1M:1M",
            "--column",
            "2",
            "--adjust",
            "base",
        ][..],
        &[
            "assess",
            "--by-eye",
            "--start",
            "4.6",
            "--end",
            "5.0",
            "--frequency",
            "1kHz",
            "--probe",
            "probe-07",
        ][..],
    ] {
        let args: Vec<&str> = args.iter().copied().chain(["--log", "--bench", "b"]).collect();
        assert_eq!(bench.run(&args).status, 3);
    }
    let again = bench.json(&["log", "recompute", "--bench", "b"], 0);
    let all = again.as_array().unwrap();
    assert_eq!(all.len(), 4);
    assert!(all.iter().all(|one| one["same"] == true), "{again:#}");
    // The capture comes back byte for byte.
    assert_eq!(log(&bench, &["capture", "2", "--output", "back.csv"]).status, 0);
    assert_eq!(bench.read("back.csv"), bench.read("before.csv"));
    assert_eq!(log(&bench, &["capture", "2", "--output", "back.csv"]).status, 1);
}

/// What a tampered file looks like from outside: figures of an entry changed with a general-purpose SQLite.
#[test]
fn a_changed_entry_shows_and_gives_other_figures() {
    let bench = with_history();
    let noted = bench.json(&["log", "verify", "--bench", "b"], 0);
    let head = format!("{}:{}", noted["last_entry"]["seq"], noted["last_entry"]["digest"].as_str().unwrap());
    assert_eq!(log(&bench, &["verify", "--noted", &head]).status, 0);
    let db = rusqlite::Connection::open(bench.path("b")).unwrap();
    db.execute_batch(
        "DROP TRIGGER log_is_not_changed; UPDATE log SET compensation_error = 0.0005 WHERE seq = 2;",
    )
    .unwrap();
    drop(db);
    let found = bench.json(&["log", "verify", "--bench", "b"], 3);
    let kinds: Vec<_> =
        found["problems"].as_array().unwrap().iter().map(|p| p["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["guard-missing", "changed"]);
    let again = bench.json(&["log", "recompute", "2", "--bench", "b"], 3);
    assert!(again[0]["differences"][0].as_str().unwrap().starts_with("e was 5e-4, is -"), "{again:#}");
    let cut = log(&bench, &["verify", "--noted", "9:0"]);
    assert!(cut.status == 2 && cut.stderr.contains("64 digits"), "{cut:?}");
}

#[test]
fn a_folder_is_assessed_in_one_go_and_resumed() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    done(&bench, "pair probe-11 bench-a/ch2");
    std::fs::create_dir(bench.path("captures")).unwrap();
    for (k, probe) in ["probe-07_bench-a-ch1", "probe-11_bench-a-CH2"].iter().enumerate() {
        for n in 0..3_u32 {
            let e = 0.002 * f64::from(n) + 0.001;
            bench.write(&format!("captures/{probe}_{n}.csv"), &capture(e, 10 * k as u64 + u64::from(n)));
        }
    }
    bench.write("captures/probe-07_bench-a-ch1_empty.csv", "");
    bench.write("captures/probe-12_bench-a-ch1_0.csv", &capture(0.0, 1));
    bench.write("captures/readme.txt", "notes");
    let args =
        ["log", "batch", "captures", "--named", "{probe}_{oscilloscope}-{input}_{any}.csv", "--bench", "b"];
    let planned = bench.json(&[&args[..], &["--dry-run"]].concat(), 1);
    assert_eq!(planned["planned"].as_array().map(Vec::len), Some(7));
    let first = bench.json(&args, 1);
    let count = |json: &serde_json::Value, key: &str| json[key].as_array().map_or(0, Vec::len);
    let counts = |json| {
        (count(json, "logged"), count(json, "passed_over"), count(json, "failed"), count(json, "unnamed"))
    };
    assert_eq!(counts(&first), (6, 0, 2, 1), "{first:#}");
    // In the order of the names, whatever the threads did.
    let entries: Vec<_> =
        first["logged"].as_array().unwrap().iter().map(|one| one["entry"].as_i64().unwrap()).collect();
    assert_eq!(entries, [3, 4, 5, 6, 7, 8]);
    // Once more: nothing is logged twice.
    let second = bench.json(&args, 1);
    assert_eq!(counts(&second), (0, 6, 2, 1));
    let run = bench.run(&args);
    assert!(run.stderr.contains("probe-12 on bench") && run.stderr.contains("empty"), "{run:?}");
    assert_eq!(bench.json(&["log", "recompute", "--bench", "b"], 0).as_array().map(Vec::len), Some(6));
}

#[test]
fn a_list_is_checked_as_a_whole_before_anything_is_logged() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    bench.write("a.csv", &capture(-0.03, 1));
    bench.write("b.csv", &capture(0.001, 2));
    let head = "file,probe,input,stage,at,by,temperature,note\n";
    bench.write("wrong.csv", &format!("{head}a.csv,probe-07,,sideways,,,,\nb.csv,Probe 7,,,,,,\n"));
    let run = log(&bench, &["batch", "wrong.csv"]);
    assert_eq!(run.status, 1);
    for part in ["wrong.csv: line 2: stage: \"sideways\"", "wrong.csv: line 3: probe:"] {
        assert!(run.stderr.contains(part), "{part}: {run:?}");
    }
    assert_eq!(
        bench.json(&["log", "--kind", "assessment", "--bench", "b"], 0).as_array().map(Vec::len),
        Some(0)
    );
    bench.write(
        "list.csv",
        &format!(
            "{head}a.csv,probe-07,bench-a/ch1,before,2026-02-03T10:00:00+01:00,early shift,22.5,\"stiff, noisy\"\n\
             b.csv,probe-07,,after,2026-02-03T10:10:00+01:00,early shift,22.5,\n"
        ),
    );
    let run = log(&bench, &["batch", "list.csv"]);
    assert_eq!(run.status, 3, "{run:?}");
    let entries = bench.json(&["log", "--kind", "assessment", "--bench", "b"], 0);
    assert_eq!(entries[0]["at"], "2026-02-03T10:00:00.000+01:00");
    assert_eq!(
        (entries[0]["by"].as_str(), entries[0]["note"].as_str()),
        (Some("early shift"), Some("stiff, noisy"))
    );
    assert_close!(number(&entries, "/1/assessment/temperature_c"), 22.5, relative(1e-12));
}

/// Killed again and again while it logs, the bench opens, is intact, and holds every entry that was acknowledged.
#[test]
fn a_killed_batch_loses_nothing_and_goes_on() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    std::fs::create_dir(bench.path("captures")).unwrap();
    for n in 0..40_u64 {
        bench.write(&format!("captures/probe-07_{n:02}.csv"), &capture(0.001, n + 1));
    }
    let args = ["log", "batch", "captures", "--named", "{probe}_{any}.csv", "--bench", "b"];
    let mut before = 0;
    for round in 0..30_u64 {
        let mut child = bench.command(&args).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(5 + 9 * (round % 11)));
        child.kill().unwrap();
        child.wait().unwrap();
        let found = bench.json(&["log", "verify", "--bench", "b"], 0);
        let entries = found["entries"].as_i64().unwrap();
        assert!(entries >= before, "{entries} after {before}");
        before = entries;
    }
    assert_eq!(bench.run(&args).status, 0);
    let all = bench.json(&["log", "--kind", "assessment", "--bench", "b"], 0);
    assert_eq!(all.as_array().map(Vec::len), Some(40));
    // SQLite's own check.
    let db = rusqlite::Connection::open(bench.path("b")).unwrap();
    let said: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(said, "ok");
}

#[test]
fn sines_are_logged_with_all_their_captures_and_worked_out_again() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1|--at|2026-01-10T08:00:00Z");
    let signal = Signal::with(11.4e-12, 108.6e-12);
    let files = ["at-200.csv", "at-2k.csv", "at-50k.csv"];
    for (name, frequency_hz) in files.into_iter().zip([200.0, 2000.0, 50e3]) {
        bench.write(name, &sine_csv(signal, frequency_hz));
    }
    let mut args =
        vec!["assess", "--sine", "--column", "2", "--reference", "3", "--probe", "probe-07", "--log"];
    args.extend(["--bench", "b"].into_iter().chain(files));
    let found = bench.json(&args, 3);
    let entry = found["pairing"]["logged_as"]["entry"].to_string();

    let shown = bench.json(&["log", "show", &entry, "--bench", "b"], 0);
    assert_eq!(shown["assessment"]["captures_sha256"].as_array().unwrap().len(), 3, "{shown:#}");
    assert_eq!(shown["settings"]["sines"][2], "at-50k.csv");
    let again = bench.json(&["log", "recompute", &entry, "--bench", "b"], 0);
    assert_eq!(again[0]["same"], true, "{again:#}");
    let verified = bench.json(&["log", "verify", "--bench", "b"], 0);
    assert_eq!((verified["intact"].as_bool(), verified["captures"].as_i64()), (Some(true), Some(3)));

    // Each capture comes back byte for byte; which one has to be said.
    let unnamed = log(&bench, &["capture", &entry, "-o", "back.csv"]);
    assert_eq!(unnamed.status, 1);
    assert!(unnamed.stderr.contains("3 captures; say which with --number 1 to 3"), "{unnamed:?}");
    let beyond = log(&bench, &["capture", &entry, "--number", "4", "-o", "back.csv"]);
    assert!(beyond.stderr.contains("there is no number 4"), "{beyond:?}");
    let named = log(&bench, &["capture", &entry, "--number", "2", "-o", "back.csv"]);
    assert_eq!((named.status, bench.read("back.csv")), (0, bench.read("at-2k.csv")), "{named:?}");

    // And the record of the assessment names all of them.
    let run = bench.run(&["report", "assessment", &entry, "-o", "record.html", "--bench", "b"]);
    assert_eq!(run.status, 0, "{run:?}");
    let record = String::from_utf8(bench.read("record.html")).unwrap();
    assert!(record.contains("SHA-256 of the capture 3") && record.contains("the captures give"), "{run:?}");
}
