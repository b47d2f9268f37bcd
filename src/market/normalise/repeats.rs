//! Records of one snapshot that are the same offer: one number, one seller, one condition.

use super::{Refusal, RefusalReason};
use crate::market::offer::{Offer, Sku};
use crate::market::raw::Field;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};

/// How a record compares with the earlier one of its snapshot that is the same offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Repeat {
    pub same_link: bool,
    pub same_price: bool,
}

/// What a record comes to beside those before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Settled {
    Kept(Offer),
    /// It says nothing new.
    Equal,
    Refused(Refusal),
}

/// Settles the record with number `index` against those before it, of which `earlier` knows.
///
/// Other sellers and other conditions under one number are offers of their own. Beyond that the
/// rule depends on nothing but the order of the feed: the first record with a number stands. A
/// later one that leads to another address is another offer, and gets its address added to its
/// number. One at the same address with another price is refused; an equal one is dropped.
///
/// `earlier` is asked last for an offer that is kept, just as it is kept.
///
/// # Errors
/// Whatever `earlier` fails with.
pub fn settle<E>(
    index: u64,
    mut offer: Offer,
    mut earlier: impl FnMut(&Offer) -> Result<Option<Repeat>, E>,
) -> Result<Settled, E> {
    let Some(repeat) = earlier(&offer)? else {
        return Ok(Settled::Kept(offer));
    };
    if repeat.same_link && repeat.same_price {
        return Ok(Settled::Equal);
    }
    let own = offer.sku.clone();
    if let (Some(link), false) = (&offer.link, repeat.same_link) {
        offer.sku = Sku::new(format!("{own} {link}"));
        match earlier(&offer)? {
            None => {
                let note = format!("the feed uses number {own} again for this address");
                offer.notes.push(note);
                return Ok(Settled::Kept(offer));
            }
            Some(again) if again.same_link && again.same_price => return Ok(Settled::Equal),
            Some(_) => {}
        }
    }
    Ok(Settled::Refused(Refusal {
        index,
        field: Field::Sku,
        text: own.as_str().to_owned(),
        reason: RefusalReason::Repeated {
            sku: own.as_str().to_owned(),
        },
        title: Some(offer.title),
        sku: Some(own),
    }))
}

/// Remembers the offers of a snapshot that is stored nowhere, a few bytes for each.
#[derive(Debug, Default)]
pub struct Repeats {
    seen: BTreeMap<u64, Seen>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Seen {
    link: u64,
    price: u64,
}

impl Repeats {
    /// How an offer compares with the one remembered under its number, seller and condition.
    pub fn of(&self, offer: &Offer) -> Option<Repeat> {
        let known = self.seen.get(&key(offer))?;
        let this = Seen::of(offer);
        Some(Repeat {
            same_link: known.link == this.link,
            same_price: known.price == this.price,
        })
    }

    /// Remembers an offer that was kept.
    pub fn keep(&mut self, offer: &Offer) {
        self.seen.entry(key(offer)).or_insert(Seen::of(offer));
    }
}

impl Seen {
    fn of(offer: &Offer) -> Seen {
        Seen {
            link: digest(&offer.link),
            price: digest(&(offer.price.minor(), offer.price.currency().code())),
        }
    }
}

fn key(offer: &Offer) -> u64 {
    digest(&(&offer.sku, &offer.seller, offer.condition))
}

/// A digest that is the same on every run: the hasher's keys are fixed.
fn digest(value: &impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    value.hash(&mut hasher);
    hasher.finish()
}
