//! The rows of a source: records of a CSV file, or of a JSON document.

use super::map::ImportMap;
use encoding_rs::Encoding;
use serde_json::Value;
use std::borrow::Cow;
use std::collections::BTreeSet;

/// What a source is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SourceForm {
    Csv,
    Json,
}

/// Why a source cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum SourceFault {
    #[error("the source is not UTF-8; set `encoding` in the mapping, such as \"windows-1252\"")]
    NotUtf8,
    #[error("the source is not in the mapping's encoding {0}")]
    NotInEncoding(&'static str),
    #[error("the source has no header")]
    NoHeader,
    #[error("the header names the column \"{0}\" twice")]
    ColumnTwice(String),
    #[error("the source cannot be read as CSV")]
    Csv(#[source] csv::Error),
    #[error("the source cannot be read as JSON")]
    Json(#[source] serde_json::Error),
    #[error("`records = \"{0}\"` selects nothing in the source")]
    NoRecords(String),
    #[error("record {0} of the source is not an object")]
    NotAnObject(usize),
}

/// A source with its records in memory.
pub(super) struct Source {
    /// The names of the columns, in the order of the source.
    pub columns: Vec<String>,
    pub rows: Vec<Row>,
}

/// One record.
pub(super) struct Row {
    /// The line where it begins, in a CSV source.
    pub line: Option<u64>,
    pub record: Record,
}

pub(super) enum Record {
    Csv(csv::StringRecord),
    Json(Value),
}

impl SourceForm {
    /// By the end of a file's name; everything that is not JSON is CSV.
    pub fn of_name(name: &str) -> SourceForm {
        match name.to_ascii_lowercase().ends_with(".json") {
            true => SourceForm::Json,
            false => SourceForm::Csv,
        }
    }
}

impl Source {
    /// True when some record has the column.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|known| known == column)
            || self.rows.iter().any(|row| match &row.record {
                Record::Csv(_) => false,
                Record::Json(record) => at_path(record, column).is_some(),
            })
    }

    /// What a row has in a column, without blanks around it; nothing is the empty text.
    pub fn cell<'s>(&'s self, row: &'s Row, column: &str) -> Cow<'s, str> {
        match &row.record {
            Record::Csv(record) => {
                let position = self.columns.iter().position(|known| known == column);
                let cell = position.and_then(|position| record.get(position));
                Cow::Borrowed(cell.unwrap_or("").trim())
            }
            Record::Json(record) => at_path(record, column).map_or(Cow::Borrowed(""), text_of),
        }
    }
}

/// A key as it stands, or names joined by dots.
fn at_path<'v>(record: &'v Value, path: &str) -> Option<&'v Value> {
    if let Some(value) = record.get(path) {
        return Some(value);
    }
    path.split('.').try_fold(record, |value, name| match value {
        Value::Array(list) => list.get(name.parse::<usize>().ok()?),
        _ => value.get(name),
    })
}

/// A value as a cell; lists of plain values are joined as in a CSV cell.
fn text_of(value: &Value) -> Cow<'_, str> {
    match value {
        Value::Null | Value::Object(_) => Cow::Borrowed(""),
        Value::String(text) => Cow::Borrowed(text.trim()),
        Value::Bool(flag) => Cow::Borrowed(if *flag { "true" } else { "false" }),
        Value::Number(number) => Cow::Owned(number.to_string()),
        Value::Array(list) => {
            let texts: Vec<Cow<'_, str>> = list.iter().map(text_of).collect();
            Cow::Owned(texts.join(";"))
        }
    }
}

pub(super) fn read_source(
    map: &ImportMap,
    form: SourceForm,
    bytes: &[u8],
) -> Result<Source, SourceFault> {
    let text = text_in(bytes, map.encoding)?;
    match map.format.unwrap_or(form) {
        SourceForm::Csv => read_csv(&text, map.delimiter),
        SourceForm::Json => read_json(&text, map),
    }
}

/// A byte order mark speaks first, then the mapping; without either it must be UTF-8.
fn text_in<'b>(
    bytes: &'b [u8],
    encoding: Option<&'static Encoding>,
) -> Result<Cow<'b, str>, SourceFault> {
    let (text, used, is_damaged) = encoding.unwrap_or(encoding_rs::UTF_8).decode(bytes);
    match (is_damaged, encoding) {
        (false, _) => Ok(text),
        (true, Some(_)) => Err(SourceFault::NotInEncoding(used.name())),
        (true, None) => Err(SourceFault::NotUtf8),
    }
}

fn read_csv(text: &str, delimiter: Option<u8>) -> Result<Source, SourceFault> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter.unwrap_or_else(|| likely_delimiter(text)))
        .flexible(true)
        .from_reader(text.as_bytes());
    let header = reader.headers().map_err(SourceFault::Csv)?;
    let columns: Vec<String> = header.iter().map(|name| name.trim().to_owned()).collect();
    if columns.iter().all(String::is_empty) {
        return Err(SourceFault::NoHeader);
    }
    let mut seen = BTreeSet::new();
    let mut named = columns.iter().filter(|name| !name.is_empty());
    if let Some(twice) = named.find(|name| !seen.insert(*name)) {
        return Err(SourceFault::ColumnTwice(twice.clone()));
    }
    let rows = reader.records().map(|record| {
        let record = record.map_err(SourceFault::Csv)?;
        Ok(Row {
            line: record.position().map(csv::Position::line),
            record: Record::Csv(record),
        })
    });
    Ok(Source {
        rows: rows.collect::<Result<Vec<Row>, SourceFault>>()?,
        columns,
    })
}

/// The mark that splits the header most.
fn likely_delimiter(text: &str) -> u8 {
    let header = text.lines().next().unwrap_or("");
    // The last of equals wins, so a comma is tried last.
    let marks = [b'|', b'\t', b';', b','];
    let count = |mark: &u8| header.bytes().filter(|byte| byte == mark).count();
    marks.into_iter().max_by_key(count).unwrap_or(b',')
}

fn read_json(text: &str, map: &ImportMap) -> Result<Source, SourceFault> {
    let document: Value = serde_json::from_str(text).map_err(SourceFault::Json)?;
    let records: Vec<Value> = match (&map.records, document) {
        (None, Value::Array(records)) => records,
        (None, other) => vec![other],
        (Some((path, text)), document) => {
            let found = path.query(&document).all();
            if found.is_empty() {
                return Err(SourceFault::NoRecords(text.clone()));
            }
            found.into_iter().cloned().collect()
        }
    };
    let mut columns: Vec<String> = Vec::new();
    let mut seen = BTreeSet::new();
    for (number, record) in records.iter().enumerate() {
        let Value::Object(object) = record else {
            return Err(SourceFault::NotAnObject(number + 1));
        };
        let new = object.keys().filter(|name| seen.insert((*name).clone()));
        columns.extend(new.cloned());
    }
    let row = |record| Row {
        line: None,
        record: Record::Json(record),
    };
    Ok(Source {
        columns,
        rows: records.into_iter().map(row).collect(),
    })
}
