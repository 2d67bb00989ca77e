//! What the server knows: bench, names, secret, sources, stored captures, sessions.

use std::path::PathBuf;
use std::sync::Arc;

use axum::http::HeaderMap;
use flattop_instruments::clock::SharedClock;
use flattop_instruments::dialogue::Dialogue;

use super::guard::Hosts;
use super::live::Sessions;
use super::secret::Gate;
use super::stored::Store;
use crate::address::Address;
use crate::workbench::BenchFile;

/// Shared by all handlers.
pub(super) type Shared = Arc<App>;

/// The server.
pub(super) struct App {
    pub(super) bench: BenchFile,
    pub(super) is_demo: bool,
    pub(super) hosts: Hosts,
    pub(super) gate: Option<Gate>,
    pub(super) roots: Vec<WatchRoot>,
    pub(super) instruments: Vec<Known>,
    pub(super) store: Store,
    pub(super) sessions: Sessions,
    pub(super) clock: SharedClock,
    /// What is served, described.
    pub(super) openapi: utoipa::openapi::OpenApi,
}

/// A folder in which may be watched, with no link left in its path.
#[derive(Clone, Debug)]
pub(super) struct WatchRoot {
    pub(super) name: String,
    pub(super) folder: PathBuf,
}

/// An instrument that may be contacted, and how it is spoken to.
#[derive(Clone)]
pub(super) struct Known {
    pub(super) name: String,
    pub(super) address: Address,
    pub(super) dialogue: Dialogue,
}

impl App {
    /// Whether a request may see what needs the secret.
    pub(super) fn is_signed_in(&self, headers: &HeaderMap) -> bool {
        self.gate.as_ref().is_none_or(|gate| gate.knows(headers, self.clock.now()))
    }
}
