//! Looks words and phrases up in the vocabulary.

use super::{Sign, What, things, words};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What a word of the vocabulary says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Word {
    /// What follows is what the thing serves.
    Serves,
    /// What follows comes with it.
    With,
    /// What follows is not there.
    Without,
    Sign(Sign),
    /// A claim in a word.
    Is(What, &'static str),
    /// A claim of a number in a word.
    Counts(What, i64),
    /// A feature that tells variants apart, in its one spelling.
    Feature(&'static str),
    /// A word that makes another model of whatever it stands beside.
    Variant,
    /// It tells nothing of the model.
    Silent,
}

/// A word, or a list of them, and the words and phrases that say it, with bars between.
pub(super) type Row = (Word, &'static str);

/// Phrases by their first word, the longest first.
type Phrases = BTreeMap<&'static str, Vec<(Vec<&'static str>, Word)>>;

static PHRASES: LazyLock<Phrases> = LazyLock::new(|| {
    let mut phrases = Phrases::new();
    for (word, spellings) in words::ROWS.iter().chain(things::ROWS) {
        for spelling in spellings.split('|') {
            let mut pieces = spelling.split_whitespace();
            if let Some(first) = pieces.next() {
                let entry = phrases.entry(first).or_default();
                entry.push((pieces.collect(), *word));
            }
        }
    }
    for entries in phrases.values_mut() {
        entries.sort_by_key(|(rest, _)| std::cmp::Reverse(rest.len()));
    }
    phrases
});

/// The word or phrase that begins with `first`; `at(n)` tells the n-th atom after it.
pub(super) fn find<'t>(
    first: &str,
    at: impl Fn(usize) -> Option<&'t str>,
) -> Option<(usize, Word)> {
    if let Some(entries) = PHRASES.get(first) {
        for (rest, word) in entries {
            let mut follows = rest.iter().enumerate();
            if follows.all(|(n, piece)| at(n + 1) == Some(piece)) {
                return Some((rest.len() + 1, *word));
            }
        }
    }
    compound(first).map(|word| (1, word))
}

/// Languages that join words say it with an end or a beginning.
fn compound(word: &str) -> Option<Word> {
    /// A compound has at least this much before or after the known half.
    const OTHER_HALF: usize = 2;
    let longer = |known: &str| word.len() >= known.len() + OTHER_HALF;
    let (first, last) = (word.bytes().next()?, word.bytes().next_back()?);
    let mut beginnings = BEGINNINGS.get(&first).into_iter().flatten();
    let mut ends = ENDS.get(&last).into_iter().flatten();
    beginnings
        .find(|(known, _)| longer(known) && word.starts_with(known))
        .or_else(|| ends.find(|(known, _)| longer(known) && word.ends_with(known)))
        .map(|(_, said)| *said)
}

/// Halves of compounds by their outermost byte: every word that nobody knows is held against
/// them, and few share a letter with it.
type Halves = BTreeMap<u8, Vec<(&'static str, Word)>>;

static BEGINNINGS: LazyLock<Halves> =
    LazyLock::new(|| halves(things::BEGINNINGS, |half| half.bytes().next()));
static ENDS: LazyLock<Halves> =
    LazyLock::new(|| halves(things::ENDS, |half| half.bytes().next_back()));

fn halves(rows: &[Row], outermost: impl Fn(&str) -> Option<u8>) -> Halves {
    let mut halves = Halves::new();
    for (said, spellings) in rows {
        for half in spellings.split('|') {
            if let Some(byte) = outermost(half) {
                halves.entry(byte).or_default().push((half, *said));
            }
        }
    }
    halves
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Kind;

    fn said(text: &str) -> Option<Word> {
        let words: Vec<&str> = text.split(' ').collect();
        find(words[0], |n| words.get(n).copied()).map(|(_, word)| word)
    }

    #[test]
    fn the_longest_phrase_is_meant() {
        assert_eq!(said("open box"), Some(Word::Is(What::Wear, "open box")));
        assert_eq!(said("box"), Some(Word::Is(What::Packaging, "boxed")));
        assert_eq!(
            said("cpu kuhler"),
            Some(Word::Sign(Sign::Kind(Kind::Cooler)))
        );
    }

    #[test]
    fn compounds_are_known_by_their_halves() {
        assert_eq!(
            said("industrielufter"),
            Some(Word::Sign(Sign::Kind(Kind::Fan)))
        );
        assert_eq!(said("ersatzblende"), Some(Word::Sign(Sign::Accessory)));
        assert_eq!(said("slotblende"), Some(Word::Sign(Sign::Accessory)));
        assert_eq!(said("fjord"), None);
    }

    #[test]
    fn every_spelling_is_written_as_titles_are_folded() {
        for (_, spellings) in words::ROWS.iter().chain(things::ROWS) {
            for spelling in spellings.split('|') {
                let is_folded = |one: char| one == ' ' || one.is_ascii_lowercase();
                assert!(
                    !spelling.trim().is_empty() && spelling.chars().all(is_folded),
                    "{spelling:?}"
                );
            }
        }
    }
}
