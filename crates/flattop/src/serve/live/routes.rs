//! The routes of live sessions.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::response::sse::{Event, KeepAlive, Sse};
use flattop_instruments::source::Arrived;
use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;
use utoipa::{IntoParams, ToSchema};

use super::super::answer::{Answer, Asked, CaptureBytes, Json, Named, Problem, Typed, Written, work};
use super::super::assess::capture_of;
use super::super::control::Hand;
use super::super::drawing::Window;
use super::super::state::Shared;
use super::super::stored::{WindowAsked, tidy_name};
use super::super::typed::{CircuitAsked, ColumnsAsked, LogAsked, Reader, Unknown};
use super::hub::{Bookmark, Detail, Entered, Facts, Live, Reading, Standing};
use super::source::{self, SourceAsked};
use super::{MOST_READERS, too_many};
use crate::practise::running::{DIVIDER, DisturbancesShown, InputStanding, Practice};
use crate::trim::session::{Logging, Session, Wish};

/// How often a reader hears that the connection is alive.
const ALIVE: Duration = Duration::from_secs(10);

/// A session to be started.
#[derive(Debug, Deserialize, ToSchema)]
pub(in crate::serve) struct SessionAsked {
    source: SourceAsked,
    /// Captures in a row that must be within the tolerance; 5 where it is left out.
    #[serde(default = "usual_hold")]
    hold: usize,
    #[serde(flatten)]
    circuit: CircuitAsked,
    #[serde(flatten)]
    columns: ColumnsAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

fn usual_hold() -> usize {
    5
}

/// Start a session
#[utoipa::path(post, path = "/api/sessions", tag = "sessions", request_body = SessionAsked,
    responses((status = 201, body = Standing), (status = 429, description = "too many sessions")))]
pub(in crate::serve) async fn start(
    State(app): State<Shared>,
    Typed(asked): Typed<SessionAsked>,
) -> Answer<(StatusCode, Json<Standing>)> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let circuit = asked.circuit.read(&mut reader);
        let read = asked.columns.read(&mut reader);
        reader.finish()?;
        if matches!(asked.source, SourceAsked::Practice(_)) && asked.circuit.names_a_pairing() {
            let message =
                "practice is no pairing of the bench and cannot be logged; leave probe and input out";
            return Err(Problem::field("source.kind", message));
        }
        app.sessions.has_room(app.clock.now())?;
        let known = asked.circuit.known(&app, &circuit, false)?;
        let opened = source::open(&app, &asked.source, &read)?;
        let title = match &known.on_bench {
            Some(place) => format!("{} on {}, {}", place.probe, place.input, opened.name),
            None => opened.name.clone(),
        };
        let (assumptions, tolerance) = circuit.assumed(&known);
        let facts = Facts {
            title: title.clone(),
            source: serde_json::to_value(&asked.source).map_err(|_| Problem::internal())?,
            takes_files: matches!(asked.source, SourceAsked::Files {}),
            on_bench: known.on_bench.clone(),
            tolerance,
            hold: asked.hold,
            adjusted_at: assumptions.adjusted_at,
            read,
            practice: opened.practice,
        };
        let wish = Wish { circuit, hold: asked.hold, captures: None, logging: Logging::OnDemand };
        let session = Session::new(wish, title, &known);
        let live = Arc::new(Live::new(app.sessions.name()?, facts, session, &app.clock));
        app.sessions.add(&live)?;
        if let Some(feed) = opened.feed {
            source::follow(Arc::clone(&live), feed);
        }
        Ok((StatusCode::CREATED, Json(live.standing(Detail::Full))))
    })
    .await
}

/// Sessions that go on.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct SessionList {
    sessions: Vec<Standing>,
}

/// The sessions that go on
#[utoipa::path(get, path = "/api/sessions", tag = "sessions", responses((status = 200, body = SessionList)))]
pub(in crate::serve) async fn list(State(app): State<Shared>) -> Answer<Json<SessionList>> {
    work(move || {
        let sessions = app.sessions.all().iter().map(|live| live.standing(Detail::Brief)).collect();
        Ok(Json(SessionList { sessions }))
    })
    .await
}

/// A session as it stands
#[utoipa::path(get, path = "/api/sessions/{id}", tag = "sessions", params(("id" = String, Path,)), responses((status = 200, body = Standing)))]
pub(in crate::serve) async fn show(
    State(app): State<Shared>,
    Named(id): Named<String>,
) -> Answer<Json<Standing>> {
    work(move || Ok(Json(app.sessions.find(&id)?.standing(Detail::Full)))).await
}

/// End a session
#[utoipa::path(delete, path = "/api/sessions/{id}", tag = "sessions", params(("id" = String, Path,)), responses((status = 204, description = "ended")))]
pub(in crate::serve) async fn end(State(app): State<Shared>, Named(id): Named<String>) -> Answer<StatusCode> {
    work(move || app.sessions.remove(&id).map(|()| StatusCode::NO_CONTENT)).await
}

/// Query of a capture for a session.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(in crate::serve) struct CaptureAsked {
    /// Name of the capture.
    #[serde(default)]
    name: String,
}

/// Drop a capture into a session
#[utoipa::path(post, path = "/api/sessions/{id}/captures", tag = "sessions", params(("id" = String, Path,), CaptureAsked),
    request_body(content_type = "application/octet-stream", content = Vec<u8>),
    responses((status = 200, body = super::super::openapi::TrimLine)))]
pub(in crate::serve) async fn drop_in(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Asked(asked): Asked<CaptureAsked>,
    CaptureBytes(bytes): CaptureBytes,
) -> Answer<Written> {
    work(move || {
        let live = app.sessions.find(&id)?;
        if !live.facts().takes_files {
            return Err(Problem::conflict(
                "captures of this session come by themselves; start one with source files",
            ));
        }
        let at = app.clock.now();
        let name = tidy_name(&asked.name);
        let options = live.facts().read.clone();
        let capture = capture_of(&name, &bytes, &options)?;
        let arrived =
            Arrived { capture, bytes: bytes.to_vec(), options, name, at, findings: Vec::new(), left_out: 0 };
        live.take(arrived).map(Written).map_err(|why| {
            Problem::new(StatusCode::CONFLICT, "session-ended", format!("this session is over: {why}"))
        })
    })
    .await
}

/// Part of the newest capture, thinned for drawing
#[utoipa::path(get, path = "/api/sessions/{id}/window", tag = "sessions", params(("id" = String, Path,), WindowAsked), responses((status = 200, body = Window)))]
pub(in crate::serve) async fn window(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Asked(asked): Asked<WindowAsked>,
) -> Answer<Json<Window>> {
    work(move || {
        let (from, to, stretches, _) = asked.read()?;
        let window = app.sessions.find(&id)?.window(from, to, stretches);
        window.map(Json).ok_or_else(|| Problem::not_found("no capture has come yet"))
    })
    .await
}

/// Write the state before the first turn, after the last one, or a check into the logbook
#[utoipa::path(post, path = "/api/sessions/{id}/log", tag = "sessions", params(("id" = String, Path,)), request_body = LogAsked,
    responses((status = 200, body = Entered), (status = 409, description = "there is nothing to log")))]
pub(in crate::serve) async fn log(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Typed(asked): Typed<LogAsked>,
) -> Answer<Json<Entered>> {
    work(move || {
        let mut reader = Reader::default();
        let (stage, place) = asked.read(&app, &mut reader);
        reader.finish()?;
        app.sessions.find(&id)?.log(stage, &place).map(Json).map_err(Problem::conflict)
    })
    .await
}

/// Server-Sent Events of a session: capture, trouble, ended
#[utoipa::path(get, path = "/api/sessions/{id}/events", tag = "sessions", params(("id" = String, Path,), ("last-event-id" = Option<u64>, Header,)),
    responses((status = 200, content_type = "text/event-stream", body = String)))]
pub(in crate::serve) async fn events(
    State(app): State<Shared>,
    Named(id): Named<String>,
    headers: HeaderMap,
) -> Answer<Sse<KeepAliveStream>> {
    let live = app.sessions.find(&id)?;
    if app.sessions.readers() >= MOST_READERS {
        return Err(too_many());
    }
    let last = headers.get("last-event-id").and_then(|value| value.to_str().ok()?.parse().ok()).unwrap_or(0);
    // One event waits, no more: a slow reader is told the newest when it is ready for it.
    let (outbox, inbox) = mpsc::channel(1);
    let listening = live.listen();
    tokio::spawn(tell(live, listening, Bookmark::after(last), outbox));
    Ok(Sse::new(ReceiverStream::new(inbox)).keep_alive(KeepAlive::new().interval(ALIVE)))
}

/// Events, and a word now and then that the connection is alive.
pub(in crate::serve) type KeepAliveStream =
    axum::response::sse::KeepAliveStream<ReceiverStream<Result<Event, Infallible>>>;

async fn tell(
    live: Arc<Live>,
    (mut news, _reading): (watch::Receiver<u64>, Reading),
    mut mark: Bookmark,
    outbox: mpsc::Sender<Result<Event, Infallible>>,
) {
    loop {
        news.mark_unchanged();
        // Room first, then the look: what is told is the newest there is.
        let Ok(first) = outbox.reserve().await else { return };
        let told = live.since(&mut mark);
        let mut is_over = false;
        let mut place = Some(first);
        for one in told {
            is_over = one.kind == "ended";
            let event = Event::default().id(one.number.to_string()).event(one.kind).data(one.data);
            let permit = match place.take() {
                Some(permit) => permit,
                None => match outbox.reserve().await {
                    Ok(permit) => permit,
                    Err(_) => return,
                },
            };
            permit.send(Ok(event));
        }
        drop(place);
        if is_over {
            return;
        }
        tokio::select! {
            changed = news.changed() => if changed.is_err() { return },
            () = outbox.closed() => return,
        }
    }
}

/// Query of a look into a root.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(in crate::serve) struct LookAsked {
    /// Id of a root.
    root: String,
    /// Below it.
    #[serde(default)]
    path: String,
}

/// What lies in a folder that may be watched.
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct Folder {
    root: String,
    path: String,
    /// Names of the folders in it.
    folders: Vec<String>,
    /// How many files.
    files: usize,
}

/// Most names that are looked at.
const MOST_NAMES: usize = 10_000;

/// Folders that may be watched
#[utoipa::path(get, path = "/api/watch", tag = "sessions", params(LookAsked), responses((status = 200, body = Folder)))]
pub(in crate::serve) async fn look(
    State(app): State<Shared>,
    Asked(asked): Asked<LookAsked>,
) -> Answer<Json<Folder>> {
    work(move || {
        let (_, place) = source::confined(&app.roots, &asked.root, &asked.path)?;
        let entries = place.read_dir().map_err(|error| {
            Problem::not_found(format!("{}: cannot be looked into: {error}", asked.path)).at("source.path")
        })?;
        let mut folder = Folder { root: asked.root, path: asked.path, folders: Vec::new(), files: 0 };
        for entry in entries.take(MOST_NAMES).filter_map(Result::ok) {
            // Links are not followed, so they are neither.
            match entry.file_type() {
                Ok(kind) if kind.is_dir() => {
                    folder.folders.push(entry.file_name().to_string_lossy().into_owned())
                }
                Ok(kind) if kind.is_file() => folder.files += 1,
                _ => {}
            }
        }
        folder.folders.retain(|name| !name.starts_with('.'));
        folder.folders.sort();
        Ok(Json(folder))
    })
    .await
}

/// The practice bench of a session
#[derive(Serialize, ToSchema)]
pub(in crate::serve) struct PracticeShown {
    divider: &'static str,
    blind: bool,
    revealed: bool,
    disturbances: DisturbancesShown,
    #[serde(flatten)]
    input: Option<InputStanding>,
}

impl PracticeShown {
    fn of(practice: &Practice) -> Self {
        let standing = practice.standing();
        Self {
            divider: DIVIDER,
            blind: standing.is_blind(),
            revealed: standing.is_revealed(),
            disturbances: standing.disturbances().clone(),
            input: standing.chosen().cloned(),
        }
    }
}

fn practice_of(live: &Live) -> Answer<&Arc<Practice>> {
    let none =
        || Problem::not_found("this session has no practice bench; start one with the source \"practice\"");
    live.facts().practice.as_ref().ok_or_else(none)
}

/// How the practice bench of a session stands
#[utoipa::path(get, path = "/api/sessions/{id}/practice", tag = "sessions", params(("id" = String, Path,)),
    responses((status = 200, body = PracticeShown)))]
pub(in crate::serve) async fn practice(
    State(app): State<Shared>,
    Named(id): Named<String>,
) -> Answer<Json<PracticeShown>> {
    work(move || Ok(Json(PracticeShown::of(practice_of(&*app.sessions.find(&id)?)?)))).await
}

/// Turn the trimmer of a practice bench, change what disturbs it, reveal its setting
#[utoipa::path(post, path = "/api/sessions/{id}/practice", tag = "sessions", params(("id" = String, Path,)),
    request_body = Hand, responses((status = 200, body = PracticeShown)))]
pub(in crate::serve) async fn practise(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Typed(hand): Typed<Hand>,
) -> Answer<Json<PracticeShown>> {
    work(move || {
        let live = app.sessions.find(&id)?;
        let practice = practice_of(&live)?;
        hand.act(practice)?;
        Ok(Json(PracticeShown::of(practice)))
    })
    .await
}
