//! One poll of one feed: fetch, decode, normalise, match, doubt, store.
//!
//! A poll stands as a whole or not at all. What came wrong (an error, a login page, a tenth of
//! the records) leaves the last good offers as they are and goes into the ledger as a failed poll.

use super::gather::{Gathered, Page, gather};
use super::settings::{Feed, Settings};
use crate::feeds::decode::{Context, decode};
use crate::feeds::http::Fetcher;
use crate::history::doubt;
use crate::ledger::{
    Effect, JournalEntry, Ledger, LedgerError, NoSnapshot, PartMatch, PollRecord, PollWriter,
    SnapshotIs,
};
use crate::market::{Matcher, Matching, Normalised, Offer, RawOffer, Reject, normalise};
use crate::money::Money;
use chrono::{DateTime, Utc};
use serde::Serialize;
use serde_json::json;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

/// What polls share.
#[derive(Clone)]
pub struct Polling {
    pub settings: Arc<Settings>,
    pub fetcher: Arc<Fetcher>,
    pub matcher: Arc<Matcher>,
    pub ledger: Arc<Mutex<Ledger>>,
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
}

impl PollReport {
    pub fn is_good(&self) -> bool {
        matches!(self.status, "fresh" | "unchanged")
    }
}

impl Polling {
    /// The one writer. A panic elsewhere cannot have left a transaction half done.
    pub fn ledger(&self) -> MutexGuard<'_, Ledger> {
        self.ledger.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Polls one feed at `now` and stores the outcome.
    ///
    /// # Errors
    /// [`LedgerError`]: the outcome could not be stored.
    pub async fn poll(&self, feed: &Feed, now: DateTime<Utc>) -> Result<PollReport, LedgerError> {
        let begun = Instant::now();
        let memory = self.ledger().read().validators(&feed.id)?.1;
        let gathered = gather(&self.settings, &self.fetcher, feed, memory.as_deref(), now).await;
        let (polling, feed) = (self.clone(), feed.clone());
        let stored =
            tokio::task::spawn_blocking(move || polling.store(&feed, gathered, begun, now));
        match stored.await {
            Ok(report) => report,
            Err(panic) => std::panic::resume_unwind(panic.into_panic()),
        }
    }

    fn store(
        &self,
        feed: &Feed,
        gathered: Gathered,
        begun: Instant,
        now: DateTime<Utc>,
    ) -> Result<PollReport, LedgerError> {
        let mut ledger = self.ledger();
        let took = || u64::try_from(begun.elapsed().as_millis()).unwrap_or(u64::MAX);
        let mut record = PollRecord::default();
        let outcome = match gathered {
            Gathered::Documents(documents) => {
                let known = ledger.read().feed_states()?;
                let known = known.into_iter().find(|state| state.feed == feed.id);
                let offers_before = known.map_or(0, |state| state.offers);
                let peers = peers(&ledger)?;
                let intake = Intake {
                    polling: self,
                    feed,
                    peers,
                    now,
                };
                match intake.take(&mut ledger, documents, offers_before, &mut record, &took) {
                    Ok(()) => return Ok(report(feed, "fresh", &record)),
                    Err(Refused::Ledger(error)) => return Err(error),
                    Err(Refused::Failed(error)) => (NoSnapshot::Failed, Some(error)),
                    Err(Refused::Suspicious(error)) => (NoSnapshot::Suspicious, Some(error)),
                }
            }
            Gathered::Unchanged(memory) => {
                record.body_hash = Some(memory);
                (NoSnapshot::Unchanged, None)
            }
            Gathered::Failed(error) => (NoSnapshot::Failed, Some(error)),
        };
        let (no_snapshot, error) = outcome;
        record.duration_ms = took();
        record.error.clone_from(&error);
        let status = match no_snapshot {
            NoSnapshot::Unchanged => "unchanged",
            NoSnapshot::Failed => "failed",
            NoSnapshot::Suspicious => "suspicious",
        };
        ledger.record_poll(&feed.id, &feed.retailer, now, no_snapshot, &record)?;
        if let Some(error) = error {
            let text = format!("the poll of {} failed: {error}", feed.id);
            ledger.note(&[entry(feed, now, "poll_failed", text)])?;
        }
        Ok(report(feed, status, &record))
    }
}

/// What others ask for each part, by retailer, before this poll.
type Peers = BTreeMap<String, Vec<(String, Money)>>;

fn peers(ledger: &Ledger) -> Result<Peers, LedgerError> {
    let mut peers = Peers::new();
    for current in ledger.read().current_offers(None)? {
        let asks = (current.offer.retailer.to_string(), current.offer.price);
        peers.entry(current.part.part).or_default().push(asks);
    }
    Ok(peers)
}

/// Why a snapshot was not taken.
enum Refused {
    Failed(String),
    Suspicious(String),
    Ledger(LedgerError),
}

impl From<LedgerError> for Refused {
    fn from(error: LedgerError) -> Refused {
        Refused::Ledger(error)
    }
}

/// The way of documents into the ledger.
struct Intake<'p> {
    polling: &'p Polling,
    feed: &'p Feed,
    peers: Peers,
    now: DateTime<Utc>,
}

impl Intake<'_> {
    fn take(
        &self,
        ledger: &mut Ledger,
        documents: super::gather::Documents,
        offers_before: u64,
        record: &mut PollRecord,
        took: &dyn Fn() -> u64,
    ) -> Result<(), Refused> {
        let mut writer = ledger.begin_poll(&self.feed.id, &self.feed.retailer, self.now)?;
        record.notes = documents.notes;
        for mut page in documents.pages {
            self.take_page(&mut writer, &mut page, record)?;
        }
        self.doubt_counts(record, offers_before)?;
        let snapshot = if documents.is_complete {
            SnapshotIs::Complete
        } else {
            SnapshotIs::Partial
        };
        record.body_hash = documents.memory;
        record.notes.truncate(NOTES_MAX);
        record.duration_ms = took();
        let text = format!(
            "{}: {} offers, {} of known parts, {} changed",
            self.feed.id, record.offers, record.matched, record.changed
        );
        if record.changed > 0 {
            writer.note(&entry(self.feed, self.now, "prices_changed", text))?;
        }
        writer.commit(record, snapshot)?;
        Ok(())
    }

    fn take_page(
        &self,
        writer: &mut PollWriter<'_>,
        page: &mut Page,
        record: &mut PollRecord,
    ) -> Result<(), Refused> {
        let mut stored = Ok(());
        let mut sink = |one: Result<RawOffer, Reject>| {
            stored = self.take_record(writer, one, record);
            if stored.is_ok() {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        };
        let context = Context {
            content_type: page.content_type.as_deref(),
            address: page.address.as_deref(),
            country: Some(&self.feed.normalise.country),
            wanted: &page.wanted,
            body_limit: self.feed.source.limits.body_bytes,
            ..Context::default()
        };
        let mut body = page
            .body
            .open()
            .map_err(|error| Refused::Failed(error.to_string()))?;
        let decoded = decode(&self.feed.format, &mut body, &context, &mut sink);
        stored?;
        let summary =
            decoded.map_err(|fault| Refused::Failed(super::decision::error_chain(&fault)))?;
        record.notes.extend(summary.notes);
        Ok(())
    }

    fn take_record(
        &self,
        writer: &mut PollWriter<'_>,
        one: Result<RawOffer, Reject>,
        record: &mut PollRecord,
    ) -> Result<(), LedgerError> {
        record.records += 1;
        let raw = match one {
            Ok(raw) => raw,
            Err(reject) => {
                refuse(
                    record,
                    format!("record {}: {}", reject.index, reject.reason),
                );
                return Ok(());
            }
        };
        let (offer, reason) = match normalise(&raw, &self.feed.normalise, self.now) {
            Normalised::Accepted(offer) => (offer, None),
            Normalised::Held { offer, reason } => (offer, Some(reason.to_string())),
            Normalised::Refused(refusal) => {
                let sku = refusal
                    .sku
                    .map_or_else(String::new, |sku| format!(" ({sku})"));
                let (field, text) = (refusal.field.name(), &refusal.text);
                let line = format!(
                    "record {}{sku}: {field} \"{text}\": {}",
                    refusal.index, refusal.reason
                );
                refuse(record, line);
                return Ok(());
            }
        };
        let part = self.match_offer(&offer, record);
        let reason = match reason {
            Some(reason) => Some(reason),
            None => self.doubt(writer, &offer, part.as_ref())?,
        };
        let effect = match reason {
            Some(reason) => writer.hold(&offer, part.as_ref(), &reason)?,
            None => writer.observe(&offer, part.as_ref())?,
        };
        record.offers += 1;
        record.matched += u64::from(part.is_some());
        match effect {
            Effect::New | Effect::Returned | Effect::Changed => record.changed += 1,
            Effect::Held => record.held += 1,
            Effect::Unchanged => {}
            Effect::Repeated => record
                .notes
                .push(format!("SKU {} is listed twice", offer.sku)),
        }
        Ok(())
    }

    fn match_offer(&self, offer: &Offer, record: &mut PollRecord) -> Option<PartMatch> {
        match self.polling.matcher.match_offer(offer) {
            Matching::Part(found) => Some(PartMatch {
                part: found.part.to_string(),
                by: found.by.name().to_owned(),
                confidence_percent: found.confidence,
            }),
            Matching::None => None,
            Matching::Contradiction(one, other) => {
                let note = format!("SKU {}: its keys name both {one} and {other}", offer.sku);
                record.notes.push(note);
                None
            }
        }
    }

    fn doubt(
        &self,
        writer: &PollWriter<'_>,
        offer: &Offer,
        part: Option<&PartMatch>,
    ) -> Result<Option<String>, LedgerError> {
        let before = writer.previous(offer)?.map(|previous| previous.price);
        let others: Vec<Money> = part
            .and_then(|part| self.peers.get(&part.part))
            .into_iter()
            .flatten()
            .filter(|(retailer, _)| retailer != offer.retailer.as_str())
            .map(|(_, price)| *price)
            .collect();
        let limit = self.feed.source.doubt.outlier_factor_hundredths;
        Ok(doubt(offer.price, before, &others, limit).map(|doubt| doubt.to_string()))
    }

    /// A feed that brings nothing, or far less than before, has failed; it has not sold out.
    fn doubt_counts(&self, record: &PollRecord, offers_before: u64) -> Result<(), Refused> {
        let rules = &self.feed.source.doubt;
        if record.records < rules.least_records {
            let (found, least) = (record.records, rules.least_records);
            return Err(Refused::Suspicious(format!(
                "{found} records, while `least_records` is {least}"
            )));
        }
        let kept_percent = u64::from(100 - rules.largest_loss_percent.min(100));
        if record.offers * 100 < offers_before * kept_percent {
            return Err(Refused::Suspicious(format!(
                "{} offers after {offers_before}: more is missing than `largest_loss_percent` allows",
                record.offers
            )));
        }
        Ok(())
    }
}

/// Notes of one poll beyond this are counted, not kept.
const NOTES_MAX: usize = 50;

fn refuse(record: &mut PollRecord, line: String) {
    record.refused += 1;
    if record.notes.len() < NOTES_MAX {
        record.notes.push(line);
    }
}

fn entry(feed: &Feed, at: DateTime<Utc>, kind: &str, text: String) -> JournalEntry {
    JournalEntry {
        at,
        kind: kind.to_owned(),
        feed: Some(feed.id.clone()),
        brief: None,
        part: None,
        text,
        data: json!({}),
    }
}

fn report(feed: &Feed, status: &'static str, record: &PollRecord) -> PollReport {
    PollReport {
        feed: feed.id.to_string(),
        status,
        records: record.records,
        offers: record.offers,
        matched: record.matched,
        refused: record.refused,
        held: record.held,
        changed: record.changed,
        duration_ms: record.duration_ms,
        error: record.error.clone(),
    }
}
