//! What a trigger may look at: the answer that was told last, today's, and what today's prices are.

use super::change::Change;
use super::edition::Edition;
use super::names::Names;
use super::record::{AnswerRecord, PickRecord};
use crate::catalogue::PartId;
use crate::market::{Market, RoleId};
use crate::money::{Currency, Money};
use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Everything that a decision rests on.
#[derive(Debug, Clone)]
pub struct Scene<'s> {
    /// The brief's.
    pub name: &'s str,
    /// Of shops and workloads.
    pub names: Names,
    pub currency: Currency,
    pub at: DateTime<Utc>,
    /// The answer as it was last told.
    pub standing: Option<&'s AnswerRecord>,
    pub today: &'s AnswerRecord,
    /// What today's answer means for the standing one.
    pub change: Change,
    /// The least landed price of a role's part; absent where it cannot be had.
    pub prices: BTreeMap<(RoleId, PartId), Money>,
    /// The parts that are asked about by name, as they can be had for the least.
    pub asked: BTreeMap<PartId, PickRecord>,
    /// What the ledger knows of the prices of parts before.
    /// By the key of what is asked for and the part.
    pub lows: BTreeMap<(String, PartId), Low>,
    /// The newest edition of the guide, where one is published and something asks for it.
    pub edition: Option<Edition>,
    /// Prices of today's or of the standing build that are not to be trusted.
    pub doubts: Vec<Doubt>,
}

/// The lowest price of a part before the one that it has now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Low {
    /// What the cheapest offer asks now, and what the cheapest asked before, in one currency.
    pub now: Money,
    pub before: Money,
    /// How far back the record goes, in days.
    pub days: i64,
}

/// A price that an answer rests on and that may no longer hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Doubt {
    pub role: RoleId,
    pub part: PartId,
    pub name: String,
    pub retailer: String,
    pub why: DoubtReason,
    /// RFC 3339: when the price was last seen to hold.
    pub seen_at: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DoubtReason {
    /// Its source has not confirmed it for longer than the brief trusts a price.
    Stale,
    /// Its source says another price now, which is held until it is confirmed.
    Held,
}

impl Scene<'_> {
    /// A part as it can be had today.
    pub fn pick_of(&self, part: &PartId) -> Option<&PickRecord> {
        let mut picks = self.today.picks.iter();
        let asked = self.asked.get(part);
        asked.or_else(|| picks.find(|pick| pick.part == *part))
    }
}

/// The cheapest way to get each of these parts, for any role.
pub fn asked<'p>(
    market: &Market<'_>,
    parts: impl Iterator<Item = &'p PartId>,
) -> BTreeMap<PartId, PickRecord> {
    let wanted: BTreeSet<&PartId> = parts.collect();
    let mut found: BTreeMap<PartId, PickRecord> = BTreeMap::new();
    if wanted.is_empty() {
        return found;
    }
    for (role, candidates) in market.brief.roles.iter().zip(&market.candidates) {
        for candidate in candidates {
            let part = &candidate.part.id;
            let known = found.get(part).map(|pick| pick.landed_minor);
            let is_less = known.is_none_or(|known| candidate.landed.minor() < known);
            if wanted.contains(part) && is_less {
                found.insert(part.clone(), PickRecord::offered(&role.id, candidate));
            }
        }
    }
    found
}

/// The least landed price of each part that could fill each role.
pub fn prices(market: &Market<'_>) -> BTreeMap<(RoleId, PartId), Money> {
    let mut prices = BTreeMap::new();
    for (role, candidates) in market.brief.roles.iter().zip(&market.candidates) {
        for candidate in candidates {
            let key = (role.id.clone(), candidate.part.id.clone());
            let least = prices.entry(key).or_insert(candidate.landed);
            if candidate.landed.minor() < least.minor() {
                *least = candidate.landed;
            }
        }
    }
    prices
}

/// Which picks of these answers rest on prices that may no longer hold. `held` names offers, by
/// retailer and SKU, whose newest price is held.
pub fn doubts(
    answers: &[&AnswerRecord],
    held: &BTreeSet<(String, String)>,
    stale_after: Option<TimeDelta>,
    at: DateTime<Utc>,
) -> Vec<Doubt> {
    let mut doubts: Vec<Doubt> = Vec::new();
    for pick in answers.iter().flat_map(|answer| &answer.picks) {
        let doubt = doubt(pick, held, stale_after, at);
        doubts.extend(doubt.filter(|doubt| !doubts.contains(doubt)));
    }
    doubts
}

fn doubt(
    pick: &PickRecord,
    held: &BTreeSet<(String, String)>,
    stale_after: Option<TimeDelta>,
    at: DateTime<Utc>,
) -> Option<Doubt> {
    let (retailer, sku, seen_at) = (
        pick.retailer.as_ref()?,
        pick.sku.as_ref()?,
        pick.seen_at.as_ref()?,
    );
    let seen = DateTime::parse_from_rfc3339(seen_at).ok()?;
    let is_stale = stale_after.is_some_and(|after| at.signed_duration_since(seen) > after);
    let why = match held.contains(&(retailer.to_string(), sku.to_string())) {
        true => DoubtReason::Held,
        false if is_stale => DoubtReason::Stale,
        false => return None,
    };
    Some(Doubt {
        role: pick.role.clone(),
        part: pick.part.clone(),
        name: pick.name.clone(),
        retailer: retailer.to_string(),
        why,
        seen_at: seen_at.clone(),
    })
}

impl Doubt {
    /// What a person should know of it.
    pub fn sentence(&self, names: &Names) -> String {
        let Doubt {
            name,
            retailer,
            seen_at,
            ..
        } = self;
        let retailer = names.shop(retailer);
        match self.why {
            DoubtReason::Stale => format!(
                "{retailer} has not confirmed its price of {name} since {seen_at}: check it there."
            ),
            DoubtReason::Held => format!(
                "{retailer} states another price of {name} now, which is held until it is \
                 confirmed; the last one believed is from {seen_at}."
            ),
        }
    }
}
