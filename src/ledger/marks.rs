//! Marks: by what the records of present offers are known again, so that they need no reading.
//!
//! An offer has a mark only while it stands as its record said: whatever else is done to it
//! (held, missing, given up, taken for another part) takes the mark away.

use super::matching::OfferRow;
use rusqlite::types::{FromSql, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{Connection, ToSql};

/// A digest of a record and of all that its reading depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mark(pub [u8; 16]);

/// An offer that stands as its record says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KnownRecord {
    pub row: OfferRow,
    /// It is taken for a part.
    pub is_part: bool,
}

/// The marks of a feed's present offers.
#[derive(Debug, Default)]
pub struct Marks(Vec<(Mark, KnownRecord)>);

/// The marks that are held in memory, 32 bytes each; the records of further offers are read.
const MARKS_MAX: u32 = 400_000;

impl Marks {
    /// The offer whose record has this mark.
    pub fn get(&self, mark: Mark) -> Option<KnownRecord> {
        let at = self.0.binary_search_by_key(&mark, |(mark, _)| *mark).ok()?;
        Some(self.0[at].1)
    }
}

pub(super) fn of_feed(connection: &Connection, feed: i64) -> rusqlite::Result<Marks> {
    // The condition on `gone_since_ms` follows from `present`; it names the index to be used.
    let mut statement = connection.prepare_cached(
        "SELECT id, part IS NOT NULL, mark FROM offer
         WHERE feed_id = ?1 AND gone_since_ms IS NULL AND present = 1 AND mark IS NOT NULL
         LIMIT ?2",
    )?;
    let known = statement.query_map((feed, MARKS_MAX), |row| {
        let known = KnownRecord {
            row: OfferRow(row.get(0)?),
            is_part: row.get(1)?,
        };
        Ok((row.get(2)?, known))
    })?;
    let mut marks: Vec<(Mark, KnownRecord)> = known.collect::<Result<_, _>>()?;
    marks.sort_unstable_by_key(|(mark, _)| *mark);
    Ok(Marks(marks))
}

impl ToSql for Mark {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(&self.0[..]))
    }
}

impl FromSql for Mark {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Mark> {
        FromSql::column_result(value).map(Mark)
    }
}
