//! `rigtide watch`: the daemon in the foreground.

use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire;
use crate::ledger::WatchLock;
use crate::watch::clock::Clock;
use crate::watch::daemon::{Silent, watch};
use anyhow::Context as _;
use std::path::Path;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::watch::channel;

pub fn run(directory: &Path, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let _lock =
        WatchLock::acquire(&settings.ledger).map_err(|error| Failure::Ledger(error.into()))?;
    let polling = wire::polling(settings)?;
    let runtime = wire::runtime()?;
    let watched = runtime.block_on(async {
        let (stop, stopping) = channel(false);
        let mut terminate = signal(SignalKind::terminate()).context("cannot listen for signals")?;
        let mut interrupt = signal(SignalKind::interrupt()).context("cannot listen for signals")?;
        tokio::spawn(async move {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = interrupt.recv() => {}
            }
            // Whoever waits for this has ended already when it cannot be sent.
            let _ = stop.send(true);
        });
        let (feeds, briefs) = (polling.settings.feeds.len(), polling.settings.briefs.len());
        tracing::info!(feeds, briefs, "watching");
        watch(&polling, &Clock::system(), stopping, &mut Silent)
            .await
            .map_err(|error| Failure::Ledger(error.into()))
    });
    // A solve or a poll that is being stored may still run; it undoes itself when cut.
    runtime.shutdown_timeout(std::time::Duration::from_secs(3));
    watched?;
    tracing::info!("stopped");
    screen.clear_progress();
    Ok(())
}
