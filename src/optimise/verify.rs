//! The independent check of a finished build, in integers.
//!
//! Knows nothing of the model or the solver: it reads the picks, looks the parts up again and
//! judges budget, roles, needs, floors and every fit rule from the catalogue. A build that fails
//! is a fault of ours and is never shown.

use super::build::Build;
use crate::catalogue::{Catalogue, Part};
use crate::fit::{Finding, Seat, is_blocking};
use crate::market::{Bill, Brief, Grants, Line, Market, OrderFault, RetailerId, bill};
use crate::money::Money;
use crate::rates::LogRate;
use std::collections::{BTreeMap, BTreeSet};

/// What is wrong with a build that was about to be shown.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum VerifyFault {
    #[error("the picks do not fill the roles of the brief one by one")]
    Roles,
    #[error("the part \"{0}\" is not in the catalogue or not of the role's kind")]
    Part(String),
    #[error("the part \"{0}\" misses a need of its role")]
    Need(String),
    #[error("the part \"{0}\" is neither bought nor owned, or from no known retailer")]
    Purchase(String),
    #[error("the picks come from {actual} retailers, more than {most}")]
    Retailers { actual: usize, most: u32 },
    #[error("the orders are not as stated: {0}")]
    Order(#[from] OrderFault),
    #[error("the orders are not those of the picks")]
    Orders,
    #[error("the picks cost {actual}, not {stated}")]
    Total { actual: Money, stated: Money },
    #[error("the build costs {total}, more than the budget of {budget}")]
    Budget { total: Money, budget: Money },
    #[error("the amounts cannot be added up")]
    Amounts,
    #[error("the score is {actual}, not {stated}")]
    Score { actual: i64, stated: i64 },
    #[error("the workload \"{0}\" stays below its floor")]
    Floor(String),
    #[error("the rule {rule} is broken: {reason}")]
    Rule { rule: String, reason: String },
}

/// Checks a build and returns what a person should know of it: cautions and unproven rules.
///
/// # Errors
/// [`VerifyFault`] for the first thing that is wrong.
pub fn verify(
    build: &Build,
    market: &Market<'_>,
    budget: Money,
    catalogue: &Catalogue,
) -> Result<Vec<Finding>, VerifyFault> {
    let brief = market.brief;
    let parts = seated(build, brief, catalogue)?;
    check_cost(build, market, budget, &parts)?;
    check_score(build, brief, &parts)?;
    let seats: Vec<Seat<'_>> = build
        .picks
        .iter()
        .zip(&parts)
        .map(|(pick, part)| Seat {
            role: pick.role.as_str(),
            part,
            quantity: pick.quantity,
        })
        .collect();
    let findings = brief.rules.check(&seats, &brief.terms);
    match findings
        .iter()
        .find(|finding| is_blocking(finding, &brief.terms))
    {
        Some(broken) => Err(VerifyFault::Rule {
            rule: broken.rule.clone(),
            reason: broken.reason.clone(),
        }),
        None => Ok(findings),
    }
}

fn seated<'c>(
    build: &Build,
    brief: &Brief,
    catalogue: &'c Catalogue,
) -> Result<Vec<&'c Part>, VerifyFault> {
    if build.picks.len() != brief.roles.len() {
        return Err(VerifyFault::Roles);
    }
    let mut parts = Vec::new();
    for (pick, role) in build.picks.iter().zip(&brief.roles) {
        if pick.role != role.id || pick.quantity != role.quantity {
            return Err(VerifyFault::Roles);
        }
        let part = catalogue
            .parts
            .get(&pick.part)
            .filter(|part| part.kind == role.kind);
        let part = part.ok_or_else(|| VerifyFault::Part(pick.part.to_string()))?;
        let is_pinned = role.pin.as_ref().is_none_or(|pin| *pin == part.id);
        let purchase = pick.purchase.as_ref();
        let is_banned = purchase.is_some_and(|purchase| {
            !brief.bans.admit_part(part) || !brief.bans.admit_retailer(&purchase.retailer)
        });
        if purchase.is_none() && !role.is_owned {
            return Err(VerifyFault::Purchase(pick.part.to_string()));
        }
        if !is_pinned || is_banned || !role.needs.iter().all(|need| need.is_met_by(part)) {
            return Err(VerifyFault::Need(pick.part.to_string()));
        }
        parts.push(part);
    }
    Ok(parts)
}

fn check_cost(
    build: &Build,
    market: &Market<'_>,
    budget: Money,
    parts: &[&Part],
) -> Result<(), VerifyFault> {
    let mut actual = Money::zero(budget.currency());
    let mut lines: BTreeMap<&RetailerId, Vec<Line<'_>>> = BTreeMap::new();
    let add = |one: Money, other: Money| one.checked_add(other).map_err(|_| VerifyFault::Amounts);
    let mut used: BTreeSet<&RetailerId> = BTreeSet::new();
    for (pick, part) in build.picks.iter().zip(parts) {
        let Some(purchase) = &pick.purchase else {
            actual = add(actual, pick.landed)?;
            continue;
        };
        let retailer = market.retailers.get(&purchase.retailer);
        let retailer = retailer.ok_or_else(|| VerifyFault::Purchase(pick.part.to_string()))?;
        used.insert(&retailer.id);
        if !retailer.has_order_terms(market.brief) {
            actual = add(actual, pick.landed)?;
            continue;
        }
        lines.entry(&retailer.id).or_default().push(Line {
            part,
            quantity: pick.quantity,
            goods: purchase.goods,
            delivery: purchase.delivery,
        });
        if market.brief.counts_rebates {
            let without = actual.checked_sub(purchase.rebate);
            actual = without.map_err(|_| VerifyFault::Amounts)?;
        }
    }
    let bills: Vec<Bill> = lines
        .iter()
        .map(|(retailer, lines)| settled_anew(build, market, retailer, lines))
        .collect::<Result<_, _>>()?;
    if bills != build.bills {
        return Err(VerifyFault::Orders);
    }
    for bill in &bills {
        actual = add(actual, bill.total)?;
    }
    if let Some(most) = market
        .brief
        .most_retailers
        .filter(|most| used.len() > *most as usize)
    {
        let actual = used.len();
        return Err(VerifyFault::Retailers { actual, most });
    }
    if actual != build.total {
        return Err(VerifyFault::Total {
            actual,
            stated: build.total,
        });
    }
    if actual.minor() > budget.minor() {
        return Err(VerifyFault::Budget {
            total: actual,
            budget,
        });
    }
    Ok(())
}

/// The bill of an order from its lines and the retailer's terms, with the coupon and the bundles
/// that the build says it uses.
fn settled_anew(
    build: &Build,
    market: &Market<'_>,
    id: &RetailerId,
    lines: &[Line<'_>],
) -> Result<Bill, VerifyFault> {
    let retailer = market.retailers.get(id).ok_or(VerifyFault::Orders)?;
    let stated = build.bills.iter().find(|bill| bill.retailer == *id);
    let stated = stated.ok_or(VerifyFault::Orders)?;
    let coupons = retailer.terms.coupons.iter();
    let coupon = stated.coupon.as_ref().map(|(code, _)| {
        let mut named = coupons.clone().filter(|coupon| coupon.code == *code);
        named.next().ok_or(VerifyFault::Orders)
    });
    let bundles = stated.bundles.iter().map(|(name, _)| {
        let mut named = retailer.terms.bundles.iter();
        named
            .find(|bundle| bundle.name == *name)
            .ok_or(VerifyFault::Orders)
    });
    let grants = Grants {
        coupon: coupon.transpose()?,
        bundles: bundles.collect::<Result<_, _>>()?,
    };
    let delivery = retailer.delivery_to(market.brief);
    let currency = market.brief.budget.currency();
    Ok(bill(retailer, delivery, lines, &grants, currency)?)
}

fn check_score(build: &Build, brief: &Brief, parts: &[&Part]) -> Result<(), VerifyFault> {
    let mut actual = 0;
    for weighted in &brief.objective.workloads {
        let mut lowest: Option<i64> = None;
        for part in parts
            .iter()
            .filter(|part| weighted.limited_by.contains(&part.kind))
        {
            let rate = part.rates.get(&weighted.workload);
            let milli = rate
                .ok_or_else(|| VerifyFault::Part(part.id.to_string()))?
                .milli;
            lowest = Some(lowest.map_or(milli, |lowest| lowest.min(milli)));
        }
        let Some(lowest) = lowest else { continue };
        if weighted.floor_milli.is_some_and(|floor| lowest < floor) {
            return Err(VerifyFault::Floor(weighted.workload.to_string()));
        }
        let counted = weighted.cap_milli.map_or(lowest, |cap| cap.min(lowest));
        actual += weighted.weight * LogRate::from_milli(counted).map_or(0, LogRate::micro);
    }
    let roles = brief.roles.iter().zip(parts);
    actual += roles
        .map(|(role, part)| brief.wished(role, part))
        .sum::<i64>();
    if actual == build.score.0 {
        return Ok(());
    }
    Err(VerifyFault::Score {
        actual,
        stated: build.score.0,
    })
}
