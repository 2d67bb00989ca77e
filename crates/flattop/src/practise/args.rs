//! What can be typed after `flattop practise`. The comments are the help text.

use std::net::SocketAddr;

use flattop_core::quantity::{self, Unit};

use crate::values;

/// Run a simulated instrument, to practise with or to test against
///
/// A digitizer on a loopback socket, with a divider probe on each input: each has a
/// trimmer that you turn here while 'flattop trim' or another program reads the
/// captures. Nothing real is measured, and nothing of it belongs in the logbook.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// Where controllers connect by a raw socket; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:5025", help_heading = LINKS)]
    pub(crate) listen: SocketAddr,

    /// Where controllers connect by HiSLIP
    #[arg(long, value_name = "ADDRESS:PORT", help_heading = LINKS)]
    pub(crate) hislip: Option<SocketAddr>,

    /// Where programs turn the trimmer over HTTP (docs/practise.md)
    #[arg(long, value_name = "ADDRESS:PORT", help_heading = LINKS)]
    pub(crate) http: Option<SocketAddr>,

    /// Number of inputs, each with its own probe
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=4), help_heading = BENCH)]
    pub(crate) inputs: u8,

    /// What the probes stand at, their cables and the noise come from; without it a new one, which is shown
    #[arg(long, value_name = "NUMBER", help_heading = BENCH)]
    pub(crate) seed: Option<u64>,

    /// Compensation error of every probe at the start, such as -8%; without it the seed's choice
    #[arg(long, value_name = "E", value_parser = start, allow_hyphen_values = true, help_heading = BENCH)]
    pub(crate) start: Option<f64>,

    /// Hide where the trimmers stand until 'reveal', or the end
    #[arg(long, help_heading = BENCH)]
    pub(crate) blind: bool,

    /// Captures a second at most
    #[arg(long, value_name = "N", default_value_t = 10.0, value_parser = rate, help_heading = BENCH)]
    pub(crate) rate: f64,

    /// Noise of a sample, rms at the tip
    #[arg(long, value_name = "VOLTAGE", default_value = "5 mV", help_heading = SIGNAL)]
    pub(crate) noise: String,

    /// Amplitude of a hum of 50 Hz
    #[arg(long, value_name = "VOLTAGE", default_value = "0 V", help_heading = SIGNAL)]
    pub(crate) hum: String,

    /// Overshoot of a ringing of 2 MHz after each edge, as a share of the step
    #[arg(long, value_name = "SHARE", default_value = "0 %", help_heading = SIGNAL)]
    pub(crate) ringing: String,

    /// What each flat loses up to its end, as a share of the step
    #[arg(long, value_name = "SHARE", default_value = "0 %", help_heading = SIGNAL)]
    pub(crate) droop: String,

    /// What creeps in late after each edge, as in a lossy dielectric, as a share of the step
    #[arg(long, value_name = "SHARE", default_value = "0 %", allow_hyphen_values = true, help_heading = SIGNAL)]
    pub(crate) hook: String,

    /// Resolution of the converter, 6 to 16; 0 for one without steps
    #[arg(long, value_name = "N", default_value = "12", help_heading = SIGNAL)]
    pub(crate) bits: String,

    /// Misbehave on purpose on the raw socket, out of this seed: silence, half answers, nonsense, floods, closed links
    #[arg(long, value_name = "NUMBER", help_heading = FAULTS)]
    pub(crate) faults: Option<u64>,

    /// One answer in so many goes wrong
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..), requires = "faults", help_heading = FAULTS)]
    pub(crate) one_in: u32,

    /// End after this time, such as 10min
    #[arg(long = "for", value_name = "TIME", value_parser = values::seconds)]
    pub(crate) for_s: Option<f64>,

    /// Write one JSON object on one line for the beginning, each order and the end
    #[arg(long)]
    pub(crate) json: bool,
}

fn start(text: &str) -> Result<f64, String> {
    let error = quantity::parse(text, Unit::Ratio).map_err(|error| error.to_string())?;
    if error.abs() <= 0.5 {
        Ok(error)
    } else {
        Err(format!("\"{text}\" is out of range; from -50 % to 50 %"))
    }
}

fn rate(text: &str) -> Result<f64, String> {
    let rate: Option<f64> = text.trim().parse().ok();
    rate.filter(|rate| (0.1..=1000.0).contains(rate))
        .ok_or_else(|| "captures a second are a number from 0.1 to 1000".to_owned())
}

const LINKS: &str = "Links";
const BENCH: &str = "Practice bench";
const SIGNAL: &str = "Disturbances";
const FAULTS: &str = "Faults";

const EXAMPLES: &str = "\
Examples:
  flattop practise --blind
  flattop trim --connect tcp://127.0.0.1:5025      (in another terminal)

Exit status:
  0 ended as asked   1 a port could not be used   2 wrong usage";

const NOTES: &str = "\
Caution:
  What is practised here is done on a real bench at the probe-adjust output of the
  oscilloscope and nowhere else. The ground clip of a probe is joined to earth
  through the oscilloscope. Turn with a blade of plastic. A trimmer set right here
  says nothing about any real probe.

Examples:
  A trimmer to be found blindly, with an unclean source:
    flattop practise --blind --noise 20mV --hum 50mV --ringing 5%
  Another input, an error to begin with, the same every time:
    flattop practise --inputs 3 --start -8% --seed 7
  An instrument that misbehaves, for whoever writes a controller:
    flattop practise --faults 1 --one-in 10

Turning:
  In a terminal: left and right turn by 1 degree, down and up by 10, a digit chooses
  the input, r reveals the setting, q ends. Clockwise is more capacitance. From stop
  to stop it is 270 degrees, and the screwdriver has 2 degrees of play.
  Otherwise a line each on standard input:
    turn DEGREES [on INPUT]   input N   set NAME VALUE   reveal   end
  Over HTTP with --http: GET and POST /api/practice.

The instrument:
  Headers of IEEE 488.2 and SCPI-1999 only, listed in docs/practise.md. The dialogue
  that comes along fits it as it is. It listens on loopback addresses only.";
