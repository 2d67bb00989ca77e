//! What can be typed after `flattop correct`. The comments are the help text.

use std::path::PathBuf;

use clap::ValueEnum;
use flattop_core::quantity::{self, Unit};

use crate::values;
use crate::workbench::BenchFile;

/// Undo on a captured record what the pairing of probe and input did to it
///
/// The probe's compensation error leaves a slow tail behind every edge. Where e and
/// its time constant are known, from an assessment of the same probe on the same
/// input, this command takes the tail out again: exactly for a signal that runs
/// straight from sample to sample, in one pass over a record of any length.
///
/// The result has the columns of the capture and two more, corrected and
/// standard_uncertainty, in the same unit. The gain at dc is 1: what divides the
/// signal stays as it was in the record.
///
/// With a plan (see flattop predict) the whole chain is undone up to a bandwidth
/// that is stated: ringing of the ground lead, cable, input, loading.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// The capture to correct
    #[arg(value_name = "CAPTURE")]
    pub(crate) capture: PathBuf,

    /// Where the corrected record goes: text for text (packed if it ends in .gz), NPY for NPY and WAV
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: PathBuf,

    #[command(flatten)]
    pub(crate) known: Known,

    /// The signal was at rest at the level of the first sample before the record
    #[arg(long, help_heading = RECORD)]
    pub(crate) at_rest: bool,

    /// Standard deviation of the record's noise, in the unit of its column; without it the record itself tells
    #[arg(long, value_name = "VALUE", value_parser = not_negative, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) noise: Option<f64>,

    /// Number of the probe's column, counted from 1 over all columns
    #[arg(long, value_name = "N", value_parser = values::column, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) column: Option<u16>,

    /// Time between samples, for files without a time column
    #[arg(long, value_name = "TIME", value_parser = values::seconds, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) interval: Option<f64>,

    /// Write one JSON object in place of words
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) json: bool,

    /// Draw the record before and after, with its 95 % band
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = OUTPUT)]
    pub(crate) plot: Option<PathBuf>,
}

/// What is known of the pairing; one of these.
#[derive(Debug, clap::Args)]
pub(crate) struct Known {
    /// Compensation error e, with its tolerance where there is one: "-8 %", "-8 % +- 0.2 %"
    #[arg(long, value_name = "E", value_parser = error, allow_hyphen_values = true, requires = "time_constant", group = "what", help_heading = KNOWN)]
    pub(crate) error: Option<Tolerated>,

    /// Time constant with which the error dies away, with its tolerance where there is one: 81us, "81 us +- 1 us"
    #[arg(long, value_name = "TIME", value_parser = time_constant, allow_hyphen_values = true, requires = "error", help_heading = KNOWN)]
    pub(crate) time_constant: Option<Tolerated>,

    /// An assessment of the pairing: what `flattop assess --json` wrote
    #[arg(long, value_name = "ASSESSMENT.json", group = "what", help_heading = KNOWN)]
    pub(crate) from: Option<PathBuf>,

    /// An assessment in the logbook of the bench, by the number of its entry
    #[arg(long, value_name = "N", value_parser = entry, group = "what", help_heading = KNOWN)]
    pub(crate) entry: Option<i64>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,

    /// A plan whose whole chain is undone: bandwidth, ground lead, cable, loading, compensation
    #[arg(long, value_name = "PLAN.toml", group = "what", help_heading = CHAIN)]
    pub(crate) plan: Option<PathBuf>,

    /// -3 dB bandwidth up to which the chain is undone; without it the record's own noise decides
    #[arg(long, value_name = "FREQUENCY", value_parser = values::hertz, allow_hyphen_values = true, requires = "plan", help_heading = CHAIN)]
    pub(crate) bandwidth: Option<f64>,

    /// What the corrected record shows
    #[arg(long, value_name = "WHERE", default_value = "tip", help_heading = CHAIN)]
    pub(crate) against: Against,

    /// Largest amplification of any frequency; where the inverse would need more, it stops
    #[arg(long, value_name = "TIMES", default_value = "4", value_parser = at_least_one, allow_hyphen_values = true, help_heading = CHAIN)]
    pub(crate) largest_gain: f64,
}

/// What a corrected record shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Against {
    /// The voltage at the tip, with the probe on the circuit
    Tip,
    /// The voltage of the node without the probe: its loading is undone, too
    Node,
}

/// A value and the half-width within which it surely lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Tolerated {
    pub(crate) value: f64,
    pub(crate) half_width: f64,
}

impl Tolerated {
    /// Anywhere within with even odds: half-width/√3 (JCGM 100, 4.3.7).
    pub(crate) fn standard_uncertainty(self) -> f64 {
        self.half_width / 3f64.sqrt()
    }
}

const KNOWN: &str = "What is undone";
const CHAIN: &str = "The whole chain";
const RECORD: &str = "Record";
const OUTPUT: &str = "Output";

fn tolerated(text: &str, unit: Unit) -> Result<Tolerated, String> {
    let parts = ["±", "+/-", "+-"].iter().find_map(|sign| text.split_once(sign));
    let (value, half_width) = parts.map_or((text, None), |(value, half_width)| (value, Some(half_width)));
    for part in std::iter::once(value).chain(half_width) {
        if let Some(caution) = quantity::caution(part, unit) {
            return Err(format!("{}; {}", caution.message, caution.remedy));
        }
    }
    let parse = |part: &str| quantity::parse(part, unit).map_err(|e| e.to_string());
    let value = parse(value)?;
    let half_width = match half_width {
        None => 0.0,
        // Per cent of a time are per cent of its value; of a ratio they are the ratio's own.
        Some(part) if unit != Unit::Ratio && part.trim_end().ends_with('%') => {
            value.abs() * quantity::parse(part, Unit::Ratio).map_err(|e| e.to_string())?
        }
        Some(part) => parse(part)?,
    };
    if half_width >= 0.0 {
        Ok(Tolerated { value, half_width })
    } else {
        Err(format!("\"{text}\" has a tolerance below nil"))
    }
}

/// A compensation error with or without its tolerance.
pub(crate) fn error(text: &str) -> Result<Tolerated, String> {
    let error = tolerated(text, Unit::Ratio)?;
    if error.value > -1.0 {
        Ok(error)
    } else {
        Err(format!(
            "\"{text}\": at -100 % and below nothing of fast parts is left that could be restored; e has to be above"
        ))
    }
}

/// A time constant with or without its tolerance.
pub(crate) fn time_constant(text: &str) -> Result<Tolerated, String> {
    let constant = tolerated(text, Unit::Second)?;
    if constant.value > 0.0 {
        Ok(constant)
    } else {
        Err(format!("\"{text}\" is not above zero; write for example 81us"))
    }
}

fn entry(text: &str) -> Result<i64, String> {
    match text.trim().parse() {
        Ok(number) if number > 0 => Ok(number),
        _ => Err(format!("\"{text}\" is no entry; write its number, as 'flattop log' lists it")),
    }
}

fn not_negative(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(value) if value >= 0.0 && value.is_finite() => Ok(value),
        _ => Err(format!(
            "\"{text}\" is no number from 0 up; write it in the unit of the column, such as 0.002"
        )),
    }
}

fn at_least_one(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(value) if value >= 1.0 && value.is_finite() => Ok(value),
        _ => Err(format!("\"{text}\" is no number from 1 up; write for example 4")),
    }
}

const EXAMPLES: &str = "\
Examples:
  flattop assess cal-probe07.csv --json > probe07.json
  flattop correct door-motor.csv --from probe07.json -o door-motor-true.csv
  flattop correct door-motor.csv --error=-8% --time-constant 81us -o true.csv
  flattop correct logic-edge.csv --plan logic-edge.toml -o edge-true.csv

Exit status:
  0 done   1 a file could not be read, used or written   2 wrong usage
  4 the record cannot be corrected soundly";

const NOTES: &str = "\
Examples (captures of Harrow Lane Lift Works):
  From an assessment of the same probe on the same input, with a drawing:
    flattop assess cal-probe07.csv --json > probe07.json
    flattop correct door-motor.csv --from probe07.json -o door-motor-true.csv \\
      --plot door-motor.png
  From the logbook of the bench:
    flattop correct door-motor.csv --entry 12 -o door-motor-true.csv
  From figures with their tolerance:
    flattop correct door-motor.csv --error \"-8 % +- 0.2 %\" \\
      --time-constant \"81 us +- 1 us\" -o door-motor-true.csv
  Samples without a time column, known to start at rest:
    flattop correct burst.npy --interval 10ns --at-rest --from probe07.json \\
      -o burst-true.npy
  The whole chain of a plan, up to 150 MHz, as if the probe were not there:
    flattop correct logic-edge.csv --plan logic-edge.toml --bandwidth 150MHz \\
      --against node -o edge-true.csv --plot edge.png

What is stated for each sample:
  One standard uncertainty (JCGM 100): the record's own noise behind the inverse;
  e and time constant with their correlation; edges that fall between samples;
  what the signal did before the record, unless --at-rest says that it rested.
  A tolerance behind +- counts as lying anywhere within (half-width/sqrt(3)).

  With --plan: noise, the tolerances of the plan, start and ends of the record;
  all of it for the signal through a Gaussian of the stated bandwidth.

What is not done:
  With e and time constant alone, bandwidth, ringing of the ground lead and
  loading of the circuit stay in. With a plan, nothing beyond the bandwidth is
  made up. What is missing in the record stays missing. The capture itself is
  never overwritten.

Exit status:
  0  done
  1  a file could not be read, used or written
  2  wrong usage
  4  the record cannot be corrected soundly: the assessment has no usable result,
     or the record is too short; the report says why
  A closed pipe is no error.

JSON:
  One object; docs/correct-json.md lists its fields. Where nothing could be
  corrected it is {\"file\": ..., \"error\": ...}.

Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare
  part counts as hazardous live (IEC 61010-031).";

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative};

    #[test]
    fn values_come_with_or_without_a_tolerance() {
        let e = error("-8 % +- 0.2 %").unwrap();
        assert_close!(e.value, -0.08, relative(1e-12));
        assert_close!(e.half_width, 0.002, relative(1e-12));
        assert_close!(error("-8%").unwrap().half_width + 1.0, 1.0, relative(1e-15));
        let tau = time_constant("81us ± 2%").unwrap();
        assert_close!(tau.half_width, 1.62e-6, relative(1e-12));
        for text in ["-100%", "0.6", "x"] {
            assert!(error(text).is_err(), "{text}");
        }
        assert!(time_constant("0us").is_err() && time_constant("-1us").is_err());
        assert!(entry("0").is_err() && not_negative("-1").is_err());
    }
}
