//! Records of one feed that bear the same number.

use super::{Normalised, Refusal, RefusalReason};
use crate::market::offer::{Offer, Sku};
use crate::market::raw::Field;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};

/// Remembers the numbers that a feed has used so far, a few bytes for each.
///
/// The rule does not depend on anything but the order of the feed: the first record with a number
/// stands. A later one that leads to another address is another offer, and gets its address added
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
        let Some(known) = self.seen.get(&digest(&offer.sku)).copied() else {
            self.seen.insert(digest(&offer.sku), this);
            return Settled::Kept(offer);
        };
        if known == this {
            return Settled::Equal;
        }
        if let (Some(link), true) = (offer.link.clone(), known.link != this.link) {
            let sku = Sku::new(format!("{} {link}", offer.sku));
            match self.seen.insert(digest(&sku), this) {
                Some(again) if again == this => return Settled::Equal,
                Some(again) => {
                    self.seen.insert(digest(&sku), again);
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
