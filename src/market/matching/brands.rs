//! Which brand an offer is of: its column's, or the one that its title names.

use super::compare::Title;
use super::matcher::Matcher;
use super::profile::{UNKNOWN_WORD, brand_atoms};
use crate::catalogue::Kind;
use crate::catalogue::reading::{Place, Reading, Use, read_title};
use std::borrow::Cow;
use std::ops::Bound;

impl Matcher {
    /// A brand column's brand: a known one where it begins with one, nothing where it is filled in
    /// for form's sake.
    pub(super) fn stated_brand(&self, text: &str) -> Option<Cow<'_, str>> {
        // Most columns spell a brand as the catalogue does, and need not be read.
        match self.spelt_brands.get(text) {
            Some(known) => known.as_deref().map(Cow::Borrowed),
            None => self.read_brand(text).map(Cow::Owned),
        }
    }

    /// What [`Matcher::stated_brand`] says, worked out of the text.
    pub(super) fn read_brand(&self, text: &str) -> Option<String> {
        const FILLERS: &[&str] = &[
            "na",
            "none",
            "unknown",
            "unbekannt",
            "generic",
            "noname",
            "oem",
            "diverse",
            "various",
            "sonstige",
            "other",
            "andere",
            "markenlos",
            "unbranded",
            "ka",
            "null",
            "nobrand",
            "inconnu",
            "altro",
            "otros",
            "inny",
            "overig",
            "bulk",
            "notapplicable",
        ];
        let reading = read_title(text);
        let key = reading.compact(0..reading.atoms.len());
        if key.is_empty() || FILLERS.contains(&key.as_str()) {
            return None;
        }
        let known = self.brand_at(&reading, 0).map(|(brand, _)| brand);
        Some(
            known
                .or_else(|| self.near_brand(&key))
                .map_or(key.clone(), str::to_owned),
        )
    }

    /// The one brand that a word misses by one letter.
    pub(super) fn near_brand(&self, word: &str) -> Option<&str> {
        const LEAST: usize = 5;
        let first = word.get(..1)?;
        let from = (Bound::Included(first), Bound::Unbounded);
        let alike = self.profiles.brands.range::<str, _>(from);
        let alike = alike.take_while(|(brand, _)| brand.starts_with(first));
        let mut alike = alike.map(|(brand, _)| brand.as_str()).filter(|brand| {
            brand.len() >= LEAST
                && brand.len().abs_diff(word.len()) <= 1
                && strsim::damerau_levenshtein(brand, word) == 1
        });
        let found = alike.next().filter(|_| word.len() >= LEAST)?;
        alike.next().is_none().then_some(found)
    }

    /// The brand that begins at an atom, and its length; the longest.
    pub(super) fn brand_at(&self, reading: &Reading, at: usize) -> Option<(&str, usize)> {
        let first = reading.letters(at);
        let from = (Bound::Included(first), Bound::Unbounded);
        let from = self.profiles.brands.range::<str, _>(from);
        let near = from.take_while(|(brand, _)| brand.starts_with(first));
        let found = near.map(|(brand, _)| (brand.as_str(), brand_atoms(reading, at, brand)));
        found
            .filter(|(_, length)| *length > 0)
            .max_by_key(|(_, length)| *length)
    }

    /// Brands that a title names as its own.
    pub(super) fn brands_of(&self, title: &Title) -> Vec<&str> {
        let mains = (0..title.ids.len())
            .filter(|at| title.is_brand[*at] && title.reading.atoms[*at].place == Place::Main);
        let mut brands: Vec<&str> = mains
            .filter_map(|at| self.brand_at(&title.reading, at))
            .map(|(brand, _)| brand)
            .collect();
        brands.sort_unstable();
        brands.dedup();
        brands
    }

    /// The brand that a title seems to name with a slip.
    pub(super) fn misspelt_brand(&self, title: &Title) -> Option<&str> {
        let atoms = title.reading.atoms.iter().enumerate();
        let open = atoms.filter(|(at, atom)| {
            title.ids[*at] == UNKNOWN_WORD && atom.used == Use::Free && atom.place == Place::Main
        });
        let mut near = open.filter_map(|(at, _)| self.near_brand(title.reading.text(at)));
        near.next()
    }

    pub(super) fn makes(&self, brand: &str, kind: Kind) -> bool {
        self.profiles
            .brands
            .get(brand)
            .is_some_and(|kinds| kinds.contains(&kind))
    }
}
