//! What can be typed after `flattop budget`. The comments are the help text.

use std::path::PathBuf;

use crate::values;

/// Work out the uncertainty of a reading, and what it comes from
///
/// What the screen shows is not what is there: the probe loads the node, its
/// compensation is off a little, the input's bandwidth takes some away. What is
/// known of that is corrected; what is not known makes the uncertainty. The plan
/// says what is read ([reading]) with what (the tables of flattop predict), and how
/// well each value is known: "9M ± 1%".
///
/// Two ways side by side: the law of propagation (JCGM 100) with its table of
/// contributions, and Monte Carlo (JCGM 101), which also tells whether the first
/// may be trusted.
///
/// Start from a plan with all keys explained:
///   flattop budget --template > my-budget.toml
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// The plan, a TOML file; may be left out where --set says everything
    #[arg(value_name = "PLAN.toml")]
    pub(crate) plan: Option<PathBuf>,

    /// Set a key of the plan; an empty value takes the key away; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    pub(crate) set: Vec<String>,

    /// Coverage probability of the intervals
    #[arg(long, value_name = "RATIO", default_value = "95%", value_parser = values::tolerance, allow_hyphen_values = true)]
    pub(crate) coverage: f64,

    /// Seed of the random numbers; the same seed gives the same answer
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub(crate) seed: u64,

    /// Make so many Monte Carlo trials, in place of stopping when stable
    #[arg(long, value_name = "NUMBER", value_parser = trials)]
    pub(crate) trials: Option<u64>,

    /// The most Monte Carlo trials that are made to become stable
    #[arg(long, value_name = "NUMBER", default_value = "10000000", value_parser = trials, conflicts_with = "trials")]
    pub(crate) most_trials: u64,

    /// Digits of the standard uncertainty that count: how close is close enough
    #[arg(long, value_name = "NUMBER", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=3))]
    pub(crate) digits: u8,

    /// Write a plan with all keys explained, and stop
    #[arg(long, conflicts_with_all = ["plan", "json", "plot", "csv"])]
    pub(crate) template: bool,

    /// Write one JSON object in place of words
    #[arg(long, help_heading = "Output")]
    pub(crate) json: bool,

    /// Draw the contributions, and the distribution with its intervals
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = "Output")]
    pub(crate) plot: Option<PathBuf>,

    /// Write the table of contributions for a spreadsheet
    #[arg(long, value_name = "FILE.csv", help_heading = "Output")]
    pub(crate) csv: Option<PathBuf>,
}

/// The most that can be asked for: they have to be kept in part.
const MOST_TRIALS: f64 = 1e9;

/// A number of trials such as `1000000` or `1e6`.
fn trials(text: &str) -> Result<u64, String> {
    let number: f64 = text.replace(['_', ' '], "").parse().map_err(|_| wrong(text))?;
    if (1.0..=MOST_TRIALS).contains(&number) && number.fract() <= 0.0 {
        Ok(number as u64)
    } else {
        Err(wrong(text))
    }
}

fn wrong(text: &str) -> String {
    format!("\"{text}\" is no number of trials; write a whole number from 1 to 1e9, for example 1e6")
}

const EXAMPLES: &str = "\
Examples:
  flattop budget --template > sensor.toml
  flattop budget sensor.toml --plot sensor.png
  flattop budget sensor.toml --coverage 99% --seed 7 --csv sensor.csv
  flattop budget sensor.toml --set reading.quantity=rms --json

Exit status:
  0 done   1 the plan or a file it names cannot be used   2 wrong usage
  3 done, but the signal is beyond what probe or input is rated for";

const NOTES: &str = "\
Examples (plans of Harrow Lane Lift Works):
  A plan to fill in, with all keys explained:
    flattop budget --template > door-sensor.toml
  How sure is the amplitude of the door sensor, read with Probe 07 on the
  Bench A scope, 200 MHz? With a drawing:
    flattop budget door-sensor.toml --plot door-sensor.png
  The same with the compensation as assessed this morning:
    flattop budget door-sensor.toml --set \"reading.compensation_error=-0.8% +- 0.3%\"
  From 1 kHz to 100 MHz, for a program, one million trials:
    flattop budget door-sensor.toml --trials 1e6 --json \\
      --set \"reading.frequencies=1kHz:100MHz:50\"

What is read:
  amplitude (of a sine, also at several frequencies), peak-to-peak,
  transition-duration, delay (between two probes), mean, rms. True is the node
  with no probe on it, as with flattop predict. Shown and corrected are stated
  apart: a known error is no uncertainty.

Tolerances:
  \"15 pF ± 2 pF\" or \"9M +- 1%\": anywhere within, all alike likely (JCGM 100,
  4.3.7). An [[uncertain]] table makes it normal, t, triangular, arcsine,
  trapezoid or samples, gives degrees of freedom and temperature coefficients;
  [[correlated]] links two values. What a data sheet leaves open is assumed, and
  listed with its doubt.

Monte Carlo:
  Blocks of 10 000 trials until y, u and both ends of the interval are known to a
  fifth of the numerical tolerance (JCGM 101, 7.9; half a unit of the last of
  --digits), or --most-trials are made. The answer depends on seed and plan, not
  on the number of processors (RAYON_NUM_THREADS sets how many are used).
  Amplitudes: the exact chain in each trial. Else a surface of second order
  stands for it; how well is stated.

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
