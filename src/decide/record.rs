//! Answers as they are kept and shown: one JSON document, the same in the ledger and on the
//! command line.

use super::names::Names;
use crate::catalogue::PartId;
use crate::market::{Availability, Bill, Brief, Candidate, Market, RetailerId, RoleId, Sku};
use crate::money::{Currency, Money};
use crate::optimise::{Answer, BestBuild, Limit, Obstacle, Pick, Proof, Relaxation, Standing};
use crate::rates::ShownScore;
use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// The answer to a brief at an instant. Keys are only ever added.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AnswerRecord {
    pub brief: String,
    /// RFC 3339.
    pub at: String,
    pub currency: String,
    pub budget_minor: i64,
    /// Absent when nothing fits.
    pub total_minor: Option<i64>,
    /// 100 is the brief's reference; absent when nothing fits.
    pub score: Option<f64>,
    /// The exact score: the weighted sum of log-rates in millionths.
    pub score_exact: Option<i64>,
    /// The share of the score's weight that rests on estimates.
    pub estimated_percent: Option<f64>,
    pub proof: ProofRecord,
    pub considered: Considered,
    /// By workload.
    pub rates: BTreeMap<String, RateRecord>,
    /// By limiting role: what the score would gain, in percent, if its part were a tenth faster.
    #[serde(default)]
    pub gain_percent_of_a_tenth: BTreeMap<String, f64>,
    pub picks: Vec<PickRecord>,
    #[serde(default)]
    pub orders: Vec<OrderRecord>,
    #[serde(default)]
    pub wishes: Vec<WishRecord>,
    /// What a person should know of the build.
    pub cautions: Vec<String>,
    /// Why nothing fits.
    pub obstacles: Vec<String>,
    /// Offers left out, by reason.
    pub left_out: BTreeMap<String, usize>,
}

/// How good the build is known to be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProofRecord {
    pub status: ProofStatus,
    /// A score that no build exceeds.
    pub bound: Option<f64>,
    /// How far the bound lies above the score, as a part of the score.
    pub gap: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProofStatus {
    Optimal,
    /// A time limit cut the search.
    Bounded,
    Infeasible,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Considered {
    pub parts: usize,
    pub offers: usize,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RateRecord {
    pub rate: f64,
    /// A role of the brief, or `cap`.
    pub limited_by: String,
    pub unit: String,
    pub is_estimate: bool,
    /// By limiting role: how much of what its part could do stays unused, in percent.
    #[serde(default)]
    pub unused_percent: BTreeMap<String, f64>,
}

/// One pick of a build.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PickRecord {
    pub role: RoleId,
    pub part: PartId,
    pub name: String,
    pub quantity: u32,
    /// Absent, as SKU, price, link and instant are, for what the reader has already.
    pub retailer: Option<RetailerId>,
    pub sku: Option<Sku>,
    /// Of one, in minor units of `price_currency`.
    pub price_minor: Option<i64>,
    /// Of all, without delivery that is paid for a whole order.
    pub landed_minor: i64,
    pub link: Option<String>,
    /// RFC 3339.
    pub seen_at: Option<String>,
    /// The retailer's, where it is not the brief's.
    #[serde(default)]
    pub price_currency: Option<String>,
    /// What comes back later; `landed_minor` is without it if the brief counts rebates.
    #[serde(default)]
    pub rebate_minor: i64,
    /// Whether it can be sent: the name of schema.org's ItemAvailability in lower case, words joined
    /// by `_`; absent where nobody wrote it down.
    #[serde(default)]
    pub availability: Option<String>,
    /// How many days an order waits for the goods to leave the retailer, where it says.
    #[serde(default)]
    pub lead_days: Option<u32>,
}

/// One order at a retailer that asks or grants something for a whole order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OrderRecord {
    pub retailer: RetailerId,
    pub goods_minor: i64,
    pub delivery_minor: i64,
    pub coupon: Option<GrantRecord>,
    pub bundles: Vec<GrantRecord>,
    pub total_minor: i64,
}

/// A wish of a role, and whether its part meets it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WishRecord {
    pub role: RoleId,
    pub wish: String,
    /// Of the score.
    pub worth_percent: f64,
    pub is_met: bool,
}

/// What a coupon or a bundle takes off an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GrantRecord {
    pub name: String,
    pub saves_minor: i64,
}

/// An instant as records show it.
pub fn shown_instant(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Secs, true)
}

impl AnswerRecord {
    /// Writes down an answer.
    pub fn new(market: &Market<'_>, answer: &Answer, at: DateTime<Utc>) -> AnswerRecord {
        let mut record = AnswerRecord::without_build(market, at);
        match answer {
            Answer::Best(best) => record.put_build(market.brief, best),
            Answer::NothingFits(obstacles) => {
                record.obstacles = obstacles.iter().map(obstacle_text).collect();
            }
            Answer::CutOff => {
                record.proof.status = ProofStatus::Bounded;
                record.obstacles = vec!["the time limit cut the search off".to_owned()];
            }
        }
        record
    }

    /// Writes down a build that stands without being proven best.
    pub fn of_build(market: &Market<'_>, build: &BestBuild, at: DateTime<Utc>) -> AnswerRecord {
        let mut record = AnswerRecord::without_build(market, at);
        record.put_build(market.brief, build);
        record
    }

    /// Adds what would let a build be.
    pub fn put_relaxations(&mut self, relaxations: &[Relaxation]) {
        let said = relaxations.iter().map(|one| {
            let (score, total) = (one.build.shown_score, one.build.total);
            format!(
                "with {} instead of {} the best build scores {score} for {total}",
                one.instead, one.wish
            )
        });
        self.obstacles.extend(said);
    }

    /// Reads a record back from its JSON.
    pub fn from_json(json: &str) -> Option<AnswerRecord> {
        serde_json::from_str(json).ok()
    }

    /// One line of JSON.
    pub fn to_json(&self) -> String {
        // Serialising plain data with text keys cannot fail.
        serde_json::to_string(self).unwrap_or_default()
    }

    pub fn has_build(&self) -> bool {
        !self.picks.is_empty()
    }

    /// What whole orders add to the picks and take off them, each with its words, in minor units.
    pub fn order_lines(&self, names: &Names) -> Vec<(String, i64)> {
        let lines = self.orders.iter().flat_map(|order| {
            let at = names.shop(order.retailer.as_str());
            let delivery = (format!("delivery from {at}"), order.delivery_minor);
            let bundles = order.bundles.iter();
            let bundles =
                bundles.map(|one| (format!("bundle {} at {at}", one.name), -one.saves_minor));
            let coupon = order.coupon.iter();
            let coupon =
                coupon.map(|one| (format!("coupon {} at {at}", one.name), -one.saves_minor));
            let lines = std::iter::once(delivery).chain(bundles).chain(coupon);
            lines.collect::<Vec<_>>()
        });
        lines.collect()
    }

    /// The total as an amount.
    pub fn total(&self) -> Option<Money> {
        let currency = Currency::parse(&self.currency).ok()?;
        Some(Money::from_minor(self.total_minor?, currency))
    }

    /// The build's parts by role, for the next answer to stay close to.
    pub fn standing(&self) -> Standing {
        self.picks
            .iter()
            .map(|pick| (pick.role.clone(), pick.part.clone()))
            .collect()
    }

    /// The parts by role: equal for two answers with the same parts.
    pub fn parts_text(&self) -> String {
        let picks = self.picks.iter();
        let picks = picks.map(|pick| format!("{}={}", pick.role, pick.part));
        picks.collect::<Vec<_>>().join(";")
    }

    fn without_build(market: &Market<'_>, at: DateTime<Utc>) -> AnswerRecord {
        let left_out = market.left_out.iter();
        AnswerRecord {
            brief: market.brief.id.to_string(),
            at: shown_instant(at),
            currency: market.brief.budget.currency().to_string(),
            budget_minor: market.brief.budget.minor(),
            total_minor: None,
            score: None,
            score_exact: None,
            estimated_percent: None,
            proof: ProofRecord {
                status: ProofStatus::Infeasible,
                bound: None,
                gap: None,
            },
            considered: Considered {
                parts: market.parts_considered,
                offers: market.offers_considered,
            },
            rates: BTreeMap::new(),
            gain_percent_of_a_tenth: BTreeMap::new(),
            picks: Vec::new(),
            orders: Vec::new(),
            wishes: Vec::new(),
            cautions: Vec::new(),
            obstacles: Vec::new(),
            left_out: left_out
                .map(|(why, count)| (why.reason().to_owned(), *count))
                .collect(),
        }
    }

    fn put_build(&mut self, brief: &Brief, best: &BestBuild) {
        let build = &best.build;
        let score = build.shown_score;
        self.total_minor = Some(build.total.minor());
        self.score = Some(score.points());
        self.score_exact = Some(build.score.0);
        self.estimated_percent = Some(build.estimated_hundredths as f64 / 100.0);
        self.proof = match best.proof {
            Proof::Optimal => ProofRecord {
                status: ProofStatus::Optimal,
                bound: Some(score.points()),
                gap: Some(0.0),
            },
            Proof::Bounded { bound } => {
                let bound = ShownScore::of(&brief.objective, bound);
                ProofRecord {
                    status: ProofStatus::Bounded,
                    bound: Some(bound.points()),
                    gap: Some((bound.0 - score.0) as f64 / score.0.max(1) as f64),
                }
            }
        };
        let weighted = brief.objective.workloads.iter();
        self.rates = weighted
            .zip(&build.rates)
            .map(|(weighted, reached)| {
                let limited_by = match &reached.limited_by {
                    Limit::Role(role) => role.to_string(),
                    Limit::Cap => "cap".to_owned(),
                };
                let record = RateRecord {
                    rate: reached.rate_milli as f64 / 1_000.0,
                    limited_by,
                    unit: weighted.unit.clone(),
                    is_estimate: reached.is_estimate,
                    unused_percent: reached
                        .spare
                        .iter()
                        .map(|spare| (spare.role.to_string(), percent(spare.unused_hundredths)))
                        .collect(),
                };
                (reached.workload.to_string(), record)
            })
            .collect();
        let gains = build.gains.iter();
        self.gain_percent_of_a_tenth = gains
            .map(|gain| (gain.role.to_string(), percent(gain.score_hundredths)))
            .collect();
        let own = brief.budget.currency();
        let picks = build.picks.iter();
        self.picks = picks.map(|pick| PickRecord::new(pick, own)).collect();
        let wishes = build.wishes.iter();
        self.wishes = wishes
            .map(|(role, wish, is_met)| WishRecord {
                role: role.clone(),
                wish: wish.need.to_string(),
                worth_percent: percent(wish.worth_hundredths),
                is_met: *is_met,
            })
            .collect();
        self.orders = build.bills.iter().map(OrderRecord::new).collect();
        let findings = best.findings.iter();
        self.cautions = findings.map(|finding| finding.reason.clone()).collect();
        let purchases = build.picks.iter().filter_map(|pick| pick.purchase.as_ref());
        let rates = purchases.filter_map(|purchase| purchase.rate.as_ref());
        let rates: BTreeSet<String> = rates.map(ToString::to_string).collect();
        let rates = rates.into_iter();
        self.cautions.extend(rates.map(|rate| {
            format!("amounts in another currency are counted at {rate}, by your own table")
        }));
    }
}

fn percent(hundredths: i64) -> f64 {
    hundredths as f64 / 100.0
}

impl PickRecord {
    /// What a reader must know of when it comes; `None` of what is in stock and sent at once.
    pub fn wait(&self) -> Option<String> {
        let name = self.availability.as_deref()?;
        let is_orderable = Availability::parse_name(name).is_none_or(Availability::is_orderable);
        let state = (!is_orderable).then(|| match name {
            "unknown" => "stock unknown".to_owned(),
            name => name.replace('_', " "),
        });
        let days = self.lead_days.filter(|days| *days > 0);
        let days = days.map(|days| match days {
            1 => "sent within 1 day".to_owned(),
            days => format!("sent within {days} days"),
        });
        let said: Vec<String> = state.into_iter().chain(days).collect();
        (!said.is_empty()).then(|| said.join(", "))
    }

    /// A part as a role could get it.
    pub fn offered(role: &RoleId, candidate: &Candidate<'_>) -> PickRecord {
        let bought = candidate.bought.as_ref();
        let listed = bought.map(|bought| bought.listed);
        let foreign = listed.map(|listed| listed.price.currency());
        let foreign = foreign.filter(|one| *one != candidate.landed.currency());
        PickRecord {
            role: role.clone(),
            part: candidate.part.id.clone(),
            name: candidate.part.name.clone(),
            quantity: bought.map_or(1, |bought| bought.quantity),
            retailer: listed.map(|listed| listed.retailer.clone()),
            sku: listed.map(|listed| listed.sku.clone()),
            price_minor: listed.map(|listed| listed.price.minor()),
            price_currency: foreign.map(|one| one.to_string()),
            landed_minor: candidate.landed.minor(),
            rebate_minor: bought.map_or(0, |bought| bought.rebate.minor()),
            availability: listed.map(|listed| listed.availability.name().to_owned()),
            lead_days: listed.and_then(|listed| listed.lead_days),
            link: listed.and_then(|listed| listed.link.clone()),
            seen_at: listed.map(|listed| shown_instant(listed.seen_at)),
        }
    }

    fn new(pick: &Pick, own: Currency) -> PickRecord {
        let purchase = pick.purchase.as_ref();
        let currency = purchase.map(|purchase| purchase.price.currency());
        PickRecord {
            role: pick.role.clone(),
            part: pick.part.clone(),
            name: pick.name.clone(),
            quantity: pick.quantity,
            retailer: purchase.map(|purchase| purchase.retailer.clone()),
            sku: purchase.map(|purchase| purchase.sku.clone()),
            price_minor: purchase.map(|purchase| purchase.price.minor()),
            price_currency: currency
                .filter(|one| *one != own)
                .map(|one| one.to_string()),
            landed_minor: pick.landed.minor(),
            rebate_minor: purchase.map_or(0, |purchase| purchase.rebate.minor()),
            availability: purchase.map(|purchase| purchase.availability.name().to_owned()),
            lead_days: purchase.and_then(|purchase| purchase.lead_days),
            link: purchase.and_then(|purchase| purchase.link.clone()),
            seen_at: purchase.map(|purchase| shown_instant(purchase.seen_at)),
        }
    }
}

impl OrderRecord {
    fn new(bill: &Bill) -> OrderRecord {
        let grant = |(name, saves): &(String, Money)| GrantRecord {
            name: name.clone(),
            saves_minor: saves.minor(),
        };
        OrderRecord {
            retailer: bill.retailer.clone(),
            goods_minor: bill.goods.minor(),
            delivery_minor: bill.delivery.minor(),
            coupon: bill.coupon.as_ref().map(grant),
            bundles: bill.bundles.iter().map(grant).collect(),
            total_minor: bill.total.minor(),
        }
    }
}

fn obstacle_text(obstacle: &Obstacle) -> String {
    match obstacle {
        Obstacle::NoCandidate { role } => {
            format!("nothing that is offered today can fill the role \"{role}\"")
        }
        Obstacle::OverBudget { cheapest } => {
            format!("the cheapest build that fits costs {cheapest}")
        }
        Obstacle::Rule { id, states } => {
            format!("no set keeps the rule {id}: {states}")
        }
        Obstacle::RulesTogether {
            states,
            is_smallest,
        } => {
            let proven = match is_smallest {
                true => "no fewer rules do",
                false => "none of them can be spared, though fewer others might do it",
            };
            let states = states.join(" ");
            format!("these together leave no set of parts ({proven}): {states}")
        }
    }
}
