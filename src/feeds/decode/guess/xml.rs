//! A first look at XML: which element repeats, and what it holds.

use super::{Candidate, Found, quoted};
use crate::feeds::decode::fault::DecodeFault;
use crate::feeds::decode::xml_element::Element;
use crate::feeds::decode::xml_path::{Prefixes, XmlPath};
use crate::feeds::decode::xml_tree::{Piece, XmlStream};
use std::collections::{BTreeMap, BTreeSet};

const RECORDS_LOOKED_AT: usize = 40;
const DEPTH_MAX: usize = 4;
const ATOM: &str = "http://www.w3.org/2005/Atom";

pub(super) fn look(sample: &str) -> Result<Found, DecodeFault> {
    let outline = Outline::of(sample)?;
    let Some(record) = outline.likely_record() else {
        let place = "any repeated element".to_owned();
        let found = "an element that has none".to_owned();
        return Err(DecodeFault::NoRecords { place, found });
    };
    let format = match (outline.root.as_str(), record.last().map(String::as_str)) {
        ("rss", Some("item")) => "rss",
        ("feed", Some("entry")) if outline.is_atom => "atom",
        _ => "xml",
    };
    let name = record.last().cloned().unwrap_or_default();
    let mut found = Found {
        format,
        keys: Vec::new(),
        candidates: Vec::new(),
        reasons: vec![format!(
            "<{name}> repeats {} times in what was looked at",
            outline.counts[&record].count
        )],
    };
    if format == "xml" {
        found.keys.push(("records", quoted(&name)));
    }
    for record in first_records(sample, &record) {
        collect(&record, "", 0, &mut found.candidates);
    }
    Ok(found)
}

#[derive(Default)]
struct Outline {
    root: String,
    is_atom: bool,
    counts: BTreeMap<Vec<String>, Seen>,
}

#[derive(Default)]
struct Seen {
    count: usize,
    children: BTreeSet<String>,
    n_attributes: usize,
}

impl Outline {
    fn of(sample: &str) -> Result<Outline, DecodeFault> {
        let mut outline = Outline::default();
        let mut bytes = sample.as_bytes();
        let mut stream = XmlStream::new(&mut bytes);
        loop {
            match stream.next(&|_| false) {
                Ok(Piece::Outside(element)) => {
                    let path: Vec<String> = stream.open().iter().map(written).collect();
                    outline.add(path, &element);
                }
                Ok(Piece::End) | Err(DecodeFault::Truncated { .. }) => return Ok(outline),
                Ok(_) => {}
                Err(fault) => return Err(fault),
            }
        }
    }

    fn add(&mut self, path: Vec<String>, element: &Element) {
        if path.len() == 1 {
            self.root = element.name.local.to_string();
            self.is_atom = element.name.namespace.as_deref() == Some(ATOM);
        }
        if let Some((last, parent)) = path.split_last()
            && let Some(parent) = self.counts.get_mut(parent)
        {
            parent.children.insert(last.clone());
        }
        let seen = self.counts.entry(path).or_default();
        seen.count += 1;
        seen.n_attributes = seen.n_attributes.max(element.attributes.len());
    }

    /// Of the elements that hold at least two things, the one that repeats most; of equals the
    /// outermost.
    fn likely_record(&self) -> Option<Vec<String>> {
        let holds = |seen: &Seen| seen.children.len() + seen.n_attributes >= 2;
        self.counts
            .iter()
            .filter(|(path, seen)| path.len() > 1 && holds(seen))
            .filter(|(path, _)| path.last().is_some_and(|name| is_path(name)))
            .max_by_key(|(path, seen)| (seen.count, std::cmp::Reverse(path.len())))
            .map(|(path, _)| path.clone())
    }
}

fn written(element: &Element) -> String {
    match &*element.name.prefix {
        "" => element.name.local.to_string(),
        prefix => format!("{prefix}:{}", element.name.local),
    }
}

/// Readers of XML take names that no path can write, such as `}nr`.
fn is_path(place: &str) -> bool {
    XmlPath::parse(place, &Prefixes::new()).is_ok()
}

fn first_records(sample: &str, path: &[String]) -> Vec<Element> {
    let mut bytes = sample.as_bytes();
    let mut stream = XmlStream::new(&mut bytes);
    let mut records = Vec::new();
    let is_record = |open: &[Element]| {
        open.len() == path.len()
            && open
                .iter()
                .zip(path)
                .all(|(open, name)| written(open) == *name)
    };
    while records.len() < RECORDS_LOOKED_AT {
        match stream.next(&is_record) {
            Ok(Piece::Record(record)) => records.push(record),
            Ok(Piece::End) | Err(_) => break,
            Ok(_) => {}
        }
    }
    records
}

fn collect(element: &Element, path: &str, depth: usize, candidates: &mut Vec<Candidate>) {
    for (name, value) in &element.attributes {
        add(
            format!("{path}@{}", name.local),
            &name.local,
            value.clone(),
            candidates,
        );
    }
    let children: Vec<&Element> = element.children().collect();
    for child in children {
        let place = format!("{path}{}", written(child));
        if child.children().next().is_none() {
            add(
                place.clone(),
                &child.name.local,
                child.text().into_owned(),
                candidates,
            );
        }
        if depth < DEPTH_MAX {
            collect(child, &format!("{place}/"), depth + 1, candidates);
        }
    }
}

fn add(place: String, name: &str, value: String, candidates: &mut Vec<Candidate>) {
    if !is_path(&place) {
        return;
    }
    match candidates
        .iter_mut()
        .find(|candidate| candidate.place == place)
    {
        Some(known) => known.values.push(value),
        None => candidates.push(Candidate {
            place,
            name: name.to_owned(),
            values: vec![value],
        }),
    }
}
