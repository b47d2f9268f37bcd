//! What the polls are held against: `rusqlite` inserting the rows that they come to, and nothing else.

use crate::world::World;
use anyhow::Result;
use chrono::{DateTime, Utc};
use rigtide::ledger::Ledger;
use rusqlite::{Connection, params};
use std::path::Path;

const INSERT: &str = "INSERT INTO observation
     (offer_id, from_ms, until_ms, price_minor, currency, availability, tax_included, minimum_quantity)
     VALUES (?1, ?2, ?2, ?3, ?4, ?5, ?6, ?7)";

/// A table as the ledger's `observation`, with the ledger's durability.
pub struct Bare {
    target: Connection,
}

impl Bare {
    pub fn open(path: &Path) -> Result<Bare> {
        drop(Ledger::open(path)?);
        let target = Connection::open(path)?;
        target.pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))?;
        target.pragma_update(None, "synchronous", "full")?;
        target.pragma_update(None, "cache_size", -16 * 1024)?;
        // The offers that the rows belong to are not there.
        target.pragma_update(None, "foreign_keys", false)?;
        Ok(Bare { target })
    }

    /// Inserts what is other in an hour, each retailer's in one transaction; says how many rows.
    pub fn insert(&mut self, world: &World, at: DateTime<Utc>) -> Result<u64> {
        let mut n_rows = 0;
        for changed in world.changed() {
            let transaction = self.target.transaction()?;
            let mut insert = transaction.prepare_cached(INSERT)?;
            for (number, offer) in changed {
                insert.execute(params![
                    number,
                    at.timestamp_millis(),
                    offer.price.minor(),
                    offer.price.currency().code(),
                    offer.availability.name(),
                    offer.tax_included,
                    offer.minimum_quantity,
                ])?;
                n_rows += 1;
            }
            drop(insert);
            transaction.commit()?;
        }
        Ok(n_rows)
    }
}
