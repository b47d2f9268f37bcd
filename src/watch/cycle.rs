//! One cycle: poll what is due, decide, deliver. Reads like the flow of the whole program.

use super::decision::{decide_briefs, error_chain};
use super::delivery::deliver;
use super::metrics::{self, BULLETINS};
use super::poll::{Brought, Network, PollReport, Polling};
use super::settings::Feed;
use crate::decide::Bulletin;
use crate::feeds::health::{LatestPoll, is_without_network};
use crate::feeds::http::FaultKind;
use crate::ledger::{JournalEntry, JournalWanted, LedgerError, Reader};
use crate::optimise::Effort;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::{BTreeMap, BTreeSet};
use tokio::task::JoinSet;

/// What the journal calls a round in which no name resolved.
const NO_NETWORK: &str = "no_network";
/// Names of other hosts that tell whether there is a network.
const OTHERS_LOOKED_UP: usize = 3;

/// What a cycle did.
#[derive(Debug, Default)]
pub struct CycleReport {
    pub polls: Vec<PollReport>,
    pub bulletins: Vec<Bulletin>,
    /// Why some brief could not be answered.
    pub faults: Vec<String>,
}

/// Polls these feeds side by side, one after another on each host, then decides every brief if
/// anything was seen anew. `told` hears of each poll as it ends.
///
/// # Errors
/// [`LedgerError`]: the outcome of a poll could not be stored. The others still stand.
pub async fn cycle(
    polling: &Polling,
    feeds: &[Feed],
    now: DateTime<Utc>,
    told: &mut (dyn FnMut(&PollReport) + Send),
) -> Result<CycleReport, LedgerError> {
    let polls = poll_all(polling, feeds, now, told).await?;
    decided(polling, polls, now).await
}

/// Decides after polls, if any of them saw something.
///
/// # Errors
/// [`LedgerError`]
pub async fn decided(
    polling: &Polling,
    polls: Vec<PollReport>,
    now: DateTime<Utc>,
) -> Result<CycleReport, LedgerError> {
    let mut report = CycleReport {
        polls,
        ..CycleReport::default()
    };
    if report.polls.iter().any(PollReport::is_good) {
        let (bulletins, faults) = decide(polling, now).await?;
        report.bulletins = bulletins;
        report.faults = faults;
    }
    Ok(report)
}

/// Polls feeds side by side. The reports come back in the order of the feeds.
///
/// What fails because a name does not resolve waits for the others: when none resolves, the
/// network is gone, and that is no fault of any feed.
///
/// # Errors
/// [`LedgerError`]
pub async fn poll_all(
    polling: &Polling,
    feeds: &[Feed],
    now: DateTime<Utc>,
    told: &mut (dyn FnMut(&PollReport) + Send),
) -> Result<Vec<PollReport>, LedgerError> {
    let (reports, unstored) = poll_and_keep(polling, feeds, now, Storing::Now, told).await?;
    match unstored.into_iter().find_map(|unstored| unstored.error) {
        Some(error) => Err(error),
        None => Ok(reports),
    }
}

/// Whether polls are stored as they end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Storing {
    Now,
    /// Earlier polls wait, and those of one feed are stored in their order.
    Later,
}

/// What was brought in and is not stored.
pub struct Unstored {
    pub brought: Brought,
    pub network: Network,
    /// Why not, where it was tried.
    pub error: Option<LedgerError>,
}

/// Polls feeds side by side as [`poll_all`] does, and hands back what is not stored.
///
/// # Errors
/// [`LedgerError`]: the ledger could not even be read.
pub async fn poll_and_keep(
    polling: &Polling,
    feeds: &[Feed],
    now: DateTime<Utc>,
    storing: Storing,
    told: &mut (dyn FnMut(&PollReport) + Send),
) -> Result<(Vec<PollReport>, Vec<Unstored>), LedgerError> {
    let mut running = JoinSet::new();
    for (at, feed) in feeds.iter().cloned().enumerate() {
        let polling = polling.clone();
        running.spawn(async move {
            let brought = polling.bring(&feed, now).await?;
            if brought.fault() == Some(FaultKind::Dns) {
                return Ok((at, Polled::Waits(Box::new(brought))));
            }
            let stored = store(polling, brought, (Network::Reached, now), storing).await;
            Ok::<_, LedgerError>((at, stored))
        });
    }
    let mut round = PollRound {
        feeds,
        reports: BTreeMap::new(),
        waiting: Vec::new(),
        unstored: Vec::new(),
    };
    let mut first_error = None;
    while let Some(ended) = running.join_next().await {
        match ended {
            Ok(Ok((at, Polled::Stored(report)))) => round.end(at, report, told),
            Ok(Ok((at, Polled::Waits(brought)))) => round.waiting.push((at, *brought)),
            Ok(Ok((_, Polled::Unstored(unstored)))) => round.unstored.push(*unstored),
            Ok(Err(error)) => {
                first_error.get_or_insert(error);
            }
            // One feed's panic is its own; it is polled again when it is next due.
            Err(panic) => tracing::error!(error = %panic, "a poll panicked"),
        }
    }
    let network = round.network(polling).await;
    if network == Network::Gone {
        let mut ledger = polling.ledger();
        let noted = match is_told_of_network(ledger.read(), now)? {
            true => Ok(()),
            false => ledger.note(&[network_gone(now)]),
        };
        drop(ledger);
        // Where nothing can be stored, the polls below say so.
        noted.or_else(|error| if error.may_pass() { Ok(()) } else { Err(error) })?;
    }
    for (at, brought) in std::mem::take(&mut round.waiting) {
        match store(polling.clone(), brought, (network, now), storing).await {
            Polled::Stored(report) => round.end(at, report, told),
            Polled::Unstored(unstored) => round.unstored.push(*unstored),
            Polled::Waits(_) => {}
        }
    }
    match first_error {
        Some(error) => Err(error),
        None => Ok((round.reports.into_values().collect(), round.unstored)),
    }
}

/// Where a poll stands.
enum Polled {
    Stored(PollReport),
    /// Its host's name did not resolve.
    Waits(Box<Brought>),
    Unstored(Box<Unstored>),
}

struct PollRound<'f> {
    feeds: &'f [Feed],
    reports: BTreeMap<usize, PollReport>,
    waiting: Vec<(usize, Brought)>,
    unstored: Vec<Unstored>,
}

impl PollRound<'_> {
    fn end(&mut self, at: usize, report: PollReport, told: &mut (dyn FnMut(&PollReport) + Send)) {
        log(&report);
        told(&report);
        self.reports.insert(at, report);
    }

    /// What the polls of the round say of the network. Where one host alone was asked and its name did not
    /// resolve, the names of a few others are looked up.
    async fn network(&self, polling: &Polling) -> Network {
        let host = |at: usize| self.feeds.get(at).and_then(host);
        let good = self
            .reports
            .keys()
            .filter_map(|at| Some((host(*at)?, None)));
        let waits = self
            .waiting
            .iter()
            .filter_map(|(at, one)| Some((host(*at)?, one.fault())));
        let mut asked: BTreeMap<String, Option<FaultKind>> = waits.chain(good).collect();
        if asked.len() == 1 && !self.waiting.is_empty() {
            let others = polling.settings.feeds.iter().filter_map(self::host);
            let others: BTreeSet<String> =
                others.filter(|host| !asked.contains_key(host)).collect();
            for other in others.into_iter().take(OTHERS_LOOKED_UP) {
                let fault = match polling.fetcher.resolves(&other).await {
                    true => None,
                    false => Some(FaultKind::Dns),
                };
                asked.insert(other, fault);
            }
        }
        let latest: Vec<LatestPoll<'_>> = asked
            .iter()
            .map(|(host, fault)| LatestPoll {
                host,
                fault: *fault,
            })
            .collect();
        if is_without_network(&latest) {
            Network::Gone
        } else {
            Network::Reached
        }
    }
}

fn host(feed: &Feed) -> Option<String> {
    let origins = feed.source.location.origins();
    origins.first()?.host_str().map(str::to_owned)
}

/// True where the journal says already that there is no network, and nothing was reached since. It is
/// said again once a day.
fn is_told_of_network(reader: &Reader, now: DateTime<Utc>) -> Result<bool, LedgerError> {
    let wanted = JournalWanted {
        kind: Some(NO_NETWORK.to_owned()),
        since: Some(now - TimeDelta::days(1)),
        ..JournalWanted::default()
    };
    let last = reader.journal_of(&wanted, 1)?.pop();
    let Some(told) = last.map(|line| line.entry.at) else {
        return Ok(false);
    };
    let states = reader.feed_states()?;
    let reached = states.iter().filter_map(|state| state.seen_until).max();
    Ok(told <= now && reached.is_none_or(|reached| reached < told))
}

fn network_gone(at: DateTime<Utc>) -> JournalEntry {
    JournalEntry {
        at,
        kind: NO_NETWORK.to_owned(),
        feed: None,
        brief: None,
        part: None,
        text: "no host name resolves: there seems to be no network here".to_owned(),
        data: serde_json::json!({}),
    }
}

/// Stores away from the threads that serve the network.
async fn store(
    polling: Polling,
    mut brought: Brought,
    (network, now): (Network, DateTime<Utc>),
    storing: Storing,
) -> Polled {
    let unstored = move |brought, error| {
        Polled::Unstored(Box::new(Unstored {
            brought,
            network,
            error,
        }))
    };
    if storing == Storing::Later {
        return unstored(brought, None);
    }
    let stored =
        tokio::task::spawn_blocking(
            move || match polling.try_store(&mut brought, network, now) {
                Ok(report) => Polled::Stored(report),
                Err(error) => unstored(brought, Some(error)),
            },
        );
    match stored.await {
        Ok(polled) => polled,
        Err(panic) => std::panic::resume_unwind(panic.into_panic()),
    }
}

/// Decides every brief, away from the threads that serve the network.
///
/// # Errors
/// [`LedgerError`]
pub async fn decide(
    polling: &Polling,
    now: DateTime<Utc>,
) -> Result<(Vec<Bulletin>, Vec<String>), LedgerError> {
    let polling = polling.clone();
    let decided = tokio::task::spawn_blocking(move || {
        decide_briefs(
            &polling.settings,
            &mut polling.ledger(),
            now,
            Effort::default(),
        )
    });
    let (bulletins, faults) = match decided.await {
        Ok(decided) => decided?,
        Err(panic) => {
            tracing::error!(error = %panic, "deciding panicked");
            return Ok((
                Vec::new(),
                vec!["deciding panicked; the standing answers stay".to_owned()],
            ));
        }
    };
    BULLETINS.add(bulletins.len() as u64);
    for bulletin in &bulletins {
        tracing::info!(brief.id = %bulletin.brief, bulletin.id = %bulletin.id, subject = %bulletin.subject, "decided");
    }
    let faults: Vec<String> = faults.iter().map(|fault| error_chain(fault)).collect();
    for fault in &faults {
        tracing::error!(error = %fault, "a brief keeps its standing answer");
    }
    Ok((bulletins, faults))
}

/// Delivers what is due and says what could not be delivered.
pub async fn send(polling: &Polling, now: DateTime<Utc>) {
    match deliver(polling, now).await {
        Ok(report) => {
            for (channel, bulletin, reason) in &report.dead {
                tracing::error!(channel.id = %channel, bulletin.id = %bulletin, %reason, "a bulletin is given up");
            }
            for (channel, reason) in &report.disabled {
                tracing::warn!(channel.id = %channel, %reason, "a channel was closed by its receiver");
            }
        }
        Err(fault) => tracing::error!(error = %error_chain(&fault), "nothing can be delivered now"),
    }
}

/// Tells of a poll.
pub(super) fn log(report: &PollReport) {
    metrics::polled(report);
    let PollReport {
        feed,
        status,
        offers,
        matched,
        changed,
        duration_ms,
        ..
    } = report;
    match &report.error {
        None => tracing::info!(
            feed.id = %feed, status, offers, matched, changed, duration_ms, "polled"
        ),
        Some(error) => {
            tracing::warn!(feed.id = %feed, status, %error, duration_ms, "the poll failed")
        }
    }
}
