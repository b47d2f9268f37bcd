//! Marks records, so that a poll knows those again that the ledger already has.
//!
//! What a record comes to follows from its text, the feed's settings, the catalogue, the author's
//! decisions and the program. A mark is a digest of them all: a record with the mark of a stored
//! offer comes to just what is stored, and need not be read to know it. Records whose reading
//! depends on the instant have no mark.

use super::judge::Decisions;
use super::settings::Feed;
use crate::catalogue::{Catalogue, Part};
use crate::ledger::Mark;
use crate::market::{RawOffer, RawText, is_timeless};
use ring::digest::{Context, SHA256, digest};
use std::fmt::{self, Write};

/// Differs from build to build wherever the sources or the libraries do.
const PROGRAM: &str = env!("RIGTIDE_SOURCES");
const TAKES_ALL: &str = "a digest takes all that is written";
const NOTE: u8 = u8::MAX;
const PROPERTY: u8 = NOTE - 1;

/// Marks the records of one poll.
#[derive(Clone)]
pub struct Marker {
    /// A digest of all but the record.
    setting: Vec<u8>,
    /// The record being marked, kept for its memory.
    bytes: Vec<u8>,
}

/// Digests what is written to it.
struct Digested(Context);

impl Write for Digested {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0.update(text.as_bytes());
        Ok(())
    }
}

/// What a catalogue and the program that reads by it are known by.
pub fn catalogue_mark(catalogue: &Catalogue) -> Mark {
    let mut digested = Digested(Context::new(&SHA256));
    write!(digested, "{PROGRAM}").expect(TAKES_ALL);
    for part in catalogue.parts.values() {
        // What offers are matched by; rates change with every result and matter to none of it.
        let Part {
            id,
            kind,
            name,
            brand,
            mpns,
            gtins,
            specs,
            ..
        } = part;
        write!(
            digested,
            "{id:?}{kind:?}{name:?}{brand:?}{mpns:?}{gtins:?}{specs:?}"
        )
        .expect(TAKES_ALL);
    }
    let digest = digested.0.finish();
    Mark(*digest.as_ref().first_chunk().expect("SHA-256 has 32 bytes"))
}

impl Marker {
    pub fn new(catalogue: &Catalogue, feed: &Feed, decisions: &Decisions) -> Marker {
        let mut digested = Digested(Context::new(&SHA256));
        // The form for debugging names every field, those yet to come included.
        let (reading, doubt) = (&feed.normalise, &feed.source.doubt);
        write!(
            digested,
            "{:?}{reading:?}{doubt:?}{decisions:?}",
            catalogue_mark(catalogue)
        )
        .expect(TAKES_ALL);
        Marker {
            setting: digested.0.finish().as_ref().to_vec(),
            bytes: Vec::new(),
        }
    }

    /// What a record is known by; its number in the feed does not count.
    pub fn mark(&mut self, raw: &RawOffer) -> Option<Mark> {
        if !is_timeless(raw) {
            return None;
        }
        self.bytes.clear();
        self.bytes.extend(&self.setting);
        for (field, values) in raw.fields.iter() {
            for RawText { text, origin } in values {
                self.push([field as u8, *origin as u8], text);
            }
        }
        for property in &raw.properties {
            self.push([PROPERTY, 0], &property.name);
            self.push([PROPERTY, 1], &property.value);
            let unit = property.unit.as_deref();
            self.push([PROPERTY, 2 + u8::from(unit.is_some())], unit.unwrap_or(""));
        }
        for note in &raw.notes {
            self.push([NOTE, 0], note);
        }
        let digest = digest(&SHA256, &self.bytes);
        digest.as_ref().first_chunk().copied().map(Mark)
    }

    /// Adds a text with its length, so that no two records come to the same bytes.
    fn push(&mut self, what: [u8; 2], text: &str) {
        self.bytes.extend(what);
        self.bytes.extend(text.len().to_le_bytes());
        self.bytes.extend(text.as_bytes());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::reading::Property;
    use crate::market::Field;

    fn marker() -> Marker {
        Marker {
            setting: Vec::new(),
            bytes: Vec::new(),
        }
    }

    fn record(values: &[(Field, RawText)]) -> RawOffer {
        let mut raw = RawOffer::default();
        for (field, value) in values {
            raw.push(*field, value.clone());
        }
        raw
    }

    #[test]
    fn records_differ_by_every_value_and_its_place_and_not_by_their_number() {
        let person = |text: &str| RawText::person(text);
        let property = |value: &str, unit: Option<&str>| Property {
            name: "n".to_owned(),
            value: value.to_owned(),
            unit: unit.map(str::to_owned),
        };
        let all = [
            record(&[]),
            record(&[(Field::Sku, person("ab")), (Field::Title, person("c"))]),
            record(&[(Field::Sku, person("a")), (Field::Title, person("bc"))]),
            record(&[(Field::Sku, person("ab")), (Field::Brand, person("c"))]),
            record(&[(Field::Sku, person("ab")), (Field::Sku, person("c"))]),
            record(&[(Field::Sku, person("abc"))]),
            record(&[(Field::Sku, RawText::machine("abc"))]),
            RawOffer {
                notes: vec!["abc".to_owned()],
                ..record(&[])
            },
            RawOffer {
                properties: vec![property("a", None)],
                ..record(&[])
            },
            RawOffer {
                properties: vec![property("a", Some(""))],
                ..record(&[])
            },
        ];
        let mut marks: Vec<Mark> = all.iter().map(|raw| marker().mark(raw).unwrap()).collect();
        for (raw, mark) in all.iter().zip(&marks) {
            let again = RawOffer {
                index: 9,
                ..raw.clone()
            };
            assert_eq!(marker().mark(&again), Some(*mark));
        }
        marks.sort_unstable();
        marks.dedup();
        assert_eq!(marks.len(), all.len());
    }
}
