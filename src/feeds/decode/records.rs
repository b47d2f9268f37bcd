//! Numbers, counts and hands on the records of one body, and keeps its limits.

use super::fault::DecodeFault;
use crate::market::{Field, RawOffer, Reject};
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use url::Url;

/// Receives every record as it is decoded; `Break` ends the reading.
pub type Sink<'s> = dyn FnMut(Result<RawOffer, Reject>) -> ControlFlow<()> + 's;

/// Different notes kept of one body; more are counted, not kept.
const NOTES_MAX: usize = 50;
/// A poll with no more rejects than this is not failed for their share, if any record is good.
const REJECTS_ALWAYS_BORNE: u64 = 5;

/// The records of one body on their way out.
pub struct Records<'s> {
    sink: &'s mut Sink<'s>,
    base: Option<Url>,
    records_max: u64,
    records: u64,
    rejected: u64,
    first_reject: Option<String>,
    notes: BTreeMap<String, u64>,
    next_page: Option<String>,
    updated: Option<String>,
}

impl<'s> Records<'s> {
    pub(super) fn new(sink: &'s mut Sink<'s>, base: Option<Url>, records_max: u64) -> Records<'s> {
        Records {
            sink,
            base,
            records_max,
            records: 0,
            rejected: 0,
            first_reject: None,
            notes: BTreeMap::new(),
            next_page: None,
            updated: None,
        }
    }

    /// Hands on a record, or rejects it when nothing that the mapping names was in it.
    pub fn accept(&mut self, mut offer: RawOffer) -> Result<(), DecodeFault> {
        if offer.fields.is_empty() {
            return self.reject("none of the mapped fields is in this record");
        }
        offer.index = self.count()?;
        self.complete_links(&mut offer);
        self.send(Ok(offer))
    }

    pub fn reject(&mut self, reason: impl Into<String>) -> Result<(), DecodeFault> {
        let reason = reason.into();
        let index = self.count()?;
        self.rejected += 1;
        self.first_reject.get_or_insert_with(|| reason.clone());
        self.send(Err(Reject { index, reason }))
    }

    /// Remembers something about the body that a person should know; repeats are counted.
    pub fn note(&mut self, note: impl Into<String>) {
        let note = note.into();
        if self.notes.len() < NOTES_MAX || self.notes.contains_key(&note) {
            *self.notes.entry(note).or_default() += 1;
        }
    }

    /// Where the next page of this list is, as it stands in the body.
    pub fn next_page(&mut self, address: impl Into<String>) {
        let address = address.into();
        if !address.trim().is_empty() {
            self.next_page = Some(address.trim().to_owned());
        }
    }

    /// The date that the body gives itself, as it stands there; the first one counts.
    pub fn updated(&mut self, date: &str) {
        if !date.trim().is_empty() && self.updated.is_none() {
            self.updated = Some(date.trim().to_owned());
        }
    }

    /// Records so far, rejected ones included.
    pub fn records(&self) -> u64 {
        self.records
    }

    /// Records that were handed on.
    pub(super) fn good(&self) -> u64 {
        self.records - self.rejected
    }

    /// Fails the poll when too large a share of the records was rejected.
    pub(super) fn judge(&self, percent_max: u8) -> Result<(), DecodeFault> {
        let none_good = self.rejected > 0 && self.rejected == self.records;
        let share_exceeded = self.rejected > REJECTS_ALWAYS_BORNE
            && self.rejected.saturating_mul(100) > self.records.saturating_mul(percent_max.into());
        if !none_good && !share_exceeded {
            return Ok(());
        }
        Err(DecodeFault::TooManyRejects {
            rejected: self.rejected,
            records: self.records,
            first: self.first_reject.clone().unwrap_or_default(),
        })
    }

    pub(super) fn into_summary(self) -> super::DecodeSummary {
        let notes = self.notes.into_iter().map(|(note, times)| match times {
            1 => note,
            times => format!("{note} ({times} times)"),
        });
        super::DecodeSummary {
            records: self.records,
            rejected: self.rejected,
            notes: notes.collect(),
            next_page: self.next_page,
            updated: self.updated,
        }
    }

    fn count(&mut self) -> Result<u64, DecodeFault> {
        if self.records >= self.records_max {
            let limit = self.records_max;
            return Err(DecodeFault::TooManyRecords { limit });
        }
        self.records += 1;
        Ok(self.records)
    }

    fn send(&mut self, record: Result<RawOffer, Reject>) -> Result<(), DecodeFault> {
        match (self.sink)(record) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(DecodeFault::Stopped),
        }
    }

    /// A link relative to the body's address means nothing elsewhere, so it is made whole here.
    fn complete_links(&self, offer: &mut RawOffer) {
        let Some(base) = &self.base else {
            return;
        };
        for link in offer.fields.get_mut(Field::Link) {
            let text = link.text.trim();
            if !text.is_empty()
                && Url::parse(text) == Err(url::ParseError::RelativeUrlWithoutBase)
                && let Ok(whole) = base.join(text)
            {
                link.text = whole.into();
            }
        }
    }
}
