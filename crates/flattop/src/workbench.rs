//! The bench on disk, and who does what to it when: options that several commands share, and the only look at the clock
//! and the environment.

use std::path::PathBuf;

use flattop_core::bench::{Id, InputId, Moment};
use flattop_register::{
    Act, OpenMode, Opening, Register, RegisterError, Surroundings, Thing, default_location, time,
};

use crate::values;

/// Which bench.
#[derive(Clone, Debug, Default, clap::Args)]
pub(crate) struct BenchFile {
    /// The file of the bench; without it FLATTOP_BENCH, else the usual place for data
    #[arg(long = "bench", value_name = "FILE", help_heading = BENCH)]
    pub(crate) bench: Option<PathBuf>,
}

/// Who does something, when, and what there is to say about it.
#[derive(Clone, Debug, Default, clap::Args)]
pub(crate) struct Doing {
    /// Who does it, as the logbook shall name them; without it FLATTOP_BY
    #[arg(long, value_name = "NAME", help_heading = BENCH)]
    pub(crate) by: Option<String>,

    /// A remark for the logbook
    #[arg(long, value_name = "TEXT", help_heading = BENCH)]
    pub(crate) note: Option<String>,

    /// When it was, if not now: 2026-11-25T16:17:06+01:00
    #[arg(long, value_name = "TIME", value_parser = values::moment, help_heading = BENCH)]
    pub(crate) at: Option<Moment>,
}

/// Heading of these options.
pub(crate) const BENCH: &str = "Bench";

/// Name and version of this program, as entries of the logbook carry them.
pub(crate) const PROGRAM: &str = concat!("flattop ", env!("CARGO_PKG_VERSION"));

/// How far a clock may be ahead of ours before a time counts as a slip, ms.
const FUTURE_MS: i64 = 300_000;

impl BenchFile {
    /// Where the bench is.
    pub(crate) fn path(&self) -> Result<PathBuf, String> {
        if let Some(path) = &self.bench {
            return Ok(path.clone());
        }
        if let Some(path) = variable("FLATTOP_BENCH") {
            return Ok(PathBuf::from(path));
        }
        let (xdg, home, app) = (variable("XDG_DATA_HOME"), variable("HOME"), variable("APPDATA"));
        let surroundings =
            Surroundings { xdg_data_home: xdg.as_deref(), home: home.as_deref(), app_data: app.as_deref() };
        default_location(surroundings).ok_or_else(|| {
            "there is no usual place for a bench here; name its file with --bench FILE".to_owned()
        })
    }

    /// Opens a bench that is there, only to read it.
    pub(crate) fn read(&self) -> Result<Register, String> {
        let path = self.path()?;
        match Register::open(&path, OpenMode::ReadOnly) {
            // Brought to the present version, which keeps a copy.
            Err(RegisterError::Older { .. }) => self.open(OpenMode::Existing),
            Err(error) => Err(self.opening_failed(error)),
            Ok(register) => Ok(register),
        }
    }

    /// Opens a bench that is there, to change it.
    pub(crate) fn change(&self) -> Result<Register, String> {
        self.open(OpenMode::Existing)
    }

    /// Opens a bench to change it, and makes it when there is none.
    pub(crate) fn change_or_make(&self) -> Result<Register, String> {
        let path = self.path()?;
        if self.bench.is_none()
            && let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty())
        {
            std::fs::create_dir_all(folder).map_err(|e| {
                format!("{}: the folder cannot be made: {e}; name a file with --bench", folder.display())
            })?;
        }
        self.open(OpenMode::Create)
    }

    fn open(&self, mode: OpenMode) -> Result<Register, String> {
        let path = self.path()?;
        let register = Register::open(&path, mode).map_err(|error| self.opening_failed(error))?;
        match register.opening() {
            Opening::Opened => {}
            Opening::Created => crate::output::remark(&format!("made a new bench: {}", path.display())),
            Opening::Migrated { from, to, backup } => crate::output::remark(&format!(
                "brought the bench from version {from} to {to}; as it was it lies in {}",
                backup.display()
            )),
        }
        Ok(register)
    }

    fn opening_failed(&self, error: RegisterError) -> String {
        match error {
            RegisterError::NoFile { path } => {
                let add = match &self.bench {
                    Some(_) => format!("flattop bench add --bench {path} oscilloscope bench-a"),
                    None => "flattop bench add oscilloscope bench-a".to_owned(),
                };
                format!("there is no bench at {path}; name another with --bench FILE, or start one: {add}")
            }
            other => other.to_string(),
        }
    }
}

impl Doing {
    /// The act, for the logbook.
    pub(crate) fn act(&self) -> Result<Act, String> {
        let now = now();
        if let Some(at) = self.at.filter(|at| now.unix_ms + FUTURE_MS < at.unix_ms) {
            return Err(format!("--at {} has not come yet; give the time when it was done", time::local(at)));
        }
        Ok(Act {
            at: self.at.unwrap_or(now),
            by: self.by.clone().or_else(usual_by),
            program: PROGRAM.to_owned(),
            note: self.note.clone(),
        })
    }
}

/// The time now, with the offset of the clock on this machine.
#[allow(clippy::disallowed_methods)] // the program's only look at the clock
pub(crate) fn now() -> Moment {
    let now = jiff::Timestamp::now();
    Moment { unix_ms: now.as_millisecond(), offset_minutes: offset_minutes(now) }
}

/// The offset of local time from UTC at some time, minutes.
pub(crate) fn offset_minutes(at: jiff::Timestamp) -> i16 {
    let seconds = jiff::tz::TimeZone::system().to_offset(at).seconds();
    i16::try_from(seconds / 60).unwrap_or(0)
}

/// Who does things, where nobody says.
pub(crate) fn usual_by() -> Option<String> {
    variable("FLATTOP_BY")
}

/// A variable of the environment that is set to something.
#[allow(clippy::disallowed_methods)] // the program's only look at its environment
fn variable(name: &str) -> Option<String> {
    std::env::var(name).ok().filter(|value| !value.trim().is_empty())
}

/// Whether text on this terminal may hold letters beyond ASCII, as the locale says (POSIX, the first that is set counts).
pub(crate) fn has_unicode() -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(variable).unwrap_or_default();
    let locale = locale.to_lowercase();
    locale.contains("utf-8") || locale.contains("utf8")
}

/// What a name that was typed means: a pairing's number, an input `bench-a/ch1`, a ground accessory `probe-07/spring`, a
/// probe or an oscilloscope.
pub(crate) fn thing(register: &Register, text: &str) -> Result<Thing, String> {
    if let Ok(number) = text.parse::<i64>() {
        return Ok(Thing::Pairing(number));
    }
    if let Some((of, name)) = text.split_once('/') {
        let (of, name) = (Id::new(of).map_err(|e| e.to_string())?, Id::new(name).map_err(|e| e.to_string())?);
        let has_ground =
            register.probe(&of).is_ok_and(|p| p.ground_accessories.iter().any(|g| g.name == name));
        let input = InputId { oscilloscope: of.clone(), name: name.clone() };
        return match (register.input(&input), has_ground) {
            (Ok(_), false) => Ok(Thing::Input(input)),
            (Err(_), true) => Ok(Thing::Ground(of, name)),
            (Ok(_), true) => Err(format!(
                "\"{text}\" is an input and a ground accessory of a probe; rename one of them in an export, and import that"
            )),
            (Err(error), false) => Err(error.to_string()),
        };
    }
    let (kind, name) = text.split_once(':').map_or((None, text), |(kind, name)| (Some(kind), name));
    let id = Id::new(name).map_err(|e| e.to_string())?;
    let (probe, scope) = (register.probe(&id).is_ok(), register.oscilloscope(&id).is_ok());
    match (kind, probe, scope) {
        (None | Some("probe"), true, false) | (Some("probe"), true, true) => Ok(Thing::Probe(id)),
        (None | Some("oscilloscope"), false, true) | (Some("oscilloscope"), true, true) => {
            Ok(Thing::Oscilloscope(id))
        }
        (None, true, true) => {
            Err(format!("\"{id}\" is a probe and an oscilloscope; write probe:{id} or oscilloscope:{id}"))
        }
        _ => Err(format!(
            "there is nothing named \"{text}\" on the bench; 'flattop bench list' shows what is there"
        )),
    }
}

/// A probe's name as typed.
pub(crate) fn probe_id(text: &str) -> Result<Id, String> {
    Id::new(text.strip_prefix("probe:").unwrap_or(text)).map_err(|e| e.to_string())
}

/// An input's name as typed.
pub(crate) fn input_id(text: &str) -> Result<InputId, String> {
    InputId::new(text).map_err(|e| e.to_string())
}
