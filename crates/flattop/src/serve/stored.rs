//! Captures that are stored, and files to be downloaded: in a temporary folder of the server's own, with limits and an end.

use std::collections::HashMap;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::body::{Body, HttpBody};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use flattop_captures::{Capture, ReadOptions};
use http_body_util::BodyExt;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use tokio::io::AsyncWriteExt;
use utoipa::{IntoParams, ToSchema};

use super::answer::{Answer, Asked, Json, Named, Problem, broken_off, needs, too_large, too_slow, work};
use super::drawing::Window;
use super::state::Shared;
use super::typed::{ColumnsAsked, Reader, Text, Unknown};

/// Most bytes of one stored capture.
pub(super) const MOST_STORED: u64 = 2 << 30;
/// Most bytes of all together.
const MOST_TOGETHER: u64 = 8 << 30;
/// Most files.
const MOST_FILES: usize = 256;
/// How long a file stays after it was last used.
const KEPT: Duration = Duration::from_secs(3600);
/// A body that arrives more slowly than so many bytes a second is given up.
const SLOWEST: u64 = 64 << 10;
/// How long a body may pause.
const PAUSE: Duration = Duration::from_secs(10);

/// The folder and what lies in it.
pub(super) struct Store {
    folder: tempfile::TempDir,
    files: Mutex<HashMap<String, Item>>,
}

struct Item {
    file: Stored,
    bytes: u64,
    used: Duration,
}

/// A file that is stored.
#[derive(Clone, Debug)]
pub(super) struct Stored {
    pub(super) name: String,
    pub(super) path: PathBuf,
    /// Whether it holds a text; numbers as bytes otherwise.
    pub(super) is_text: bool,
}

impl Stored {
    /// All of it, in memory.
    #[allow(clippy::disallowed_methods)] // our own file
    pub(super) fn read(&self, most: u64) -> Answer<Vec<u8>> {
        let gone = |_| Problem::not_found(format!("{} is not stored any more; send it again", self.name));
        let mut bytes = Vec::new();
        let file = std::fs::File::open(&self.path).map_err(gone)?;
        file.take(most + 1).read_to_end(&mut bytes).map_err(gone)?;
        if bytes.len() as u64 > most { Err(too_large(most)) } else { Ok(bytes) }
    }

    /// As a capture, mapped.
    pub(super) fn capture(&self, read: &ReadOptions) -> Answer<Capture> {
        flattop_captures::open(&self.path, read, &|_| {})
            .map_err(|error| Problem::unreadable(error.to_string()))
    }
}

/// A file to fetch.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Download {
    id: String,
    /// Name to save it under.
    name: String,
    bytes: u64,
    /// Where it is.
    path: String,
}

impl Store {
    pub(super) fn new() -> Result<Self, String> {
        let mut builder = tempfile::Builder::new();
        builder.prefix("flattop-serve-");
        // Nobody else looks into it.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
        let folder = builder.tempdir().map_err(|error| {
            format!("no temporary folder can be made: {error}; check TMPDIR and the space left there")
        })?;
        Ok(Self { folder, files: Mutex::default() })
    }

    /// A path in the folder that nothing else uses.
    pub(super) fn own_path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<String, Item>> {
        self.files.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A place for a new file: its id and path. It counts once it is [`Store::add`]ed.
    pub(super) fn place(&self, name: &str) -> Answer<(String, Stored)> {
        let mut random = [0u8; 12];
        getrandom::fill(&mut random).map_err(|_| Problem::internal())?;
        let id: String = random.iter().map(|byte| format!("{byte:02x}")).collect();
        let folder = self.folder.path().join(&id);
        std::fs::create_dir(&folder).map_err(|error| full(&error))?;
        Ok((id, Stored { name: name.to_owned(), path: folder.join(name), is_text: true }))
    }

    /// Counts a file that was written; older ones make room.
    pub(super) fn add(&self, id: &str, file: Stored, now: Duration) -> u64 {
        let bytes = file.path.metadata().map_or(0, |meta| meta.len());
        let mut files = self.lock();
        sweep(&mut files, now);
        loop {
            let together: u64 = files.values().map(|item| item.bytes).sum();
            if together + bytes <= MOST_TOGETHER && files.len() < MOST_FILES {
                break;
            }
            let oldest = files.iter().min_by_key(|(_, item)| item.used).map(|(id, _)| id.clone());
            let Some(item) = oldest.and_then(|id| files.remove(&id)) else { break };
            remove(&item.file.path);
        }
        files.insert(id.to_owned(), Item { file, bytes, used: now });
        bytes
    }

    /// Stores bytes.
    #[allow(clippy::disallowed_methods)] // our own file
    pub(super) fn keep(&self, name: &str, bytes: &[u8], is_text: bool, now: Duration) -> Answer<String> {
        let (id, file) = self.place(name)?;
        let file = Stored { is_text, ..file };
        std::fs::write(&file.path, bytes).map_err(|error| full(&error))?;
        self.add(&id, file, now);
        Ok(id)
    }

    /// Offers a file that was written for downloading.
    pub(super) fn offer(&self, id: String, file: Stored, now: Duration) -> Download {
        let name = file.name.clone();
        let bytes = self.add(&id, file, now);
        Download { path: format!("/api/downloads/{id}"), id, name, bytes }
    }

    /// A file, which stays for longer then.
    pub(super) fn find(&self, id: &str, now: Duration) -> Answer<Stored> {
        let mut files = self.lock();
        sweep(&mut files, now);
        match files.get_mut(id) {
            Some(item) => {
                item.used = now;
                Ok(item.file.clone())
            }
            None => Err(Problem::not_found("this file is not stored, or not any more; send it again")),
        }
    }

    fn forget(&self, id: &str) -> Answer<()> {
        match self.lock().remove(id) {
            Some(item) => {
                remove(&item.file.path);
                Ok(())
            }
            None => Err(Problem::not_found("this file is not stored, or not any more")),
        }
    }

    /// Removes what has not been used for long.
    pub(super) fn sweep(&self, now: Duration) {
        sweep(&mut self.lock(), now);
    }
}

fn sweep(files: &mut HashMap<String, Item>, now: Duration) {
    files.retain(|_, item| {
        let stays = now < item.used + KEPT;
        if !stays {
            remove(&item.file.path);
        }
        stays
    });
}

fn remove(path: &Path) {
    // What cannot be removed now goes with the folder at the end.
    if let Some(folder) = path.parent() {
        let _ = std::fs::remove_dir_all(folder);
    }
}

pub(super) fn full(error: &std::io::Error) -> Problem {
    let message = format!("the file cannot be stored: {error}; check the space left in the temporary folder");
    Problem::new(StatusCode::INSUFFICIENT_STORAGE, "storage-full", message)
}

/// A name that can be shown, and be that of a file: no folders, nothing that a header or a system takes amiss.
pub(super) fn tidy_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or("");
    let fits = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '.' | '-' | '_' | '(' | ')' | '+');
    let tidy: String = last.chars().map(|c| if fits(c) { c } else { '_' }).take(60).collect();
    let tidy = tidy.trim().trim_start_matches('.');
    if tidy.is_empty() { "capture".to_owned() } else { tidy.to_owned() }
}

/// Query of a capture to be stored.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct StoreAsked {
    /// Name of the capture.
    #[serde(default)]
    name: String,
    #[serde(flatten)]
    #[param(inline, value_type = ColumnsAsked)]
    columns: ColumnsAsked,
    #[serde(flatten)]
    #[param(ignore)]
    unknown: Unknown,
}

/// A stored capture.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct StoredCapture {
    id: String,
    name: String,
    bytes: u64,
    points: usize,
    interval_s: f64,
    start_s: f64,
    /// How many columns the file has.
    columns: usize,
    /// The one that was read, from 1.
    column: usize,
    column_name: Option<String>,
    unit: Option<String>,
    format: String,
    sha256: String,
    /// What the reader had to say.
    #[schema(value_type = Vec<Object>)]
    findings: Vec<Value>,
    /// It stays for so long after it was last used, s.
    expires_s: u64,
}

fn facts(id: &str, file: &Stored, capture: &Capture) -> StoredCapture {
    let finding = |finding: &flattop_core::finding::Finding| {
        serde_json::json!({
            "code": finding.code,
            "severity": flattop_report::subject::severity_code(finding.severity),
            "message": finding.message,
            "remedy": finding.remedy,
        })
    };
    StoredCapture {
        id: id.to_owned(),
        name: file.name.clone(),
        bytes: file.path.metadata().map_or(0, |meta| meta.len()),
        points: capture.points,
        interval_s: capture.interval_s,
        start_s: capture.start_s,
        columns: capture.columns,
        column: capture.probe.number,
        column_name: capture.probe.name.clone(),
        unit: capture.probe.unit.clone(),
        format: capture.format.to_string(),
        sha256: capture.sha256().to_owned(),
        findings: capture.findings.iter().map(finding).collect(),
        expires_s: KEPT.as_secs(),
    }
}

/// Store a capture, to zoom in it, to correct it, or to characterise a probe with it
#[utoipa::path(post, path = "/api/captures", tag = "captures", params(StoreAsked),
    request_body(content_type = "application/octet-stream", content = Vec<u8>),
    responses((status = 201, body = StoredCapture)))]
pub(super) async fn store(
    State(app): State<Shared>,
    Asked(asked): Asked<StoreAsked>,
    request: Request,
) -> Answer<(StatusCode, Json<StoredCapture>)> {
    needs(request.headers(), "application/octet-stream")?;
    let mut reader = Reader::default();
    reader.refuse(&asked.unknown);
    let read = asked.columns.read(&mut reader);
    reader.finish()?;
    let (id, mut file) = app.store.place(&tidy_name(&asked.name))?;
    if let Err(problem) = received(request.into_body(), &file.path).await {
        remove(&file.path);
        return Err(problem);
    }
    work(move || {
        let capture = file.capture(&read).inspect_err(|_| remove(&file.path))?;
        file.is_text = capture.format.content == flattop_captures::Content::Text;
        app.store.add(&id, file.clone(), app.clock.now());
        Ok((StatusCode::CREATED, Json(facts(&id, &file, &capture))))
    })
    .await
}

/// Writes a body into a file as it comes.
async fn received(mut body: Body, path: &Path) -> Answer<()> {
    if body.size_hint().lower() > MOST_STORED {
        return Err(too_large(MOST_STORED));
    }
    let mut file = tokio::fs::File::create_new(path).await.map_err(|error| full(&error))?;
    let start = tokio::time::Instant::now();
    let mut bytes = 0u64;
    loop {
        let allowed = start + PAUSE * 6 + Duration::from_secs(bytes / SLOWEST);
        let next = (tokio::time::Instant::now() + PAUSE).min(allowed);
        let frame = tokio::time::timeout_at(next, body.frame()).await.map_err(|_| too_slow())?;
        let Some(frame) = frame else { break };
        let frame = frame.map_err(|_| broken_off())?;
        let Ok(data) = frame.into_data() else { continue };
        bytes += data.len() as u64;
        if bytes > MOST_STORED {
            return Err(too_large(MOST_STORED));
        }
        file.write_all(&data).await.map_err(|error| full(&error))?;
    }
    file.flush().await.map_err(|error| full(&error))
}

/// A stored capture
#[utoipa::path(get, path = "/api/captures/{id}", tag = "captures", params(("id" = String, Path,), ColumnsQuery), responses((status = 200, body = StoredCapture)))]
pub(super) async fn show(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Asked(asked): Asked<ColumnsQuery>,
) -> Answer<Json<StoredCapture>> {
    work(move || {
        let mut reader = Reader::default();
        let read = asked.columns.read(&mut reader);
        reader.finish()?;
        let file = app.store.find(&id, app.clock.now())?;
        let capture = file.capture(&read)?;
        Ok(Json(facts(&id, &file, &capture)))
    })
    .await
}

/// Columns in a query.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct ColumnsQuery {
    #[serde(flatten)]
    #[param(inline, value_type = ColumnsAsked)]
    columns: ColumnsAsked,
}

/// Forget a stored capture
#[utoipa::path(delete, path = "/api/captures/{id}", tag = "captures", params(("id" = String, Path,)), responses((status = 204, description = "forgotten")))]
pub(super) async fn forget(State(app): State<Shared>, Named(id): Named<String>) -> Answer<StatusCode> {
    app.store.forget(&id).map(|()| StatusCode::NO_CONTENT)
}

/// Query of a window.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct WindowAsked {
    /// Where it begins, s; without it at the first sample.
    #[param(value_type = Option<f64>)]
    from_s: Option<Text>,
    /// Where it ends, s; without it at the last sample.
    #[param(value_type = Option<f64>)]
    to_s: Option<Text>,
    /// Most entries of the lists, up to 4000.
    #[param(value_type = Option<u32>)]
    stretches: Option<Text>,
    #[serde(flatten)]
    #[param(inline, value_type = ColumnsAsked)]
    columns: ColumnsAsked,
}

impl WindowAsked {
    /// From, to, stretches, and how the capture is read.
    pub(super) fn read(&self) -> Answer<(Option<f64>, Option<f64>, usize, ReadOptions)> {
        let mut reader = Reader::default();
        let number =
            |text: &str| text.parse::<f64>().map_err(|_| format!("\"{text}\" is no time in seconds"));
        let from = reader.read("from_s", self.from_s.as_ref(), number);
        let to = reader.read("to_s", self.to_s.as_ref(), number);
        let stretches = reader.read("stretches", self.stretches.as_ref(), |text| {
            text.parse::<usize>()
                .map_err(|_| format!("\"{text}\" is no number of stretches; write for example 800"))
        });
        let read = self.columns.read(&mut reader);
        reader.finish()?;
        Ok((from, to, stretches.unwrap_or(800), read))
    }
}

/// Part of a stored capture, thinned for drawing
#[utoipa::path(get, path = "/api/captures/{id}/window", tag = "captures", params(("id" = String, Path,), WindowAsked), responses((status = 200, body = Window)))]
pub(super) async fn window(
    State(app): State<Shared>,
    Named(id): Named<String>,
    Asked(asked): Asked<WindowAsked>,
) -> Answer<Json<Window>> {
    work(move || {
        let (from, to, stretches, read) = asked.read()?;
        let capture = app.store.find(&id, app.clock.now())?.capture(&read)?;
        Ok(Json(Window::of(&capture, from, to, stretches)))
    })
    .await
}

/// Fetch a file that was made
#[utoipa::path(get, path = "/api/downloads/{id}", tag = "correct", params(("id" = String, Path,)),
    responses((status = 200, description = "the file", content_type = "application/octet-stream")))]
pub(super) async fn download(State(app): State<Shared>, Named(id): Named<String>) -> Answer<Response> {
    let file = app.store.find(&id, app.clock.now())?;
    let gone = |_| Problem::not_found(format!("{} is not stored any more; make it again", file.name));
    let opened = tokio::fs::File::open(&file.path).await.map_err(gone)?;
    let bytes = opened.metadata().await.map_err(gone)?.len();
    let stream = tokio_util::io::ReaderStream::with_capacity(opened, 64 << 10);
    let mut headers = attachment(&file.name);
    headers.insert(header::CONTENT_LENGTH, bytes.into());
    Ok((headers, Body::from_stream(stream)).into_response())
}

/// What tells a browser to save a file; letters beyond ASCII as RFC 8187 has it.
pub(super) fn attachment(name: &str) -> HeaderMap {
    let tidy = tidy_name(name);
    let plain: String = tidy.chars().map(|c| if c.is_ascii() { c } else { '_' }).collect();
    let encoded = percent_encoding::utf8_percent_encode(&tidy, percent_encoding::NON_ALPHANUMERIC);
    let mut headers = HeaderMap::new();
    let text = format!("attachment; filename=\"{plain}\"; filename*=UTF-8''{encoded}");
    if let Ok(value) = HeaderValue::from_str(&text) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/octet-stream"));
    headers
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lead_nowhere_and_hold_nothing_that_a_header_takes_amiss() {
        for (name, expected) in [
            ("cap.csv", "cap.csv"),
            ("../../etc/passwd", "passwd"),
            ("C:\\captures\\a.csv", "a.csv"),
            ("a\r\nSet-Cookie: x=1", "a__Set-Cookie_ x_1"),
            ("\"quoted\".csv", "_quoted_.csv"),
            (".hidden", "hidden"),
            ("..", "capture"),
            ("", "capture"),
        ] {
            assert_eq!(tidy_name(name), expected);
        }
        assert_eq!(tidy_name(&"x".repeat(500)).len(), 60);
        let headers = attachment("Türmotor\r\n.csv");
        let text = headers[header::CONTENT_DISPOSITION].to_str().unwrap();
        assert_eq!(
            text,
            "attachment; filename=\"T_rmotor__.csv\"; filename*=UTF-8''T%C3%BCrmotor%5F%5F%2Ecsv"
        );
    }

    #[test]
    fn files_end_an_hour_after_they_were_last_used() {
        let store = Store::new().unwrap();
        let at = Duration::from_secs;
        let id = store.keep("a.csv", b"1,2\n", true, at(0)).unwrap();
        let path = store.find(&id, at(3000)).unwrap().path;
        assert!(path.exists() && store.find(&id, at(6000)).is_ok());
        assert!(store.find(&id, at(9601)).is_err() && !path.exists());
        assert!(store.find("../x", at(0)).is_err() && store.find("", at(0)).is_err());
    }
}
