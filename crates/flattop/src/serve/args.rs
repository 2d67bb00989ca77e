//! What can be typed after `flattop serve`. The comments are the help text.

use std::net::SocketAddr;
use std::path::PathBuf;

use crate::address::{self, Address};
use crate::workbench::BenchFile;

/// Serve the page for the bench, in a browser on this machine
///
/// Starts a small web server with the page inside and prints its address. The page
/// compensates probes live (drop a capture, watch a folder, follow an instrument),
/// keeps the bench and its logbook, plans measurements, corrects captures, and
/// prints records. Its HTTP interface serves other programs as well; it is
/// described at /api/openapi.json.
///
/// Only this machine can reach it, unless --listen says otherwise; then a secret is
/// needed. It ends with Ctrl-C.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES, after_long_help = NOTES, verbatim_doc_comment)]
pub(crate) struct Args {
    /// Open the page in a browser
    #[arg(long)]
    pub(crate) open: bool,

    /// Look around in an invented workshop; it lies in a temporary file and goes with the server
    #[arg(long, conflicts_with = "bench")]
    pub(crate) demo: bool,

    /// Address and port to listen on; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8437", help_heading = NETWORK)]
    pub(crate) listen: SocketAddr,

    /// A name under which browsers reach this machine, with its port if it is another; may be repeated
    #[arg(long, value_name = "NAME", value_parser = host_name, help_heading = NETWORK)]
    pub(crate) host_name: Vec<String>,

    /// A file that --make-secret made: who signs in with that secret may use the page
    #[arg(long, value_name = "FILE", help_heading = NETWORK)]
    pub(crate) secret_file: Option<PathBuf>,

    /// Make a secret, show it once, write its hash into a new file, and stop
    #[arg(long, value_name = "FILE", conflicts_with_all = ["open", "demo", "secret_file"], help_heading = NETWORK)]
    pub(crate) make_secret: Option<PathBuf>,

    /// A folder in which the page may watch for captures, or NAME=FOLDER; may be repeated
    #[arg(long, value_name = "FOLDER", value_parser = root, help_heading = SOURCES)]
    pub(crate) watch_root: Vec<Root>,

    /// An instrument that the page may follow; its dialogue file comes after a comma; may be repeated
    #[arg(long, value_name = "NAME=ADDRESS[,DIALOGUE]", value_parser = instrument, help_heading = SOURCES)]
    pub(crate) instrument: Vec<Instrument>,

    #[command(flatten)]
    pub(crate) bench: BenchFile,
}

const NETWORK: &str = "Network";
const SOURCES: &str = "Sources of captures";

/// A folder in which may be watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Root {
    pub(crate) name: String,
    pub(crate) folder: PathBuf,
}

/// An instrument that may be contacted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Instrument {
    pub(crate) name: String,
    pub(crate) address: Address,
    pub(crate) dialogue: Option<PathBuf>,
}

/// `exports`, `/srv/exports` or `scope=/srv/exports`.
fn root(text: &str) -> Result<Root, String> {
    if let Some((name, folder)) = text.split_once('=') {
        return Ok(Root { name: name_of(name)?, folder: folder.into() });
    }
    let folder = PathBuf::from(text);
    let last = folder.file_name().map(|name| name.to_string_lossy().into_owned());
    Ok(Root { name: last.unwrap_or_else(|| "captures".to_owned()), folder })
}

/// `bench-a=tcp://192.0.2.7:5025,bench-a.toml`.
fn instrument(text: &str) -> Result<Instrument, String> {
    let (name, rest) = text
        .split_once('=')
        .ok_or_else(|| format!("\"{text}\" has no name; write for example bench-a=tcp://192.0.2.7:5025"))?;
    let (place, dialogue) = match rest.split_once(',') {
        Some((place, dialogue)) => (place, Some(PathBuf::from(dialogue))),
        None => (rest, None),
    };
    Ok(Instrument { name: name_of(name)?, address: address::parse(place)?, dialogue })
}

fn name_of(text: &str) -> Result<String, String> {
    let text = text.trim();
    let fits = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_' | '.');
    if !text.is_empty() && text.chars().count() <= 60 && text.chars().all(fits) {
        Ok(text.to_owned())
    } else {
        Err(format!("\"{text}\" is no name; use letters, digits, blanks and hyphens, for example bench-a"))
    }
}

/// A host name, with or without a port.
fn host_name(text: &str) -> Result<String, String> {
    let wrong =
        || format!("\"{text}\" is no host name; write for example bench-pc.example or bench-pc.example:8080");
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) => (host, Some(port)),
        None => (text, None),
    };
    let is_host = !host.is_empty()
        && host.len() <= 253
        && host.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '.'));
    let is_port = port.is_none_or(|port| port.parse::<u16>().is_ok_and(|port| port > 0));
    if is_host && is_port { Ok(text.to_ascii_lowercase()) } else { Err(wrong()) }
}

const EXAMPLES: &str = "\
Examples:
  flattop serve --open
  flattop serve --demo --open
  flattop serve --watch-root exports --bench bench.sqlite
  flattop serve --instrument bench-a=tcp://192.0.2.7:5025,bench-a.toml

Exit status:
  0 ended by Ctrl-C   1 it could not be started   2 wrong usage";

const NOTES: &str = "\
Examples (the bench of Harrow Lane Lift Works):
  Look around in an invented workshop with a year of logbook:
    flattop serve --demo --open
  The bench of the workshop, captures saved into a folder:
    flattop serve --bench bench.sqlite --watch-root exports --open
  Two oscilloscopes, spoken to as their dialogue files say:
    flattop serve --instrument bench-a=tcp://192.0.2.7:5025,bench-a.toml \\
      --instrument bench-b=hislip://192.0.2.8,bench-b.toml
  From a phone beside the bench: a secret, then listen on the network:
    flattop serve --make-secret bench.secret
    flattop serve --listen 192.0.2.5:8437 --secret-file bench.secret

Who can reach it:
  It listens on 127.0.0.1: programs and browsers of this machine, of every user
  of it. Beyond, it refuses to start without --secret-file. What goes over the
  network is not encrypted: use a network of your own, or a proxy that encrypts.
  Requests must name this server, and come from its own page: pages of other
  sites can neither read nor change anything.
  Instruments and folders are those named here; the page can name no others.

What it writes:
  The bench, where the page changes it. A temporary folder of its own for
  captures to be corrected and for downloads; it is removed at the end.

Exit status:
  0  ended by Ctrl-C
  1  it could not be started: port in use, secret, bench, folder or dialogue
     cannot be used
  2  wrong usage

Caution:
  The ground clip of a probe is joined to earth through the oscilloscope. Clip
  it to points at earth potential only. Keep to the rated voltage of the probe
  at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare
  part counts as hazardous live (IEC 61010-031).";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sources_have_names_of_their_own() {
        assert_eq!(root("/srv/exports").unwrap().name, "exports");
        assert_eq!(root("scope=/srv/x").unwrap(), Root { name: "scope".into(), folder: "/srv/x".into() });
        let found = instrument("bench-a=tcp://192.0.2.7:5025,a.toml").unwrap();
        assert_eq!((found.name.as_str(), found.dialogue), ("bench-a", Some("a.toml".into())));
        for text in ["tcp://192.0.2.7:5025", "=tcp://192.0.2.7:5025", "a<b=tcp://192.0.2.7:1", "a=nowhere"] {
            assert!(instrument(text).is_err(), "{text}");
        }
        assert_eq!(host_name("Bench-PC.example:8080").unwrap(), "bench-pc.example:8080");
        for text in ["", "a b", "http://x", "x:0", "x:99999", "user@x"] {
            assert!(host_name(text).is_err(), "{text}");
        }
    }
}
