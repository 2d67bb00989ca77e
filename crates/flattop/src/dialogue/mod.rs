//! `flattop dialogue`: makes, checks, tries and replays the file that says how an instrument is spoken to.

mod args;

use std::fmt::Write as _;
use std::path::Path;

use flattop_instruments::clock::{Hand, SharedClock, Steady};
use flattop_instruments::dialogue::{Acquired, Dialogue, Instrument, SCPI_1999};
use flattop_instruments::transport::{Entry, Recorder, Replay, Transcript};
use flattop_report::format::plain;

pub(crate) use args::Args;
use args::What;

use crate::address::Address;
use crate::output::{bare_name, complain, print, save};
use crate::status::{Ending, WrongUsage};
use crate::values::read_text;

/// Stands in a transcript for what the instrument said it is.
const INVENTED: &str = "Harrow Lane Lift Works,Bench A scope,0,0";

/// Runs the command.
pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let outcome = match &args.what {
        What::Template => Ok(SCPI_1999.to_owned()),
        What::Check { file } => load(file).map(|dialogue| dialogue.dry_run()),
        What::Try { file, address, record } => attempt(file, address, record.as_deref()),
        What::Replay { file, transcript } => replay(file, transcript),
    };
    Ok(match outcome {
        Ok(text) => print(text.as_bytes()),
        Err(message) => {
            complain(&message);
            Ending::Unusable
        }
    })
}

/// Reads and checks a dialogue file.
pub(crate) fn load(file: &Path) -> Result<Dialogue, String> {
    Dialogue::parse(&file.display().to_string(), &read_text(file)?).map_err(|problems| problems.to_string())
}

fn attempt(file: &Path, address: &Address, record: Option<&Path>) -> Result<String, String> {
    let dialogue = load(file)?;
    let clock: SharedClock = Steady::shared();
    let transport = address.connect(&clock, dialogue.bounds.answer_time).map_err(|e| e.to_string())?;
    let (recorder, recording) = Recorder::new(transport);
    let mut instrument = Instrument::new(dialogue, recorder, clock);
    let outcome = instrument.capture();
    // What is asked after a fault belongs to the search for it, not to the conversation.
    let said = recording.transcript().with_identity(INVENTED);
    let mut text = outcome.map(|acquired| found(instrument.identity(), &acquired)).map_err(|trouble| {
        let mut message = format!("{}: {trouble}", address.name());
        for status in instrument.ask_status() {
            let _ = write!(message, "\n  the instrument says: {status}");
        }
        message
    });
    instrument.close();
    if let Some(record) = record {
        save(record, said.to_text().as_bytes()).map_err(|e| format!("{}: {e}", record.display()))?;
        if let Ok(text) = &mut text {
            let _ = writeln!(
                text,
                "\nWritten down in {}; look through it for serial numbers and names before you hand it on.",
                record.display()
            );
        }
    }
    text
}

fn replay(file: &Path, transcript: &Path) -> Result<String, String> {
    let mut dialogue = load(file)?;
    // The transcript holds an invented name.
    dialogue.identity_holds = None;
    let name = bare_name(transcript);
    let said =
        Transcript::read(&read_text(transcript)?).map_err(|e| format!("{}: {e}", transcript.display()))?;
    let clock: SharedClock = std::sync::Arc::new(Hand::new());
    let sent = said.entries.iter().filter(|entry| matches!(entry, Entry::Sent(_))).count();
    let mut instrument = Instrument::new(dialogue, Replay::new(&name, said, clock.clone()), clock);
    let mut text = String::new();
    let mut captures = 0;
    loop {
        let acquired = instrument
            .capture()
            .map_err(|trouble| format!("capture {} of {name}: {trouble}", captures + 1))?;
        captures += 1;
        if captures == 1 {
            text = found(instrument.identity(), &acquired);
        }
        if instrument.transport().is_over() {
            break;
        }
    }
    let captures = flattop_report::format::counted(captures, "capture");
    let _ = writeln!(text, "\nReplayed: {captures}, {sent} messages, each as it was said then.");
    Ok(text)
}

/// What came, in words.
fn found(identity: &str, acquired: &Acquired) -> String {
    let volts: Vec<f64> = acquired.volts.iter().copied().filter(|v| v.is_finite()).collect();
    let (low, high) =
        volts.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let mut text = format!("Instrument  {identity}\nSamples     {}", acquired.volts.len());
    let missing = acquired.volts.len() - volts.len();
    if missing > 0 {
        let _ = write!(text, ", {missing} of them without a value");
    }
    let interval = acquired.interval_s;
    let _ = writeln!(
        text,
        "\nTime        {} apart, {} in all, from {}",
        plain(interval, "s", 4),
        plain(interval * acquired.volts.len() as f64, "s", 4),
        plain(acquired.start_s, "s", 4)
    );
    if volts.is_empty() {
        text.push_str("Voltage     none\n");
    } else {
        let _ = writeln!(text, "Voltage     {} to {}", plain(low, "V", 4), plain(high, "V", 4));
    }
    if let Some(factor) = acquired.probe_factor {
        let _ = writeln!(text, "            multiplied by {factor} for the probe");
    }
    let _ = writeln!(
        text,
        "First       {}",
        acquired.volts.iter().take(6).map(|v| plain(*v, "V", 4)).collect::<Vec<_>>().join(", ")
    );
    for finding in &acquired.findings {
        let _ = writeln!(
            text,
            "{}: {} ({})",
            flattop_report::subject::severity_code(finding.severity),
            finding.message,
            finding.code
        );
    }
    text
}
