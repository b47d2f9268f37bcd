//! Titles that no shop writes of one part: too long for a name, or one word over and over. Whatever such a title
//! fits, a person is to see it first; keys that name the part are another matter.

use super::evidence::Objection;
use crate::catalogue::reading::Reading;
use std::collections::BTreeMap;

/// Shops' own limits lie at 200 characters and less: common practice, no source.
const CHARACTERS_MAX: usize = 250;
/// A word of a name comes twice or thrice where shops add keywords.
const TIMES_MAX: usize = 5;
/// Shorter ones are units, sizes and words of grammar.
const WORD_MIN: usize = 3;

/// What is odd about a title, if anything is.
pub(super) fn oddness(text: &str, reading: &Reading) -> Option<Objection> {
    let length = text.chars().count();
    if length > CHARACTERS_MAX {
        return Some(Objection::Long(length));
    }
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    for atom in 0..reading.atoms.len() {
        *times.entry(reading.text(atom)).or_default() += 1;
    }
    let is_word =
        |text: &str| text.chars().count() >= WORD_MIN && text.contains(char::is_alphabetic);
    let words = times.into_iter().filter(|(text, _)| is_word(text));
    let (word, times) = words.max_by_key(|(_, times)| *times)?;
    (times > TIMES_MAX).then(|| Objection::Repeats(word.to_owned(), times))
}
