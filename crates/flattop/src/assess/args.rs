//! What can be typed after `flattop assess`. The comments are the help text.

use std::path::PathBuf;

use clap::ValueEnum;
use flattop_captures::ReadOptions;
use flattop_core::bench::Stage;
use flattop_core::divider::Divider;

use crate::status::WrongUsage;
use crate::values::{self, Reading};
use crate::workbench::{BENCH, BenchFile, Doing};

/// Tell the compensation error of probes from captures of a square wave
///
/// Connect the probe to a square wave of about 1 kHz, record a few periods, export
/// the record, and give the file to this command. It answers with the compensation
/// error e, which way the trimmer has to go and by how many picofarads, and what
/// the probe does to a sine of any frequency until it is trimmed.
///
/// e is the gain for fast signals over the gain for slow ones, minus one. Below
/// zero the probe is undercompensated and fast parts read low; above zero it is
/// overcompensated and fast parts read high.
///
/// It reads delimited text, NPY and WAV, also packed with gzip or zstd.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// Captures to assess, each on its own
    #[arg(value_name = "CAPTURE", required_unless_present = "by_eye", conflicts_with = "by_eye")]
    pub(crate) captures: Vec<PathBuf>,

    #[command(flatten)]
    pub(crate) circuit: Circuit,

    #[command(flatten)]
    pub(crate) columns: Columns,

    /// The captures are sines, one frequency each, with the source in the reference column
    #[arg(long, requires = "reference", conflicts_with = "by_eye", help_heading = RECORD)]
    pub(crate) sine: bool,

    /// Assess readings off a screen; no capture is needed
    #[arg(long, requires_all = ["start", "end"], conflicts_with_all = ["column", "reference", "interval"], help_heading = BY_EYE)]
    pub(crate) by_eye: bool,

    #[command(flatten)]
    pub(crate) readings: Readings,

    #[command(flatten)]
    pub(crate) logging: Logging,

    /// Write one JSON object, or an array of them, in place of words
    #[arg(long, help_heading = OUTPUT)]
    pub(crate) json: bool,

    /// Draw record, fit and error against frequency; several captures get a file each
    #[arg(long, value_name = "FILE.svg|png", value_parser = values::drawing, help_heading = OUTPUT)]
    pub(crate) plot: Option<PathBuf>,
}

/// The divider, and what is accepted of it; `trim` takes the same.
#[derive(Clone, Debug, Default, clap::Args)]
pub(crate) struct Circuit {
    /// The divider's resistors: the one at the tip, the one at the oscilloscope [default: 9M:1M, or what the bench says]
    #[arg(long, value_name = "R1:R2", value_parser = values::divider, allow_hyphen_values = true)]
    pub(crate) divider: Option<Divider>,

    /// How far each resistor may be from its value [default: 1%, or what the bench says]
    #[arg(long, value_name = "RATIO", value_parser = values::resistor_tolerance, allow_hyphen_values = true)]
    pub(crate) resistor_tolerance: Option<f64>,

    /// The error |e| that is still accepted [default: 1%, or that of the pairing]
    #[arg(long, value_name = "RATIO", value_parser = values::tolerance, allow_hyphen_values = true)]
    pub(crate) tolerance: Option<f64>,

    /// Where the probe is adjusted [default: tip, or what the bench says]
    #[arg(long, value_name = "WHERE")]
    pub(crate) adjust: Option<Place>,

    /// Peak-to-peak amplitude of the square wave at the tip, to check the attenuation
    #[arg(long, value_name = "VOLTAGE", value_parser = values::volts, allow_hyphen_values = true)]
    pub(crate) source_amplitude: Option<f64>,
}

/// How a capture is read; `trim` takes the same.
#[derive(Clone, Debug, clap::Args)]
pub(crate) struct Columns {
    /// Number of the probe's column, counted from 1 over all columns
    #[arg(long, value_name = "N", value_parser = values::column, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) column: Option<u16>,

    /// Number of a column that shows the source itself
    #[arg(long, value_name = "N", value_parser = values::column, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) reference: Option<u16>,

    /// Time between samples, for files without a time column
    #[arg(long, value_name = "TIME", value_parser = values::seconds, allow_hyphen_values = true, help_heading = RECORD)]
    pub(crate) interval: Option<f64>,
}

impl Columns {
    /// As the readers want it.
    pub(crate) fn read(&self) -> Result<ReadOptions, WrongUsage> {
        let read = ReadOptions {
            column: self.column.map(usize::from),
            reference: self.reference.map(usize::from),
            interval_s: self.interval,
        };
        if read.column.is_some() && read.column == read.reference {
            let message =
                "--column and --reference name the same column; the reference shows the source itself";
            return Err(WrongUsage { message: message.into() });
        }
        Ok(read)
    }
}

/// The pairing on the bench, and the logbook.
#[derive(Debug, clap::Args)]
pub(crate) struct Logging {
    /// The probe on the bench: its resistors, trimmer and tolerance are taken from there
    #[arg(long, value_name = "ID", help_heading = BENCH)]
    pub(crate) probe: Option<String>,

    /// The input it hangs on, as bench-a/ch1; without it the one it is paired with
    #[arg(long, value_name = "ID", requires = "probe", help_heading = BENCH)]
    pub(crate) input: Option<String>,

    /// Write the result into the logbook, with the capture itself
    #[arg(long, requires = "probe", help_heading = BENCH)]
    pub(crate) log: bool,

    /// What the capture was made for [default: check]
    #[arg(long, value_name = "STAGE", requires = "log", help_heading = BENCH)]
    pub(crate) stage: Option<LoggedStage>,

    /// Temperature of the room, °C
    #[arg(long, value_name = "DEGREES", value_parser = values::celsius, requires = "log", allow_hyphen_values = true, help_heading = BENCH)]
    pub(crate) temperature: Option<f64>,

    #[command(flatten)]
    pub(crate) doing: Doing,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// What a capture was made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LoggedStage {
    /// A check; the trimmer stays as it is
    Check,
    /// Before the trimmer is turned
    Before,
    /// After the trimmer was turned
    After,
}

impl LoggedStage {
    /// As the logbook knows it.
    pub(crate) fn stage(self) -> Stage {
        match self {
            Self::Check => Stage::Check,
            Self::Before => Stage::BeforeAdjustment,
            Self::After => Stage::AfterAdjustment,
        }
    }
}

/// Readings off a screen.
#[derive(Debug, clap::Args)]
pub(crate) struct Readings {
    /// Level just after the rising edge, counted from the level just before it; in divisions unless a unit is given
    #[arg(long, value_name = "LEVEL", value_parser = values::level, allow_hyphen_values = true, requires = "by_eye", help_heading = BY_EYE)]
    pub(crate) start: Option<Reading>,

    /// Level just before the falling edge, counted from the same level; in divisions unless a unit is given
    #[arg(long, value_name = "LEVEL", value_parser = values::level, allow_hyphen_values = true, requires = "by_eye", help_heading = BY_EYE)]
    pub(crate) end: Option<Reading>,

    /// Finest step of level that could be told apart, in the same unit; without it the last digit typed counts
    #[arg(long, value_name = "LEVEL", value_parser = values::level, allow_hyphen_values = true, requires = "by_eye", help_heading = BY_EYE)]
    pub(crate) resolution: Option<Reading>,

    /// Frequency of the square wave; without it 1 kHz is assumed
    #[arg(long, value_name = "FREQUENCY", value_parser = values::hertz, allow_hyphen_values = true, requires = "by_eye", help_heading = BY_EYE)]
    pub(crate) frequency: Option<f64>,

    /// Time from the edge until 37 % of the way from start to end is left
    #[arg(long, value_name = "TIME", value_parser = values::time_read, allow_hyphen_values = true, requires = "by_eye", help_heading = BY_EYE)]
    pub(crate) time_to_37: Option<Reading>,
}

/// Where a probe is adjusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Place {
    /// The trimmer is at the tip, across the tip resistor
    Tip,
    /// The trimmer is in the box at the oscilloscope end
    Base,
}

const RECORD: &str = "Record";
const BY_EYE: &str = "Readings by eye";
const OUTPUT: &str = "Output";

const EXAMPLES: &str = "\
Examples:
  flattop assess bench-a-ch1-probe07.csv
  flattop assess bench-a-ch2-probe11.csv --adjust base --plot probe11.png
  flattop assess --divider 99M:1M --interval 1us lift-controller.npy
  flattop assess --by-eye --start 4.6 --end 5 --resolution 0.05 --frequency 1kHz
  flattop assess bench-a-ch1-probe07.csv --probe probe-07 --log --stage before

Exit status:
  0 within tolerance   1 a capture could not be read or used   2 wrong usage
  3 outside tolerance  4 undetermined";

const NOTES: &str = "\
Examples (the captures of Harrow Lane Lift Works):
  One probe, and what to turn:
    flattop assess bench-a-ch1-probe07.csv
  A probe that is trimmed in its box at the oscilloscope, with a drawing:
    flattop assess bench-a-ch2-probe11.csv --adjust base --plot probe11.png
  All probes of a bench in one table, with a wider tolerance:
    flattop assess bench-a-*.csv --tolerance 2%
  A 100:1 probe, samples without a time column:
    flattop assess --divider 99M:1M --interval 1us lift-controller.npy
  The source itself on column 3, so that its shape does not matter:
    flattop assess bench-a-both.csv --column 2 --reference 3
  Sines in place of a square wave, the source on column 3:
    flattop assess --sine --column 2 --reference 3 at-1k.csv at-100k.csv
  No export at hand, read off the screen in divisions:
    flattop assess --by-eye --start 4.6 --end 5.0 --frequency 1kHz
  A probe of the bench, before and after turning its trimmer, into the logbook:
    flattop assess first.csv --probe probe-07 --log --stage before
    flattop assess second.csv --probe probe-07 --log --stage after
  For a program:
    flattop assess bench-a-ch1-probe07.csv --json

Quantities:
  A number, a prefix, a unit: 1us, \"1 us\", 1e-6, 3.3V, 9M, 4k7, 500ppm, 1%.
  The unit may be left out. Case matters: m is a thousandth, M a million.
  A bare ratio is a ratio: 0.01 is 1%.

What is assumed:
  Each resistor lies anywhere within its tolerance with even odds, which makes
  the standard uncertainty tolerance/sqrt(3) (JCGM 100, 4.3.7). It counts in
  every capacitance. A verdict is given when it is at least 95 % sure.

Exit status:
  0  done, and within tolerance
  1  a capture could not be read or used, or a result could not be written
  2  wrong usage
  3  done, outside tolerance
  4  undetermined: the record cannot carry a verdict; the report says why
  Of several captures the worst counts, in the order 1, 4, 3, 0.
  A closed pipe is no error.

JSON:
  One object for one capture, an array for several; null stands for what could
  not be determined. A capture that failed is {\"file\": ..., \"error\": ...}.
  Fields: flattop_version file method verdict tolerance coverage
  compensation_error time_constant_s correlation tip_capacitance_f
  shunt_capacitance_f seen_at_tip_f adjustment square_wave amplitude_error
  phase_error measured_response findings assumptions pairing captures
  record.
  Units are SI.

Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare
  part counts as hazardous live (IEC 61010-031).";
