//! What can be typed after `flattop bench measure`. The comments are the help text.

use std::path::PathBuf;

use clap::Subcommand;
use flattop_core::assessment::Estimate;
use flattop_core::bench::Toleranced;
use flattop_core::quantity::{self, Unit};

use crate::values;
use crate::workbench::{BENCH, BenchFile, Doing};

/// Measure what the data sheet doesn't say, from captures of a square wave
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) what: What,
}

/// What is measured.
#[derive(Debug, Subcommand)]
pub(crate) enum What {
    /// An input's capacitance: one probe, its trimmer untouched, on a known input and on this one
    InputCapacitance(InputCapacitance),
    /// The input capacitances that a probe's trimmer really balances: captures at both of its stops
    CompensationRange(CompensationRange),
    /// What the circuit sees at a probe's tip; with captures through a resistor the body is in it
    TipCapacitance(TipCapacitance),
}

#[derive(Debug, clap::Args)]
pub(crate) struct InputCapacitance {
    /// The input that is measured, as bench-a/ch2
    pub(crate) input: String,

    /// Captures of the probe on that input
    #[arg(value_name = "CAPTURE", required = true)]
    pub(crate) captures: Vec<PathBuf>,

    /// The input whose capacitance is known
    #[arg(long, value_name = "ID")]
    pub(crate) known: String,

    /// A capture of the probe on the known input; may be given several times
    #[arg(long, value_name = "CAPTURE", required = true)]
    pub(crate) on_known: Vec<PathBuf>,

    #[command(flatten)]
    pub(crate) common: Common,
}

#[derive(Debug, clap::Args)]
pub(crate) struct CompensationRange {
    /// The input that the probe is on, as bench-a/ch1; its capacitance has to be known
    pub(crate) input: String,

    /// A capture with the trimmer at one stop; may be given several times
    #[arg(long, value_name = "CAPTURE", required = true)]
    pub(crate) stop: Vec<PathBuf>,

    /// A capture with the trimmer at the other stop; may be given several times
    #[arg(long, value_name = "CAPTURE", required = true)]
    pub(crate) other_stop: Vec<PathBuf>,

    #[command(flatten)]
    pub(crate) common: Common,
}

#[derive(Debug, clap::Args)]
pub(crate) struct TipCapacitance {
    /// The input that the probe is on, as bench-a/ch1
    pub(crate) input: String,

    /// Captures with the tip straight at the source
    #[arg(value_name = "CAPTURE", required = true)]
    pub(crate) captures: Vec<PathBuf>,

    /// A capture through a resistor between source and tip; may be given several times
    #[arg(long, value_name = "CAPTURE", requires = "resistor")]
    pub(crate) through: Vec<PathBuf>,

    /// That resistor with its tolerance, the source's resistance included: "10M ± 1%"
    #[arg(long, value_name = "RESISTANCE", value_parser = resistor, requires = "through")]
    pub(crate) resistor: Option<Toleranced>,

    #[command(flatten)]
    pub(crate) common: Common,
}

/// What all of them share.
#[derive(Debug, clap::Args)]
pub(crate) struct Common {
    /// The probe
    #[arg(long, value_name = "ID")]
    pub(crate) probe: String,

    /// How far a resistor may be from its value where the bench has no tolerance for it
    #[arg(long, value_name = "RATIO", value_parser = values::resistor_tolerance, default_value = "1%")]
    pub(crate) resistor_tolerance: f64,

    /// How far the input's own response may be from flat, as a share of a step; without it, it counts as flat
    #[arg(long, value_name = "RATIO", value_parser = values::resistor_tolerance)]
    pub(crate) flatness: Option<f64>,

    /// Store the value on the bench, and log it with its captures
    #[arg(long, help_heading = BENCH)]
    pub(crate) log: bool,

    /// Temperature of the room, °C
    #[arg(long, value_name = "DEGREES", value_parser = values::celsius, requires = "log", allow_hyphen_values = true, help_heading = BENCH)]
    pub(crate) temperature: Option<f64>,

    /// Write JSON in place of words
    #[arg(long)]
    pub(crate) json: bool,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

impl Common {
    /// Standard uncertainty of e from the input's own response: rectangular over what was typed.
    pub(super) fn flatness(&self) -> f64 {
        self.flatness.unwrap_or(0.0) / 3f64.sqrt()
    }

    /// A resistance of the bench with a standard uncertainty.
    pub(super) fn resistance(&self, stated: Toleranced) -> Estimate {
        let tolerance = stated.tolerance.unwrap_or(self.resistor_tolerance * stated.value);
        let standard_uncertainty = tolerance / 3f64.sqrt();
        Estimate { value: stated.value, standard_uncertainty }
    }
}

/// `10M ± 1%`.
pub(crate) fn resistor(text: &str) -> Result<Toleranced, String> {
    let parts = text.split_once('±').or_else(|| text.split_once("+/-")).or_else(|| text.split_once("+-"));
    let Some((value, tolerance)) = parts else {
        return Err(format!("\"{text}\" has no tolerance; write for example \"10M ± 1%\""));
    };
    let ohms = |text: &str| quantity::parse(text.trim(), Unit::Ohm).map_err(|e| e.to_string());
    let value = ohms(value)?;
    let tolerance = if tolerance.trim_end().ends_with('%') {
        values::resistor_tolerance(tolerance.trim())? * value
    } else {
        ohms(tolerance)?
    };
    if value > 0.0 && (0.0..value).contains(&tolerance) {
        Ok(Toleranced { value, tolerance: Some(tolerance) })
    } else {
        Err(format!("\"{text}\" leaves nothing at its lower end; write for example \"10M ± 1%\""))
    }
}

const EXAMPLES: &str = "\
Examples:
  flattop bench measure input-capacitance bench-a/ch2 on-ch2.csv \\
    --probe probe-07 --known bench-a/ch1 --on-known on-ch1.csv --log
  flattop bench measure compensation-range bench-a/ch1 --probe probe-07 \\
    --stop left.csv --other-stop right.csv
  flattop bench measure tip-capacitance bench-a/ch1 straight.csv \\
    --probe probe-07 --through behind.csv --resistor \"10M ± 1%\"

The resistor for the tip carries a small capacitor of 10 to 30 pF across it,
which need not be known. Connect all of this to a signal generator only, never
to a circuit under test.

Exit status:
  0 done   1 something could not be read or written   2 wrong usage
  4 undetermined: the captures cannot carry the value; the report says why";
