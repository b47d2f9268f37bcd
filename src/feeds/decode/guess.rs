//! Looks at a source and writes a first mapping for the author to correct.
//!
//! It reads the start of a body, tells the format, finds the records, and gives every field the
//! column or path whose name and values speak for it. It only proposes: nothing here is used for
//! a poll, and whatever it could not place is listed in the text for a person to see.

mod csv;
mod index;
mod json;
mod names;
mod xml;

use super::charset::{Hints, open_text};
use super::fault::DecodeFault;
use super::format::FORMATS;
use super::layers::{Context, decode};
use super::unpack::unpack;
use super::zip_entry::ZipChoice;
use crate::catalogue::table::Document;
use crate::feeds::mapping::FormatSettings;
use crate::market::Field;
pub(super) use index::Link;
use names::Assigned;
use std::fmt::Write;
use std::io::{BufRead, Read};
use std::ops::ControlFlow;

/// How much of a body is looked at.
const SAMPLE_BYTES: u64 = 512 * 1024;

/// A first mapping, and what spoke for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guess {
    /// Keys to put under `[[feed]]`, with `[feed.fields]` last.
    pub toml: String,
    pub reasons: Vec<String>,
    /// The body is a list of links to pages with offers: its address is an `index`, no `url`.
    pub is_index: bool,
}

/// One column, member or element of the sampled records.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Candidate {
    /// The place as a mapping writes it.
    place: String,
    /// The name that a person would read.
    name: String,
    /// Values of the first records.
    values: Vec<String>,
}

/// What a format's guesser found: its keys as lines of TOML, and what its records have.
struct Found {
    format: &'static str,
    keys: Vec<(&'static str, String)>,
    candidates: Vec<Candidate>,
    reasons: Vec<String>,
}

/// Proposes settings for a body. `context` tells what is known besides its bytes.
pub fn guess(body: &mut dyn BufRead, context: &Context<'_>) -> Result<Guess, DecodeFault> {
    let endings: Vec<&str> = FORMATS
        .iter()
        .flat_map(|format| format.endings())
        .copied()
        .collect();
    let zip = ZipChoice {
        entry: None,
        endings: &endings,
    };
    let plain = unpack(Box::new(body), context.body_limit, &zip)?;
    let (text, report) = open_text(plain, &Hints::unconfigured(context))?;
    let mut sample = String::new();
    let mut bytes = Vec::new();
    text.take(SAMPLE_BYTES)
        .read_to_end(&mut bytes)
        .map_err(DecodeFault::of_io)?;
    sample.push_str(&String::from_utf8_lossy(&bytes));
    let is_whole = (bytes.len() as u64) < SAMPLE_BYTES;
    let start = sample.trim_start();
    if start.is_empty() {
        let detail = "the body is empty".to_owned();
        return Err(DecodeFault::NoData { detail });
    }
    let mut found = match start.as_bytes().first() {
        Some(b'<') if looks_like_html(start) => return Ok(guess_html(&sample, context)),
        Some(b'<') => xml::look(&sample)?,
        Some(b'{' | b'[') => json::look(start, is_whole)?,
        _ => csv::look(&sample, is_whole)?,
    };
    if let Some(encoding) = report.undeclared_encoding() {
        found
            .keys
            .push(("encoding", quoted(&encoding.to_lowercase())));
        found.reasons.push(format!(
            "nothing declares the encoding; the bytes look like {encoding}"
        ));
    }
    Ok(write_guess(found))
}

fn looks_like_html(start: &str) -> bool {
    let head: String = start.chars().take(2000).collect::<String>().to_lowercase();
    ["<!doctype html", "<html", "<head", "<body", "<div", "<meta"]
        .iter()
        .any(|mark| head.contains(mark))
}

fn write_guess(found: Found) -> Guess {
    let Assigned { fields, unused } = names::assign(&found.candidates);
    let mut toml = format!("format = {}\n", quoted(found.format));
    for (key, value) in &found.keys {
        let _ = writeln!(toml, "{key} = {value}");
    }
    toml.push_str("\n[feed.fields]\n");
    for (field, candidate) in &fields {
        let place = quoted(&candidate.place);
        let _ = writeln!(toml, "{} = {place}{}", field.name(), example(candidate));
    }
    let mut reasons = found.reasons;
    for field in [Field::Sku, Field::Title, Field::Price] {
        if !fields.iter().any(|(known, _)| *known == field) {
            let name = field.name();
            let _ = writeln!(toml, "# {name} = \"?\"   # nothing here looks like it");
            reasons.push(format!("nothing looks like `{name}`"));
        }
    }
    if !unused.is_empty() {
        let places: Vec<String> = unused.iter().map(|place| plain_line(place, 60)).collect();
        let _ = writeln!(toml, "# not used: {}", places.join(", "));
    }
    Guess {
        toml,
        reasons,
        is_index: false,
    }
}

fn example(candidate: &Candidate) -> String {
    let value = candidate
        .values
        .iter()
        .find(|value| !value.trim().is_empty());
    value.map_or_else(String::new, |value| {
        format!("   # {}", plain_line(value, 48))
    })
}

/// A page speaks for itself where it has structured data; else a person must choose selectors.
fn guess_html(page: &str, context: &Context<'_>) -> Guess {
    let trials = [
        ("", "schema.org data"),
        ("products = \"all\"\n", "schema.org data of several parts"),
        (
            "structured_data = \"opengraph\"\n",
            "price tags in the page's head",
        ),
    ];
    for (keys, what) in trials {
        let toml = format!("format = \"html\"\n{keys}");
        let Some(fields) = fields_read(&toml, page, context) else {
            continue;
        };
        let names: Vec<&str> = fields.into_iter().map(Field::name).collect();
        let reasons = vec![format!("the page has {what}: {}", names.join(", "))];
        return Guess {
            toml,
            reasons,
            is_index: false,
        };
    }
    if let Some(index) = index::look(page, context) {
        return index;
    }
    let toml = "format = \"html\"\n\n[feed.fields]\n# The page has no structured data: name CSS selectors.\n\
                title = \"h1\"\n# price = \".price\"\n# availability = \".stock\"\n";
    let reasons = vec!["the page has no structured data, or needs scripts to show it".to_owned()];
    Guess {
        toml: toml.to_owned(),
        reasons,
        is_index: false,
    }
}

/// The fields that settings read from a page, if a price is among them.
fn fields_read(toml: &str, page: &str, context: &Context<'_>) -> Option<Vec<Field>> {
    let document = Document::parse("guess", toml);
    let settings = FormatSettings::read(&mut document.root())?;
    let mut fields: Vec<Field> = Vec::new();
    let mut sink = |record: Result<crate::market::RawOffer, _>| {
        for (field, _) in record.iter().flat_map(|offer| offer.fields.iter()) {
            if !fields.contains(&field) {
                fields.push(field);
            }
        }
        ControlFlow::Continue(())
    };
    decode(&settings, &mut page.as_bytes(), context, &mut sink).ok()?;
    fields.sort_unstable();
    fields.contains(&Field::Price).then_some(fields)
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                quoted.push('\\');
                quoted.push(c);
            }
            c if c < ' ' || c == '\u{7f}' => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// Text that is safe in a comment: one line, no control characters, not long.
fn plain_line(text: &str, length_max: usize) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let line: String = words
        .join(" ")
        .chars()
        .filter(|c| !c.is_control())
        .take(length_max)
        .collect();
    line
}
