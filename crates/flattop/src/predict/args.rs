//! What can be typed after `flattop predict`. The comments are the help text.

use std::path::PathBuf;

use super::keys::KeyOptions;
use crate::values;
use crate::workbench::BenchFile;

/// Predict what the screen shows of a signal, and what the probe does to the circuit
///
/// A plan says what is measured with what: the node of the circuit, its signal,
/// the ground lead, the probe, the oscilloscope's input. The answer compares what
/// the screen would show with what is there without the probe, names each cause of
/// the error with its share (loading, contact, compensation, cable, input), and
/// tells the highest sine and the fastest edge that this set-up carries within a
/// stated error.
///
/// A plan may name probe and input of the bench by their ids; what the bench knows
/// of them is then used, the last assessment of the two included.
///
/// Start from a plan with all keys explained:
///   flattop predict --template > my-plan.toml
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// The plan, a TOML file; may be left out where the options say everything
    #[arg(value_name = "PLAN.toml")]
    pub(crate) plan: Option<PathBuf>,

    /// Set a key of the plan; an empty value takes the key away; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    pub(crate) set: Vec<String>,

    /// Frequencies of the response: a list, or START:STOP:COUNT spread on a logarithmic scale
    #[arg(long, value_name = "LIST|START:STOP:COUNT", allow_hyphen_values = true)]
    pub(crate) frequencies: Option<String>,

    /// Times of the waveform: a list, or START:STOP:COUNT evenly spaced; without it they suit the signal
    #[arg(long, value_name = "LIST|START:STOP:COUNT", allow_hyphen_values = true)]
    pub(crate) times: Option<String>,

    /// The error up to which a sine or an edge counts as carried [default: 3%]
    #[arg(long, value_name = "RATIO", allow_hyphen_values = true)]
    pub(crate) error: Option<String>,

    /// Write a plan with all keys explained, and stop
    #[arg(long, conflicts_with_all = ["plan", "json", "plot"])]
    pub(crate) template: bool,

    /// Write one JSON object in place of words
    #[arg(long, help_heading = "Output")]
    pub(crate) json: bool,

    /// Draw shown against true, the response, the impedance, and the shares of the error
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = "Output")]
    pub(crate) plot: Option<PathBuf>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,

    #[command(flatten)]
    pub(crate) keys: KeyOptions,
}

impl Args {
    /// Everything typed that goes over the plan, in the order: options, then `--set`.
    pub(super) fn settings(&self) -> Result<Vec<(&str, &str)>, String> {
        let mut settings: Vec<(&str, &str)> =
            self.keys.given.iter().map(|(path, value)| (*path, value.as_str())).collect();
        let named = [
            ("output.frequencies", &self.frequencies),
            ("output.times", &self.times),
            ("output.error", &self.error),
        ];
        settings.extend(named.into_iter().filter_map(|(path, value)| Some((path, value.as_deref()?))));
        settings.extend(values::settings(&self.set)?);
        Ok(settings)
    }
}

const EXAMPLES: &str = "\
Examples:
  flattop predict --template > logic-edge.toml
  flattop predict logic-edge.toml --plot logic-edge.png
  flattop predict logic-edge.toml --contact.ground_length 20mm
  flattop predict sensor-node.toml --set node.resistance=100k --json
  flattop predict logic-edge.toml --probe.id probe-07 --input.id bench-a/ch1

Each key of a plan is an option, too: --help lists them.

Exit status:
  0 done   1 the plan or a file it names cannot be used   2 wrong usage
  3 done, but the signal is beyond what probe or input is rated for";

const NOTES: &str = "\
Examples (plans of Harrow Lane Lift Works):
  A plan to fill in, with all keys explained:
    flattop predict --template > logic-edge.toml
  What a 2 ns edge looks like through a long ground lead, with a drawing:
    flattop predict logic-edge.toml --plot logic-edge.png
  The same with a short one:
    flattop predict logic-edge.toml --contact.ground_length 20mm
  A sensor with 100 kilohms in place of the plan's resistance, for a program:
    flattop predict sensor-node.toml --set node.resistance=100k --json
  With a probe of the bench on the input that it is paired with:
    flattop predict --probe.id probe-07 --input.id bench-a/ch1 \\
      --signal.shape edge --signal.low 0V --signal.high 5V --signal.rise 5ns
  The same probe as if it were adjusted, whatever was measured:
    flattop predict logic-edge.toml --set probe.compensation_error=
  Without a plan:
    flattop predict --node.resistance 25 --signal.shape edge --signal.low 0V \\
      --signal.high 3.3V --signal.rise 2ns --contact.ground_length 150mm \\
      --probe.ratio 10 --probe.input_capacitance 10pF \\
      --probe.compensation_range \"8pF, 18pF\" --probe.bandwidth 200MHz \\
      --input.resistance 1M --input.capacitance 15pF --input.bandwidth 200MHz

What the words mean:
  true          the node with no probe on it: the source through the node's own
                resistance and capacitance
  shown         the screen: what arrives at the input, times the probe's factor,
                through the input's bandwidth
  share         the error less the error with that cause taken out; causes act
                upon each other, so a remainder is stated beside the shares
  rise, fall    the whole ramp, 0 to 100 %; rise_10_90 and fall_10_90 are 0.8 of it

Tolerances:
  A value such as \"15 pF +- 1 pF\" or \"9M +- 1%\" counts as lying anywhere within
  (standard uncertainty: half-width/sqrt(3), JCGM 100, 4.3.7); the answer then
  carries its uncertainty. A probe known by its data sheet only is modelled
  (docs/data-sheet-model.md); what had to be assumed is listed with its doubt.

Exit status:
  0  done
  1  the plan or a file it names cannot be used, or a result not be written
  2  wrong usage
  3  done, but the signal is beyond what probe or input is rated for

Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare
  part counts as hazardous live (IEC 61010-031). Local codes and the rules of
  licensed practice come first.";
