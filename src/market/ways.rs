//! The ways to get a part for a role: its offers, each with what it costs and what a coupon makes
//! of it.

use super::brief::{Brief, Role};
use super::landed::goods_price;
use super::offer::{RetailerId, Sku};
use super::order::OrderFault;
use super::retailer::Retailer;
use super::snapshot::{Bought, Candidate, Listed};
use super::terms::{Delivery, Off};
use crate::catalogue::Part;
use crate::money::{Money, MoneyError};

/// The ways to get a part for a role. The offers of retailers without terms for whole orders differ
/// in what they cost alone: of those the cheapest is one way. Every other offer is a way of its own,
/// for what it costs is known only with the rest of its order.
pub(super) fn ways<'m>(
    brief: &Brief,
    role: &Role,
    part: &'m Part,
    offers: &[(&'m Listed, &'m Retailer)],
) -> Vec<Candidate<'m>> {
    let mut alone: Option<Candidate<'m>> = None;
    let mut ways: Vec<Candidate<'m>> = Vec::new();
    let fitting = offers.iter();
    for (listed, retailer) in fitting.filter(|(one, _)| one.minimum_quantity <= role.quantity) {
        let Ok(way) = way(brief, role, part, (listed, retailer), None) else {
            continue;
        };
        if retailer.has_order_terms(brief) {
            let with_coupon = |coupon| way_with(brief, role, &way, coupon);
            ways.extend((0..retailer.terms.coupons.len()).filter_map(with_coupon));
            ways.push(way);
        } else if alone
            .as_ref()
            .is_none_or(|known| order(&way) < order(known))
        {
            alone = Some(way);
        }
    }
    ways.extend(alone);
    ways.sort_by(|one, other| order(one).cmp(&order(other)));
    ways
}

/// Cheapest first; of equals the first retailer and SKU.
fn order<'c>(way: &'c Candidate<'_>) -> (i64, Option<(&'c RetailerId, &'c Sku)>) {
    let listed = way.bought.as_ref().map(|bought| bought.listed);
    let names = listed.map(|listed| (&listed.retailer, &listed.sku));
    (way.landed.minor(), names)
}

/// The same offer with a coupon that takes a share off each line, where it applies.
fn way_with<'m>(
    brief: &Brief,
    role: &Role,
    way_without: &Candidate<'m>,
    coupon: usize,
) -> Option<Candidate<'m>> {
    let bought = way_without.bought.as_ref()?;
    let terms = bought.retailer.terms.coupons.get(coupon)?;
    let is_share = matches!(terms.off, Off::Percent(_));
    if !is_share || !terms.applies_to.covers(way_without.part) {
        return None;
    }
    let off = terms.off.of(bought.goods).ok()?;
    let offer = (bought.listed, bought.retailer);
    way(brief, role, way_without.part, offer, Some((coupon, off))).ok()
}

fn way<'m>(
    brief: &Brief,
    role: &Role,
    part: &'m Part,
    (listed, retailer): (&'m Listed, &'m Retailer),
    coupon: Option<(usize, Money)>,
) -> Result<Candidate<'m>, OrderFault> {
    let currency = brief.budget.currency();
    let (goods, delivery) = asked(brief, listed, retailer, role.quantity)?;
    let off = coupon.map_or(Money::zero(retailer.currency), |(_, off)| off);
    let paid = retailer.told_in(goods.checked_sub(off)?, currency)?;
    let mut landed = paid.checked_add(retailer.told_in(delivery, currency)?)?;
    let rebate = retailer.rebate(part, goods, role.quantity)?;
    let rebate = retailer.told_in(rebate, currency)?;
    if brief.counts_rebates {
        landed = landed.checked_sub(rebate)?;
    }
    Ok(Candidate {
        part,
        bought: Some(Bought {
            listed,
            retailer,
            quantity: role.quantity,
            goods,
            delivery,
            coupon,
            rebate,
        }),
        landed,
    })
}

/// What a retailer asks for an offer, in its own currency: goods with tax, and delivery of the pick
/// alone where it is not paid for the whole order.
pub(super) fn asked(
    brief: &Brief,
    listed: &Listed,
    retailer: &Retailer,
    quantity: u32,
) -> Result<(Money, Money), OrderFault> {
    let goods = goods_price(listed, retailer, brief, quantity)?;
    let delivery = match retailer.delivery_to(brief) {
        Some(_) => Money::zero(retailer.currency),
        None => listed.shipping.unwrap_or(retailer.delivery_per_pick),
    };
    // The sum is asked for as a whole somewhere: it must be one currency, and it must be countable.
    goods.checked_add(delivery)?;
    Ok((goods, delivery))
}

impl Retailer {
    /// The terms of delivery to a brief's country, where the retailer states them.
    pub fn delivery_to(&self, brief: &Brief) -> Option<&Delivery> {
        self.terms.delivery_to(&brief.country, &self.country)
    }

    /// True when what an order costs is more than its lines say.
    pub fn has_order_terms(&self, brief: &Brief) -> bool {
        let terms = &self.terms;
        let has_grants = !terms.coupons.is_empty() || !terms.bundles.is_empty();
        self.delivery_to(brief).is_some() || has_grants || brief.most_retailers.is_some()
    }

    /// What comes back later of a line of an order.
    fn rebate(&self, part: &Part, goods: Money, quantity: u32) -> Result<Money, MoneyError> {
        let mut back = Money::zero(self.currency);
        let rebates = self.terms.rebates.iter();
        for rebate in rebates.filter(|one| one.applies_to.covers(part)) {
            let off = match rebate.off {
                Off::Amount(amount) => amount.times(quantity)?,
                Off::Percent(_) => rebate.off.of(goods)?,
            };
            back = back.checked_add(off)?;
        }
        // Nobody gives back more than was paid.
        let is_more = back.minor() > goods.minor();
        Ok(if is_more { goods } else { back })
    }
}
