//! What a mapping says of the source as a whole: its format, encoding, marks and records.
//!
//! Of each result the outer `None` is a fault, the inner one a key that is not there.

use crate::catalogue::import::rows::SourceForm;
use crate::catalogue::table::Table;
use encoding_rs::Encoding;
use serde_json_path::JsonPath;

pub(super) fn read_format(table: &mut Table<'_, '_>) -> Option<Option<SourceForm>> {
    let Some(format) = table.text("format") else {
        return Some(None);
    };
    match format.value.as_str() {
        "csv" => Some(Some(SourceForm::Csv)),
        "json" => Some(Some(SourceForm::Json)),
        other => {
            let message = format!("unknown format \"{other}\"");
            table
                .document()
                .fault(&format.span, message, "known formats: csv, json");
            None
        }
    }
}

pub(super) fn read_encoding(table: &mut Table<'_, '_>) -> Option<Option<&'static Encoding>> {
    let Some(label) = table.text("encoding") else {
        return Some(None);
    };
    let encoding = Encoding::for_label(label.value.as_bytes());
    if encoding.is_none() {
        let message = format!("unknown encoding \"{}\"", label.value);
        let remedy = "write a label of the WHATWG encoding standard, such as \"windows-1252\"";
        table.document().fault(&label.span, message, remedy);
    }
    encoding.map(Some)
}

pub(super) fn read_delimiter(table: &mut Table<'_, '_>) -> Option<Option<u8>> {
    let Some(delimiter) = table.text("delimiter") else {
        return Some(None);
    };
    match delimiter.value.as_bytes() {
        [one] if !matches!(one, b'"' | b'\n' | b'\r') && one.is_ascii() => Some(Some(*one)),
        _ => {
            let remedy = "write one character, such as \";\" or \"\\t\"";
            let message = "`delimiter` is not one plain character";
            table.document().fault(&delimiter.span, message, remedy);
            None
        }
    }
}

pub(super) fn read_records(table: &mut Table<'_, '_>) -> Option<Option<(JsonPath, String)>> {
    let Some(path) = table.text("records") else {
        return Some(None);
    };
    match JsonPath::parse(&path.value) {
        Ok(parsed) => Some(Some((parsed, path.value))),
        Err(error) => {
            let message = format!("`records` is no JSONPath: {error}");
            let remedy = "write one such as \"$.cards[*]\" (RFC 9535)";
            table.document().fault(&path.span, message, remedy);
            None
        }
    }
}

pub(super) fn read_decimal_mark(table: &mut Table<'_, '_>) -> Option<Option<char>> {
    let Some(mark) = table.text("decimal_mark") else {
        return Some(None);
    };
    match mark.value.as_str() {
        "." => Some(Some('.')),
        "," => Some(Some(',')),
        _ => {
            let message = "`decimal_mark` is neither \".\" nor \",\"";
            table
                .document()
                .fault(&mark.span, message, "write one of the two");
            None
        }
    }
}
