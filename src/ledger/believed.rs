//! The terms that were believed at an instant of the past.
//!
//! The past of one offer lies side by side, so that those of one instant lie on as many pages as there
//! are offers. But what was believed then is believed still, or ended since. So what stands now is read
//! first, then what polls have ended since, in the order of time ([`super::ended`]). Most offers are among
//! the first that ended; those that stay for long, and whatever else is not to be found there, are looked
//! for one by one.
//!
//! May not say what an offer is called or taken for.

use super::columns::{TERMS_WIDTH, Terms, terms_columns};
use super::ended::{self, GoesOn};
use super::matching::OfferRow;
use rusqlite::{CachedStatement, Connection, OptionalExtension, Row};
use std::collections::HashMap;

/// Of so many that ended at least one must have been what was looked for, or the rest is looked for one
/// by one: that takes this much longer each.
const ENDED_AN_OFFER: usize = 64;
/// How many that ended are read before it is asked whether that is worth its while.
pub(super) const ENDED_A_STEP: usize = 4096;

/// Terms of an offer, and between which instants they were seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Believed {
    pub from_ms: i64,
    /// None while nothing else has been seen since.
    pub until_ms: Option<i64>,
    pub terms: Terms,
}

/// What was believed at an instant.
pub(super) struct BelievedThen<'a> {
    at_ms: i64,
    found: HashMap<OfferRow, Believed>,
    one: CachedStatement<'a>,
}

impl<'a> BelievedThen<'a> {
    /// Reads most of it; `step` is [`ENDED_A_STEP`].
    pub fn read(
        connection: &'a Connection,
        at_ms: i64,
        step: usize,
    ) -> rusqlite::Result<BelievedThen<'a>> {
        let mut then = BelievedThen {
            at_ms,
            found: HashMap::new(),
            one: connection.prepare_cached(ONE)?,
        };
        then.read_standing(connection)?;
        then.read_ended(connection, step)?;
        Ok(then)
    }

    /// The terms of an offer, unless it had none then.
    pub fn of(&mut self, offer: OfferRow) -> rusqlite::Result<Option<Believed>> {
        if let Some(found) = self.found.get(&offer) {
            return Ok(Some(*found));
        }
        let at_ms = self.at_ms;
        let newest = self.one.query_row((offer.0, at_ms), |row| {
            let gone_ms: Option<i64> = row.get(BEFORE_TERMS + TERMS_WIDTH)?;
            let stands = gone_ms.is_none_or(|gone_ms| gone_ms > at_ms);
            Ok(if stands { Some(believed(row)?) } else { None })
        });
        Ok(newest.optional()?.flatten())
    }

    fn read_standing(&mut self, connection: &Connection) -> rusqlite::Result<()> {
        let mut statement = connection.prepare_cached(STANDING)?;
        let mut rows = statement.query([self.at_ms])?;
        while let Some(row) = rows.next()? {
            self.found.insert(OfferRow(row.get(0)?), believed(row)?);
        }
        Ok(())
    }

    fn read_ended(&mut self, connection: &Connection, step: usize) -> rusqlite::Result<()> {
        let at_ms = self.at_ms;
        let (mut n_ended, mut n_found) = (0, 0);
        ended::read_after(connection, at_ms, &mut |_, block| {
            n_ended += block.len();
            for ended in block {
                if ended.from_ms <= at_ms && ended.known_ms.is_none_or(|known| known <= at_ms) {
                    let believed = Believed {
                        from_ms: ended.from_ms,
                        until_ms: Some(ended.until_ms),
                        terms: ended.terms,
                    };
                    self.found.insert(ended.offer, believed);
                    n_found += 1;
                }
            }
            if n_ended < step {
                return GoesOn::Yes;
            }
            let is_worthwhile = n_found * ENDED_AN_OFFER >= n_ended;
            (n_ended, n_found) = (0, 0);
            if is_worthwhile {
                GoesOn::Yes
            } else {
                GoesOn::No
            }
        })
    }
}

/// How many columns come before those of the terms: offer, from and until.
const BEFORE_TERMS: usize = 3;

fn believed(row: &Row<'_>) -> rusqlite::Result<Believed> {
    Ok(Believed {
        from_ms: row.get(1)?,
        until_ms: row.get(2)?,
        terms: Terms::read(row, BEFORE_TERMS)?,
    })
}

const STANDING: &str = concat!(
    "SELECT offer_id, from_ms, NULL, ",
    terms_columns!(),
    " FROM standing WHERE coalesce(known_ms, from_ms) <= ?1"
);

/// What stands still is found already. Looked for from the instant backwards: most often it is the first.
const ONE: &str = concat!(
    "SELECT offer_id, from_ms, until_ms, ",
    terms_columns!(),
    ", gone_ms
     FROM observation WHERE offer_id = ?1 AND from_ms <= ?2 AND coalesce(known_ms, from_ms) <= ?2
     ORDER BY from_ms DESC LIMIT 1"
);
