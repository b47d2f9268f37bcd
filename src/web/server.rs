//! The server on loopback.

use super::metrics::{MEDIA_TYPE, render};
use super::{Health, Vitals};
use axum::Router;
use axum::extract::{Path, Request, State};
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde_json::json;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;

/// So many look at the vitals at once; others wait their turn.
const LOOKS_AT_ONCE: usize = 2;

/// A server that ends when dropped.
pub struct Serving {
    task: JoinHandle<()>,
    address: SocketAddr,
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Takes the address; nobody is answered yet.
///
/// # Errors
/// It cannot be had, as when another program has it.
pub fn bind(address: SocketAddr) -> std::io::Result<TcpListener> {
    debug_assert!(address.ip().is_loopback());
    let listener = std::net::TcpListener::bind(address)?;
    listener.set_nonblocking(true)?;
    TcpListener::from_std(listener)
}

impl Serving {
    /// Answers who asks.
    ///
    /// # Errors
    /// The listener has no address.
    pub fn start(listener: TcpListener, vitals: Arc<dyn Vitals>) -> std::io::Result<Serving> {
        let address = listener.local_addr()?;
        let shown = Shown {
            vitals,
            turns: Arc::new(Semaphore::new(LOOKS_AT_ONCE)),
        };
        let router = Router::new()
            .route("/health", get(health))
            .route("/metrics", get(metrics))
            .route("/feeds/{channel}", get(feed))
            .layer(from_fn(from_this_machine))
            .with_state(shown);
        let task = tokio::spawn(async move {
            if let Err(error) = axum::serve(listener, router).await {
                tracing::error!(%error, "health and metrics are served no more");
            }
        });
        Ok(Serving { task, address })
    }

    pub fn address(&self) -> SocketAddr {
        self.address
    }
}

#[derive(Clone)]
struct Shown {
    vitals: Arc<dyn Vitals>,
    turns: Arc<Semaphore>,
}

impl Shown {
    /// Looks away from the threads that serve the network.
    async fn look<T: Send + 'static>(
        &self,
        look: impl FnOnce(&dyn Vitals) -> T + Send + 'static,
    ) -> Option<T> {
        let _turn = self.turns.acquire().await.ok()?;
        let vitals = self.vitals.clone();
        let looked = tokio::task::spawn_blocking(move || look(vitals.as_ref())).await;
        looked
            .inspect_err(|panic| tracing::error!(error = %panic, "looking at the daemon panicked"))
            .ok()
    }
}

async fn health(State(shown): State<Shown>) -> Response {
    let Some(Health { reasons, cautions }) = shown.look(|vitals| vitals.health()).await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let (code, status) = match reasons.is_empty() {
        true => (StatusCode::OK, "ok"),
        false => (StatusCode::SERVICE_UNAVAILABLE, "failing"),
    };
    let body = json!({ "status": status, "reasons": reasons, "cautions": cautions });
    answer(code, "application/json", format!("{body}\n"))
}

async fn metrics(State(shown): State<Shown>) -> Response {
    match shown.look(|vitals| render(&vitals.metrics())).await {
        Some(text) => answer(StatusCode::OK, MEDIA_TYPE, text),
        None => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

/// RFC 4287, section 7, names the media type.
async fn feed(State(shown): State<Shown>, Path(channel): Path<String>) -> Response {
    match shown.look(move |vitals| vitals.feed(&channel)).await {
        Some(Some(text)) => answer(StatusCode::OK, "application/atom+xml; charset=utf-8", text),
        Some(None) => (
            StatusCode::NOT_FOUND,
            "no channel of this name has told yet\n",
        )
            .into_response(),
        None => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

fn answer(code: StatusCode, media_type: &'static str, body: String) -> Response {
    let headers = [
        (header::CONTENT_TYPE, media_type),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    ];
    (code, headers, body).into_response()
}

/// Answers only who names this machine. A page whose own name was pointed at loopback sends that
/// name (DNS rebinding), and gets 421 (RFC 9110, 15.5.20).
async fn from_this_machine(request: Request, next: Next) -> Response {
    match names_this_machine(request.uri(), request.headers()) {
        Some(true) => next.run(request).await,
        Some(false) => (
            StatusCode::MISDIRECTED_REQUEST,
            "ask by a loopback address\n",
        )
            .into_response(),
        None => (StatusCode::BAD_REQUEST, "the request names no host\n").into_response(),
    }
}

/// Whether every name that the request is for is one of this machine; none without a name.
fn names_this_machine(uri: &Uri, headers: &HeaderMap) -> Option<bool> {
    let mut hosts: Vec<&str> = headers
        .get_all(header::HOST)
        .iter()
        .map(|host| host.to_str().unwrap_or(""))
        .collect();
    hosts.extend(uri.authority().map(|authority| authority.as_str()));
    match hosts.as_slice() {
        [] => None,
        hosts => Some(hosts.iter().all(|host| is_local(host))),
    }
}

fn is_local(host: &str) -> bool {
    if let Ok(address) = host.parse::<SocketAddr>() {
        return address.ip().is_loopback();
    }
    let name = match host.rsplit_once(':') {
        Some((name, port)) if !port.is_empty() && port.bytes().all(|one| one.is_ascii_digit()) => {
            name
        }
        _ => host,
    };
    let bare = name
        .strip_prefix('[')
        .and_then(|rest| rest.strip_suffix(']'));
    let address = bare.unwrap_or(name).parse::<IpAddr>();
    name.eq_ignore_ascii_case("localhost") || address.is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_this_machine_are_answered() {
        for host in [
            "localhost",
            "LOCALHOST:9414",
            "127.0.0.1",
            "127.0.0.1:80",
            "[::1]",
            "[::1]:9414",
        ] {
            assert!(is_local(host), "{host}");
        }
        for host in [
            "",
            ":80",
            "guide.example",
            "guide.example:9414",
            "localhost.guide.example",
            "127.0.0.1.guide.example",
            "192.0.2.7:9414",
            "localhost:x",
            "a@localhost",
            "[::2]:1",
            "0.0.0.0",
        ] {
            assert!(!is_local(host), "{host}");
        }
    }
}
