//! What was last believed of one offer, for readers that do not write a poll.

use super::columns::{currency, instant};
use super::error::LedgerError;
use super::gaps::WENT_WELL;
use super::open::Reader;
use crate::history::Reading;
use crate::market::{FeedId, Offer};
use crate::money::Money;
use rusqlite::OptionalExtension;

impl Reader {
    /// Every instant at which a feed was read with success, in the order of time. A copy that was
    /// older than what was known told nothing and is left out.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn readings(&self, feed: &FeedId) -> Result<Vec<Reading>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(&format!(
                "SELECT p.at_ms, p.status = 'unchanged' OR p.is_complete
                 FROM poll p WHERE p.feed_id = (SELECT id FROM feed WHERE name = ?1)
                     AND {WENT_WELL}
                 ORDER BY p.at_ms"
            ))?;
            let readings = statement.query_map([feed.as_str()], |row| {
                Ok(Reading {
                    at: instant(row, 0)?,
                    is_complete: row.get(1)?,
                })
            })?;
            readings.collect()
        })
    }

    /// The last believed price of the offer with this SKU, seller and condition in a feed.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn last_price(&self, feed: &FeedId, offer: &Offer) -> Result<Option<Money>, LedgerError> {
        self.run(|connection| {
            let mut statement = connection.prepare_cached(
                "SELECT b.price_minor, b.currency
                 FROM offer o JOIN feed f ON f.id = o.feed_id
                 JOIN observation b ON b.offer_id = o.id
                 WHERE f.name = ?1 AND o.sku = ?2 AND o.seller = ?3 AND o.condition = ?4
                 ORDER BY b.from_ms DESC LIMIT 1",
            )?;
            let seller = offer.seller.as_deref().unwrap_or("");
            let identity = (
                feed.as_str(),
                offer.sku.as_str(),
                seller,
                offer.condition.name(),
            );
            statement
                .query_row(identity, |row| {
                    Ok(Money::from_minor(row.get(0)?, currency(row, 1)?))
                })
                .optional()
        })
    }
}
