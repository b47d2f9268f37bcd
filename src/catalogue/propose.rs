//! Drafts catalogue entries out of offers that are no part yet.
//!
//! A title is read for what it claims, and so are the properties that a record states one by one;
//! what an offer states itself (brand, GTIN, MPN) is taken as it stands. Every spec that comes out
//! of a text is marked as guessed, and a part with guesses is in no build until the author has
//! confirmed them. Offers that are no single new part say why.

use super::gtin::Gtin;
use super::id::PartId;
use super::import::slug::slug;
use super::kind::Kind;
use super::part::{Catalogue, Part, mpn_key};
use super::reading::{
    Place, Property, Reading, Sign, What, kind_of_properties, read_property, read_title,
};
use super::sorted::Sorted;
use super::spec::{Shape, Spec, SpecValue};
use std::collections::{BTreeMap, BTreeSet};

/// What an offer says of what it sells.
#[derive(Debug, Clone)]
pub struct Unmatched<'o> {
    /// Names the offer in reports.
    pub sku: &'o str,
    pub title: &'o str,
    pub brand: Option<&'o str>,
    pub mpn: Option<&'o str>,
    pub gtins: &'o [Gtin],
    pub properties: &'o [Property],
    pub is_new: bool,
}

/// Why an offer became no draft.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
pub enum NoDraft {
    #[error("it is not new")]
    NotNew,
    #[error("it is an accessory, broken, or a whole machine")]
    NoPart,
    #[error("it is several products for one price, or one of several to choose")]
    NotSingle,
    #[error("its title does not tell what kind of part it is")]
    UnknownKind,
    #[error("its title does not tell which of {} kinds it is", .0.len())]
    SeveralKinds(Vec<&'static str>),
    #[error("another offer here is the same part")]
    Repeated,
    #[error("the catalogue has a part with its id or number")]
    Known,
}

/// The drafts, and what became none.
#[derive(Debug, Clone, Default)]
pub struct Proposal {
    pub drafts: Vec<Part>,
    /// SKU, title and reason.
    pub left: Vec<(String, String, NoDraft)>,
}

/// Drafts an entry for each offer that is a single new part which the catalogue lacks.
pub fn propose(offers: &[Unmatched<'_>], source: &str, catalogue: &Catalogue) -> Proposal {
    let mut proposal = Proposal::default();
    let known: BTreeSet<String> = catalogue.parts.values().flat_map(keys).collect();
    let mut drafted = BTreeSet::new();
    for offer in offers {
        let drafted_part = draft(offer, source).and_then(|part| {
            let keys = keys(&part);
            if keys.iter().any(|key| known.contains(key)) {
                return Err(NoDraft::Known);
            }
            if keys.iter().any(|key| drafted.contains(key)) {
                return Err(NoDraft::Repeated);
            }
            drafted.extend(keys);
            Ok(part)
        });
        match drafted_part {
            Ok(part) => proposal.drafts.push(part),
            Err(reason) => {
                let left = (offer.sku.to_owned(), offer.title.to_owned(), reason);
                proposal.left.push(left);
            }
        }
    }
    proposal
}

fn keys(part: &Part) -> Vec<String> {
    let mut keys = vec![format!("id {}", part.id)];
    keys.extend(part.gtins.iter().map(|gtin| format!("gtin {gtin}")));
    let brand = part.brand.as_deref();
    keys.extend(part.mpns.iter().map(|mpn| mpn_key(brand, mpn)));
    keys
}

fn draft(offer: &Unmatched<'_>, source: &str) -> Result<Part, NoDraft> {
    if !offer.is_new {
        return Err(NoDraft::NotNew);
    }
    let reading = read_title(offer.title);
    check_single(&reading)?;
    let kind = kind_of(&reading, offer.properties)?;
    let specs = specs_of(&reading, offer.properties, kind);
    let name = offer.title.split_whitespace().collect::<Vec<_>>().join(" ");
    let id = PartId::new(slug(&name));
    if id.as_str().is_empty() {
        return Err(NoDraft::UnknownKind);
    }
    Ok(Part {
        id,
        kind,
        name,
        brand: offer.brand.map(Into::into),
        mpns: offer.mpn.into_iter().map(str::to_owned).collect(),
        gtins: offer.gtins.to_vec(),
        guessed: specs.keys().copied().collect(),
        specs,
        rates: Sorted::new(),
        source: Some(source.into()),
    })
}

/// Only a single part can be drafted; what is said of what comes with it does not matter.
fn check_single(reading: &Reading) -> Result<(), NoDraft> {
    for seen in reading
        .signs
        .iter()
        .filter(|seen| seen.place == Place::Main)
    {
        match seen.sign {
            Sign::Accessory | Sign::ForParts | Sign::System => return Err(NoDraft::NoPart),
            Sign::Bundle | Sign::Choice | Sign::Added => return Err(NoDraft::NotSingle),
            Sign::Only | Sign::Set | Sign::Kit | Sign::Kind(_) => {}
        }
    }
    match reading.claimed(What::Pack).next() {
        Some(_) => Err(NoDraft::NotSingle),
        None => Ok(()),
    }
}

/// The kind that the title names, or else the properties, or the only one that could claim all
/// that the title claims.
fn kind_of(reading: &Reading, properties: &[Property]) -> Result<Kind, NoDraft> {
    let mut named = reading.signs.iter().filter_map(|seen| match seen.sign {
        Sign::Kind(kind) if seen.place == Place::Main => Some(kind),
        _ => None,
    });
    if let Some(kind) = named.next() {
        return match named.find(|other| *other != kind) {
            None => Ok(kind),
            Some(other) => Err(NoDraft::SeveralKinds(vec![kind.name(), other.name()])),
        };
    }
    if let Some(kind) = kind_of_properties(properties) {
        return Ok(kind);
    }
    let claims = reading.claims.iter();
    let main = claims.filter(|claim| claim.place == Place::Main);
    let specs: BTreeSet<Spec> = main.filter_map(|claim| claim.what.spec()).collect();
    // One claim, such as a colour, suits many kinds.
    if specs.len() < 2 {
        return Err(NoDraft::UnknownKind);
    }
    let could = Kind::NAMES.iter().filter(|(_, kind)| {
        let has = |spec: &Spec| spec.def().kinds.contains(kind);
        specs.iter().all(has)
    });
    match could.collect::<Vec<_>>().as_slice() {
        [] => Err(NoDraft::UnknownKind),
        [(_, kind)] => Ok(*kind),
        several => Err(NoDraft::SeveralKinds(
            several.iter().map(|(name, _)| *name).collect(),
        )),
    }
}

/// What the title claims of the thing itself, with what the properties state. Where they say two
/// things of one spec they say nothing.
fn specs_of(reading: &Reading, properties: &[Property], kind: Kind) -> Sorted<Spec, SpecValue> {
    let mut values: BTreeMap<Spec, BTreeSet<SpecValue>> = BTreeMap::new();
    for claim in &reading.claims {
        let spec = claim.what.spec();
        if let Some(spec) = spec.filter(|spec| spec.def().kinds.contains(&kind))
            && claim.place == Place::Main
            && is_plausible(spec, &claim.value)
        {
            values.entry(spec).or_default().insert(claim.value.clone());
        }
    }
    for property in properties {
        for (spec, value) in read_property(property, kind) {
            if is_plausible(spec, &value) {
                values.entry(spec).or_default().insert(value);
            }
        }
    }
    let single = values.into_iter().filter(|(_, values)| values.len() == 1);
    single
        .filter_map(|(spec, values)| Some((spec, values.into_iter().next()?)))
        .collect()
}

/// True when the loader would take the value: of the spec's type, and in its range.
fn is_plausible(spec: Spec, value: &SpecValue) -> bool {
    match (&spec.def().shape, value) {
        (Shape::Number { plausible, .. }, SpecValue::Number(number)) => plausible.contains(number),
        (Shape::Text, SpecValue::Text(_))
        | (Shape::Texts, SpecValue::Texts(_))
        | (Shape::Flag, SpecValue::Flag(_)) => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{load_catalogue, render_parts};

    fn offer(title: &str) -> Unmatched<'_> {
        Unmatched {
            sku: title,
            title,
            brand: Some("Otterworks"),
            mpn: None,
            gtins: &[],
            properties: &[],
            is_new: true,
        }
    }

    fn number(value: i64) -> SpecValue {
        SpecValue::Number(value)
    }

    #[test]
    fn the_issues_titles_give_what_they_say_and_all_of_it_is_guessed() {
        // The two texts of the issue.
        let titles = [
            "Otterworks Tern 32GB (2x16GB) DDR5-6000 CL30 memory",
            "Otterworks Volt 850 W 80 PLUS Gold, modular power supply",
        ];
        let offers = titles.map(offer);
        let proposal = propose(&offers, "feed a/b", &Catalogue::default());
        let [kit, supply] = proposal.drafts.as_slice() else {
            panic!("{proposal:?}");
        };
        assert_eq!((kit.kind, supply.kind), (Kind::Memory, Kind::Psu));
        for (spec, value) in [
            (Spec::CapacityGb, number(32)),
            (Spec::Modules, number(2)),
            (Spec::TransferMtS, number(6_000)),
            (Spec::Latency, number(30)),
        ] {
            assert_eq!(kit.specs.get(&spec), Some(&value), "{spec}");
            assert!(kit.guessed.contains(&spec));
        }
        assert_eq!(supply.number(Spec::RatedW), Some(850));
        assert!(supply.guessed.contains(&Spec::Efficiency));
        let written = render_parts(&[], &proposal.drafts);
        let (catalogue, faults) = load_catalogue(&[("drafts.toml", &written)]);
        assert_eq!(faults, [], "{written}");
        assert_eq!(catalogue.parts[&kit.id], *kit);
    }

    #[test]
    fn properties_tell_what_the_title_leaves_out_and_contradict_it_where_they_differ() {
        let state = |name: &str, value: &str, unit: Option<&str>| Property {
            name: name.to_owned(),
            value: value.to_owned(),
            unit: unit.map(str::to_owned),
        };
        let properties = [
            state("Category", "Components > Power supplies", None),
            state("Power", "850", Some("WTT")),
            state("Length", "16", Some("CMT")),
            state("80 PLUS", "80 PLUS Platinum", None),
            state("Cable length", "650 mm", None),
        ];
        let one = Unmatched {
            properties: &properties,
            ..offer("Otterworks Volt 850 80 PLUS Gold")
        };
        let proposal = propose(&[one], "s", &Catalogue::default());
        let [supply] = proposal.drafts.as_slice() else {
            panic!("{proposal:?}");
        };
        assert_eq!(supply.kind, Kind::Psu);
        assert_eq!(supply.number(Spec::RatedW), Some(850));
        assert_eq!(supply.number(Spec::LengthMm), Some(160));
        assert_eq!(supply.specs.get(&Spec::Efficiency), None, "they disagree");
        assert!(supply.specs.keys().eq(&supply.guessed));
    }

    #[test]
    fn what_is_no_single_new_part_says_why() {
        let used = Unmatched {
            is_new: false,
            ..offer("Otterworks Volt 850 W power supply")
        };
        let kit = offer("Otterworks Tern 32GB (2x16GB) DDR5-6000 CL30 memory");
        let thing = offer("Otterworks gift");
        let offers = [used, kit.clone(), kit, thing];
        let proposal = propose(&offers, "s", &Catalogue::default());
        assert_eq!(proposal.drafts.len(), 1);
        let reasons: Vec<&NoDraft> = proposal.left.iter().map(|(_, _, reason)| reason).collect();
        assert_eq!(
            reasons,
            [&NoDraft::NotNew, &NoDraft::Repeated, &NoDraft::UnknownKind]
        );
        let (known, _) = load_catalogue(&[("a.toml", &render_parts(&[], &proposal.drafts))]);
        let again = propose(&offers[1..2], "s", &known);
        assert_eq!(again.left[0].2, NoDraft::Known);
    }

    proptest::proptest! {
        #[test]
        fn any_title_gives_a_draft_that_loads_or_a_reason(title in "\\PC{0,60}") {
            let offers = [offer(&title)];
            let proposal = propose(&offers, "s", &Catalogue::default());
            proptest::prop_assert_eq!(proposal.drafts.len() + proposal.left.len(), 1);
            let written = render_parts(&[], &proposal.drafts);
            proptest::prop_assert_eq!(load_catalogue(&[("a.toml", &written)]).1, []);
        }
    }
}
