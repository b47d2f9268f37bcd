//! Marks: by what the records of present offers are known again, so that they need no reading.
//!
//! An offer has a mark only while it stands as its record said: whatever else is done to it
//! (held, missing, given up, taken for another part) takes the mark away.
//!
//! A poll reads all marks of its feed and has a few to say anew, so they are kept as a log: each poll adds
//! what it says, some 20 bytes an offer, and of an offer the newest word counts. Once the older words are
//! too many, those that count are written anew. So a poll reads few rows and writes a page, where a row for
//! each offer took a page for every other change.
//!
//! May not decide by what a record is known: whoever polls does.

use super::matching::OfferRow;
use super::packed::{Packed, put, put_signed};
use super::standing::Listed;
use rusqlite::types::{FromSql, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{Connection, ToSql};
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hash, Hasher};

/// A digest of a record and of all that its reading depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mark(pub [u8; 16]);

/// Takes eight bytes of a digest as they are: they are as good as any hash of them.
#[derive(Debug, Default)]
struct OfDigest(u64);

/// An offer that stands as its record says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KnownRecord {
    pub row: OfferRow,
    /// It is taken for a part.
    pub is_part: bool,
}

/// The marks of a feed's present offers.
#[derive(Debug, Default)]
pub struct Marks(HashMap<Mark, Known, BuildHasherDefault<OfDigest>>);

/// A [`KnownRecord`] in eight bytes: the number of the row, and in the last bit whether it is a part.
#[derive(Debug, Clone, Copy)]
struct Known(u64);

/// The marks of one feed while a poll of it is written.
#[derive(Debug)]
pub(super) struct Marking {
    feed: i64,
    /// Offers that have a mark.
    marked: Listed,
    n_marked: usize,
    /// Words in the log, those that count no more included.
    n_words: usize,
    n_blocks: usize,
    /// What the poll says and the log does not yet.
    said: Vec<Word>,
}

/// What is said of an offer: its mark and whether it is taken for a part, or that it has no mark.
#[derive(Debug, Clone, Copy)]
struct Word {
    row: OfferRow,
    mark: Option<(Mark, bool)>,
}

/// The marks that are held in memory, some 32 bytes each; the records of further offers are read.
const MARKS_MAX: usize = 400_000;
/// Words in a block at most, so that a poll that changes everything takes little memory.
const BLOCK_WORDS: usize = 1_000;
/// What a word takes, as long as there are no more than a million offers.
const WORD_BYTES_MAX: usize = 20;
/// Blocks beside those that the marks fill, before they are written anew.
const BLOCKS_BESIDE: usize = 64;

impl Marks {
    /// The offer whose record has this mark.
    pub fn get(&self, mark: Mark) -> Option<KnownRecord> {
        self.0.get(&mark).map(|known| known.record())
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = (Mark, KnownRecord)> {
        self.0.iter().map(|(mark, known)| (*mark, known.record()))
    }
}

impl Known {
    fn new(record: KnownRecord) -> Known {
        Known(record.row.0.cast_unsigned() << 1 | u64::from(record.is_part))
    }

    fn record(self) -> KnownRecord {
        KnownRecord {
            row: OfferRow((self.0 >> 1).cast_signed()),
            is_part: self.0 & 1 == 1,
        }
    }
}

impl Hash for Mark {
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        hasher.write(&self.0);
    }
}

impl Hasher for OfDigest {
    fn write(&mut self, bytes: &[u8]) {
        if let Some(first) = bytes.first_chunk() {
            self.0 ^= u64::from_le_bytes(*first);
        }
    }

    fn finish(&self) -> u64 {
        self.0
    }
}

impl Word {
    fn of((mark, known): (Mark, KnownRecord)) -> Word {
        Word {
            row: known.row,
            mark: Some((mark, known.is_part)),
        }
    }
}

impl Marking {
    /// Reads the marks of a feed. A log that cannot be read is let go: the records are read again.
    pub fn read(connection: &Connection, feed: i64) -> rusqlite::Result<(Marks, Marking)> {
        if let Some(read) = read(connection, feed)? {
            return Ok(read);
        }
        forget(connection, feed)?;
        Ok((Marks::default(), Marking::none(feed)))
    }

    fn none(feed: i64) -> Marking {
        Marking {
            feed,
            marked: Listed::default(),
            n_marked: 0,
            n_words: 0,
            n_blocks: 0,
            said: Vec::new(),
        }
    }

    /// Says by what the record of a present offer is known again, if by anything.
    pub fn set(
        &mut self,
        connection: &Connection,
        known: KnownRecord,
        mark: Option<Mark>,
    ) -> rusqlite::Result<()> {
        let Some(mark) = mark else {
            return self.take_away(connection, known.row);
        };
        if self.n_marked == MARKS_MAX && !self.marked.contains(known.row) {
            return Ok(());
        }
        self.n_marked += usize::from(self.marked.insert(known.row));
        self.say(connection, Word::of((mark, known)))
    }

    /// The record of the offer is to be read again.
    pub fn take_away(&mut self, connection: &Connection, row: OfferRow) -> rusqlite::Result<()> {
        if !self.marked.remove(row) {
            return Ok(());
        }
        self.n_marked -= 1;
        self.say(connection, Word { row, mark: None })
    }

    /// Stores what was said.
    pub fn store(&mut self, connection: &Connection) -> rusqlite::Result<()> {
        self.append(connection)?;
        let n_blocks = 2 * (self.n_marked / BLOCK_WORDS) + BLOCKS_BESIDE;
        if self.n_words > 2 * self.n_marked + BLOCK_WORDS || self.n_blocks > n_blocks {
            self.write_anew(connection)?;
        }
        Ok(())
    }

    fn say(&mut self, connection: &Connection, word: Word) -> rusqlite::Result<()> {
        self.said.push(word);
        if self.said.len() == BLOCK_WORDS {
            self.append(connection)?;
        }
        Ok(())
    }

    /// Adds a block. Within it, too, the newest word comes first.
    fn append(&mut self, connection: &Connection) -> rusqlite::Result<()> {
        if self.said.is_empty() {
            return Ok(());
        }
        insert(connection, self.feed, self.said.iter().rev().copied())?;
        self.n_words += self.said.len();
        self.n_blocks += 1;
        self.said.clear();
        Ok(())
    }

    fn write_anew(&mut self, connection: &Connection) -> rusqlite::Result<()> {
        let (marks, _) = Marking::read(connection, self.feed)?;
        forget(connection, self.feed)?;
        let mut words: Vec<Word> = marks.iter().map(Word::of).collect();
        // The same marks give the same bytes, and offers side by side the fewest.
        words.sort_unstable_by_key(|word| word.row);
        for block in words.chunks(BLOCK_WORDS) {
            insert(connection, self.feed, block.iter().copied())?;
        }
        self.n_words = words.len();
        self.n_blocks = self.n_words.div_ceil(BLOCK_WORDS);
        Ok(())
    }
}

/// The marks of a feed; none where its log cannot be read.
pub(super) fn read(
    connection: &Connection,
    feed: i64,
) -> rusqlite::Result<Option<(Marks, Marking)>> {
    // A number beyond these is no offer's.
    let newest: i64 = connection
        .prepare_cached("SELECT coalesce(max(id), 0) FROM offer")?
        .query_row([], |row| row.get(0))?;
    let mut blocks = connection
        .prepare_cached("SELECT packed FROM marks WHERE feed_id = ?1 ORDER BY id DESC")?;
    let mut blocks = blocks.query([feed])?;
    let (mut marks, mut marking) = (Marks::default(), Marking::none(feed));
    let mut heard = Listed::default();
    while let Some(block) = blocks.next()? {
        marking.n_blocks += 1;
        let mut packed = Packed(block.get_ref(0)?.as_blob()?);
        marks.0.reserve(packed.0.len() / WORD_BYTES_MAX);
        let mut last = 0;
        while !packed.is_empty() {
            let Some(word) = unpack(&mut packed, &mut last) else {
                return Ok(None);
            };
            if !(1..=newest).contains(&word.row.0) {
                return Ok(None);
            }
            marking.n_words += 1;
            if !heard.insert(word.row) {
                continue;
            }
            if let Some((mark, is_part)) = word.mark {
                let row = word.row;
                marking.n_marked += usize::from(marking.marked.insert(row));
                let known = Known::new(KnownRecord { row, is_part });
                marks.0.entry(mark).or_insert(known);
            }
        }
    }
    Ok(Some((marks, marking)))
}

/// The records of all offers of a feed are to be read again.
pub(super) fn forget(connection: &Connection, feed: i64) -> rusqlite::Result<()> {
    connection
        .prepare_cached("DELETE FROM marks WHERE feed_id = ?1")?
        .execute([feed])
        .map(drop)
}

fn insert(
    connection: &Connection,
    feed: i64,
    words: impl Iterator<Item = Word>,
) -> rusqlite::Result<()> {
    let mut packed = Vec::new();
    let mut last = 0;
    for word in words {
        pack(&mut packed, &mut last, &word);
    }
    connection
        .prepare_cached("INSERT INTO marks (feed_id, packed) VALUES (?1, ?2)")?
        .execute((feed, packed))
        .map(drop)
}

/// The offer by its distance from the last one, then what is said of it.
fn pack(bytes: &mut Vec<u8>, last: &mut i64, word: &Word) {
    put_signed(bytes, word.row.0.wrapping_sub(*last));
    *last = word.row.0;
    match word.mark {
        None => put(bytes, 0),
        Some((mark, is_part)) => {
            put(bytes, 1 + u64::from(is_part));
            bytes.extend_from_slice(&mark.0);
        }
    }
}

fn unpack(packed: &mut Packed<'_>, last: &mut i64) -> Option<Word> {
    *last = last.wrapping_add(packed.signed()?);
    let row = OfferRow(*last);
    let is_part = match packed.number()? {
        0 => return Some(Word { row, mark: None }),
        1 => false,
        2 => true,
        _ => return None,
    };
    let mark = Mark(*packed.bytes(16)?.first_chunk()?);
    Some(Word {
        row,
        mark: Some((mark, is_part)),
    })
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
