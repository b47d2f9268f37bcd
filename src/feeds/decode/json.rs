//! JSON documents and lines of JSON.
//!
//! Keys: `records` (a JSONPath to the records, default `$[*]`; not for `ndjson`), `variants` (a
//! path inside a record to its variants, each of which becomes a record of its own), `next_page`
//! and `updated` (where the address of the next page and the date of the document stand; not for
//! `ndjson`). Numbers keep their exact text and are for programs; texts are for people unless
//! `written_for` says otherwise.

use super::fault::DecodeFault;
use super::format::{Decoder, Format};
use super::json_path::{Path, Step, ValuePath};
use super::json_stream::{Wanted, json_fault, stream_records, without_position};
use super::layers::Context;
use super::lines::{plainly_markup, read_line, require_bytes};
use super::presence::Presence;
use super::records::Records;
use crate::catalogue::table::Table;
use crate::feeds::mapping::{Mapping, Rule, Source};
use crate::market::{Origin, RawOffer};
use serde_json::Value;
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::io::{BufRead, Read};
use std::sync::Arc;

/// Bytes of a document that a query with filters needs whole in memory.
const WHOLE_DOCUMENT_BYTES_MAX: u64 = 8 << 20;
/// Bytes of one line of NDJSON.
const LINE_BYTES_MAX: usize = 8 << 20;
/// Names of a record that a message lists.
const NAMES_SHOWN: usize = 40;

pub(super) struct Json;
pub(super) struct NdJson;

#[derive(Debug)]
struct JsonDecoder {
    records: Path,
    /// The path to the records as the author wrote it.
    records_text: String,
    next_page: Option<Path>,
    updated: Option<Path>,
    shape: RecordShape,
}

#[derive(Debug)]
struct NdJsonDecoder {
    shape: RecordShape,
}

/// How one JSON value becomes raw offers.
#[derive(Debug)]
struct RecordShape {
    variants: Option<Path>,
    rules: Vec<Rule<ValuePath>>,
}

impl Format for Json {
    fn name(&self) -> &'static str {
        "json"
    }

    fn reads(&self) -> &'static str {
        "one JSON document, its records found by a JSONPath (RFC 9535)"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["json"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        let records_text = table
            .text("records")
            .map_or("$[*]".to_owned(), |at| at.value);
        let records = read_path(table, "records", Path::parse_query)?;
        let next_page = read_path(table, "next_page", Path::parse_query)?;
        let updated = read_path(table, "updated", Path::parse_query)?;
        Some(Arc::new(JsonDecoder {
            records: match records {
                Some(records) => records,
                None => Path::parse_query("$[*]").ok()?,
            },
            records_text,
            next_page,
            updated,
            shape: RecordShape::configure(table, mapping)?,
        }))
    }
}

impl Format for NdJson {
    fn name(&self) -> &'static str {
        "ndjson"
    }

    fn reads(&self) -> &'static str {
        "one JSON value a line"
    }

    fn endings(&self) -> &'static [&'static str] {
        &["ndjson", "jsonl", "json"]
    }

    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>> {
        let shape = RecordShape::configure(table, mapping)?;
        Some(Arc::new(NdJsonDecoder { shape }))
    }
}

/// Absent is `Some(None)`, a fault `None`.
fn read_path(
    table: &mut Table<'_, '_>,
    key: &'static str,
    parse: impl Fn(&str) -> Result<Path, String>,
) -> Option<Option<Path>> {
    let is_there = table.has(key);
    let Some(text) = table.text(key) else {
        return (!is_there).then_some(None);
    };
    match parse(&text.value) {
        Ok(path) => Some(Some(path)),
        Err(message) => {
            let remedy = "write a JSONPath such as \"$.offers[*]\"";
            table.document().fault(&text.span, message, remedy);
            None
        }
    }
}

impl RecordShape {
    fn configure(table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<RecordShape> {
        let variants = read_path(table, "variants", Path::parse)?;
        table.require("fields")?;
        let rules = mapping.compile(table.document(), |_, place| ValuePath::parse(place))?;
        Some(RecordShape { variants, rules })
    }

    /// The members of a record that the paths begin with; `None` where one may begin anywhere.
    fn members(&self) -> Option<BTreeSet<&str>> {
        let places = self.rules.iter().filter_map(|rule| match &rule.source {
            Source::Place(place) => Some(&place.path),
            Source::Always(_) => None,
        });
        // A place inside a variant begins with a member of the variant: such names are too many,
        // not too few, as long as the variants' own are among them.
        places.chain(&self.variants).map(Path::first_name).collect()
    }

    /// Sends a record, or its variants, on.
    fn take(
        &self,
        record: &Value,
        presence: &mut Presence,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        presence.first_names(|| names_of(record));
        let variants = match &self.variants {
            None => Vec::new(),
            Some(path) => path.find(record).into_iter().flat_map(elements).collect(),
        };
        if variants.is_empty() {
            return records.accept(self.offer(record, record, presence));
        }
        for variant in variants {
            records.accept(self.offer(variant, record, presence))?;
        }
        Ok(())
    }

    fn offer(&self, record: &Value, outer: &Value, presence: &mut Presence) -> RawOffer {
        let mut offer = RawOffer::default();
        for (index, rule) in self.rules.iter().enumerate() {
            match &rule.source {
                Source::Always(value) => {
                    if let Some(value) = rule.value(value, Origin::Person) {
                        offer.push(rule.field, value);
                    }
                }
                Source::Place(place) => {
                    let start = if place.is_outer { outer } else { record };
                    for value in place.path.find(start) {
                        presence.see(index);
                        push_value(&mut offer, rule, value);
                    }
                }
            }
        }
        offer
    }
}

fn elements(value: &Value) -> Vec<&Value> {
    match value {
        Value::Array(elements) => elements.iter().collect(),
        other => vec![other],
    }
}

fn names_of(record: &Value) -> Vec<String> {
    match record {
        Value::Object(members) => members.keys().take(NAMES_SHOWN).cloned().collect(),
        _ => Vec::new(),
    }
}

fn push_value(offer: &mut RawOffer, rule: &Rule<ValuePath>, value: &Value) {
    let (text, origin): (Cow<'_, str>, Origin) = match value {
        Value::Null => return,
        Value::Bool(flag) => (flag.to_string().into(), Origin::Machine),
        Value::Number(number) => (number.to_string().into(), Origin::Machine),
        Value::String(text) if text.trim().is_empty() => return,
        Value::String(text) => (text.into(), Origin::Person),
        Value::Array(elements) => {
            let scalars = elements.iter().filter(|element| !element.is_array());
            scalars.for_each(|element| push_value(offer, rule, element));
            return;
        }
        Value::Object(members) => {
            let names: Vec<&str> = members.keys().take(8).map(String::as_str).collect();
            let (field, names) = (rule.field.name(), names.join(", "));
            let note = format!("`{field}` leads to an object with {names}, not to a value");
            offer.notes.push(note);
            return;
        }
    };
    if let Some(value) = rule.value(&text, origin) {
        offer.push(rule.field, value);
    }
}

fn refuse_markup(text: &mut dyn BufRead) -> Result<(), DecodeFault> {
    require_bytes(text)?;
    match plainly_markup(text)? {
        None => Ok(()),
        Some(found) => Err(DecodeFault::OtherFormat {
            expected: "JSON",
            found: found.to_owned(),
        }),
    }
}

impl Decoder for JsonDecoder {
    fn decode(
        &self,
        text: &mut dyn BufRead,
        _context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        refuse_markup(text)?;
        let mut presence = Presence::new(self.shape.rules.len());
        match (
            &self.records,
            steps_of(&self.next_page),
            steps_of(&self.updated),
        ) {
            (Path::Steps(steps), Ok(next_page), Ok(updated)) => {
                let members = self.shape.members();
                let wanted = Wanted {
                    members: members.as_ref(),
                    records: steps,
                    next_page,
                    updated,
                };
                let mut take = |record: &Value| self.shape.take(record, &mut presence, records);
                let seen = stream_records(text, &wanted, &mut take)?;
                if !seen.is_list_found {
                    return Err(self.no_records(seen.shape));
                }
                records.next_page(seen.next_page.unwrap_or_default());
                records.updated(&seen.updated.unwrap_or_default());
            }
            (path, ..) => {
                let document = read_whole(text)?;
                for record in path.find(&document) {
                    self.shape.take(record, &mut presence, records)?;
                }
                records.next_page(text_at(&self.next_page, &document));
                records.updated(text_at(&self.updated, &document));
                if records.records() == 0 {
                    let names = names_of(&document).join(", ");
                    return Err(self.no_records(format!("a document with {names}")));
                }
            }
        }
        if records.records() == 0 {
            let detail = "the list of records is empty".to_owned();
            return Err(DecodeFault::NoData { detail });
        }
        presence.judge(&self.shape.rules, records)
    }
}

impl JsonDecoder {
    fn no_records(&self, found: String) -> DecodeFault {
        DecodeFault::NoRecords {
            place: self.records_text.clone(),
            found,
        }
    }
}

/// The steps to a place, if there is one; the error is a path that searches the whole document.
fn steps_of(path: &Option<Path>) -> Result<Option<&[Step]>, ()> {
    match path {
        None => Ok(None),
        Some(Path::Steps(steps)) => Ok(Some(steps)),
        Some(_) => Err(()),
    }
}

fn text_at<'d>(path: &Option<Path>, document: &'d Value) -> &'d str {
    let found = path.iter().flat_map(|path| path.find(document)).next();
    found.and_then(Value::as_str).unwrap_or_default()
}

fn read_whole(text: &mut dyn BufRead) -> Result<Value, DecodeFault> {
    let mut bytes = Vec::new();
    text.take(WHOLE_DOCUMENT_BYTES_MAX + 1)
        .read_to_end(&mut bytes)
        .map_err(DecodeFault::of_io)?;
    if bytes.len() as u64 > WHOLE_DOCUMENT_BYTES_MAX {
        return Err(DecodeFault::RecordTooLarge {
            what: "document that is searched by filters",
            limit: WHOLE_DOCUMENT_BYTES_MAX,
        });
    }
    serde_json::from_slice(&bytes).map_err(json_fault)
}

impl Decoder for NdJsonDecoder {
    fn decode(
        &self,
        text: &mut dyn BufRead,
        _context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        refuse_markup(text)?;
        let mut presence = Presence::new(self.shape.rules.len());
        while let Some(line) = read_line(text, LINE_BYTES_MAX)? {
            if line.is_cut {
                records.reject("the line is too long")?;
                continue;
            }
            if line.bytes.iter().all(u8::is_ascii_whitespace) {
                continue;
            }
            match serde_json::from_slice::<Value>(&line.bytes) {
                Ok(record) => self.shape.take(&record, &mut presence, records)?,
                Err(error) if error.is_eof() && !line.is_ended() => {
                    return Err(DecodeFault::Truncated { what: "last line" });
                }
                Err(error) => {
                    let (reason, column) = (without_position(&error), error.column());
                    records.reject(format!("not JSON at column {column}: {reason}"))?;
                }
            }
        }
        if records.records() == 0 {
            let detail = "there is no line with a value".to_owned();
            return Err(DecodeFault::NoData { detail });
        }
        presence.judge(&self.shape.rules, records)
    }
}
