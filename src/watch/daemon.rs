//! The loop that runs for months: waits until something is due, does it, and stops when told.

use super::backlog::Backlog;
use super::calls::{Calls, Listener, Phase};
use super::clock::Clock;
use super::cycle::{CycleReport, Storing, decide, decided, poll_and_keep, send};
use super::due::{DueTimes, first_due, follow_clock, health, take_due};
use super::metrics::RELOADS;
use super::poll::{PollReport, Polling};
use super::questions::rematched;
use super::reload::{
    Because, Differs, Reloaded, Watcher, differs, note_refused, note_taken, reload,
};
use super::settings::files::{Digest, Stamps};
use super::settings::{Feed, Settings};
use crate::ledger::LedgerError;
use chrono::{DateTime, Utc};
use std::time::Duration;
use tokio::sync::watch;

/// The daemon rests no longer than this, so that a changed clock or an outbox that came due by
/// itself is noticed.
const LONGEST_REST: Duration = Duration::from_secs(30);
/// How often the daemon looks whether a command has written to the ledger, such as a held price
/// that its author confirmed, or somebody to the settings.
const LOOK_AROUND: Duration = Duration::from_secs(2);
/// How soon it is tried again whether the ledger can be written.
const LEDGER_RETRY: Duration = Duration::from_secs(5);

/// Watches until `calls` say to stop. Every feed is polled once at the start if it has never been
/// polled or a scheduled run was missed; missed runs are made up for once, not one by one.
///
/// Settings that change are taken over between two rounds, whole or not at all.
///
/// While the ledger cannot be written for a reason that may pass, polls go on and wait in memory;
/// nothing is decided and nothing sent.
///
/// # Errors
/// [`LedgerError`] that will not pass, or any while it starts.
pub async fn watch(
    polling: &Polling,
    clock: &Clock,
    mut calls: Calls,
    listener: &mut dyn Listener,
) -> Result<(), LedgerError> {
    let pulse = calls.pulse.clone();
    let states = polling.ledger().read().feed_states()?;
    let before = clock.now();
    let mut daemon = Daemon {
        due: first_due(&polling.settings.feeds, &states, before),
        before,
        seen_writes: polling.ledger().foreign_writes()?,
        watcher: Watcher::new(&polling.settings.directory),
        refused: None,
        backlog: Backlog::default(),
        polling: polling.clone(),
        clock,
        listener,
    };
    pulse.during(daemon.run(&mut calls)).await
}

/// A daemon between two rounds.
struct Daemon<'w> {
    polling: Polling,
    clock: &'w Clock,
    listener: &'w mut dyn Listener,
    due: DueTimes,
    /// What the clock showed last.
    before: DateTime<Utc>,
    /// See [`crate::ledger::Ledger::foreign_writes`].
    seen_writes: i64,
    backlog: Backlog,
    watcher: Watcher,
    /// The settings that were refused last.
    refused: Option<Digest>,
}

/// Why a rest ended.
enum Woken {
    /// Something is due, or another process has written to the ledger.
    ForWork,
    ToReload(Because),
    ToStop,
}

impl Daemon<'_> {
    async fn run(&mut self, calls: &mut Calls) -> Result<(), LedgerError> {
        self.listener.entered(Phase::Ready);
        let done = self.run_rounds(calls).await;
        self.listener.entered(Phase::Stopping);
        done
    }

    async fn run_rounds(&mut self, calls: &mut Calls) -> Result<(), LedgerError> {
        // The configuration may have changed while nobody watched. Before the first poll there is
        // nothing to decide on, and "nothing fits" would be a false alarm.
        tokio::select! {
            decided = self.decide_anew() => decided?,
            () = stopped(&mut calls.stop) => return Ok(()),
        }
        loop {
            let now = self.clock.now();
            follow_clock(&mut self.due, std::mem::replace(&mut self.before, now), now);
            let feeds = take_due(&self.polling.settings.feeds, &mut self.due, now);
            let writes = self.polling.ledger().foreign_writes()?;
            let is_written = std::mem::replace(&mut self.seen_writes, writes) != writes;
            let mut round = Round {
                polling: &self.polling,
                clock: self.clock,
                backlog: &mut self.backlog,
                listener: &mut *self.listener,
            };
            // Dropping the work undoes a poll under way; what it committed stays.
            let polls = tokio::select! {
                done = round.run(&feeds, now, is_written) => done,
                () = stopped(&mut calls.stop) => return Ok(()),
            };
            match polls {
                Ok(polls) => put_off_failed(&mut self.due, &polls),
                Err(error) if error.may_pass() => self.backlog.failed(&error, now),
                Err(error) => return Err(error),
            }
            self.listener.ledger_fares(self.backlog.fault());
            if !feeds.is_empty() || is_written {
                self.polling.ledger().rest()?;
            }
            match self.rest(calls).await? {
                Woken::ForWork => {}
                Woken::ToStop => return Ok(()),
                Woken::ToReload(because) => self.reload(because).await?,
            }
        }
    }

    /// Takes stored offers for what they are by the catalogue as it is now, and decides on them.
    async fn decide_anew(&mut self) -> Result<(), LedgerError> {
        let now = self.clock.now();
        match self.polling.rematch(now)? {
            0 => {}
            n_moved => tracing::info!(offers = n_moved, "{}", rematched(n_moved)),
        }
        decide_again(&self.polling, self.clock, self.listener).await
    }

    /// Rests until something is due or asked for.
    async fn rest(&mut self, calls: &mut Calls) -> Result<Woken, LedgerError> {
        let rest = match self.backlog.is_waiting() {
            true => rest(&self.due, self.clock.now()).min(LEDGER_RETRY),
            false => rest(&self.due, self.clock.now()),
        };
        let mut left = rest;
        loop {
            let stride = self.clock.stride(left, LOOK_AROUND);
            tokio::select! {
                biased;
                () = stopped(&mut calls.stop) => return Ok(Woken::ToStop),
                () = calls.reload.notified() => return Ok(Woken::ToReload(Because::Asked)),
                () = calls.polls.asked() => {
                    let now = self.clock.now();
                    let wanted = calls.polls.take().into_iter();
                    self.due.extend(wanted.map(|feed| (feed.to_string(), now)));
                    return Ok(Woken::ForWork);
                }
                () = self.clock.sleep(stride) => left -= stride,
            }
            if self
                .watcher
                .look(Stamps::of(&self.polling.settings.directory))
            {
                return Ok(Woken::ToReload(Because::FilesChanged));
            }
            let is_written = self.polling.ledger().foreign_writes()? != self.seen_writes;
            if left.is_zero() || is_written {
                return Ok(Woken::ForWork);
            }
        }
    }

    /// Reads the settings again and takes them over, or refuses them whole.
    async fn reload(&mut self, because: Because) -> Result<(), LedgerError> {
        self.listener.entered(Phase::Reloading);
        let reloaded = self.take_settings(because).await;
        self.listener.entered(Phase::Ready);
        reloaded
    }

    async fn take_settings(&mut self, because: Because) -> Result<(), LedgerError> {
        let (reloaded, digest) = reload(&self.polling, because, self.refused).await;
        let taken = match reloaded {
            Reloaded::Same => {
                if digest == self.polling.settings.digest && self.refused.take().is_some() {
                    self.listener.restored(&self.polling.settings);
                }
                return Ok(());
            }
            Reloaded::Refused(faults) => Err(faults),
            Reloaded::Taken(polling) => {
                let followed = self.listener.taking(&polling.settings);
                followed.map(|()| polling)
            }
        };
        let now = self.clock.now();
        let polling = match taken {
            Ok(polling) => *polling,
            Err(faults) => {
                RELOADS.add(&["refused"], 1);
                self.refused = Some(digest);
                self.listener.refused(&faults);
                return note_refused(&self.polling, &faults, now);
            }
        };
        RELOADS.add(&["taken"], 1);
        self.refused = None;
        let before = std::mem::replace(&mut self.polling, polling).settings;
        note_taken(&before, &self.polling, now)?;
        self.due = due_after(&self.polling, &before, now)?;
        if self.backlog.is_waiting() {
            // Decided once the ledger is back.
            return Ok(());
        }
        match self.decide_anew().await {
            Err(error) if error.may_pass() => {
                self.backlog.failed(&error, now);
                Ok(())
            }
            decided => decided,
        }
    }
}

/// What one time around works with.
struct Round<'w> {
    polling: &'w Polling,
    clock: &'w Clock,
    backlog: &'w mut Backlog,
    listener: &'w mut dyn Listener,
}

impl Round<'_> {
    /// Stores what waits, polls what is due, decides and delivers. Returns the reports of the
    /// polls that were stored.
    async fn run(
        &mut self,
        feeds: &[Feed],
        now: DateTime<Utc>,
        is_written: bool,
    ) -> Result<Vec<PollReport>, LedgerError> {
        let Round {
            polling,
            clock,
            backlog,
            listener,
        } = self;
        let was_waiting = backlog.is_waiting();
        let mut polls = match was_waiting {
            true => backlog.store(polling, now)?,
            false => Vec::new(),
        };
        let is_back = was_waiting && !backlog.is_waiting();
        if (is_written || is_back) && !backlog.is_waiting() {
            decide_again(polling, clock, *listener).await?;
        }
        if !feeds.is_empty() {
            let told = &mut |report: &PollReport| listener.polled(report);
            let storing = match backlog.is_waiting() {
                true => Storing::Later,
                false => Storing::Now,
            };
            let (reports, unstored) = poll_and_keep(polling, feeds, now, storing, told).await?;
            for mut unstored in unstored {
                match unstored.error.take_if(|error| !error.may_pass()) {
                    Some(error) => return Err(error),
                    None => backlog.keep(unstored, now),
                }
            }
            polls.extend(reports.iter().cloned());
            if !backlog.is_waiting() {
                let is_seen = reports.iter().any(PollReport::is_good);
                let CycleReport { bulletins, .. } = decided(polling, reports, now).await?;
                bulletins
                    .iter()
                    .for_each(|bulletin| listener.told(bulletin));
                if is_seen {
                    listener.looked(now);
                }
            }
        }
        if !backlog.is_waiting() {
            send(polling, clock.now()).await;
        }
        Ok(polls)
    }
}

/// Decides on what the ledger holds, if it holds anything.
async fn decide_again(
    polling: &Polling,
    clock: &Clock,
    listener: &mut dyn Listener,
) -> Result<(), LedgerError> {
    let states = polling.ledger().read().feed_states()?;
    if states.iter().any(|state| state.last_fresh.is_some()) {
        let now = clock.now();
        for bulletin in decide(polling, now).await?.0 {
            listener.told(&bulletin);
        }
        listener.looked(now);
    }
    Ok(())
}

async fn stopped(stop: &mut watch::Receiver<bool>) {
    // A sender that is gone can no longer ask to stop; its owner is ending anyway.
    let _ = stop.wait_for(|stop| *stop).await;
}

/// When feeds are due under changed settings. One that brings in something else is asked at once,
/// unless its place wants a pause.
fn due_after(
    polling: &Polling,
    before: &Settings,
    now: DateTime<Utc>,
) -> Result<DueTimes, LedgerError> {
    let states = polling.ledger().read().feed_states()?;
    let mut due = first_due(&polling.settings.feeds, &states, now);
    for feed in &polling.settings.feeds {
        let Some(at) = due.get_mut(feed.id.as_str()) else {
            continue;
        };
        match differs(before, feed) {
            Differs::Nothing => {}
            Differs::Place => *at = now,
            Differs::Reading => {
                let state = states.iter().find(|state| state.feed == feed.id);
                *at = health(state).next_poll(now).max(now);
            }
        }
    }
    Ok(due)
}

/// A feed that failed is asked again when its health says, not when its schedule does.
fn put_off_failed(due: &mut DueTimes, polls: &[PollReport]) {
    for poll in polls {
        if let (Some(at), Some(retry_at)) = (due.get_mut(&poll.feed), poll.retry_at) {
            *at = retry_at;
        }
    }
}

fn rest(due: &DueTimes, now: DateTime<Utc>) -> Duration {
    let next = due.values().min().map(|next| *next - now);
    // What fell due while a poll took long does not wait.
    let until = next.map_or(LONGEST_REST, |wait| wait.to_std().unwrap_or_default());
    until.min(LONGEST_REST)
}
