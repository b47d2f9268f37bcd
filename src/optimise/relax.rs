//! When nothing fits: how little less of each single wish would let a build be.
//!
//! Each wish of the brief is given way on its own, all others kept, by as little as the catalogue's
//! figures allow; the brief is answered again each time. Giving way more never makes less possible,
//! so that the least is found by halving.

use super::best::{Answer, BestFault, best};
use super::build::Build;
use super::lexicographic::Effort;
use super::model::Standing;
use crate::catalogue::{Catalogue, Kind, Spec};
use crate::market::{Bans, Brief, Listed, Need, Retailer, RetailerId, Stock, market};
use std::collections::{BTreeMap, BTreeSet};

/// A wish that gives way, and what that buys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Relaxation {
    /// What is asked.
    pub wish: String,
    /// What would do.
    pub instead: String,
    /// The best build then.
    pub build: Build,
}

/// What would do instead of a wish, from the least that it gives way to all of it.
struct Asked {
    wish: String,
    instead: Vec<(String, Brief)>,
}

/// Every wish that alone stands in the way of a build. The budget is none of them: the answer says
/// what the cheapest build costs.
///
/// # Errors
/// [`BestFault`]
pub fn relaxations(
    (brief, catalogue): (&Brief, &Catalogue),
    (retailers, listed): (&BTreeMap<RetailerId, Retailer>, &[Listed]),
    effort: Effort,
) -> Result<Vec<Relaxation>, BestFault> {
    let answered = |brief: &Brief| -> Result<Option<Build>, BestFault> {
        let market = market(brief, catalogue, retailers, listed);
        // What stands plays no part in whether anything fits.
        Ok(match best(&market, catalogue, &Standing::new(), effort)? {
            Answer::Best(best) => Some(best.build),
            Answer::NothingFits(_) | Answer::CutOff => None,
        })
    };
    let mut found = Vec::new();
    let wishes = wishes(brief, catalogue, retailers);
    for asked in wishes.into_iter().chain(stock(brief, listed)) {
        // All before `low` are too little; what `high` stands for is enough.
        let Some(((instead, last), rest)) = asked.instead.split_last() else {
            continue;
        };
        let Some(build) = answered(last)? else {
            continue;
        };
        let mut enough = (instead, build);
        let (mut low, mut high) = (0, rest.len());
        while low < high {
            let middle = low + (high - low) / 2;
            match answered(&rest[middle].1)? {
                Some(build) => {
                    enough = (&rest[middle].0, build);
                    high = middle;
                }
                None => low = middle + 1,
            }
        }
        found.push(Relaxation {
            wish: asked.wish,
            instead: enough.0.clone(),
            build: enough.1,
        });
    }
    Ok(found)
}

fn wishes(
    brief: &Brief,
    catalogue: &Catalogue,
    retailers: &BTreeMap<RetailerId, Retailer>,
) -> Vec<Asked> {
    let mut wishes = Vec::new();
    for (seat, role) in brief.roles.iter().enumerate() {
        for (number, need) in role.needs.iter().enumerate() {
            let with = |need: Option<Need>| {
                let mut other = brief.clone();
                match need {
                    Some(need) => other.roles[seat].needs[number] = need,
                    None => {
                        other.roles[seat].needs.remove(number);
                    }
                }
                other
            };
            let weaker = weaker(need, role.kind, catalogue).into_iter();
            let weaker = weaker.map(|need| (need.to_string(), with(Some(need))));
            let without = ("anything".to_owned(), with(None));
            wishes.push(Asked {
                wish: format!("{}: {need}", role.id),
                instead: weaker.chain([without]).collect(),
            });
        }
        if let Some(pin) = &role.pin {
            let mut other = brief.clone();
            other.roles[seat].pin = None;
            other.roles[seat].is_owned = false;
            wishes.push(Asked {
                wish: format!("{}: {pin}", role.id),
                instead: vec![("another part".to_owned(), other)],
            });
        }
    }
    wishes.extend(floors(brief, catalogue));
    if brief.bans != Bans::default() {
        let mut other = brief.clone();
        other.bans = Bans::default();
        wishes.push(Asked {
            wish: "bans and the retailers allowed".to_owned(),
            instead: vec![("none".to_owned(), other)],
        });
    }
    if let Some(most) = brief.most_retailers {
        let instead = (most + 1..=retailers.len() as u32).map(|more| {
            let mut other = brief.clone();
            other.most_retailers = Some(more);
            (format!("{more} retailers"), other)
        });
        wishes.push(Asked {
            wish: format!("at most {most} retailers"),
            instead: instead.collect(),
        });
    }
    wishes
}

/// A longer wait, by the days that offers state, and at last any.
fn stock(brief: &Brief, listed: &[Listed]) -> Option<Asked> {
    let (wish, from) = match brief.stock {
        Stock::InStock => ("in stock".to_owned(), None),
        Stock::LeadTime { days_max } => (format!("sent within {days_max} days"), Some(days_max)),
        Stock::Any => return None,
    };
    let with = |stock| Brief {
        stock,
        ..brief.clone()
    };
    let days = listed.iter().filter_map(|offer| offer.lead_days);
    let longer: BTreeSet<u32> = days.filter(|days| Some(*days) > from).collect();
    let longer = longer.into_iter().map(|days_max| {
        let text = format!("sent within {days_max} days");
        (text, with(Stock::LeadTime { days_max }))
    });
    let any = ("out of stock too".to_owned(), with(Stock::Any));
    Some(Asked {
        wish,
        instead: longer.chain([any]).collect(),
    })
}

/// Needs for a little less, by the figures that parts of the kind have, and less and less.
fn weaker(need: &Need, kind: Kind, catalogue: &Catalogue) -> Vec<Need> {
    let figures = |spec: Spec| -> BTreeSet<i64> {
        let parts = catalogue.parts.values().filter(|part| part.kind == kind);
        parts.filter_map(|part| part.number(spec)).collect()
    };
    match *need {
        Need::AtLeast(spec, least) => {
            let below = figures(spec).into_iter().filter(|value| *value < least);
            below
                .rev()
                .map(|value| Need::AtLeast(spec, value))
                .collect()
        }
        Need::AtMost(spec, most) => {
            let above = figures(spec).into_iter().filter(|value| *value > most);
            above.map(|value| Need::AtMost(spec, value)).collect()
        }
        Need::Is(..) => Vec::new(),
    }
}

/// Floors of workloads, lowered to the rates that parts have.
fn floors(brief: &Brief, catalogue: &Catalogue) -> Vec<Asked> {
    let workloads = brief.objective.workloads.iter().enumerate();
    let wishes = workloads.filter_map(|(number, weighted)| {
        let floor = weighted.floor_milli?;
        let rates = catalogue.parts.values();
        let rates = rates.filter_map(|part| part.rates.get(&weighted.workload));
        let below: BTreeSet<i64> = rates
            .map(|rate| rate.milli)
            .filter(|milli| *milli < floor)
            .collect();
        let shown =
            |milli: i64| format!("{}.{:03} {}", milli / 1_000, milli % 1_000, weighted.unit);
        let instead = below.into_iter().rev().map(|milli| {
            let mut other = brief.clone();
            other.objective.workloads[number].floor_milli = Some(milli);
            (format!("at least {}", shown(milli)), other)
        });
        Some(Asked {
            wish: format!("{} at least {}", weighted.name, shown(floor)),
            instead: instead.collect(),
        })
    });
    wishes.collect()
}
