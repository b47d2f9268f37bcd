//! Records as CSV (RFC 4180), safe to open in a spreadsheet.
//!
//! A cell that is empty is null. A text that is empty or that a spreadsheet would take for a
//! formula is written behind an apostrophe, which reading takes off again (OWASP, "CSV Injection":
//! cells that begin with `= + - @`, a tab or a line break).

use super::take::Sink;
use super::{Kind, Read, Row, RowFault, Shape, TABLE, Table, TransferError};
use rusqlite::types::Value;
use std::fmt::Write as _;
use std::fs::File;
use std::path::{Path, PathBuf};

const MARK: char = '\'';

pub(super) struct CsvSink {
    writer: csv::Writer<File>,
    path: PathBuf,
    cells: Vec<String>,
}

pub(super) struct CsvRows {
    reader: csv::Reader<File>,
    path: PathBuf,
    header: Vec<String>,
    record: csv::StringRecord,
}

impl CsvSink {
    pub fn new(file: File, path: &Path, shape: &Shape) -> Result<CsvSink, TransferError> {
        let mut sink = CsvSink {
            writer: csv::Writer::from_writer(file),
            path: path.to_owned(),
            cells: vec![String::new(); shape.all.len()],
        };
        let header = shape.all.iter().map(|(name, _)| name);
        let written = sink.writer.write_record(header);
        written.map_err(|fault| io(path, fault))?;
        Ok(sink)
    }
}

impl Sink for CsvSink {
    fn row(&mut self, _: &Shape, table: &Table, values: &[Value]) -> Result<(), TransferError> {
        self.cells.iter_mut().for_each(String::clear);
        self.cells[0].push_str(&table.name);
        for (column, value) in table.columns.iter().zip(values) {
            let cell = &mut self.cells[column.place];
            match value {
                // Strict tables hold no real numbers.
                Value::Null | Value::Real(_) => {}
                Value::Integer(number) => {
                    let _ = write!(cell, "{number}");
                }
                Value::Text(text) => {
                    if needs_mark(text) {
                        cell.push(MARK);
                    }
                    cell.push_str(text);
                }
                Value::Blob(bytes) => cell.push_str(&hexadecimal(bytes)),
            }
        }
        let written = self.writer.write_record(&self.cells);
        written.map_err(|fault| io(&self.path, fault))
    }

    fn finish(self: Box<Self>, _: &Shape) -> Result<File, TransferError> {
        let CsvSink { writer, path, .. } = *self;
        writer.into_inner().map_err(|fault| TransferError::Io {
            path,
            source: fault.into_error(),
        })
    }
}

impl CsvRows {
    pub fn open(path: &Path) -> Result<CsvRows, TransferError> {
        let file = File::open(path).map_err(|source| TransferError::Io {
            path: path.to_owned(),
            source,
        })?;
        let mut reader = csv::Reader::from_reader(file);
        let header = reader.headers().map_err(|fault| io(path, fault))?;
        let header = header.iter().map(str::to_owned).collect();
        Ok(CsvRows {
            reader,
            path: path.to_owned(),
            header,
            record: csv::StringRecord::new(),
        })
    }

    pub fn next(&mut self) -> Result<Option<Row>, TransferError> {
        let read = self.reader.read_record(&mut self.record);
        let number = self.record.position().map_or(0, csv::Position::line);
        let is_row = read.map_err(|fault| TransferError::Row {
            path: self.path.clone(),
            number: fault.position().map_or(number, csv::Position::line),
            fault: RowFault::Csv(fault),
        })?;
        if !is_row {
            return Ok(None);
        }
        let mut row = Row {
            number,
            table: String::new(),
            cells: Vec::new(),
        };
        for (name, cell) in self.header.iter().zip(&self.record) {
            if name == TABLE {
                cell.clone_into(&mut row.table);
            } else if !cell.is_empty() {
                let text = cell.strip_prefix(MARK).unwrap_or(cell);
                row.cells.push((name.clone(), Read::Text(text.to_owned())));
            }
        }
        Ok(Some(row))
    }
}

fn needs_mark(text: &str) -> bool {
    match text.chars().next() {
        None => true,
        Some(first) => matches!(first, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | MARK),
    }
}

pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

fn io(path: &Path, fault: csv::Error) -> TransferError {
    TransferError::Io {
        path: path.to_owned(),
        source: std::io::Error::from(fault),
    }
}

/// The value that a table's column wants of what a file holds.
pub(super) fn value(column: &str, kind: Kind, read: Read) -> Result<Value, RowFault> {
    let column = || column.to_owned();
    match (kind, read) {
        (Kind::Integer, Read::Integer(number)) => Ok(Value::Integer(number)),
        (Kind::Integer, Read::Text(text)) => match text.parse() {
            Ok(number) => Ok(Value::Integer(number)),
            Err(_) => Err(RowFault::NotInteger {
                column: column(),
                text,
            }),
        },
        (Kind::Text, Read::Text(text)) => Ok(Value::Text(text)),
        (Kind::Text, Read::Integer(number)) => Ok(Value::Text(number.to_string())),
        (Kind::Bytes, Read::Bytes(bytes)) => Ok(Value::Blob(bytes)),
        (Kind::Bytes, Read::Text(text)) => match bytes(&text) {
            Some(bytes) => Ok(Value::Blob(bytes)),
            None => Err(RowFault::NotHexadecimal {
                column: column(),
                text,
            }),
        },
        (Kind::Bytes, Read::Integer(number)) => Err(RowFault::NotHexadecimal {
            column: column(),
            text: number.to_string(),
        }),
        (Kind::Integer | Kind::Text, Read::Bytes(_)) => Err(RowFault::NotText { column: column() }),
    }
}

fn bytes(text: &str) -> Option<Vec<u8>> {
    let digits: Option<Vec<u32>> = text.chars().map(|digit| digit.to_digit(16)).collect();
    let digits = digits.filter(|digits| digits.len() % 2 == 0)?;
    let pairs = digits.chunks_exact(2);
    // Two digits of sixteen are at most 255.
    Some(pairs.map(|pair| (16 * pair[0] + pair[1]) as u8).collect())
}
