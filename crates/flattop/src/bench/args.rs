//! What can be typed after `flattop bench`. The comments are the help text.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};

use crate::values;
use crate::workbench::{BenchFile, Doing};

/// Keep the bench: oscilloscopes, inputs, probes, and which probe belongs to which input
///
/// A compensation belongs to one probe on one input, a pairing. The bench is one
/// file that holds what stands on it, its pairings and its logbook. Without
/// --bench it is the file named by FLATTOP_BENCH, else bench.sqlite in the folder
/// flattop in the usual place for data.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) what: What,
}

/// What to do with the bench.
#[derive(Debug, Subcommand)]
pub(crate) enum What {
    /// Put something on the bench; its fields as KEY=VALUE
    Add(Add),
    /// List what stands on the bench
    List(List),
    /// Show everything about one thing
    Show(Show),
    /// Change fields of a thing; KEY= for not known
    Edit(Edit),
    /// Take a thing off the bench; what the logbook speaks of is kept, out of use
    Remove(Remove),
    /// Take a thing that is out of use into use again
    Reinstate(Remove),
    /// Pair a probe with an input
    Pair(Pair),
    /// Move a probe to another input: its pairing ends, and the error to expect there is told
    Move(Pair),
    /// End a pairing
    Void(Void),
    /// Measure what the data sheet doesn't say, from captures
    Measure(super::measure::Args),
    /// Write the bench as TOML
    Export(Export),
    /// Add everything from a TOML file, or from a CSV list of probes or inputs
    Import(Import),
    /// Copy the whole bench with its logbook, while it may be in use
    Backup(Backup),
    /// Make an invented workshop with a year of logbook in a new file, to look around in
    Demo(super::demo::Demo),
}

/// Put something on the bench.
#[derive(Debug, clap::Args)]
#[command(after_long_help = FIELDS)]
pub(crate) struct Add {
    /// What it is
    pub(crate) kind: Kind,

    /// Its name: probe-07, bench-a, bench-a/ch1 for an input, probe-07/spring for what goes with a probe
    pub(crate) id: String,

    /// Fields, such as ratio=10 or capacitance="15 pF ± 1 pF"
    #[arg(value_name = "KEY=VALUE")]
    pub(crate) fields: Vec<String>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// What can be put on a bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Kind {
    /// An oscilloscope
    Oscilloscope,
    /// An input of an oscilloscope
    Input,
    /// A probe
    Probe,
    /// A ground lead or spring of a probe
    Ground,
}

/// List what stands on the bench.
#[derive(Debug, clap::Args)]
pub(crate) struct List {
    /// Only these
    pub(crate) part: Option<Part>,

    /// Also what is out of use, and pairings that ended
    #[arg(long)]
    pub(crate) all: bool,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    /// Write probes or inputs as CSV, for a spreadsheet
    #[arg(long, conflicts_with = "json", requires = "part")]
    pub(crate) csv: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Part of a bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Part {
    /// Oscilloscopes with their inputs
    Oscilloscopes,
    /// Inputs
    Inputs,
    /// Probes
    Probes,
    /// Pairings and how they stand
    Pairings,
}

/// Show everything about one thing.
#[derive(Debug, clap::Args)]
pub(crate) struct Show {
    /// probe-07, bench-a, bench-a/ch1, probe-07/spring, or the number of a pairing
    pub(crate) thing: String,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Change fields of a thing.
#[derive(Debug, clap::Args)]
#[command(after_long_help = FIELDS)]
pub(crate) struct Edit {
    /// probe-07, bench-a, bench-a/ch1, probe-07/spring, or the number of a pairing
    pub(crate) thing: String,

    /// Fields and their new values; KEY= for not known
    #[arg(value_name = "KEY=VALUE", required = true)]
    pub(crate) fields: Vec<String>,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Take a thing off the bench.
#[derive(Debug, clap::Args)]
pub(crate) struct Remove {
    /// probe-07, bench-a, bench-a/ch1 or probe-07/spring
    pub(crate) thing: String,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Pair a probe with an input.
#[derive(Debug, clap::Args)]
pub(crate) struct Pair {
    /// The probe
    pub(crate) probe: String,

    /// The input, as bench-a/ch1
    pub(crate) input: String,

    /// The error |e| that is still accepted on this pairing; without it that of each assessment
    #[arg(long, value_name = "RATIO", value_parser = values::tolerance, allow_hyphen_values = true)]
    pub(crate) tolerance: Option<f64>,

    /// How long a check holds, such as "90 days" or "13 weeks"; without it for ever
    #[arg(long, value_name = "TIME", value_parser = values::days)]
    pub(crate) interval: Option<u32>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// End a pairing.
#[derive(Debug, clap::Args)]
pub(crate) struct Void {
    /// The number of the pairing
    pub(crate) pairing: i64,

    /// Why it ends
    #[arg(long, value_name = "TEXT")]
    pub(crate) why: String,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Write the bench as TOML.
#[derive(Debug, clap::Args)]
pub(crate) struct Export {
    /// The file to write; without it standard output
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Add everything from a file.
#[derive(Debug, clap::Args)]
pub(crate) struct Import {
    /// A bench in TOML, or a list of probes or inputs in CSV
    pub(crate) file: PathBuf,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Copy the whole bench.
#[derive(Debug, clap::Args)]
pub(crate) struct Backup {
    /// The new file
    pub(crate) file: PathBuf,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

const EXAMPLES: &str = "\
Examples:
  flattop bench add oscilloscope bench-a label=\"Bench A scope, 200 MHz\"
  flattop bench add input bench-a/ch1 resistance=\"1M ± 2%\" capacitance=\"15p ± 1p\"
  flattop bench add probe probe-07 ratio=10 tip_capacitance=12p \\
    compensation_range=\"8 pF to 18 pF\" adjusted_at=tip
  flattop bench pair probe-07 bench-a/ch1 --tolerance 1% --interval \"90 days\"
  flattop bench list
  flattop bench move probe-07 bench-b/ch2

Exit status:
  0 done   1 the bench could not be read, changed or written   2 wrong usage";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  An oscilloscope with its first input, as its data sheet says:
    flattop bench add oscilloscope bench-a label=\"Bench A scope, 200 MHz\"
    flattop bench add input bench-a/ch1 resistance=\"1 MΩ ± 2 %\" \\
      capacitance=\"15 pF ± 1 pF\" bandwidth=200MHz
  A probe and its ground spring:
    flattop bench add probe probe-07 ratio=10 tip_capacitance=12pF \\
      compensation_range=\"8 pF to 18 pF\" adjusted_at=tip \\
      voltage_rating=\"600 V at 0 Hz; 300 V at 10 MHz\" voltage_rating_kind=rms
    flattop bench add ground probe-07/spring length=15mm
  The probe hangs on that input from now on, checked every quarter:
    flattop bench pair probe-07 bench-a/ch1 --tolerance 1% --interval \"90 days\"
  It moves; what will the error be there?
    flattop bench move probe-07 bench-b/ch2 --by \"bench technician\"
  Into a spreadsheet and back:
    flattop bench list probes --csv > probes.csv
    flattop bench import more-probes.csv
  A copy for safe keeping, also while others use the bench:
    flattop bench backup bench-2026-11.sqlite

Names:
  Lower-case letters, digits and single hyphens: probe-07. An input is named
  with its oscilloscope: bench-a/ch1. A label says the rest.

What is kept:
  What a pairing or the logbook speaks of is never deleted: it goes out of use,
  its pairings end, and its name stays taken. A change of a field leaves an entry
  in the logbook then.

Exit status:
  0  done
  1  the bench could not be read, changed or written; nothing was changed
  2  wrong usage";

const FIELDS: &str = "\
Fields, with an example each; what is left out counts as not known:
  oscilloscope: label, serial, note
  input: label, resistance=\"1M ± 2%\", capacitance=\"15p ± 1p\", bandwidth=200MHz,
    response=gaussian (single-pole, bessel-4, maximally-flat-3),
    rated_voltage=300V, rated_voltage_kind=rms (peak, dc), note
  probe: label, serial, ratio=10, tip_resistance=\"9M ± 1%\",
    tip_capacitance=\"12p ± 1p\", series_resistance=250, body_capacitance=1p,
    compensation_range=\"8 pF to 18 pF\", adjusted_at=tip (base, fixed),
    bandwidth=250MHz, cable.length=1.2m, cable.capacitance_per_metre=60p,
    cable.inductance_per_metre=300n, cable.resistance_per_metre=200,
    box.series_resistance=50, box.capacitance=10p,
    voltage_rating=\"600 V at 0 Hz; 300 V at 10 MHz\",
    voltage_rating_kind=rms (peak, dc), measurement_category=\"CAT II\",
    category_voltage=300V, note
  ground: label, length=150mm, inductance=150nH
  pairing (edit only): tolerance=1%, recheck_interval=\"90 days\"";
