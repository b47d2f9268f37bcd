//! The market of an instant as one statement, to hold the quick way to.

use super::*;
use crate::ledger::columns::millis;
use crate::ledger::gaps::WENT_WELL;
use crate::ledger::market::{SEEN_NOW, read_current};
use crate::ledger::matching::offer_columns;

impl Reader {
    /// The offers that were taken for parts, as they stood at an instant; what the ledger keeps no past
    /// of is as it is today. In the order of [`Reader::current_offers`].
    ///
    /// An interval is known from its start, or from when it was confirmed; the newest that was known stood,
    /// unless its offer had been given up. One that ran on past the instant was last seen by the newest
    /// poll up to it, unless that lies in a gap.
    pub(super) fn offers_then(&self, at: DateTime<Utc>) -> Vec<CurrentOffer> {
        let select = format!(
            "WITH newest AS MATERIALIZED (
                 SELECT f.id AS feed_id,
                        (SELECT p.at_ms FROM poll p
                         WHERE p.feed_id = f.id AND p.at_ms <= ?1 AND {WENT_WELL}
                         ORDER BY p.at_ms DESC LIMIT 1) AS at_ms
                 FROM feed f)
             SELECT {offer}, o.id, f.name, m.part, m.matched_by, m.confidence_percent, b.from_ms,
                    min(coalesce(b.until_ms, {SEEN_NOW}), max(b.from_ms, coalesce(
                        (SELECT iif(g.until_ms >= n.at_ms, g.seen_ms, NULL) FROM gap g
                         WHERE g.offer_id = o.id AND g.seen_ms >= b.from_ms
                             AND g.seen_ms < n.at_ms
                         ORDER BY g.seen_ms DESC LIMIT 1),
                        n.at_ms, b.from_ms)))
             FROM offer o JOIN feed f ON f.id = o.feed_id
             JOIN newest n ON n.feed_id = f.id
             JOIN matching m ON m.offer_id = o.id AND m.since_ms =
                 (SELECT max(since_ms) FROM matching WHERE offer_id = o.id AND since_ms <= ?1)
             JOIN interval b ON b.offer_id = o.id AND b.from_ms =
                 (SELECT max(from_ms) FROM interval WHERE offer_id = o.id AND from_ms <= ?1
                      AND coalesce(known_ms, from_ms) <= ?1)
             LEFT JOIN listing l ON l.offer_id = o.id AND l.until_ms =
                 (SELECT min(until_ms) FROM listing WHERE offer_id = o.id AND until_ms > ?1)
             WHERE m.part IS NOT NULL AND (b.gone_ms IS NULL OR b.gone_ms > ?1)
             ORDER BY m.part, f.name, o.sku, o.seller, o.condition",
            offer = offer_columns!(
                "coalesce(l.title, o.title)",
                "iif(l.offer_id IS NULL, o.link, l.link)"
            )
        );
        let offers = self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let offers = statement.query_map([millis(at)], read_current)?;
            offers.filter_map(Result::transpose).collect()
        });
        offers.unwrap()
    }

    /// Of now or of an instant.
    pub(super) fn offers_at(&self, past: Option<DateTime<Utc>>) -> Vec<CurrentOffer> {
        match past {
            None => self.current_offers().unwrap(),
            Some(at) => self.offers_then(at),
        }
    }
}
