//! An edition: what was published, with what it rests on.
//!
//! It is one JSON document that ends with a line break, and its hash is SHA-256 over exactly these
//! bytes. The guide in each form is kept beside it; the document holds the SHA-256 of each, and the
//! hash of the edition before, so that one hash vouches for all of it. Keys are only ever added.

use super::view::View;
use crate::decide::{AnswerAbroad, AnswerRecord};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The version of [`Edition`].
pub const FORMAT: u32 = 1;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Edition {
    /// The version of this form.
    pub format: u32,
    pub brief: String,
    pub edition: u32,
    /// RFC 3339.
    pub at: String,
    /// Name and version of the program that wrote it.
    pub program: String,
    /// The hash of the edition before.
    pub before: Option<String>,
    pub guide: View,
    /// The answer with its proof.
    pub answer: AnswerRecord,
    /// The same picks in the guide's other countries, where they can be had.
    #[serde(default)]
    pub abroad: Vec<AnswerAbroad>,
    pub evidence: Evidence,
    /// The SHA-256 of the guide in each form.
    pub forms: BTreeMap<String, String>,
}

/// What the answer rests on in the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Evidence {
    /// The offers of the picks.
    pub picks: Vec<PickEvidence>,
    /// Every offer that could have been picked.
    pub considered: Vec<Considered>,
    #[serde(default)]
    pub abroad: Vec<EvidenceAbroad>,
}

/// What the answer in another country rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EvidenceAbroad {
    pub country: String,
    pub picks: Vec<PickEvidence>,
    pub considered: Vec<Considered>,
}

/// An interval of the ledger in which an offer had these terms: the offer's number there, and since
/// when (RFC 3339).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Observation {
    pub offer: i64,
    pub from: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PickEvidence {
    pub role: String,
    pub part: String,
    pub observation: Observation,
    pub feed: String,
    pub retailer: String,
    pub sku: String,
    pub seller: Option<String>,
    pub condition: String,
    /// As the retailer called it.
    pub title: String,
    pub link: Option<String>,
    pub price_minor: i64,
    pub currency: String,
    pub tax_included: bool,
    pub shipping_minor: Option<i64>,
    pub availability: String,
    pub seen_at: String,
    /// Why the offer is taken for the part.
    pub matched_by: String,
    pub confidence_percent: u8,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Considered {
    pub observation: Observation,
    pub part: String,
    pub retailer: String,
    pub sku: String,
    pub price_minor: i64,
    pub currency: String,
}

impl Edition {
    /// Reads an edition back from its document.
    pub fn from_json(json: &str) -> Option<Edition> {
        serde_json::from_str(json).ok()
    }

    pub fn to_json(&self) -> String {
        // Serialising plain data with text keys cannot fail.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }
}
