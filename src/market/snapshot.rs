//! The market of a brief: for every role, what could fill it today and what it would cost.

use super::brief::{Brief, Role};
use super::offer::{Availability, Condition, RetailerId, Sku};
use super::order::OrderFault;
use super::retailer::Retailer;
use super::ways::{asked, ways};
use crate::catalogue::{Catalogue, Part, PartId};
use crate::money::{Money, MoneyError};
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// An offer of a known part as it stands at one instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    pub retailer: RetailerId,
    pub sku: Sku,
    pub part: PartId,
    pub title: String,
    pub price: Money,
    pub tax_included: bool,
    pub availability: Availability,
    /// How many days an order waited for the goods to leave the retailer when it was last seen.
    pub lead_days: Option<u32>,
    pub condition: Condition,
    pub seller: Option<String>,
    pub shipping: Option<Money>,
    pub minimum_quantity: u32,
    pub link: Option<String>,
    /// When the price was last seen to hold.
    pub seen_at: DateTime<Utc>,
}

/// A part that could fill a role, and one way to get it.
#[derive(Debug, Clone)]
pub struct Candidate<'m> {
    pub part: &'m Part,
    /// `None` for what the reader has already, and for what nobody offers: both cost nothing.
    pub bought: Option<Bought<'m>>,
    /// What the role's whole quantity costs in the brief's currency: price and tax, delivery where
    /// it is paid for each pick, and less what a coupon or a counted rebate takes off. Delivery of
    /// whole orders is not in it.
    pub landed: Money,
}

/// An offer as a role would take it.
#[derive(Debug, Clone)]
pub struct Bought<'m> {
    pub listed: &'m Listed,
    pub retailer: &'m Retailer,
    pub quantity: u32,
    /// Price and tax of the whole quantity, in the retailer's currency.
    pub goods: Money,
    /// Delivery of this pick alone, in the retailer's currency; nothing where delivery is paid for
    /// the whole order.
    pub delivery: Money,
    /// What a coupon of the retailer, by its position, takes off this line of the order.
    pub coupon: Option<(usize, Money)>,
    /// What comes back later, in the brief's currency.
    pub rebate: Money,
}

/// Why an offer or a part is not in the market.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LeftOut {
    NotInStock,
    TooLate,
    NotNew,
    OtherCountry,
    OtherCurrency,
    UnknownRetailer,
    UnknownPart,
    Draft,
    NoRole,
    Banned,
    MinimumQuantity,
    TooLargeToCount,
    NeedUnmet,
    NoRate,
    Estimate,
    BelowFloor,
}

impl LeftOut {
    /// What is said of the offers or parts that were left out.
    pub fn reason(self) -> &'static str {
        match self {
            LeftOut::NotInStock => "not in stock",
            LeftOut::TooLate => "that take longer than the brief waits, or do not say how long",
            LeftOut::NotNew => "not new",
            LeftOut::OtherCountry => "sold in another country",
            LeftOut::OtherCurrency => "priced in another currency",
            LeftOut::UnknownRetailer => "from a retailer that is no longer configured",
            LeftOut::UnknownPart => "of a part that is no longer in the catalogue",
            LeftOut::Draft => "of drafts, whose guessed specs wait to be confirmed",
            LeftOut::NoRole => "of a kind that the brief has no role for",
            LeftOut::Banned => "of parts or from retailers that the brief will not have",
            LeftOut::MinimumQuantity => "sold in larger quantities only",
            LeftOut::TooLargeToCount => "priced beyond what can be counted",
            LeftOut::NeedUnmet => "of parts that miss a need or the pin of the role",
            LeftOut::NoRate => "of parts without a rate in a workload that they limit",
            LeftOut::Estimate => "of parts whose rate is an estimate that the brief does not admit",
            LeftOut::BelowFloor => "of parts below a workload's floor",
        }
    }
}

/// What could fill each role of a brief, and how much was considered.
#[derive(Debug, Clone)]
pub struct Market<'m> {
    pub brief: &'m Brief,
    pub retailers: &'m BTreeMap<RetailerId, Retailer>,
    /// For each role of the brief, its candidates by part id, those of one part cheapest first.
    /// Where no order costs more than its lines, each part has one.
    pub candidates: Vec<Vec<Candidate<'m>>>,
    /// Parts with at least one usable offer for some role.
    pub parts_considered: usize,
    /// Usable offers.
    pub offers_considered: usize,
    /// How many offers were left out for which reason.
    pub left_out: BTreeMap<LeftOut, usize>,
}

/// An offer that a brief may take, and who makes it.
type Usable<'m> = (&'m Listed, &'m Retailer);

/// Collects the candidates of a brief from what is listed.
pub fn market<'m>(
    brief: &'m Brief,
    catalogue: &'m Catalogue,
    retailers: &'m BTreeMap<RetailerId, Retailer>,
    listed: &'m [Listed],
) -> Market<'m> {
    let mut left_out = BTreeMap::new();
    let mut usable: BTreeMap<&PartId, (&Part, Vec<Usable<'m>>)> = BTreeMap::new();
    let mut offers_considered = 0;
    // What is listed comes part by part: what is said of a part is looked up once for all its offers.
    for offers in listed.chunk_by(|one, next| one.part == next.part) {
        let seat = offers
            .first()
            .and_then(|one| Seat::of(brief, catalogue, &one.part));
        let judged = offers
            .iter()
            .map(|offer| (offer, judge(offer, brief, seat.as_ref(), retailers)));
        let mut kept = Vec::new();
        for (offer, judged) in judged {
            match judged {
                Ok(retailer) => kept.push((offer, retailer)),
                Err(reason) => *left_out.entry(reason).or_insert(0) += 1,
            }
        }
        offers_considered += kept.len();
        if let (Some(seat), false) = (&seat, kept.is_empty()) {
            let (_, all) = usable
                .entry(&seat.part.id)
                .or_insert_with(|| (seat.part, Vec::new()));
            all.extend(kept);
        }
    }
    let candidates: Vec<Vec<Candidate<'m>>> = brief
        .roles
        .iter()
        .map(|role| match role.is_owned {
            true => owned(brief, role, catalogue).into_iter().collect(),
            false => usable
                .values()
                .filter(|(part, _)| role.admits(part))
                .flat_map(|(part, offers)| ways(brief, role, part, offers))
                .collect(),
        })
        .collect();
    let parts: BTreeSet<&PartId> = candidates
        .iter()
        .flatten()
        .map(|candidate| &candidate.part.id)
        .collect();
    Market {
        brief,
        retailers,
        parts_considered: parts.len(),
        offers_considered,
        left_out,
        candidates,
    }
}

/// What a brief makes of a part, whoever offers it.
struct Seat<'m> {
    part: &'m Part,
    is_banned: bool,
    /// The most that a role of its kind takes of one; none without such a role.
    most: Option<u32>,
    is_admitted: bool,
    rated: Result<(), LeftOut>,
}

impl<'m> Seat<'m> {
    fn of(brief: &Brief, catalogue: &'m Catalogue, part: &PartId) -> Option<Seat<'m>> {
        let part = catalogue.parts.get(part)?;
        let roles = || brief.roles.iter().filter(|role| role.kind == part.kind);
        Some(Seat {
            is_banned: !brief.bans.admit_part(part),
            most: roles().map(|role| role.quantity).max(),
            is_admitted: roles().any(|role| role.admits(part)),
            rated: rated(brief, part),
            part,
        })
    }
}

fn judge<'m>(
    offer: &Listed,
    brief: &Brief,
    seat: Option<&Seat<'_>>,
    retailers: &'m BTreeMap<RetailerId, Retailer>,
) -> Result<&'m Retailer, LeftOut> {
    let retailer = retailers
        .get(&offer.retailer)
        .ok_or(LeftOut::UnknownRetailer)?;
    let seat = seat.ok_or(LeftOut::UnknownPart)?;
    // A guess can be wrong, and a build on it would not go together: drafts wait for the author.
    if !seat.part.guessed.is_empty() {
        return Err(LeftOut::Draft);
    }
    if seat.is_banned || !brief.bans.admit_retailer(&offer.retailer) {
        return Err(LeftOut::Banned);
    }
    brief.stock.judge(offer.availability, offer.lead_days)?;
    if offer.condition != Condition::New {
        return Err(LeftOut::NotNew);
    }
    if retailer.country != brief.country && retailer.delivery_to(brief).is_none() {
        return Err(LeftOut::OtherCountry);
    }
    let told = |(goods, delivery): (Money, Money)| {
        let currency = brief.budget.currency();
        Ok((
            retailer.told_in(goods, currency)?,
            retailer.told_in(delivery, currency)?,
        ))
    };
    match asked(brief, offer, retailer, 1).and_then(told) {
        Ok(_) => {}
        Err(OrderFault::Amounts(MoneyError::CurrencyMismatch { .. }))
        | Err(OrderFault::NoRate { .. }) => return Err(LeftOut::OtherCurrency),
        Err(_) => return Err(LeftOut::TooLargeToCount),
    }
    let most = seat.most.ok_or(LeftOut::NoRole)?;
    if offer.minimum_quantity > most {
        return Err(LeftOut::MinimumQuantity);
    }
    if !seat.is_admitted {
        return Err(LeftOut::NeedUnmet);
    }
    seat.rated?;
    Ok(retailer)
}

/// A part that limits a workload needs a rate there that the brief admits and that reaches the floor.
fn rated(brief: &Brief, part: &Part) -> Result<(), LeftOut> {
    for weighted in brief
        .objective
        .workloads
        .iter()
        .filter(|one| one.is_limited_by(part.kind))
    {
        if weighted.allowed(part).is_none() {
            return Err(LeftOut::NoRate);
        }
        let rate = part.rates.get(&weighted.workload);
        if rate.is_some_and(|rate| !brief.estimates.admit(&rate.evidence)) {
            return Err(LeftOut::Estimate);
        }
        if weighted.is_below_floor(part) {
            return Err(LeftOut::BelowFloor);
        }
    }
    Ok(())
}

/// The part that the reader has for a role, if it may fill it.
fn owned<'m>(brief: &Brief, role: &Role, catalogue: &'m Catalogue) -> Option<Candidate<'m>> {
    let part = catalogue.parts.get(role.pin.as_ref()?)?;
    brief
        .may_fill(role, part)
        .is_ok()
        .then(|| given(brief, part))
}

/// A part that costs nothing.
fn given<'m>(brief: &Brief, part: &'m Part) -> Candidate<'m> {
    Candidate {
        part,
        bought: None,
        landed: Money::zero(brief.budget.currency()),
    }
}

impl Brief {
    /// Whether a part itself could fill a role, whoever offers it.
    ///
    /// # Errors
    /// Why not.
    pub fn may_fill(&self, role: &Role, part: &Part) -> Result<(), LeftOut> {
        if !part.guessed.is_empty() {
            return Err(LeftOut::Draft);
        }
        if part.kind != role.kind {
            return Err(LeftOut::NoRole);
        }
        if !role.admits(part) {
            return Err(LeftOut::NeedUnmet);
        }
        rated(self, part)
    }
}

impl<'m> Market<'m> {
    /// The same market with candidates for a role that stand for parts of which no offer counts:
    /// they cost nothing, so that it can be asked what they might cost. `is_asked` says which parts.
    #[must_use]
    pub fn with_unoffered(
        &self,
        group: usize,
        catalogue: &'m Catalogue,
        is_asked: impl Fn(&Part) -> bool,
    ) -> Market<'m> {
        let role = &self.brief.roles[group];
        let mut market = self.clone();
        let candidates = &mut market.candidates[group];
        let offered: BTreeSet<&PartId> = candidates.iter().map(|one| &one.part.id).collect();
        let parts = catalogue.parts.values().filter(|part| is_asked(part));
        let others = parts.filter(|part| {
            let may_fill = self.brief.may_fill(role, part).is_ok();
            may_fill && self.brief.bans.admit_part(part) && !offered.contains(&part.id)
        });
        let others: Vec<Candidate<'m>> = others.map(|part| given(self.brief, part)).collect();
        if !role.is_owned {
            candidates.extend(others);
            // Stable: the offers of one part keep their order.
            candidates.sort_by(|one, other| one.part.id.cmp(&other.part.id));
        }
        market
    }

    /// True of a candidate that stands for a part of which no offer counts.
    pub fn is_unoffered(&self, group: usize, position: usize) -> bool {
        !self.brief.roles[group].is_owned && self.candidates[group][position].bought.is_none()
    }
}
