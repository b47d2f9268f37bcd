//! The problem of a brief whose rates change from draw to draw, while costs and rules stay.
//!
//! Market, groups, pairings, joints and orders are made once. A draw puts its rates in their places,
//! strikes what keeps below what an earlier draw's answer reaches with them, and takes the top of
//! the ladder of the little that is left. Every answer is assembled and checked as any other. May
//! not decide what is drawn: rates come in as a catalogue.

use super::best::{BestFault, assemble};
use super::build::Build;
use super::lexicographic::top_from;
use super::model::{Standing, encode, rule_limits};
use super::orders::Orders;
use super::possible::{possible, strike_below_score};
use super::problem::{Bottleneck, Problem, Selection, unrestricted};
use super::reduce::undominated;
use super::search::Settled;
use super::sweep::TooWide;
use crate::catalogue::{Catalogue, PartId, WorkloadId};
use crate::market::{Brief, Listed, Market, Retailer, RetailerId, market};
use crate::rates::{Score, Weighted};
use std::collections::BTreeMap;

/// A problem with the places of its rates.
pub(super) struct Redrawn<'m> {
    /// The brief with its floors, which the drawn rates decide about.
    brief: &'m Brief,
    /// What could be in an answer, whatever the rates.
    market: Market<'m>,
    orders: Orders<'m>,
    problem: Problem,
    /// By workload, and by the groups that limit it: for each choice the number of its rate.
    places: Vec<Vec<Vec<usize>>>,
    /// Answers of earlier draws. Whatever the rates, they keep the budget and every rule.
    known: Vec<Selection>,
}

/// Why a draw was not answered here.
pub(super) enum Unanswered {
    TooWide,
    Fault(BestFault),
}

/// The same brief without floors: its market holds every part that a draw could lift above one.
pub(super) fn without_floors(brief: &Brief) -> Brief {
    let mut open = brief.clone();
    let workloads = open.objective.workloads.iter_mut();
    workloads.for_each(|weighted| weighted.floor_milli = None);
    open
}

impl<'m> Redrawn<'m> {
    /// Lays the problem out for every draw; `None` where a rate could not be drawn around, or a role
    /// has nothing that could fill it. `open` is the brief [`without_floors`].
    pub fn of(
        (brief, open): (&'m Brief, &'m Brief),
        catalogue: &'m Catalogue,
        (retailers, listed): (&'m BTreeMap<RetailerId, Retailer>, &'m [Listed]),
        standing: &Standing,
    ) -> Option<Redrawn<'m>> {
        // A drawn rate is above zero, so that a part without a usable one would come in.
        if rates(catalogue).any(|(_, milli)| milli <= 0) {
            return None;
        }
        let mut market = market(open, catalogue, retailers, listed);
        let orders = Orders::of(&market);
        let problem = encode(&market, standing, rule_limits(&market).iter());
        let keep = kept_throughout(&problem, &market);
        if keep.iter().any(|keep| !keep.contains(&true)) {
            return None;
        }
        for (candidates, keep) in market.candidates.iter_mut().zip(&keep) {
            let mut keep = keep.iter();
            candidates.retain(|_| keep.next() == Some(&true));
        }
        let problem = problem.restricted(&keep);
        Some(Redrawn {
            brief,
            places: places(&problem, &market, catalogue)?,
            market,
            orders,
            problem,
            known: Vec::new(),
        })
    }

    /// The best build by the rates of `drawn`, which has the parts of the catalogue that the problem
    /// was laid out with; `None` where there is none.
    ///
    /// # Errors
    /// [`Unanswered`]
    pub fn answer(&mut self, drawn: &Catalogue) -> Result<Option<Build>, Unanswered> {
        let rates: Vec<i64> = rates(drawn).map(|(_, milli)| milli).collect();
        let keep = self.put(&rates);
        let is_kept = |known: &&Selection| {
            let mut choices = keep.iter().zip(*known);
            choices.all(|(keep, position)| keep[*position])
        };
        let known = self.known.iter().filter(is_kept);
        let reached = known.map(|known| self.problem.score(known)).max();
        let top = match reached {
            Some(reached) => self.top(keep, reached)?,
            None => self.top(keep, Score(i64::MIN))?,
        };
        let Some(selection) = top else {
            return Ok(None);
        };
        let build = self.checked(&selection, drawn)?;
        if !self.known.contains(&selection) {
            self.known.push(selection);
        }
        Ok(Some(build))
    }

    /// Puts rates in their places, and marks the choices that stay above every floor.
    fn put(&mut self, rates: &[i64]) -> Vec<Vec<bool>> {
        let groups = self.problem.groups.iter();
        let mut keep: Vec<Vec<bool>> = groups.map(|group| vec![true; group.len()]).collect();
        let workloads = self.brief.objective.workloads.iter().zip(&self.places);
        for (bottleneck, (weighted, places)) in self.problem.bottlenecks.iter_mut().zip(workloads) {
            for ((group, values), places) in bottleneck.limits.iter_mut().zip(places) {
                let choices = values.iter_mut().zip(&mut keep[*group]).zip(places);
                for ((value, keep), place) in choices {
                    let milli = rates[*place];
                    *value = weighted.counted(milli).map_or(0, |log| log.micro());
                    *keep &= !weighted.is_below(milli);
                }
            }
        }
        keep
    }

    /// The one answer among the kept choices, none of which scores less than `reached`.
    fn top(&self, mut keep: Vec<Vec<bool>>, reached: Score) -> Result<Option<Selection>, TooWide> {
        let settled = Settled {
            least_score: Some(reached),
            ..Settled::default()
        };
        loop {
            if keep.iter().any(|keep| !keep.contains(&true)) {
                return Ok(None);
            }
            let before = keep.clone();
            strike_below_score(&self.problem, &settled, &mut keep);
            if keep == before {
                break;
            }
        }
        let top = top_from(&self.problem.restricted(&keep), reached)?;
        Ok(top.map(|selection| unrestricted(selection, &keep)))
    }

    fn checked(&self, selection: &Selection, drawn: &Catalogue) -> Result<Build, BestFault> {
        let build = assemble(&self.market, &self.orders, &self.problem, selection)?;
        let market = Market {
            brief: self.brief,
            candidates: Vec::new(),
            left_out: BTreeMap::new(),
            ..self.market
        };
        super::verify::verify(&build, &market, self.brief.budget, drawn)?;
        Ok(build)
    }
}

impl From<TooWide> for Unanswered {
    fn from(_: TooWide) -> Unanswered {
        Unanswered::TooWide
    }
}

impl From<BestFault> for Unanswered {
    fn from(fault: BestFault) -> Unanswered {
        Unanswered::Fault(fault)
    }
}

/// A part's rate in a workload by its names.
type RateKey<'c> = (&'c PartId, &'c WorkloadId);

/// Every rate of a catalogue in thousandths, in an order that its parts alone decide.
fn rates(catalogue: &Catalogue) -> impl Iterator<Item = (RateKey<'_>, i64)> {
    catalogue.parts.values().flat_map(|part| {
        let rates = part.rates.iter();
        rates.map(move |(workload, rate)| ((&part.id, workload), rate.milli))
    })
}

/// For each choice of a group that limits a workload, the number of its rate among all; `None` where
/// one has no rate.
fn places(
    problem: &Problem,
    market: &Market<'_>,
    catalogue: &Catalogue,
) -> Option<Vec<Vec<Vec<usize>>>> {
    let keys = rates(catalogue).map(|(key, _)| key);
    let numbers: BTreeMap<RateKey<'_>, usize> = keys.zip(0..).collect();
    let of_group = |group: usize, weighted: &Weighted| -> Option<Vec<usize>> {
        let candidates = market.candidates[group].iter();
        let number = |part: &PartId| numbers.get(&(part, &weighted.workload)).copied();
        candidates.map(|one| number(&one.part.id)).collect()
    };
    // The workloads' bottlenecks come first, those of wishes after them.
    let workloads = market.brief.objective.workloads.iter();
    let limited = problem.bottlenecks.iter().zip(workloads);
    limited
        .map(|(bottleneck, weighted)| {
            let groups = bottleneck.limits.iter().map(|(group, _)| *group);
            groups.map(|group| of_group(group, weighted)).collect()
        })
        .collect()
}

/// Which choices to keep for every draw: those that some selection within the limits could hold, and
/// that no other choice dominates whatever the rates. Two parts with rates never do.
fn kept_throughout(problem: &Problem, market: &Market<'_>) -> Vec<Vec<bool>> {
    let n_workloads = market.brief.objective.workloads.len();
    let (rated, wishes) = problem.bottlenecks.split_at(n_workloads);
    let mut groups: Vec<usize> = rated
        .iter()
        .flat_map(|one| &one.limits)
        .map(|(group, _)| *group)
        .collect();
    groups.sort_unstable();
    groups.dedup();
    let mut bottlenecks = wishes.to_vec();
    for group in groups {
        let ids: Vec<&PartId> = market.candidates[group]
            .iter()
            .map(|one| &one.part.id)
            .collect();
        // One part is more by the one and less by the other than every other part.
        let ranks = || {
            ids.iter()
                .map(|id| ids.partition_point(|other| other < id) as i64)
        };
        let rank = |values: Vec<i64>| Bottleneck {
            weight: 0,
            limits: vec![(group, values)],
        };
        bottlenecks.push(rank(ranks().collect()));
        bottlenecks.push(rank(ranks().map(|rank| -rank).collect()));
    }
    let apart = Problem {
        bottlenecks,
        ..problem.clone()
    };
    let mut keep = undominated(&apart);
    // The ways to order stay as they are: bills are made by their positions.
    let roles = keep.iter_mut().take(market.candidates.len());
    for (keep, possible) in roles.zip(possible(&apart, &Settled::default())) {
        keep.iter_mut()
            .zip(possible)
            .for_each(|(keep, possible)| *keep &= possible);
    }
    keep
}
