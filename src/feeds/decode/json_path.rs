//! Paths into JSON: RFC 9535 queries, and the short dotted form for values.
//!
//! A query made of names, indexes and wildcards alone can be followed while the document is
//! read; every other query needs the document in memory.

use serde_json::Value;
use serde_json_path::JsonPath;

/// Where records stand in a document, or values in a record.
#[derive(Debug, Clone)]
pub(super) enum Path {
    /// One step after another; can be followed in a stream.
    Steps(Vec<Step>),
    Query(JsonPath),
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Step {
    Name(String),
    Index(usize),
    /// `[*]`: every element or member.
    Every,
    /// A name in the dotted form, which is an index where the value is an array.
    NameOrIndex(String),
}

/// Where a value stands: in the record, or in the record around a variant.
#[derive(Debug, Clone)]
pub(super) struct ValuePath {
    pub is_outer: bool,
    pub path: Path,
}

impl Path {
    /// Reads a JSONPath query.
    pub(super) fn parse_query(text: &str) -> Result<Path, String> {
        let query = JsonPath::parse(text)
            .map_err(|error| format!("\"{text}\" is not a JSONPath query: {error}"))?;
        Ok(match simple_steps(text) {
            Some(steps) => Path::Steps(steps),
            None => Path::Query(query),
        })
    }

    /// Reads a JSONPath query or names joined by dots.
    pub(super) fn parse(text: &str) -> Result<Path, String> {
        if text.starts_with('$') {
            return Path::parse_query(text);
        }
        if text.contains(['[', '@', '*']) {
            return Err(format!(
                "\"{text}\" is neither names joined by dots nor a JSONPath; a JSONPath starts with $"
            ));
        }
        let names: Vec<&str> = text.split('.').collect();
        if names.iter().any(|name| name.is_empty()) {
            return Err(format!("\"{text}\" has an empty name between its dots"));
        }
        let steps = names
            .into_iter()
            .map(|name| Step::NameOrIndex(name.to_owned()));
        Ok(Path::Steps(steps.collect()))
    }

    /// The member that the path begins with; `None` where it may begin elsewhere.
    pub(super) fn first_name(&self) -> Option<&str> {
        match self {
            Path::Steps(steps) => match steps.first()? {
                Step::Name(name) | Step::NameOrIndex(name) => Some(name),
                Step::Index(_) | Step::Every => None,
            },
            Path::Query(_) => None,
        }
    }

    /// Every value at the path, in the document's order.
    pub(super) fn find<'v>(&self, value: &'v Value) -> Vec<&'v Value> {
        match self {
            Path::Query(query) => query.query(value).all(),
            Path::Steps(steps) => {
                let mut found = Vec::new();
                follow(steps, value, &mut found);
                found
            }
        }
    }
}

impl ValuePath {
    pub(super) fn parse(text: &str) -> Result<ValuePath, String> {
        let (is_outer, rest) = match text.strip_prefix('^') {
            Some(rest) => (true, rest.strip_prefix('.').unwrap_or(rest)),
            None => (false, text),
        };
        let path = Path::parse(rest)?;
        Ok(ValuePath { is_outer, path })
    }
}

/// Adds the values at the end of the steps, in the document's order.
fn follow<'v>(steps: &[Step], value: &'v Value, found: &mut Vec<&'v Value>) {
    let Some((step, rest)) = steps.split_first() else {
        found.push(value);
        return;
    };
    let one = match (step, value) {
        (Step::Name(name) | Step::NameOrIndex(name), Value::Object(members)) => members.get(name),
        (Step::Index(index), Value::Array(elements)) => elements.get(*index),
        (Step::NameOrIndex(name), Value::Array(elements)) => {
            let index = name.parse::<usize>().ok();
            index.and_then(|index| elements.get(index))
        }
        (Step::Every, Value::Array(elements)) => {
            return elements.iter().for_each(|value| follow(rest, value, found));
        }
        (Step::Every, Value::Object(members)) => {
            return members
                .values()
                .for_each(|value| follow(rest, value, found));
        }
        _ => None,
    };
    if let Some(value) = one {
        follow(rest, value, found);
    }
}

/// The steps of a query that has names, indexes from the start and wildcards alone. The query
/// is known to be valid, so what is not understood here is left to the library.
fn simple_steps(query: &str) -> Option<Vec<Step>> {
    let mut rest = query.strip_prefix('$')?;
    let mut steps = Vec::new();
    while !rest.is_empty() {
        if let Some(after) = rest.strip_prefix('.') {
            if after.starts_with('.') {
                return None;
            }
            if let Some(after) = after.strip_prefix('*') {
                steps.push(Step::Every);
                rest = after;
                continue;
            }
            let end = after.find(['.', '[']).unwrap_or(after.len());
            let (name, after) = after.split_at(end);
            if name.is_empty() || name.contains(char::is_whitespace) {
                return None;
            }
            steps.push(Step::Name(name.to_owned()));
            rest = after;
        } else {
            let (inside, after) = rest.strip_prefix('[')?.split_once(']')?;
            steps.push(bracketed(inside)?);
            rest = after;
        }
    }
    Some(steps)
}

fn bracketed(inside: &str) -> Option<Step> {
    if inside == "*" {
        return Some(Step::Every);
    }
    if let Ok(index) = inside.parse::<usize>() {
        return Some(Step::Index(index));
    }
    let quote = inside.chars().next().filter(|c| matches!(c, '\'' | '"'))?;
    let name = inside.strip_prefix(quote)?.strip_suffix(quote)?;
    let is_plain = !name.contains(['\'', '"', '\\', ',', '[']);
    is_plain.then(|| Step::Name(name.to_owned()))
}
