//! The yardstick of storing: the rows of a ledger, inserted into an empty one and nothing else.

use crate::child::{Measured, peak_kib};
use anyhow::Result;
use rigtide::ledger::Ledger;
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use std::path::Path;
use std::time::Instant;

/// The tables that a poll fills, parents first.
const TABLES: [&str; 4] = ["feed", "offer", "matching", "observation"];

struct Table {
    statement: String,
    rows: Vec<Vec<Value>>,
}

/// Copies every row of `from` in one transaction, with the ledger's own schema and durability.
pub fn insert(from: &Path, to: &Path) -> Result<Measured> {
    drop(Ledger::open(to)?);
    let source = Connection::open(from)?;
    let tables = TABLES.map(|name| read(&source, name));
    let tables: Vec<Table> = tables.into_iter().collect::<Result<_>>()?;
    let mut target = Connection::open(to)?;
    target.pragma_update_and_check(None, "journal_mode", "wal", |_| Ok(()))?;
    target.pragma_update(None, "synchronous", "full")?;
    target.pragma_update(None, "cache_size", -16 * 1024)?;
    let start = Instant::now();
    let transaction = target.transaction()?;
    for table in &tables {
        let mut statement = transaction.prepare(&table.statement)?;
        for row in &table.rows {
            statement.execute(params_from_iter(row))?;
        }
    }
    transaction.commit()?;
    Ok(Measured {
        seconds: start.elapsed().as_secs_f64(),
        peak_kib: peak_kib()?,
        offers: tables[1].rows.len() as u64,
        matched: tables[2].rows.len() as u64,
    })
}

fn read(source: &Connection, name: &str) -> Result<Table> {
    let mut select = source.prepare(&format!("SELECT * FROM {name}"))?;
    let n_columns = select.column_count();
    let marks = vec!["?"; n_columns].join(", ");
    let rows = select.query_map([], |row| (0..n_columns).map(|at| row.get(at)).collect())?;
    Ok(Table {
        statement: format!("INSERT INTO {name} VALUES ({marks})"),
        rows: rows.collect::<Result<_, _>>()?,
    })
}
