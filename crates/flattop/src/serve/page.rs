//! The page's files.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};
use flattop_page::{Packing, asset};

use super::answer::Problem;

/// Everything outside `/api/`: a file of the page, or the page itself for the places within it.
pub(super) async fn serve(request: Request) -> Response {
    let path = request.uri().path();
    if path.starts_with("/api/") {
        let message = format!("there is nothing at {path}; the interface is described at /api/openapi.json");
        return Problem::not_found(message).into_response();
    }
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        let message = "files of the page can only be read";
        let problem = Problem::new(StatusCode::METHOD_NOT_ALLOWED, "method-not-allowed", message);
        let mut response = problem.into_response();
        response.headers_mut().insert(header::ALLOW, HeaderValue::from_static("GET, HEAD"));
        return response;
    }
    let name = path.trim_start_matches('/');
    // Places within the page have no ending.
    let is_place = !name.rsplit('/').next().unwrap_or("").contains('.');
    let name = if is_place { "index.html" } else { name };
    let Some(found) = asset(name, &accepted(request.headers())) else {
        return Problem::not_found("the page has no such file; open it at /").into_response();
    };
    let tag = format!("\"{}\"", found.tag);
    let keep = if found.is_immutable { "public, max-age=31536000, immutable" } else { "no-cache" };
    let is_known = request
        .headers()
        .get(header::IF_NONE_MATCH)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|tags| tags.split(',').any(|one| one.trim() == tag));
    let mut response = if is_known {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        ([(header::CONTENT_TYPE, found.media_type)], found.bytes.into_owned()).into_response()
    };
    let headers = response.headers_mut();
    let packing = match found.packing {
        Packing::Plain => None,
        Packing::Gzip => Some("gzip"),
        Packing::Brotli => Some("br"),
    };
    if let Some(packing) = packing.filter(|_| !is_known) {
        headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static(packing));
    }
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(keep));
    headers.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        headers.insert(header::ETAG, tag);
    }
    response
}

/// A path that is there, but not for this method.
pub(super) async fn wrong_method(request: Request) -> Problem {
    let message = format!("{} cannot be used here; see /api/openapi.json", request.method());
    Problem::new(StatusCode::METHOD_NOT_ALLOWED, "method-not-allowed", message)
}

fn accepted(headers: &HeaderMap) -> Vec<Packing> {
    let all = headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(','))
        .filter(|one| !one.replace(' ', "").ends_with(";q=0"))
        .filter_map(|one| match one.split(';').next().unwrap_or("").trim() {
            "br" => Some(Packing::Brotli),
            "gzip" => Some(Packing::Gzip),
            _ => None,
        })
        .collect()
}
