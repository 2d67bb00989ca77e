//! `flattop report`: records made from a bench by the real program, and what it says when it cannot.
//!
//! The inside of records is tested in the crate of records, with poppler and an XML reader; here: files, forms, messages.

use crate::bench::{Bench, Run};
use crate::signals::Signal;

/// A bench with one pairing and one assessment with its capture: entries 1 and 2.
fn furnished() -> Bench {
    let bench = Bench::new();
    for args in [
        &["bench", "add", "--bench", "b.sqlite", "oscilloscope", "bench-a", "label=Bench A scope, 200 MHz"][..],
        &[
            "bench",
            "add",
            "--bench",
            "b.sqlite",
            "input",
            "bench-a/ch1",
            "resistance=1M",
            "capacitance=15 pF ± 1 pF",
        ],
        &[
            "bench",
            "add",
            "--bench",
            "b.sqlite",
            "probe",
            "probe-07",
            "label=Probe 07",
            "ratio=10",
            "serial=HL-P007",
        ],
        &["bench", "pair", "--bench", "b.sqlite", "probe-07", "bench-a/ch1", "--tolerance", "1%"],
    ] {
        let run = bench.run(args);
        assert_eq!(run.status, 0, "{run:?}");
    }
    bench.write("probe-07.csv", &Signal::with(10e-12, 98e-12).csv());
    let run = bench.run(&[
        "assess",
        "probe-07.csv",
        "--bench",
        "b.sqlite",
        "--probe",
        "probe-07",
        "--input",
        "bench-a/ch1",
        "--log",
        "--by",
        "door shop",
        "--note",
        "before the trim",
    ]);
    assert_eq!(run.status, 3, "{run:?}");
    bench
}

fn report(bench: &Bench, args: &[&str]) -> Run {
    let all: Vec<&str> =
        ["report"].into_iter().chain(args.iter().copied()).chain(["--bench", "b.sqlite"]).collect();
    bench.run(&all)
}

#[test]
fn an_assessment_becomes_html_with_its_capture_drawn_again() {
    let bench = furnished();
    let run = report(
        &bench,
        &["assessment", "2", "-o", "one.html", "--laboratory", "Measuring room <1>", "--paper", "letter"],
    );
    assert_eq!((run.status, run.stdout.as_str()), (0, ""), "{run:?}");
    assert!(run.stderr.starts_with("wrote one.html: Entry 2 of the logbook"), "{run:?}");
    let page = String::from_utf8(bench.read("one.html")).unwrap();
    for part in [
        "Outside tolerance, undercompensated",
        "Measuring room &lt;1&gt;",
        "as logged.",
        "before the trim",
        "size: letter",
        "HL-P007",
        "probe-07.csv",
        "kept with the logbook",
        "not stated",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    // Error against frequency, record with fit.
    assert_eq!(page.matches("<figure>").count(), 2);
}

#[test]
fn bench_and_period_become_pdf() {
    let bench = furnished();
    for (args, file) in [
        (&["bench", "-o", "bench.pdf"][..], "bench.pdf"),
        (&["period", "--from", "2020-01-01", "--to", "2199-12-31", "-o", "all.pdf"], "all.pdf"),
        (&["assessment", "2", "--output", "one.PDF"], "one.PDF"),
    ] {
        let run = report(&bench, args);
        assert_eq!(run.status, 0, "{run:?}");
        assert!(bench.read(file).starts_with(b"%PDF-"), "{file}");
    }
}

#[test]
fn a_period_counts_its_last_day() {
    let bench = furnished();
    let note = [
        "log",
        "note",
        "late in the day",
        "--about",
        "probe-07",
        "--at",
        "2026-03-31T23:30:00Z",
        "--bench",
        "b.sqlite",
    ];
    let run = bench.run(&note);
    assert_eq!(run.status, 0, "{run:?}");
    for (to, holds) in [("2026-03-31", true), ("2026-03-30", false), ("2026-03-31T23:30:00Z", false)] {
        let run = report(&bench, &["period", "--from", "2026-03-01", "--to", to, "-o", "p.html"]);
        assert_eq!(run.status, 0, "{run:?}");
        let page = String::from_utf8(bench.read("p.html")).unwrap();
        assert_eq!(page.contains("late in the day"), holds, "{to}: {page}");
        assert_eq!(page.contains("holds no entry of this period"), !holds, "{to}");
    }
}

#[test]
fn what_cannot_be_is_refused_with_a_remedy() {
    let bench = furnished();
    for (args, status, part) in [
        (&["assessment", "9", "-o", "r.pdf"][..], 1, "the logbook holds entries 1 to 2"),
        (&["assessment", "1", "-o", "r.pdf"], 1, "entry 1 is no assessment"),
        (&["bench", "-o", "r.txt"], 2, "end it in .html or .pdf"),
        (&["bench", "-o", "nowhere/r.pdf"], 1, "the folder nowhere does not exist"),
        (&["bench", "-o", "r.pdf", "--customer", " "], 2, "leave the option out"),
        (
            &["period", "--from", "2026-02-01", "--to", "2026-01-01", "-o", "r.pdf"],
            2,
            "ends before it begins",
        ),
        (
            &["period", "--from", "2026-02-30", "--to", "2026-03-01", "-o", "r.pdf"],
            2,
            "is no day and no time",
        ),
        (&["bench"], 2, "--output"),
    ] {
        let run = report(&bench, args);
        assert_eq!(run.status, status, "{args:?}: {run:?}");
        assert!(run.stderr.contains(part), "{args:?}: {}", run.stderr);
    }
    let run = bench.run(&["report", "bench", "-o", "r.pdf", "--bench", "none.sqlite"]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("there is no bench at none.sqlite"), "{run:?}");
}
