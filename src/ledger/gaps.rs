//! Gaps: polls that went well and did not see an offer with its believed terms.
//!
//! A poll that lists an offer leaves no trace at it, so what is kept is the exception. With it the
//! ledger tells of any past instant when each price had last been seen then.

use super::columns::millis;
use super::matching::OfferRow;
use super::standing::Listed;
use chrono::{DateTime, Utc};
use rusqlite::Connection;

/// Polls that say something of every offer of their feed, in SQL over `p`.
pub(super) const WENT_WELL: &str = "p.status IN ('fresh', 'unchanged') AND NOT p.is_older_copy";

const EXTEND: &str = "ON CONFLICT (offer_id, seen_ms) DO UPDATE SET until_ms = excluded.until_ms";

/// The poll at `at` went well and did not see the offers that are absent or held now.
pub(super) fn extend_absent(
    connection: &Connection,
    feed: i64,
    at: DateTime<Utc>,
) -> rusqlite::Result<()> {
    let insert = format!(
        "INSERT INTO gap (offer_id, seen_ms, until_ms)
         SELECT o.id, o.last_seen_ms, ?2 FROM offer o
         JOIN standing b ON b.offer_id = o.id
         WHERE o.feed_id = ?1 AND o.present = 0 AND o.gone_since_ms IS NULL {EXTEND}"
    );
    connection
        .prepare_cached(&insert)?
        .execute((feed, millis(at)))
        .map(drop)
}

/// The partial snapshot at `at` left out present offers; `feed_seen_ms` is when those were last
/// seen by a snapshot of all.
pub(super) fn extend_unlisted(
    connection: &Connection,
    feed: i64,
    listed: &Listed,
    feed_seen_ms: i64,
    at: DateTime<Utc>,
) -> rusqlite::Result<()> {
    let mut standing = connection
        .prepare_cached("SELECT id FROM offer WHERE feed_id = ?1 AND gone_since_ms IS NULL")?;
    let standing = standing.query_map([feed], |row| Ok(OfferRow(row.get(0)?)))?;
    let standing: Vec<OfferRow> = standing.collect::<rusqlite::Result<_>>()?;
    let insert = format!(
        "INSERT INTO gap (offer_id, seen_ms, until_ms)
         SELECT id, max(last_seen_ms, ?2), ?3 FROM offer WHERE id = ?1 AND present = 1 {EXTEND}"
    );
    let mut insert = connection.prepare_cached(&insert)?;
    for row in standing {
        if !listed.contains(row) {
            insert.execute((row.0, feed_seen_ms, millis(at)))?;
        }
    }
    Ok(())
}

/// Terms that were last seen at `seen_ms` are believed only now; polls since then did not see
/// them.
pub(super) fn open_after(
    connection: &Connection,
    row: OfferRow,
    seen_ms: i64,
) -> rusqlite::Result<()> {
    let insert = format!(
        "INSERT INTO gap (offer_id, seen_ms, until_ms)
         SELECT o.id, ?2, max(p.at_ms) FROM offer o JOIN poll p ON p.feed_id = o.feed_id
         WHERE o.id = ?1 AND p.at_ms > ?2 AND {WENT_WELL} GROUP BY o.id {EXTEND}"
    );
    connection
        .prepare_cached(&insert)?
        .execute((row.0, seen_ms))
        .map(drop)
}
