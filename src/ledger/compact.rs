//! Giving room back: unused pages and, where the author says so, the fine detail of days long past.

use super::columns::{Terms, millis, terms_columns};
use super::ended;
use super::error::LedgerError;
use super::journal::JournalEntry;
use super::matching::OfferRow;
use super::open::Ledger;
use super::rows::{self, Opening};
use super::thinning::{DAY_MS, Piece, Thinned, thin};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use rusqlite::Connection;

/// Offers that are thinned in one transaction, so that the log stays small.
const OFFERS_A_STEP: usize = 500;

/// What thinning left.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Thinning {
    pub intervals_before: u64,
    pub intervals_after: u64,
}

impl Ledger {
    /// Thins every whole day in UTC before `date`: of each offer its low, its high and its median
    /// over time stay what they were that day, and so does everything but prices. What was asked
    /// of an instant within such a day is no longer answered as it was then.
    ///
    /// # Errors
    /// [`LedgerError`]; what was thinned before stands, and may be gone on with.
    pub fn thin_before(
        &mut self,
        date: NaiveDate,
        now: DateTime<Utc>,
        told: &mut dyn FnMut(usize, usize),
    ) -> Result<Thinning, LedgerError> {
        let before_ms = millis(date.and_time(NaiveTime::MIN).and_utc());
        let count = |ledger: &Ledger| {
            ledger.read().run(|connection| {
                connection.query_row("SELECT count(*) FROM interval", [], |row| row.get(0))
            })
        };
        let intervals_before = count(self)?;
        let offers = self
            .read()
            .run(|connection| thick_offers(connection, before_ms))?;
        if !offers.is_empty() {
            self.write(|connection| ended::forget_before(connection, before_ms))?;
        }
        for (step, some) in offers.chunks(OFFERS_A_STEP).enumerate() {
            self.write(|connection| {
                some.iter()
                    .try_for_each(|row| thin_offer(connection, *row, before_ms))
            })?;
            told(step * OFFERS_A_STEP + some.len(), offers.len());
        }
        let thinning = Thinning {
            intervals_before,
            intervals_after: count(self)?,
        };
        if thinning.intervals_after < thinning.intervals_before {
            self.note(&[entry(date, &thinning, now)])?;
        }
        Ok(thinning)
    }

    /// Packs anew what ended and rewrites the file without unused pages. Takes as much room again while it
    /// works.
    ///
    /// # Errors
    /// [`LedgerError`]; then what the ledger says is as it was.
    pub fn vacuum(&mut self) -> Result<(), LedgerError> {
        self.write(ended::pack_all)?;
        self.read()
            .run(|connection| connection.execute_batch("VACUUM"))?;
        self.checkpoint()
    }
}

fn entry(date: NaiveDate, thinning: &Thinning, at: DateTime<Utc>) -> JournalEntry {
    let n_less = thinning.intervals_before - thinning.intervals_after;
    JournalEntry {
        at,
        kind: "prices_thinned".to_owned(),
        feed: None,
        brief: None,
        part: None,
        text: format!("{n_less} intervals before {date} were thinned out"),
        data: serde_json::json!({ "before": date.to_string(), "intervals": n_less }),
    }
}

/// Offers with a day of many intervals, those that stand still left out.
fn thick_offers(connection: &Connection, before_ms: i64) -> rusqlite::Result<Vec<OfferRow>> {
    let mut statement = connection.prepare_cached(
        "SELECT DISTINCT offer_id FROM (
             SELECT offer_id FROM observation WHERE from_ms < ?1
             GROUP BY offer_id, from_ms / ?2 HAVING count(*) >= 4)
         ORDER BY offer_id",
    )?;
    let offers = statement.query_map((before_ms, DAY_MS), |row| Ok(OfferRow(row.get(0)?)))?;
    offers.collect()
}

fn thin_offer(connection: &Connection, row: OfferRow, before_ms: i64) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(concat!(
        "SELECT from_ms, coalesce(until_ms, from_ms),
                known_ms IS NULL AND gone_ms IS NULL AND until_ms IS NOT NULL
                AND NOT EXISTS (SELECT 1 FROM gap g WHERE g.offer_id = interval.offer_id
                    AND g.seen_ms BETWEEN interval.from_ms AND interval.until_ms),
                known_ms IS NOT NULL, ",
        terms_columns!(),
        " FROM interval WHERE offer_id = ?1 ORDER BY from_ms"
    ))?;
    let pieces = statement.query_map([row.0], |found| {
        Ok(Piece {
            from_ms: found.get(0)?,
            until_ms: found.get(1)?,
            is_plain: found.get(2)?,
            is_late: found.get(3)?,
            terms: Terms::read(found, 4)?,
        })
    })?;
    let pieces: Vec<Piece> = pieces.collect::<rusqlite::Result<_>>()?;
    for thinned in thin(&pieces, before_ms) {
        replace(connection, row, &thinned)?;
    }
    Ok(())
}

fn replace(connection: &Connection, row: OfferRow, thinned: &Thinned) -> rusqlite::Result<()> {
    connection
        .prepare_cached(
            "DELETE FROM observation WHERE offer_id = ?1 AND from_ms >= ?2 AND from_ms < ?3",
        )?
        .execute((row.0, thinned.from_ms, thinned.before_ms))?;
    let mut insert = connection.prepare_cached(rows::END)?;
    for piece in &thinned.pieces {
        let opening = Opening {
            row,
            from_ms: piece.from_ms,
            known_ms: None,
            terms: piece.terms,
        };
        rows::end(&mut insert, &opening, piece.until_ms)?;
    }
    Ok(())
}
