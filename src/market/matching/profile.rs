//! What a title must say to name a part: worked out of the part's name and specs once.

use crate::catalogue::reading::{Glue, Reading, Sign, Use, What, read_title};
use crate::catalogue::{Catalogue, Kind, Part, PartId, SpecValue};
use std::collections::{BTreeMap, BTreeSet};

/// A part's place in the catalogue's order.
pub(super) type ProfileId = usize;
/// A word or number of some part's name.
pub(super) type WordId = u32;
/// What titles say that no part's name has.
pub(super) const UNKNOWN_WORD: WordId = WordId::MAX;

/// One part as titles are compared with it.
#[derive(Clone)]
pub(super) struct Profile {
    pub part: PartId,
    pub kind: Kind,
    pub brand: Option<String>,
    /// Runs of words that a title must have; those of a run stand next to one another.
    pub chains: Vec<Vec<WordId>>,
    pub values: Vec<Known>,
    /// Signs that its own name gives: a title may give them too.
    pub signs: Vec<Sign>,
    pub has_mpn: bool,
    pub line: LineId,
}

/// One value that a part has.
#[derive(Clone)]
pub(super) struct Known {
    pub what: What,
    pub value: SpecValue,
    /// Its name says so, which sets it apart from siblings.
    pub is_named: bool,
}

/// Parts of one brand and kind whose names begin alike.
pub(super) type LineId = usize;

/// What the parts of a line have among them.
#[derive(Default, Clone)]
pub(super) struct Line {
    pub numbers: BTreeSet<WordId>,
    /// Values that names of the line state.
    pub named: BTreeSet<(What, SpecValue)>,
    /// Words of all names of the brand and kind.
    pub words: BTreeSet<WordId>,
}

/// The words of all names.
#[derive(Default, Clone)]
pub(super) struct Words {
    ids: BTreeMap<String, WordId>,
    pub texts: Vec<String>,
}

#[derive(Clone)]
pub(super) struct Profiles {
    pub all: Vec<Profile>,
    pub lines: Vec<Line>,
    pub words: Words,
    /// For each kind the features that set some of its parts apart.
    pub features: BTreeSet<(Kind, WordId)>,
    /// Every brand: its atoms, run together.
    pub brands: BTreeMap<String, Vec<Kind>>,
}

impl Words {
    pub fn id(&self, text: &str) -> WordId {
        self.ids.get(text).copied().unwrap_or(UNKNOWN_WORD)
    }

    pub fn learn(&mut self, text: &str) -> WordId {
        let known = self.id(text);
        if known != UNKNOWN_WORD {
            return known;
        }
        let id = self.texts.len() as WordId;
        self.ids.insert(text.to_owned(), id);
        self.texts.push(text.to_owned());
        id
    }
}

impl Profiles {
    pub fn new(catalogue: &Catalogue) -> Profiles {
        let mut profiles = Profiles {
            all: Vec::new(),
            lines: Vec::new(),
            words: Words::default(),
            features: BTreeSet::new(),
            brands: BTreeMap::new(),
        };
        let mut lines: BTreeMap<(Option<String>, Kind, WordId), LineId> = BTreeMap::new();
        let mut families: BTreeMap<(Option<String>, Kind), BTreeSet<WordId>> = BTreeMap::new();
        for part in catalogue.parts.values() {
            let mut profile = profile(part, &mut profiles.words);
            let words = profile.chains.iter().flatten().copied();
            let is_word = |id: &WordId| is_name(&profiles.words.texts[*id as usize]);
            let head = words.clone().find(is_word).unwrap_or(UNKNOWN_WORD);
            let kind = profile.kind;
            profiles.features.extend(words.clone().map(|id| (kind, id)));
            let family = (profile.brand.clone(), kind);
            if let Some(brand) = &profile.brand {
                let kinds = profiles.brands.entry(brand.clone()).or_default();
                if !kinds.contains(&profile.kind) {
                    kinds.push(profile.kind);
                }
            }
            families
                .entry(family.clone())
                .or_default()
                .extend(words.clone());
            let next = profiles.lines.len();
            let line = *lines.entry((family.0, family.1, head)).or_insert(next);
            if line == next {
                profiles.lines.push(Line::default());
            }
            let texts = &profiles.words.texts;
            let is_number =
                |id: &WordId| texts[*id as usize].starts_with(|one: char| one.is_ascii_digit());
            profiles.lines[line].numbers.extend(words.filter(is_number));
            let named = profile.values.iter().filter(|known| known.is_named);
            profiles.lines[line]
                .named
                .extend(named.map(|known| (known.what, known.value.clone())));
            profile.line = line;
            profiles.all.push(profile);
        }
        for ((brand, kind, _), line) in lines {
            if let Some(words) = families.get(&(brand, kind)) {
                profiles.lines[line].words.clone_from(words);
            }
        }
        profiles
    }
}

/// A word that may name a line of parts.
fn is_name(text: &str) -> bool {
    text.len() >= 3 && text.chars().all(char::is_alphabetic)
}

fn profile(part: &Part, words: &mut Words) -> Profile {
    let reading = read_title(&part.name);
    let brand = part.brand.as_deref().map(brand_key);
    let skipped = brand
        .as_deref()
        .map_or(0, |brand| brand_atoms(&reading, 0, brand));
    let mut chains: Vec<Vec<WordId>> = Vec::new();
    let mut last = None;
    for at in skipped..reading.atoms.len() {
        let is_needed = match reading.atoms[at].used {
            Use::Free | Use::Variant | Use::Measure => true,
            Use::Claim(what) => !is_compared(part.kind, what),
            Use::Silent => false,
        };
        if !is_needed {
            continue;
        }
        let id = words.learn(reading.text(at));
        let follows_last = last == Some(at.wrapping_sub(1));
        match chains.last_mut() {
            Some(chain) if follows_last && is_tied(&reading, at) => chain.push(id),
            _ => chains.push(vec![id]),
        }
        last = Some(at);
    }
    Profile {
        part: part.id.clone(),
        kind: part.kind,
        brand,
        chains,
        values: values(part, &reading),
        signs: reading.signs.iter().map(|seen| seen.sign).collect(),
        has_mpn: !part.mpns.is_empty(),
        line: 0,
    }
}

/// True where an atom of a name means nothing away from the one before it.
fn is_tied(reading: &Reading, at: usize) -> bool {
    let one = reading.atoms[at];
    let text = reading.text(at);
    let begins_number = reading
        .atoms
        .get(at + 1)
        .is_some_and(|next| next.glue == Glue::Joined && next.is_number);
    if one.is_number {
        one.glue == Glue::Joined || text.len() == 1
    } else {
        (one.glue == Glue::Joined || text.len() == 1) && !begins_number
    }
}

/// Every value that titles are compared with.
fn values(part: &Part, reading: &Reading) -> Vec<Known> {
    let mut values: Vec<Known> = Vec::new();
    for claim in &reading.claims {
        if is_compared(part.kind, claim.what)
            && !values.iter().any(|known| known.what == claim.what)
        {
            values.push(Known {
                what: claim.what,
                value: claim.value.clone(),
                is_named: true,
            });
        }
    }
    for what in COMPARED.iter().map(|(what, _)| *what) {
        let Some(value) = what.spec().and_then(|spec| part.specs.get(&spec)) else {
            continue;
        };
        if !is_compared(part.kind, what) {
            continue;
        }
        match values.iter_mut().find(|known| known.what == what) {
            // The spec is the author's word; the name only tells that it is told.
            Some(known) => known.value.clone_from(value),
            None => values.push(Known {
                what,
                value: value.clone(),
                is_named: false,
            }),
        }
    }
    values
}

/// For each claim the kinds whose parts it tells apart.
const COMPARED: &[(What, &[Kind])] = &[
    (What::CapacityGb, &[Kind::Memory, Kind::Gpu, Kind::Storage]),
    (What::Modules, &[Kind::Memory]),
    (What::MemoryGeneration, &[Kind::Memory, Kind::Board]),
    (What::TransferMtS, &[Kind::Memory]),
    (What::Latency, &[Kind::Memory]),
    (What::ModuleType, &[Kind::Memory]),
    (What::Socket, &[Kind::Cpu, Kind::Board]),
    (What::Chipset, &[Kind::Board]),
    (What::FormFactor, &[Kind::Board, Kind::Psu, Kind::Case]),
    (What::RatedW, &[Kind::Psu]),
    (What::Efficiency, &[Kind::Psu]),
    (What::AtxVersion, &[Kind::Psu]),
    (What::Modularity, &[Kind::Psu]),
    (What::Interface, &[Kind::Storage]),
    (What::DriveForm, &[Kind::Storage]),
    (What::CardSize, &[Kind::Storage]),
    (What::Generation, &[Kind::Storage]),
    (What::BoxedCooler, &[Kind::Cpu]),
    (What::Packaging, &[Kind::Cpu]),
    (
        What::Colour,
        &[
            Kind::Cooler,
            Kind::Board,
            Kind::Memory,
            Kind::Gpu,
            Kind::Psu,
            Kind::Case,
            Kind::Fan,
            Kind::Storage,
            Kind::Display,
        ],
    ),
];

/// True when a claim is held against parts of a kind.
pub(super) fn is_compared(kind: Kind, what: What) -> bool {
    matches!(what, What::Pack | What::Revision)
        || COMPARED
            .iter()
            .any(|(known, kinds)| *known == what && kinds.contains(&kind))
}

/// A brand's letters and digits, folded.
pub(super) fn brand_key(brand: &str) -> String {
    let reading = read_title(brand);
    reading.compact(0..reading.atoms.len())
}

/// How many atoms from `at` on spell a brand; none where they do not.
pub(super) fn brand_atoms(reading: &Reading, at: usize, brand: &str) -> usize {
    let mut rest = brand;
    let mut used = 0;
    while !rest.is_empty() {
        let Some(atom) = reading.atoms.get(at + used) else {
            return 0;
        };
        if used > 0 && atom.glue == Glue::Break {
            return 0;
        }
        match rest.strip_prefix(reading.letters(at + used)) {
            Some(after) => rest = after,
            None => return 0,
        }
        used += 1;
    }
    used
}
