//! Export: every row into a file that appears when it is whole.

use super::super::copying::Staged;
use super::super::error::LedgerError;
use super::super::open::Reader;
use super::csv::CsvSink;
use super::jsonl::JsonlSink;
use super::parquet::ParquetSink;
use super::{Counted, Format, Shape, Table, TransferError, each_row};
use rusqlite::types::Value;
use std::fs::File;
use std::path::Path;

/// Where rows go, one after another, table by table.
pub(super) trait Sink {
    fn row(&mut self, shape: &Shape, table: &Table, values: &[Value]) -> Result<(), TransferError>;

    /// Writes what is still kept back and hands the file over.
    fn finish(self: Box<Self>, shape: &Shape) -> Result<File, TransferError>;
}

impl Reader {
    /// Writes every row of every table into the new file `to`, as its ending says: `.csv`,
    /// `.jsonl` or `.parquet`. `told` hears now and then how many rows are written.
    ///
    /// # Errors
    /// [`TransferError`]; then there is no file.
    pub fn export(&self, to: &Path, told: &mut dyn FnMut(u64)) -> Result<Counted, TransferError> {
        const ROWS_A_REPORT: u64 = 20_000;
        let format = Format::of(to)?;
        if to.exists() {
            let path = to.to_owned();
            return Err(LedgerError::Exists { path }.into());
        }
        let part = Staged::beside(to);
        let io = |source| TransferError::Io {
            path: to.to_owned(),
            source,
        };
        let file = File::create(&part.0).map_err(io)?;
        let fault = |source| LedgerError::of(self.path(), source);
        let counted = self.with_connection(|connection| {
            let snapshot = connection.unchecked_transaction().map_err(fault)?;
            let shape = Shape::of(&snapshot).map_err(fault)?;
            let mut sink: Box<dyn Sink> = match format {
                Format::Csv => Box::new(CsvSink::new(file, to, &shape)?),
                Format::Jsonl => Box::new(JsonlSink::new(file, to)),
                Format::Parquet => Box::new(ParquetSink::new(file, to, &shape)?),
            };
            let mut n_rows = 0;
            let mut show = |table: &Table, values: &[Value]| {
                n_rows += 1;
                if n_rows % ROWS_A_REPORT == 0 {
                    told(n_rows);
                }
                sink.row(&shape, table, values)
            };
            let counted = each_row(&snapshot, &shape, &mut show, &fault)?;
            sink.finish(&shape)?.sync_all().map_err(io)?;
            Ok::<_, TransferError>(counted)
        })?;
        std::fs::rename(&part.0, to).map_err(io)?;
        Ok(counted)
    }
}
