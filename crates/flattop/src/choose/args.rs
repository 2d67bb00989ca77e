//! What can be typed after `flattop choose`. The comments are the help text.

use std::path::PathBuf;

use crate::values;
use crate::workbench::{BENCH, BenchFile};

/// Choose probe and input for a measurement, from a list or from the bench
///
/// The list says what is to be measured (node, signal, which figure and how well)
/// and names probes and inputs, by what their data sheets say or by their ids on
/// the bench. Every probe is predicted on every input. A list that names neither
/// ranks the pairings in force on the bench, or with --all every probe there on
/// every input. The answer ranks the pairings by their total error,
/// says why each one lost, and refuses those beyond a rating or out of reach of
/// their compensation range.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// The list, a TOML file
    #[arg(value_name = "LIST.toml")]
    pub(crate) list: PathBuf,

    /// Set a key of the list, such as measurement.tolerance=1%; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    pub(crate) set: Vec<String>,

    /// Every probe of the bench on every input, for a list that names neither
    #[arg(long, help_heading = BENCH)]
    pub(crate) all: bool,

    #[command(flatten)]
    pub(crate) bench: BenchFile,

    /// Write one JSON object in place of words
    #[arg(long, help_heading = "Output")]
    pub(crate) json: bool,

    /// Draw the error of each pairing against the tolerance
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = "Output")]
    pub(crate) plot: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  flattop choose harrow-lane.toml
  flattop choose harrow-lane.toml --set measurement.tolerance=1% --plot choice.png
  flattop choose gate.toml --all

Exit status:
  0 a pairing suits   1 the list cannot be used   2 wrong usage
  3 none suits        4 the best one may suit: its doubt is too large";

const NOTES: &str = "\
A list (Harrow Lane Lift Works, gate of a door-motor controller):
  [node]
  resistance = \"220 ohm\"
  capacitance = \"40 pF\"
  [signal]
  shape = \"square\"
  frequency = \"20 kHz\"
  low = \"0 V\"
  high = \"12 V\"
  rise = \"40 ns\"
  [contact]
  ground_length = \"150 mm\"
  [measurement]
  quantity = \"transition\"
  tolerance = \"5%\"
  [[probe]]
  label = \"Probe 07\"
  ratio = 10
  input_capacitance = \"10 pF\"
  compensation_range = [\"8 pF\", \"18 pF\"]
  bandwidth = \"200 MHz\"
  [[input]]
  label = \"Bench A scope, 200 MHz, channel 1\"
  resistance = \"1M\"
  capacitance = \"15 pF +- 2 pF\"
  bandwidth = \"200 MHz\"
  response = \"gaussian\"

Of the bench:
  [[probe]] id = \"probe-07\" and [[input]] id = \"bench-a/ch1\" stand for what the
  bench knows of them; leave out both kinds, and the bench says what to rank. A
  pairing that was assessed since it was last adjusted is predicted with the
  compensation error that was found, all others as well as their trimmer can.

Ranking:
  The total error is the size of the predicted error plus 1.96 standard
  uncertainties (95 %): doubt about a probe counts against it. A probe known by
  its data sheet is modelled (docs/data-sheet-model.md) and taken as adjusted on
  the input as well as its trimmer can.

Exit status:
  0  a pairing suits
  1  the list cannot be used, or a result not be written
  2  wrong usage
  3  none suits
  4  the best one may suit, but with its doubt it is not surely within tolerance

Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Local codes and the rules of licensed practice
  come first.";
