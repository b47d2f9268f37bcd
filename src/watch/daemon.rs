//! The loop that runs for months: waits until something is due, does it, and stops when told.

use super::backlog::Backlog;
use super::clock::Clock;
use super::cycle::{CycleReport, Storing, decide, decided, poll_and_keep, send};
use super::poll::{PollReport, Polling};
use super::questions::rematched;
use super::settings::Feed;
use crate::decide::Bulletin;
use crate::feeds::health::Health;
use crate::feeds::retry::spread;
use crate::ledger::LedgerError;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::sync::watch;

/// The daemon rests no longer than this, so that a changed clock or an outbox that came due by
/// itself is noticed.
const LONGEST_REST: Duration = Duration::from_secs(30);
/// How often the daemon looks whether a command has written to the ledger, such as a held price
/// that its author confirmed.
const LOOK_AT_LEDGER: Duration = Duration::from_secs(2);
/// How soon it is tried again whether the ledger can be written.
const LEDGER_RETRY: Duration = Duration::from_secs(5);
/// Feeds that are due at the same minute are spread over this much.
const JITTER: Duration = Duration::from_secs(20);

/// What the daemon tells as it goes.
pub trait Listener: Send {
    fn polled(&mut self, _report: &PollReport) {}
    fn told(&mut self, _bulletin: &Bulletin) {}
}

/// A listener that does not listen.
pub struct Silent;

impl Listener for Silent {}

/// Watches until `stop` says so. Every feed is polled once at the start if it has never been
/// polled or a scheduled run was missed; missed runs are made up for once, not one by one.
///
/// While the ledger cannot be written for a reason that may pass, polls go on and wait in memory;
/// nothing is decided and nothing sent.
///
/// # Errors
/// [`LedgerError`] that will not pass, or any while it starts.
pub async fn watch(
    polling: &Polling,
    clock: &Clock,
    mut stop: watch::Receiver<bool>,
    listener: &mut dyn Listener,
) -> Result<(), LedgerError> {
    let mut due = first_due(polling, clock.now())?;
    match polling.rematch(clock.now())? {
        0 => {}
        n_moved => tracing::info!(offers = n_moved, "{}", rematched(n_moved)),
    }
    // The configuration may have changed while nobody watched. Before the first poll there is
    // nothing to decide on, and "nothing fits" would be a false alarm.
    let mut seen_writes = polling.ledger().foreign_writes()?;
    decide_again(polling, clock, listener).await?;
    let mut backlog = Backlog::default();
    loop {
        let now = clock.now();
        let feeds = take_due(polling, &mut due, now);
        let writes = polling.ledger().foreign_writes()?;
        let is_written = std::mem::replace(&mut seen_writes, writes) != writes;
        let mut round = Round {
            polling,
            clock,
            backlog: &mut backlog,
            listener: &mut *listener,
        };
        // Dropping the work undoes a poll under way; what it committed stays.
        let polls = tokio::select! {
            done = round.run(&feeds, now, is_written) => done,
            () = stopped(&mut stop) => return Ok(()),
        };
        match polls {
            Ok(polls) => put_off_failed(&mut due, &polls),
            Err(error) if error.may_pass() => backlog.failed(&error, now),
            Err(error) => return Err(error),
        }
        let rest = match backlog.is_waiting() {
            true => rest(&due, clock.now()).min(LEDGER_RETRY),
            false => rest(&due, clock.now()),
        };
        tokio::select! {
            rested = rest_until_due(polling, rest, seen_writes) => rested?,
            () = stopped(&mut stop) => return Ok(()),
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
                let CycleReport { bulletins, .. } = decided(polling, reports, now).await?;
                bulletins
                    .iter()
                    .for_each(|bulletin| listener.told(bulletin));
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
        for bulletin in decide(polling, clock.now()).await?.0 {
            listener.told(&bulletin);
        }
    }
    Ok(())
}

/// Rests for `rest`, or until another process has written to the ledger.
async fn rest_until_due(
    polling: &Polling,
    rest: Duration,
    seen_writes: i64,
) -> Result<(), LedgerError> {
    let until = tokio::time::Instant::now() + rest;
    loop {
        let look = tokio::time::Instant::now() + LOOK_AT_LEDGER;
        tokio::time::sleep_until(look.min(until)).await;
        if look >= until || polling.ledger().foreign_writes()? != seen_writes {
            return Ok(());
        }
    }
}

async fn stopped(stop: &mut watch::Receiver<bool>) {
    // A sender that is gone can no longer ask to stop; its owner is ending anyway.
    let _ = stop.wait_for(|stop| *stop).await;
}

type DueTimes = BTreeMap<String, DateTime<Utc>>;

fn first_due(polling: &Polling, now: DateTime<Utc>) -> Result<DueTimes, LedgerError> {
    let states = polling.ledger().read().feed_states()?;
    let mut due = DueTimes::new();
    for feed in &polling.settings.feeds {
        let Some(schedule) = &feed.schedule else {
            continue;
        };
        let state = states.iter().find(|state| state.feed == feed.id);
        // A stamp in the future is a clock that was set back: it counts as now.
        let last = state
            .and_then(|state| state.last_poll)
            .map(|last| last.min(now));
        let next = last.map_or(Some(now), |last| schedule.next_after(last));
        let health = state.and_then(|state| state.remembered.health.as_deref());
        let health: Health = health
            .and_then(|text| serde_json::from_str(text).ok())
            .unwrap_or_default();
        // A restart is no way round a pause.
        due.extend(next.map(|next| (feed.id.to_string(), health.next_poll(next).max(now))));
    }
    Ok(due)
}

/// The feeds that are due, each with its next time set.
fn take_due(polling: &Polling, due: &mut DueTimes, now: DateTime<Utc>) -> Vec<Feed> {
    let is_due = |feed: &&Feed| due.get(feed.id.as_str()).is_some_and(|at| *at <= now);
    let feeds: Vec<Feed> = polling
        .settings
        .feeds
        .iter()
        .filter(is_due)
        .cloned()
        .collect();
    for feed in &feeds {
        let next = feed
            .schedule
            .as_ref()
            .and_then(|schedule| schedule.next_after(now));
        match next {
            Some(next) => due.insert(feed.id.to_string(), next + spread(&feed.id, JITTER)),
            None => due.remove(feed.id.as_str()),
        };
    }
    feeds
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
    let until = next
        .and_then(|wait| wait.to_std().ok())
        .unwrap_or(LONGEST_REST);
    until.min(LONGEST_REST)
}
