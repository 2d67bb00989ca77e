//! What can be typed: the commands, and what they have in common.

use clap::{Parser, Subcommand};

use crate::{
    assess, bench, budget, characterise, choose, completions, correct, dialogue, log, man, pair, practise,
    predict, reach, report, serve, trim,
};

/// Trust what the oscilloscope shows through a divider probe
///
/// Flattop reads captures of square waves taken through passive divider probes and tells how far each probe is from
/// flat on its input, which way its trimmer has to go, and by how many picofarads.
#[derive(Debug, Parser)]
#[command(name = "flattop", version, propagate_version = true, max_term_width = 80, after_long_help = SAFETY)]
pub(crate) struct Cli {
    /// What to do
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands; each brings its help text along.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    Assess(Box<assess::Args>),
    Reach(Box<reach::Args>),
    Predict(Box<predict::Args>),
    Choose(choose::Args),
    Characterise(Box<characterise::Args>),
    Pair(Box<pair::Args>),
    Correct(Box<correct::Args>),
    Trim(Box<trim::Args>),
    Practise(practise::Args),
    Dialogue(dialogue::Args),
    Bench(Box<bench::Args>),
    Log(Box<log::Args>),
    Report(Box<report::Args>),
    Serve(Box<serve::Args>),
    Budget(budget::Args),
    Completions(completions::Args),
    Man(man::Args),
}

/// The reminder that closes every long help text.
pub(crate) const SAFETY: &str = "\
Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare
  part counts as hazardous live (IEC 61010-031).";
