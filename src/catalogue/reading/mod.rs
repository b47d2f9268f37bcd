//! Reads what the text of a part's title claims: capacity, modules, socket, colour and so on.
//!
//! A text goes in; a [`Reading`] comes out: claims with the text that they rest on, signs of what
//! the thing is (a kit, an accessory, a whole system), and the atoms that may name the model.
//! Catalogue names and retailers' titles are read by the same code, so that they compare. Knows
//! no catalogue and decides nothing.
//!
//! Start at [`read_title`]; [`What`] lists the claims, `words` and `things` hold the vocabulary.

mod claim;
mod finish;
mod fold;
mod lex;
mod lexicon;
mod measures;
mod memory;
mod numbers;
mod packs;
mod places;
mod properties;
mod scan;
mod standards;
#[cfg(test)]
mod tests;
mod things;
mod words;

pub use claim::{Claim, What};
pub use properties::{Property, kind_of_properties, read_property};

use super::Kind;
use std::ops::Range;

/// What a title says.
#[derive(Debug, Clone, Default)]
pub struct Reading {
    pub claims: Vec<Claim>,
    pub signs: Vec<Seen>,
    pub atoms: Vec<Atom>,
    /// The title ends in the middle: what it lacks may have been cut off.
    pub is_cut: bool,
    folded: String,
    origin: Vec<usize>,
}

/// A run of letters or of digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Atom {
    start: usize,
    end: usize,
    /// What stands before it.
    pub glue: Glue,
    pub is_number: bool,
    /// The one spelling of a word that has several, such as `wifi`.
    canon: Option<&'static str>,
    pub used: Use,
    pub place: Place,
    /// Counts the parts of the title between commas, brackets and the like.
    pub clause: u16,
}

/// What stands between two atoms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glue {
    /// Nothing: letters meet digits.
    Joined,
    Hyphen,
    Dot,
    Comma,
    Slash,
    Plus,
    /// Another mark without a space.
    Mark,
    Space,
    /// An inch sign.
    Inch,
    /// A stroke or an ampersand set off by spaces: one more thing.
    Or,
    /// A comma, bracket, bar, dash or the like: another clause.
    Break,
}

/// What an atom has been read as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Use {
    /// Nothing yet: it may name the model.
    Free,
    /// Part of a claim.
    Claim(What),
    /// A length, speed or the like, which may be a model's number too.
    Measure,
    /// A word for a feature that tells variants apart.
    Variant,
    /// A word or number that tells nothing of the model.
    Silent,
}

/// How an atom relates to what is sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// It describes the thing itself.
    Main,
    /// It comes with the thing: after "with".
    Attached,
    /// It is what the thing serves: after "for".
    Context,
    /// The thing is without it.
    Negated,
}

/// A sign of what is sold, and where it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    pub sign: Sign,
    pub atom: usize,
    pub place: Place,
    pub clause: u16,
}

/// What a word says of the thing as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// A thing that goes with a part.
    Accessory,
    /// Nothing else comes.
    Only,
    /// Several products for one price.
    Bundle,
    /// A set: of one product, or of several.
    Set,
    /// A kit: memory modules, or several products.
    Kit,
    /// A whole machine.
    System,
    /// One of several products, to be chosen.
    Choice,
    /// Broken, sold for its parts.
    ForParts,
    /// Something follows a plus sign.
    Added,
    /// A word for a kind of part.
    Kind(Kind),
}

/// Reads a title or a catalogue name. Any text is read; what is not understood stays an atom.
pub fn read_title(text: &str) -> Reading {
    scan::read(text)
}

impl Atom {
    /// The one spelling of a feature that has several, such as `wifi`.
    pub fn canon(self) -> Option<&'static str> {
        self.canon
    }
}

impl Reading {
    /// An atom's text in its one spelling.
    pub fn text(&self, atom: usize) -> &str {
        let one = &self.atoms[atom];
        one.canon.unwrap_or(&self.folded[one.start..one.end])
    }

    /// The source's bytes that an atom was read from.
    pub fn span(&self, atom: usize) -> Range<usize> {
        let one = &self.atoms[atom];
        self.origin[one.start]..self.origin[one.end]
    }

    /// The letters and digits of some atoms as they stand, without what is between them.
    pub fn compact(&self, atoms: Range<usize>) -> String {
        let pieces = self.atoms[atoms].iter();
        pieces.map(|one| &self.folded[one.start..one.end]).collect()
    }

    /// An atom's letters or digits as they stand.
    pub fn letters(&self, atom: usize) -> &str {
        let one = &self.atoms[atom];
        &self.folded[one.start..one.end]
    }

    /// The folded text, the same for texts that look the same.
    pub fn folded(&self) -> &str {
        self.folded.trim()
    }

    /// What the title claims of one thing, said of the part itself or of what comes with it.
    pub fn claimed(&self, what: What) -> impl Iterator<Item = &Claim> {
        self.claims.iter().filter(move |claim| {
            claim.what == what && matches!(claim.place, Place::Main | Place::Attached)
        })
    }
}
