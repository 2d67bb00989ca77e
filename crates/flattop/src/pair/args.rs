//! What can be typed after `flattop pair`. The comments are the help text.

use std::path::PathBuf;

use crate::values;
use crate::workbench::BenchFile;

/// Tell how two probes do together: as a difference A - B, or for the time between them
///
/// Two probes can measure between two points that both float: the oscilloscope
/// shows A - B. What both tips share should vanish then, and does only as far as
/// the two probes are alike. This command tells how far, against frequency; what
/// trimming can still do; and from the same edge captured on both, their gain
/// mismatch, the skew between them and the deskew to set.
///
/// A and B each are an assessment (the JSON file of flattop assess --json), a plan
/// (TOML, with the whole chain), or a probe of the bench with its last assessment.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// The first probe: ASSESSMENT.json, PLAN.toml, or a probe of the bench
    pub(crate) a: String,

    /// The second probe, likewise
    pub(crate) b: String,

    /// Frequencies: a list, or START:STOP:COUNT
    #[arg(long, value_name = "LIST|START:STOP:COUNT", default_value = "100,1k,10k,100k,1M,10M", value_parser = list_of_hz)]
    pub(crate) frequencies: ListOfHz,

    /// A capture of the same edge on both probes; two files, or one with two columns
    #[arg(long, value_name = "CAPTURE", help_heading = EDGES)]
    pub(crate) edges: Vec<PathBuf>,

    /// Number of A's column, counted from 1 over all columns
    #[arg(long, value_name = "N", value_parser = values::column, requires = "edges", help_heading = EDGES)]
    pub(crate) column_a: Option<u16>,

    /// Number of B's column
    #[arg(long, value_name = "N", value_parser = values::column, requires = "edges", help_heading = EDGES)]
    pub(crate) column_b: Option<u16>,

    /// Time between samples, for files without a time column
    #[arg(long, value_name = "TIME", value_parser = values::seconds, requires = "edges", help_heading = EDGES)]
    pub(crate) interval: Option<f64>,

    /// How much later B shows the same edge than A, where it is known: "2.3ns+-0.1ns"
    #[arg(long, value_name = "TIME", value_parser = values::signed_seconds, allow_hyphen_values = true, conflicts_with = "edges", help_heading = EDGES)]
    pub(crate) skew: Option<(f64, f64)>,

    /// Gain of B over gain of A at low frequency, where it is known: "0.998+-0.002"
    #[arg(long, value_name = "RATIO", value_parser = values::gain_ratio, conflicts_with = "edges", help_heading = EDGES)]
    pub(crate) gain_ratio: Option<(f64, f64)>,

    /// Voltage common to both tips, to tell what the difference shows of it
    #[arg(long, value_name = "VOLTAGE", value_parser = values::volts, help_heading = MEASUREMENT)]
    pub(crate) common_mode: Option<f64>,

    /// A power from sines: frequency, and by how many degrees the current lags: 100kHz:60
    #[arg(long, value_name = "FREQUENCY:DEGREES", value_parser = values::power, help_heading = MEASUREMENT)]
    pub(crate) power: Option<(f64, f64)>,

    /// A hard switching edge: voltage and current, 400V:10A
    #[arg(long, value_name = "VOLTAGE:CURRENT", value_parser = values::switching, help_heading = MEASUREMENT)]
    pub(crate) switching: Option<(f64, f64)>,

    /// A delay from A to B, read at 50 %, with B's transition duration
    #[arg(long, value_name = "TIME", value_parser = values::seconds, help_heading = MEASUREMENT)]
    pub(crate) delay: Option<f64>,

    /// Write JSON in place of words
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) json: bool,

    /// Draw the rejection against frequency
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = OUTPUT)]
    pub(crate) plot: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// Frequencies, Hz: one option, many values.
#[derive(Clone, Debug)]
pub(crate) struct ListOfHz(pub(crate) Vec<f64>);

fn list_of_hz(text: &str) -> Result<ListOfHz, String> {
    values::frequencies(text).map(ListOfHz)
}

const EDGES: &str = "Gain and skew";
const MEASUREMENT: &str = "The measurement";
const OUTPUT: &str = "Output";

const EXAMPLES: &str = "\
Examples:
  flattop pair probe-07 probe-08 --edges both.csv --column-a 2 --column-b 3
  flattop pair a.json b.json --common-mode 400V
  flattop pair a.toml b.toml --frequencies 1k:100M:101 --plot rejection.png

Exit status:
  0 done   1 something could not be read or used   2 wrong usage
  4 undetermined: an assessment or the edges carry no answer";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  Two probes across the winding of a door motor, both ends of which float:
    flattop pair probe-07 probe-08 --common-mode 400V
  The same edge on both, from one capture with three columns:
    flattop pair probe-07 probe-08 --edges both.csv --column-a 2 --column-b 3
  What the skew does to a switching loss, and to a power at 100 kHz:
    flattop pair a.json b.json --skew \"2.3ns+-0.1ns\" --switching 400V:10A \\
      --power 100kHz:60

What is computed:
  m = (HA - HB)/((HA + HB)/2); the rejection is 1/|m|, as 20 lg in dB. What is
  given as \"at least\" adds the expanded uncertainty of m to |m|.
  Skew counts from A to B: above zero, B shows the edge later.
  Without --edges, --skew and --gain-ratio, equal gains and no skew are assumed,
  which no pair has: the rejection is that of the responses alone.

Caution:
  Neither ground clip may go to a floating point. For a difference both clips
  stay off, or are joined to each other, and each tip must stand its own voltage
  to earth at the frequency of the signal (IEC 61010-031; local codes come first).

Exit status:
  0  done
  1  a file, plan or probe could not be read or used
  2  wrong usage
  4  undetermined: an assessment or the edges carry no answer";
