//! The mapping of a feed: which column, path or selector of its records means which field.
//!
//! One small grammar serves every format. Under `[feed.fields]` a field's name leads to where
//! its value stands:
//!
//! ```toml
//! [feed.fields]
//! sku = "Artikelnr"                       # one place
//! gtin = ["EAN", "UPC"]                   # several places, read in this order
//! price = { select = "title", pattern = 'EUR ([0-9.,]+)' }
//! condition = { always = "used" }         # the same for every record
//! ```
//!
//! | key | meaning |
//! | --- | --- |
//! | `select` | the place, as in the short form |
//! | `pattern` | a regular expression; its first group, or the whole match, is the value |
//! | `written_for` | `"programs"` or `"people"`: how a number in it is read (a lone dot is the decimal mark, or the feed's locale decides) |
//! | `attribute` | of an HTML element: the attribute instead of the text |
//! | `always` | the value itself, instead of a place |
//!
//! What a *place* is depends on the format:
//!
//! | format | places |
//! | --- | --- |
//! | `csv` | a column's name, or its number as `#3` |
//! | `json`, `ndjson` | names joined by dots (`price.amount`, `images.0`), or a JSONPath starting with `$`; `^.` in front reads the record around a variant |
//! | `xml`, `rss`, `atom` | element names joined by `/`, ending in an element or `@attribute`; a name may be `{namespace}name`, `prefix:name` or `name[@attribute='value']`; `^/` in front reads the record around a variant |
//! | `html` | a CSS selector, with ` @attribute` at its end for an attribute instead of text |
//!
//! This module reads settings alone; what the places select is the decoders' business.

use crate::catalogue::table::{At, Document, Table, nearest};
use crate::feeds::decode::{Decoder, FORMATS};
use crate::market::{Field, Origin, RawText};
use encoding_rs::Encoding;
use regex::Regex;
use std::ops::Range;
use std::sync::Arc;

/// How one feed's bytes become raw offers.
#[derive(Debug, Clone)]
pub struct FormatSettings {
    /// The format's name in the settings.
    pub format: &'static str,
    /// Settles the character encoding; only a byte order mark overrules it.
    pub encoding: Option<&'static Encoding>,
    /// The share of rejected records, in percent, above which a poll fails as a whole.
    pub rejects_percent_max: u8,
    /// Which file of a zip archive is the feed: a name, or a pattern with `*`.
    pub zip_entry: Option<String>,
    /// How names of the format's files end.
    pub(crate) endings: &'static [&'static str],
    pub(crate) decoder: Arc<dyn Decoder>,
}

/// How the fields of a record are found, before a format has read the places.
#[derive(Debug, Clone, Default)]
pub struct Mapping {
    rules: Vec<(Rule<String>, Range<usize>)>,
}

/// One way to read one field. A field may have several, which are read in order.
#[derive(Debug, Clone)]
pub struct Rule<P> {
    pub field: Field,
    pub source: Source<P>,
    /// The place as the author wrote it, for messages.
    pub place: String,
    pub attribute: Option<String>,
    pattern: Option<Regex>,
    origin: Option<Origin>,
}

#[derive(Debug, Clone)]
pub enum Source<P> {
    Place(P),
    /// A value that the settings give to every record.
    Always(String),
}

impl FormatSettings {
    /// Rejected records above this share fail a poll, unless the feed says otherwise.
    pub const REJECTS_PERCENT_MAX: u8 = 20;

    /// Reads a feed's table: `format`, `encoding`, `rejects_percent_max`, `zip_entry`,
    /// `[feed.fields]` and the keys of the format itself. Faults go to the table's document.
    pub fn read(table: &mut Table<'_, '_>) -> Option<FormatSettings> {
        let mapping = Mapping::read(table);
        let encoding = read_encoding(table);
        let rejects_percent_max = table
            .integer("rejects_percent_max", 0..101)
            .and_then(|percent| u8::try_from(percent.value).ok())
            .unwrap_or(FormatSettings::REJECTS_PERCENT_MAX);
        let zip_entry = table.text("zip_entry").map(|entry| entry.value);
        let name = table.required_text("format")?;
        let Some(format) = FORMATS.iter().find(|format| format.name() == name.value) else {
            let known: Vec<&str> = FORMATS.iter().map(|format| format.name()).collect();
            let message = format!("unknown format \"{}\"", name.value);
            let remedy = match nearest(&name.value, known.iter().copied()) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("known formats: {}", known.join(", ")),
            };
            table.document().fault(&name.span, message, remedy);
            return None;
        };
        let decoder = format.configure(table, &mapping?)?;
        Some(FormatSettings {
            format: format.name(),
            encoding: encoding?,
            rejects_percent_max,
            zip_entry,
            endings: format.endings(),
            decoder,
        })
    }

    /// True when an index page's links can be found with these settings.
    pub fn reads_links(&self) -> bool {
        self.decoder.reads_links()
    }
}

/// The outer `None` is a fault; the inner one means that nothing is configured.
fn read_encoding(table: &mut Table<'_, '_>) -> Option<Option<&'static Encoding>> {
    if !table.has("encoding") {
        let _ = table.text("encoding");
        return Some(None);
    }
    let label = table.text("encoding")?;
    let encoding = Encoding::for_label(label.value.as_bytes());
    if encoding.is_none() {
        let message = format!("unknown encoding \"{}\"", label.value);
        let remedy = "write a label such as \"utf-8\", \"windows-1252\" or \"shift_jis\"";
        table.document().fault(&label.span, message, remedy);
        return None;
    }
    Some(encoding)
}

impl Mapping {
    /// Reads `[feed.fields]`; no table is an empty mapping.
    fn read(table: &mut Table<'_, '_>) -> Option<Mapping> {
        let mut mapping = Mapping::default();
        if !table.has("fields") {
            let _ = table.table("fields");
            return Some(mapping);
        }
        let mut fields = table.table("fields")?;
        let mut sound = true;
        for (name, field) in Field::NAMES {
            if !fields.has(name) {
                // Asking makes the name known to `finish`.
                let _ = fields.texts(name);
            } else if fields.is_table(name) {
                let rule = fields.table(name).and_then(|rule| read_rule(*field, rule));
                sound &= rule.is_some();
                mapping.rules.extend(rule);
            } else {
                let places = fields.texts(name);
                sound &= places.is_some();
                for place in places.into_iter().flat_map(|places| places.value) {
                    let rule = Rule::of_place(*field, place.value);
                    mapping.rules.push((rule, place.span));
                }
            }
        }
        fields.finish();
        sound.then_some(mapping)
    }

    pub fn is_empty(&self) -> bool {
        self.rules.is_empty()
    }

    pub fn maps(&self, field: Field) -> bool {
        self.rules.iter().any(|(rule, _)| rule.field == field)
    }

    /// Adds places for a field that the author did not map, such as an Atom entry's title.
    pub fn with_default(mut self, field: Field, places: &[&str]) -> Mapping {
        if !self.maps(field) {
            for place in places {
                let rule = Rule::of_place(field, (*place).to_owned());
                self.rules.push((rule, 0..0));
            }
        }
        self
    }

    /// Reads every place as a format understands it; a place it cannot read becomes a fault.
    pub fn compile<P>(
        &self,
        document: &Document<'_>,
        read_place: impl Fn(&Rule<String>, &str) -> Result<P, String>,
    ) -> Option<Vec<Rule<P>>> {
        let mut rules = Vec::new();
        let mut sound = true;
        for (rule, span) in &self.rules {
            let source = match &rule.source {
                Source::Always(value) => Source::Always(value.clone()),
                Source::Place(place) => match read_place(rule, place) {
                    Ok(place) => Source::Place(place),
                    Err(message) => {
                        let name = rule.field.name();
                        let remedy = format!("correct where `{name}` stands");
                        document.fault(span, message, remedy);
                        sound = false;
                        continue;
                    }
                },
            };
            rules.push(Rule {
                field: rule.field,
                source,
                place: rule.place.clone(),
                attribute: rule.attribute.clone(),
                pattern: rule.pattern.clone(),
                origin: rule.origin,
            });
        }
        sound.then_some(rules)
    }
}

impl<P> Rule<P> {
    /// The value for a text found at the place; `None` when the pattern does not match it.
    pub fn value(&self, text: &str, origin: Origin) -> Option<RawText> {
        let text = match &self.pattern {
            None => text,
            Some(pattern) => {
                let found = pattern.captures(text)?;
                found.get(1).or_else(|| found.get(0))?.as_str()
            }
        };
        Some(RawText {
            text: text.to_owned(),
            origin: self.origin.unwrap_or(origin),
        })
    }
}

impl Rule<String> {
    fn of_place(field: Field, place: String) -> Rule<String> {
        Rule {
            field,
            source: Source::Place(place.clone()),
            place,
            attribute: None,
            pattern: None,
            origin: None,
        }
    }
}

fn read_rule(field: Field, mut table: Table<'_, '_>) -> Option<(Rule<String>, Range<usize>)> {
    let span = table.span();
    let document = table.document();
    let always = table.text("always");
    let select = table.text("select");
    let attribute = table.text("attribute").map(|name| name.value);
    let pattern = table.text("pattern");
    let origin = table.text("written_for");
    table.finish();
    let source = match (select, always) {
        (Some(place), None) => place,
        (None, Some(value)) => {
            let rule = Rule {
                source: Source::Always(value.value),
                ..Rule::of_place(field, String::new())
            };
            return Some((rule, span));
        }
        _ => {
            let message = format!("`{}` needs either `select` or `always`", field.name());
            document.fault(&span, message, "write { select = \"...\" }");
            return None;
        }
    };
    let rule = Rule {
        attribute,
        pattern: match pattern {
            Some(pattern) => Some(read_pattern(document, &pattern)?),
            None => None,
        },
        origin: match origin {
            Some(origin) => Some(read_origin(document, &origin)?),
            None => None,
        },
        ..Rule::of_place(field, source.value)
    };
    Some((rule, source.span))
}

fn read_pattern(document: &Document<'_>, pattern: &At<String>) -> Option<Regex> {
    match Regex::new(&pattern.value) {
        Ok(regex) => Some(regex),
        Err(error) => {
            let text = error.to_string();
            let reason = text.lines().last().unwrap_or("").trim();
            let reason = reason.strip_prefix("error: ").unwrap_or(reason);
            let message = format!("the pattern is not a regular expression: {reason}");
            let remedy = "correct the pattern; single quotes keep backslashes as they are";
            document.fault(&pattern.span, message, remedy);
            None
        }
    }
}

fn read_origin(document: &Document<'_>, origin: &At<String>) -> Option<Origin> {
    match origin.value.as_str() {
        "programs" => Some(Origin::Machine),
        "people" => Some(Origin::Person),
        other => {
            let message = format!("`written_for` is \"{other}\"");
            document.fault(&origin.span, message, "write \"programs\" or \"people\"");
            None
        }
    }
}
