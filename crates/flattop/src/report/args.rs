//! What can be typed after `flattop report`. The comments are the help text.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};
use flattop_record::pdf::Paper;

use crate::values;
use crate::workbench::BenchFile;

/// Make a record to print and keep: one assessment, the state of the bench, a period
///
/// The record is one HTML file that needs nothing else, or a PDF. It states result
/// and decision rule, uncertainty budget, instruments, conditions, cautions, and
/// how to check it against the logbook. Names and places are those given here; what
/// is not given is printed as "not stated". No accreditation is claimed.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) what: What,
}

/// What the record is about.
#[derive(Debug, Subcommand)]
pub(crate) enum What {
    /// One assessment of the logbook, with its capture and fit, budget, before and after
    Assessment(Assessment),
    /// Every pairing as it stands now, and the instruments
    Bench(Bench),
    /// Every entry of a period, adjustments, and how each pairing went
    Period(Period),
}

/// One assessment.
#[derive(Debug, clap::Args)]
pub(crate) struct Assessment {
    /// The number of its entry in the logbook
    #[arg(value_name = "ENTRY")]
    pub(crate) entry: i64,

    #[command(flatten)]
    pub(crate) how: How,
}

/// The bench.
#[derive(Debug, clap::Args)]
pub(crate) struct Bench {
    #[command(flatten)]
    pub(crate) how: How,
}

/// A period.
#[derive(Debug, clap::Args)]
pub(crate) struct Period {
    /// Its first day, or the time when it begins
    #[arg(long, value_name = "DAY", value_parser = values::since)]
    pub(crate) from: i64,

    /// Its last day, which belongs to it, or the time when it ends
    #[arg(long, value_name = "DAY", value_parser = through)]
    pub(crate) to: i64,

    #[command(flatten)]
    pub(crate) how: How,
}

/// Where the record goes and what it says of those who hand it out.
#[derive(Debug, clap::Args)]
pub(crate) struct How {
    /// Where the record goes; its name says the form
    #[arg(short, long, value_name = "FILE.html|pdf", value_parser = target, help_heading = OUTPUT)]
    pub(crate) output: PathBuf,

    /// The paper it is laid out for
    #[arg(long, value_name = "PAPER", default_value = "a4", help_heading = OUTPUT)]
    pub(crate) paper: Sheet,

    /// Name of the laboratory
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) laboratory: Option<String>,

    /// Its address
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) address: Option<String>,

    /// Where the work was done
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) place: Option<String>,

    /// For whom, and how to reach them
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) customer: Option<String>,

    /// Who answers for the record
    #[arg(long, value_name = "NAME", value_parser = line, help_heading = ISSUER)]
    pub(crate) issued_by: Option<String>,

    /// A number of the laboratory's own
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) reference: Option<String>,

    /// When the item was received
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) received: Option<String>,

    /// In which condition the item was
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) condition: Option<String>,

    /// What was done otherwise than the method says
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) deviations: Option<String>,

    /// How time base and resistors are traceable
    #[arg(long, value_name = "TEXT", value_parser = line, help_heading = ISSUER)]
    pub(crate) traceability: Option<String>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

/// A size of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Sheet {
    /// 210 mm × 297 mm
    A4,
    /// 8.5 in × 11 in
    Letter,
}

impl Sheet {
    pub(super) fn paper(self) -> Paper {
        match self {
            Self::A4 => Paper::A4,
            Self::Letter => Paper::Letter,
        }
    }
}

/// A name that says HTML or PDF.
fn target(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match super::Form::of(&path) {
        Some(_) => Ok(path),
        None => Err(format!("\"{text}\" says neither HTML nor PDF; end it in .html or .pdf")),
    }
}

/// The end of a period, ms since 1970 UTC: a day belongs to it as a whole.
pub(crate) fn through(text: &str) -> Result<i64, String> {
    match text.trim().parse::<jiff::civil::Date>() {
        Ok(day) if text.trim().len() == "2026-11-25".len() => {
            let next = day.tomorrow().map_err(|e| format!("\"{text}\": {e}"))?;
            values::since(&next.to_string())
        }
        _ => values::since(text),
    }
}

/// Words for one field of a record.
pub(crate) fn line(text: &str) -> Result<String, String> {
    let text = text.trim();
    if text.is_empty() {
        return Err("nothing is said; leave the option out, and \"not stated\" is printed".into());
    }
    if text.chars().any(|c| c.is_control() && c != '\n') {
        return Err("the text holds a control character; write plain text".into());
    }
    if text.chars().count() > 1000 {
        return Err(format!("the text has {} letters; use at most 1000", text.chars().count()));
    }
    Ok(text.to_owned())
}

const OUTPUT: &str = "Output";
const ISSUER: &str = "Said by those who hand it out";

const EXAMPLES: &str = "\
Examples:
  flattop report assessment 118 -o probe-07.pdf
  flattop report bench -o bench.html
  flattop report period --from 2026-01-01 --to 2026-12-31 -o year.pdf

Exit status:
  0 written   1 the bench could not be read, or the record not made or written
  2 wrong usage   3 written, but the logbook is not intact";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  The assessment of Probe 07 after its trim, for the door shop:
    flattop report assessment 118 -o probe-07.pdf \\
      --laboratory \"Harrow Lane Lift Works, measuring room\" \\
      --address \"3 Harrow Lane\" --place \"Bench A\" \\
      --customer \"door shop\" --issued-by \"keeper of the bench\"
  The bench as it stands, on the wall beside it:
    flattop report bench -o bench.pdf --paper letter
  A year for the auditors, one file for the browser:
    flattop report period --from 2026-01-01 --to 2026-12-31 -o year.html

What a record holds:
  assessment  statement of conformity and decision rule; e, time constant,
              capacitances and trim with uncertainties; error against frequency;
              the kept capture with its fit, assessed again; uncertainty budget;
              before and after adjustment; findings, notes, corrections
  bench       state of every pairing, last e, day due; instruments
  period      all entries, counts, adjustments, e of each pairing over time;
              withdrawn entries are struck through
  all         identification, cautions, how to verify it, what is not claimed
  The fields follow ISO/IEC 17025:2017, 7.8; docs/records.md has the table.

Exit status:
  0  the record was written
  1  the bench could not be read, there is no such assessment, or the file could
     not be written
  2  wrong usage
  3  the record was written and says that the logbook is not intact";
