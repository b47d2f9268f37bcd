//! Bulletins that wait for a later hour, alone or to be joined into a digest.

use super::builds::Post;
use super::columns::{instant, millis};
use super::error::LedgerError;
use super::open::{Ledger, Reader};
use super::outbox;
use crate::decide::{Bulletin, BulletinId};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, params};

/// Bulletins of one channel that wait for the same digest.
#[derive(Debug, Clone, PartialEq)]
pub struct DigestDue {
    pub channel: String,
    pub at: DateTime<Utc>,
    /// In the order in which they were decided.
    pub bulletins: Vec<Bulletin>,
}

impl Reader {
    /// The digests whose hour has come.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn digests_due(&self, now: DateTime<Utc>) -> Result<Vec<DigestDue>, LedgerError> {
        let select = format!(
            "SELECT {}, o.channel, o.digest_ms FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id
             WHERE o.state = 'waiting' AND o.digest_ms <= ?1
             ORDER BY o.channel, o.digest_ms, o.id",
            outbox::BULLETIN
        );
        let waiting: Vec<(Bulletin, String, DateTime<Utc>)> = self.run(|connection| {
            let mut statement = connection.prepare_cached(&select)?;
            let waiting = statement.query_map([millis(now)], |row| {
                let at = outbox::BULLETIN_WIDTH;
                Ok((
                    outbox::read_bulletin(row)?,
                    row.get(at)?,
                    instant(row, at + 1)?,
                ))
            })?;
            waiting.collect()
        })?;
        let mut digests: Vec<DigestDue> = Vec::new();
        for (bulletin, channel, at) in waiting {
            match digests.last_mut() {
                Some(last) if last.channel == channel && last.at == at => {
                    last.bulletins.push(bulletin);
                }
                _ => digests.push(DigestDue {
                    channel,
                    at,
                    bulletins: vec![bulletin],
                }),
            }
        }
        Ok(digests)
    }
}

impl Ledger {
    /// Puts a digest in the place of the bulletins that it joins, all or none.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn join(
        &mut self,
        due: &DigestDue,
        digest: &Bulletin,
        now: DateTime<Utc>,
    ) -> Result<(), LedgerError> {
        self.write(|connection| {
            outbox::insert(connection, &due.channel, digest, now)?;
            for bulletin in &due.bulletins {
                connection.execute(
                    "UPDATE outbox SET state = 'sent', joined_into = ?3, touched_ms = ?4
                     WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting'",
                    params![
                        bulletin.id.as_str(),
                        due.channel,
                        digest.id.as_str(),
                        millis(now)
                    ],
                )?;
            }
            Ok(())
        })
    }

    /// Lets a bulletin that is alone in its digest go out as it is.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn release(&mut self, channel: &str, bulletin: &BulletinId) -> Result<(), LedgerError> {
        self.write(|connection| {
            connection.execute(
                "UPDATE outbox SET digest_ms = NULL
                 WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting'",
                (bulletin.as_str(), channel),
            )?;
            Ok(())
        })
    }
}

/// Puts a bulletin that has just been inserted off to its hour.
pub(super) fn put_off(connection: &Connection, post: &Post) -> rusqlite::Result<()> {
    let goes_out = millis(post.goes_out);
    connection.execute(
        "UPDATE outbox SET next_ms = MAX(next_ms, ?3), digest_ms = ?4
         WHERE bulletin_id = ?1 AND channel = ?2 AND state = 'waiting' AND attempts = 0",
        params![
            post.bulletin.id.as_str(),
            post.channel,
            goes_out,
            post.is_for_digest.then_some(goes_out)
        ],
    )?;
    Ok(())
}
