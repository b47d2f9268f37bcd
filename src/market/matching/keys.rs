//! GTINs and manufacturers' part numbers, ready to look up.

use super::profile::{Profile, ProfileId};
use crate::catalogue::reading::{Glue, Place, Reading};
use crate::catalogue::{Catalogue, Gtin};
use std::collections::{BTreeMap, BTreeSet};

/// Ends that makers put on a part number for a region: same hardware, another plug or leaflet.
///
/// Common practice, no source.
const REGIONS: &[&str] = &[
    "EU", "UK", "US", "NA", "DE", "FR", "IT", "ES", "PL", "NL", "EMEA", "WW", "AU", "CN", "JP",
];
const REGION_MARKS: [char; 5] = ['-', '/', '.', '_', ' '];
/// Below this many characters a part number is too common to be told apart without a brand.
const LEAST_LONE_MPN: usize = 6;
/// The longest run of atoms that is tried as a part number.
const MPN_ATOMS_MAX: usize = 10;

#[derive(Clone)]
pub(super) struct Keys {
    by_gtin: BTreeMap<Gtin, ProfileId>,
    by_mpn: BTreeMap<String, Vec<ProfileId>>,
    /// The first two characters of every part number long enough to be looked for in titles.
    heads: BTreeSet<[u8; 2]>,
}

/// A part number that has been found.
pub(super) struct FoundMpn {
    pub profile: ProfileId,
    pub region: Option<&'static str>,
}

impl Keys {
    pub fn new(catalogue: &Catalogue) -> Keys {
        let mut keys = Keys {
            by_gtin: BTreeMap::new(),
            by_mpn: BTreeMap::new(),
            heads: BTreeSet::new(),
        };
        for (profile, part) in catalogue.parts.values().enumerate() {
            for gtin in &part.gtins {
                keys.by_gtin.insert(*gtin, profile);
            }
            for mpn in &part.mpns {
                let folded = fold_mpn(mpn);
                if let (true, [one, two, ..]) = (is_telling(&folded), folded.as_bytes()) {
                    keys.heads.insert([*one, *two]);
                }
                let bearers = keys.by_mpn.entry(folded).or_default();
                if !bearers.contains(&profile) {
                    bearers.push(profile);
                }
            }
        }
        keys
    }

    pub fn by_gtin(&self, gtin: &Gtin) -> Option<ProfileId> {
        self.by_gtin.get(gtin).copied()
    }

    /// The one part that bears a number, of a brand that agrees.
    pub fn by_mpn(
        &self,
        mpn: &str,
        profiles: &[Profile],
        agrees: impl Fn(&Profile) -> Option<bool>,
    ) -> Option<FoundMpn> {
        let whole = fold_mpn(mpn);
        if let Some(profile) = self.bearer(&whole, profiles, &agrees) {
            return Some(FoundMpn {
                profile,
                region: None,
            });
        }
        let (body, region) = without_region(mpn)?;
        let profile = self.bearer(&fold_mpn(body), profiles, &agrees)?;
        Some(FoundMpn {
            profile,
            region: Some(region),
        })
    }

    fn bearer(
        &self,
        folded: &str,
        profiles: &[Profile],
        agrees: &impl Fn(&Profile) -> Option<bool>,
    ) -> Option<ProfileId> {
        let bearers = self.by_mpn.get(folded)?;
        let is_agreed = |bearer: &&ProfileId| agrees(&profiles[**bearer]) == Some(true);
        let mut agreeing = bearers.iter().filter(is_agreed);
        if let Some(first) = agreeing.next() {
            // Two parts of one brand with one number: neither can be meant for certain.
            return agreeing.next().is_none().then_some(*first);
        }
        match bearers.as_slice() {
            [only] if is_telling(folded) && agrees(&profiles[*only]).is_none() => Some(*only),
            _ => None,
        }
    }

    /// The part numbers that stand in a title between spaces, folded; the longest of each place.
    pub fn in_title(&self, reading: &Reading) -> Vec<String> {
        let ends_at = |atom: usize| {
            let glue = reading.atoms.get(atom).map_or(Glue::Break, |one| one.glue);
            matches!(glue, Glue::Space | Glue::Break | Glue::Inch | Glue::Or)
        };
        let mut found = Vec::new();
        let mut folded = String::new();
        for start in 0..reading.atoms.len() {
            let is_own = reading.atoms[start].place == Place::Main && ends_at(start);
            if !is_own || !self.may_begin(reading, start) {
                continue;
            }
            let last = reading.atoms.len().min(start + MPN_ATOMS_MAX);
            let may_end = |end: usize| ends_at(end) || is_region(reading, end) && ends_at(end + 1);
            // The longest run is folded once: the others are its beginnings.
            folded.clear();
            folded.extend((start..last).map(|atom| reading.letters(atom)));
            folded.make_ascii_uppercase();
            let mut whole = folded.as_str();
            for end in (start + 1..=last).rev() {
                if may_end(end) && is_telling(whole) && self.by_mpn.contains_key(whole) {
                    found.push(whole.to_owned());
                    break;
                }
                whole = &whole[..whole.len() - reading.letters(end - 1).len()];
            }
        }
        found
    }

    fn may_begin(&self, reading: &Reading, start: usize) -> bool {
        let end = reading.atoms.len().min(start + 2);
        let bytes = (start..end).flat_map(|atom| reading.letters(atom).bytes());
        let mut bytes = bytes.map(|byte| byte.to_ascii_uppercase());
        match (bytes.next(), bytes.next()) {
            (Some(one), Some(two)) => self.heads.contains(&[one, two]),
            _ => false,
        }
    }
}

/// True of the "UK" in "FR-B850/UK".
fn is_region(reading: &Reading, atom: usize) -> bool {
    let Some(one) = reading.atoms.get(atom) else {
        return false;
    };
    let is_marked = matches!(one.glue, Glue::Hyphen | Glue::Slash | Glue::Dot);
    let text = reading.text(atom);
    is_marked
        && REGIONS
            .iter()
            .any(|region| region.eq_ignore_ascii_case(text))
}

/// Case and separators do not tell part numbers apart.
pub(super) fn fold_mpn(mpn: &str) -> String {
    if mpn.is_ascii() {
        // Nearly all are, and need none of Unicode's tables.
        let kept = mpn.bytes().filter(u8::is_ascii_alphanumeric);
        return kept
            .map(|byte| char::from(byte.to_ascii_uppercase()))
            .collect();
    }
    mpn.chars()
        .filter(|character| character.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect()
}

/// A number long and mixed enough that nothing else bears it by chance.
pub(super) fn is_telling(folded: &str) -> bool {
    folded.len() >= LEAST_LONE_MPN
        && folded.bytes().any(|byte| byte.is_ascii_digit())
        && folded.bytes().any(|byte| byte.is_ascii_alphabetic())
}

fn without_region(mpn: &str) -> Option<(&str, &'static str)> {
    let (body, end) = mpn.trim().rsplit_once(REGION_MARKS)?;
    let region = REGIONS
        .iter()
        .find(|region| region.eq_ignore_ascii_case(end))?;
    Some((body.trim_end_matches(REGION_MARKS), region))
}
