//! The loop that runs for months: waits until something is due, does it, and stops when told.

use super::clock::Clock;
use super::cycle::{cycle, decide, send};
use super::poll::{PollReport, Polling};
use super::settings::Feed;
use crate::decide::Bulletin;
use crate::ledger::LedgerError;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::time::Duration;
use tokio::sync::watch;

/// The daemon rests no longer than this, so that a changed clock or an outbox that came due by
/// itself is noticed.
const LONGEST_REST: Duration = Duration::from_secs(30);
/// Feeds that are due at the same minute are spread over this many seconds.
const JITTER_SECONDS: u64 = 20;
/// The first pause after a failed poll; it doubles with each further failure.
const FIRST_BACK_OFF_SECONDS: i64 = 60;
/// How often the pause doubles, up to about eight hours and a half.
const MOST_DOUBLINGS: u32 = 9;

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
/// # Errors
/// [`LedgerError`] when the ledger cannot be written any more.
pub async fn watch(
    polling: &Polling,
    clock: &Clock,
    mut stop: watch::Receiver<bool>,
    listener: &mut dyn Listener,
) -> Result<(), LedgerError> {
    let mut due = first_due(polling, clock.now())?;
    // What was decided before a crash may not have been sent, and the configuration may have
    // changed while nobody watched.
    for bulletin in decide(polling, clock.now()).await?.0 {
        listener.told(&bulletin);
    }
    loop {
        let now = clock.now();
        let feeds = take_due(polling, &mut due, now);
        let work = async {
            if !feeds.is_empty() {
                let report =
                    cycle(polling, &feeds, now, &mut |report| listener.polled(report)).await?;
                report
                    .bulletins
                    .iter()
                    .for_each(|bulletin| listener.told(bulletin));
                put_off_failed(polling, &mut due, &report.polls, now)?;
            }
            send(polling, clock.now()).await;
            Ok(())
        };
        // Dropping the work undoes a poll under way; what it committed stays.
        tokio::select! {
            done = work => done?,
            () = stopped(&mut stop) => return Ok(()),
        }
        tokio::select! {
            () = tokio::time::sleep(rest(&due, clock.now())) => {}
            () = stopped(&mut stop) => return Ok(()),
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
        due.extend(next.map(|next| (feed.id.to_string(), next.max(now))));
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
            Some(next) => due.insert(feed.id.to_string(), next + jitter(feed.id.as_str())),
            None => due.remove(feed.id.as_str()),
        };
    }
    feeds
}

/// A failed feed waits longer with each failure, and never less than its schedule.
fn put_off_failed(
    polling: &Polling,
    due: &mut DueTimes,
    polls: &[PollReport],
    now: DateTime<Utc>,
) -> Result<(), LedgerError> {
    if polls.iter().all(PollReport::is_good) {
        return Ok(());
    }
    let states = polling.ledger().read().feed_states()?;
    for poll in polls.iter().filter(|poll| !poll.is_good()) {
        let state = states.iter().find(|state| state.feed.as_str() == poll.feed);
        let failures = state.map_or(1, |state| state.failures).max(1);
        let doublings = (failures - 1).min(MOST_DOUBLINGS);
        let until =
            now + TimeDelta::seconds(FIRST_BACK_OFF_SECONDS << doublings) + jitter(&poll.feed);
        if let Some(at) = due.get_mut(&poll.feed) {
            *at = (*at).max(until);
        }
    }
    Ok(())
}

/// A pause of its own for each feed, the same after every restart.
fn jitter(feed: &str) -> TimeDelta {
    let mut hasher = DefaultHasher::new();
    feed.hash(&mut hasher);
    TimeDelta::milliseconds((hasher.finish() % (JITTER_SECONDS * 1_000)) as i64)
}

fn rest(due: &DueTimes, now: DateTime<Utc>) -> Duration {
    let next = due.values().min().map(|next| *next - now);
    let until = next
        .and_then(|wait| wait.to_std().ok())
        .unwrap_or(LONGEST_REST);
    until.min(LONGEST_REST)
}
