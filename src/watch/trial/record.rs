//! One record of a trial: as it stood, as it was read, and what became of it.

use crate::decide::shown_instant;
use crate::market::{Field, Matching, RawOffer, RawText, Refusal};
use crate::watch::judge::{Hold, Judged, JudgedOffer};
use serde::Serialize;
use serde_json::{Map, Value};

/// One record as it stood and as it was read. What could not be read is null.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TrialRecord {
    /// From 1, in the order of the feed.
    pub index: u64,
    /// By the names of mappings: a text, or a list where the record has several.
    pub raw: Map<String, Value>,
    pub title: Option<String>,
    pub sku: Option<String>,
    /// Fourteen digits.
    pub gtin: Option<String>,
    pub mpn: Option<String>,
    pub price_text: Option<String>,
    pub price_minor: Option<i64>,
    pub currency: Option<String>,
    pub availability: Option<&'static str>,
    pub lead_days: Option<u32>,
    /// RFC 3339.
    pub available_from: Option<String>,
    pub condition: Option<&'static str>,
    /// Somebody other than the retailer.
    pub seller: Option<String>,
    pub shipping_minor: Option<i64>,
    /// The part of the catalogue that it is taken for.
    pub part: Option<String>,
    #[serde(rename = "match")]
    pub matched: Option<MatchRecord>,
    pub notes: Vec<String>,
    pub verdict: Verdict,
    /// Why it is held or refused.
    pub reason: Option<String>,
}

/// The evidence that an offer is a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MatchRecord {
    pub by: &'static str,
    /// In percent.
    pub confidence: u8,
    /// What agreed, as one clause.
    pub reason: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    Accepted,
    Held,
    Refused,
}

impl TrialRecord {
    fn blank(index: u64, verdict: Verdict) -> TrialRecord {
        TrialRecord {
            index,
            raw: Map::new(),
            title: None,
            sku: None,
            gtin: None,
            mpn: None,
            price_text: None,
            price_minor: None,
            currency: None,
            availability: None,
            lead_days: None,
            available_from: None,
            condition: None,
            seller: None,
            shipping_minor: None,
            part: None,
            matched: None,
            notes: Vec::new(),
            verdict,
            reason: None,
        }
    }

    pub(super) fn undecoded(index: u64, reason: String) -> TrialRecord {
        TrialRecord {
            reason: Some(reason),
            ..TrialRecord::blank(index, Verdict::Refused)
        }
    }

    /// The record, and the stable name of the reason where it is not accepted.
    pub(super) fn of(
        index: u64,
        raw: &RawOffer,
        judged: Judged,
    ) -> (TrialRecord, Option<&'static str>) {
        let text = |field| raw.first(field).map(|value| value.text.clone());
        let (record, code) = match judged {
            Judged::Offer(judged) => {
                let code = judged.hold.as_ref().map(Hold::code);
                (TrialRecord::offer(index, *judged), code)
            }
            Judged::Refused(refusal) => {
                let code = refusal.reason.code();
                (TrialRecord::refused(index, refusal), Some(code))
            }
            Judged::Repeated { .. } => {
                let mut record = TrialRecord::blank(index, Verdict::Refused);
                record.reason = Some("says what an earlier record has said".to_owned());
                record.title = text(Field::Title);
                record.sku = text(Field::Sku);
                (record, Some("repeated"))
            }
        };
        let record = TrialRecord {
            raw: raw_texts(raw),
            price_text: text(Field::Price),
            ..record
        };
        (record, code)
    }

    fn offer(index: u64, judged: JudgedOffer) -> TrialRecord {
        let JudgedOffer {
            offer,
            matching,
            hold,
        } = judged;
        let mut notes = offer.notes;
        notes.extend(matching.question());
        let found = match matching {
            Matching::Part(found) => Some(found),
            Matching::None | Matching::Review { .. } | Matching::Contradiction(..) => None,
        };
        let verdict = match &hold {
            Some(_) => Verdict::Held,
            None => Verdict::Accepted,
        };
        TrialRecord {
            title: Some(offer.title),
            sku: Some(offer.sku.to_string()),
            gtin: offer.gtins.first().map(ToString::to_string),
            mpn: offer.mpn,
            price_minor: Some(offer.price.minor()),
            currency: Some(offer.price.currency().to_string()),
            availability: Some(offer.availability.name()),
            lead_days: offer.lead_days,
            available_from: offer.available_from.map(shown_instant),
            condition: Some(offer.condition.name()),
            seller: offer.seller,
            shipping_minor: offer.shipping.map(|shipping| shipping.minor()),
            part: found.as_ref().map(|found| found.part.to_string()),
            matched: found.map(|found| MatchRecord {
                by: found.by.name(),
                confidence: found.confidence,
                reason: found.reason(),
            }),
            notes,
            reason: hold.map(|hold| hold.to_string()),
            ..TrialRecord::blank(index, verdict)
        }
    }

    fn refused(index: u64, refusal: Refusal) -> TrialRecord {
        let (field, text) = (refusal.field.name(), &refusal.text);
        let reason = match text.trim() {
            "" => format!("{field}: {}", refusal.reason),
            _ => format!("{field} \"{text}\": {}", refusal.reason),
        };
        TrialRecord {
            title: refusal.title,
            sku: refusal.sku.map(|sku| sku.to_string()),
            reason: Some(reason),
            ..TrialRecord::blank(index, Verdict::Refused)
        }
    }
}

fn raw_texts(raw: &RawOffer) -> Map<String, Value> {
    let texts = |values: &[RawText]| match values {
        [only] => Value::from(only.text.as_str()),
        _ => values.iter().map(|value| value.text.as_str()).collect(),
    };
    raw.fields
        .iter()
        .map(|(field, values)| (field.name().to_owned(), texts(values)))
        .collect()
}
