//! Import of an export: into an empty ledger, row for row.

use super::super::copying::{Staged, put_in_place, sound};
use super::super::error::LedgerError;
use super::super::lock::WatchLock;
use super::super::migrate::{self, KNOWN};
use super::super::open::{Ledger, Reader};
use super::csv::{CsvRows, value};
use super::jsonl::JsonlRows;
use super::parquet::ParquetRows;
use super::{Counted, Format, Row, RowFault, Shape, TransferError};
use rusqlite::Connection;
use rusqlite::types::Value;
use std::collections::BTreeMap;
use std::path::Path;

/// Where rows come from.
enum Rows {
    Csv(CsvRows),
    Jsonl(JsonlRows),
    Parquet(Box<ParquetRows>),
}

impl Rows {
    fn open(path: &Path) -> Result<Rows, TransferError> {
        Ok(match Format::of(path)? {
            Format::Csv => Rows::Csv(CsvRows::open(path)?),
            Format::Jsonl => Rows::Jsonl(JsonlRows::open(path)?),
            Format::Parquet => Rows::Parquet(Box::new(ParquetRows::open(path)?)),
        })
    }

    fn next(&mut self) -> Result<Option<Row>, TransferError> {
        match self {
            Rows::Csv(rows) => rows.next(),
            Rows::Jsonl(rows) => rows.next(),
            Rows::Parquet(rows) => rows.next(),
        }
    }
}

/// Fills the empty or missing ledger at `path` with the export at `from`, which may be of an
/// earlier schema. `told` hears now and then how many rows are read.
///
/// # Errors
/// [`TransferError`]; then the ledger is as it was.
pub fn import(
    path: &Path,
    from: &Path,
    told: &mut dyn FnMut(u64),
) -> Result<Counted, TransferError> {
    let _lock = WatchLock::acquire(path).map_err(super::super::RestoreError::from)?;
    if path.exists() && !Ledger::open(path)?.read().is_empty()? {
        return Err(TransferError::NotEmpty);
    }
    let staged = Staged::beside(path);
    let counted = fill(&staged.0, from, told)?;
    // Migrations from the schema of the export, and whether what it says holds together.
    let ledger = Ledger::open(&staged.0).map_err(|error| error.at(from))?;
    sound(&ledger, from)?;
    drop(ledger);
    put_in_place(path, &staged, None, &mut |_| {})?;
    Ok(counted)
}

impl Reader {
    /// True when nothing was ever recorded.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn is_empty(&self) -> Result<bool, LedgerError> {
        self.run(|connection| {
            let select = "SELECT NOT EXISTS (SELECT 1 FROM feed UNION ALL SELECT 1 FROM journal
                 UNION ALL SELECT 1 FROM answer UNION ALL SELECT 1 FROM offer_decision
                 UNION ALL SELECT 1 FROM bulletin UNION ALL SELECT 1 FROM edition)";
            connection.query_row(select, [], |row| row.get(0))
        })
    }
}

fn fill(staged: &Path, from: &Path, told: &mut dyn FnMut(u64)) -> Result<Counted, TransferError> {
    const ROWS_A_REPORT: u64 = 20_000;
    let mut rows = Rows::open(from)?;
    let no_schema = || TransferError::NoSchema {
        path: from.to_owned(),
    };
    // The schema's versions come first.
    let mut first = Vec::new();
    let mut next = rows.next()?;
    while let Some(row) = next.take_if(|row| row.table == "schema_version") {
        first.push(row);
        next = rows.next()?;
    }
    let versions = i64::try_from(first.len()).unwrap_or(i64::MAX);
    match versions {
        0 => return Err(no_schema()),
        found if found > KNOWN => {
            let path = from.to_owned();
            let known = KNOWN;
            return Err(LedgerError::Newer { path, found, known }.into());
        }
        _ => {}
    }
    let fault = |source| LedgerError::of(staged, source).at(from);
    let connection = Connection::open(staged).map_err(fault)?;
    // It is not a ledger yet; what a power cut leaves of it is thrown away.
    connection
        .pragma_update(None, "synchronous", "off")
        .map_err(fault)?;
    let transaction = connection.unchecked_transaction().map_err(fault)?;
    migrate::apply_up_to(&transaction, versions).map_err(fault)?;
    let shape = Shape::of(&transaction).map_err(fault)?;
    let tables = shape.tables.iter();
    let mut counted: Counted = tables.map(|table| (table.name.clone(), 0)).collect();
    counted.insert("schema_version".to_owned(), versions.unsigned_abs());
    let mut n_rows = 0;
    while let Some(row) = next {
        let number = row.number;
        let table = row.table.clone();
        insert(&transaction, &shape, row).map_err(|fault| TransferError::Row {
            path: from.to_owned(),
            number,
            fault,
        })?;
        *counted.entry(table).or_default() += 1;
        n_rows += 1;
        if n_rows % ROWS_A_REPORT == 0 {
            told(n_rows);
        }
        next = rows.next()?;
    }
    transaction.commit().map_err(fault)?;
    Ok(counted)
}

fn insert(connection: &Connection, shape: &Shape, row: Row) -> Result<(), RowFault> {
    if row.table.is_empty() {
        return Err(RowFault::NoTable);
    }
    let known = shape.tables.iter().find(|table| table.name == row.table);
    let Some(table) = known else {
        return Err(RowFault::UnknownTable(row.table));
    };
    let places: BTreeMap<&str, usize> = table
        .columns
        .iter()
        .enumerate()
        .map(|(at, column)| (shape.all[column.place].0.as_str(), at))
        .collect();
    let mut values = vec![Value::Null; table.columns.len()];
    for (name, read) in row.cells {
        let Some(at) = places.get(name.as_str()) else {
            return Err(RowFault::UnknownColumn {
                table: row.table,
                column: name,
            });
        };
        values[*at] = value(&name, table.columns[*at].kind, read)?;
    }
    let marks = vec!["?"; values.len()].join(", ");
    // The name is one of the schema's own.
    let insert = format!("INSERT INTO {} VALUES ({marks})", table.name);
    let mut statement = connection
        .prepare_cached(&insert)
        .map_err(RowFault::Refused)?;
    statement
        .execute(rusqlite::params_from_iter(values))
        .map(drop)
        .map_err(RowFault::Refused)
}
