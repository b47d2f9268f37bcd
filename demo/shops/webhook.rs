//! The desk: a webhook receiver on loopback that keeps what it was sent.

use super::server::Server;
use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::routing::post;
use std::io;
use std::net::SocketAddr;
use tokio::net::TcpListener;
use tokio::sync::mpsc;

/// Bulletins that wait to be read; the sender is told to come back when the tray is full.
const TRAY: usize = 64;

/// Receives `POST /bulletins`. It stops when dropped.
pub struct WebhookReceiver {
    server: Server,
    tray: mpsc::Receiver<String>,
}

impl WebhookReceiver {
    /// Opens the receiver on a free port of 127.0.0.1.
    ///
    /// # Errors
    /// The system's refusal of a port.
    pub async fn open() -> io::Result<WebhookReceiver> {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await?;
        let (sender, tray) = mpsc::channel(TRAY);
        let router = Router::new()
            .route("/bulletins", post(receive))
            .with_state(sender);
        Ok(WebhookReceiver {
            server: Server::start(listener, router)?,
            tray,
        })
    }

    pub fn address(&self) -> SocketAddr {
        self.server.address()
    }

    /// Waits for the next body that was posted, in the order of arrival; set a deadline around
    /// it. `None` once the server has ended.
    pub async fn next(&mut self) -> Option<String> {
        self.tray.recv().await
    }

    /// Stops listening and waits, within two seconds, for requests under way.
    pub async fn close(self) {
        self.server.close().await;
    }
}

async fn receive(State(tray): State<mpsc::Sender<String>>, body: String) -> StatusCode {
    match tray.try_send(body) {
        Ok(()) => StatusCode::NO_CONTENT,
        Err(_) => StatusCode::SERVICE_UNAVAILABLE,
    }
}
