//! The way of documents into the ledger: decode, normalise, match, doubt, observe.
//!
//! One transaction holds a whole poll; what is refused as a whole leaves nothing behind. Other
//! threads read the records, which needs nothing but the document; this one weighs them in their
//! order and stores them. A record that the ledger has already is neither read nor weighed.

use super::failure::Failure;
use super::gather::{Documents, Memory, Page};
use super::held_news::HeldNews;
use super::judge::{Decisions, Hold, Judge, Judged, JudgedOffer, Past, Peers};
use super::marks::Marker;
use super::poll::Polling;
use super::reading::{Reader, Record, Taken};
use super::refusals::{Refusals, RefusedRecord};
use super::remembering::remember;
use super::settings::Feed;
use crate::feeds::decode::DecodeSummary;
use crate::feeds::http::{OlderCopy, Validators, parse_document_date};
use crate::feeds::verdict::{self, Counts};
use crate::ledger::{
    Confirms, Effect, JournalEntry, Ledger, LedgerError, PartMatch, PollRecord, PollWriter,
    SnapshotIs, Standing,
};
use crate::market::{FeedId, Matching, ReviewReason};
use chrono::{DateTime, Utc};
use serde_json::json;

/// Notes of one poll beyond this are dropped.
const NOTES_MAX: usize = 50;
/// The reason of a record that is none.
pub const UNDECODABLE: &str = "undecodable";

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
    pub decisions: Decisions,
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
        documents: &mut Documents,
        record: &mut PollRecord,
        finish: impl FnOnce(&mut PollRecord) -> Option<JournalEntry>,
    ) -> Result<(), NotTaken> {
        let mut writer = ledger.begin_poll(&self.feed.id, &self.feed.retailer, self.now)?;
        record.notes.clone_from(&documents.notes);
        let matcher = &self.polling.matcher;
        let judge = Judge::new(self.feed, matcher, &self.decisions, &self.peers, self.now);
        let marks = writer.take_marks();
        let reader = Reader {
            judge,
            marker: Marker::new(&self.polling.settings.catalogue, self.feed, &self.decisions),
            marks: &marks,
        };
        let mut updated = None;
        let (mut refusals, mut news) = (Refusals::default(), HeldNews::default());
        for page in &mut documents.pages {
            let taken = &mut (&mut *record, &mut refusals, &mut news);
            let summary = self.take_page(&reader, &mut writer, page, taken)?;
            updated = summary.updated;
        }
        // Also of what is not believed below: it says why.
        record.remembered.refusals = refusals.written();
        let memory = match documents.memory.as_deref() {
            Some(memory) => Some(self.news(memory, updated.as_deref())?),
            None => None,
        };
        let counts = Counts {
            records: record.records,
            offers: record.offers,
        };
        verdict::judge(counts, self.last_good, &self.feed.source.doubt)
            .map_err(|fault| NotTaken::Suspicious(Failure::of_content(fault.to_string())))?;
        record.remembered.memory = memory.and_then(|known| remember(self.feed, known));
        record.notes.truncate(NOTES_MAX);
        for entry in news.entries() {
            writer.note(&entry)?;
        }
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
    fn news(&self, memory: &Memory, updated: Option<&str>) -> Result<Validators, NotTaken> {
        let mut answered = memory.answered.clone();
        answered.document_date = updated.and_then(parse_document_date);
        let most_in_a_row = self.feed.source.doubt.confirm_polls;
        let older = memory
            .known
            .as_ref()
            .and_then(|known| OlderCopy::of(known, &answered, most_in_a_row, self.now));
        match older {
            Some(older) => Err(NotTaken::OlderCopy(Box::new(older))),
            None => Ok(answered),
        }
    }

    fn take_page(
        &self,
        reader: &Reader<'_>,
        writer: &mut PollWriter<'_>,
        page: &mut Page,
        taken: &mut Taking<'_>,
    ) -> Result<DecodeSummary, NotTaken> {
        let store = |records: &mut dyn Iterator<Item = Record>| {
            for one in records {
                take_record((reader.judge, &self.feed.id), writer, one, taken)?;
            }
            Ok::<_, LedgerError>(())
        };
        let (read, stored) = reader.read_page(self.polling.readers, self.feed, page, store);
        stored?;
        let mut summary = read.map_err(NotTaken::Failed)?;
        taken.0.notes.append(&mut summary.notes);
        Ok(summary)
    }
}

/// What is counted and noted of a poll while its records are taken.
type Taking<'t> = (&'t mut PollRecord, &'t mut Refusals, &'t mut HeldNews);

fn take_record(
    (judge, feed): (Judge<'_>, &FeedId),
    writer: &mut PollWriter<'_>,
    one: Record,
    (record, refusals, news): &mut Taking<'_>,
) -> Result<(), LedgerError> {
    record.records += 1;
    let (read, mut mark) = match one {
        Ok(Taken::Known(known, _)) if writer.confirm(known.row) => {
            record.offers += 1;
            record.matched += u64::from(known.is_part);
            return Ok(());
        }
        Ok(Taken::Known(_, raw)) => (judge.read(&raw), None),
        Ok(Taken::Read(read, mark)) => (read, mark),
        Err(reject) => {
            let refused = RefusedRecord {
                record: reject.index,
                sku: None,
                field: None,
                text: None,
                reason: reject.reason,
            };
            refuse(record, refusals, UNDECODABLE, refused);
            return Ok(());
        }
    };
    let mut found = None;
    let judged = judge.weigh(read, |offer, matching| {
        let part = part_match(matching);
        // An offer that gets another number beside the snapshot's earlier ones depends on them, and
        // one that the author is asked about is to be asked about again.
        let mark = mark.take().filter(|_| matching.question().is_none());
        let standing = writer.admit(offer, part.as_ref(), mark)?;
        found = Some((standing, part));
        Ok::<_, LedgerError>(Past {
            repeat: standing.repeat(),
            last_price: standing.last_price(),
        })
    })?;
    match judged {
        Judged::Offer(judged) => {
            let (standing, part) = found.expect("an offer is weighed against its past");
            let effect = take_offer(writer, &judged, &standing, part.as_ref(), record)?;
            if let (Some(hold), Some(part)) = (&judged.hold, &part) {
                let of = (feed, &judged.offer, part.part.as_str());
                news.note(of, (hold, effect), writer.at());
            }
            Ok(())
        }
        Judged::Repeated { index } => {
            note(record, format!("record {index} repeats an earlier one"));
            Ok(())
        }
        Judged::Refused(refusal) => {
            let refused = RefusedRecord {
                record: refusal.index,
                sku: refusal.sku.map(|sku| sku.to_string()),
                field: Some(refusal.field.name().to_owned()),
                text: Some(refusal.text),
                reason: refusal.reason.to_string(),
            };
            refuse(record, refusals, refusal.reason.code(), refused);
            Ok(())
        }
    }
}

fn take_offer(
    writer: &mut PollWriter<'_>,
    judged: &JudgedOffer,
    standing: &Standing,
    part: Option<&PartMatch>,
    record: &mut PollRecord,
) -> Result<Effect, LedgerError> {
    let offer = &judged.offer;
    ask(writer, judged, record)?;
    let effect = match &judged.hold {
        Some(hold) => writer.hold(standing, offer, part, &hold.to_string(), confirms(hold))?,
        None => writer.observe(standing, offer, part)?,
    };
    record.offers += 1;
    record.matched += u64::from(part.is_some());
    match effect {
        Effect::New | Effect::Returned | Effect::Changed => record.changed += 1,
        Effect::Held | Effect::HeldStill => record.held += 1,
        Effect::Unchanged => {}
        Effect::Repeated => note(record, format!("SKU {} is listed twice", offer.sku)),
    }
    Ok(effect)
}

/// Notes what the author is asked about an offer. That it is no longer what they decided on goes
/// into the journal too, and is noted once.
fn ask(
    writer: &mut PollWriter<'_>,
    judged: &JudgedOffer,
    record: &mut PollRecord,
) -> Result<(), LedgerError> {
    let JudgedOffer {
        offer, matching, ..
    } = judged;
    let Some(question) = matching.question() else {
        return Ok(());
    };
    if let Matching::Review {
        why: ReviewReason::ListingChanged,
        proposals,
    } = matching
    {
        if !writer.mark_listing_changed(offer)? {
            return Ok(());
        }
        let (retailer, sku) = (&offer.retailer, &offer.sku);
        writer.note(&JournalEntry {
            at: writer.at(),
            kind: "listing_changed".to_owned(),
            feed: None,
            brief: None,
            part: proposals.first().map(|first| first.part.to_string()),
            text: format!("{retailer}/{sku} \"{}\": {question}", offer.title),
            data: json!({ "retailer": retailer, "sku": sku, "title": offer.title }),
        })?;
    }
    note(record, format!("SKU {}: {question}", offer.sku));
    Ok(())
}

/// What the ledger keeps of a matching.
pub fn part_match(matching: &Matching) -> Option<PartMatch> {
    match matching {
        Matching::Part(found) => Some(PartMatch {
            part: found.part.to_string(),
            by: found.by.name().to_owned(),
            confidence_percent: found.confidence,
        }),
        Matching::None | Matching::Review { .. } | Matching::Contradiction(..) => None,
    }
}

/// A price may turn out right when it stays; values that disagree stay in doubt.
fn confirms(hold: &Hold) -> Confirms {
    match hold {
        Hold::Values(_) => Confirms::Person,
        Hold::Price(_) => Confirms::Polls,
    }
}

fn refuse(record: &mut PollRecord, refusals: &mut Refusals, code: &str, refused: RefusedRecord) {
    record.refused += 1;
    note(record, refused.in_words());
    refusals.count(code, refused);
}

fn note(record: &mut PollRecord, line: String) {
    if record.notes.len() < NOTES_MAX {
        record.notes.push(line);
    }
}
