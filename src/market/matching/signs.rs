//! Signs that a title is of something else than one part: accessories, bundles, machines.

use super::evidence::Objection;
use super::profile::{Profile, Profiles, brand_atoms};
use crate::catalogue::reading::{Glue, Place, Reading, Seen, Sign, What};
use crate::catalogue::{Kind, SpecValue};

/// What speaks against a title being of one part of a profile. `matched` are the atoms that name
/// the part.
pub(super) fn against(
    reading: &Reading,
    profile: &Profile,
    profiles: &Profiles,
    matched: &[usize],
) -> Vec<Objection> {
    let mut objections = Vec::new();
    let first = matched.iter().min().copied();
    objections.extend(brought_along(reading, profile, profiles));
    for seen in &reading.signs {
        if let (Place::Attached, Sign::Kind(kind)) = (seen.place, seen.sign)
            && matches!(kind, Kind::Cpu | Kind::Board | Kind::Gpu | Kind::Psu)
            && kind != profile.kind
        {
            let word = reading.text(seen.atom).to_owned();
            objections.push(Objection::Word(word, "several products"));
        }
        if seen.place != Place::Main || profile.signs.contains(&seen.sign) {
            continue;
        }
        let before = first.is_none_or(|first| seen.atom < first);
        let beside = matched
            .iter()
            .any(|atom| reading.atoms[*atom].clause == seen.clause);
        let meaning = match seen.sign {
            // Behind the model's clause it tells of something in the box.
            Sign::Accessory if !before && is_one_more(reading, seen) => continue,
            Sign::Accessory if before || beside || is_all(reading, seen) => "an accessory",
            Sign::Bundle => "several products",
            Sign::Choice => "one of several",
            Sign::ForParts => "broken",
            Sign::System if !is_of_a_part(reading, seen) && !is_laptop_memory(reading) => {
                "a whole machine"
            }
            Sign::Set if !is_counted(reading, profile) => "several products",
            Sign::Kit if is_bundle_kit(profile.kind) => "several products",
            Sign::Added if adds_product(reading, profile, profiles, seen) => "several products",
            Sign::Kind(kind) if kind != profile.kind && is_named_alone(reading, seen) => {
                objections.push(Objection::OtherKind(kind));
                continue;
            }
            Sign::Kind(kind) if (before || beside) && !tolerates(profile.kind, kind) => {
                if !names_kind(reading, profile.kind) {
                    objections.push(Objection::OtherKind(kind));
                }
                continue;
            }
            _ => continue,
        };
        objections.push(Objection::Word(reading.text(seen.atom).to_owned(), meaning));
    }
    objections
}

/// "incl. Norvant Kraft 850W": a product of another maker comes with it.
fn brought_along(reading: &Reading, profile: &Profile, profiles: &Profiles) -> Option<Objection> {
    let attached =
        (0..reading.atoms.len()).filter(|at| reading.atoms[*at].place == Place::Attached);
    let others = || {
        profiles
            .brands
            .keys()
            .filter(|brand| Some(*brand) != profile.brand.as_ref())
    };
    let mut found =
        attached.filter_map(|at| others().find(|brand| brand_atoms(reading, at, brand) > 0));
    found
        .next()
        .map(|brand| Objection::Word(brand.clone(), "several products"))
}

/// "Bris 4 & bracket": behind the model it comes along.
fn is_one_more(reading: &Reading, seen: &Seen) -> bool {
    const AND: &[&str] = &["and", "und", "et", "y", "e", "en", "i"];
    let by_word = seen.atom > 0 && AND.contains(&reading.text(seen.atom - 1));
    by_word || reading.atoms[seen.atom].glue == Glue::Or
}

/// "manual only": there is nothing else, wherever it stands.
fn is_all(reading: &Reading, seen: &Seen) -> bool {
    let mut signs = reading.signs.iter();
    signs.any(|other| other.sign == Sign::Only && other.clause == seen.clause)
}

/// "fan only", "nur Lüfter": of what titles of the kind speak of as a feature, nothing else comes.
fn is_named_alone(reading: &Reading, seen: &Seen) -> bool {
    let mut signs = reading.signs.iter();
    signs.any(|other| {
        let is_beside = other.atom + 1 == seen.atom || seen.atom + 1 == other.atom;
        other.sign == Sign::Only && other.clause == seen.clause && is_beside
    })
}

/// "Gaming PC case", "notebook RAM": the word tells what the part is for.
fn is_of_a_part(reading: &Reading, seen: &Seen) -> bool {
    let mut kinds = reading.signs.iter().filter(|other| {
        let is_kind = matches!(other.sign, Sign::Kind(_));
        is_kind && other.place == Place::Main && other.clause == seen.clause
    });
    kinds.any(|other| other.atom > seen.atom && other.atom <= seen.atom + 2)
}

fn is_laptop_memory(reading: &Reading) -> bool {
    let so_dimm = SpecValue::Text("SO-DIMM".into());
    reading
        .claimed(What::ModuleType)
        .any(|claim| claim.value == so_dimm)
}

/// A set of known count is held against the part's own count; memory comes in sets.
fn is_counted(reading: &Reading, profile: &Profile) -> bool {
    let has_pack = profile.values.iter().any(|known| known.what == What::Pack);
    has_pack || profile.kind == Kind::Memory || reading.claimed(What::Pack).next().is_some()
}

fn is_bundle_kit(kind: Kind) -> bool {
    matches!(
        kind,
        Kind::Cpu | Kind::Board | Kind::Gpu | Kind::Storage | Kind::Psu | Kind::Case
    )
}

/// True when what follows a plus sign is a product: of a known brand, or of another kind.
fn adds_product(reading: &Reading, profile: &Profile, profiles: &Profiles, seen: &Seen) -> bool {
    let is_kind = reading.signs.iter().any(|other| match other.sign {
        Sign::Kind(kind) => {
            other.clause == seen.clause && other.place == Place::Main && kind != profile.kind
        }
        _ => false,
    });
    let adds_memory = reading.claims.iter().any(|claim| {
        let of_others = matches!(
            claim.what,
            What::MemoryGeneration | What::Chipset | What::RatedW
        );
        of_others && reading.atoms[claim.atom].clause == seen.clause && claim.place == Place::Main
    });
    let adds_memory =
        adds_memory && !matches!(profile.kind, Kind::Board | Kind::Memory | Kind::Psu);
    let brands = || profiles.brands.keys();
    let is_brand = (seen.atom..reading.atoms.len())
        .take_while(|atom| reading.atoms[*atom].clause == seen.clause)
        .any(|atom| brands().any(|brand| brand_atoms(reading, atom, brand) > 0));
    is_kind || adds_memory || is_brand
}

fn names_kind(reading: &Reading, kind: Kind) -> bool {
    let mut signs = reading.signs.iter();
    signs.any(|seen| seen.sign == Sign::Kind(kind) && seen.place == Place::Main)
}

/// True where titles of a kind speak of another as a feature: fans of a cooler, memory of a card.
fn tolerates(own: Kind, said: Kind) -> bool {
    own == said
        || match own {
            Kind::Cpu => matches!(said, Kind::Gpu | Kind::Memory),
            Kind::Cooler => matches!(said, Kind::Cpu | Kind::Fan | Kind::Case | Kind::Memory),
            Kind::Board => matches!(
                said,
                Kind::Cpu | Kind::Memory | Kind::Gpu | Kind::Storage | Kind::Network
            ),
            Kind::Memory => matches!(said, Kind::Cpu | Kind::Board),
            Kind::Gpu => matches!(
                said,
                Kind::Memory | Kind::Fan | Kind::Psu | Kind::Cooler | Kind::Display
            ),
            Kind::Storage => matches!(said, Kind::Memory | Kind::Cooler),
            Kind::Psu => matches!(said, Kind::Fan | Kind::Case | Kind::Gpu),
            Kind::Case => matches!(
                said,
                Kind::Fan | Kind::Psu | Kind::Gpu | Kind::Board | Kind::Cooler | Kind::Storage
            ),
            Kind::Fan => matches!(said, Kind::Case | Kind::Cooler | Kind::Cpu),
            Kind::Os | Kind::Display | Kind::Network => true,
        }
}
