//! The author's decisions, and how a listing is recognised as the one decided on.

use super::keys::fold_mpn;
use crate::catalogue::reading::read_title;
use crate::catalogue::{Gtin, PartId};
use crate::market::offer::Offer;
use std::collections::BTreeSet;
use std::fmt;

/// What the author decided of one SKU of one retailer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decision {
    pub verdict: Verdict,
    /// The listing as it was when the author decided.
    pub made_on: Fingerprint,
}

/// The author's word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It is this part.
    Pinned(PartId),
    /// It is none of these.
    Denied(BTreeSet<PartId>),
    /// It is a part that the catalogue lacks.
    Lacking,
}

/// What a listing is known by: GTINs, part number, brand and title, folded.
///
/// Equal for listings that look the same, whatever their case, accents and spaces. A text, so
/// that it is the same in every version of the program and can be kept.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fingerprint(String);

impl Fingerprint {
    pub fn of(offer: &Offer) -> Fingerprint {
        let mut gtins: Vec<String> = offer.gtins.iter().map(Gtin::to_string).collect();
        gtins.sort();
        let mpn = offer.mpn.as_deref().map(fold_mpn).unwrap_or_default();
        let brand = offer.brand.as_deref().map(fold_mpn).unwrap_or_default();
        let title = read_title(&offer.title);
        let words: Vec<&str> = title.folded().split_whitespace().collect();
        let gtins = gtins.join(" ");
        Fingerprint(format!("{gtins}\n{mpn}\n{brand}\n{}", words.join(" ")))
    }

    /// Takes a fingerprint that was kept as text.
    pub fn from_text(text: impl Into<String>) -> Fingerprint {
        Fingerprint(text.into())
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
