//! Builds: complete sets of picks, with cost, rates and score.

use super::leeway::{Gain, Spare, spare};
use crate::catalogue::{Kind, Part, PartId, WorkloadId};
use crate::market::{Availability, Bill, Candidate, Market, RetailerId, Role, RoleId, Sku, Wish};
use crate::money::{Money, Rate};
use crate::rates::{LogRate, Objective, Score, ShownScore};
use chrono::{DateTime, Utc};

/// A part, its offer and quantity, filling a role.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pick {
    pub role: RoleId,
    pub kind: Kind,
    pub part: PartId,
    pub name: String,
    pub quantity: u32,
    /// What the whole quantity costs, without delivery that is paid for a whole order.
    pub landed: Money,
    /// `None` for what the reader has already.
    pub purchase: Option<Purchase>,
}

/// The offer that a pick is bought from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Purchase {
    pub retailer: RetailerId,
    pub sku: Sku,
    /// The price of one, as the retailer states it.
    pub price: Money,
    /// Price and tax of the whole quantity, in the retailer's currency.
    pub goods: Money,
    /// Delivery of this pick alone, in the retailer's currency.
    pub delivery: Money,
    /// What comes back later, in the brief's currency.
    pub rebate: Money,
    /// How the retailer's currency was turned into the brief's, where they differ.
    pub rate: Option<Rate>,
    pub link: Option<String>,
    pub availability: Availability,
    /// How many days an order waits for the goods to leave the retailer, where it says.
    pub lead_days: Option<u32>,
    pub seen_at: DateTime<Utc>,
}

/// What a build reaches in one workload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reached {
    pub workload: WorkloadId,
    /// Thousandths of the workload's unit.
    pub rate_milli: i64,
    pub limited_by: Limit,
    /// The limiting rate is an estimate.
    pub is_estimate: bool,
    /// What each limiting role could do beyond that.
    pub spare: Vec<Spare>,
}

/// What holds a workload's rate where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Limit {
    Role(RoleId),
    /// The brief counts no more than this.
    Cap,
}

/// One complete set of picks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Build {
    pub picks: Vec<Pick>,
    /// The orders at retailers that ask or grant something for a whole order.
    pub bills: Vec<Bill>,
    pub total: Money,
    pub score: Score,
    /// The score as people read it: the reference is 100.
    pub shown_score: ShownScore,
    pub rates: Vec<Reached>,
    /// What more of each limiting role would bring.
    pub gains: Vec<Gain>,
    /// By role: each wish, and whether its part meets it.
    pub wishes: Vec<(RoleId, Wish, bool)>,
    /// Hundredths of a percent of the score's weight that rest on estimates.
    pub estimated_hundredths: i64,
}

/// The rates that chosen candidates reach together, and the score they make.
pub fn reach(market: &Market<'_>, chosen: &[&Candidate<'_>]) -> (Vec<Reached>, Score) {
    let objective = &market.brief.objective;
    let seats = seats(market, chosen);
    let mut rates = Vec::new();
    let mut score = 0;
    for weighted in &objective.workloads {
        let limiting = market
            .brief
            .roles
            .iter()
            .zip(chosen)
            .filter_map(|(role, candidate)| {
                let rate = candidate.part.rates.get(&weighted.workload)?;
                weighted.is_limited_by(role.kind).then_some((rate, role))
            });
        let Some((rate, role)) = limiting.min_by_key(|(rate, _)| rate.milli) else {
            continue;
        };
        let cap = weighted.cap_milli.filter(|cap| *cap <= rate.milli);
        let rate_milli = cap.unwrap_or(rate.milli);
        rates.push(Reached {
            workload: weighted.workload.clone(),
            rate_milli,
            limited_by: match cap {
                Some(_) => Limit::Cap,
                None => Limit::Role(role.id.clone()),
            },
            is_estimate: rate.evidence.is_estimate(),
            spare: spare(weighted, &seats),
        });
        score += weighted.weight * LogRate::from_milli(rate_milli).map_or(0, LogRate::micro);
    }
    (rates, Score(score))
}

/// The roles with the parts that were chosen for them.
pub fn seats<'s>(
    market: &'s Market<'_>,
    chosen: &[&'s Candidate<'_>],
) -> Vec<(&'s Role, &'s Part)> {
    let roles = market.brief.roles.iter().zip(chosen);
    roles
        .map(|(role, candidate)| (role, candidate.part))
        .collect()
}

/// The share of the weight whose limiting rate is an estimate, in hundredths of a percent.
pub fn estimated_hundredths(objective: &Objective, rates: &[Reached]) -> i64 {
    let estimated: i64 = objective
        .workloads
        .iter()
        .zip(rates)
        .filter(|(_, reached)| reached.is_estimate)
        .map(|(weighted, _)| weighted.weight)
        .sum();
    10_000 * estimated / objective.total_weight().max(1)
}
