//! One HTTP server on loopback that stops when asked, and at the latest when dropped.

use axum::Router;
use std::io;
use std::net::SocketAddr;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

/// How long a request under way may hold up the end.
const PATIENCE: Duration = Duration::from_secs(2);

pub struct Server {
    address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    task: JoinHandle<()>,
}

impl Server {
    /// Serves `router` on `listener` until closed or dropped.
    ///
    /// # Errors
    /// The listener's address cannot be read.
    pub fn start(listener: TcpListener, router: Router) -> io::Result<Server> {
        let address = listener.local_addr()?;
        let (stop, stopped) = oneshot::channel::<()>();
        let task = tokio::spawn(async move {
            // A dropped sender means "stop" too.
            let until = async move { stopped.await.unwrap_or(()) };
            if let Err(error) = axum::serve(listener, router)
                .with_graceful_shutdown(until)
                .await
            {
                tracing::error!(%address, %error, "a server of the demo stopped");
            }
        });
        let stop = Some(stop);
        Ok(Server {
            address,
            stop,
            task,
        })
    }

    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Stops listening, lets requests under way finish, and returns when that is done.
    pub async fn close(mut self) {
        drop(self.stop.take());
        // Out of patience, the drop below ends what is left.
        let _ = tokio::time::timeout(PATIENCE, &mut self.task).await;
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.task.abort();
    }
}
