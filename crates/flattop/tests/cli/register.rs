//! `flattop bench`: things added, listed, changed, moved, exported and imported through the real program.

use flattop_close::{assert_close, relative};
use serde_json::Value;

use super::bench::{Bench, number};

/// Two oscilloscopes, two probes and a pairing of the Harrow Lane Lift Works.
pub(crate) fn furnished() -> Bench {
    let bench = Bench::new();
    for args in [
        "add oscilloscope bench-a|label=Bench A scope, 200 MHz",
        "add input bench-a/ch1|resistance=1M ± 2%|capacitance=15p ± 1p|bandwidth=200MHz",
        "add input bench-a/ch2|resistance=1M ± 2%|capacitance=20 pF ± 1 pF",
        "add oscilloscope bench-b",
        "add input bench-b/ch1|resistance=1M|capacitance=25p ± 2p",
        "add probe probe-07|ratio=10|tip_capacitance=12p ± 1p|compensation_range=8 pF to 22 pF|adjusted_at=tip",
        "add probe probe-11|ratio=10|tip_capacitance=11p|adjusted_at=base",
        "add ground probe-07/spring|length=15mm",
    ] {
        let run = done(&bench, args);
        assert!(run.starts_with("Added "), "{run}");
    }
    bench
}

/// Runs `flattop bench --bench b WORDS|…` and expects it to succeed.
pub(crate) fn done(bench: &Bench, args: &str) -> String {
    let run = bench.run(&words("bench", args));
    assert_eq!(run.status, 0, "{args}: {run:?}");
    run.stdout
}

fn words<'a>(command: &'a str, args: &'a str) -> Vec<&'a str> {
    let (first, rest) = args.split_once('|').unwrap_or((args, ""));
    let rest = rest.split('|').filter(|word| !word.is_empty());
    [command].into_iter().chain(first.split(' ')).chain(rest).chain(["--bench", "b"]).collect()
}

fn refused(bench: &Bench, args: &str, status: i32) -> String {
    let run = bench.run(&words("bench", args));
    assert_eq!(run.status, status, "{args}: {run:?}");
    assert!(run.stdout.is_empty(), "{run:?}");
    run.stderr
}

#[test]
fn things_are_added_listed_shown_and_edited() {
    let bench = furnished();
    let list = done(&bench, "list");
    for part in ["bench-a Bench A scope, 200 MHz", "15 pF ± 1 pF", "8 pF to 22 pF", "No pairing yet"] {
        assert!(list.contains(part), "{part}: {list}");
    }
    assert!(list.lines().all(|line| line.chars().count() <= 80), "{list}");
    let edited = done(&bench, "edit probe-07|serial=77|tip_capacitance=|note=blue ring");
    assert!(
        edited.contains("tip_capacitance of probe \"probe-07\": not known (was 12 pF ± 1 pF)."),
        "{edited}"
    );
    let shown = done(&bench, "show probe-07");
    assert!(shown.contains("serial") && shown.contains("Ground accessory probe-07/spring"), "{shown}");
    let json = bench.json(&["bench", "show", "bench-a/ch1", "--bench", "b"], 0);
    assert_close!(number(&json, "/capacitance_f/value"), 15e-12, relative(1e-12));
    assert_close!(number(&json, "/capacitance_f/tolerance"), 1e-12, relative(1e-12));
    assert_eq!(json["rated_voltage_v"], Value::Null);
}

#[test]
fn a_bench_that_is_not_there_is_not_made_by_looking() {
    let bench = Bench::new();
    let message = refused(&bench, "list", 1);
    assert!(message.contains("there is no bench at b") && message.contains("flattop bench add"), "{message}");
    assert!(!bench.path("b").exists());
    // A field that is wrong makes no file either.
    let message = refused(&bench, "add probe probe-07|ratio=ten", 1);
    assert!(message.contains("write a number, for example 10"), "{message}");
    assert!(!bench.path("b").exists());
    // The variable of the environment counts where no option is given.
    let run =
        bench.command(&["bench", "add", "oscilloscope", "s"]).env("FLATTOP_BENCH", "own").output().unwrap();
    assert!(run.status.success() && bench.path("own").exists());
    let message = String::from_utf8(bench.command(&["bench", "list"]).output().unwrap().stderr).unwrap();
    assert!(message.contains("name its file with --bench"), "{message}");
}

#[test]
fn mistakes_name_the_place_and_the_remedy() {
    let bench = furnished();
    for (args, status, part) in [
        ("add probe Probe-08", 1, "for example \"probe-08\""),
        ("add probe probe-07", 1, "there already"),
        ("add probe probe-08|colour=red", 1, "has no field \"colour\""),
        ("add probe probe-08|ratio", 1, "write KEY=VALUE"),
        ("add input bench-c/ch1", 1, "no oscilloscope \"bench-c\""),
        ("add input ch1", 1, "bench-a/ch1"),
        ("add ground spring", 1, "probe-07/spring"),
        ("edit probe-99|ratio=10", 1, "'flattop bench list'"),
        ("edit probe-07|tip_capacitance=12 kHz", 1, "a capacitance was expected"),
        ("pair probe-07 bench-a", 1, "bench-a/ch1"),
        ("move probe-07 bench-a/ch1", 1, "pair it first"),
        ("void 1|--why|tired", 1, "no pairing \"1\""),
        ("list pairings --csv", 2, "list of probes or of inputs"),
        ("pair probe-07 bench-a/ch1 --interval soon", 2, "90 days"),
        ("export --output no/such/folder/x.toml", 1, "make it first"),
    ] {
        let message = refused(&bench, args, status);
        assert!(message.contains(part), "{args}: {message}");
    }
}

#[test]
fn moving_a_probe_ends_its_pairing_and_says_what_to_expect() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1|--tolerance|1%|--interval|90 days");
    let moved = bench.json(&["bench", "move", "probe-07", "bench-a/ch2", "--bench", "b"], 0);
    assert_eq!((moved["pairing"].as_i64(), moved["voided_pairing"].as_i64()), (Some(2), Some(1)));
    // C1+C2 = Ct·N²/(N−1) = 133.3 pF; trimmer anywhere in 8 to 22 pF, balanced for 15 pF on average: with 5 pF more
    // e = −5/(133.3+5+…) (DESIGN of the divider: e' = (1+e)(C1+C2)/(C1+C2+ΔC) − 1).
    let expected = number(&moved, "/expected/compensation_error");
    assert!((-0.0370..-0.0350).contains(&expected), "{expected}");
    assert!(number(&moved, "/expected/standard_uncertainty") > 0.01);
    assert_close!(number(&moved, "/expected/change_f"), 20e-12 - 15e-12, relative(1e-12));
    let list = done(&bench, "list pairings|--all");
    assert!(list.contains("VOID (MOVED)") && list.contains("NEVER CHECKED"), "{list}");
    // The terms went along.
    let pairing = bench.json(&["bench", "show", "2", "--bench", "b"], 0);
    assert_eq!((number(&pairing, "/tolerance"), pairing["recheck_interval_days"].as_i64()), (0.01, Some(90)));
    let words = done(&bench, "move probe-07 bench-b/ch1");
    assert!(words.contains("Expect e = ") && words.contains("Check it on a square wave"), "{words}");
    assert!(done(&bench, "show 3").contains("out of reach"));
}

#[test]
fn what_the_logbook_speaks_of_is_kept() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    let removed = done(&bench, "remove probe-07");
    assert!(removed.contains("out of use") && removed.contains("Pairing 1 ended"), "{removed}");
    assert_eq!(done(&bench, "remove probe-11"), "Removed probe \"probe-11\".\n");
    assert!(done(&bench, "list probes").starts_with("No probe yet"));
    assert!(done(&bench, "list probes --all").contains("(retired)"));
    assert!(refused(&bench, "pair probe-07 bench-a/ch1", 1).contains("retired"));
    assert!(refused(&bench, "remove 1", 1).contains("flattop bench void 1"));
    assert!(done(&bench, "reinstate probe-07").contains("into use again"));
    done(&bench, "pair probe-07 bench-a/ch1");
}

#[test]
fn an_export_imported_elsewhere_gives_the_same_export() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1|--tolerance|0.7%");
    done(&bench, "move probe-07 bench-a/ch2");
    done(&bench, "export --output a.toml");
    let import = |file: &str, to: &str| bench.run(&["bench", "import", file, "--bench", to]);
    assert_eq!(import("a.toml", "copy").status, 0);
    let again = bench.run(&["bench", "export", "--bench", "copy"]);
    assert_eq!(again.stdout, String::from_utf8(bench.read("a.toml")).unwrap());
    // Half a file changes nothing.
    let broken = again.stdout.replace("ratio = \"10\"", "ratio = \"ten\"");
    bench.write("broken.toml", &broken);
    let refused = import("broken.toml", "empty");
    assert_eq!(refused.status, 1);
    assert!(refused.stderr.contains("broken.toml: line ") && refused.stderr.contains("nothing was imported"));
    let list = bench.json(&["bench", "list", "--bench", "empty"], 0);
    assert_eq!(list["probes"].as_array().map(Vec::len), Some(0));
    // Lists, by way of a spreadsheet.
    bench.write("probes.csv", &done(&bench, "list probes --csv"));
    bench.write("inputs.csv", &done(&bench, "list inputs --csv"));
    assert_eq!((import("inputs.csv", "lists").status, import("probes.csv", "lists").status), (0, 0));
    for part in ["probes", "inputs"] {
        let run = bench.run(&["bench", "list", part, "--csv", "--bench", "lists"]);
        assert_eq!(run.stdout.as_bytes(), bench.read(&format!("{part}.csv")));
    }
}

#[test]
fn a_backup_is_a_bench_and_never_overwrites() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    done(&bench, "backup safe.sqlite");
    assert!(refused(&bench, "backup safe.sqlite", 1).contains("is there already"));
    let run = bench.run(&["bench", "export", "--bench", "safe.sqlite"]);
    assert_eq!(run.stdout, done(&bench, "export"));
    let verified = bench.json(&["log", "verify", "--bench", "safe.sqlite"], 0);
    assert_eq!(verified["intact"], true);
}

#[test]
fn a_file_that_is_no_bench_is_left_alone() {
    let bench = Bench::new();
    bench.write("b", "time_s,ch1_V\n0,1\n");
    let message = refused(&bench, "add oscilloscope bench-a", 1);
    assert!(message.contains("is not a bench"), "{message}");
    assert_eq!(bench.read("b"), b"time_s,ch1_V\n0,1\n");
}
