//! Reads the records of a document: decoded by one thread, marked, normalised and matched by
//! several, given out in their order.
//!
//! A record is read on its own: nothing here may depend on the records before it, nor on how many
//! threads there are. A record that the ledger has already is not read at all.

use super::failure::Failure;
use super::gather::Page;
use super::in_order::{Items, in_order};
use super::judge::{Judge, Read};
use super::marks::Marker;
use super::settings::Feed;
use crate::feeds::decode::{Context, DecodeSummary, decode};
use crate::ledger::{KnownRecord, Mark, Marks};
use crate::market::{RawOffer, Reject};
use std::num::NonZeroUsize;
use std::thread::available_parallelism;

/// More threads do not make a poll faster: one stores what they all read.
const READERS_MAX: NonZeroUsize = NonZeroUsize::new(4).expect("not zero");

/// A record as the decoder found it.
type Found = Result<RawOffer, Reject>;

/// A record that was read.
pub type Record = Result<Taken, Reject>;

pub enum Taken {
    /// What it says is stored already, unless an earlier record of the snapshot was the same offer.
    Known(KnownRecord, RawOffer),
    Read(Read, Option<Mark>),
}

/// Tells the records that must be read from those that the ledger has.
#[derive(Clone)]
pub struct Reader<'p> {
    pub judge: Judge<'p>,
    pub marker: Marker,
    pub marks: &'p Marks,
}

/// As many threads as this machine runs at once, within bounds.
pub fn usual_readers() -> NonZeroUsize {
    available_parallelism().map_or(NonZeroUsize::MIN, |n_threads| n_threads.min(READERS_MAX))
}

impl Reader<'_> {
    /// Reads every record of one page, as far as `consume` takes them. The second result is that
    /// of `consume`.
    pub fn read_page<C>(
        &self,
        n_readers: NonZeroUsize,
        feed: &Feed,
        page: &mut Page,
        consume: impl FnOnce(&mut dyn Iterator<Item = Record>) -> C,
    ) -> (Result<DecodeSummary, Failure>, C) {
        let mut reader = self.clone();
        in_order(
            n_readers,
            |items| decode_page(feed, page, items),
            move |found: Found| found.map(|raw| reader.take(raw)),
            consume,
        )
    }

    fn take(&mut self, raw: RawOffer) -> Taken {
        let mark = self.marker.mark(&raw);
        match mark.and_then(|mark| self.marks.get(mark)) {
            Some(known) => Taken::Known(known, raw),
            None => Taken::Read(self.judge.read(&raw), mark),
        }
    }
}

fn decode_page(
    feed: &Feed,
    page: &mut Page,
    items: &mut Items<Found, Record>,
) -> Result<DecodeSummary, Failure> {
    let mut body = page
        .body
        .open()
        .map_err(|error| Failure::of_content(error.to_string()))?;
    let context = Context {
        content_type: page.content_type.as_deref(),
        address: page.address.as_deref(),
        country: Some(&feed.normalise.country),
        wanted: &page.wanted,
        body_limit: feed.source.limits.body_bytes,
        ..Context::default()
    };
    let mut sink = |found| items.push(found);
    Ok(decode(&feed.format, &mut body, &context, &mut sink)?)
}
