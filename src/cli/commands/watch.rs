//! `rigtide watch`: the daemon in the foreground.

use super::outbox::warning;
use crate::catalogue::Fault;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::cli::wire::DaemonVitals;
use crate::cli::{service, wire};
use crate::decide::Bulletin;
use crate::ledger::WatchLock;
use crate::notify::faults_of;
use crate::watch::calls::{Calls, Listener, Phase, Pulse};
use crate::watch::clock::Clock;
use crate::watch::daemon::watch;
use crate::watch::desk::DaemonDesk;
use crate::watch::poll::{PollReport, Polling};
use crate::watch::settings::Settings;
use crate::web::desk::Desk;
use crate::web::{Listen, Serving, USUAL, Vitals, WebSettings, bind};
use anyhow::{Context as _, anyhow};
use chrono::{DateTime, Utc};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::Notify;
use tokio::sync::watch::channel;

/// What may still run is given so long when the daemon ends.
const LAST_WORK: Duration = Duration::from_secs(3);

/// What the allocator (mimalloc, SQLite's too) is told: to take memory as it is needed and to give back at
/// once what is free. Without it a daemon that rests holds half as much again.
const ALLOCATOR: [(&str, &str); 3] = [
    ("MIMALLOC_PURGE_DELAY", "0"),
    ("MIMALLOC_ARENA_EAGER_COMMIT", "0"),
    ("MIMALLOC_PAGE_FULL_RETAIN", "0"),
];

pub fn run(directory: &Path, screen: &Screen) -> Result<(), Failure> {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    tell_allocator();
    let settings = wire::lasting_settings(directory)?;
    let lock =
        WatchLock::acquire(&settings.ledger).map_err(|error| Failure::Ledger(error.into()))?;
    let polling = wire::lasting_polling(settings)?;
    let runtime = wire::runtime()?;
    let watched = runtime.block_on(run_watch(&polling, &lock));
    // A solve or a poll that is being stored may still run; it undoes itself when cut.
    runtime.shutdown_timeout(LAST_WORK);
    watched?;
    tracing::info!("stopped");
    screen.clear_progress();
    Ok(())
}

/// An allocator reads its settings once, when a program starts: the program starts over in its own
/// place, as the same process, unless somebody has set them already.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
fn tell_allocator() {
    use std::os::unix::process::CommandExt as _;
    let is_set = |(name, _): &(&str, &str)| std::env::var_os(name).is_some();
    if ALLOCATOR.iter().any(is_set) {
        return;
    }
    let Ok(program) = std::env::current_exe() else {
        return;
    };
    let mut arguments = std::env::args_os();
    let mut again = std::process::Command::new(program);
    if let Some(name) = arguments.next() {
        again.arg0(name);
    }
    // Comes back only if it failed; then more memory is held, and nothing is lost.
    let error = again.args(arguments).envs(ALLOCATOR).exec();
    tracing::debug!(%error, "the allocator keeps its own settings");
}

/// Watches until it is told to end, and serves the page as the settings say.
pub(super) async fn run_watch(polling: &Polling, lock: &WatchLock) -> Result<(), Failure> {
    let settings = &polling.settings;
    let missing = faults_of(&settings.channels);
    if !missing.is_empty() {
        return Err(Failure::Configuration(missing));
    }
    let (feeds, briefs) = (settings.feeds.len(), settings.briefs.len());
    warn_of_dead_letters(polling)?;
    tracing::info!(feeds, briefs, "watching");
    let vitals = Arc::new(DaemonVitals::new(settings.clone()));
    let desk = Arc::new(DaemonDesk::new(settings.clone(), Clock::system()));
    let calls = calls(vitals.clone(), desk.clone())?;
    let mut teller = Teller {
        status: status(settings),
        asked_at: Listen::Off,
        serving: None,
        lock,
        vitals,
        desk,
    };
    if let Err(reason) = teller.answer_at(&settings.web) {
        let error = anyhow!(reason).context("the page cannot be served");
        return Err(Failure::Other(error));
    }
    let watched = watch(polling, &Clock::system(), calls, &mut teller).await;
    watched.map_err(|error| Failure::Ledger(error.into()))
}

/// Signals as calls: SIGTERM and SIGINT end the daemon, SIGHUP makes it read its settings again.
fn calls(vitals: Arc<DaemonVitals>, desk: Arc<DaemonDesk>) -> Result<Calls, Failure> {
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
    let polls = desk.poll_calls();
    let beat = move || {
        vitals.beat();
        desk.tidy();
        service::tell_alive();
    };
    Ok(Calls {
        stop: stopping,
        reload,
        polls,
        pulse: Pulse {
            every,
            beat: Arc::new(beat),
        },
    })
}

/// Passes on what the daemon tells to the service manager and to whoever asks on loopback.
struct Teller<'l> {
    status: String,
    vitals: Arc<DaemonVitals>,
    /// Answers what pages ask.
    desk: Arc<DaemonDesk>,
    /// Where the settings want answers, and what gives them.
    asked_at: Listen,
    serving: Option<Serving>,
    /// Tells other commands where.
    lock: &'l WatchLock,
}

fn status(settings: &Settings) -> String {
    let (feeds, briefs) = (settings.feeds.len(), settings.briefs.len());
    format!("watches {feeds} feeds for {briefs} briefs")
}

impl Teller<'_> {
    /// Answers as these settings say from now on. With an error everything stays.
    fn answer_at(&mut self, wanted: &WebSettings) -> Result<(), String> {
        if wanted.listen != self.asked_at {
            self.serving = self.serve(wanted)?;
            self.asked_at = wanted.listen;
            let address = self.serving.as_ref().map(Serving::address);
            if let Some(address) = address {
                tracing::info!(%address, "answering at http://{address}/");
            }
            if let Err(error) = self.lock.say(address) {
                tracing::warn!(%error, "`rigtide open` will not find the page");
            }
        }
        if let Some(serving) = &self.serving {
            serving.let_in(&wanted.access);
            if let Some(caution) = wanted.caution() {
                tracing::warn!("{caution}");
            }
        }
        Ok(())
    }

    fn serve(&self, wanted: &WebSettings) -> Result<Option<Serving>, String> {
        let address = match wanted.listen {
            Listen::Off => return Ok(None),
            Listen::Usual => USUAL,
            Listen::At(address) => address,
        };
        let vitals: Arc<dyn Vitals> = self.vitals.clone();
        let desk: Arc<dyn Desk> = self.desk.clone();
        let serving = bind(address).and_then(|listener| {
            Serving::start(listener, vitals, Some(desk), wanted.access.clone())
        });
        match serving {
            Ok(serving) => Ok(Some(serving)),
            // Nobody has asked for this address; the daemon does the rest of its work without a page.
            Err(error) if wanted.listen == Listen::Usual => {
                tracing::warn!(
                    "there is no page: {address} cannot be listened at: {error}; name another port \
                     in `listen` under [web], or say \"off\" there"
                );
                Ok(None)
            }
            Err(error) => Err(format!("{address} cannot be listened at: {error}")),
        }
    }
}

impl Listener for Teller<'_> {
    fn polled(&mut self, _report: &PollReport) {
        self.desk.moved();
    }

    fn told(&mut self, _bulletin: &Bulletin) {
        self.desk.moved();
    }

    fn looked(&mut self, _at: DateTime<Utc>) {
        self.desk.moved();
    }

    fn entered(&mut self, phase: Phase) {
        service::tell(phase);
        if phase == Phase::Ready {
            service::tell_status(&self.status);
        }
    }

    fn taking(&mut self, settings: &Arc<Settings>) -> Result<(), Vec<Fault>> {
        self.answer_at(&settings.web).map_err(|message| {
            let remedy = "name another port under [web]";
            vec![Fault::of_file("rigtide.toml", message, remedy)]
        })?;
        self.vitals.took(settings);
        self.desk.took(settings);
        self.status = status(settings);
        Ok(())
    }

    fn refused(&mut self, faults: &[Fault]) {
        self.vitals.refused(faults);
        let first = faults.first().map(ToString::to_string).unwrap_or_default();
        self.status = format!("goes on with the old settings: {first}");
    }

    fn restored(&mut self, settings: &Settings) {
        self.vitals.restored();
        self.status = status(settings);
    }

    fn ledger_fares(&mut self, fault: Option<&str>) {
        self.vitals.ledger_fares(fault);
    }
}

/// What was given up before is not forgotten because the program starts again.
fn warn_of_dead_letters(polling: &Polling) -> Result<(), Failure> {
    let counts = polling.ledger().read().delivery_counts();
    let dead = counts.map_err(|error| Failure::Ledger(error.into()))?.dead;
    if let Some(warning) = warning(dead) {
        tracing::warn!(dead, "{}", warning.trim_start_matches("warning: "));
    }
    Ok(())
}
