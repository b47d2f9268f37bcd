//! Which briefs have to be solved again: what was listed at the last look, what each brief was last
//! solved on, and counts of both.
//!
//! It lives as long as the settings that it is of: other settings, or a restart, solve everything anew.

use super::metrics::SOLVES_SKIPPED;
use super::settings::Settings;
use crate::catalogue::{Catalogue, PartId};
use crate::decide::{Solved, Spared, spared};
use crate::market::{
    Availability, Brief, BriefId, Condition, Listed, Retailer, RetailerId, Sku, market,
};
use crate::money::Money;
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeMap;

/// A brief whose answer was proven to hold while the offers of more parts moved is proven from what is
/// listed now on, so that neither what is remembered nor the proof grows without end.
const PARTS_THEN_MAX: usize = 64;

/// How often briefs were looked at, and what that came to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Counters {
    pub solves: u64,
    /// All of them, in microseconds.
    pub solve_us: u64,
    /// No offer moved.
    pub unmoved: u64,
    /// Offers moved that the brief's market does not read.
    pub unread: u64,
    /// Offers became dearer or went that are not in the build.
    pub worse: u64,
    /// Parts became cheaper that cannot be in the best build.
    pub beaten: u64,
}

/// What is known of the market and of each brief since the settings were loaded.
#[derive(Debug, Default)]
pub struct Attention {
    pub counters: Counters,
    /// At the last look.
    listed: BTreeMap<PartId, Box<[Kept]>>,
    sellers: Sellers,
    retailers: BTreeMap<RetailerId, Retailer>,
    briefs: BTreeMap<BriefId, Known>,
    /// The newest edition of each brief's guide.
    editions: BTreeMap<BriefId, u32>,
}

#[derive(Debug)]
struct Known {
    solved: Solved,
    /// The offers of parts that moved since the solve, as they were then.
    then: BTreeMap<PartId, Box<[Kept]>>,
    /// It is looked at again though nothing moves.
    is_pending: bool,
}

impl Attention {
    /// Takes note of what is listed now, in the ledger's order. Every part that moved is remembered as
    /// it was at each brief's last solve.
    pub fn look(
        &mut self,
        listed: &[Listed],
        catalogue: &Catalogue,
        retailers: &BTreeMap<RetailerId, Retailer>,
    ) {
        // Terms that begin or end with the day may change any answer.
        if self.retailers != *retailers {
            self.retailers = retailers.clone();
            self.briefs.clear();
        }
        let mut now: BTreeMap<&PartId, &[Listed]> = BTreeMap::new();
        for run in listed.chunk_by(|one, next| one.part == next.part) {
            now.insert(&run[0].part, run);
        }
        let gone = self.listed.keys().filter(|part| !now.contains_key(part));
        for part in gone.cloned().collect::<Vec<_>>() {
            self.moves(&part, None);
        }
        for (part, run) in now {
            let kept = self.listed.get(part).map_or(&[][..], |kept| kept);
            let is_same = kept.len() == run.len()
                && kept
                    .iter()
                    .zip(run)
                    .all(|(kept, one)| kept.reads_as(one, &self.sellers));
            if !is_same {
                let kept = run.iter().map(|one| Kept::of(one, &mut self.sellers));
                let kept = kept.collect();
                // Each offer has its part's name to itself; one that is kept would keep the room of all.
                let known = catalogue.parts.get_key_value(part);
                let part = known.map_or_else(|| PartId::new(part.as_str()), |(id, _)| id.clone());
                self.moves(&part, Some(kept));
            }
        }
    }

    /// Puts a part's offers in the place of those that it had.
    fn moves(&mut self, part: &PartId, now: Option<Box<[Kept]>>) {
        let was = match now {
            Some(now) => self.listed.insert(part.clone(), now),
            None => self.listed.remove(part),
        };
        let was = was.unwrap_or_default();
        for known in self.briefs.values_mut() {
            if !known.then.contains_key(part) {
                known.then.insert(part.clone(), was.clone());
            }
        }
    }

    /// Takes note of the newest edition of a brief's guide. What is asked of a new one is judged anew.
    pub fn published(&mut self, brief: &BriefId, edition: u32) {
        if self.editions.insert(brief.clone(), edition) != Some(edition) {
            self.forget(brief);
        }
    }

    /// Whether a brief's answer is proven to hold, and why. Counts it if so.
    pub fn is_spared(&mut self, settings: &Settings, brief: &Brief) -> bool {
        let is_spared = self.proves(settings, brief);
        SOLVES_SKIPPED.add(u64::from(is_spared));
        is_spared
    }

    fn proves(&mut self, settings: &Settings, brief: &Brief) -> bool {
        let Some(known) = self.briefs.get_mut(&brief.id) else {
            return false;
        };
        if known.is_pending {
            return false;
        }
        if known.then.is_empty() {
            self.counters.unmoved += 1;
            return true;
        }
        let telling = settings.telling.get(&brief.id);
        let mut asked = telling.into_iter().flat_map(|telling| telling.parts());
        let mut moved = known.then.keys();
        if asked.any(|part| known.then.contains_key(part))
            || moved.any(|part| known.solved.reads_abroad(part))
        {
            return false;
        }
        let then = known.then.iter();
        let then = then.flat_map(|(part, kept)| self.sellers.listed(part, kept));
        let then: Vec<Listed> = then.collect();
        let parts = known.then.keys();
        let now = parts.filter_map(|part| self.listed.get_key_value(part));
        let now = now.flat_map(|(part, kept)| self.sellers.listed(part, kept));
        let now: Vec<Listed> = now.collect();
        let made = |listed| market(brief, &settings.catalogue, &self.retailers, listed);
        let (then, now) = (made(&then), made(&now));
        match spared(&then, &now, &known.solved) {
            Some(Spared::Unread) => self.counters.unread += 1,
            Some(Spared::Worse) => self.counters.worse += 1,
            Some(Spared::Beaten) => self.counters.beaten += 1,
            None => return false,
        }
        if known.then.len() > PARTS_THEN_MAX {
            known.solved.holds_on(&now);
            drop(then);
            known.then.clear();
        }
        true
    }

    /// Takes note of a solve on what is listed now.
    pub fn put(&mut self, brief: &BriefId, solved: Solved, is_pending: bool) {
        let known = Known {
            solved,
            then: BTreeMap::new(),
            is_pending,
        };
        self.briefs.insert(brief.clone(), known);
    }

    /// The brief is solved at the next look, whatever moves.
    pub fn forget(&mut self, brief: &BriefId) {
        self.briefs.remove(brief);
    }
}

/// What a market reads of an offer, in little room: a large market is kept for as long as the daemon
/// rests. Titles and links are left out, which no answer hangs on.
#[derive(Debug, Clone)]
struct Kept {
    sku: Box<str>,
    /// What few offers have.
    rare: Option<Box<Rare>>,
    price: Money,
    seen_at: DateTime<Utc>,
    /// Among [`Sellers`].
    retailer: u32,
    tax_included: bool,
    availability: Availability,
    condition: Condition,
}

#[derive(Debug, Clone, PartialEq)]
struct Rare {
    lead_days: Option<u32>,
    seller: Option<String>,
    shipping: Option<Money>,
    minimum_quantity: u32,
}

impl Rare {
    fn of(listed: &Listed) -> Option<Box<Rare>> {
        let rare = Rare {
            lead_days: listed.lead_days,
            seller: listed.seller.clone(),
            shipping: listed.shipping,
            minimum_quantity: listed.minimum_quantity,
        };
        (rare != Rare::default()).then(|| Box::new(rare))
    }
}

impl Default for Rare {
    fn default() -> Rare {
        Rare {
            lead_days: None,
            seller: None,
            shipping: None,
            minimum_quantity: 1,
        }
    }
}

impl Kept {
    fn of(listed: &Listed, sellers: &mut Sellers) -> Kept {
        Kept {
            sku: listed.sku.as_str().into(),
            rare: Rare::of(listed),
            price: listed.price,
            seen_at: listed.seen_at,
            retailer: sellers.number(&listed.retailer),
            tax_included: listed.tax_included,
            availability: listed.availability,
            condition: listed.condition,
        }
    }

    /// True where a market reads the same of this state of an offer.
    fn reads_as(&self, other: &Listed, sellers: &Sellers) -> bool {
        sellers.0.get(self.retailer as usize) == Some(&other.retailer)
            && *self.sku == *other.sku.as_str()
            && (self.price, self.tax_included) == (other.price, other.tax_included)
            && (self.availability, self.condition) == (other.availability, other.condition)
            && self.rare == Rare::of(other)
    }
}

/// The retailers that offers are kept of; a handful.
#[derive(Debug, Default)]
struct Sellers(Vec<RetailerId>);

impl Sellers {
    fn number(&mut self, retailer: &RetailerId) -> u32 {
        let known = self.0.iter().position(|one| one == retailer);
        let number = known.unwrap_or_else(|| {
            self.0.push(retailer.clone());
            self.0.len() - 1
        });
        u32::try_from(number).unwrap_or(u32::MAX)
    }

    /// A part's offers as they were kept.
    fn listed(&self, part: &PartId, kept: &[Kept]) -> Vec<Listed> {
        let listed = kept.iter().filter_map(|kept| {
            let rare = kept.rare.as_deref().cloned().unwrap_or_default();
            Some(Listed {
                retailer: self.0.get(kept.retailer as usize)?.clone(),
                sku: Sku::new(&*kept.sku),
                part: part.clone(),
                title: String::new(),
                price: kept.price,
                tax_included: kept.tax_included,
                availability: kept.availability,
                lead_days: rare.lead_days,
                condition: kept.condition,
                seller: rare.seller,
                shipping: rare.shipping,
                minimum_quantity: rare.minimum_quantity,
                link: None,
                seen_at: kept.seen_at,
            })
        });
        listed.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::load_catalogue;
    use crate::money::Currency;

    fn listed(part: &str) -> Listed {
        Listed {
            retailer: RetailerId::new("shop"),
            sku: Sku::new(part),
            part: PartId::new(part),
            title: String::new(),
            price: Money::from_minor(100, Currency::EUR),
            tax_included: true,
            availability: Availability::InStock,
            lead_days: None,
            condition: Condition::New,
            seller: None,
            shipping: None,
            minimum_quantity: 1,
            link: None,
            seen_at: DateTime::UNIX_EPOCH,
        }
    }

    #[test]
    fn what_is_remembered_of_the_listed_holds_on_to_none_of_their_texts() {
        let text = "[[part]]\nid = \"known\"\nkind = \"cpu\"\nname = \"K\"\nmpn = \"1\"\n";
        let (catalogue, faults) = load_catalogue(&[("p.toml", text)]);
        assert_eq!(faults, []);
        let listed = [listed("gone"), listed("known")];
        let mut attention = Attention::default();
        attention.look(&listed, &catalogue, &BTreeMap::new());
        let kept: Vec<&PartId> = attention.listed.keys().collect();
        assert!(kept.iter().copied().eq(listed.iter().map(|one| &one.part)));
        let place = |part: &PartId| part.as_str().as_ptr();
        for (kept, one) in kept.iter().zip(&listed) {
            assert_ne!(place(kept), place(&one.part));
        }
        let own = catalogue.parts.keys().next().unwrap();
        assert_eq!(place(kept[1]), place(own));
    }
}
