//! What can be typed after `flattop log`. The comments are the help text.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};

use crate::assess::LoggedStage;
use crate::values;
use crate::workbench::{BENCH, BenchFile, Doing};

/// Read the logbook: what was found when, how it drifts, what is due, whether it is intact
///
/// The logbook of a bench only grows. Each entry carries the digest of the one
/// before it, so that a changed or missing entry shows, and each assessment its
/// capture, so that it can be worked out again. Without a word behind it, the
/// command lists the entries.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment, args_conflicts_with_subcommands = true)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) what: Option<What>,

    #[command(flatten)]
    pub(crate) list: List,
}

/// What to do with the logbook.
#[derive(Debug, Subcommand)]
pub(crate) enum What {
    /// List entries
    List(List),
    /// Show everything that one entry says
    Show(One),
    /// Show how e of pairings went over time, and their drift
    Trend(Trend),
    /// List the pairings that want attention: out of reach, out of tolerance, never checked, due
    Due(Due),
    /// Check that no entry and no capture was changed or taken out
    Verify(Verify),
    /// Work assessments out again from their captures, and compare
    Recompute(Recompute),
    /// Write the capture of an entry into a file
    Capture(Capture),
    /// Add a remark
    Note(Note),
    /// Note that the trimmer of a pairing was turned
    Adjusted(Adjusted),
    /// Add a word to an earlier entry, or withdraw it; the entry itself stays
    Correct(Correct),
    /// Assess many captures of many pairings, and log them all
    Batch(Batch),
}

/// List entries.
#[derive(Debug, clap::Args)]
pub(crate) struct List {
    /// Only of this pairing
    #[arg(long, value_name = "NUMBER")]
    pub(crate) pairing: Option<i64>,

    /// Only of this probe
    #[arg(long, value_name = "ID")]
    pub(crate) probe: Option<String>,

    /// Only of this input, as bench-a/ch1
    #[arg(long, value_name = "ID")]
    pub(crate) input: Option<String>,

    /// Only from this day or time on
    #[arg(long, value_name = "DAY", value_parser = values::since)]
    pub(crate) from: Option<i64>,

    /// Only before this day or time
    #[arg(long, value_name = "DAY", value_parser = values::since)]
    pub(crate) until: Option<i64>,

    /// Only entries of this kind; may be given several times
    #[arg(long, value_name = "KIND")]
    pub(crate) kind: Vec<String>,

    /// Only assessments with this verdict
    #[arg(long, value_name = "VERDICT")]
    pub(crate) verdict: Option<Verdict>,

    /// Only the last so many
    #[arg(long, value_name = "COUNT")]
    pub(crate) last: Option<usize>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    /// Write CSV, for a spreadsheet
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// A verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Verdict {
    /// Within tolerance
    WithinTolerance,
    /// Fast parts read low
    Undercompensated,
    /// Fast parts read high
    Overcompensated,
    /// The capture could not carry a verdict
    Undetermined,
}

/// Show one entry.
#[derive(Debug, clap::Args)]
pub(crate) struct One {
    /// The number of the entry
    pub(crate) entry: i64,

    /// Write JSON in place of words, with settings and whole result
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Show trends.
#[derive(Debug, clap::Args)]
pub(crate) struct Trend {
    /// Numbers of pairings, or probes; without them all pairings in force
    pub(crate) pairings: Vec<String>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    /// Draw into a file; several pairings get a file each
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing)]
    pub(crate) plot: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// List what wants attention.
#[derive(Debug, clap::Args)]
pub(crate) struct Due {
    /// On this day or at this time, in place of now
    #[arg(long, value_name = "DAY", value_parser = values::since)]
    pub(crate) on: Option<i64>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Check the logbook.
#[derive(Debug, clap::Args)]
pub(crate) struct Verify {
    /// The last entry as it was noted elsewhere, NUMBER:DIGEST; shows whether the end was cut off
    #[arg(long, value_name = "NUMBER:DIGEST")]
    pub(crate) noted: Option<String>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Work assessments out again.
#[derive(Debug, clap::Args)]
pub(crate) struct Recompute {
    /// Numbers of the entries; without them all assessments
    pub(crate) entries: Vec<i64>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Write a capture into a file.
#[derive(Debug, clap::Args)]
pub(crate) struct Capture {
    /// The number of the entry
    pub(crate) entry: i64,

    /// Which one, where the entry rests on several, in the order that 'log show' has
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..))]
    pub(crate) number: Option<u16>,

    /// The file to write
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Add a remark.
#[derive(Debug, clap::Args)]
pub(crate) struct Note {
    /// What there is to say
    pub(crate) text: String,

    /// What it is about: a pairing's number, a probe, an oscilloscope, an input
    #[arg(long, value_name = "THING")]
    pub(crate) about: Option<String>,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Note that a trimmer was turned.
#[derive(Debug, clap::Args)]
pub(crate) struct Adjusted {
    /// The pairing's number, or its probe
    pub(crate) pairing: String,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Add a word to an entry, or withdraw it.
#[derive(Debug, clap::Args)]
pub(crate) struct Correct {
    /// The number of the entry
    pub(crate) entry: i64,

    /// What was wrong with it
    pub(crate) text: String,

    /// It no longer counts for states and trends
    #[arg(long)]
    pub(crate) withdraw: bool,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Assess and log many captures.
#[derive(Debug, clap::Args)]
#[command(after_long_help = BATCH)]
pub(crate) struct Batch {
    /// A folder of captures, or a list of them in CSV
    pub(crate) source: PathBuf,

    /// How the captures of a folder are named, such as {probe}_{oscilloscope}-{input}.csv
    #[arg(long, value_name = "PATTERN")]
    pub(crate) named: Option<String>,

    /// Number of the probe's column, counted from 1 over all columns
    #[arg(long, value_name = "N", value_parser = values::column)]
    pub(crate) column: Option<u16>,

    /// Number of a column that shows the source itself
    #[arg(long, value_name = "N", value_parser = values::column)]
    pub(crate) reference: Option<u16>,

    /// Time between samples, for files without a time column
    #[arg(long, value_name = "TIME", value_parser = values::seconds)]
    pub(crate) interval: Option<f64>,

    /// What the captures were made for, where a list does not say it
    #[arg(long, value_name = "STAGE", default_value = "check", help_heading = BENCH)]
    pub(crate) stage: LoggedStage,

    /// Temperature of the room, °C, where a list does not say it
    #[arg(long, value_name = "DEGREES", value_parser = values::celsius, allow_hyphen_values = true, help_heading = BENCH)]
    pub(crate) temperature: Option<f64>,

    /// Take the time when each file was last changed as the time of its capture
    #[arg(long, conflicts_with = "at", help_heading = BENCH)]
    pub(crate) at_file_time: bool,

    /// Only say what would be assessed
    #[arg(long)]
    pub(crate) dry_run: bool,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

const EXAMPLES: &str = "\
Examples:
  flattop log --probe probe-07 --last 10
  flattop log due
  flattop log trend probe-07 --plot probe-07.svg
  flattop log verify
  flattop log correct 12 \"captured on the wrong input\" --withdraw
  flattop log batch captures --named \"{probe}_{oscilloscope}-{input}.csv\"

Exit status:
  0 done   1 the bench could not be read or changed   2 wrong usage
  3 not intact, other figures than were logged, something is due, or a capture
    outside tolerance   4 undetermined captures";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  The last ten entries about one probe, for people, programs, spreadsheets:
    flattop log --probe probe-07 --last 10
    flattop log --probe probe-07 --json
    flattop log --from 2026-01-01 --until 2027-01-01 --csv > year.csv
  What has to be checked before the week is out:
    flattop log due --on 2026-12-04
  How the error of a pairing went over the year, in the terminal and as a file:
    flattop log trend probe-07 --plot probe-07.svg
  Is the logbook what it was when its last entry was noted on paper?
    flattop log verify --noted 118:2c26b46b68ffc68ff99b453c1d304134…
  Do all captures still give the figures that were logged?
    flattop log recompute
  A slip: the capture of entry 12 came from another input:
    flattop log correct 12 \"captured on the wrong input\" --withdraw
  The trimmer was turned without any capture:
    flattop log adjusted probe-07 --by \"bench technician\"

Exit status:
  0  done; nothing due, all as it was logged
  1  the bench could not be read or changed, or a capture could not be used
  2  wrong usage
  3  verify: not intact. recompute: other figures than were logged. due:
     something wants attention. batch: a capture outside tolerance
  4  batch: a capture that could not carry a verdict";

const BATCH: &str = "\
A folder of captures, named by a pattern:
  The pattern has {probe} in it, and {oscilloscope} and {input}, or neither for
  the input that the probe is paired with; also {stage} (check, before, after)
  and {any}. Files that do not fit are told, not assessed.
    flattop log batch captures --named \"{probe}_{oscilloscope}-{input}_{any}.csv\"

A list in CSV with a head line; only the first two columns are needed:
    file,probe,input,stage,column,reference,at,by,temperature,note
    monday/c1.csv,probe-07,bench-a/ch1,check,,,2026-11-23T09:10:00+01:00,,23,
  Files are looked for beside the list.

A capture that fails does not stop the others; all failures are told at the end.
Run it again after an interruption: captures that are in the logbook already,
for the same pairing and stage, are passed over.";
