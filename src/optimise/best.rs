//! The best build for a brief in a market, checked, or the reasons why there is none.

use super::build::{Build, Pick, Purchase, estimated_hundredths, reach, seats};
use super::conflict::smallest_conflict;
use super::leeway::gains;
use super::lexicographic::{Effort, Solved, solve_lexicographically};
use super::model::{RuleLimits, Standing, encode, rule_limits};
use super::orders::Orders;
use super::problem::{Problem, Selection};
use super::search::{Found, Goal, Settled, SolverFault, solve};
use super::verify::{VerifyFault, verify};
use crate::catalogue::Catalogue;
use crate::fit::Finding;
use crate::market::{Candidate, Market, RoleId, Wish};
use crate::money::Money;
use crate::rates::{Score, ShownScore};

/// The answer to "the best build for this money, today".
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    Best(Box<BestBuild>),
    /// Proven: nothing fits, and why.
    NothingFits(Vec<Obstacle>),
    /// A time limit cut the search before any build was found.
    CutOff,
}

/// A build with its proof and what a person should know of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BestBuild {
    pub build: Build,
    pub proof: Proof,
    pub findings: Vec<Finding>,
}

/// How good a build is known to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Proof {
    /// No build scores higher, and none that scores as high costs less.
    Optimal,
    /// A time limit cut the search; no build scores higher than `bound`.
    Bounded { bound: Score },
}

/// What stands in the way of any build.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Obstacle {
    /// Nothing that is offered today can fill the role.
    NoCandidate { role: RoleId },
    /// The cheapest build that fits costs this much.
    OverBudget { cheapest: Money },
    /// Without this rule there would be a build.
    Rule { id: String, states: String },
    /// No single rule is to blame: these together leave no set, and any of them less leaves some.
    RulesTogether {
        states: Vec<String>,
        /// Proven: no fewer rules leave no set.
        is_smallest: bool,
    },
}

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BestFault {
    #[error(transparent)]
    Solver(#[from] SolverFault),
    #[error("the answer failed its check and is not shown: {0}")]
    Verify(#[from] VerifyFault),
}

/// Finds the best build of a market, and checks it.
///
/// Among builds of equal score and cost, the one closest to `standing` is the answer.
///
/// # Errors
/// [`BestFault`] when the solver fails or its answer does not stand the independent check.
pub fn best(
    market: &Market<'_>,
    catalogue: &Catalogue,
    standing: &Standing,
    effort: Effort,
) -> Result<Answer, BestFault> {
    let empty: Vec<Obstacle> = market
        .brief
        .roles
        .iter()
        .zip(&market.candidates)
        .filter(|(_, candidates)| candidates.is_empty())
        .map(|(role, _)| Obstacle::NoCandidate {
            role: role.id.clone(),
        })
        .collect();
    if !empty.is_empty() {
        return Ok(Answer::NothingFits(empty));
    }
    let limits = rule_limits(market);
    let problem = encode(market, standing, limits.iter());
    let (selection, proof) = match solve_lexicographically(&problem, effort)? {
        Solved::Optimal(selection) => (selection, Proof::Optimal),
        Solved::Bounded { selection, bound } => (selection, Proof::Bounded { bound }),
        Solved::Nothing => {
            return Ok(Answer::NothingFits(obstacles(
                market, &problem, &limits, effort,
            )?));
        }
        Solved::CutOff => return Ok(Answer::CutOff),
    };
    let build = assemble(market, &Orders::of(market), &problem, &selection)?;
    let findings = verify(&build, market, market.brief.budget, catalogue)?;
    Ok(Answer::Best(Box::new(BestBuild {
        build,
        proof,
        findings,
    })))
}

/// The standing build at today's prices, or `None` when it can no longer be had: a part is not
/// offered, the budget no longer covers it, or it no longer fits.
pub fn reprice(
    market: &Market<'_>,
    catalogue: &Catalogue,
    standing: &Standing,
) -> Option<BestBuild> {
    // The parts are given; from which offers they come is asked anew.
    let mut candidates = Vec::with_capacity(market.candidates.len());
    for (role, all) in market.brief.roles.iter().zip(&market.candidates) {
        let part = standing.get(&role.id)?;
        let given: Vec<Candidate<'_>> = all
            .iter()
            .filter(|candidate| candidate.part.id == *part)
            .cloned()
            .collect();
        candidates.push(Some(given).filter(|given| !given.is_empty())?);
    }
    let market = &Market {
        candidates,
        left_out: market.left_out.clone(),
        ..*market
    };
    let problem = encode(market, standing, rule_limits(market).iter());
    let solved = solve_lexicographically(&problem, Effort::default()).ok()?;
    let Solved::Optimal(selection) = solved else {
        return None;
    };
    let build = assemble(market, &Orders::of(market), &problem, &selection).ok()?;
    let findings = verify(&build, market, market.brief.budget, catalogue).ok()?;
    // It stands; how it compares with the best is for the caller to say.
    let bound = build.score;
    Some(BestBuild {
        build,
        proof: Proof::Bounded { bound },
        findings,
    })
}

pub(super) fn assemble(
    market: &Market<'_>,
    orders: &Orders<'_>,
    problem: &Problem,
    selection: &Selection,
) -> Result<Build, VerifyFault> {
    let chosen: Vec<&Candidate<'_>> = market
        .candidates
        .iter()
        .zip(selection)
        .map(|(candidates, position)| &candidates[*position])
        .collect();
    let (rates, _) = reach(market, &chosen);
    let objective = &market.brief.objective;
    // The score is the solver's side of the account; the check recomputes it from the parts.
    let score = problem.score(selection);
    Ok(Build {
        picks: market
            .brief
            .roles
            .iter()
            .zip(&chosen)
            .map(|(role, one)| pick(role, one))
            .collect(),
        bills: orders.bills(market, selection)?,
        wishes: wishes(market, &chosen),
        total: Money::from_minor(problem.cost(selection), market.brief.budget.currency()),
        score,
        shown_score: ShownScore::of(objective, score),
        estimated_hundredths: estimated_hundredths(objective, &rates),
        gains: gains(objective, &seats(market, &chosen)),
        rates,
    })
}

fn wishes(market: &Market<'_>, chosen: &[&Candidate<'_>]) -> Vec<(RoleId, Wish, bool)> {
    let roles = market.brief.roles.iter().zip(chosen);
    let wishes = roles.flat_map(|(role, candidate)| {
        let wishes = role.wishes.iter();
        wishes.map(|wish| {
            let is_met = wish.need.is_met_by(candidate.part);
            (role.id.clone(), wish.clone(), is_met)
        })
    });
    wishes.collect()
}

fn pick(role: &crate::market::Role, candidate: &Candidate<'_>) -> Pick {
    Pick {
        role: role.id.clone(),
        kind: role.kind,
        part: candidate.part.id.clone(),
        name: candidate.part.name.clone(),
        quantity: role.quantity,
        landed: candidate.landed,
        purchase: candidate.bought.as_ref().map(|bought| Purchase {
            rate: bought
                .retailer
                .rate_to(candidate.landed.currency())
                .cloned(),
            retailer: bought.listed.retailer.clone(),
            sku: bought.listed.sku.clone(),
            price: bought.listed.price,
            goods: bought.goods,
            delivery: bought.delivery,
            rebate: bought.rebate,
            link: bought.listed.link.clone(),
            availability: bought.listed.availability,
            lead_days: bought.listed.lead_days,
            seen_at: bought.listed.seen_at,
        }),
    }
}

/// Why nothing fits: the budget, or the rules without which something would.
fn obstacles(
    market: &Market<'_>,
    problem: &Problem,
    limits: &[RuleLimits<'_>],
    effort: Effort,
) -> Result<Vec<Obstacle>, SolverFault> {
    let unlimited = Problem {
        budget: dearest(problem),
        ..problem.clone()
    };
    let currency = market.brief.budget.currency();
    if let Found::Optimal(cheapest) =
        solve(&unlimited, Goal::LeastCost, &mut Settled::default(), effort)?
    {
        let cheapest = Money::from_minor(unlimited.cost(&cheapest), currency);
        return Ok(vec![Obstacle::OverBudget { cheapest }]);
    }
    let mut found = Vec::new();
    for left_out in limits.iter().filter(|limits| !limits.is_empty()) {
        let rule = left_out.rule;
        let others = limits.iter().filter(|limits| limits.rule.id() != rule.id());
        let relaxed = encode(market, &Standing::new(), others);
        let relaxed = Problem {
            budget: dearest(&relaxed),
            ..relaxed
        };
        let outcome = solve(&relaxed, Goal::LeastCost, &mut Settled::default(), effort)?;
        if matches!(outcome, Found::Optimal(_) | Found::Incumbent(_)) {
            found.push(Obstacle::Rule {
                id: rule.id().to_owned(),
                states: rule.states().to_owned(),
            });
        }
    }
    if found.is_empty() {
        found.push(rules_together(market, limits, effort)?);
    }
    Ok(found)
}

/// Questions that may be asked for the smallest conflict; each is a problem of its own.
const CONFLICT_QUESTIONS: usize = 400;

/// The fewest rules that together leave no set, where few questions tell.
fn rules_together(
    market: &Market<'_>,
    limits: &[RuleLimits<'_>],
    effort: Effort,
) -> Result<Obstacle, SolverFault> {
    let asking: Vec<&RuleLimits<'_>> = limits.iter().filter(|one| !one.is_empty()).collect();
    let conflict = smallest_conflict(asking.len(), CONFLICT_QUESTIONS, |kept: &[usize]| {
        let kept = kept.iter().map(|rule| asking[*rule]);
        let relaxed = encode(market, &Standing::new(), kept);
        let relaxed = Problem {
            budget: dearest(&relaxed),
            ..relaxed
        };
        let outcome = solve(&relaxed, Goal::LeastCost, &mut Settled::default(), effort)?;
        Ok::<bool, SolverFault>(!matches!(outcome, Found::Nothing))
    })?;
    let states = conflict.demands.iter();
    Ok(Obstacle::RulesTogether {
        states: states
            .map(|rule| asking[*rule].rule.states().to_owned())
            .collect(),
        is_smallest: conflict.is_smallest,
    })
}

/// What the dearest choice of every group costs together: no budget at all.
fn dearest(problem: &Problem) -> i64 {
    let dearest =
        |group: &Vec<super::problem::Choice>| group.iter().map(|choice| choice.cost).max();
    problem.groups.iter().filter_map(dearest).sum()
}
