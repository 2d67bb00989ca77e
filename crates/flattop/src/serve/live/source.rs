//! Where the captures of a session come from: dropped files, a watched place below a root, an instrument of the command line.

use std::path::{Component, Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::http::StatusCode;
use flattop_captures::ReadOptions;
use flattop_instruments::dialogue::Dialogue;
use flattop_instruments::source::{
    AtStart, Connect, Feed, FromInstrument, Pace, Source as _, Step, Wake, Watch,
};
use flattop_practice::disturbance::{Disturbances, Key};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::super::answer::{Answer, MOST_CAPTURE, Problem};
use super::super::state::{App, WatchRoot};
use super::hub::Live;
use crate::practise::running::{Practice, Wish};

/// Longest wait without a look whether the session is over.
const TURN: Duration = Duration::from_millis(200);
/// Captures that wait at most; the newest stay.
const WAITING: usize = 2;

/// Where captures come from.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub(super) enum SourceAsked {
    /// They are sent in by the page.
    Files {},
    /// They are saved into a folder, or over and over into a file.
    Watch {
        /// Id of a root.
        root: String,
        /// Below it; empty for the root itself.
        #[serde(default)]
        path: String,
    },
    /// An instrument is asked for them.
    Instrument {
        /// Id of an instrument.
        id: String,
    },
    /// A simulated instrument of the session's own, with a trimmer to turn.
    Practice(PracticeAsked),
}

/// A practice bench; what is left out is as on an ordinary bench.
#[derive(Clone, Debug, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PracticeAsked {
    /// Noise of a sample, rms at the tip, as `3 mV`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    noise: Option<String>,
    /// Amplitude of a mains hum.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hum: Option<String>,
    /// Overshoot of a ringing, as `5 %` of the step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    ringing: Option<String>,
    /// What a flat loses up to its end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    droop: Option<String>,
    /// What creeps in late.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hook: Option<String>,
    /// Resolution of the converter, bits; 0 for none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bits: Option<u32>,
    /// Where the trimmer stands, and the noise, come from; a new one where it is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    seed: Option<u64>,
    /// Whether the setting is hidden until it is asked for.
    #[serde(default)]
    blind: bool,
}

/// A source that runs by itself, and what it is called.
pub(super) struct Opened {
    pub(super) feed: Option<Feed>,
    pub(super) name: String,
    /// The bench that is turned from the page, where it is a practice one.
    pub(super) practice: Option<Arc<Practice>>,
}

/// Captures a second of a practice bench.
const PRACTICE_RATE: f64 = 10.0;

impl PracticeAsked {
    fn open(&self, app: &App) -> Answer<Opened> {
        let mut disturbances = Disturbances::usual();
        let bits = self.bits.map(|bits| bits.to_string());
        for (key, text) in [
            (Key::Noise, &self.noise),
            (Key::Hum, &self.hum),
            (Key::Ringing, &self.ringing),
            (Key::Droop, &self.droop),
            (Key::Hook, &self.hook),
            (Key::Bits, &bits),
        ] {
            if let Some(text) = text {
                let at = format!("source.{}", key.name());
                disturbances.set(key, text).map_err(|error| Problem::field(&at, error.to_string()))?;
            }
        }
        let seed = match self.seed {
            Some(seed) => seed,
            None => crate::practise::fresh_seed().map_err(|_| Problem::internal())?,
        };
        let wish = Wish { inputs: 1, disturbances, seed, is_blind: self.blind, start: None };
        let practice = Practice::new(wish, &app.clock);
        let dialogue = Dialogue::scpi_1999().map_err(|_| Problem::internal())?;
        let theirs = Arc::clone(&practice);
        let connect: Connect = Box::new(move || Ok(Box::new(theirs.loopback(PRACTICE_RATE))));
        let instrument = FromInstrument::new("practice bench", dialogue, connect, app.clock.clone());
        let feed = Feed::start(instrument, WAITING);
        Ok(Opened { feed: Some(feed), name: "practice bench".to_owned(), practice: Some(practice) })
    }
}

pub(super) fn open(app: &App, asked: &SourceAsked, read: &ReadOptions) -> Answer<Opened> {
    match asked {
        SourceAsked::Files {} => {
            Ok(Opened { feed: None, name: "dropped captures".to_owned(), practice: None })
        }
        SourceAsked::Watch { root, path } => {
            let (root, place) = confined(&app.roots, root, path)?;
            let when = (AtStart::PassOver, Wake::SystemOrLook);
            let watch =
                Watch::new(&place, read.clone(), Pace::usual(), MOST_CAPTURE as u64, when, app.clock.clone());
            let feed = Feed::start(watch.within(root.folder.clone()), WAITING);
            let name = if path.is_empty() { root.name.clone() } else { format!("{}/{path}", root.name) };
            Ok(Opened { feed: Some(feed), name: format!("watching {name}"), practice: None })
        }
        SourceAsked::Instrument { id } => {
            let known = app.instruments.iter().find(|known| known.name == *id).ok_or_else(|| {
                let message = format!("\"{id}\" is no instrument that this server was told of; start it with --instrument NAME=ADDRESS");
                Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "unknown-source", message).at("source.id")
            })?;
            let feed = crate::trim::source::instrument(&known.address, known.dialogue.clone(), &app.clock);
            Ok(Opened { feed: Some(feed), name: known.name.clone(), practice: None })
        }
        SourceAsked::Practice(asked) => asked.open(app),
    }
}

/// A place below a root, with no link left in its path that could lead out of it.
pub(super) fn confined<'a>(
    roots: &'a [WatchRoot],
    root: &str,
    path: &str,
) -> Answer<(&'a WatchRoot, PathBuf)> {
    let root = roots.iter().find(|known| known.name == root).ok_or_else(|| {
        let message = format!(
            "\"{root}\" is no folder that this server was told of; start it with --watch-root FOLDER"
        );
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "unknown-source", message).at("source.root")
    })?;
    let outside = || {
        let message = format!("\"{path}\" leads out of \"{}\"; name a file or folder within it", root.name);
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "outside-root", message).at("source.path")
    };
    let asked = Path::new(path);
    if path.contains('\0') || !asked.components().all(|part| matches!(part, Component::Normal(_))) {
        return Err(outside());
    }
    let place = root.folder.join(asked);
    // A file need not be there yet; its folder has to.
    let real = place.canonicalize().or_else(|_| {
        let folder = place.parent().ok_or(std::io::ErrorKind::NotFound)?.canonicalize()?;
        place.symlink_metadata().map_or(Ok(()), |_| Err(std::io::ErrorKind::NotFound))?;
        Ok::<_, std::io::Error>(folder.join(place.file_name().unwrap_or_default()))
    });
    match real {
        Ok(real) if real.starts_with(&root.folder) => Ok((root, real)),
        Ok(_) => Err(outside()),
        Err(_) => {
            let message = format!("there is no \"{path}\" in \"{}\"; check the name", root.name);
            Err(Problem::not_found(message).at("source.path"))
        }
    }
}

/// Follows a source in a thread of its own until the session or the source is over.
pub(super) fn follow(live: Arc<Live>, mut feed: Feed) {
    std::thread::spawn(move || {
        while !live.is_over() {
            match feed.next(TURN) {
                Step::Arrived(arrived) => {
                    if let Err(why) = live.take(*arrived) {
                        live.end(&why);
                    }
                }
                Step::Problem(problem) => live.trouble(&problem),
                Step::Nothing => {}
                Step::Ended => live.end("the source has ended"),
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[cfg(unix)]
    fn nothing_leads_out_of_a_root() {
        let outside = tempfile::tempdir().unwrap();
        std::fs::create_dir(outside.path().join("secret")).unwrap();
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("sub")).unwrap();
        std::os::unix::fs::symlink(outside.path(), folder.path().join("link")).unwrap();
        std::os::unix::fs::symlink("nowhere", folder.path().join("dangling")).unwrap();
        let real = folder.path().canonicalize().unwrap();
        let roots = [WatchRoot { name: "exports".into(), folder: real.clone() }];
        let at = |path: &str| confined(&roots, "exports", path).map(|(_, place)| place);
        assert_eq!(at("").unwrap(), real);
        assert_eq!(at("sub").unwrap(), real.join("sub"));
        assert_eq!(at("sub/new.csv").unwrap(), real.join("sub/new.csv"));
        for path in
            ["..", "sub/../..", "/etc", "link", "link/secret", "link/new.csv", "dangling", "a/b/c", "sub\0"]
        {
            assert!(at(path).is_err(), "{path}");
        }
        assert!(confined(&roots, "other", "").is_err());
    }
}
