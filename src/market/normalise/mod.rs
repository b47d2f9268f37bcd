//! Normalising: a raw offer becomes an offer, is held, or is refused with a reason.
//!
//! Every value is read by rules that the feed's settings can settle, and by nothing else: what
//! could mean two things is held or refused, never guessed. May not do I/O or read a clock; the
//! instant comes in as a value. One record's fault never touches its neighbours.
//!
//! Start reading at [`normalise`].

mod dates;
mod delivery;
mod identity;
mod price;
mod reason;
mod repeats;
mod settings;
mod states;
mod text;
mod wait;

pub use dates::is_timeless;
pub use reason::{HoldReason, RefusalReason};
pub use repeats::{Repeat, Repeats, Settled, settle};
pub use settings::NormaliseSettings;

use super::offer::{Offer, Sku};
use super::raw::{Field, RawOffer};
use chrono::{DateTime, Utc};

/// What became of one raw offer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Normalised {
    Accepted(Offer),
    /// Readable, but two of its own values disagree: not used before it is confirmed.
    Held {
        offer: Offer,
        reason: HoldReason,
    },
    Refused(Refusal),
}

/// A record that gives no offer, with the value that was at fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The record's number in the feed, from 1.
    pub index: u64,
    pub sku: Option<Sku>,
    pub title: Option<String>,
    /// The field at fault and its text as it stood; empty when it was missing.
    pub field: Field,
    pub text: String,
    pub reason: RefusalReason,
}

/// A value at fault, before the record's identity is added.
struct Fault {
    field: Field,
    text: String,
    reason: RefusalReason,
}

/// Notes beyond these bounds are dropped and cut.
const NOTES_MAX: usize = 20;
const NOTE_CHARACTERS_MAX: usize = 200;

/// Reads one raw offer at the instant `now`.
pub fn normalise(raw: &RawOffer, settings: &NormaliseSettings, now: DateTime<Utc>) -> Normalised {
    let mut notes = raw.notes.clone();
    let (title, title_notes) = text::title(raw);
    notes.extend(title_notes);
    let identity = identity::read(raw, &mut notes);
    let refuse = |fault: Fault| {
        Normalised::Refused(Refusal {
            index: raw.index,
            sku: identity.sku.clone(),
            title: title.clone(),
            field: fault.field,
            text: text::bounded(&fault.text, NOTE_CHARACTERS_MAX),
            reason: fault.reason,
        })
    };
    let missing = |field: Field, reason: RefusalReason| Fault {
        field,
        text: String::new(),
        reason,
    };
    let Some(sku) = identity.sku.clone() else {
        return refuse(missing(Field::Sku, RefusalReason::NoIdentity));
    };
    let Some(title) = title.clone().or_else(|| identity.mpn.clone()) else {
        return refuse(missing(Field::Title, RefusalReason::NoTitle));
    };
    let seller = match identity::seller(raw, settings) {
        Ok(seller) => seller,
        Err(fault) => return refuse(fault),
    };
    let price = match price::read(raw, settings, now, &mut notes) {
        Ok(price) => price,
        Err(fault) => return refuse(fault),
    };
    let availability = states::availability(raw, settings, &mut notes);
    let lead_days = wait::lead_days(raw, &mut notes);
    let available_from = dates::available_from(raw, &mut notes);
    let condition = states::condition(raw, &title, settings, &mut notes);
    let valid_until = dates::valid_until(raw, now, &mut notes);
    notes.truncate(NOTES_MAX);
    let notes = notes
        .iter()
        .map(|note| text::bounded(note, NOTE_CHARACTERS_MAX))
        .collect();
    let offer = Offer {
        retailer: settings.retailer.clone(),
        sku,
        title,
        brand: text::short(raw, Field::Brand),
        gtins: identity.gtins,
        mpn: identity.mpn,
        price: price.amount,
        list_price: price.list_price,
        tax_included: price.tax_included,
        availability,
        lead_days,
        available_from,
        condition,
        seller,
        shipping: price.shipping,
        minimum_quantity: price.minimum_quantity,
        link: identity.link,
        valid_until,
        properties: text::properties(raw),
        notes,
    };
    match price.hold {
        Some(reason) => Normalised::Held { offer, reason },
        None => Normalised::Accepted(offer),
    }
}

#[cfg(test)]
mod tests;
