//! What can be typed after `flattop trim`. The comments are the help text.

use std::path::PathBuf;

use clap::ValueEnum;

use crate::address::{self, Address};
use crate::assess::{Circuit, Columns};
use crate::values;
use crate::workbench::{BENCH, BenchFile, Doing};

/// Follow a source of captures while somebody turns a probe's trimmer
///
/// Shows the compensation error of the newest captures in large letters, which way
/// to turn and how far, how far the trimmer has come, and whether the reading has
/// settled. A change is answered by the capture after it; while nothing moves,
/// captures are averaged. It ends when the error has been within the tolerance for
/// some captures in a row.
///
/// In a terminal it paints one panel of 80 columns over itself, also over SSH;
/// elsewhere it writes a line for each capture.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
#[command(group = clap::ArgGroup::new("from").required(true).args(["stream", "watch", "connect"]))]
pub(crate) struct Args {
    /// Captures one after the other on standard input: -
    #[arg(value_name = "-", value_parser = ["-"])]
    pub(crate) stream: Option<String>,

    /// A file that is saved again and again, or a folder in which captures are saved
    #[arg(long, value_name = "PATH", help_heading = SOURCE)]
    pub(crate) watch: Option<PathBuf>,

    /// An instrument: tcp://HOST:PORT, hislip://HOST[:PORT][/DEVICE] or usbtmc:/dev/usbtmc0
    #[arg(long, value_name = "ADDRESS", value_parser = address::parse, help_heading = SOURCE)]
    pub(crate) connect: Option<Address>,

    /// How the instrument is spoken to; without it the dialogue that comes along (flattop dialogue template)
    #[arg(long, value_name = "FILE", requires = "connect", help_heading = SOURCE)]
    pub(crate) dialogue: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) circuit: Circuit,

    #[command(flatten)]
    pub(crate) columns: Columns,

    /// Captures in a row that must be within the tolerance; 0 goes on until it is stopped
    #[arg(long, value_name = "N", default_value_t = 5, help_heading = END)]
    pub(crate) hold: usize,

    /// End after so many captures
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..), help_heading = END)]
    pub(crate) captures: Option<u64>,

    /// End after this time, such as 90s
    #[arg(long = "for", value_name = "TIME", value_parser = values::seconds, allow_hyphen_values = true, help_heading = END)]
    pub(crate) for_s: Option<f64>,

    /// The probe on the bench: its resistors, trimmer and tolerance are taken from there
    #[arg(long, value_name = "ID", help_heading = BENCH)]
    pub(crate) probe: Option<String>,

    /// The input it hangs on, as bench-a/ch1; without it the one it is paired with
    #[arg(long, value_name = "ID", requires = "probe", help_heading = BENCH)]
    pub(crate) input: Option<String>,

    /// Write the state before the first turn and after the last one into the logbook, with the captures
    #[arg(long, requires = "probe", help_heading = BENCH)]
    pub(crate) log: bool,

    /// Temperature of the room, °C
    #[arg(long, value_name = "DEGREES", value_parser = values::celsius, requires = "log", allow_hyphen_values = true, help_heading = BENCH)]
    pub(crate) temperature: Option<f64>,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,

    /// Tell the error by sound: the bell of the terminal, the faster the larger the error, silent within the tolerance
    #[arg(long, value_name = "SOUND", help_heading = OUTPUT)]
    pub(crate) sound: Option<Sound>,

    /// Write a line for each capture in a terminal too
    #[arg(long, conflicts_with = "json", help_heading = OUTPUT)]
    pub(crate) lines: bool,

    /// Write one JSON object on one line for each capture
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) json: bool,
}

/// What is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Sound {
    /// The terminal's bell
    Bell,
}

const SOURCE: &str = "Source";
const END: &str = "End";
const OUTPUT: &str = "Output";

const EXAMPLES: &str = "\
Examples:
  flattop trim --watch exports --probe probe-07 --log
  flattop trim --connect tcp://192.0.2.7:5025 --dialogue bench-a.toml
  acquire | flattop trim - --interval 1us --json

Exit status:
  0 within tolerance   1 the source could not be used   2 wrong usage
  3 outside tolerance  4 undetermined, or nothing came";

const NOTES: &str = "\
Caution:
  Hang the probe on the probe-adjust output of the oscilloscope, and on nothing
  else, while its trimmer is turned. The ground clip of a probe is joined to earth
  through the oscilloscope. Never trim on a circuit under test or on mains. Turn
  with a blade of plastic: a hand on metal adds capacitance and can be in danger.

Examples (Harrow Lane Lift Works):
  Captures that the oscilloscope saves into a folder; before and after are logged:
    flattop trim --watch exports --probe probe-07 --log
  An instrument on the network, spoken to as its dialogue file says:
    flattop trim --connect tcp://192.0.2.7:5025 --dialogue bench-a.toml
  The eyes on the screwdriver:
    flattop trim --watch exports --sound bell
  For a program, from a pipe of samples without time:
    acquire | flattop trim - --interval 1us --json

What is shown:
  e with its 95 % interval: an average over the captures since the last change,
  weighted by their noise. What repeats in each capture does not average out.
  A change of e begins a new average; while nothing moves, false changes are 465
  captures apart or more. Whether the screwdriver turns cannot be seen: a reading
  at rest is an end stop, or a hand that rests.

The logbook (--log):
  As soon as the trimmer moves, the best capture before that is logged as 'before';
  at the end, if the reading rests, the best capture since the last change as
  'after'. If nothing moved, one is logged as 'check'. Ctrl-C logs nothing more.

Exit status:
  0  within tolerance, for the captures that were asked for
  1  the source could not be used, or something could not be written
  2  wrong usage
  3  outside tolerance at the end
  4  undetermined at the end, or not one capture of use came
  A closed pipe is no error.";
