//! A first look at JSON: where the records are, and what they hold.

use super::names::assign;
use super::{Candidate, Found, quoted};
use crate::feeds::decode::fault::DecodeFault;
use crate::feeds::decode::json_stream::json_fault;
use crate::market::Field;
use serde_json::Value;

const RECORDS_LOOKED_AT: usize = 40;
/// Objects inside a record that are followed.
const DEPTH_MAX: usize = 4;
/// Lists inside a record that have prices and are no variants of it. Common practice, no source.
const OTHER_LISTS: [&str; 6] = [
    "history",
    "related",
    "similar",
    "accessor",
    "recommend",
    "sell",
];

pub(super) fn look(sample: &str, is_whole: bool) -> Result<Found, DecodeFault> {
    if let Some(records) = lines(sample, is_whole) {
        let reasons = vec![format!(
            "every line is a JSON object ({} looked at)",
            records.len()
        )];
        let records: Vec<&Value> = records.iter().collect();
        return Ok(found("ndjson", None, &records, reasons));
    }
    let document: Value = match serde_json::from_str(sample) {
        Ok(document) => document,
        Err(error) if is_whole => return Err(json_fault(error)),
        Err(_) => serde_json::from_str(&closed(sample)).map_err(json_fault)?,
    };
    let mut lists = Vec::new();
    collect_lists(&document, "$", 0, &mut lists);
    // The list with the most records wins; of equals, the one that was found first.
    let longest = lists.iter().rev().max_by_key(|(_, records)| records.len());
    match longest {
        Some((path, records)) => {
            let path = format!("{path}[*]");
            let reasons = vec![format!("{} records at {path}", records.len())];
            Ok(found("json", Some(path), records, reasons))
        }
        None => {
            let reasons = vec!["the document is one record".to_owned()];
            Ok(found("json", Some("$".to_owned()), &[&document], reasons))
        }
    }
}

fn found(
    format: &'static str,
    path: Option<String>,
    records: &[&Value],
    mut reasons: Vec<String>,
) -> Found {
    let records = &records[..records.len().min(RECORDS_LOOKED_AT)];
    let mut candidates = Vec::new();
    for record in records {
        collect_leaves(record, "", 0, &mut candidates);
    }
    let records_key = path.map(|path| ("records", quoted(&path)));
    let mut keys: Vec<(&str, String)> = records_key.into_iter().collect();
    if let Some((list, of_variants)) = variants(records, &candidates) {
        reasons.push(format!(
            "each record has a list \"{list}\" with prices of its own: every element is an offer"
        ));
        if has(&candidates, &[Field::Price]) {
            reasons.push("the record's own price belongs to no single variant".to_owned());
            let price = assign(&candidates).place_of(Field::Price);
            candidates.retain(|candidate| Some(&candidate.place) != price.as_ref());
        }
        keys.push(("variants", quoted(&list)));
        candidates = of_variants
            .into_iter()
            .chain(candidates.into_iter().filter_map(around))
            .collect();
    }
    Found {
        format,
        keys,
        candidates,
        reasons,
    }
}

/// The list inside most records whose elements have a price, with what the elements hold. Where
/// the record has a price too, the elements must have a key of their own.
fn variants(records: &[&Value], of_record: &[Candidate]) -> Option<(String, Vec<Candidate>)> {
    let mut lists: Vec<(String, usize, Vec<Candidate>)> = Vec::new();
    for record in records {
        let mut found = Vec::new();
        collect_lists(record, "", 0, &mut found);
        for (path, elements) in found {
            let Some(path) = path.strip_prefix('.').filter(|path| !path.contains('[')) else {
                continue;
            };
            let at = lists.iter().position(|(known, ..)| known == path);
            let at = at.unwrap_or_else(|| {
                lists.push((path.to_owned(), 0, Vec::new()));
                lists.len() - 1
            });
            let (_, n_records, candidates) = &mut lists[at];
            *n_records += 1;
            for element in elements {
                collect_leaves(element, "", 0, candidates);
            }
        }
    }
    let keys = [Field::Sku, Field::Gtin, Field::Mpn];
    let needs_key = has(of_record, &[Field::Price]);
    let fitting = lists.into_iter().filter(|(path, n_records, candidates)| {
        let name = path.to_lowercase();
        n_records * 2 > records.len()
            && !OTHER_LISTS.iter().any(|other| name.contains(other))
            && has(candidates, &[Field::Price])
            && (!needs_key || has(candidates, &keys))
    });
    let mut fitting = fitting.map(|(path, _, candidates)| (path, candidates));
    fitting.next()
}

/// True when one of the fields is among the candidates.
fn has(candidates: &[Candidate], wanted: &[Field]) -> bool {
    let assigned = assign(candidates);
    let mut fields = assigned.fields.iter();
    fields.any(|(field, _)| wanted.contains(field))
}

/// What the record around a variant holds, as a variant's mapping writes it.
fn around(candidate: Candidate) -> Option<Candidate> {
    (!candidate.place.starts_with('$')).then(|| Candidate {
        place: format!("^.{}", candidate.place),
        ..candidate
    })
}

/// The first lines as objects, if there are at least two and all of them are.
fn lines(sample: &str, is_whole: bool) -> Option<Vec<Value>> {
    let mut lines: Vec<&str> = sample
        .lines()
        .filter(|line| !line.trim().is_empty())
        .collect();
    if !is_whole {
        lines.pop();
    }
    if lines.len() < 2 {
        return None;
    }
    let objects = lines.iter().take(RECORDS_LOOKED_AT).map(|line| {
        let value: Value = serde_json::from_str(line).ok()?;
        value.is_object().then_some(value)
    });
    objects.collect()
}

fn collect_lists<'v>(
    value: &'v Value,
    path: &str,
    depth: usize,
    lists: &mut Vec<(String, Vec<&'v Value>)>,
) {
    match value {
        Value::Array(elements) => {
            let records: Vec<&Value> = elements
                .iter()
                .filter(|element| element.is_object())
                .collect();
            if !records.is_empty() && records.len() * 2 > elements.len() {
                lists.push((path.to_owned(), records));
            }
        }
        Value::Object(members) if depth < DEPTH_MAX => {
            for (name, inner) in members {
                collect_lists(inner, &format!("{path}{}", step(name)), depth + 1, lists);
            }
        }
        _ => {}
    }
}

fn collect_leaves(value: &Value, path: &str, depth: usize, candidates: &mut Vec<Candidate>) {
    let Value::Object(members) = value else {
        return;
    };
    for (name, inner) in members {
        let inner_path = format!("{path}{}", step(name));
        match inner {
            Value::Object(_) if depth < DEPTH_MAX => {
                collect_leaves(inner, &inner_path, depth + 1, candidates);
            }
            Value::Array(elements) if elements.iter().any(|element| !element.is_object()) => {
                add(name, &inner_path, elements.first(), candidates);
            }
            Value::Object(_) | Value::Array(_) => {}
            leaf => add(name, &inner_path, Some(leaf), candidates),
        }
    }
}

fn add(name: &str, path: &str, value: Option<&Value>, candidates: &mut Vec<Candidate>) {
    let text = match value {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(other) => other.to_string(),
    };
    let place = match path.strip_prefix('.') {
        Some(dotted) if !path.contains('[') => dotted.to_owned(),
        _ => format!("${path}"),
    };
    match candidates
        .iter_mut()
        .find(|candidate| candidate.place == place)
    {
        Some(known) => known.values.push(text),
        None => candidates.push(Candidate {
            place,
            name: name.to_owned(),
            values: vec![text],
        }),
    }
}

/// `.name`, or `['name']` where the name is no plain word.
fn step(name: &str) -> String {
    let is_plain = name.chars().all(|c| c.is_alphanumeric() || c == '_')
        && name.chars().next().is_some_and(|c| !c.is_ascii_digit());
    if is_plain {
        return format!(".{name}");
    }
    let escaped = name.replace('\\', "\\\\").replace('\'', "\\'");
    format!("['{escaped}']")
}

/// Closes a document that was cut, behind its last whole element.
fn closed(sample: &str) -> String {
    let mut open: Vec<char> = Vec::new();
    let (mut in_string, mut is_escaped) = (false, false);
    let mut last_whole: (usize, String) = (0, String::new());
    for (at, c) in sample.char_indices() {
        match c {
            _ if is_escaped => is_escaped = false,
            '\\' if in_string => is_escaped = true,
            '"' => in_string = !in_string,
            _ if in_string => {}
            '{' => open.push('}'),
            '[' => open.push(']'),
            '}' | ']' => {
                open.pop();
            }
            ',' => last_whole = (at, open.iter().rev().collect()),
            _ => {}
        }
    }
    let (end, closers) = last_whole;
    format!("{}{closers}", &sample[..end])
}
