//! What can be typed after `flattop dialogue`. The comments are the help text.

use std::path::PathBuf;

use clap::Subcommand;

use crate::address::{self, Address};

/// Make, check and try the file that says how your instrument is spoken to
///
/// Flattop knows no instrument of any maker. A dialogue file, filled in from the
/// instrument's manual, says what to send, how samples are coded, and how they
/// become volts and seconds. docs/dialogues.md goes through one.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// What to do
    #[command(subcommand)]
    pub(crate) what: What,
}

/// What to do with a dialogue.
#[derive(Debug, Subcommand)]
pub(crate) enum What {
    /// Print the dialogue that comes along, to start from
    Template,
    /// Check a file, and print the conversation it would have; nothing is sent
    Check {
        /// The dialogue file
        file: PathBuf,
    },
    /// Speak to the instrument: who it is, one capture, and what it says when something goes wrong
    #[command(after_help = CAUTION)]
    Try {
        /// The dialogue file
        file: PathBuf,
        /// tcp://HOST:PORT, hislip://HOST[:PORT][/DEVICE] or usbtmc:/dev/usbtmc0
        #[arg(value_parser = address::parse)]
        address: Address,
        /// Write down what was said, to replay it; who the instrument is, is replaced by an invented name
        #[arg(long, value_name = "TRANSCRIPT")]
        record: Option<PathBuf>,
    },
    /// Have the conversation of a transcript again, without the instrument: a test of the file
    Replay {
        /// The dialogue file
        file: PathBuf,
        /// What was written down by 'try --record'
        transcript: PathBuf,
    },
}

const CAUTION: &str = "\
Caution:
  Hang the probe on the probe-adjust output of the oscilloscope, and on nothing
  else: remote control makes no measurement safer. The ground clip is joined to
  earth through the oscilloscope.";

const EXAMPLES: &str = "\
Examples:
  flattop dialogue template > bench-a.toml
  flattop dialogue check bench-a.toml
  flattop dialogue try bench-a.toml tcp://192.0.2.7:5025 --record bench-a.transcript
  flattop dialogue replay bench-a.toml bench-a.transcript

Exit status:
  0 done   1 the file, the instrument or the transcript could not be used
  2 wrong usage";
