//! Holds one title against one part.

use super::claims;
use super::evidence::Objection;
use super::profile::{Line, Profile, Profiles, UNKNOWN_WORD, WordId};
use super::signs;
use crate::catalogue::reading::{Glue, Place, Reading, Use, What};

/// A title with the ids of its words, ready for many comparisons.
pub(super) struct Title {
    pub reading: Reading,
    pub ids: Vec<WordId>,
    /// For each atom whether it belongs to a brand's name.
    pub is_brand: Vec<bool>,
}

/// How a title fits a part.
pub(super) struct Fit {
    /// They contradict the part, whatever else says that it is meant.
    pub contradictions: Vec<Objection>,
    /// They speak against it where the title alone must tell.
    pub doubts: Vec<Objection>,
    /// Values of the part's name that the title leaves open.
    pub n_untold: u32,
    pub agreed: Vec<What>,
    /// The more, the less the title resembles the name.
    pub penalty: u32,
    /// How many of the name's words the title has, and how many it lacks.
    pub n_matched: usize,
    pub n_missing: usize,
}

/// Nearly every part of a kind has these, whether its name says so or not.
const COMMON_FEATURES: &[&str] = &["pwm"];
const SMALL_NUMBER_DIGITS: usize = 1;
const FUZZY_LEAST: usize = 4;
/// Costs, in percent of confidence. They were set on the tuning half of the labelled set.
const COST_UNTOLD: u32 = 4;
const COST_FUZZY: u32 = 8;
const COST_UNKNOWN_WITHIN: u32 = 12;
const COST_UNKNOWN_BESIDE: u32 = 5;
const COST_UNKNOWN_SHORT: u32 = 10;
const COST_UNKNOWN_NUMBER: u32 = 8;
/// A title that is cut this many atoms behind its model had room to tell more.
const ROOM_AFTER_MODEL: usize = 3;

impl Fit {
    pub fn is_clean(&self) -> bool {
        self.contradictions.is_empty() && self.doubts.is_empty()
    }

    pub fn confidence(&self, best: u8) -> u8 {
        let cost = COST_UNTOLD * self.n_untold + self.penalty;
        let against = 15 * (self.contradictions.len() + self.doubts.len()) as u32;
        u32::from(best).saturating_sub(cost + against).max(5) as u8
    }

    pub fn objections(mut self) -> Vec<Objection> {
        self.contradictions.append(&mut self.doubts);
        self.contradictions
    }
}

/// False where the title surely lacks a word of the part's name: found by ids alone, which spares
/// most parts that share one word with a title the whole comparison.
pub(super) fn may_name(title: &Title, profile: &Profile, profiles: &Profiles) -> bool {
    let is_there = |chain: &[WordId]| starts(title, chain[0]).any(|at| follows(title, at, chain));
    let mut lacking = profile.chains.iter().filter(|chain| !is_there(chain));
    // One word may be misspelt.
    match (lacking.next(), lacking.next()) {
        (None, _) => true,
        (Some(chain), None) => may_be_misspelt(&profiles.words.texts[chain[0] as usize]),
        (Some(_), Some(_)) => false,
    }
}

/// True of a word that is taken for another one letter apart.
pub(super) fn may_be_misspelt(word: &str) -> bool {
    word.len() >= FUZZY_LEAST && word.chars().all(char::is_alphabetic)
}

/// Compares a title with a part, brand aside.
pub(super) fn compare(title: &Title, profile: &Profile, profiles: &Profiles) -> Fit {
    let line = &profiles.lines[profile.line];
    let mut located = locate(title, profile, profiles);
    located.matched.sort_unstable();
    located.matched.dedup();
    let compared = claims::compare(&title.reading, profile, line);
    let mut fit = Fit {
        contradictions: compared.differs,
        doubts: compared.missing,
        n_untold: compared.n_untold,
        agreed: compared.agreed,
        penalty: located.n_fuzzy * COST_FUZZY,
        n_matched: located.n_found,
        n_missing: located.missing.len(),
    };
    let signs = signs::against(&title.reading, profile, profiles, &located.matched);
    fit.contradictions.extend(signs);
    fit.doubts
        .extend(located.missing.into_iter().map(Objection::Lacks));
    extras(title, profile, profiles, &located.matched, &mut fit);
    if title.reading.is_cut {
        let last = located.matched.last().copied().unwrap_or(0);
        let is_marked = profiles
            .all
            .iter()
            .filter(|other| other.line == profile.line)
            .count()
            > 1;
        if is_marked && title.ids.len() <= last + ROOM_AFTER_MODEL {
            fit.doubts.push(Objection::Cut);
        }
    }
    fit
}

#[derive(Default)]
struct Located {
    matched: Vec<usize>,
    missing: Vec<String>,
    n_found: usize,
    n_fuzzy: u32,
}

/// Finds the words of a part's name in a title.
fn locate(title: &Title, profile: &Profile, profiles: &Profiles) -> Located {
    let mut located = Located::default();
    for chain in &profile.chains {
        let exact = starts(title, chain[0]).find(|at| follows(title, *at, chain));
        if let Some(at) = exact {
            located.matched.extend(at..at + chain.len());
            located.n_found += 1;
            continue;
        }
        let word = &profiles.words.texts[chain[0] as usize];
        let may_be_near = located.n_fuzzy == 0 && may_be_misspelt(word);
        let mut places = 0..title.ids.len();
        let near = places.find(|at| may_be_near && is_near(title, *at, word));
        match near {
            Some(at) if chain.len() == 1 || follows(title, at, chain) => {
                located.matched.extend(at..at + chain.len());
                located.n_found += 1;
                located.n_fuzzy += 1;
            }
            _ => {
                let words = chain
                    .iter()
                    .map(|id| profiles.words.texts[*id as usize].as_str());
                located.missing.push(words.collect());
            }
        }
    }
    located
}

/// Where a word may stand for the part itself.
fn starts(title: &Title, word: WordId) -> impl Iterator<Item = usize> {
    let ids = title.ids.iter().enumerate();
    ids.filter(move |(at, id)| {
        let atom = title.reading.atoms[*at];
        let is_own = match atom.place {
            Place::Main => true,
            Place::Attached => atom.used == Use::Variant,
            Place::Context | Place::Negated => false,
        };
        **id == word && is_own
    })
    .map(|(at, _)| at)
}

/// True when the words behind the first of a chain stand next to one another.
fn follows(title: &Title, at: usize, chain: &[WordId]) -> bool {
    chain.iter().enumerate().skip(1).all(|(n, id)| {
        title.ids.get(at + n) == Some(id) && title.reading.atoms[at + n].glue != Glue::Break
    })
}

/// A word that nobody knows, one slip away from a name.
fn is_near(title: &Title, at: usize, word: &str) -> bool {
    let atom = title.reading.atoms[at];
    let text = title.reading.text(at);
    let is_open = title.ids[at] == UNKNOWN_WORD
        && atom.used == Use::Free
        && atom.place == Place::Main
        && !title.is_brand[at]
        && text.len() >= FUZZY_LEAST;
    is_open && strsim::damerau_levenshtein(text, word) <= if word.len() >= 8 { 2 } else { 1 }
}

/// A word or number that the part's name does not have, and what it stands beside.
struct Extra<'t> {
    at: usize,
    text: &'t str,
    id: WordId,
    /// Right behind a word of the name, or right before one.
    after: bool,
    before: bool,
    /// In a clause that names the part.
    in_clause: bool,
}

/// Counts what the title says beyond the part's name.
fn extras(title: &Title, profile: &Profile, profiles: &Profiles, matched: &[usize], fit: &mut Fit) {
    let line = &profiles.lines[profile.line];
    let is_matched = |at: usize| matched.binary_search(&at).is_ok();
    let reading = &title.reading;
    for (at, atom) in reading.atoms.iter().enumerate() {
        let id = title.ids[at];
        let is_own = matches!(atom.place, Place::Main | Place::Attached);
        let is_open = matches!(atom.used, Use::Free | Use::Variant);
        let is_in_name = profile.chains.iter().flatten().any(|own| *own == id);
        if is_matched(at) || !is_own || !is_open || title.is_brand[at] || is_in_name {
            continue;
        }
        let next = reading.atoms.get(at + 1);
        let extra = Extra {
            at,
            text: reading.text(at),
            id,
            after: at > 0 && is_matched(at - 1) && atom.glue != Glue::Break,
            before: is_matched(at + 1) && next.is_some_and(|next| next.glue != Glue::Break),
            in_clause: matched
                .iter()
                .any(|one| reading.atoms[*one].clause == atom.clause),
        };
        if atom.is_number {
            extra_number(&extra, line, fit);
        } else {
            let is_feature = atom.canon().is_some();
            let tells = !is_feature || profiles.features.contains(&(profile.kind, id));
            if !tells || COMMON_FEATURES.contains(&extra.text) {
                continue;
            }
            extra_word(&extra, reading, line, fit);
        }
    }
}

fn extra_number(extra: &Extra<'_>, line: &Line, fit: &mut Fit) {
    let objection = Objection::Extra(extra.text.to_owned());
    let beside = extra.after || extra.before;
    let is_small = extra.text.len() <= SMALL_NUMBER_DIGITS;
    if line.numbers.contains(&extra.id) && (!is_small || beside) {
        fit.contradictions.push(objection);
    } else if extra.after && !is_small {
        fit.penalty += COST_UNKNOWN_NUMBER;
    } else if beside {
        fit.doubts.push(objection);
    }
}

fn extra_word(extra: &Extra<'_>, reading: &Reading, line: &Line, fit: &mut Fit) {
    let objection = Objection::Extra(extra.text.to_owned());
    let atom = reading.atoms[extra.at];
    let beside = extra.after || extra.before;
    let is_variant = atom.used == Use::Variant;
    let is_shared = line.words.contains(&extra.id)
        && match extra.text.len() {
            1 => beside,
            2 => extra.in_clause || is_variant,
            _ => true,
        };
    let joins_before = extra.after && atom.glue == Glue::Joined;
    let next = reading.atoms.get(extra.at + 1);
    let joins_after = extra.before && next.is_some_and(|next| next.glue == Glue::Joined);
    if is_shared {
        fit.contradictions.push(objection);
    } else if joins_before
        || joins_after
        || (is_variant && (beside || atom.canon().is_some() && extra.in_clause))
    {
        fit.doubts.push(objection);
    } else if is_variant {
        // Away from the model it is a feature like any other.
    } else if extra.text.len() <= 2 {
        if extra.after {
            fit.doubts.push(objection);
        }
    } else if extra.after && extra.before {
        fit.penalty += COST_UNKNOWN_WITHIN;
    } else if extra.after && extra.text.len() <= 3 {
        fit.penalty += COST_UNKNOWN_SHORT;
    } else if beside {
        fit.penalty += COST_UNKNOWN_BESIDE;
    }
}
