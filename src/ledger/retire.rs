//! Feeds that are configured no more: their offers leave the market, their past stays.

use super::columns::millis;
use super::error::LedgerError;
use super::journal::{self, JournalEntry};
use super::marks;
use super::matching::OfferRow;
use super::open::Ledger;
use super::polls::{next_instant, seen_until_ms};
use super::rows;
use crate::market::FeedId;
use chrono::{DateTime, Utc};
use rusqlite::Connection;
use serde_json::json;
use std::collections::BTreeSet;

impl Ledger {
    /// Gives up the offers of every feed that is not `configured`, and notes it. One that comes back is asked
    /// for everything, and its offers stand again with its next poll.
    ///
    /// # Errors
    /// [`LedgerError`]; then nothing has changed.
    pub fn retire_feeds(
        &mut self,
        configured: &BTreeSet<&FeedId>,
        at: DateTime<Utc>,
    ) -> Result<(), LedgerError> {
        let mut standing = self.read().run(feeds_with_offers)?;
        standing.retain(|(_, feed)| !configured.contains(feed));
        if standing.is_empty() {
            return Ok(());
        }
        self.write(|connection| {
            for (row, feed) in &standing {
                let n_offers = give_up(connection, *row, at)?;
                journal::insert(connection, &removed(feed, n_offers, at))?;
            }
            Ok(())
        })
    }
}

fn feeds_with_offers(connection: &Connection) -> rusqlite::Result<Vec<(i64, FeedId)>> {
    let mut statement = connection.prepare_cached(
        "SELECT f.id, f.name FROM feed f WHERE EXISTS
             (SELECT 1 FROM offer o WHERE o.feed_id = f.id AND o.gone_since_ms IS NULL)",
    )?;
    let feeds = statement.query_map([], |row| {
        Ok((row.get(0)?, FeedId::new(row.get::<_, String>(1)?)))
    })?;
    feeds.collect()
}

/// Returns how many offers there were.
fn give_up(connection: &Connection, feed: i64, at: DateTime<Utc>) -> rusqlite::Result<usize> {
    let at_ms = millis(next_instant(connection, feed, at)?);
    let seen_ms = seen_until_ms(connection, feed)?;
    let mut offers = connection.prepare_cached(
        "UPDATE offer SET last_seen_ms = max(last_seen_ms, iif(present, ?2, 0)), present = 0
         WHERE feed_id = ?1 AND gone_since_ms IS NULL RETURNING id",
    )?;
    let offers = offers.query_map((feed, seen_ms), |row| row.get(0).map(OfferRow))?;
    let offers: Vec<OfferRow> = offers.collect::<rusqlite::Result<_>>()?;
    for offer in &offers {
        rows::mark_gone(connection, *offer, at_ms)?;
    }
    marks::forget(connection, feed)?;
    // Asked for news alone, it would not list them again.
    connection.execute("UPDATE feed SET memory = NULL WHERE id = ?1", [feed])?;
    Ok(offers.len())
}

fn removed(feed: &FeedId, n_offers: usize, at: DateTime<Utc>) -> JournalEntry {
    let offers = match n_offers {
        1 => "its offer has left the market".to_owned(),
        n => format!("its {n} offers have left the market"),
    };
    JournalEntry {
        at,
        kind: "feed_removed".to_owned(),
        feed: Some(feed.clone()),
        brief: None,
        part: None,
        text: format!("{feed} is no longer configured: {offers}, what was seen stays"),
        data: json!({ "offers": n_offers }),
    }
}
