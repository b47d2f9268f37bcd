//! `rigtide watch`: the daemon in the foreground.

use crate::catalogue::Fault;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::{service, wire};
use crate::ledger::WatchLock;
use crate::watch::calls::{Calls, Listener, Phase, Pulse};
use crate::watch::clock::Clock;
use crate::watch::daemon::watch;
use crate::watch::settings::Settings;
use anyhow::Context as _;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::Notify;
use tokio::sync::watch::channel;

/// What may still run is given so long when the daemon ends.
const LAST_WORK: Duration = Duration::from_secs(3);

pub fn run(directory: &Path, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let _lock =
        WatchLock::acquire(&settings.ledger).map_err(|error| Failure::Ledger(error.into()))?;
    let polling = wire::polling(settings)?;
    let runtime = wire::runtime()?;
    let watched = runtime.block_on(async {
        let calls = calls()?;
        let (feeds, briefs) = (polling.settings.feeds.len(), polling.settings.briefs.len());
        tracing::info!(feeds, briefs, "watching");
        let mut teller = Teller {
            watches: status(&polling.settings),
        };
        watch(&polling, &Clock::system(), calls, &mut teller)
            .await
            .map_err(|error| Failure::Ledger(error.into()))
    });
    // A solve or a poll that is being stored may still run; it undoes itself when cut.
    runtime.shutdown_timeout(LAST_WORK);
    watched?;
    tracing::info!("stopped");
    screen.clear_progress();
    Ok(())
}

/// Signals as calls: SIGTERM and SIGINT end the daemon, SIGHUP makes it read its settings again.
fn calls() -> Result<Calls, Failure> {
    let listen = |kind| signal(kind).context("cannot listen for signals");
    let mut terminate = listen(SignalKind::terminate())?;
    let mut interrupt = listen(SignalKind::interrupt())?;
    let mut hang_up = listen(SignalKind::hangup())?;
    let (stop, stopping) = channel(false);
    let reload = Arc::new(Notify::new());
    let asked = reload.clone();
    tokio::spawn(async move {
        loop {
            tokio::select! {
                _ = terminate.recv() => break,
                _ = interrupt.recv() => break,
                _ = hang_up.recv() => asked.notify_one(),
            }
        }
        // Whoever waits for this has ended already when it cannot be sent.
        let _ = stop.send(true);
    });
    let usual = Pulse::default();
    let every = service::watchdog_interval().map_or(usual.every, |wanted| wanted.min(usual.every));
    let pulse = Pulse {
        every,
        beat: Arc::new(service::tell_alive),
    };
    Ok(Calls {
        stop: stopping,
        reload,
        pulse,
    })
}

/// Passes on to the service manager what the daemon tells.
struct Teller {
    watches: String,
}

fn status(settings: &Settings) -> String {
    let (feeds, briefs) = (settings.feeds.len(), settings.briefs.len());
    format!("watches {feeds} feeds for {briefs} briefs")
}

impl Listener for Teller {
    fn entered(&mut self, phase: Phase) {
        service::tell(phase);
        if phase == Phase::Ready {
            service::tell_status(&self.watches);
        }
    }

    fn taking(&mut self, settings: &Arc<Settings>) -> Result<(), Vec<Fault>> {
        self.watches = status(settings);
        Ok(())
    }

    fn refused(&mut self, faults: &[Fault]) {
        let first = faults.first().map(ToString::to_string).unwrap_or_default();
        self.watches = format!("goes on with the old settings: {first}");
    }
}
