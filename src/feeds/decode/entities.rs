//! Character references of XML and HTML, read leniently.

use quick_xml::escape::unescape;
use std::borrow::Cow;

/// The longest name between `&` and `;`: HTML's longest has 31 characters.
const NAME_BYTES_MAX: usize = 40;

/// Replaces `&name;` and `&#number;` once. What is not a known reference stays as it is;
/// references to control characters that no text uses are dropped (XML 1.0 section 2.2).
pub(super) fn decode_entities(text: &str) -> Cow<'_, str> {
    if !text.contains('&') {
        return Cow::Borrowed(text);
    }
    let mut decoded = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find('&') {
        let (before, reference) = rest.split_at(start);
        decoded.push_str(before);
        let end = reference
            .bytes()
            .take(NAME_BYTES_MAX)
            .position(|byte| byte == b';');
        let read = end.and_then(|end| Some((entity(reference.get(1..end)?)?, end)));
        match read {
            Some((value, end)) => {
                decoded.push_str(&value);
                rest = &reference[end + 1..];
            }
            None => {
                decoded.push('&');
                rest = &reference[1..];
            }
        }
    }
    decoded.push_str(rest);
    Cow::Owned(decoded)
}

/// What a reference stands for, given its name (`eacute`) or number (`#233`).
pub(super) fn entity(name: &str) -> Option<String> {
    let value = unescape(&format!("&{name};")).ok()?.into_owned();
    let is_damage = |c: char| c < ' ' && !matches!(c, '\t' | '\n' | '\r');
    Some(value.replace(is_damage, ""))
}
