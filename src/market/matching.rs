//! Matching: which part an offer is, with the evidence.
//!
//! A GTIN decides; a manufacturer's part number decides together with its brand. Keys that
//! disagree match nothing: a wrong match puts a wrong price into a guide, a missing one does not.

use super::offer::Offer;
use crate::catalogue::{Catalogue, Gtin, PartId, same_name};
use std::collections::BTreeMap;

/// The evidence that an offer is a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartMatch {
    pub part: PartId,
    pub by: MatchedBy,
    /// In percent.
    pub confidence: u8,
}

/// Which key decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MatchedBy {
    Gtin,
    Mpn,
}

impl MatchedBy {
    pub fn name(self) -> &'static str {
        match self {
            MatchedBy::Gtin => "gtin",
            MatchedBy::Mpn => "mpn",
        }
    }
}

/// What the matcher says of an offer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Matching {
    Part(PartMatch),
    /// No part of the catalogue has one of its keys.
    None,
    /// Its keys name different parts.
    Contradiction(PartId, PartId),
}

/// The catalogue's keys, ready to look up.
pub struct Matcher {
    by_gtin: BTreeMap<Gtin, PartId>,
    /// Folded MPN to the parts that bear it, with their brand.
    by_mpn: BTreeMap<String, Vec<(PartId, Option<String>)>>,
}

/// Below this many characters a part number is too common to be told apart without a brand.
const LEAST_LONE_MPN: usize = 6;

impl Matcher {
    pub fn new(catalogue: &Catalogue) -> Matcher {
        let mut by_gtin = BTreeMap::new();
        let mut by_mpn: BTreeMap<String, Vec<(PartId, Option<String>)>> = BTreeMap::new();
        for part in catalogue.parts.values() {
            for gtin in &part.gtins {
                by_gtin.insert(*gtin, part.id.clone());
            }
            for mpn in &part.mpns {
                let bearers = by_mpn.entry(fold_mpn(mpn)).or_default();
                bearers.push((part.id.clone(), part.brand.clone()));
            }
        }
        Matcher { by_gtin, by_mpn }
    }

    /// Looks up an offer's keys.
    pub fn match_offer(&self, offer: &Offer) -> Matching {
        let mut by_gtin = offer.gtins.iter().filter_map(|gtin| self.by_gtin.get(gtin));
        let first = by_gtin.next();
        if let Some(first) = first
            && let Some(other) = by_gtin.find(|other| *other != first)
        {
            return Matching::Contradiction(first.clone(), other.clone());
        }
        let by_mpn = self.by_mpn(offer);
        match (first, by_mpn) {
            (Some(gtin), Some(mpn)) if gtin != mpn => {
                Matching::Contradiction(gtin.clone(), mpn.clone())
            }
            (Some(part), _) => Matching::Part(PartMatch {
                part: part.clone(),
                by: MatchedBy::Gtin,
                confidence: 100,
            }),
            (None, Some(part)) => Matching::Part(PartMatch {
                part: part.clone(),
                by: MatchedBy::Mpn,
                confidence: 95,
            }),
            (None, None) => Matching::None,
        }
    }

    fn by_mpn(&self, offer: &Offer) -> Option<&PartId> {
        let mpn = fold_mpn(offer.mpn.as_deref()?);
        let bearers = self.by_mpn.get(&mpn)?;
        let brand_agrees = |brand: &Option<String>| match (brand, &offer.brand) {
            (Some(known), Some(stated)) => same_name(known, stated),
            (Some(known), None) => offer.title.to_lowercase().contains(&known.to_lowercase()),
            (None, _) => false,
        };
        let mut agreeing = bearers.iter().filter(|(_, brand)| brand_agrees(brand));
        if let Some((part, _)) = agreeing.next() {
            // Two parts of one brand with one number: neither can be meant for certain.
            return agreeing.next().is_none().then_some(part);
        }
        let is_telling = mpn.len() >= LEAST_LONE_MPN
            && mpn.bytes().any(|byte| byte.is_ascii_digit())
            && mpn.bytes().any(|byte| byte.is_ascii_alphabetic());
        match bearers.as_slice() {
            [(part, brand)] if is_telling && (brand.is_none() || offer.brand.is_none()) => {
                Some(part)
            }
            _ => None,
        }
    }
}

/// Case and separators do not tell part numbers apart.
fn fold_mpn(mpn: &str) -> String {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::load_catalogue;
    use crate::market::{Availability, Condition, RetailerId, Sku};
    use crate::money::{Currency, Money};

    fn matcher() -> Matcher {
        let text = "[[part]]\nid = \"a\"\nkind = \"gpu\"\nname = \"A\"\nbrand = \"Norvant\"\n\
            mpn = \"NV-8810/16G-OC\"\ngtin = \"6291041500213\"\n\
            [[part]]\nid = \"b\"\nkind = \"gpu\"\nname = \"B\"\nbrand = \"Norvant\"\n\
            mpn = \"8810\"\ngtin = \"7300011000017\"\n";
        let (catalogue, faults) = load_catalogue(&[("c.toml", text)]);
        assert_eq!(faults, []);
        Matcher::new(&catalogue)
    }

    fn offer(gtins: &[&str], mpn: Option<&str>, brand: Option<&str>, title: &str) -> Offer {
        Offer {
            retailer: RetailerId::new("r"),
            sku: Sku::new("1"),
            title: title.to_owned(),
            brand: brand.map(str::to_owned),
            gtins: gtins
                .iter()
                .map(|gtin| Gtin::parse(gtin).unwrap())
                .collect(),
            mpn: mpn.map(str::to_owned),
            price: Money::from_minor(100, Currency::EUR),
            list_price: None,
            tax_included: true,
            availability: Availability::InStock,
            condition: Condition::New,
            seller: None,
            shipping: None,
            minimum_quantity: 1,
            link: None,
            valid_until: None,
            notes: Vec::new(),
        }
    }

    fn part_of(offer: &Offer) -> Option<String> {
        match matcher().match_offer(offer) {
            Matching::Part(found) => Some(found.part.to_string()),
            _ => None,
        }
    }

    #[test]
    fn part_numbers_compare_without_case_and_separators() {
        // Pitfall M07.
        for mpn in ["NV-8810/16G-OC", "nv 8810 16g oc", "NV881016GOC"] {
            assert_eq!(
                part_of(&offer(&[], Some(mpn), Some("norvant"), "")),
                Some("a".to_owned())
            );
        }
    }

    #[test]
    fn a_part_number_is_never_matched_by_its_beginning() {
        // Pitfall M08.
        assert_eq!(
            part_of(&offer(&[], Some("NV-8810/16G-OC2"), Some("Norvant"), "")),
            None
        );
        assert_eq!(
            part_of(&offer(&[], Some("NV-8810"), Some("Norvant"), "")),
            None
        );
    }

    #[test]
    fn a_short_number_needs_the_brand() {
        // Pitfall M09.
        assert_eq!(part_of(&offer(&[], Some("8810"), None, "Card 8810")), None);
        assert_eq!(
            part_of(&offer(&[], Some("8810"), Some("Other"), "Card 8810")),
            None
        );
        assert_eq!(
            part_of(&offer(&[], Some("8810"), None, "Norvant card")),
            Some("b".to_owned())
        );
    }

    #[test]
    fn keys_that_disagree_match_nothing() {
        // Pitfall M06.
        let torn = offer(
            &["7300011000017"],
            Some("NV-8810/16G-OC"),
            Some("Norvant"),
            "",
        );
        assert!(matches!(
            matcher().match_offer(&torn),
            Matching::Contradiction(..)
        ));
        let two = offer(&["7300011000017", "6291041500213"], None, None, "");
        assert!(matches!(
            matcher().match_offer(&two),
            Matching::Contradiction(..)
        ));
    }

    #[test]
    fn a_number_of_another_brand_does_not_match() {
        assert_eq!(
            part_of(&offer(&[], Some("NV-8810/16G-OC"), Some("Other"), "")),
            None
        );
    }
}
