//! Records as JSON, one object a line. Null columns are left out; bytes are hexadecimal.

use super::csv::hexadecimal;
use super::take::Sink;
use super::{Read, Row, RowFault, Shape, TABLE, Table, TransferError};
use rusqlite::types::Value;
use serde_json::{Map, Value as Json};
use std::fs::File;
use std::io::{BufRead as _, BufReader, BufWriter, Read as _, Write as _};
use std::path::{Path, PathBuf};

/// A line that is longer is refused unread.
const LINE_BYTES_MAX: u64 = 64 << 20;

pub(super) struct JsonlSink {
    writer: BufWriter<File>,
    path: PathBuf,
}

pub(super) struct JsonlRows {
    reader: BufReader<File>,
    path: PathBuf,
    number: u64,
}

impl JsonlSink {
    pub fn new(file: File, path: &Path) -> JsonlSink {
        JsonlSink {
            writer: BufWriter::new(file),
            path: path.to_owned(),
        }
    }
}

impl Sink for JsonlSink {
    fn row(&mut self, shape: &Shape, table: &Table, values: &[Value]) -> Result<(), TransferError> {
        let mut object = Map::new();
        object.insert(TABLE.to_owned(), Json::from(table.name.as_str()));
        for (column, value) in table.columns.iter().zip(values) {
            let json = match value {
                // Strict tables hold no real numbers.
                Value::Null | Value::Real(_) => continue,
                Value::Integer(number) => Json::from(*number),
                Value::Text(text) => Json::from(text.as_str()),
                Value::Blob(bytes) => Json::from(hexadecimal(bytes)),
            };
            object.insert(shape.all[column.place].0.clone(), json);
        }
        let written = writeln!(self.writer, "{}", Json::Object(object));
        written.map_err(|source| TransferError::Io {
            path: self.path.clone(),
            source,
        })
    }

    fn finish(self: Box<Self>, _: &Shape) -> Result<File, TransferError> {
        let JsonlSink { writer, path } = *self;
        writer.into_inner().map_err(|fault| TransferError::Io {
            path,
            source: fault.into_error(),
        })
    }
}

impl JsonlRows {
    pub fn open(path: &Path) -> Result<JsonlRows, TransferError> {
        let file = File::open(path).map_err(|source| TransferError::Io {
            path: path.to_owned(),
            source,
        })?;
        Ok(JsonlRows {
            reader: BufReader::new(file),
            path: path.to_owned(),
            number: 0,
        })
    }

    pub fn next(&mut self) -> Result<Option<Row>, TransferError> {
        let mut line = Vec::new();
        self.number += 1;
        let mut limited = (&mut self.reader).take(LINE_BYTES_MAX + 1);
        let n_bytes = limited.read_until(b'\n', &mut line);
        let n_bytes = n_bytes.map_err(|source| TransferError::Io {
            path: self.path.clone(),
            source,
        })?;
        let read = match u64::try_from(n_bytes).unwrap_or(u64::MAX) {
            0 => return Ok(None),
            n_bytes if n_bytes > LINE_BYTES_MAX => Err(RowFault::TooLong(LINE_BYTES_MAX)),
            _ => read_row(self.number, &line),
        };
        read.map(Some).map_err(|fault| TransferError::Row {
            path: self.path.clone(),
            number: self.number,
            fault,
        })
    }
}

fn read_row(number: u64, line: &[u8]) -> Result<Row, RowFault> {
    let object: Map<String, Json> = serde_json::from_slice(line).map_err(RowFault::Json)?;
    let mut row = Row {
        number,
        table: String::new(),
        cells: Vec::new(),
    };
    for (name, json) in object {
        match json {
            Json::Null => {}
            Json::String(text) if name == TABLE => row.table = text,
            Json::String(text) => row.cells.push((name, Read::Text(text))),
            Json::Number(number) => {
                let number = number.as_i64().ok_or(RowFault::NotFlat)?;
                row.cells.push((name, Read::Integer(number)));
            }
            Json::Bool(_) | Json::Array(_) | Json::Object(_) => return Err(RowFault::NotFlat),
        }
    }
    Ok(row)
}
