//! Reads the records of one JSON document while it arrives: memory holds one record at a time.

use super::fault::DecodeFault;
use super::json_path::Step;
use serde::Deserialize;
use serde::de::value::SeqAccessDeserializer;
use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde_json::Value;
use std::cell::Cell;
use std::collections::BTreeSet;
use std::fmt;
use std::io::{self, BufRead, BufReader, Read};
use std::rc::Rc;

/// Bytes of one record in memory.
const RECORD_BYTES_MAX: u64 = 8 << 20;
/// Names of the outermost object that a message lists.
const NAMES_SHOWN: usize = 12;

/// Receives every record, and fails to end the reading.
pub(super) type OnRecord<'r> = dyn FnMut(&Value) -> Result<(), DecodeFault> + 'r;

/// What is looked for in a document.
pub(super) struct Wanted<'w> {
    pub records: &'w [Step],
    /// Where the address of the next page stands.
    pub next_page: Option<&'w [Step]>,
    /// Where the date of the document stands.
    pub updated: Option<&'w [Step]>,
    /// The members of records that anybody reads; `None` where it may be any. The first record
    /// comes whole, for messages that list what records have.
    pub members: Option<&'w BTreeSet<&'w str>>,
}

/// What the document held besides records.
#[derive(Default)]
pub(super) struct Seen {
    pub next_page: Option<String>,
    pub updated: Option<String>,
    /// The list of records was there, even if it was empty.
    pub is_list_found: bool,
    pub n_records: u64,
    /// What the document looks like from outside, for messages.
    pub shape: String,
}

/// Reads a whole document and hands every record on.
pub(super) fn stream_records(
    text: &mut dyn BufRead,
    wanted: &Wanted<'_>,
    on_record: &mut OnRecord<'_>,
) -> Result<Seen, DecodeFault> {
    let meter = Rc::new(Meter::default());
    let metered = Metered {
        text,
        meter: Rc::clone(&meter),
    };
    let reader = BufReader::with_capacity(64 * 1024, metered);
    let mut deserializer = serde_json::Deserializer::from_reader(reader);
    let mut walk = Walk {
        seen: Seen::default(),
        on_record,
        members: wanted.members,
        meter: &meter,
        fault: None,
    };
    let at_root = Place {
        walk: &mut walk,
        records: Some(wanted.records),
        next_page: wanted.next_page,
        updated: wanted.updated,
        is_root: true,
    };
    let result = at_root
        .deserialize(&mut deserializer)
        .and_then(|()| deserializer.end());
    match (walk.fault, result) {
        (Some(fault), _) => Err(fault),
        (None, Err(error)) => Err(json_fault(error)),
        (None, Ok(())) => Ok(walk.seen),
    }
}

/// Explains a JSON error as a fault of the whole document.
pub(super) fn json_fault(error: serde_json::Error) -> DecodeFault {
    match error.classify() {
        serde_json::error::Category::Io => DecodeFault::of_io(io::Error::from(error)),
        serde_json::error::Category::Eof => DecodeFault::Truncated { what: "JSON" },
        _ => DecodeFault::Syntax {
            format: "JSON",
            line: error.line() as u64,
            column: error.column() as u64,
            detail: without_position(&error),
        },
    }
}

/// The message without the line and column that serde_json puts behind it.
pub(super) fn without_position(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let end = text.rfind(" at line ").unwrap_or(text.len());
    text[..end].to_owned()
}

struct Walk<'w> {
    seen: Seen,
    on_record: &'w mut OnRecord<'w>,
    members: Option<&'w BTreeSet<&'w str>>,
    meter: &'w Meter,
    fault: Option<DecodeFault>,
}

/// One value of the document, with the steps that are left from here to what is wanted.
struct Place<'p, 'w> {
    walk: &'p mut Walk<'w>,
    records: Option<&'p [Step]>,
    next_page: Option<&'p [Step]>,
    updated: Option<&'p [Step]>,
    is_root: bool,
}

impl<'de> DeserializeSeed<'de> for Place<'_, '_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        if self.records.is_some_and(<[Step]>::is_empty) {
            self.walk.meter.start_record();
            let record = match self.walk.members {
                Some(members) if self.walk.seen.n_records > 0 => {
                    deserializer.deserialize_any(Members(members))?
                }
                _ => Value::deserialize(deserializer)?,
            };
            self.walk.meter.end_record();
            self.walk.seen.is_list_found = true;
            self.walk.seen.n_records += 1;
            return (self.walk.on_record)(&record).map_err(|fault| {
                self.walk.fault = Some(fault);
                serde::de::Error::custom("stopped")
            });
        }
        let is_here = |steps: Option<&[Step]>| steps.is_some_and(<[Step]>::is_empty);
        let (is_next_page, is_date) = (is_here(self.next_page), is_here(self.updated));
        if is_next_page || is_date {
            let value: Value = serde::Deserialize::deserialize(deserializer)?;
            let text = value.as_str().map(str::to_owned);
            if is_next_page {
                self.walk.seen.next_page.clone_from(&text);
            }
            if is_date {
                self.walk.seen.updated = text;
            }
            return Ok(());
        }
        if self.records.is_none() && self.next_page.is_none() && self.updated.is_none() {
            let _: IgnoredAny = serde::Deserialize::deserialize(deserializer)?;
            return Ok(());
        }
        deserializer.deserialize_any(self)
    }
}

impl Place<'_, '_> {
    fn child(steps: Option<&[Step]>, fits: impl Fn(&Step) -> bool) -> Option<&[Step]> {
        let (first, rest) = steps?.split_first()?;
        fits(first).then_some(rest)
    }

    fn set_shape(&mut self, shape: &str) {
        if self.is_root {
            self.walk.seen.shape = shape.to_owned();
        }
    }

    /// The container of the records themselves was reached.
    fn mark_list(&mut self, fits: impl Fn(&Step) -> bool) {
        if let Some([last]) = self.records {
            self.walk.seen.is_list_found |= fits(last);
        }
    }
}

impl<'de> Visitor<'de> for Place<'_, '_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_map<A: MapAccess<'de>>(mut self, mut map: A) -> Result<(), A::Error> {
        self.mark_list(|step| matches!(step, Step::Every));
        let mut names = Vec::new();
        while let Some(name) = map.next_key::<String>()? {
            let is_it = |step: &Step| match step {
                Step::Name(wanted) | Step::NameOrIndex(wanted) => *wanted == name,
                Step::Every => true,
                Step::Index(_) => false,
            };
            map.next_value_seed(Place {
                records: Place::child(self.records, is_it),
                next_page: Place::child(self.next_page, is_it),
                updated: Place::child(self.updated, is_it),
                walk: &mut *self.walk,
                is_root: false,
            })?;
            if self.is_root && names.len() < NAMES_SHOWN {
                names.push(name);
            }
        }
        self.set_shape(&format!("an object with {}", names.join(", ")));
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(mut self, mut seq: A) -> Result<(), A::Error> {
        self.mark_list(|step| matches!(step, Step::Every | Step::Index(_)));
        let mut index = 0usize;
        loop {
            let is_it = |step: &Step| match step {
                Step::Index(wanted) => *wanted == index,
                Step::Every => true,
                Step::NameOrIndex(wanted) => wanted.parse() == Ok(index),
                Step::Name(_) => false,
            };
            let element = seq.next_element_seed(Place {
                records: Place::child(self.records, is_it),
                next_page: Place::child(self.next_page, is_it),
                updated: Place::child(self.updated, is_it),
                walk: &mut *self.walk,
                is_root: false,
            })?;
            if element.is_none() {
                break;
            }
            index += 1;
        }
        self.set_shape(&format!("an array of {index}"));
        Ok(())
    }

    fn visit_bool<E>(mut self, _: bool) -> Result<(), E> {
        self.set_shape("a single value");
        Ok(())
    }

    fn visit_i64<E>(mut self, _: i64) -> Result<(), E> {
        self.set_shape("a single value");
        Ok(())
    }

    fn visit_u64<E>(mut self, _: u64) -> Result<(), E> {
        self.set_shape("a single value");
        Ok(())
    }

    fn visit_f64<E>(mut self, _: f64) -> Result<(), E> {
        self.set_shape("a single value");
        Ok(())
    }

    fn visit_str<E>(mut self, _: &str) -> Result<(), E> {
        self.set_shape("a single value");
        Ok(())
    }

    fn visit_unit<E>(mut self) -> Result<(), E> {
        self.set_shape("null");
        Ok(())
    }
}

/// Builds a record of the members that are read, and passes over all others.
struct Members<'m>(&'m BTreeSet<&'m str>);

impl<'de> Visitor<'de> for Members<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value, A::Error> {
        let mut members = serde_json::Map::new();
        while let Some(name) = map.next_key_seed(Member(self.0))? {
            match name {
                Some(name) => {
                    members.insert(name, map.next_value()?);
                }
                None => {
                    map.next_value::<IgnoredAny>()?;
                }
            }
        }
        Ok(Value::Object(members))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, seq: A) -> Result<Value, A::Error> {
        Value::deserialize(SeqAccessDeserializer::new(seq))
    }

    fn visit_bool<E>(self, flag: bool) -> Result<Value, E> {
        Ok(flag.into())
    }

    fn visit_i64<E>(self, number: i64) -> Result<Value, E> {
        Ok(number.into())
    }

    fn visit_u64<E>(self, number: u64) -> Result<Value, E> {
        Ok(number.into())
    }

    fn visit_f64<E>(self, number: f64) -> Result<Value, E> {
        Ok(number.into())
    }

    fn visit_str<E>(self, text: &str) -> Result<Value, E> {
        Ok(text.into())
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }
}

/// A member's name, made a text of its own only if it is among those that are read.
struct Member<'m>(&'m BTreeSet<&'m str>);

impl<'de> DeserializeSeed<'de> for Member<'_> {
    type Value = Option<String>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_str(self)
    }
}

impl<'de> Visitor<'de> for Member<'_> {
    type Value = Option<String>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a name")
    }

    fn visit_str<E>(self, name: &str) -> Result<Self::Value, E> {
        Ok(self.0.contains(name).then(|| name.to_owned()))
    }
}

/// Bytes read since a record began, so that one endless record cannot fill the memory.
#[derive(Default)]
struct Meter {
    bytes: Cell<u64>,
    in_record: Cell<bool>,
}

impl Meter {
    fn start_record(&self) {
        self.bytes.set(0);
        self.in_record.set(true);
    }

    fn end_record(&self) {
        self.in_record.set(false);
    }
}

struct Metered<'t> {
    text: &'t mut dyn BufRead,
    meter: Rc<Meter>,
}

impl Read for Metered<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.text.read(buffer)?;
        let bytes = self.meter.bytes.get().saturating_add(count as u64);
        self.meter.bytes.set(bytes);
        if self.meter.in_record.get() && bytes > RECORD_BYTES_MAX {
            let (what, limit) = ("record", RECORD_BYTES_MAX);
            return Err(DecodeFault::RecordTooLarge { what, limit }.into_io());
        }
        Ok(count)
    }
}
