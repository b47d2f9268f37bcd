//! A first look at JSON: where the records are, and what they hold.

use super::{Candidate, Found, quoted};
use crate::feeds::decode::fault::DecodeFault;
use crate::feeds::decode::json_stream::json_fault;
use serde_json::Value;

const RECORDS_LOOKED_AT: usize = 40;
/// Objects inside a record that are followed.
const DEPTH_MAX: usize = 4;

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
    reasons: Vec<String>,
) -> Found {
    let records = &records[..records.len().min(RECORDS_LOOKED_AT)];
    let mut candidates = Vec::new();
    for record in records {
        collect_leaves(record, "", 0, &mut candidates);
    }
    Found {
        format,
        keys: path
            .map(|path| ("records", quoted(&path)))
            .into_iter()
            .collect(),
        candidates,
        reasons,
    }
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
