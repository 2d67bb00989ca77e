//! What a handler gives back: JSON, or a problem in one form; and the ways in which bodies and queries are read.

use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{FromRequest, FromRequestParts, Query, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use http_body_util::{BodyExt, LengthLimitError, Limited};
use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::time::{Instant, timeout_at};
use utoipa::ToSchema;

/// Most bytes of a JSON body.
const MOST_JSON: usize = 1 << 20;
/// Most bytes of a capture that is assessed in memory.
pub(super) const MOST_CAPTURE: usize = 64 << 20;
/// How long a body may take to arrive.
const BODY_TIME: Duration = Duration::from_secs(60);
/// How long it may pause.
const PAUSE: Duration = Duration::from_secs(10);

/// What went wrong, as it is told to the one who asked.
#[derive(Debug)]
pub(super) struct Problem {
    status: StatusCode,
    code: &'static str,
    message: String,
    remedy: String,
    fields: Vec<FieldProblem>,
    retry_after_s: Option<u64>,
}

/// What is wrong with one field.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub(super) struct FieldProblem {
    /// The field, the key of a plan, or a line such as `line 3`.
    pub(super) at: String,
    /// What is wrong, and what to do.
    pub(super) message: String,
}

/// The form of every error.
#[derive(Serialize, ToSchema)]
pub(super) struct ErrorAnswer {
    error: ErrorBody,
}

/// An error.
#[derive(Serialize, ToSchema)]
struct ErrorBody {
    /// Stable, in kebab-case.
    code: &'static str,
    /// What is wrong, with name and value.
    message: String,
    /// What to do; may be empty.
    remedy: String,
    /// The first field that is wrong.
    at: Option<String>,
    /// Every field that is wrong.
    fields: Vec<FieldProblem>,
}

impl Problem {
    pub(super) fn new(status: StatusCode, code: &'static str, message: impl Into<String>) -> Self {
        let message = message.into();
        // Messages of the program say what is wrong, a semicolon, and what to do.
        let (message, remedy) = match message.split_once("; ") {
            Some((message, remedy)) => (message.to_owned(), remedy.to_owned()),
            None => (message, String::new()),
        };
        Self { status, code, message, remedy, fields: Vec::new(), retry_after_s: None }
    }

    pub(super) fn with_fields(mut self, fields: Vec<FieldProblem>) -> Self {
        self.fields = fields;
        self
    }

    pub(super) fn at(self, field: &str) -> Self {
        let message = self.message.clone();
        self.with_fields(vec![FieldProblem { at: field.to_owned(), message }])
    }

    pub(super) fn retry_after(mut self, seconds: u64) -> Self {
        self.retry_after_s = Some(seconds);
        self
    }

    pub(super) fn not_found(what: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, "not-found", what)
    }

    /// A value that was typed is not what it should be.
    pub(super) fn field(at: &str, message: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "invalid-fields", message).at(at)
    }

    pub(super) fn conflict(message: impl Into<String>) -> Self {
        Self::new(StatusCode::CONFLICT, "conflict", message)
    }

    pub(super) fn unreadable(message: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "capture-unreadable", message)
    }

    pub(super) fn undetermined(message: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "undetermined", message)
    }

    pub(super) fn bench(message: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "bench-unusable", message)
    }

    pub(super) fn internal() -> Self {
        let message = "the server failed at this request; try again, and report it if it happens again";
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, "internal", message)
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let at = self.fields.first().map(|field| field.at.clone());
        let Self { status, code, message, remedy, fields, retry_after_s } = self;
        let body = ErrorAnswer { error: ErrorBody { code, message, remedy, at, fields } };
        let mut response = (status, Json(body)).into_response();
        if let Some(seconds) = retry_after_s {
            response.headers_mut().insert(header::RETRY_AFTER, seconds.into());
        }
        response
    }
}

pub(super) type Answer<T> = Result<T, Problem>;

/// Something as JSON.
pub(super) struct Json<T>(pub(super) T);

impl<T: Serialize> IntoResponse for Json<T> {
    fn into_response(self) -> Response {
        match serde_json::to_vec(&self.0) {
            Ok(bytes) => raw(bytes.into()),
            Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
        }
    }
}

/// JSON that is written already.
pub(super) struct Written(pub(super) String);

impl IntoResponse for Written {
    fn into_response(self) -> Response {
        raw(self.0.into())
    }
}

fn raw(bytes: Bytes) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], bytes).into_response()
}

/// Lets work that takes a while run beside the server's threads. A panic there is a failure of this request only.
pub(super) async fn work<T: Send + 'static>(f: impl FnOnce() -> Answer<T> + Send + 'static) -> Answer<T> {
    tokio::task::spawn_blocking(f).await.unwrap_or_else(|_| Err(Problem::internal()))
}

/// A JSON body. No other site can send one without being asked first, which nobody allows it.
pub(super) struct Typed<T>(pub(super) T);

impl<T: DeserializeOwned, S: Sync> FromRequest<S> for Typed<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, _: &S) -> Result<Self, Problem> {
        needs(request.headers(), "application/json")?;
        let bytes = collected(request.into_body(), MOST_JSON).await?;
        serde_json::from_slice(&bytes).map(Self).map_err(|error| {
            let message = format!("the body is not what is asked for here: {error}");
            Problem::new(StatusCode::BAD_REQUEST, "invalid-json", message)
        })
    }
}

/// The bytes of a capture, in memory.
pub(super) struct CaptureBytes(pub(super) Bytes);

impl<S: Sync> FromRequest<S> for CaptureBytes {
    type Rejection = Problem;

    async fn from_request(request: Request, _: &S) -> Result<Self, Problem> {
        needs(request.headers(), "application/octet-stream")?;
        collected(request.into_body(), MOST_CAPTURE).await.map(Self)
    }
}

/// A query.
pub(super) struct Asked<T>(pub(super) T);

impl<T: DeserializeOwned, S: Sync> FromRequestParts<S> for Asked<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        Query::try_from_uri(&parts.uri).map(|Query(query)| Self(query)).map_err(|error| {
            Problem::new(
                StatusCode::BAD_REQUEST,
                "invalid-query",
                format!("the query is not what is asked for here: {}", error.body_text()),
            )
        })
    }
}

/// A part of the path.
pub(super) struct Named<T>(pub(super) T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Named<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let found = axum::extract::Path::<T>::from_request_parts(parts, state).await;
        found.map(|path| Self(path.0)).map_err(|error| {
            Problem::not_found(format!("there is nothing at this path: {}", error.body_text()))
        })
    }
}

pub(super) fn needs(headers: &HeaderMap, media_type: &'static str) -> Answer<()> {
    let given = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
    let bare = given.split(';').next().unwrap_or("").trim();
    if bare.eq_ignore_ascii_case(media_type) {
        return Ok(());
    }
    let message = format!("the body is sent as \"{bare}\"; send it as {media_type}");
    Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "content-type", message))
}

async fn collected(body: Body, most: usize) -> Answer<Bytes> {
    if body.size_hint().lower() > most as u64 {
        return Err(too_large(most as u64));
    }
    let mut body = Limited::new(body, most);
    let end = Instant::now() + BODY_TIME;
    let mut all = Vec::new();
    loop {
        let next = (Instant::now() + PAUSE).min(end);
        match timeout_at(next, body.frame()).await.map_err(|_| too_slow())? {
            None => return Ok(all.into()),
            Some(Ok(frame)) => {
                if let Ok(data) = frame.into_data() {
                    all.extend_from_slice(&data);
                }
            }
            Some(Err(error)) if error.downcast_ref::<LengthLimitError>().is_some() => {
                return Err(too_large(most as u64));
            }
            Some(Err(_)) => return Err(broken_off()),
        }
    }
}

pub(super) fn broken_off() -> Problem {
    Problem::new(StatusCode::BAD_REQUEST, "broken-off", "the body broke off; send it again")
}

pub(super) fn too_slow() -> Problem {
    Problem::new(StatusCode::REQUEST_TIMEOUT, "too-slow", "the body did not arrive in time; send it again")
}

pub(super) fn too_large(most: u64) -> Problem {
    let message =
        format!("the body has more than {most} bytes; send fewer points, or store the capture first");
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", message)
}
