//! The way of documents into the ledger: decode, normalise, match, doubt, observe.
//!
//! One transaction holds a whole poll; what is refused as a whole leaves nothing behind.

use super::gather::{Documents, Failure, Memory, Page};
use super::judge::{Hold, Judge, Judged, JudgedOffer, Peers};
use super::poll::Polling;
use super::settings::Feed;
use crate::feeds::decode::{Context, DecodeSummary, decode};
use crate::feeds::http::{OlderCopy, Validators, parse_document_date};
use crate::feeds::verdict::{self, Counts};
use crate::ledger::{
    Confirms, Effect, JournalEntry, Ledger, LedgerError, PartMatch, PollRecord, PollWriter,
    SnapshotIs,
};
use crate::market::{Matching, RawOffer, Reject};
use chrono::{DateTime, Utc};
use std::ops::ControlFlow;

/// Notes of one poll beyond this are dropped.
const NOTES_MAX: usize = 50;

/// Why a snapshot was not taken.
pub enum NotTaken {
    /// It cannot be read.
    Failed(Failure),
    /// It can be read and is not believed.
    Suspicious(Failure),
    /// It is older than what is known.
    OlderCopy(Box<OlderCopy>),
    Ledger(LedgerError),
}

impl From<LedgerError> for NotTaken {
    fn from(error: LedgerError) -> NotTaken {
        NotTaken::Ledger(error)
    }
}

/// What one poll's documents are judged against.
pub struct Intake<'p> {
    pub polling: &'p Polling,
    pub feed: &'p Feed,
    pub peers: Peers,
    /// What the last good poll had.
    pub last_good: Option<Counts>,
    pub now: DateTime<Utc>,
}

impl Intake<'_> {
    /// Takes a whole snapshot in. `finish` completes the record once the counts are known.
    ///
    /// # Errors
    /// [`NotTaken`]; then nothing of it stands.
    pub fn take(
        &self,
        ledger: &mut Ledger,
        documents: Documents,
        record: &mut PollRecord,
        finish: impl FnOnce(&mut PollRecord) -> Option<JournalEntry>,
    ) -> Result<(), NotTaken> {
        let mut writer = ledger.begin_poll(&self.feed.id, &self.feed.retailer, self.now)?;
        record.notes = documents.notes;
        let mut judge = Judge::new(self.feed, &self.polling.matcher, &self.peers, self.now);
        let mut updated = None;
        for mut page in documents.pages {
            let summary = self.take_page(&mut judge, &mut writer, &mut page, record)?;
            updated = summary.updated;
        }
        let memory = match documents.memory {
            Some(memory) => Some(self.news(*memory, updated.as_deref())?),
            None => None,
        };
        let counts = Counts {
            records: record.records,
            offers: record.offers,
        };
        verdict::judge(counts, self.last_good, &self.feed.source.doubt)
            .map_err(|fault| NotTaken::Suspicious(Failure::of_content(fault.to_string())))?;
        record.remembered.memory =
            memory.and_then(|validators| serde_json::to_string(&validators).ok());
        record.notes.truncate(NOTES_MAX);
        if let Some(entry) = finish(record) {
            writer.note(&entry)?;
        }
        let is_complete = documents.is_complete;
        let snapshot = if is_complete {
            SnapshotIs::Complete
        } else {
            SnapshotIs::Partial
        };
        writer.commit(record, snapshot)?;
        Ok(())
    }

    /// What to remember of a document that is news. `updated` is the date that it gives itself.
    fn news(&self, memory: Memory, updated: Option<&str>) -> Result<Validators, NotTaken> {
        let mut answered = memory.answered;
        answered.document_date = updated.and_then(parse_document_date);
        let most_in_a_row = self.feed.source.doubt.confirm_polls;
        let older = memory
            .known
            .and_then(|known| OlderCopy::of(&known, &answered, most_in_a_row, self.now));
        match older {
            Some(older) => Err(NotTaken::OlderCopy(Box::new(older))),
            None => Ok(answered),
        }
    }

    fn take_page(
        &self,
        judge: &mut Judge<'_>,
        writer: &mut PollWriter<'_>,
        page: &mut Page,
        record: &mut PollRecord,
    ) -> Result<DecodeSummary, NotTaken> {
        let mut stored = Ok(());
        let mut sink = |one: Result<RawOffer, Reject>| {
            stored = take_record(judge, writer, one, record);
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
        let unreadable = |error: std::io::Error| Failure::of_content(error.to_string());
        let mut body = page
            .body
            .open()
            .map_err(|error| NotTaken::Failed(unreadable(error)))?;
        let decoded = decode(&self.feed.format, &mut body, &context, &mut sink);
        stored?;
        let mut summary = decoded.map_err(|fault| NotTaken::Failed(fault.into()))?;
        record.notes.append(&mut summary.notes);
        Ok(summary)
    }
}

fn take_record(
    judge: &mut Judge<'_>,
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
    let last_price = |offer: &_| Ok(writer.previous(offer)?.map(|previous| previous.price));
    match judge.judge(&raw, last_price)? {
        Judged::Offer(judged) => take_offer(writer, &judged, record),
        Judged::Repeated => {
            note(
                record,
                format!("record {} repeats an earlier one", raw.index),
            );
            Ok(())
        }
        Judged::Refused(refusal) => {
            let sku = refusal
                .sku
                .map_or_else(String::new, |sku| format!(" ({sku})"));
            let (field, text) = (refusal.field.name(), &refusal.text);
            let (index, reason) = (refusal.index, &refusal.reason);
            refuse(
                record,
                format!("record {index}{sku}: {field} \"{text}\": {reason}"),
            );
            Ok(())
        }
    }
}

fn take_offer(
    writer: &mut PollWriter<'_>,
    judged: &JudgedOffer,
    record: &mut PollRecord,
) -> Result<(), LedgerError> {
    let offer = &judged.offer;
    let part = match &judged.matching {
        Matching::Part(found) => Some(PartMatch {
            part: found.part.to_string(),
            by: found.by.name().to_owned(),
            confidence_percent: found.confidence,
        }),
        Matching::None => None,
        Matching::Contradiction(one, other) => {
            note(
                record,
                format!("SKU {}: its keys name both {one} and {other}", offer.sku),
            );
            None
        }
    };
    let effect = match &judged.hold {
        Some(hold) => writer.hold(offer, part.as_ref(), &hold.to_string(), confirms(hold))?,
        None => writer.observe(offer, part.as_ref())?,
    };
    record.offers += 1;
    record.matched += u64::from(part.is_some());
    match effect {
        Effect::New | Effect::Returned | Effect::Changed => record.changed += 1,
        Effect::Held => record.held += 1,
        Effect::Unchanged => {}
        Effect::Repeated => note(record, format!("SKU {} is listed twice", offer.sku)),
    }
    Ok(())
}

/// A price may turn out right when it stays; values that disagree stay in doubt.
fn confirms(hold: &Hold) -> Confirms {
    match hold {
        Hold::Values(_) => Confirms::Person,
        Hold::Price(_) => Confirms::Polls,
    }
}

fn refuse(record: &mut PollRecord, line: String) {
    record.refused += 1;
    note(record, line);
}

fn note(record: &mut PollRecord, line: String) {
    if record.notes.len() < NOTES_MAX {
        record.notes.push(line);
    }
}
