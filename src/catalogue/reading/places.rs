//! Tells what a title says of the thing itself from what it serves, brings along or lacks.

use super::lexicon::Word;
use super::scan::Scan;
use super::{Glue, Place};

/// Gives every atom its place; "for" and "with" reach to the end of their clause.
pub(super) fn place(scan: &mut Scan) {
    let words = std::mem::take(&mut scan.words);
    let mut relations = words.iter().peekable();
    let mut place = Place::Main;
    let mut negated_until = 0;
    for atom in 0..scan.len() {
        if scan.glue(atom) == Glue::Break {
            place = Place::Main;
        }
        let relation = relations.next_if(|(first, ..)| *first == atom);
        scan.atoms[atom].place = if atom < negated_until {
            Place::Negated
        } else {
            place
        };
        while relations.peek().is_some_and(|(first, ..)| *first <= atom) {
            relations.next();
        }
        match relation {
            Some((_, _, Word::Serves)) => place = Place::Context,
            Some((_, _, Word::With)) if place == Place::Main => place = Place::Attached,
            Some((_, length, Word::Without)) => {
                negated_until = group_end(scan, &words, atom + length);
            }
            _ => {}
        }
    }
    scan.words = words;
}

/// The end of the one word, hyphenated or known as a phrase, that begins at an atom.
fn group_end(scan: &Scan, words: &[(usize, usize, Word)], start: usize) -> usize {
    if start >= scan.len() || scan.glue(start) == Glue::Break {
        return start;
    }
    let phrase = words.iter().find(|(first, ..)| *first == start);
    let mut end = start + phrase.map_or(1, |(_, length, _)| *length);
    while end < scan.len() && matches!(scan.glue(end), Glue::Joined | Glue::Hyphen) {
        end += 1;
    }
    end
}
