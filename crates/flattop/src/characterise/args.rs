//! What can be typed after `flattop characterise`. The comments are the help text.

use std::path::PathBuf;

use flattop_captures::ReadOptions;
use flattop_core::assessment::Estimate;
use flattop_core::characterise::Settings;

use super::run::{Evidence, Request};
use crate::status::WrongUsage;
use crate::values;

/// Measure the response of a probe on its input from a fast edge or a sweep
///
/// Capture a fast edge through the probe, best with the source itself on a second,
/// faster channel, and give the file to this command. It answers with gain and phase
/// against frequency, each with its uncertainty, as far as the noise of the record
/// lets them be known; with bandwidth, transition duration, flatness and
/// aberrations. Beyond the highest frequency that is known nothing is stated.
///
/// The response can be stored for flattop predict and flattop correct.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// The capture; with --sine two or more, of one sine each
    #[arg(value_name = "CAPTURE", required = true)]
    pub(crate) captures: Vec<PathBuf>,

    /// Number of the probe's column, counted from 1 over all columns
    #[arg(long, value_name = "N", value_parser = values::column, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) column: Option<u16>,

    /// Number of a column that shows the source itself
    #[arg(long, value_name = "N", value_parser = values::column, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) reference: Option<u16>,

    /// Time between samples, for files without a time column
    #[arg(long, value_name = "TIME", value_parser = values::seconds, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) interval: Option<f64>,

    /// The captures are sines, one frequency each, with the source in the reference column
    #[arg(long, requires = "reference", help_heading = RECORD)]
    pub(crate) sine: bool,

    /// 10-90 % transition duration of the edge at the tip, taken as Gaussian, with its tolerance: 1ns+-0.2ns
    #[arg(long, value_name = "TIME", value_parser = transition, conflicts_with = "reference", allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) source_transition: Option<Estimate>,

    /// Band over which flatness is stated, such as 10kHz:20MHz
    #[arg(long, value_name = "F1:F2", value_parser = band, allow_hyphen_values = true, help_heading = OUTPUT)]
    pub(crate) band: Option<(f64, f64)>,

    /// Largest uncertainty of a gain (95 %, share of that gain) that is still stated
    #[arg(long, value_name = "RATIO", default_value = "3%", value_parser = values::tolerance, allow_hyphen_values = true, help_heading = OUTPUT)]
    pub(crate) limit: f64,

    /// Store the response: Touchstone for plans, or JSON
    #[arg(short, long, value_name = "FILE.s2p|json", value_parser = stored, help_heading = OUTPUT)]
    pub(crate) output: Option<PathBuf>,

    /// Store the response as a table
    #[arg(long, value_name = "FILE.csv", help_heading = OUTPUT)]
    pub(crate) csv: Option<PathBuf>,

    /// Write one JSON object in place of words
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) json: bool,

    /// Draw gain, phase and the step
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = OUTPUT)]
    pub(crate) plot: Option<PathBuf>,
}

const RECORD: &str = "Record";
const OUTPUT: &str = "Output";

const EXAMPLES: &str = "\
Examples:
  flattop characterise edges.csv --column 2 --reference 3 --plot probe07.png
  flattop characterise edge.csv --source-transition 1ns+-0.2ns --band 10kHz:20MHz
  flattop characterise --sine --column 2 --reference 3 at-*.csv -o probe07.s2p

Exit status:
  0 done   1 a capture could not be read, or a result not be written
  2 wrong usage   4 the record cannot carry a response";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  Probe 07 on channel 1, the pulse generator itself on a faster channel 2:
    flattop characterise edges.csv --column 2 --reference 3 --plot probe07.png
  A fast edge alone, its transition duration from the generator's data sheet:
    flattop characterise edge.csv --source-transition 1ns+-0.2ns
  How flat is it up to 20 MHz?
    flattop characterise edges.csv --column 2 --reference 3 --band 10kHz:20MHz
  Store it, and predict with it:
    flattop characterise edges.csv --column 2 --reference 3 -o probe07.s2p
  For a program:
    flattop characterise edges.csv --column 2 --reference 3 --json

What is computed:
  The differences of a settled step are an impulse. Its spectrum in the probe's
  column over that in the reference's is the response; over the spectrum of a
  Gaussian step where its transition duration is stated. Gain is relative to low
  frequencies. What lies on both sides of the edge has to be settled. Of several
  edges the mean counts.

What is assumed:
  The noise is that of the settled levels; where edges scatter more, their
  scatter counts. A tolerance of the source's transition duration is an even
  spread (JCGM 100, 4.3.7); without one it is taken as exact. Transition
  durations are subtracted as squares, which is exact for Gaussian steps only.
  Jitter within the oscilloscope's own averaging does not show, and rolls the
  response off.

Exit status:
  0  done
  1  a capture could not be read, or a result could not be written
  2  wrong usage
  4  the record cannot carry a response; the report says why
  A closed pipe is no error.

JSON:
  Fields: flattop_version headline method coverage expanded_limit lowest_hz
  highest_hz ended_by bandwidth_hz bandwidth_above_hz low_frequency_gain delay_s
  transition aberrations flatness edges noise response findings captures.
  Units are SI.

Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare
  part counts as hazardous live (IEC 61010-031).";

impl Args {
    /// Checks what the parser could not check by itself.
    pub(super) fn request(&self) -> Result<Request, WrongUsage> {
        let wrong = |message: &str| Err(WrongUsage { message: message.to_owned() });
        if self.column.is_some() && self.column == self.reference {
            return wrong(
                "--column and --reference name the same column; the reference shows the source itself",
            );
        }
        if self.sine && self.captures.len() < 2 {
            return wrong("--sine needs captures at two frequencies or more, one file each");
        }
        if !self.sine && self.captures.len() > 1 {
            return wrong("edges come from one capture; give one file, or --sine for a sweep of several");
        }
        Ok(Request {
            captures: self.captures.clone(),
            read: ReadOptions {
                column: self.column.map(usize::from),
                reference: self.reference.map(usize::from),
                interval_s: self.interval,
            },
            evidence: match (self.sine, self.reference) {
                (true, _) => Evidence::Sines,
                (false, Some(_)) => Evidence::EdgesWithReference,
                (false, None) => Evidence::Edges(self.source_transition),
            },
            settings: Settings { expanded_limit: self.limit, band_hz: self.band },
        })
    }
}

/// A transition duration with or without its tolerance, which is taken as an even spread.
pub(crate) fn transition(text: &str) -> Result<Estimate, String> {
    let parts = text.split_once('±').or_else(|| text.split_once("+/-")).or_else(|| text.split_once("+-"));
    let (nominal, half_width) = parts.map_or((text, None), |(a, b)| (a, Some(b)));
    let value = values::seconds(nominal)?;
    let half_width_s = match half_width {
        None => 0.0,
        Some(h) if h.contains('%') => value * values::resistor_tolerance(h)?,
        Some(h) => values::seconds(h)?,
    };
    if half_width_s < value {
        Ok(Estimate { value, standard_uncertainty: half_width_s / 3f64.sqrt() })
    } else {
        Err(format!("\"{text}\" leaves nothing at its lower end; write for example 1ns+-0.2ns"))
    }
}

/// A band such as `10kHz:20MHz`, Hz.
pub(crate) fn band(text: &str) -> Result<(f64, f64), String> {
    let Some((from, to)) = text.split_once(':').filter(|(_, rest)| !rest.contains(':')) else {
        return Err(format!(
            "\"{text}\" is no band; write its limits with a colon between, for example 10kHz:20MHz"
        ));
    };
    let band = (values::hertz(from)?, values::hertz(to)?);
    if band.0 < band.1 {
        Ok(band)
    } else {
        Err(format!("\"{text}\" runs downwards; exchange its limits: {}:{}", to.trim(), from.trim()))
    }
}

/// The name of a stored response, which has to end in `.s2p` or `.json`.
fn stored(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match path.extension().and_then(|extension| extension.to_str()) {
        Some(e) if e.eq_ignore_ascii_case("s2p") || e.eq_ignore_ascii_case("json") => Ok(path),
        _ => Err(format!("\"{text}\" does not say which form is wanted; end the name in .s2p or .json")),
    }
}
