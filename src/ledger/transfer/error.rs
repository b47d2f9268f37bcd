//! What can go wrong with a file of records.

use super::super::copying::RestoreError;
use super::super::error::LedgerError;
use std::path::PathBuf;

/// Why records could not be written or read. The ledger is as it was.
#[derive(Debug, thiserror::Error)]
pub enum TransferError {
    #[error(
        "cannot tell the format of {path}: let its name end in .csv, .jsonl or .parquet",
        path = path.display()
    )]
    UnknownFormat { path: PathBuf },
    #[error("{path} cannot be read or written", path = path.display())]
    Io {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("{path} cannot be read or written as Parquet", path = path.display())]
    Parquet {
        path: PathBuf,
        #[source]
        source: parquet::errors::ParquetError,
    },
    #[error("{path}, row {number}: {fault}", path = path.display())]
    Row {
        path: PathBuf,
        number: u64,
        fault: RowFault,
    },
    #[error("{path} does not say of which schema it is: it is no export of a ledger", path = path.display())]
    NoSchema { path: PathBuf },
    #[error(
        "the ledger has records already, and an export goes into an empty one: \
         name another ledger in rigtide.toml, or move this one away"
    )]
    NotEmpty,
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    #[error(transparent)]
    Restore(#[from] RestoreError),
}

/// What is wrong with a row.
#[derive(Debug, thiserror::Error)]
pub enum RowFault {
    #[error("it names no table")]
    NoTable,
    #[error("no table is called \"{0}\"")]
    UnknownTable(String),
    #[error("the table \"{table}\" has no column \"{column}\"")]
    UnknownColumn { table: String, column: String },
    #[error("\"{text}\" in {column} is no whole number")]
    NotInteger { column: String, text: String },
    #[error("\"{text}\" in {column} is not written in hexadecimal digits")]
    NotHexadecimal { column: String, text: String },
    #[error("{column} holds bytes and should hold text")]
    NotText { column: String },
    #[error("it is longer than {0} bytes")]
    TooLong(u64),
    #[error("it is no JSON object of texts and whole numbers: {0}")]
    Json(serde_json::Error),
    #[error("it is no JSON object of texts and whole numbers")]
    NotFlat,
    #[error("{0}")]
    Csv(csv::Error),
    #[error("the ledger does not take it: {0}")]
    Refused(rusqlite::Error),
}
