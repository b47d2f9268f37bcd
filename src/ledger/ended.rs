//! Terms that a poll ended, side by side: what was believed at an instant is among the first that ended
//! after it.
//!
//! `observation` has all of it and alone decides. A block here repeats what a poll found changed, some
//! 18 bytes each, so that a question of the past reads a few hundred blocks where it would read a page for
//! each offer. What was given up or gave way to a price that a person confirmed is not repeated, and imported
//! prices only once a ledger is packed anew ([`pack_all`]). What is in a block must be so: whoever changes
//! intervals of the past takes the blocks away ([`forget_before`]).
//!
//! May not say what was believed where there is no block of it.

use super::columns::{Terms, millis, terms_columns};
use super::matching::OfferRow;
use super::packed::{Packed, put, put_signed};
use super::rows::Opening;
use chrono::{DateTime, Utc};
use rusqlite::types::Type;
use rusqlite::{CachedStatement, Connection};

/// An interval that ended because others were seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ended {
    pub offer: OfferRow,
    pub from_ms: i64,
    pub until_ms: i64,
    /// When it was believed, where later than seen.
    pub known_ms: Option<i64>,
    pub terms: Terms,
}

/// Packs what a poll ends, in blocks.
#[derive(Debug)]
pub(super) struct Packing {
    at_ms: i64,
    bytes: Vec<u8>,
    n_packed: usize,
    offer: i64,
    /// What terms beside their amount were met in this block.
    met: Vec<Terms>,
}

/// Reads a block.
struct Unpacking<'b> {
    at_ms: i64,
    packed: Packed<'b>,
    offer: i64,
    met: Vec<Terms>,
}

/// Whether more blocks are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum GoesOn {
    Yes,
    No,
}

/// A block that this program did not write.
#[derive(Debug, thiserror::Error)]
#[error("ended terms that cannot be read")]
struct Unreadable;

/// A block holds no more than this, so that a poll that changes everything takes little memory.
const PACKED_MAX: usize = 4096;
/// How far back terms are looked for that have all alike but the amount.
const LOOKED_BACK: usize = 64;

pub(super) const INSERT: &str = "INSERT INTO ended (at_ms, terms) VALUES (?1, ?2)";

impl Ended {
    /// An interval that was open until others were seen; its terms were last seen at `until_ms`.
    pub fn of(open: &Opening, until_ms: i64) -> Ended {
        let Opening {
            row,
            from_ms,
            known_ms,
            terms,
        } = *open;
        Ended {
            offer: row,
            from_ms,
            until_ms,
            known_ms,
            terms,
        }
    }
}

impl Packing {
    pub fn new(at: DateTime<Utc>) -> Packing {
        Packing {
            at_ms: millis(at),
            bytes: Vec::new(),
            n_packed: 0,
            offer: 0,
            met: Vec::new(),
        }
    }

    /// Adds an interval and stores the block once it is full.
    pub fn add(&mut self, insert: &mut CachedStatement<'_>, ended: &Ended) -> rusqlite::Result<()> {
        self.pack(ended);
        if self.n_packed == PACKED_MAX {
            self.store(insert)?;
        }
        Ok(())
    }

    /// Stores what is left.
    pub fn store(&mut self, insert: &mut CachedStatement<'_>) -> rusqlite::Result<()> {
        if self.n_packed > 0 {
            insert.execute((self.at_ms, &self.bytes))?;
        }
        self.bytes.clear();
        self.met.clear();
        (self.n_packed, self.offer) = (0, 0);
        Ok(())
    }

    /// Differences wrap, so that whatever is packed is read again.
    fn pack(&mut self, ended: &Ended) {
        let bytes = &mut self.bytes;
        put_signed(bytes, ended.offer.0.wrapping_sub(self.offer));
        put(
            bytes,
            self.at_ms.wrapping_sub(ended.from_ms).cast_unsigned(),
        );
        put(
            bytes,
            self.at_ms.wrapping_sub(ended.until_ms).cast_unsigned(),
        );
        match ended.known_ms {
            None => put(bytes, 0),
            Some(known_ms) => {
                put(bytes, 1);
                put(bytes, self.at_ms.wrapping_sub(known_ms).cast_unsigned());
            }
        }
        put_signed(bytes, ended.terms.price.minor());
        let beside = ended.terms.at_no_price();
        let first = self.met.len().saturating_sub(LOOKED_BACK);
        match self.met[first..].iter().rposition(|met| *met == beside) {
            Some(place) => put(bytes, (first + place) as u64),
            None => {
                put(bytes, self.met.len() as u64);
                let text = beside.beside_amount();
                put(bytes, text.len() as u64);
                bytes.extend_from_slice(text.as_bytes());
                self.met.push(beside);
            }
        }
        self.offer = ended.offer.0;
        self.n_packed += 1;
    }
}

impl Unpacking<'_> {
    fn next(&mut self) -> Option<Ended> {
        let offer = self.offer.wrapping_add(self.packed.signed()?);
        let from_ms = self.before()?;
        let until_ms = self.before()?;
        let known_ms = match self.packed.number()? {
            0 => None,
            _ => Some(self.before()?),
        };
        let minor = self.packed.signed()?;
        let place = usize::try_from(self.packed.number()?).ok()?;
        if place == self.met.len() {
            let length = usize::try_from(self.packed.number()?).ok()?;
            let text = self.packed.bytes(length)?;
            self.met.push(Terms::of_beside_amount(text)?);
        }
        self.offer = offer;
        Some(Ended {
            offer: OfferRow(offer),
            from_ms,
            until_ms,
            known_ms,
            terms: self.met.get(place)?.at_price(minor),
        })
    }

    fn before(&mut self) -> Option<i64> {
        Some(self.at_ms.wrapping_sub(self.packed.number()?.cast_signed()))
    }
}

/// Reads, block by block in the order of time, what ended after an instant, until `found` has enough. It
/// hears when each block ended.
pub(super) fn read_after(
    connection: &Connection,
    at_ms: i64,
    found: &mut dyn FnMut(i64, Vec<Ended>) -> GoesOn,
) -> rusqlite::Result<()> {
    let mut blocks = connection
        .prepare_cached("SELECT at_ms, terms FROM ended WHERE at_ms > ?1 ORDER BY at_ms, id")?;
    let mut blocks = blocks.query([at_ms])?;
    while let Some(block) = blocks.next()? {
        let at_ms = block.get(0)?;
        let ended = unpack(at_ms, block.get_ref(1)?.as_blob()?);
        let unreadable =
            || rusqlite::Error::FromSqlConversionFailure(1, Type::Blob, Box::new(Unreadable));
        if found(at_ms, ended.ok_or_else(unreadable)?) == GoesOn::No {
            break;
        }
    }
    Ok(())
}

/// All that a block says; none where it cannot be read.
fn unpack(at_ms: i64, bytes: &[u8]) -> Option<Vec<Ended>> {
    let mut unpacking = Unpacking {
        at_ms,
        packed: Packed(bytes),
        offer: 0,
        met: Vec::new(),
    };
    let mut all = Vec::new();
    while !unpacking.packed.is_empty() {
        all.push(unpacking.next()?);
    }
    Some(all)
}

/// Packs anew all that polls ended: what was ended before there were blocks, and what thinning left.
pub(super) fn pack_all(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute("DELETE FROM ended", [])?;
    let mut ended = connection.prepare(concat!(
        "SELECT next_ms, offer_id, from_ms, until_ms, known_ms, ",
        terms_columns!(),
        " FROM (SELECT *, lead(from_ms) OVER next AS next_ms, lead(known_ms) OVER next AS late_ms
                FROM interval
                WINDOW next AS (PARTITION BY offer_id ORDER BY from_ms))
         WHERE gone_ms IS NULL AND next_ms IS NOT NULL AND late_ms IS NULL
         ORDER BY next_ms, offer_id"
    ))?;
    let mut insert = connection.prepare_cached(INSERT)?;
    let mut ended = ended.query([])?;
    let mut packing = Packing::new(DateTime::UNIX_EPOCH);
    while let Some(row) = ended.next()? {
        let at_ms = row.get(0)?;
        if at_ms != packing.at_ms {
            packing.store(&mut insert)?;
            packing.at_ms = at_ms;
        }
        let ended = Ended {
            offer: OfferRow(row.get(1)?),
            from_ms: row.get(2)?,
            until_ms: row.get(3)?,
            known_ms: row.get(4)?,
            terms: Terms::read(row, 5)?,
        };
        packing.add(&mut insert, &ended)?;
    }
    packing.store(&mut insert)
}

/// Takes away what ended before an instant, since intervals before it are to change.
pub(super) fn forget_before(connection: &Connection, before_ms: i64) -> rusqlite::Result<()> {
    connection
        .prepare_cached("DELETE FROM ended WHERE at_ms < ?1")?
        .execute([before_ms])
        .map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::market::Availability;
    use crate::money::{Currency, Money};
    use chrono::TimeDelta;
    use proptest::prelude::*;

    fn terms() -> impl Strategy<Value = Terms> {
        let amount = (
            any::<i64>(),
            prop_oneof![Just(Currency::EUR), Just(Currency::parse("USD").unwrap())],
        )
            .prop_map(|(minor, currency)| Money::from_minor(minor, currency));
        let available_from = proptest::option::of(-1_000_i64..1_000)
            .prop_map(|days| days.map(|days| DateTime::UNIX_EPOCH + TimeDelta::days(days)));
        (
            amount.clone(),
            proptest::sample::select(Availability::NAMES),
            proptest::option::of(amount.clone()),
            proptest::option::of(amount),
            any::<bool>(),
            any::<u32>(),
            proptest::option::of(any::<u32>()),
            available_from,
        )
            .prop_map(
                |(price, (_, availability), list, shipping, tax, least, lead, from)| Terms {
                    price,
                    availability,
                    list_price: list,
                    shipping,
                    tax_included: tax,
                    minimum_quantity: least,
                    lead_days: lead,
                    available_from: from,
                },
            )
    }

    fn ended() -> impl Strategy<Value = Ended> {
        let instants = (
            any::<i64>(),
            any::<i64>(),
            proptest::option::of(any::<i64>()),
        );
        (any::<i64>(), instants, terms()).prop_map(
            |(offer, (from_ms, until_ms, known_ms), terms)| Ended {
                offer: OfferRow(offer),
                from_ms,
                until_ms,
                known_ms,
                terms,
            },
        )
    }

    proptest! {
        #[test]
        fn what_was_packed_is_what_is_unpacked(
            all in proptest::collection::vec(ended(), 0..90),
            at_minutes in -1_000_000_i64..1_000_000,
        ) {
            let at = DateTime::UNIX_EPOCH + TimeDelta::minutes(at_minutes);
            let mut packing = Packing::new(at);
            all.iter().for_each(|one| packing.pack(one));
            prop_assert_eq!(unpack(millis(at), &packing.bytes), Some(all));
        }

        #[test]
        fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            if let Some(all) = unpack(0, &bytes) {
                prop_assert!(all.len() <= bytes.len());
            }
        }
    }

    #[test]
    fn an_hourly_change_takes_some_eighteen_bytes() {
        let at = DateTime::UNIX_EPOCH + TimeDelta::days(20_000);
        let mut packing = Packing::new(at);
        for number in 0..100 {
            packing.pack(&Ended {
                offer: OfferRow(5_000 + 50 * number),
                from_ms: millis(at) - 200 * 3_600_000,
                until_ms: millis(at) - 3_600_000,
                known_ms: None,
                terms: Terms {
                    price: Money::from_minor(12_345 + number, Currency::EUR),
                    availability: Availability::InStock,
                    list_price: None,
                    shipping: None,
                    tax_included: true,
                    minimum_quantity: 1,
                    lead_days: None,
                    available_from: None,
                },
            });
        }
        let each = packing.bytes.len() / 100;
        assert!((15..=19).contains(&each), "{each}");
    }
}
