//! What can be typed after `flattop reach`. The comments are the help text.

use std::path::PathBuf;

use clap::{ArgGroup, ValueEnum};
use flattop_core::bench::{Id, InputId};
use flattop_core::divider::Divider;

use crate::values::{self, Deviation, Tolerated};
use crate::workbench::{self, BenchFile};

/// Tell whether a probe's trimmer reaches an input, from the data sheets
///
/// Before a probe is put on an oscilloscope: can its trimmer balance that input at
/// all? The data sheet of a probe states a compensation range, the input
/// capacitances its trimmer can balance; the data sheet of the oscilloscope states
/// the capacitance of its inputs. Where the input lies outside the range, this
/// command tells what stays wrong at the best setting of the trimmer: the
/// compensation error e, the picture of a 1 kHz square wave, the error of sines.
///
/// e is the gain for fast signals over the gain for slow ones, minus one. Below
/// zero fast parts read low, above zero they read high.
///
/// Without values it judges every probe of the bench on every input of it; with
/// --candidates, probes that might be bought on every input of the bench.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
#[command(override_usage = USAGE)]
#[command(group = ArgGroup::new("tip_capacitance").args(["tip", "tip_resistor"]))]
pub(crate) struct Args {
    /// Compensation range: least and most input capacitance that the trimmer balances
    #[arg(long, value_name = "A:B", requires_all = ["tip_capacitance", "inputs"], conflicts_with_all = OF_A_BENCH, value_parser = values::farad_range, allow_hyphen_values = true, help_heading = PROBE)]
    pub(crate) range: Option<(f64, f64)>,

    /// How far each limit of the range may be off
    #[arg(long, value_name = "C", requires = "range", default_value = "0pF", value_parser = values::farads_or_nil, allow_hyphen_values = true, help_heading = PROBE)]
    pub(crate) range_tolerance: f64,

    /// Capacitance that the circuit sees at the tip: the "input capacitance" of the probe's data sheet
    #[arg(long, value_name = "C", requires = "range", value_parser = values::farads, allow_hyphen_values = true, help_heading = PROBE)]
    pub(crate) tip: Option<f64>,

    /// Capacitance across the tip resistor, C1, in place of --tip
    #[arg(long, value_name = "C", requires = "range", value_parser = values::farads, allow_hyphen_values = true, help_heading = PROBE)]
    pub(crate) tip_resistor: Option<f64>,

    /// The divider's resistors: the one at the tip, the one at the oscilloscope
    #[arg(long, value_name = "R1:R2", requires = "range", default_value = "9M:1M", value_parser = values::divider, allow_hyphen_values = true, help_heading = PROBE)]
    pub(crate) divider: Divider,

    /// Where the probe is adjusted
    #[arg(long, value_name = "WHERE", requires = "range", default_value = "tip", help_heading = PROBE)]
    pub(crate) adjust: Place,

    /// Capacitance of an input, also with its tolerance: 20pF+-2pF; once for each input. Over a bench: the name of an input, bench-a/ch1
    #[arg(long = "input", value_name = "C", value_parser = input, allow_hyphen_values = true, help_heading = INPUT)]
    pub(crate) inputs: Vec<InputTyped>,

    /// How far an input may be off that states no tolerance itself: 2pF or 10%
    #[arg(long, value_name = "C|RATIO", requires = "range", default_value = "0pF", value_parser = values::deviation, allow_hyphen_values = true, help_heading = INPUT)]
    pub(crate) input_tolerance: Deviation,

    #[command(flatten)]
    pub(crate) bench: BenchFile,

    /// Only this probe of the bench or of the candidates; once for each
    #[arg(long = "probe", value_name = "ID", value_parser = workbench::probe_id, help_heading = workbench::BENCH)]
    pub(crate) probes: Vec<Id>,

    /// Rank the probes of this list, TOML or CSV, by how they reach the inputs of the bench
    #[arg(long, value_name = "FILE", help_heading = workbench::BENCH)]
    pub(crate) candidates: Option<PathBuf>,

    /// Sum up each probe in place of telling every pair
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) summary: bool,

    /// Over a bench: write CSV in place of words, one line for each pair, or for each candidate
    #[arg(long, conflicts_with = "json", help_heading = OUTPUT)]
    pub(crate) csv: bool,

    /// Write one JSON object, or an array of them, in place of words
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) json: bool,

    /// Draw range and input, square wave and error against frequency; several inputs get a file each. Over a bench: the matrix
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = OUTPUT)]
    pub(crate) plot: Option<PathBuf>,
}

/// What may stand after `--input`: a capacitance, or a name on the bench.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum InputTyped {
    /// A capacitance, with its tolerance where one was typed.
    Value(Tolerated),
    /// The name of an input.
    Named(InputId),
}

/// A slash is in every name of an input and in no capacitance.
fn input(text: &str) -> Result<InputTyped, String> {
    if text.contains('/') {
        workbench::input_id(text).map(InputTyped::Named)
    } else {
        values::tolerated_farads(text).map(InputTyped::Value)
    }
}

/// Options that belong to a whole bench, not to values typed.
const OF_A_BENCH: [&str; 5] = ["bench", "probes", "candidates", "summary", "csv"];

const USAGE: &str = "\
flattop reach [OPTIONS] --range A:B <--tip C|--tip-resistor C> --input C
       flattop reach [--bench FILE] [--probe ID]... [--input ID]...
       flattop reach [--bench FILE] --candidates LIST";

/// Where a probe is adjusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Place {
    /// The trimmer is at the tip, across the tip resistor
    Tip,
    /// The trimmer is in the box at the oscilloscope end
    Base,
}

const PROBE: &str = "Probe";
const INPUT: &str = "Input";
const OUTPUT: &str = "Output";

const EXAMPLES: &str = "\
Examples:
  flattop reach --range 8pF:18pF --tip 10pF --input 20pF
  flattop reach --range 15pF:35pF --tip 11pF --input 20pF+-2pF --plot reach.png
  flattop reach --range 8p:18p --tip 10p --input 13p --input 20p --input 25p
  flattop reach --bench bench.sqlite --plot matrix.png
  flattop reach --candidates offers.csv

Exit status:
  0 reaches        1 the numbers cannot be true together   2 wrong usage
  3 out of reach   4 may reach";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  Probe 07, made for 8 pF to 18 pF, on the inputs of the Bench A scope:
    flattop reach --range 8pF:18pF --tip 10pF --input 20pF
  The same with what the data sheets say of tolerances, and a drawing:
    flattop reach --range 8pF:18pF --range-tolerance 1pF --tip 10pF \\
      --input \"20 pF ± 2 pF\" --plot probe07-bench-a.png
  Which inputs of the workshop will Probe 07 do? One table:
    flattop reach --range 8pF:18pF --tip 10pF --input-tolerance 10% \\
      --input 13pF --input 16pF --input 20pF --input 25pF
  The 100:1 probe for the door-motor supply, trimmed in its box:
    flattop reach --divider 99M:1M --adjust base --range 10pF:25pF \\
      --tip 4pF --input 16pF
  For a program:
    flattop reach --range 8pF:18pF --tip 10pF --input 20pF --json
  Every probe of the bench on every input, as a table and a picture:
    flattop reach --plot matrix.png
  Where does Probe 07 belong? And which of the probes on offer do everywhere?
    flattop reach --probe probe-07
    flattop reach --candidates offers.csv --plot offers.svg

Quantities:
  range A:B     input capacitances that the trimmer balances, probe data sheet.
  input         capacitance beside \"1 MΩ\" at the input, oscilloscope data sheet.
  tip           what the circuit sees at the tip of the 10x probe. Its data
                sheet may include some pF of the body, which make e come out
                smaller than it is.
  tip-resistor  C1 across the tip resistor. Compensated, tip = C1·(N-1)/N with
                the attenuation N. A probe adjusted at the tip: mid-range.
  A number, a prefix, a unit: 20pF, \"20 pF\", 20p, 2e-11F. A tolerance behind
  a value: \"20 pF ± 2 pF\", 20pF+-2pF, 20pF+-10%.

What is computed:
  With the trimmer at its stop, and the input's capacitance d beyond it:
    above B:  e = -d/(N·C1 + d)        below A:  e = +d/(N·C1 - d)
  The verdict holds with every value that the tolerances allow; may reach means
  with some of them. The standard uncertainty takes each tolerance as an even
  spread (JCGM 100, 4.3.7); C1 counts as known.

Over a bench:
  A probe without a trimmer balances the middle of its range, whose half-width
  counts as tolerance. A value that is not known is named, never guessed.
  bandwidth of probe and input: 1/B² = 1/Bp² + 1/Bi², exact for two Gaussian
  responses. On an input of another resistance than the divider is made for
  it reads wrongly; that is told with the factor.
  LIST is a bench in TOML (flattop bench export) or the CSV list of probes
  (flattop bench list probes --csv); candidates rank by the inputs they suit,
  then by the margin that tolerances leave where it is least.

Exit status:
  0  reaches: the trimmer balances the input, tolerances included
  1  the numbers cannot be true together, or a result could not be written
  2  wrong usage
  3  out of reach: the trimmer stops before the input is balanced
  4  may reach: the tolerances leave it open
  Of several inputs the worst counts, in the order 1, 4, 3, 0. Of candidates:
  0 one suits every input, 4 one may, 3 none does.
  A closed pipe is no error.

JSON:
  One object for one input, an array for several; null stands for what is not
  known. An input that cannot be judged is {\"input_f\": ..., \"error\": ...}.
  Fields: flattop_version verdict side margin_f margin_tolerance_f
  compensation_error compensation_error_bounds time_constant_s
  tip_capacitance_f shunt_capacitance_f seen_at_tip_f square_wave
  amplitude_error findings stated. Units are SI.
  Over a bench: one object; docs/reach-json.md describes its fields.";
