//! A trial of one feed: fetched once, judged as a poll would judge it, stored nowhere.
//!
//! May not write to the ledger: it reads there what a poll would compare with. A trial asks a
//! shop for no more documents than it shows records.

mod record;
mod saved;

pub use record::{MatchRecord, TrialRecord, Verdict};
pub use saved::unmatched_in;

use super::decision::error_chain;
use super::failure::Failure;
use super::gather::{Documents, Gathered, Page, gather};
use super::intake::UNDECODABLE;
use super::judge::{Decisions, Judge, Judged, Past, Peers};
use super::responses;
use super::settings::{Feed, Settings};
use crate::feeds::decode::{Context, DecodeSummary, decode};
use crate::feeds::http::Fetcher;
use crate::feeds::local::read_files;
use crate::feeds::source::{Location, NextPage};
use crate::feeds::verdict;
use crate::ledger::{LedgerError, Reader};
use crate::market::{Matcher, RawOffer, Reject, Repeats};
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;

/// What a trial needs beside the feed.
pub struct Trying<'t> {
    pub matcher: &'t Matcher,
    /// `None` before the first poll.
    pub ledger: Option<&'t Reader>,
    /// Records that are kept for showing; the others are counted.
    pub records_shown: usize,
    pub now: DateTime<Utc>,
}

/// What a feed would bring.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trial {
    pub feed: String,
    pub records: Vec<TrialRecord>,
    pub counts: TrialCounts,
    /// The first record of each reason, in words.
    pub examples: BTreeMap<&'static str, String>,
    pub notes: Vec<String>,
    /// Why a poll would fail as a whole and change nothing.
    pub error: Option<String>,
}

/// Every record counts in one of `accepted`, `held` and `refused`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct TrialCounts {
    pub records: u64,
    pub accepted: u64,
    pub held: u64,
    pub refused: u64,
    /// Accepted or held records that are known parts.
    pub matched: u64,
    /// Held and refused records by the stable name of the reason.
    pub reasons: BTreeMap<&'static str, u64>,
}

/// Pages of one list that a trial reads: the second shows that the list goes on.
const LIST_PAGES_MAX: u32 = 2;
/// Notes of a trial; more are dropped.
const NOTES_MAX: usize = 50;

/// Asks for the feed's documents once, as if nothing were known of it.
pub async fn gather_for_trial(
    settings: &Settings,
    fetcher: &Fetcher,
    feed: &Feed,
    records_shown: usize,
    now: DateTime<Utc>,
) -> Gathered {
    let (narrowed, note) = narrow(feed, records_shown.max(1));
    let mut gathered = gather(settings, fetcher, &narrowed, None, now).await;
    if let (Gathered::Documents(documents), Some(note)) = (&mut gathered, note) {
        documents.is_complete = false;
        documents.notes.push(note);
    }
    gathered
}

/// Takes the feed's documents from a file that was saved, or every file of a directory.
pub fn gather_saved(feed: &Feed, saved: &Path) -> Gathered {
    let files = match read_files(saved, feed.source.limits.body_bytes) {
        Ok(files) => files,
        Err(fault) => return Gathered::Failed(fault.into()),
    };
    // Links of a document that has one address are completed as if it came from there.
    let address = match &feed.source.location {
        Location::Pages(pages) if pages.len() == 1 => feed.source.location.origins()[0].to_string(),
        _ => String::new(),
    };
    let page = |body| Page {
        body,
        content_type: None,
        address: Some(address.clone()).filter(|address| !address.is_empty()),
        wanted: Vec::new(),
    };
    Gathered::Documents(Documents {
        pages: files.into_iter().map(|file| page(file.body)).collect(),
        is_complete: false,
        notes: Vec::new(),
        memory: None,
    })
}

/// Takes the feed's documents as its newest poll did: the response that was kept, or the file that it reads.
pub fn gather_last(settings: &Settings, feed: &Feed) -> Gathered {
    if let Location::File(path) = &feed.source.location {
        return gather_saved(feed, &settings.directory.join(path));
    }
    match responses::recall(&settings.ledger, feed) {
        Some(documents) => Gathered::Documents(documents),
        None => Gathered::Failed(Failure::local(format!(
            "no response of {} is kept: none came yet, or it was larger than {} MiB",
            feed.id,
            responses::BYTES_MAX >> 20
        ))),
    }
}

/// Judges everything that was gathered.
///
/// # Errors
/// [`LedgerError`]: what is known of the offers cannot be read.
pub fn run_trial(
    trying: &Trying<'_>,
    feed: &Feed,
    gathered: Gathered,
) -> Result<Trial, LedgerError> {
    let mut trial = Trial::of(feed);
    let documents = match gathered {
        Gathered::Documents(documents) => documents,
        Gathered::Unchanged(_) => {
            trial.error = Some("the server answered \"unchanged\" unasked".to_owned());
            return Ok(trial);
        }
        Gathered::Failed(error) => {
            trial.error = Some(error.text);
            return Ok(trial);
        }
    };
    let (peers, decisions) = match trying.ledger {
        Some(ledger) => (
            Peers::of(ledger.asks()?),
            ledger.decisions_of(&feed.retailer)?,
        ),
        None => (Peers::default(), Decisions::new()),
    };
    let mut weighing = Weighing {
        feed,
        ledger: trying.ledger,
        judge: Judge::new(feed, trying.matcher, &decisions, &peers, trying.now),
        repeats: Repeats::default(),
    };
    trial.notes = documents.notes;
    let n_pages = documents.pages.len();
    for (number, mut page) in (1..).zip(documents.pages) {
        if let Err(error) = take_page(trying, &mut page, &mut weighing, &mut trial)? {
            trial.error = Some(match n_pages {
                1 => error,
                _ => format!("page {number} of {n_pages}: {error}"),
            });
            break;
        }
    }
    let counts = verdict::Counts {
        records: trial.counts.records,
        offers: trial.counts.accepted + trial.counts.held,
    };
    if let (None, true, Err(fault)) = (
        &trial.error,
        documents.is_complete || counts.records == 0,
        verdict::judge(counts, None, &feed.source.doubt),
    ) {
        trial.error = Some(fault.to_string());
    }
    trial.notes.truncate(NOTES_MAX);
    Ok(trial)
}

/// The feed with fewer documents, and what to tell of that.
fn narrow(feed: &Feed, documents_max: usize) -> (Feed, Option<String>) {
    let mut feed = feed.clone();
    let mut note = None;
    let mut tell = |had: usize, kept: usize, what: &str| {
        if had > kept {
            note = Some(format!(
                "a trial asks for {kept} {what} at most, a poll for up to {had}"
            ));
        }
    };
    match &mut feed.source.location {
        Location::Pages(pages) => {
            tell(pages.len(), documents_max, "pages");
            pages.truncate(documents_max);
        }
        Location::PerPart { limit, .. } | Location::Index { limit, .. } => {
            tell(*limit, documents_max, "pages");
            *limit = documents_max.min(*limit);
        }
        Location::File(_) | Location::StandardInput => {}
    }
    let paging = &mut feed.source.paging;
    if paging.next != NextPage::None && paging.limit > LIST_PAGES_MAX {
        tell(
            paging.limit as usize,
            LIST_PAGES_MAX as usize,
            "pages of a list",
        );
        paging.limit = LIST_PAGES_MAX;
    }
    (feed, note)
}

/// The inner error is the page's fault, for which a poll would fail.
fn take_page(
    trying: &Trying<'_>,
    page: &mut Page,
    weighing: &mut Weighing<'_>,
    trial: &mut Trial,
) -> Result<Result<(), String>, LedgerError> {
    let feed = weighing.feed;
    let mut known = Ok(());
    let mut sink = |one: Result<RawOffer, Reject>| {
        known = trial.take(trying, weighing, one);
        match known {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    };
    let decoded = decode_page(feed, page, &mut sink);
    known?;
    Ok(decoded.map(|summary| trial.notes.extend(summary.notes)))
}

/// Shows each record of a page to `sink`. The error is the page's fault, in words.
fn decode_page(
    feed: &Feed,
    page: &mut Page,
    sink: &mut dyn FnMut(Result<RawOffer, Reject>) -> ControlFlow<()>,
) -> Result<DecodeSummary, String> {
    let context = Context {
        content_type: page.content_type.as_deref(),
        address: page.address.as_deref(),
        country: Some(&feed.normalise.country),
        wanted: &page.wanted,
        body_limit: feed.source.limits.body_bytes,
        ..Context::default()
    };
    let mut body = page.body.open().map_err(|error| error.to_string())?;
    decode(&feed.format, &mut body, &context, sink).map_err(|fault| error_chain(&fault))
}

/// Judges record after record, and remembers what a poll would have stored.
struct Weighing<'w> {
    feed: &'w Feed,
    ledger: Option<&'w Reader>,
    judge: Judge<'w>,
    repeats: Repeats,
}

impl Weighing<'_> {
    fn judge(&mut self, raw: &RawOffer) -> Result<Judged, LedgerError> {
        let read = self.judge.read(raw);
        let judged = self.judge.weigh(read, |offer, _| {
            Ok(Past {
                repeat: self.repeats.of(offer),
                last_price: match self.ledger {
                    Some(ledger) => ledger.last_price(&self.feed.id, offer)?,
                    None => None,
                },
            })
        })?;
        if let Judged::Offer(judged) = &judged {
            self.repeats.keep(&judged.offer);
        }
        Ok(judged)
    }
}

impl Trial {
    fn of(feed: &Feed) -> Trial {
        Trial {
            feed: feed.id.to_string(),
            records: Vec::new(),
            counts: TrialCounts::default(),
            examples: BTreeMap::new(),
            notes: Vec::new(),
            error: None,
        }
    }

    fn take(
        &mut self,
        trying: &Trying<'_>,
        weighing: &mut Weighing<'_>,
        one: Result<RawOffer, Reject>,
    ) -> Result<(), LedgerError> {
        // Every page counts its own records; here they are those of the feed.
        let index = self.counts.records + 1;
        let (record, code) = match one {
            Err(reject) => (
                TrialRecord::undecoded(index, reject.reason),
                Some(UNDECODABLE),
            ),
            Ok(raw) => {
                let judged = weighing.judge(&raw)?;
                TrialRecord::of(index, &raw, judged)
            }
        };
        self.count(&record, code);
        if self.records.len() < trying.records_shown {
            self.records.push(record);
        }
        Ok(())
    }

    fn count(&mut self, record: &TrialRecord, code: Option<&'static str>) {
        self.counts.records += 1;
        self.counts.matched += u64::from(record.part.is_some());
        match record.verdict {
            Verdict::Accepted => self.counts.accepted += 1,
            Verdict::Held => self.counts.held += 1,
            Verdict::Refused => self.counts.refused += 1,
        }
        if let Some(code) = code {
            *self.counts.reasons.entry(code).or_default() += 1;
            self.examples.entry(code).or_insert_with(|| {
                let sku = record.sku.as_ref();
                let sku = sku.map_or_else(String::new, |sku| format!(" ({sku})"));
                let reason = record.reason.as_deref().unwrap_or_default();
                format!("record {}{sku}: {reason}", record.index)
            });
        }
    }
}
