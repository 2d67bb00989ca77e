//! What this server is: its version, its bench, its sources, the cautions.

use axum::extract::State;
use axum::http::HeaderMap;
use flattop_register::{Retired, Voids};
use serde::Serialize;
use utoipa::ToSchema;

use super::answer::{Answer, Json, MOST_CAPTURE, work};
use super::live::MOST_SESSIONS;
use super::state::{App, Shared};
use super::stored::MOST_STORED;
use crate::workbench::{now, usual_by};

/// What this server is.
#[derive(Serialize, ToSchema)]
pub(super) struct About {
    flattop_version: &'static str,
    /// Whether this browser may use it.
    signed_in: bool,
    /// Whether a secret is asked for.
    secret_needed: bool,
    /// The bench; null until signed in.
    bench: Option<BenchFacts>,
    /// Whether the bench is an invented one that goes with the server.
    demo: bool,
    /// Whether the bench can be changed.
    writable: bool,
    /// Who does things, where nobody says; null where it is not known, or not signed in.
    by: Option<String>,
    /// To be shown where captures are made.
    cautions: Vec<&'static str>,
    sources: Sources,
    limits: Limits,
}

/// What stands on the bench.
#[derive(Default, Serialize, ToSchema)]
struct BenchFacts {
    /// Name of its file.
    name: String,
    exists: bool,
    oscilloscopes: usize,
    inputs: usize,
    probes: usize,
    /// Pairings in force.
    pairings: usize,
    /// Of those, how many want attention.
    due: usize,
    empty: bool,
    /// Why it cannot be read, where it is there and cannot.
    trouble: Option<String>,
}

/// Where captures can come from.
#[derive(Serialize, ToSchema)]
struct Sources {
    files: bool,
    watch_roots: Vec<SourceName>,
    instruments: Vec<SourceName>,
    /// Whether there is a simulated instrument to practise with.
    practice: bool,
}

/// A source.
#[derive(Serialize, ToSchema)]
struct SourceName {
    id: String,
    name: String,
}

/// What is accepted at most.
#[derive(Serialize, ToSchema)]
struct Limits {
    assess_bytes: u64,
    store_bytes: u64,
    sessions: usize,
}

/// The cautions of this work; local codes and licensed practice come first.
const CAUTIONS: [&str; 3] = [
    "For compensation, hang the probe on the probe-adjust output of the oscilloscope and on nothing else. Turn the trimmer with a plastic blade.",
    "The ground clip of a probe is joined to earth through the oscilloscope: clip it to points at earth potential only, never to mains or a floating circuit.",
    "Keep to the rated voltage of the probe at the frequency of the signal. Above 30 V rms, 42.4 V peak or 60 V dc a bare part counts as hazardous live (IEC 61010-031). Local codes and licensed practice come first.",
];

/// What this server is, and what it can do
#[utoipa::path(get, path = "/api/about", tag = "about", responses((status = 200, body = About)))]
pub(super) async fn about(State(app): State<Shared>, headers: HeaderMap) -> Answer<Json<About>> {
    let signed_in = app.is_signed_in(&headers);
    work(move || Ok(Json(of(&app, signed_in)))).await
}

fn of(app: &App, signed_in: bool) -> About {
    let names = |names: Vec<&String>| -> Vec<SourceName> {
        let names = names.into_iter().filter(|_| signed_in);
        names.map(|name| SourceName { id: name.clone(), name: name.clone() }).collect()
    };
    let path = app.bench.path().ok();
    let is_locked =
        path.as_ref().and_then(|path| path.metadata().ok()).is_some_and(|meta| meta.permissions().readonly());
    About {
        flattop_version: env!("CARGO_PKG_VERSION"),
        signed_in,
        secret_needed: app.gate.is_some(),
        bench: signed_in.then(|| facts(app)),
        demo: app.is_demo,
        writable: !is_locked,
        by: usual_by().filter(|_| signed_in),
        cautions: CAUTIONS.to_vec(),
        sources: Sources {
            files: true,
            watch_roots: names(app.roots.iter().map(|root| &root.name).collect()),
            instruments: names(app.instruments.iter().map(|one| &one.name).collect()),
            practice: true,
        },
        limits: Limits {
            assess_bytes: MOST_CAPTURE as u64,
            store_bytes: MOST_STORED,
            sessions: MOST_SESSIONS,
        },
    }
}

fn facts(app: &App) -> BenchFacts {
    let Ok(path) = app.bench.path() else { return BenchFacts { empty: true, ..BenchFacts::default() } };
    let name = if app.is_demo {
        "Harrow Lane Lift Works (demo)".to_owned()
    } else {
        crate::output::bare_name(&path)
    };
    let exists = path.exists();
    if !exists {
        return BenchFacts { name, empty: true, ..BenchFacts::default() };
    }
    let read = || {
        let register = app.bench.read()?;
        let fail = |error: flattop_register::RegisterError| error.to_string();
        let scopes = register.oscilloscopes(Retired::Hidden).map_err(fail)?;
        let probes = register.probes(Retired::Hidden).map_err(fail)?.len();
        let inputs = scopes.iter().flat_map(|scope| &scope.inputs).filter(|input| !input.retired).count();
        let pairings = register.pairings(Voids::Hidden).map_err(fail)?.len();
        let due = register.due(now().unix_ms).map_err(fail)?.len();
        let empty = scopes.is_empty() && probes == 0;
        Ok::<_, String>((scopes.len(), inputs, probes, pairings, due, empty))
    };
    match read() {
        Ok((oscilloscopes, inputs, probes, pairings, due, empty)) => {
            BenchFacts { name, exists, oscilloscopes, inputs, probes, pairings, due, empty, trouble: None }
        }
        Err(trouble) => BenchFacts { name, exists, trouble: Some(trouble), ..BenchFacts::default() },
    }
}
