//! Where an offer stands in the ledger while a poll is written: one look-up answers all.

use super::columns::{Terms, currency, is_integer, is_text, millis, terms_columns};
use super::marks::Mark;
use super::matching::{OfferRow, PartMatch};
use super::rows::{Opening, gtins_text, identity, notes_text, properties_text};
use crate::market::{Offer, Repeat};
use crate::money::Money;
use rusqlite::{Connection, OptionalExtension, Row, Statement};

/// What the ledger knows of an offer before a poll's record of it is stored.
///
/// It is true until the offer is observed or held; see [`super::PollWriter::admit`].
#[derive(Debug, Clone, Copy)]
pub struct Standing(pub(super) Known);

/// An offer that the ledger has.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub row: OfferRow,
    pub is_present: bool,
    pub is_missing: bool,
    pub is_gone: bool,
    /// When it was last seen before this poll.
    pub seen_until_ms: i64,
    pub is_held: bool,
    pub has_same_text: bool,
    pub has_same_match: bool,
    /// What its record is known by from now on.
    pub mark: Option<Mark>,
    pub open: Open,
    /// The last believed price.
    pub last_price: Option<Money>,
    /// How this snapshot's earlier record of it compares, if there was one.
    pub repeat: Option<Repeat>,
}

/// The terms that an offer stands with, as the sought ones compare with them.
#[derive(Debug, Clone, Copy)]
pub(super) enum Open {
    None,
    Same,
    Other(Opening),
}

/// Offers, one bit each, as row numbers are dense: those that the snapshot listed.
#[derive(Debug, Default)]
pub(super) struct Listed(Vec<u64>);

/// What a look-up compares with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sought<'a> {
    pub feed: i64,
    /// When the feed's present offers were last seen.
    pub feed_seen_ms: i64,
    pub offer: &'a Offer,
    pub part: Option<&'a PartMatch>,
    pub mark: Option<Mark>,
    pub listed: &'a Listed,
}

pub(super) const FIND: &str = concat!(
    "SELECT o.id, o.present, o.missing_polls > 0, o.gone_since_ms IS NOT NULL, o.last_seen_ms,
            h.price_minor, h.currency,
            o.title, o.brand, o.gtins, o.mpn, o.link, o.valid_until_ms, o.notes,
            o.properties, o.part, o.matched_by, o.confidence_percent, b.from_ms, b.known_ms, ",
    "b.price_minor, b.currency, b.availability, b.list_minor, b.list_currency, b.shipping_minor,
     b.shipping_currency, b.tax_included, b.minimum_quantity, b.lead_days, b.available_from_ms
     FROM offer o
     LEFT JOIN standing b ON b.offer_id = o.id
     LEFT JOIN held h ON h.offer_id = o.id
     WHERE o.feed_id = ?1 AND o.sku = ?2 AND o.seller = ?3 AND o.condition = ?4"
);
const FIND_HELD: usize = 5;
const FIND_TEXT: usize = 7;
const FIND_LINK: usize = FIND_TEXT + 4;
const FIND_MATCH: usize = FIND_TEXT + 8;
const FIND_OPEN: usize = FIND_MATCH + 3;
const FIND_TERMS: usize = FIND_OPEN + 2;

impl Standing {
    /// The last believed price, be it that of an offer given up.
    pub fn last_price(&self) -> Option<Money> {
        self.0.last_price
    }

    /// How the earlier record of the same snapshot that is this offer compares, if there was one.
    pub fn repeat(&self) -> Option<Repeat> {
        self.0.repeat
    }
}

/// The offer as the last poll left it, or as this one has written it.
pub(super) fn find(
    connection: &Connection,
    statement: &mut Statement<'_>,
    sought: &Sought<'_>,
) -> rusqlite::Result<Option<Known>> {
    let found = statement
        .query_row(identity(sought.feed, sought.offer), |row| {
            read_known(row, sought)
        })
        .optional()?;
    let Some(mut known) = found else {
        return Ok(None);
    };
    if matches!(known.open, Open::None) {
        known.last_price = newest_price(connection, known.row)?;
    }
    Ok(Some(known))
}

impl Known {
    /// An offer that was added just now, present and without an interval.
    pub(super) fn added(row: OfferRow, mark: Option<Mark>, at_ms: i64) -> Known {
        Known {
            row,
            is_present: true,
            is_missing: false,
            is_gone: false,
            seen_until_ms: at_ms,
            is_held: false,
            has_same_text: true,
            has_same_match: true,
            mark,
            open: Open::None,
            last_price: None,
            repeat: None,
        }
    }
}

fn read_known(row: &Row<'_>, sought: &Sought<'_>) -> rusqlite::Result<Known> {
    let Sought { offer, listed, .. } = *sought;
    let terms = Terms::of(offer);
    let number = OfferRow(row.get(0)?);
    let open = match row.get::<_, Option<i64>>(FIND_OPEN)? {
        None => Open::None,
        Some(_) if terms.stand_in(row, FIND_TERMS)? => Open::Same,
        Some(from_ms) => Open::Other(Opening {
            row: number,
            from_ms,
            known_ms: row.get(FIND_OPEN + 1)?,
            terms: Terms::read(row, FIND_TERMS)?,
        }),
    };
    let last_price = match open {
        Open::None => None,
        Open::Same => Some(offer.price),
        Open::Other(other) => Some(other.terms.price),
    };
    let held: Option<i64> = row.get(FIND_HELD)?;
    let is_present = row.get(1)?;
    let last_seen_ms: i64 = row.get(4)?;
    let repeat = if listed.contains(number) {
        // What this snapshot said is what it had held, or else what it opened or confirmed.
        let price = match held {
            Some(_) => Some(read_price(row, FIND_HELD)?),
            None => last_price,
        };
        Some(Repeat {
            same_link: is_text(row, FIND_LINK, offer.link.as_deref())?,
            same_price: price == Some(offer.price),
        })
    } else {
        None
    };
    Ok(Known {
        row: number,
        is_present,
        is_missing: row.get(2)?,
        is_gone: row.get(3)?,
        seen_until_ms: if is_present {
            last_seen_ms.max(sought.feed_seen_ms)
        } else {
            last_seen_ms
        },
        is_held: held.is_some(),
        has_same_text: has_same_text(row, offer)?,
        has_same_match: has_same_match(row, sought.part)?,
        mark: sought.mark,
        open,
        last_price,
        repeat,
    })
}

/// The price of the newest interval that ended.
fn newest_price(connection: &Connection, row: OfferRow) -> rusqlite::Result<Option<Money>> {
    let mut statement = connection.prepare_cached(concat!(
        "SELECT ",
        terms_columns!(),
        " FROM observation WHERE offer_id = ?1 ORDER BY from_ms DESC LIMIT 1"
    ))?;
    statement
        .query_row([row.0], |row| read_price(row, 0))
        .optional()
}

/// An amount and, in the column behind it, its currency.
fn read_price(row: &Row<'_>, column: usize) -> rusqlite::Result<Money> {
    Ok(Money::from_minor(
        row.get(column)?,
        currency(row, column + 1)?,
    ))
}

fn has_same_text(row: &Row<'_>, offer: &Offer) -> rusqlite::Result<bool> {
    Ok(is_text(row, FIND_TEXT, Some(&offer.title))?
        && is_text(row, FIND_TEXT + 1, offer.brand.as_deref())?
        && is_text(row, FIND_TEXT + 2, Some(&gtins_text(&offer.gtins)))?
        && is_text(row, FIND_TEXT + 3, offer.mpn.as_deref())?
        && is_text(row, FIND_LINK, offer.link.as_deref())?
        && is_integer(row, FIND_TEXT + 5, offer.valid_until.map(millis))?
        && is_text(row, FIND_TEXT + 6, Some(&notes_text(&offer.notes)))?
        && is_text(
            row,
            FIND_TEXT + 7,
            properties_text(&offer.properties).as_deref(),
        )?)
}

fn has_same_match(row: &Row<'_>, part: Option<&PartMatch>) -> rusqlite::Result<bool> {
    let confidence = part.map(|part| i64::from(part.confidence_percent));
    Ok(
        is_text(row, FIND_MATCH, part.map(|part| part.part.as_str()))?
            && is_text(row, FIND_MATCH + 1, part.map(|part| part.by.as_str()))?
            && is_integer(row, FIND_MATCH + 2, confidence)?,
    )
}

impl Listed {
    /// True when it was not there.
    pub(super) fn insert(&mut self, row: OfferRow) -> bool {
        let (word, bit) = Listed::place(row);
        if self.0.len() <= word {
            self.0.resize(word + 1, 0);
        }
        let is_new = self.0[word] & bit == 0;
        self.0[word] |= bit;
        is_new
    }

    /// True when it was there.
    pub(super) fn remove(&mut self, row: OfferRow) -> bool {
        let (word, bit) = Listed::place(row);
        let Some(bits) = self.0.get_mut(word) else {
            return false;
        };
        let was_there = *bits & bit != 0;
        *bits &= !bit;
        was_there
    }

    pub(super) fn contains(&self, row: OfferRow) -> bool {
        let (word, bit) = Listed::place(row);
        self.0.get(word).is_some_and(|bits| bits & bit != 0)
    }

    pub(super) fn len(&self) -> u64 {
        self.0.iter().map(|bits| u64::from(bits.count_ones())).sum()
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = OfferRow> {
        (0_i64..)
            .zip(&self.0)
            .flat_map(|(word, bits)| (0..64).map(move |bit| (word * 64 + bit, bits >> bit & 1)))
            .filter(|(_, bit)| *bit == 1)
            .map(|(row, _)| OfferRow(row))
    }

    /// SQLite numbers rows from 1, one by one.
    fn place(row: OfferRow) -> (usize, u64) {
        let row = row.0.unsigned_abs();
        ((row / 64) as usize, 1 << (row % 64))
    }
}
