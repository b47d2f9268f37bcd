//! Finds the parts that a title may name without comparing it with every part.
//!
//! Each part stands under the rarest word of its name (capacity, rate and watts count as words),
//! apart for each brand, and under the next one if titles may spell the first differently. A title
//! has only to look up its own words, so the work for an offer does not grow with the catalogue
//! unless the catalogue is of one brand and line.

use super::compare::{Title, may_be_misspelt};
use super::profile::{Profile, ProfileId, Profiles};
use crate::catalogue::SpecValue;
use crate::catalogue::reading::What;
use std::collections::BTreeMap;

/// What a part stands under.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Key {
    Word(u32),
    Value(What, i64),
}

/// Values that titles nearly always give and that set parts of one line apart.
const VALUE_KEYS: &[What] = &[What::CapacityGb, What::TransferMtS, What::RatedW];
/// One for the part, one more in case the title spells the first differently.
const KEYS_PER_PART: usize = 2;

#[derive(Default, Clone)]
pub(super) struct Search {
    by_brand: BTreeMap<String, BTreeMap<Key, Vec<ProfileId>>>,
}

impl Search {
    pub fn new(profiles: &Profiles) -> Search {
        let mut counts: BTreeMap<(&str, Key), usize> = BTreeMap::new();
        for profile in &profiles.all {
            for (key, _) in keys(profile, profiles) {
                let brand = profile.brand.as_deref().unwrap_or_default();
                *counts.entry((brand, key)).or_default() += 1;
            }
        }
        let mut search = Search::default();
        for (id, profile) in profiles.all.iter().enumerate() {
            // A title must name the brand: a part without one is found by its keys alone.
            let Some(brand) = profile.brand.as_deref() else {
                continue;
            };
            let mut keys: Vec<(Key, Spelling)> = keys(profile, profiles).collect();
            keys.sort_unstable();
            keys.dedup_by_key(|(key, _)| *key);
            keys.sort_by_key(|(key, _)| counts.get(&(brand, *key)).copied());
            let under = search.by_brand.entry(brand.to_owned()).or_default();
            for (key, spelling) in keys.into_iter().take(KEYS_PER_PART) {
                under.entry(key).or_default().push(id);
                if spelling == Spelling::Firm {
                    break;
                }
            }
        }
        search
    }

    /// The parts of a brand that share a rare word with a title.
    pub fn candidates(&self, brand: &str, title: &Title) -> Vec<ProfileId> {
        let Some(under) = self.by_brand.get(brand) else {
            return Vec::new();
        };
        let words = title.ids.iter().map(|id| Key::Word(*id));
        let values = title
            .reading
            .claims
            .iter()
            .filter_map(|claim| match claim.value {
                SpecValue::Number(number) => Some(Key::Value(claim.what, number)),
                _ => None,
            });
        let mut found: Vec<ProfileId> = words
            .chain(values)
            .filter_map(|key| under.get(&key))
            .flatten()
            .copied()
            .collect();
        found.sort_unstable();
        found.dedup();
        found
    }
}

/// Whether a title that names the part has a key just so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Spelling {
    /// Without it the part is not compared: see [`super::compare::may_name`].
    Firm,
    /// It may be misspelt or left out.
    Loose,
}

fn keys<'p>(
    profile: &'p Profile,
    profiles: &'p Profiles,
) -> impl Iterator<Item = (Key, Spelling)> + 'p {
    let words = profile.chains.iter().flat_map(|chain| {
        chain.iter().enumerate().map(|(at, id)| {
            let is_loose = at == 0 && may_be_misspelt(&profiles.words.texts[*id as usize]);
            let spelling = if is_loose {
                Spelling::Loose
            } else {
                Spelling::Firm
            };
            (Key::Word(*id), spelling)
        })
    });
    let values = profile
        .values
        .iter()
        .filter(|known| VALUE_KEYS.contains(&known.what));
    let values = values.filter_map(|known| match known.value {
        SpecValue::Number(number) => Some((Key::Value(known.what, number), Spelling::Loose)),
        _ => None,
    });
    words.chain(values)
}
