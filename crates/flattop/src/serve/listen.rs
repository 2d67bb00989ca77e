//! The loop that accepts connections: HTTP/1.1, so many at a time, heads within a time limit.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use hyper::body::Incoming;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tower_service::Service;

use super::answer::Problem;

/// Connections at a time; a browser opens six.
const MOST_CONNECTIONS: usize = 256;
/// How long the head of a request may take to arrive, and a connection stay without one.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Most bytes of a head.
const MOST_HEAD: usize = 32 << 10;
/// What is still being answered at the end may take this long.
const LAST: Duration = Duration::from_secs(2);

/// Who asks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peer {
    pub(super) remote: SocketAddr,
}

impl<S: Sync> FromRequestParts<S> for Peer {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        parts.extensions.get::<Self>().copied().ok_or_else(Problem::internal)
    }
}

/// Serves until `end` comes.
pub(super) async fn serve(listener: TcpListener, router: Router, end: impl Future<Output = ()>) {
    let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let mut end = std::pin::pin!(end);
    loop {
        let place = tokio::select! {
            () = &mut end => break,
            place = Arc::clone(&places).acquire_owned() => place,
        };
        // The semaphore is never closed.
        let Ok(place) = place else { break };
        let (stream, remote) = tokio::select! {
            () = &mut end => break,
            accepted = listener.accept() => match accepted {
                Ok(accepted) => accepted,
                // No file handles left, or the caller is gone: a moment later there may be.
                Err(_) => {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                    continue;
                }
            },
        };
        // Small answers leave at once.
        let _ = stream.set_nodelay(true);
        let router = router.clone();
        tokio::spawn(async move {
            let service = service_fn(move |mut request: hyper::Request<Incoming>| {
                request.extensions_mut().insert(Peer { remote });
                let mut router = router.clone();
                async move {
                    let answer: Result<_, Infallible> = router.call(request).await;
                    answer
                }
            });
            // How a connection ends is its client's business.
            let _ = hyper::server::conn::http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEAD_TIME)
                .max_buf_size(MOST_HEAD)
                .serve_connection(TokioIo::new(stream), service)
                .await;
            drop(place);
        });
    }
    // Whoever reads events never ends by itself.
    let all = u32::try_from(MOST_CONNECTIONS).unwrap_or(u32::MAX);
    let _ = tokio::time::timeout(LAST, places.acquire_many(all)).await;
}
