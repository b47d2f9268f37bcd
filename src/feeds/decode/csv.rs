//! CSV and its relatives: any delimiter, with or without a header, quotes as they come.
//!
//! Keys: `delimiter` (one character or `"tab"`; found in the first line when absent), `header`
//! (default true), `quote` (default `"`, empty for none), `escape` (none by default; a doubled
//! quote is always one quote). A first line `sep=;` is obeyed. Cells are texts for people.

use super::csv_records::{CsvRecords, Dialect, Found, Splitter};
use super::fault::DecodeFault;
use super::format::{Decoder, Format};
use super::layers::Context;
use super::lines::{plainly_markup, require_bytes};
use super::records::Records;
use crate::catalogue::table::{Table, nearest};
use crate::feeds::mapping::{Mapping, Rule, Source};
use crate::market::{Field, Origin, RawOffer};
use std::io::BufRead;
use std::sync::Arc;

/// Delimiters that are looked for when none is configured, and named when the wrong one is.
const USUAL_DELIMITERS: [u8; 4] = [b';', b',', b'\t', b'|'];

pub(super) struct Csv;

#[derive(Debug)]
struct CsvDecoder {
    delimiter: Option<u8>,
    has_header: bool,
    quote: Option<u8>,
    escape: Option<u8>,
    rules: Vec<Rule<Column>>,
}

#[derive(Debug, Clone)]
enum Column {
    /// The name trimmed and folded.
    Named(String),
    /// From 0.
    Numbered(usize),
}

impl Format for Csv {
    fn name(&self) -> &'static str {
        "csv"
    }

    fn reads(&self) -> &'static str {
        "lines of fields divided by a comma, semicolon, tab or another character"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["csv", "tsv", "tab", "txt"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        let has_header = table.flag("header").is_none_or(|header| header.value);
        let delimiter = read_character(table, "delimiter")?;
        let quote = read_character(table, "quote")?;
        let escape = read_character(table, "escape")?;
        table.require("fields")?;
        let rules = mapping.compile(table.document(), |_, place| read_column(place, has_header))?;
        Some(Arc::new(CsvDecoder {
            delimiter: delimiter.flatten(),
            has_header,
            quote: quote.unwrap_or(Some(b'"')),
            escape: escape.flatten(),
            rules,
        }))
    }
}

/// Absent is `Some(None)`, an empty text `Some(Some(None))`, a fault `None`.
fn read_character(table: &mut Table<'_, '_>, key: &'static str) -> Option<Option<Option<u8>>> {
    let is_there = table.has(key);
    let Some(text) = table.text(key) else {
        return (!is_there).then_some(None);
    };
    let byte = match (text.value.as_str(), text.value.as_bytes()) {
        ("tab", _) => Some(b'\t'),
        (_, []) => None,
        (_, [byte]) if byte.is_ascii() && !matches!(byte, b'\n' | b'\r') => Some(*byte),
        _ => {
            let message = format!("`{key}` is \"{}\"", text.value);
            let remedy = "write one ASCII character, or \"tab\"";
            table.document().fault(&text.span, message, remedy);
            return None;
        }
    };
    Some(Some(byte))
}

fn read_column(place: &str, has_header: bool) -> Result<Column, String> {
    if let Some(number) = place.strip_prefix('#') {
        return match number.parse::<usize>() {
            Ok(number) if number > 0 => Ok(Column::Numbered(number - 1)),
            _ => Err(format!("\"{place}\" is no column number; the first is #1")),
        };
    }
    if !has_header {
        return Err(format!(
            "\"{place}\" names a column, but without a header columns have numbers such as #1"
        ));
    }
    Ok(Column::Named(fold(place)))
}

/// Column names are compared without case, outer blanks and stray byte order marks.
fn fold(name: &str) -> String {
    name.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}')
        .to_lowercase()
}

impl Decoder for CsvDecoder {
    fn decode(
        &self,
        text: &mut dyn BufRead,
        _context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        require_bytes(text)?;
        if let Some(found) = plainly_markup(text)? {
            let (expected, found) = ("CSV", found.to_owned());
            return Err(DecodeFault::OtherFormat { expected, found });
        }
        let mut dialect = Dialect {
            delimiter: self.delimiter.unwrap_or(b','),
            quote: self.quote,
            escape: self.escape,
        };
        let mut source = CsvRecords::new(text, dialect);
        let Some(mut first) = source.next()? else {
            return Err(no_rows());
        };
        if let Some(delimiter) = first.separator_line() {
            dialect.delimiter = delimiter;
            source.set_dialect(dialect);
            first = source.next()?.ok_or_else(no_rows)?;
        } else if self.delimiter.is_none() {
            dialect.delimiter = first.likely_delimiter(dialect);
            source.set_dialect(dialect);
        }
        let mut rows = Rows {
            decoder: self,
            splitter: Splitter::new(dialect),
            columns: Vec::new(),
            n_columns: 0,
        };
        if self.has_header {
            rows.take_header(&first, dialect, records)?;
        } else {
            rows.columns = self.rules.iter().map(Column::numbered).collect();
            rows.take(&first, records)?;
        }
        while let Some(found) = source.next()? {
            rows.take(&found, records)?;
        }
        if records.records() == 0 {
            return Err(no_rows());
        }
        Ok(())
    }

    fn kept_control(&self) -> Option<u8> {
        self.delimiter
    }
}

fn no_rows() -> DecodeFault {
    let detail = "there is no row besides the header".to_owned();
    DecodeFault::NoData { detail }
}

impl Column {
    fn numbered(rule: &Rule<Column>) -> Option<usize> {
        match &rule.source {
            Source::Place(Column::Numbered(index)) => Some(*index),
            _ => None,
        }
    }
}

impl Found {
    /// The delimiter that a spreadsheet's `sep=;` line sets.
    fn separator_line(&self) -> Option<u8> {
        let Found::Record { bytes, .. } = self else {
            return None;
        };
        let line = bytes.strip_prefix(b"\"").unwrap_or(bytes);
        match line {
            [b's' | b'S', b'e' | b'E', b'p' | b'P', b'=', delimiter] => Some(*delimiter),
            [b's' | b'S', b'e' | b'E', b'p' | b'P', b'=', delimiter, b'"'] => Some(*delimiter),
            _ => None,
        }
    }

    /// The usual delimiter that divides the line into most fields.
    fn likely_delimiter(&self, dialect: Dialect) -> u8 {
        let Found::Record { bytes, .. } = self else {
            return dialect.delimiter;
        };
        let count = |delimiter: u8| {
            let mut splitter = Splitter::new(Dialect {
                delimiter,
                ..dialect
            });
            splitter.split(bytes);
            splitter.len()
        };
        let best = USUAL_DELIMITERS
            .into_iter()
            .rev()
            .max_by_key(|usual| count(*usual));
        best.unwrap_or(dialect.delimiter)
    }
}

struct Rows<'d> {
    decoder: &'d CsvDecoder,
    splitter: Splitter,
    /// For every rule, the column it reads; none for constants and absent alternatives.
    columns: Vec<Option<usize>>,
    n_columns: usize,
}

impl Rows<'_> {
    fn take_header(
        &mut self,
        header: &Found,
        dialect: Dialect,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        let Found::Record { bytes, .. } = header else {
            let detail = "the header is no CSV record".to_owned();
            return Err(DecodeFault::NoData { detail });
        };
        self.splitter.split(bytes);
        let names: Vec<String> = self.splitter.fields().map(fold).collect();
        let last_named = names.iter().rposition(|name| !name.is_empty());
        self.n_columns = last_named.map_or(names.len(), |last| last + 1);
        for (index, name) in names.iter().enumerate() {
            if !name.is_empty() && names[..index].contains(name) {
                records.note(format!(
                    "two columns are named \"{name}\"; the first is read"
                ));
            }
        }
        self.columns = self.decoder.columns_in(&names);
        let Some(missing) = self.decoder.missing(&self.columns) else {
            return Ok(());
        };
        for other in USUAL_DELIMITERS {
            if other == dialect.delimiter {
                continue;
            }
            let mut splitter = Splitter::new(Dialect {
                delimiter: other,
                ..dialect
            });
            splitter.split(bytes);
            let names: Vec<String> = splitter.fields().map(fold).collect();
            let fits = self
                .decoder
                .missing(&self.decoder.columns_in(&names))
                .is_none();
            if fits || (self.n_columns == 1 && names.len() > 1) {
                return Err(DecodeFault::Delimiter {
                    configured: delimiter_name(dialect.delimiter),
                    found: delimiter_name(other),
                });
            }
        }
        let near = near_name(&fold(missing), &names);
        let present: Vec<&str> = self.splitter.fields().map(str::trim).take(40).collect();
        Err(DecodeFault::ColumnMissing {
            column: missing.to_owned(),
            near: near.map(str::to_owned),
            present: present.join(", "),
        })
    }

    fn take(&mut self, found: &Found, records: &mut Records<'_>) -> Result<(), DecodeFault> {
        let (bytes, is_ended) = match found {
            Found::Record { bytes, is_ended } => (bytes, *is_ended),
            Found::Broken {
                is_ended: false, ..
            } => {
                return Err(DecodeFault::Truncated { what: "last row" });
            }
            Found::Broken { reason, .. } => return records.reject(*reason),
        };
        self.splitter.split(bytes);
        let n_fields = self.splitter.len();
        if self.n_columns == 0 {
            self.n_columns = n_fields;
        }
        if n_fields < self.n_columns && !is_ended {
            return Err(DecodeFault::Truncated { what: "last row" });
        }
        // A delimiter at the end of every row is a harmless habit of some exporters.
        let surplus = (self.n_columns..n_fields).filter_map(|index| self.splitter.field(index));
        if n_fields < self.n_columns || surplus.into_iter().any(|field| !field.trim().is_empty()) {
            let expected = self.n_columns;
            return records.reject(format!("{n_fields} fields instead of {expected}"));
        }
        records.accept(self.offer())
    }

    fn offer(&self) -> RawOffer {
        let mut offer = RawOffer::default();
        for (rule, column) in self.decoder.rules.iter().zip(&self.columns) {
            let text = match (&rule.source, column) {
                (Source::Always(value), _) => value.as_str(),
                (Source::Place(_), Some(column)) => self.splitter.field(*column).unwrap_or(""),
                (Source::Place(_), None) => continue,
            };
            if text.trim().is_empty() {
                continue;
            }
            if let Some(value) = rule.value(text, Origin::Person) {
                offer.push(rule.field, value);
            }
        }
        offer
    }
}

impl CsvDecoder {
    fn columns_in(&self, names: &[String]) -> Vec<Option<usize>> {
        let column = |rule: &Rule<Column>| match &rule.source {
            Source::Always(_) => None,
            Source::Place(Column::Numbered(index)) => (*index < names.len()).then_some(*index),
            Source::Place(Column::Named(name)) => names.iter().position(|known| known == name),
        };
        self.rules.iter().map(column).collect()
    }

    /// The first place of a field none of whose places is there.
    fn missing(&self, columns: &[Option<usize>]) -> Option<&str> {
        let is_found = |field: Field| {
            let mut rules = self.rules.iter().zip(columns);
            rules.any(|(rule, column)| {
                rule.field == field
                    && (column.is_some() || matches!(rule.source, Source::Always(_)))
            })
        };
        let missing = self.rules.iter().find(|rule| !is_found(rule.field))?;
        Some(&missing.place)
    }
}

fn delimiter_name(delimiter: u8) -> String {
    match delimiter {
        b'\t' => "tab".to_owned(),
        other => format!("\"{}\"", char::from(other)),
    }
}

/// A name that is close, or that contains the other, as in `price` and `price_eur`.
pub(super) fn near_name<'n>(wanted: &str, names: &'n [String]) -> Option<&'n str> {
    let contains = |name: &&String| {
        name.len() >= 3
            && wanted.len() >= 3
            && (name.contains(wanted) || wanted.contains(name.as_str()))
    };
    nearest(wanted, names.iter().map(String::as_str))
        .or_else(|| names.iter().find(contains).map(String::as_str))
}
