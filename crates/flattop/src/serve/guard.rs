//! Who may ask: requests must name this server and come from its own page. What every answer says to the browser.
//!
//! Against names that are made to point here (DNS rebinding) the `Host` header is compared with the server's own names;
//! against pages of other sites `Origin` and `Sec-Fetch-Site` are (Fetch standard; Fetch Metadata Request Headers, W3C).

use std::net::{IpAddr, SocketAddr};

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::answer::Problem;
use super::state::Shared;

/// The names under which this server may be asked for.
#[derive(Clone, Debug)]
pub(super) struct Hosts {
    /// As they stand in a `Host` header, in lower case.
    known: Vec<String>,
    /// Any address counts, with this port: it listens on all of them, and an address is nobody's name.
    any_address: Option<u16>,
}

impl Hosts {
    pub(super) fn of(bound: SocketAddr, named: &[String]) -> Self {
        let port = bound.port();
        let mut hosts: Vec<String> = named.to_vec();
        if bound.ip().is_loopback() || bound.ip().is_unspecified() {
            hosts.extend(["localhost", "127.0.0.1", "[::1]"].map(String::from));
        }
        if !bound.ip().is_unspecified() {
            hosts.push(literal(bound.ip()));
        }
        let with_port = hosts.iter().filter(|host| !has_port(host)).map(|host| format!("{host}:{port}"));
        let mut known: Vec<String> = with_port.collect();
        // Without a port, port 80 is meant; behind a proxy that encrypts, 443.
        known.extend(named.iter().cloned());
        if port == 80 {
            known.extend(hosts);
        }
        Self { known, any_address: bound.ip().is_unspecified().then_some(port) }
    }

    pub(super) fn is_ours(&self, authority: &str) -> bool {
        let authority = authority.to_ascii_lowercase();
        if self.known.contains(&authority) {
            return true;
        }
        let Some(port) = self.any_address else { return false };
        authority.parse::<SocketAddr>().is_ok_and(|address| address.port() == port)
    }
}

fn literal(ip: IpAddr) -> String {
    match ip {
        IpAddr::V4(ip) => ip.to_string(),
        IpAddr::V6(ip) => format!("[{ip}]"),
    }
}

fn has_port(host: &str) -> bool {
    host.rsplit_once(':').is_some_and(|(_, port)| !port.contains(']'))
}

/// What a page of ours may do: nothing but load its own files and ask this server.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
                      font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

/// Stands before everything that is served.
pub(super) async fn guard(State(app): State<Shared>, request: Request, next: Next) -> Response {
    let is_api = request.uri().path().starts_with("/api/");
    let checked = check(&app, &request);
    let mut response = match checked {
        Ok(()) => next.run(request).await,
        Err(problem) => problem.into_response(),
    };
    let headers = response.headers_mut();
    let fixed = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-embedder-policy"), "require-corp"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            header::HeaderName::from_static("permissions-policy"),
            "camera=(), microphone=(), geolocation=(), usb=(), serial=(), payment=()",
        ),
    ];
    for (name, value) in fixed {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    if is_api {
        headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    }
    response
}

fn check(app: &Shared, request: &Request) -> Result<(), Problem> {
    is_ours(&app.hosts, request)?;
    let path = request.uri().path();
    let is_open = !path.starts_with("/api/") || matches!(path, "/api/about" | "/api/sign-in");
    if !is_open && !app.is_signed_in(request.headers()) {
        let message = "this needs the secret of the server; sign in first";
        return Err(Problem::new(StatusCode::UNAUTHORIZED, "sign-in-needed", message));
    }
    Ok(())
}

/// Whether a request names this server and comes from its own page.
pub(super) fn is_ours(hosts: &Hosts, request: &Request) -> Result<(), Problem> {
    is_for_us(hosts, request.uri(), request.headers())?;
    is_from_us(request.method(), request.uri(), request.headers())
}

fn is_for_us(hosts: &Hosts, uri: &Uri, headers: &HeaderMap) -> Result<(), Problem> {
    let refuse = || {
        let message = "this request names another server; open the page by the address that 'flattop serve' printed, or name it with --host-name";
        Problem::new(StatusCode::FORBIDDEN, "foreign-host", message)
    };
    let mut all = headers.get_all(header::HOST).iter();
    let (Some(host), None) = (all.next(), all.next()) else { return Err(refuse()) };
    let host = host.to_str().map_err(|_| refuse())?;
    let is_same = uri.authority().is_none_or(|authority| authority.as_str().eq_ignore_ascii_case(host));
    if hosts.is_ours(host) && is_same { Ok(()) } else { Err(refuse()) }
}

fn is_from_us(method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<(), Problem> {
    let refuse = || {
        let message = "this request comes from another page; only the page that this server served may ask";
        Problem::new(StatusCode::FORBIDDEN, "foreign-origin", message)
    };
    let text = |name| headers.get(name).map(|value: &HeaderValue| value.to_str().unwrap_or(""));
    let host = text(header::HOST).unwrap_or("");
    if let Some(origin) = text(header::ORIGIN) {
        let place = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
        if !place.is_some_and(|place| place.eq_ignore_ascii_case(host)) {
            return Err(refuse());
        }
    }
    // Following a link to the page itself is nobody's harm; everything else is for the page.
    let is_page = matches!(*method, Method::GET | Method::HEAD) && !uri.path().starts_with("/api/");
    match text(header::HeaderName::from_static("sec-fetch-site")) {
        None | Some("same-origin" | "none") => Ok(()),
        Some(_) if is_page => Ok(()),
        Some(_) => Err(refuse()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hosts(bound: &str, named: &[&str]) -> Hosts {
        let named: Vec<String> = named.iter().map(|name| (*name).to_owned()).collect();
        Hosts::of(bound.parse().unwrap(), &named)
    }

    #[test]
    fn only_names_of_this_server_count() {
        let loopback = hosts("127.0.0.1:8437", &[]);
        for host in ["localhost:8437", "127.0.0.1:8437", "[::1]:8437", "LOCALHOST:8437"] {
            assert!(loopback.is_ours(host), "{host}");
        }
        let foreign = [
            "localhost",
            "localhost:80",
            "evil.example:8437",
            "127.0.0.1.evil.example:8437",
            "192.0.2.7:8437",
        ];
        for host in foreign.into_iter().chain(["", "localhost:8437@evil.example", "user@localhost:8437"]) {
            assert!(!loopback.is_ours(host), "{host}");
        }
        let everywhere = hosts("0.0.0.0:8437", &["bench-pc.example"]);
        for host in [
            "192.0.2.7:8437",
            "[2001:db8::7]:8437",
            "bench-pc.example:8437",
            "bench-pc.example",
            "localhost:8437",
        ] {
            assert!(everywhere.is_ours(host), "{host}");
        }
        for host in ["evil.example:8437", "192.0.2.7:80", "192.0.2.7"] {
            assert!(!everywhere.is_ours(host), "{host}");
        }
        let one = hosts("192.0.2.5:80", &[]);
        assert!(one.is_ours("192.0.2.5") && one.is_ours("192.0.2.5:80") && !one.is_ours("localhost"));
    }
}
