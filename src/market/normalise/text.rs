//! Cleans the texts that people read: titles, brands, notes.

use crate::catalogue::reading::Property;
use crate::market::raw::{Field, RawOffer};
use crate::money::push_folded;

const TITLE_CHARACTERS_MAX: usize = 300;
const SHORT_CHARACTERS_MAX: usize = 120;

/// The record's title, if it has one, and what was changed in it.
pub(super) fn title(raw: &RawOffer) -> (Option<String>, Vec<String>) {
    let Some(value) = raw.first(Field::Title) else {
        return (None, Vec::new());
    };
    let mut notes = Vec::new();
    if value.text.chars().any(is_damage) {
        notes.push("title: control characters dropped".to_owned());
    }
    let cleaned = clean(&value.text);
    let title = if is_within(&cleaned, TITLE_CHARACTERS_MAX) {
        cleaned
    } else {
        notes.push(format!("title: cut to {TITLE_CHARACTERS_MAX} characters"));
        bounded(&cleaned, TITLE_CHARACTERS_MAX)
    };
    (Some(title).filter(|title| !title.is_empty()), notes)
}

/// A short text of the record, cleaned; `None` when it is blank.
pub(super) fn short(raw: &RawOffer, field: Field) -> Option<String> {
    let cleaned = clean(&raw.first(field)?.text);
    let short = if is_within(&cleaned, SHORT_CHARACTERS_MAX) {
        cleaned
    } else {
        bounded(&cleaned, SHORT_CHARACTERS_MAX)
    };
    Some(short).filter(|text| !text.is_empty())
}

/// The record's properties, cleaned, each once, in the order of their names.
pub(super) fn properties(raw: &RawOffer) -> Vec<Property> {
    let cleaned = raw.properties.iter().map(|property| Property {
        name: clean(&property.name),
        value: clean(&property.value),
        unit: property.unit.as_deref().map(clean),
    });
    let mut properties: Vec<Property> = cleaned
        .filter(|property| !property.name.is_empty() && !property.value.is_empty())
        .collect();
    properties.sort_unstable();
    properties.dedup();
    properties
}

/// Decodes entities once, drops control characters, folds white space.
pub(super) fn clean(text: &str) -> String {
    if is_clean(text) {
        return text.to_owned();
    }
    let decoded = if text.contains('&') {
        html_escape::decode_html_entities(text)
    } else {
        text.into()
    };
    let mut cleaned = String::with_capacity(decoded.len());
    for character in decoded.chars() {
        if character.is_whitespace() {
            if !cleaned.is_empty() && !cleaned.ends_with(' ') {
                cleaned.push(' ');
            }
        } else if !character.is_control() && !is_invisible(character) {
            cleaned.push(character);
        }
    }
    cleaned.truncate(cleaned.trim_end().len());
    cleaned
}

/// True of plain ASCII that cleaning would leave as it is: most texts, told byte by byte.
fn is_clean(text: &str) -> bool {
    let mut before = b' ';
    for byte in text.bytes() {
        if !(byte.is_ascii_graphic() || byte == b' ' && before != b' ') || byte == b'&' {
            return false;
        }
        before = byte;
    }
    before != b' '
}

/// Whether a text has so many characters at most; short ones need no counting.
fn is_within(text: &str, characters_max: usize) -> bool {
    text.len() <= characters_max || text.chars().count() <= characters_max
}

/// The first characters of a text, with a sign where it was cut.
pub(super) fn bounded(text: &str, characters_max: usize) -> String {
    if is_within(text, characters_max) {
        return text.to_owned();
    }
    match text.char_indices().nth(characters_max) {
        None => text.to_owned(),
        Some(_) => {
            let kept: String = text
                .chars()
                .take(characters_max.saturating_sub(1))
                .collect();
            format!("{}…", kept.trim_end())
        }
    }
}

/// A text for comparison: no case, accents, separators or full stops.
pub(super) fn key(text: &str) -> String {
    let mut key = String::with_capacity(text.len());
    for character in text.chars() {
        let separates =
            character.is_whitespace() || matches!(character, '_' | '-' | '.' | '\'' | '’');
        if !separates && !character.is_control() && !is_invisible(character) {
            push_folded(character, &mut key);
        }
    }
    key
}

/// The words of a text, folded: letters and digits, one space between.
pub(super) fn words(text: &str) -> String {
    let mut words = String::with_capacity(text.len() + 2);
    words.push(' ');
    for character in text.chars() {
        if character.is_alphanumeric() {
            push_folded(character, &mut words);
        } else if !words.ends_with(' ') && !is_invisible(character) {
            words.push(' ');
        }
    }
    if !words.ends_with(' ') {
        words.push(' ');
    }
    words
}

fn is_damage(character: char) -> bool {
    character.is_control() && !character.is_whitespace()
}

/// Soft hyphens, zero-width characters and direction marks.
fn is_invisible(character: char) -> bool {
    matches!(
        character,
        '\u{ad}' | '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn titles_are_decoded_at_most_once_and_lose_what_is_invisible() {
        for (text, expected) in [
            // S29, S38: one pass of decoding.
            ("27&quot; panel", "27\" panel"),
            ("Kit &amp;amp; cooler", "Kit &amp; cooler"),
            // F20, F38: control characters and NUL bytes.
            ("Nord\u{b}hafen\0 K650\u{1a}", "Nord hafen K650"),
            ("  Fenrir\u{a0}9080\n OC ", "Fenrir 9080 OC"),
            ("Fen\u{ad}rir\u{200f}", "Fenrir"),
        ] {
            assert_eq!(clean(text), expected, "{text:?}");
        }
    }

    #[test]
    fn long_texts_are_cut_between_characters() {
        assert_eq!(bounded("äöü", 3), "äöü");
        assert_eq!(bounded("äöüß", 3), "äö…");
    }
}
