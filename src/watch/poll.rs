//! One poll of one feed, stored with its outcome.
//!
//! A poll stands as a whole or not at all. What came wrong (an error, a login page, a tenth of
//! the records) leaves the last good offers as they are and goes into the ledger as a failed poll.

use super::failure::Failure;
use super::gather::{Gathered, gather};
use super::intake::{Intake, NotTaken};
use super::judge::Peers;
use super::questions::rematch;
use super::remembering::remember;
use super::responses;
use super::settings::{Feed, Settings};
use crate::feeds::health::{Attempt, Cause, Health, Notice};
use crate::feeds::http::{FaultKind, Fetcher, OlderCopy};
use crate::feeds::verdict::Counts;
use crate::ledger::{
    FeedState, JournalEntry, Ledger, LedgerError, NoSnapshot, Patience, PollRecord,
};
use crate::market::Matcher;
use chrono::{DateTime, Utc};
use serde::Serialize;
use serde_json::json;
use std::num::{NonZeroU32, NonZeroUsize};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

/// What polls share.
#[derive(Clone)]
pub struct Polling {
    pub settings: Arc<Settings>,
    pub fetcher: Arc<Fetcher>,
    pub matcher: Arc<Matcher>,
    pub ledger: Arc<Mutex<Ledger>>,
    /// Threads that read the records of one document. They come to the same however many they are.
    pub readers: NonZeroUsize,
}

/// What one poll came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PollReport {
    pub feed: String,
    /// `fresh`, `unchanged`, `failed` or `suspicious`.
    pub status: &'static str,
    pub records: u64,
    pub offers: u64,
    pub matched: u64,
    pub refused: u64,
    pub held: u64,
    pub changed: u64,
    pub duration_ms: u64,
    pub error: Option<String>,
    /// Records refused, keys that disagree, pages left out: the first fifty.
    pub notes: Vec<String>,
    /// When to ask again, whatever the schedule says.
    #[serde(skip)]
    pub retry_at: Option<DateTime<Utc>>,
}

impl PollReport {
    pub fn is_good(&self) -> bool {
        matches!(self.status, "fresh" | "unchanged")
    }
}

/// What was brought in for one feed and waits to be stored.
pub struct Brought {
    pub feed: Feed,
    pub gathered: Gathered,
    begun: Instant,
}

impl Brought {
    /// What it takes to keep it, in bytes; at least one.
    pub fn bytes(&self) -> u64 {
        let Gathered::Documents(documents) = &self.gathered else {
            return 1;
        };
        let pages = documents.pages.iter();
        pages.map(|page| page.body.length()).sum::<u64>().max(1)
    }

    /// Takes into memory what is read in place, for it may have changed later.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn detach(&mut self) -> std::io::Result<()> {
        match &mut self.gathered {
            Gathered::Documents(documents) => {
                let pages = &mut documents.pages;
                pages.iter_mut().try_for_each(|page| page.body.detach())
            }
            Gathered::Unchanged(_) | Gathered::Failed(_) => Ok(()),
        }
    }

    /// The kind of fault, where fetching failed.
    pub fn fault(&self) -> Option<FaultKind> {
        match &self.gathered {
            Gathered::Failed(Failure {
                cause: Cause::Fetch(kind),
                ..
            }) => Some(*kind),
            _ => None,
        }
    }
}

/// Whether the network as a whole can be reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Network {
    Reached,
    /// No name resolves: that says nothing about the feeds.
    Gone,
}

impl Polling {
    /// The one writer. A panic elsewhere cannot have left a transaction half done.
    pub fn ledger(&self) -> MutexGuard<'_, Ledger> {
        self.ledger.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes the stored offers for what they are by the settings as they are now: those of feeds that are no
    /// more leave the market, and the catalogue says which parts the others are. Returns how many
    /// are another part, or none, since.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn rematch(&self, now: DateTime<Utc>) -> Result<usize, LedgerError> {
        let mut ledger = self.ledger();
        let feeds = || self.settings.feeds.iter().map(|feed| &feed.id);
        responses::retire(&self.settings.ledger, feeds());
        ledger.retire_feeds(&feeds().collect(), now)?;
        rematch(&mut ledger, &self.matcher, &self.settings.catalogue, now)
    }

    /// Brings in what a feed offers at `now`; stores nothing.
    ///
    /// # Errors
    /// [`LedgerError`]: what is remembered of the feed could not be read.
    pub async fn bring(&self, feed: &Feed, now: DateTime<Utc>) -> Result<Brought, LedgerError> {
        let begun = Instant::now();
        let memory = self.ledger().read().remembered(&feed.id)?.memory;
        let gathered = gather(&self.settings, &self.fetcher, feed, memory.as_deref(), now).await;
        Ok(Brought {
            feed: feed.clone(),
            gathered,
            begun,
        })
    }

    /// Stores what was brought in, or that it failed.
    ///
    /// # Errors
    /// [`LedgerError`]: the outcome could not be stored.
    pub fn store(
        &self,
        mut brought: Brought,
        network: Network,
        now: DateTime<Utc>,
    ) -> Result<PollReport, LedgerError> {
        self.try_store(&mut brought, network, now)
    }

    /// The same of what is to be stored later if it cannot be now.
    ///
    /// # Errors
    /// [`LedgerError`]: then nothing of it was stored.
    pub fn try_store(
        &self,
        brought: &mut Brought,
        network: Network,
        now: DateTime<Utc>,
    ) -> Result<PollReport, LedgerError> {
        let report = self.put(brought, network, now)?;
        if let Gathered::Documents(documents) = &mut brought.gathered {
            let (ledger, feed) = (&self.settings.ledger, &brought.feed);
            let kept = responses::keep(ledger, feed, documents, report.status, now);
            if let Err(error) = kept {
                tracing::warn!(feed.id = %feed.id, %error, "the response could not be kept for trials of the mapping");
            }
        }
        Ok(report)
    }

    fn put(
        &self,
        brought: &mut Brought,
        network: Network,
        now: DateTime<Utc>,
    ) -> Result<PollReport, LedgerError> {
        let mut ledger = self.ledger();
        let Brought {
            feed,
            gathered,
            begun,
        } = brought;
        let (feed, begun) = (&*feed, *begun);
        ledger.set_patience(patience(feed));
        let state = ledger.read().feed_state(&feed.id)?;
        let health = state
            .as_ref()
            .and_then(|state| state.remembered.health.as_deref());
        let health: Health = health
            .and_then(|text| serde_json::from_str(text).ok())
            .unwrap_or_default();
        let outcome = Outcome {
            feed,
            health,
            network,
            begun,
            now,
        };
        let mut record = PollRecord::default();
        let (no_snapshot, failure) = match gathered {
            Gathered::Documents(documents) => {
                let peers = Peers::of(ledger.read().asks()?);
                let last_good = state.as_ref().and_then(last_good);
                let intake = Intake {
                    polling: self,
                    feed,
                    decisions: ledger.read().decisions_of(&feed.retailer)?,
                    peers,
                    last_good,
                    now,
                };
                let finish = |record: &mut PollRecord| outcome.finish(record, Attempt::Good, None);
                match intake.take(&mut ledger, documents, &mut record, finish) {
                    Ok(()) => return Ok(outcome.report("fresh", &record)),
                    Err(NotTaken::Ledger(error)) => return Err(error),
                    Err(NotTaken::Failed(failure)) => (NoSnapshot::Failed, Some(failure)),
                    Err(NotTaken::Suspicious(failure)) => (NoSnapshot::Suspicious, Some(failure)),
                    Err(NotTaken::OlderCopy(older)) => {
                        record = passed_over(feed, &older);
                        (NoSnapshot::OlderCopy, None)
                    }
                }
            }
            Gathered::Unchanged(memory) => {
                record.remembered.memory = Some(memory.clone());
                (NoSnapshot::Unchanged, None)
            }
            Gathered::Failed(failure) => (NoSnapshot::Failed, Some(failure.clone())),
        };
        let attempt = match &failure {
            None => Attempt::Good,
            Some(_) if network == Network::Gone => Attempt::NoNetwork,
            Some(Failure {
                cause, retry_after, ..
            }) => Attempt::Failed {
                cause: *cause,
                retry_after: *retry_after,
            },
        };
        record.error = failure.map(|failure| failure.text);
        let error = record.error.clone();
        let entry = outcome.finish(&mut record, attempt, error);
        let poll = (no_snapshot, &record);
        ledger.record_poll_with(&feed.id, &feed.retailer, now, poll, entry.as_ref())?;
        Ok(outcome.report(status(no_snapshot), &record))
    }
}

/// The word for a poll without a snapshot.
fn status(no_snapshot: NoSnapshot) -> &'static str {
    match no_snapshot {
        NoSnapshot::Unchanged | NoSnapshot::OlderCopy => "unchanged",
        NoSnapshot::Failed => "failed",
        NoSnapshot::Suspicious => "suspicious",
    }
}

/// What is written down of an older copy: none of its counts, for it is not taken.
fn passed_over(feed: &Feed, older: &OlderCopy) -> PollRecord {
    let mut record = PollRecord::default();
    record.notes.push(older.to_string());
    record.remembered.memory = remember(feed, older.remembered.clone());
    record
}

/// How many polls confirm what the feed's settings hold back.
fn patience(feed: &Feed) -> Patience {
    let usual = Patience::default();
    let confirm_after_polls = NonZeroU32::new(feed.source.doubt.confirm_polls);
    Patience {
        confirm_after_polls: confirm_after_polls.unwrap_or(usual.confirm_after_polls),
        ..usual
    }
}

/// What the feed had when it was last believed.
fn last_good(state: &FeedState) -> Option<Counts> {
    let counts = Counts {
        records: state.offers,
        offers: state.offers,
    };
    state.last_fresh.map(|_| counts)
}

/// What is needed to write a poll's outcome down.
struct Outcome<'p> {
    feed: &'p Feed,
    health: Health,
    network: Network,
    begun: Instant,
    now: DateTime<Utc>,
}

impl Outcome<'_> {
    /// Completes the record and says what the journal should hear.
    fn finish(
        &self,
        record: &mut PollRecord,
        attempt: Attempt,
        error: Option<String>,
    ) -> Option<JournalEntry> {
        record.duration_ms = u64::try_from(self.begun.elapsed().as_millis()).unwrap_or(u64::MAX);
        let (health, notice) = self.health.after(&self.feed.id, attempt, self.now);
        record.remembered.health = serde_json::to_string(&health).ok();
        match notice {
            Some(notice) => Some(self.entry(notice, error.unwrap_or_default())),
            None if record.changed > 0 => {
                let text = format!(
                    "{}: {} offers, {} of known parts, {} changed",
                    self.feed.id, record.offers, record.matched, record.changed
                );
                Some(self.journal_entry("prices_changed", text))
            }
            None => None,
        }
    }

    fn entry(&self, notice: Notice, error: String) -> JournalEntry {
        let feed = &self.feed.id;
        let shown = |at: DateTime<Utc>| at.format("%Y-%m-%d %H:%M UTC");
        match notice {
            Notice::Failing { retry_at } => self.journal_entry(
                "feed_failing",
                format!(
                    "{feed} failed and is asked again at {}: {error}",
                    shown(retry_at)
                ),
            ),
            Notice::Opened {
                failures,
                since,
                retry_at,
            } => self.journal_entry(
                "feed_given_a_rest",
                format!(
                    "{feed} failed {failures} times since {} and rests until {}: {error}",
                    shown(since),
                    shown(retry_at)
                ),
            ),
            Notice::StillFailing {
                failures,
                since,
                retry_at,
            } => self.journal_entry(
                "feed_still_failing",
                format!(
                    "{feed} has failed {failures} times since {} and rests until {}: {error}",
                    shown(since),
                    shown(retry_at)
                ),
            ),
            Notice::Blocked { retry_at } => self.journal_entry(
                "feed_blocked",
                format!(
                    "{feed} does not let the program in; asked again at {}: {error}",
                    shown(retry_at)
                ),
            ),
            Notice::Recovered { failures, since } => self.journal_entry(
                "feed_recovered",
                format!(
                    "{feed} is back after {failures} failures since {}",
                    shown(since)
                ),
            ),
        }
    }

    fn journal_entry(&self, kind: &str, text: String) -> JournalEntry {
        JournalEntry {
            at: self.now,
            kind: kind.to_owned(),
            feed: Some(self.feed.id.clone()),
            brief: None,
            part: None,
            text,
            data: json!({}),
        }
    }

    fn report(&self, status: &'static str, record: &PollRecord) -> PollReport {
        let health = record.remembered.health.as_deref();
        let health: Option<Health> = health.and_then(|text| serde_json::from_str(text).ok());
        PollReport {
            feed: self.feed.id.to_string(),
            status,
            records: record.records,
            offers: record.offers,
            matched: record.matched,
            refused: record.refused,
            held: record.held,
            changed: record.changed,
            duration_ms: record.duration_ms,
            error: record.error.clone().map(|error| match self.network {
                Network::Reached => error,
                Network::Gone => format!("no network here: {error}"),
            }),
            notes: record.notes.clone(),
            retry_at: health.and_then(|health| health.retry_at),
        }
    }
}
