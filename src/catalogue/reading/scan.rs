//! The passes over a title: words, places, numbers, then what the words say.

use super::fold::{Folded, fold};
use super::lex::{Lexed, lex};
use super::lexicon::{self, Word};
use super::{Atom, Claim, Glue, Reading, Seen, Sign, Use, What};
use super::{finish, numbers, places};
use crate::catalogue::SpecValue;
use std::ops::Range;

/// A title longer than this is read up to here.
const ATOMS_MAX: usize = 200;

/// A title on its way to a reading.
pub(super) struct Scan {
    folded: Folded,
    pub atoms: Vec<Atom>,
    pub claims: Vec<Claim>,
    pub signs: Vec<Seen>,
    /// Words of the vocabulary: first atom, number of atoms, what they say.
    pub words: Vec<(usize, usize, Word)>,
    /// The title speaks of memory, where bare numbers are rates and timings.
    pub is_memory: bool,
}

pub(super) fn read(source: &str) -> Reading {
    let folded = fold(source);
    let Lexed {
        mut atoms,
        added,
        is_cut,
    } = lex(&folded);
    let is_cut = is_cut || atoms.len() > ATOMS_MAX;
    atoms.truncate(ATOMS_MAX);
    let mut scan = Scan {
        folded,
        atoms,
        claims: Vec::new(),
        signs: Vec::new(),
        words: Vec::new(),
        is_memory: false,
    };
    scan.look_up_words();
    scan.is_memory = scan.speaks_of_memory();
    places::place(&mut scan);
    for atom in added {
        if atom < scan.len() {
            scan.sign(Sign::Added, atom);
        }
    }
    numbers::read(&mut scan);
    scan.apply_words();
    finish::finish(&mut scan);
    Reading {
        claims: scan.claims,
        signs: scan.signs,
        atoms: scan.atoms,
        is_cut,
        folded: scan.folded.text,
        origin: scan.folded.origin,
    }
}

impl Scan {
    pub fn len(&self) -> usize {
        self.atoms.len()
    }

    /// An atom's text; nothing behind the end.
    pub fn text(&self, atom: usize) -> &str {
        let one = self.atoms.get(atom);
        one.map_or("", |one| &self.folded.text[one.start..one.end])
    }

    pub fn is_any(&self, atom: usize, texts: &[&str]) -> bool {
        texts.contains(&self.text(atom))
    }

    /// What stands before an atom; the end is a break.
    pub fn glue(&self, atom: usize) -> Glue {
        self.atoms.get(atom).map_or(Glue::Break, |one| one.glue)
    }

    /// True when an atom goes on from the one before, with or without a space.
    pub fn follows(&self, atom: usize) -> bool {
        !matches!(self.glue(atom), Glue::Break | Glue::Or | Glue::Plus)
    }

    pub fn is_joined(&self, atom: usize) -> bool {
        self.glue(atom) == Glue::Joined
    }

    /// A whole number of at most nine digits.
    pub fn number(&self, atom: usize) -> Option<i64> {
        let text = self.text(atom);
        if text.len() > 9 || !self.atoms.get(atom)?.is_number {
            return None;
        }
        text.parse().ok()
    }

    /// The character right after an atom.
    pub fn mark_after(&self, atom: usize) -> Option<char> {
        let end = self.atoms.get(atom)?.end;
        self.folded.text[end..].chars().next()
    }

    pub fn claim(&mut self, what: What, value: SpecValue, atoms: Range<usize>) {
        self.say(what, value, atoms.clone());
        self.mark(atoms, Use::Claim(what));
    }

    pub fn claim_number(&mut self, what: What, value: i64, atoms: Range<usize>) {
        self.claim(what, SpecValue::Number(value), atoms);
    }

    pub fn claim_text(&mut self, what: What, value: &str, atoms: Range<usize>) {
        self.claim(what, SpecValue::Text(value.into()), atoms);
    }

    /// Records a claim without using its atoms up: they may name the model too.
    pub fn say(&mut self, what: What, value: SpecValue, atoms: Range<usize>) {
        let (first, last) = (atoms.start, atoms.end - 1);
        let origin = &self.folded.origin;
        self.claims.push(Claim {
            what,
            value,
            place: self.atoms[first].place,
            atom: first,
            span: origin[self.atoms[first].start]..origin[self.atoms[last].end],
        });
    }

    pub fn mark(&mut self, atoms: Range<usize>, used: Use) {
        for atom in &mut self.atoms[atoms] {
            atom.used = used;
        }
    }

    pub fn sign(&mut self, sign: Sign, atom: usize) {
        let Atom { place, clause, .. } = self.atoms[atom];
        self.signs.push(Seen {
            sign,
            atom,
            place,
            clause,
        });
    }

    fn look_up_words(&mut self) {
        let mut words = Vec::new();
        let mut at = 0;
        while at < self.len() {
            let found = self.word_at(at);
            words.extend(found.map(|(length, word)| (at, length, word)));
            at += found.map_or(1, |(length, _)| length);
        }
        self.words = words;
    }

    fn word_at(&self, first: usize) -> Option<(usize, Word)> {
        let text = self.text(first);
        if self.atoms[first].is_number {
            return None;
        }
        let touches_number = self.is_joined(first) || self.is_joined(first + 1);
        if touches_number && text.len() <= 2 {
            return None;
        }
        if text == "o" {
            // German "o." is short for "ohne".
            return (self.mark_after(first) == Some('.')).then_some((1, Word::Without));
        }
        let is_short = self.mark_after(first) == Some('/') && !touches_number;
        match text {
            "w" if is_short && self.text(first + 1) != "o" => return Some((1, Word::With)),
            // Spanish "c/" and "s/" are short for "con" and "sin".
            "c" if is_short => return Some((1, Word::With)),
            "s" if is_short => return Some((1, Word::Without)),
            _ => {}
        }
        lexicon::find(text, |n| {
            let whole = (1..=n).all(|step| self.follows(first + step));
            (whole && first + n < self.len()).then(|| self.text(first + n))
        })
    }

    fn speaks_of_memory(&self) -> bool {
        (0..self.len()).any(|atom| match self.text(atom) {
            "ddr" | "dimm" | "sodimm" | "udimm" | "rdimm" | "ram" | "arbeitsspeicher" => true,
            "pc" => self.is_joined(atom + 1) && self.number(atom + 2) >= Some(6000),
            "d" => !self.is_joined(atom) && self.is_any(atom + 1, &["4", "5"]),
            "x" => {
                let each = self.number(atom + 1).unwrap_or(0);
                let counts = atom > 0 && self.number(atom - 1).is_some_and(|n| n <= 8);
                counts && each >= 4 && self.is_any(atom + 2, &["gb", "go"])
            }
            _ => false,
        })
    }

    /// Turns the words into claims and signs, where no number has used them.
    fn apply_words(&mut self) {
        for (first, length, word) in std::mem::take(&mut self.words) {
            let atoms = first..first + length;
            if self.atoms[first].used != Use::Free {
                continue;
            }
            match word {
                Word::Serves | Word::With | Word::Without | Word::Silent => {
                    self.mark(atoms, Use::Silent);
                }
                Word::Sign(sign) => {
                    self.sign(sign, first);
                    self.mark(atoms, Use::Silent);
                }
                Word::Is(what, value) => self.claim_text(what, value, atoms),
                Word::Counts(what, count) => self.claim_number(what, count, atoms),
                Word::Feature(name) => {
                    self.mark(atoms, Use::Silent);
                    self.atoms[first].canon = Some(name);
                    self.atoms[first].used = Use::Variant;
                }
                Word::Variant => self.mark(atoms, Use::Variant),
            }
        }
    }
}
