//! Reads JSON as pages carry it: wrapped in comments, with trailing commas, raw line ends or
//! entities. What cannot be repaired without guessing is an error.

use crate::feeds::decode::entities::decode_entities;
use serde_json::Value;

/// Wrappers that templates put around a script's body, opening and closing.
const OPENINGS: [&str; 4] = ["<!--", "//<![CDATA[", "/*<![CDATA[*/", "<![CDATA["];
const CLOSINGS: [&str; 6] = ["-->", "//]]>", "/*]]>*/", "]]>", ";", "//"];

/// Parses a block; `None` when it is empty. The error is that of the text as it stands, because
/// its position helps a person to find the place.
pub(super) fn parse_lenient(text: &str) -> Result<Option<Value>, serde_json::Error> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let error = match serde_json::from_str(text) {
        Ok(value) => return Ok(Some(value)),
        Err(error) => error,
    };
    let unwrapped = unwrap(text);
    if unwrapped.is_empty() {
        return Ok(None);
    }
    if let Ok(value) = serde_json::from_str(&repaired(unwrapped)) {
        return Ok(Some(value));
    }
    // Entities are decoded last: done earlier, `"27&quot; panel"` would lose its quotes' balance.
    let decoded = decode_entities(unwrapped);
    match serde_json::from_str(&repaired(&decoded)) {
        Ok(value) => Ok(Some(value)),
        Err(_) => Err(error),
    }
}

fn unwrap(text: &str) -> &str {
    let mut text = text;
    loop {
        let mut inner = text.trim();
        for opening in OPENINGS {
            inner = inner.strip_prefix(opening).unwrap_or(inner).trim_start();
        }
        for closing in CLOSINGS {
            inner = inner.strip_suffix(closing).unwrap_or(inner).trim_end();
        }
        if inner.len() == text.len() {
            return inner;
        }
        text = inner;
    }
}

/// Drops comments and trailing commas outside strings; escapes control characters inside.
fn repaired(text: &str) -> String {
    let mut output = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let used = match first {
            '"' => copy_string(rest, &mut output),
            '/' if rest.starts_with("//") => rest.find(['\n', '\r']).unwrap_or(rest.len()),
            '/' if rest.starts_with("/*") => rest.find("*/").map_or(rest.len(), |end| end + 2),
            '}' | ']' => {
                let kept = output.trim_end();
                let kept = kept.strip_suffix(',').unwrap_or(kept).len();
                output.truncate(kept);
                output.push(first);
                1
            }
            other => {
                output.push(other);
                other.len_utf8()
            }
        };
        rest = &rest[used..];
    }
    output
}

/// Copies a string with its quotes and returns the bytes it took.
fn copy_string(text: &str, output: &mut String) -> usize {
    let mut characters = text.char_indices();
    let mut is_open = false;
    while let Some((at, c)) = characters.next() {
        match c {
            '"' if is_open => {
                output.push('"');
                return at + 1;
            }
            '"' => {
                output.push('"');
                is_open = true;
            }
            '\\' => match characters.next() {
                // JSON has no such escape; JavaScript does, and templates borrow it.
                Some((_, '\'')) => output.push('\''),
                Some((_, escaped)) => {
                    output.push('\\');
                    output.push(escaped);
                }
                None => output.push('\\'),
            },
            c if c < ' ' => output.push_str(&format!("\\u{:04x}", u32::from(c))),
            c => output.push(c),
        }
    }
    text.len()
}
