//! Records of one feed that are the same offer: one number, one seller, one condition.

use super::{Normalised, Refusal, RefusalReason};
use crate::market::offer::{Offer, Sku};
use crate::market::raw::Field;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};

/// Remembers the numbers that a feed has used so far, a few bytes for each.
///
/// Other sellers and other conditions under one number are offers of their own. Beyond that the
/// rule depends on nothing but the order of the feed: the first record with a number stands. A later one that leads to another address is another offer, and gets its address added
/// to its number. One at the same address with another price is refused; an equal one is dropped.
#[derive(Debug, Default)]
pub struct Repeats {
    seen: BTreeMap<u64, Seen>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Seen {
    link: u64,
    price_minor: i64,
}

impl Repeats {
    pub fn new() -> Repeats {
        Repeats::default()
    }

    /// Settles one record against those before it; `None` when it says nothing new.
    pub fn settle(&mut self, index: u64, record: Normalised) -> Option<Normalised> {
        match record {
            Normalised::Accepted(offer) => match self.settle_offer(index, offer) {
                Settled::Kept(offer) => Some(Normalised::Accepted(offer)),
                Settled::Equal => None,
                Settled::Refused(refusal) => Some(Normalised::Refused(refusal)),
            },
            Normalised::Held { offer, reason } => match self.settle_offer(index, offer) {
                Settled::Kept(offer) => Some(Normalised::Held { offer, reason }),
                Settled::Equal => None,
                Settled::Refused(refusal) => Some(Normalised::Refused(refusal)),
            },
            refused @ Normalised::Refused(_) => Some(refused),
        }
    }

    fn settle_offer(&mut self, index: u64, mut offer: Offer) -> Settled {
        let this = Seen {
            link: digest(&offer.link),
            price_minor: offer.price.minor(),
        };
        let own = digest(&(&offer.sku, &offer.seller, offer.condition));
        let Some(known) = self.seen.get(&own).copied() else {
            self.seen.insert(own, this);
            return Settled::Kept(offer);
        };
        if known == this {
            return Settled::Equal;
        }
        if let (Some(link), true) = (offer.link.clone(), known.link != this.link) {
            let sku = Sku::new(format!("{} {link}", offer.sku));
            let other = digest(&(&sku, &offer.seller, offer.condition));
            match self.seen.insert(other, this) {
                Some(again) if again == this => return Settled::Equal,
                Some(again) => {
                    self.seen.insert(other, again);
                }
                None => {
                    offer.notes.push(format!(
                        "the feed uses number {} again for this address",
                        offer.sku
                    ));
                    offer.sku = sku;
                    return Settled::Kept(offer);
                }
            }
        }
        Settled::Refused(Refusal {
            index,
            field: Field::Sku,
            text: offer.sku.as_str().to_owned(),
            reason: RefusalReason::Repeated {
                sku: offer.sku.as_str().to_owned(),
            },
            title: Some(offer.title),
            sku: Some(offer.sku),
        })
    }
}

enum Settled {
    Kept(Offer),
    Equal,
    Refused(Refusal),
}

/// A digest that is the same on every run: the hasher's keys are fixed.
fn digest(value: &impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    value.hash(&mut hasher);
    hasher.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::market::{Condition, NormaliseSettings, RawOffer, RawText, normalise};
    use crate::money::Currency;

    #[test]
    fn other_sellers_and_conditions_under_one_number_are_other_offers() {
        // Pitfalls S08 and S33: one page, one address, several offers.
        let mut settings = NormaliseSettings::of("kestrel", "DE", Currency::EUR);
        settings.allow_marketplace = true;
        let mut repeats = Repeats::new();
        let mut settle = |condition: &str, seller: &str, price: &str| {
            let mut raw = RawOffer::default();
            for (field, text) in [
                (Field::Sku, "N-1"),
                (Field::Title, "Tern 7"),
                (Field::Link, "https://kestrel.example/n-1"),
                (Field::Condition, condition),
                (Field::Seller, seller),
                (Field::Price, price),
            ] {
                raw.push(field, RawText::machine(text));
            }
            let read = normalise(&raw, &settings, chrono::DateTime::UNIX_EPOCH);
            match repeats.settle(1, read) {
                Some(Normalised::Accepted(offer)) => Some((offer.condition, offer.seller)),
                _ => None,
            }
        };
        assert_eq!(settle("new", "", "329.00"), Some((Condition::New, None)));
        assert_eq!(settle("used", "", "189.00"), Some((Condition::Used, None)));
        let other = Some("Brindle".to_owned());
        assert_eq!(
            settle("new", "Brindle", "319.00"),
            Some((Condition::New, other))
        );
        assert_eq!(settle("used", "", "199.00"), None);
    }
}
