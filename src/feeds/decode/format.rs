//! The formats a feed may have, and the one list that registers them.

use super::fault::DecodeFault;
use super::layers::Context;
use super::records::Records;
use super::{csv, html, json, xml};
use crate::catalogue::table::Table;
use crate::feeds::mapping::Mapping;
use std::fmt::Debug;
use std::io::BufRead;
use std::sync::Arc;

/// Every format, by the name that a feed's `format` key gives.
pub const FORMATS: &[&dyn Format] = &[
    &xml::Atom,
    &csv::Csv,
    &html::Html,
    &json::Json,
    &json::NdJson,
    &xml::Rss,
    &xml::Xml,
];

/// A format: reads its keys of a feed's table.
pub trait Format: Sync {
    fn name(&self) -> &'static str;

    /// What it reads, in one line for a person.
    fn reads(&self) -> &'static str;

    /// How names of its files end, in lower case, for finding one in an archive.
    fn endings(&self) -> &'static [&'static str];

    /// Reads the format's own keys and makes a decoder; faults go to the table's document.
    fn configure(&self, table: &mut Table<'_, '_>, mapping: &Mapping) -> Option<Arc<dyn Decoder>>;
}

/// A format with its settings, ready to decode any number of bodies.
pub trait Decoder: Debug + Send + Sync {
    /// Reads text that is already UTF-8 and sends every record to `records`.
    fn decode(
        &self,
        text: &mut dyn BufRead,
        context: &Context<'_>,
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault>;

    /// A control character that has a meaning here and must not be dropped as damage.
    fn kept_control(&self) -> Option<u8> {
        None
    }

    /// True when [`Decoder::links`] can find links.
    fn reads_links(&self) -> bool {
        false
    }

    /// The links of an index page, as they stand there.
    fn links(&self, _text: &mut dyn BufRead) -> Result<Vec<String>, DecodeFault> {
        Ok(Vec::new())
    }
}
