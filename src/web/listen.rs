//! Connections: at most so many at once, none that says nothing for long, and all closed when the
//! server ends.

use super::guard::Peer;
use axum::Router;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::task::JoinSet;
use tower_service::Service as _;

/// So many connections are open at once; whoever comes then waits.
const AT_ONCE: usize = 256;
/// A connection on which no whole head of a request arrives for so long is closed.
const SILENCE: Duration = Duration::from_secs(20);
/// The longest head of a request.
const HEAD_BYTES: usize = 32 * 1024;
/// When the system refuses a connection, as when it has no descriptors left, it is asked again then.
const PAUSE: Duration = Duration::from_millis(200);

/// Answers until it is dropped, and its connections with it.
pub async fn answer(listener: TcpListener, router: Router) {
    let room = Arc::new(Semaphore::new(AT_ONCE));
    let mut connections = JoinSet::new();
    loop {
        let Ok(turn) = room.clone().acquire_owned().await else {
            return;
        };
        match listener.accept().await {
            Ok((stream, peer)) => {
                connections.spawn(converse(stream, peer, router.clone(), turn));
            }
            Err(error) => {
                tracing::warn!(%error, "a connection could not be taken");
                tokio::time::sleep(PAUSE).await;
            }
        }
        while connections.try_join_next().is_some() {}
    }
}

async fn converse(
    stream: TcpStream,
    peer: SocketAddr,
    router: Router,
    _turn: OwnedSemaphorePermit,
) {
    // Small answers go out at once; without it nothing is lost but time.
    let _ = stream.set_nodelay(true);
    let service = service_fn(move |mut request: hyper::Request<Incoming>| {
        request.extensions_mut().insert(Peer(peer));
        router.clone().call(request)
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(SILENCE)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), service)
        .await;
    if let Err(error) = served {
        // The other end went away, or spoke something else: its own matter.
        tracing::debug!(%error, "a connection ended early");
    }
}
