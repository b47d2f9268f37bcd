//! The whole record as rows of a file that other programs read, and back.
//!
//! One file holds every table. Each row names its table and fills the columns that the table has;
//! the columns of all tables stand side by side, so that one sheet or one frame takes them all.
//! Instants are milliseconds since 1970-01-01T00:00:00Z, amounts minor units of the currency beside
//! them, as in the ledger. What was exported goes back into an empty ledger, row for row.
//!
//! May not know what a row means.

mod csv;
mod error;
mod jsonl;
mod parquet;
mod prices;
mod put;
mod take;

pub use error::{RowFault, TransferError};
pub use prices::{Imported, PastPrice, PriceRefusal};
pub use put::import;

use super::error::LedgerError;
use rusqlite::Connection;
use rusqlite::types::Value;
use std::collections::BTreeMap;
use std::path::Path;

/// Rows by table.
pub type Counted = BTreeMap<String, u64>;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Integer,
    Text,
    Bytes,
}

/// The form of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Format {
    Csv,
    Jsonl,
    Parquet,
}

/// One column of one table, and where it stands among all columns.
struct Column {
    kind: Kind,
    place: usize,
}

struct Table {
    name: String,
    columns: Vec<Column>,
}

/// Every table, and all columns side by side; the first names the table.
struct Shape {
    tables: Vec<Table>,
    all: Vec<(String, Kind)>,
}

/// A row of a file: its number there, its table, and the columns that it fills, by the names that
/// they have side by side.
struct Row {
    number: u64,
    table: String,
    cells: Vec<(String, Read)>,
}

/// A value as a file holds it. What it is in the ledger, the table says.
enum Read {
    Integer(i64),
    Text(String),
    Bytes(Vec<u8>),
}

/// The column that names the table.
const TABLE: &str = "table";

impl Format {
    /// What the ending of the file's name says.
    fn of(path: &Path) -> Result<Format, TransferError> {
        let ending = path.extension().and_then(|ending| ending.to_str());
        match ending.map(str::to_ascii_lowercase).as_deref() {
            Some("csv") => Ok(Format::Csv),
            Some("jsonl") => Ok(Format::Jsonl),
            Some("parquet") => Ok(Format::Parquet),
            _ => {
                let path = path.to_owned();
                Err(TransferError::UnknownFormat { path })
            }
        }
    }
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Kind::Integer => "integer",
            Kind::Text => "text",
            Kind::Bytes => "bytes",
        }
    }
}

impl Shape {
    /// Reads it from a ledger, tables in the order in which the schema makes them: what a row
    /// refers to comes before it.
    fn of(connection: &Connection) -> rusqlite::Result<Shape> {
        let mut names = connection.prepare(
            "SELECT name FROM sqlite_schema
             WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY rowid",
        )?;
        let names = names.query_map([], |row| row.get::<_, String>(0))?;
        let mut shape = Shape {
            tables: Vec::new(),
            all: vec![(TABLE.to_owned(), Kind::Text)],
        };
        for name in names {
            let name = name?;
            let mut columns =
                connection.prepare("SELECT name, type FROM pragma_table_info(?1) ORDER BY cid")?;
            let columns = columns.query_map([&name], |row| {
                let kind = match row.get_ref(1)?.as_str()? {
                    "INTEGER" => Kind::Integer,
                    "BLOB" => Kind::Bytes,
                    _ => Kind::Text,
                };
                Ok((row.get::<_, String>(0)?, kind))
            })?;
            let columns: Vec<(String, Kind)> = columns.collect::<rusqlite::Result<_>>()?;
            let columns = columns.into_iter().map(|(column, kind)| Column {
                place: shape.place(&column, kind),
                kind,
            });
            let columns = columns.collect();
            shape.tables.push(Table { name, columns });
        }
        Ok(shape)
    }

    /// Where a column stands; columns of several tables that have one name share it, unless they
    /// hold different things.
    fn place(&mut self, name: &str, kind: Kind) -> usize {
        let longer = format!("{name}_{}", kind.word());
        let is = |known: &(String, Kind), name: &str| known.0 == name && known.1 == kind;
        let found = self
            .all
            .iter()
            .position(|known| is(known, name) || is(known, &longer));
        if let Some(place) = found {
            return place;
        }
        let is_taken = self.all.iter().any(|(known, _)| known == name);
        let name = if is_taken { longer } else { name.to_owned() };
        self.all.push((name, kind));
        self.all.len() - 1
    }
}

/// Takes one row of a table.
type Show<'s> = dyn FnMut(&Table, &[Value]) -> Result<(), TransferError> + 's;

/// Shows every row of every table, in one snapshot.
fn each_row(
    connection: &Connection,
    shape: &Shape,
    show: &mut Show<'_>,
    fault: &dyn Fn(rusqlite::Error) -> LedgerError,
) -> Result<Counted, TransferError> {
    let mut counted = Counted::new();
    for table in &shape.tables {
        let mut statement = connection
            .prepare(&format!("SELECT * FROM {}", table.name))
            .map_err(fault)?;
        let mut rows = statement.query([]).map_err(fault)?;
        let mut values = Vec::new();
        let mut n_rows = 0;
        while let Some(row) = rows.next().map_err(fault)? {
            values.clear();
            for at in 0..table.columns.len() {
                values.push(row.get::<_, Value>(at).map_err(fault)?);
            }
            show(table, &values)?;
            n_rows += 1;
        }
        counted.insert(table.name.clone(), n_rows);
    }
    Ok(counted)
}
