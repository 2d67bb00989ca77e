//! Help, completions, manual page, wrong usage, closed pipes.

use std::process::Stdio;

use crate::bench::Bench;
use crate::signals::Signal;

#[test]
fn wrong_usage_is_status_2_and_says_what_to_type() {
    let bench = Bench::new();
    bench.write("a.csv", "0,0\n");
    for (args, hint) in [
        (vec!["assess"], "CAPTURE"),
        (vec!["assess", "a.csv", "--tolerance", "1"], "was read as 100 %; write a % sign"),
        (vec!["assess", "a.csv", "--tolerance", "3 V"], "a voltage"),
        (vec!["assess", "a.csv", "--divider", "9M"], "for example 9M:1M"),
        (vec!["assess", "a.csv", "--interval", "fast"], "10 us"),
        (vec!["assess", "a.csv", "--interval", "0s"], "not above zero"),
        (vec!["assess", "a.csv", "--column", "0"], "write a column number such as 2"),
        (vec!["assess", "a.csv", "--column", "x"], "write a column number such as 2"),
        (vec!["assess", "a.csv", "--column", "-1"], "write a column number such as 2"),
        (vec!["assess", "a.csv", "--reference", "70000"], "write a column number such as 2"),
        (vec!["assess", "a.csv", "--tolerance", "-1%"], "not between 0 and 100 %"),
        (vec!["assess", "a.csv", "--resistor-tolerance", "-1%"], "not between 0 and 100 %"),
        (vec!["assess", "a.csv", "--divider", "-9M:1M"], "-9M"),
        (vec!["assess", "a.csv", "--interval", "-1us"], "not above zero"),
        (vec!["assess", "a.csv", "--source-amplitude", "-3V"], "not above zero"),
        (vec!["assess", "--by-eye", "--start", "-4", "--end", "5"], "not above zero"),
        (vec!["assess", "--by-eye", "--start", "4", "--end", "-5"], "not above zero"),
        (vec!["assess", "--by-eye", "--start", "4", "--end", "5", "--frequency", "-1k"], "not above zero"),
        (vec!["assess", "a.csv", "--plot", "plot.pdf"], ".svg or .png"),
        (vec!["assess", "a.csv", "--adjust", "middle"], "tip, base"),
        (vec!["assess", "a.csv", "--sine"], "--reference"),
        (vec!["assess", "a.csv", "--sine", "--reference", "3"], "flattop assess --sine --column 2"),
        (vec!["assess", "a.csv", "--column", "2", "--reference", "2"], "same column"),
        (vec!["assess", "a.csv", "--by-eye"], "cannot be used with"),
        (vec!["assess", "--by-eye"], "--start"),
        (vec!["assess", "a.csv", "--start", "4.6"], "--by-eye"),
        (vec!["assess", "a.csv", "--input", "bench-a/ch1"], "--probe"),
        (vec!["assess", "a.csv", "--log"], "--probe"),
        (vec!["man", "nonsense"], "assess"),
        (vec!["measure"], "unrecognized subcommand"),
        (vec![], "Usage"),
    ] {
        let run = bench.run(&args);
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{args:?}: {run:?}");
        assert!(run.stderr.contains(hint), "{args:?}: {}", run.stderr);
    }
}

#[test]
fn help_tells_the_job_the_words_and_the_caution() {
    let bench = Bench::new();
    let run = bench.run(&["assess", "--help"]);
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    for part in [
        "Usage: flattop assess [OPTIONS]",
        "bench-a-ch1-probe07.csv",
        "--divider <R1:R2>",
        "[default: 9M:1M, or what the",
        "e is the gain for fast signals over the gain for slow ones, minus one",
        "4k7",
        "4  undetermined",
        "The ground clip of a probe is joined to earth",
        "42.4 V peak",
    ] {
        assert!(run.stdout.contains(part), "{part} is not in\n{}", run.stdout);
    }
    // Text that is broken into lines already is not broken again.
    for end in ["oscilloscope. Clip\n  it to points", "a bare\n  part counts", "--frequency 1kHz\n"] {
        assert!(run.stdout.contains(end), "{end} is not in\n{}", run.stdout);
    }
    let run = bench.run(&["assess", "-h"]);
    assert!(run.stdout.contains("3 outside tolerance") && run.stdout.lines().count() < 90);
    let run = bench.run(&["--help"]);
    assert!(run.stdout.contains("assess") && run.stdout.contains("Caution:"));
    assert!(bench.run(&["--version"]).stdout.starts_with("flattop 0."));
}

#[test]
fn completions_and_manual_pages_come_on_standard_output() {
    let bench = Bench::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let run = bench.run(&["completions", shell]);
        assert_eq!(run.status, 0);
        assert!(run.stdout.contains("resistor-tolerance"), "{shell}");
    }
    let run = bench.run(&["man"]);
    assert!(run.stdout.contains(".TH flattop 1") && run.stdout.contains("assess"));
    let run = bench.run(&["man", "assess"]);
    assert!(
        run.stdout.contains(".TH flattop-assess 1") && run.stdout.contains("tolerance"),
        "{}",
        run.stdout
    );
    for part in [
        "[\\-\\-divider R1:R2]",
        "[CAPTURE...]",
        "\n.SH EXAMPLES\n",
        "\n.SH EXIT STATUS\n",
        "\n.SH CAUTION\n",
        "\"flattop 0.",
    ] {
        assert!(run.stdout.contains(part), "{part} is not in\n{}", run.stdout);
    }
    assert!(!run.stdout.contains(".SH EXTRA"));
    assert_eq!(run.stdout.matches(".ie ").count(), 1);
}

#[test]
fn a_closed_pipe_is_no_error() {
    let bench = Bench::new();
    bench.write("probe.csv", &Signal::with(10e-12, 90.2e-12).csv());
    for args in
        [&["assess", "probe.csv"][..], &["assess", "probe.csv", "--json"], &["completions", "bash"], &["man"]]
    {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = bench.command(args).stdout(writer).stderr(Stdio::piped()).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{args:?}");
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{args:?}");
    }
}
