//! Marks: by what the records of present offers are known again, so that they need no reading.
//!
//! An offer has a mark only while it stands as its record said: whatever else is done to it
//! (held, missing, given up, taken for another part) takes the mark away.

use super::matching::OfferRow;
use rusqlite::types::{FromSql, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{Connection, Statement, ToSql};

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

/// The marks of a feed's present offers, as numbers, which compare faster than bytes.
#[derive(Debug, Default)]
pub struct Marks(Vec<(u128, KnownRecord)>);

/// The marks that are held in memory, 32 bytes each; the records of further offers are read.
const MARKS_MAX: u32 = 400_000;

impl Marks {
    /// The offer whose record has this mark.
    pub fn get(&self, mark: Mark) -> Option<KnownRecord> {
        let mark = u128::from_be_bytes(mark.0);
        let at = self.0.binary_search_by_key(&mark, |(mark, _)| *mark).ok()?;
        Some(self.0[at].1)
    }
}

pub(super) fn of_feed(connection: &Connection, feed: i64) -> rusqlite::Result<Marks> {
    let mut statement = connection
        .prepare_cached("SELECT offer_id, is_part, mark FROM mark WHERE feed_id = ?1 LIMIT ?2")?;
    let mut known = statement.query((feed, MARKS_MAX))?;
    let mut marks = Vec::new();
    while let Some(row) = known.next()? {
        let mark: Mark = row.get(2)?;
        let known = KnownRecord {
            row: OfferRow(row.get(0)?),
            is_part: row.get(1)?,
        };
        marks.push((u128::from_be_bytes(mark.0), known));
    }
    marks.sort_unstable_by_key(|(mark, _)| *mark);
    Ok(Marks(marks))
}

pub(super) const SET: &str = "INSERT INTO mark (feed_id, offer_id, is_part, mark) VALUES (?1, ?2, ?3, ?4)
     ON CONFLICT (feed_id, offer_id) DO UPDATE SET is_part = excluded.is_part, mark = excluded.mark";

/// Says by what the record of a present offer is known again, if by anything.
pub(super) fn set(
    connection: &Connection,
    statement: &mut Statement<'_>,
    feed: i64,
    record: KnownRecord,
    mark: Option<Mark>,
) -> rusqlite::Result<()> {
    match mark {
        Some(mark) => statement
            .execute((feed, record.row.0, record.is_part, mark))
            .map(drop),
        None => take_away(connection, record.row),
    }
}

/// The record of the offer is to be read again.
pub(super) fn take_away(connection: &Connection, row: OfferRow) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "DELETE FROM mark
         WHERE feed_id = (SELECT feed_id FROM offer WHERE id = ?1) AND offer_id = ?1",
    )?;
    statement.execute([row.0]).map(drop)
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
