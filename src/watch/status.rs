//! How everything stands: the watch, the feeds, the briefs, the outbox, the ledger on its disk.
//!
//! Read from the ledger alone, so that it is the same whether a daemon runs or not. Changes nothing.

use super::due::{Why, planned};
use super::refusals::{Refusals, Refused};
use super::settings::{Feed, Settings};
use crate::catalogue::Fault;
use crate::decide::{AnswerRecord, Memory, shown_instant};
use crate::ledger::{DeliveryCounts, FeedState, LedgerError, Reader, WatchLock};
use crate::market::{Brief, FeedId};
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::Path;

/// How everything stands at an instant. Keys are only ever added.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Status {
    pub at: String,
    /// Of the settings. With any, there are no briefs, and no feed has a plan.
    pub faults: Vec<Fault>,
    pub watch: WatchStatus,
    pub feeds: Vec<FeedStatus>,
    pub briefs: Vec<BriefStatus>,
    pub outbox: OutboxStatus,
    pub ledger: LedgerStatus,
}

/// Whether a daemon, or a command that needs the ledger for itself, is at work.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WatchStatus {
    pub is_running: bool,
    pub process: Option<u32>,
    /// Where the daemon serves the page, if it does.
    pub page: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FeedStatus {
    pub feed: String,
    pub last_poll: Option<String>,
    /// The newest poll that confirmed what the feed offers.
    pub last_good: Option<String>,
    pub plan: Option<PlanStatus>,
    /// Of the newest poll.
    pub records: Option<u64>,
    pub offers: u64,
    pub matched: u64,
    /// Failed polls in a row.
    pub failures: u32,
    /// Why the newest poll failed, if it did.
    pub error: Option<String>,
    /// What the newest poll that could be read refused, the most frequent reason first.
    pub refused: Vec<Refused>,
}

/// The next poll of a feed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlanStatus {
    pub next: Option<String>,
    /// `scheduled`, `never_polled`, `missed`, or what puts it off: `backing_off`, `unwelcome`,
    /// `retry_after`, `no_network`.
    pub why: &'static str,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BriefStatus {
    pub brief: String,
    pub name: String,
    /// Absent before the first answer.
    pub answer: Option<AnswerStatus>,
    /// What the newest look found, where that is something else.
    pub today: Option<TodayStatus>,
}

/// An answer that was not told, or not yet, or the one that stands at other prices.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TodayStatus {
    pub at: String,
    /// Absent when nothing fits.
    pub total_minor: Option<i64>,
    pub currency: String,
    pub score: Option<f64>,
    pub parts: Vec<String>,
    pub is_same_build: bool,
}

/// The answer that stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnswerStatus {
    /// When its parts were first the answer, and when it was last written down.
    pub since: String,
    pub at: String,
    pub age_s: i64,
    pub proof: crate::decide::ProofStatus,
    /// Absent when nothing fits.
    pub total_minor: Option<i64>,
    pub currency: String,
    pub score: Option<f64>,
    pub parts: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OutboxStatus {
    pub waiting: u64,
    pub sent: u64,
    pub dead: u64,
    pub dropped: u64,
    pub oldest_waiting: Option<String>,
    pub next_attempt: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LedgerStatus {
    pub path: String,
    /// With the files beside it.
    pub bytes: u64,
    /// What the program may still write on that disk, where that can be told.
    pub free_bytes: Option<u64>,
    pub held: u64,
}

impl Why {
    /// A stable word for it.
    pub fn name(self) -> &'static str {
        match self {
            Why::Scheduled => "scheduled",
            Why::NeverPolled => "never_polled",
            Why::Missed => "missed",
            Why::PutOff(pause) => pause.name(),
        }
    }
}

/// Reads how everything stands.
///
/// # Errors
/// [`LedgerError`]
pub fn status(
    settings: &Settings,
    reader: &Reader,
    now: DateTime<Utc>,
) -> Result<Status, LedgerError> {
    let states = reader.feed_states()?;
    let feeds = settings
        .feeds
        .iter()
        .map(|feed| feed_status(feed, &states, reader, now));
    let feeds = feeds.collect::<Result<_, _>>()?;
    let mut briefs = Vec::new();
    for brief in &settings.briefs {
        briefs.push(brief_status(brief, reader, now)?);
    }
    let status = of_ledger(&settings.ledger, reader, now)?;
    Ok(Status {
        feeds,
        briefs,
        ..status
    })
}

/// What the ledger alone knows, while the settings have faults.
///
/// # Errors
/// [`LedgerError`]
pub fn status_despite(
    faults: Vec<Fault>,
    ledger: &Path,
    reader: &Reader,
    now: DateTime<Utc>,
) -> Result<Status, LedgerError> {
    let states = reader.feed_states()?;
    let feeds = states.iter();
    let feeds = feeds.map(|state| feed_status_of(&state.feed, Some(state), None, reader));
    Ok(Status {
        feeds: feeds.collect::<Result<_, _>>()?,
        faults,
        ..of_ledger(ledger, reader, now)?
    })
}

fn of_ledger(path: &Path, reader: &Reader, now: DateTime<Utc>) -> Result<Status, LedgerError> {
    let holder = WatchLock::holder(path);
    Ok(Status {
        at: shown_instant(now),
        faults: Vec::new(),
        watch: WatchStatus {
            is_running: holder.is_some(),
            process: holder.flatten(),
            page: page_of(path),
        },
        feeds: Vec::new(),
        briefs: Vec::new(),
        outbox: outbox_status(reader)?,
        ledger: LedgerStatus {
            path: path.display().to_string(),
            bytes: bytes_of(path),
            free_bytes: free_bytes(path),
            held: reader.list_held()?.len() as u64,
        },
    })
}

pub(super) fn feed_status(
    feed: &Feed,
    states: &[FeedState],
    reader: &Reader,
    now: DateTime<Utc>,
) -> Result<FeedStatus, LedgerError> {
    let state = states.iter().find(|state| state.feed == feed.id);
    let plan = planned(feed, state, now).map(|planned| PlanStatus {
        next: planned.at.map(shown_instant),
        why: planned.why.name(),
    });
    feed_status_of(&feed.id, state, plan, reader)
}

fn feed_status_of(
    feed: &FeedId,
    state: Option<&FeedState>,
    plan: Option<PlanStatus>,
    reader: &Reader,
) -> Result<FeedStatus, LedgerError> {
    let newest = reader.last_polls(feed, 1)?.into_iter().next();
    Ok(FeedStatus {
        feed: feed.to_string(),
        last_poll: state.and_then(|state| state.last_poll).map(shown_instant),
        last_good: state.and_then(|state| state.seen_until).map(shown_instant),
        plan,
        records: newest.as_ref().map(|poll| poll.record.records),
        offers: state.map_or(0, |state| state.offers),
        matched: state.map_or(0, |state| state.matched),
        failures: state.map_or(0, |state| state.failures),
        error: newest.and_then(|poll| poll.record.error),
        refused: refused_by(state),
    })
}

/// Why the newest poll that could be read refused records, the most frequent reason first.
pub(super) fn refused_by(state: Option<&FeedState>) -> Vec<Refused> {
    let text = state.and_then(|state| state.remembered.refusals.as_deref());
    Refusals::read(text).by_count()
}

/// Where the daemon that watches a ledger serves the page.
pub fn page_of(ledger: &Path) -> Option<String> {
    let address = WatchLock::address(ledger)?;
    Some(format!("http://{}/", reachable(address)))
}

/// An address that stands for all of the machine's is asked for by loopback.
fn reachable(address: SocketAddr) -> SocketAddr {
    let ip = match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    SocketAddr::new(ip, address.port())
}

fn brief_status(
    brief: &Brief,
    reader: &Reader,
    now: DateTime<Utc>,
) -> Result<BriefStatus, LedgerError> {
    let id = brief.id.as_str();
    let stored = reader.last_answer(id)?;
    let answer = stored.and_then(|stored| {
        let record = AnswerRecord::from_json(&stored.answer_json)?;
        Some((stored.since, record))
    });
    let memory = reader.remembered_of(id)?;
    let today = memory.and_then(|memory| Memory::from_json(&memory).today);
    let parts = |record: &AnswerRecord| record.picks.iter().map(|pick| pick.name.clone()).collect();
    let told = answer.as_ref().map(|(_, record)| record.parts_text());
    Ok(BriefStatus {
        brief: id.to_owned(),
        name: brief.name.clone(),
        today: today.map(|record| TodayStatus {
            parts: parts(&record),
            is_same_build: told == Some(record.parts_text()),
            at: record.at,
            total_minor: record.total_minor,
            currency: record.currency,
            score: record.score,
        }),
        answer: answer.map(|(since, record)| AnswerStatus {
            since: shown_instant(since),
            parts: parts(&record),
            at: record.at,
            age_s: (now - since).num_seconds(),
            proof: record.proof.status,
            total_minor: record.total_minor,
            currency: record.currency,
            score: record.score,
        }),
    })
}

fn outbox_status(reader: &Reader) -> Result<OutboxStatus, LedgerError> {
    let DeliveryCounts {
        waiting,
        sent,
        dead,
        dropped,
        oldest_waiting,
    } = reader.delivery_counts()?;
    Ok(OutboxStatus {
        waiting,
        sent,
        dead,
        dropped,
        oldest_waiting: oldest_waiting.map(shown_instant),
        next_attempt: reader.next_due()?.map(shown_instant),
    })
}

/// The ledger's file with its log and the log's index.
fn bytes_of(ledger: &Path) -> u64 {
    let beside = |ending: &str| {
        let mut name = ledger.as_os_str().to_owned();
        name.push(ending);
        std::fs::metadata(name).map_or(0, |metadata| metadata.len())
    };
    ["", "-wal", "-shm"]
        .iter()
        .map(|ending| beside(ending))
        .sum()
}

fn free_bytes(ledger: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(ledger).ok()?;
    disk.f_bavail.checked_mul(disk.f_frsize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_of_all_is_asked_for_by_loopback() {
        for (listened, expected) in [
            ("0.0.0.0:9414", "127.0.0.1:9414"),
            ("[::]:1", "[::1]:1"),
            ("192.0.2.7:80", "192.0.2.7:80"),
        ] {
            assert_eq!(reachable(listened.parse().unwrap()).to_string(), expected);
        }
    }
}
