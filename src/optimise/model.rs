//! A market as a [`Problem`]: roles become groups, fit rules become balances and pairings.

use super::alike::{Side, Traits};
use super::joint::Joint;
use super::orders::Orders;
use super::pairing::Pairing;
use super::problem::{Balance, Bottleneck, Choice, Problem};
use crate::catalogue::{Kind, Part, PartId};
use crate::fit::{Fit, FitRule, FitTerms, Form, Seat, Share};
use crate::market::{Market, RoleId};
use std::collections::BTreeMap;

/// The parts of the standing build, by role.
pub type Standing = BTreeMap<RoleId, PartId>;

/// What one rule asks of the choices.
pub struct RuleLimits<'m> {
    pub rule: &'m dyn FitRule,
    balances: Vec<Balance>,
    pairings: Vec<Pairing>,
    joints: Vec<Joint>,
}

impl RuleLimits<'_> {
    /// True when the rule refuses nothing that this market could make.
    pub fn is_empty(&self) -> bool {
        self.balances.is_empty() && self.pairings.is_empty() && self.joints.is_empty()
    }
}

/// What every rule of the brief asks, rule by rule.
pub fn rule_limits<'m>(market: &'m Market<'_>) -> Vec<RuleLimits<'m>> {
    let traits = Traits::of(market);
    let rules = market.brief.rules.iter();
    rules.map(|rule| limits_of(market, &traits, rule)).collect()
}

fn limits_of<'m>(
    market: &'m Market<'_>,
    traits: &Traits<'_>,
    rule: &'m dyn FitRule,
) -> RuleLimits<'m> {
    let terms = &market.brief.terms;
    let mut limits = RuleLimits {
        rule,
        balances: Vec::new(),
        pairings: Vec::new(),
        joints: Vec::new(),
    };
    match rule.form() {
        Form::Advice { .. } => {}
        Form::Pairs { left, right, fits } => {
            limits.pairings = pairings(market, traits, (rule, [left, right]), &fits);
        }
        Form::Balance {
            giver: Some(giver), ..
        } if groups_of(market, |kind| kind == giver).next().is_none() => {}
        Form::Balance {
            kinds,
            share,
            at_most,
            ..
        } => {
            let at_most = at_most(terms);
            limits.balances = vec![balance(market, rule, kinds, &share, at_most)];
        }
        Form::Joint { kinds, fits } => {
            limits
                .joints
                .extend(joint(market, traits, (rule, kinds), &fits));
        }
    }
    limits
}

/// Encodes a market under these rules' limits.
pub fn encode<'l>(
    market: &Market<'_>,
    standing: &Standing,
    limits: impl Iterator<Item = &'l RuleLimits<'l>>,
) -> Problem {
    let mut problem = Problem {
        groups: groups(market, standing),
        bottlenecks: bottlenecks(market),
        budget: market.brief.budget.minor(),
        ..Problem::default()
    };
    for limits in limits {
        problem.balances.extend(limits.balances.iter().cloned());
        problem.joints.extend(limits.joints.iter().cloned());
        for pairing in &limits.pairings {
            add_pairing(&mut problem, pairing);
        }
    }
    Orders::of(market).add_to(&mut problem, market);
    problem
}

fn groups(market: &Market<'_>, standing: &Standing) -> Vec<Vec<Choice>> {
    let roles = market.brief.roles.iter().zip(&market.candidates);
    roles
        .map(|(role, candidates)| {
            let stands = standing.get(&role.id);
            candidates
                .iter()
                .map(|candidate| Choice {
                    cost: candidate.landed.minor(),
                    is_standing: stands == Some(&candidate.part.id),
                })
                .collect()
        })
        .collect()
}

fn bottlenecks(market: &Market<'_>) -> Vec<Bottleneck> {
    let workloads = market.brief.objective.workloads.iter();
    let mut bottlenecks: Vec<Bottleneck> = workloads
        .map(|weighted| {
            let limiting = groups_of(market, |kind| weighted.is_limited_by(kind));
            let value = |part: &Part| weighted.allowed(part).map_or(0, |log| log.micro());
            Bottleneck {
                weight: weighted.weight,
                limits: limiting
                    .map(|group| (group, column(market, group, value)))
                    .collect(),
            }
        })
        .collect();
    // A wish is a value that one role alone limits.
    let wished = market.brief.roles.iter().enumerate();
    for (group, role) in wished.filter(|(_, role)| !role.wishes.is_empty()) {
        let value = |part: &Part| market.brief.wished(role, part);
        bottlenecks.push(Bottleneck {
            weight: 1,
            limits: vec![(group, column(market, group, value))],
        });
    }
    bottlenecks
}

fn groups_of(market: &Market<'_>, wanted: impl Fn(Kind) -> bool) -> impl Iterator<Item = usize> {
    let roles = market.brief.roles.iter().enumerate();
    roles
        .filter(move |(_, role)| wanted(role.kind))
        .map(|(group, _)| group)
}

fn column(market: &Market<'_>, group: usize, value: impl Fn(&Part) -> i64) -> Vec<i64> {
    market.candidates[group]
        .iter()
        .map(|candidate| value(candidate.part))
        .collect()
}

fn balance(
    market: &Market<'_>,
    rule: &dyn FitRule,
    kinds: &[Kind],
    share: &dyn Fn(&Part, &FitTerms) -> Share,
    at_most: i64,
) -> Balance {
    let terms = &market.brief.terms;
    let known = |part: &Part| match share(part, terms) {
        Share::Known(share) => Some(share),
        Share::UnknownNeed | Share::UnknownGift => None,
    };
    // More than everything together can need: a part with this share settles the rule alone.
    let enough: i64 = groups_of(market, |kind| kinds.contains(&kind))
        .map(|group| {
            let quantity = i64::from(market.brief.roles[group].quantity);
            let shares = market.candidates[group]
                .iter()
                .filter_map(|one| known(one.part));
            shares
                .map(|share| share.abs() * quantity)
                .max()
                .unwrap_or(0)
        })
        .sum::<i64>()
        + at_most.abs()
        + 1;
    let shares = groups_of(market, |kind| kinds.contains(&kind)).map(|group| {
        let quantity = i64::from(market.brief.roles[group].quantity);
        let share = |part: &Part| match share(part, terms) {
            Share::Known(share) => share * quantity,
            // Unproven is out of the question under strict terms.
            _ if terms.strict => 2 * enough,
            Share::UnknownNeed => 0,
            Share::UnknownGift => -enough,
        };
        (group, column(market, group, share))
    });
    Balance {
        name: rule.id().to_owned(),
        shares: shares.collect(),
        at_most,
    }
}

/// The table of a rule over several roles, or none when everything stands.
fn joint(
    market: &Market<'_>,
    traits: &Traits<'_>,
    (rule, kinds): (&dyn FitRule, &[Kind]),
    fits: &dyn Fn(&[Seat<'_>], &FitTerms) -> Fit,
) -> Option<Joint> {
    let terms = &market.brief.terms;
    let groups: Vec<usize> = groups_of(market, |kind| kinds.contains(&kind)).collect();
    let sides: Vec<Side<'_>> = groups
        .iter()
        .map(|group| traits.side(rule, *group))
        .collect();
    let stands = |seats: &[Seat<'_>]| match fits(seats, terms) {
        Fit::Yes => true,
        Fit::Unproven => !terms.strict,
        Fit::No => false,
    };
    let fits = table(&sides, &stands);
    let is_open = fits.contains(&false);
    is_open.then(|| Joint {
        name: rule.id().to_owned(),
        groups,
        sizes: sides.iter().map(|side| side.samples.len()).collect(),
        classes: sides.into_iter().map(|side| side.classes).collect(),
        fits,
    })
}

/// Whether each combination of the sides' classes stands, the last side's class turning fastest.
/// A table may have millions of cells, so that one row of seats serves all of them.
fn table(sides: &[Side<'_>], stands: &dyn Fn(&[Seat<'_>]) -> bool) -> Vec<bool> {
    let n_cells: usize = sides.iter().map(|side| side.samples.len()).product();
    let mut cells = Vec::with_capacity(n_cells);
    let mut classes = vec![0; sides.len()];
    let mut seats: Vec<Seat<'_>> = sides
        .iter()
        .filter_map(|side| side.samples.first().copied())
        .collect();
    while cells.len() < n_cells {
        cells.push(stands(&seats));
        for (at, side) in sides.iter().enumerate().rev() {
            classes[at] = (classes[at] + 1) % side.samples.len();
            seats[at] = side.samples[classes[at]];
            if classes[at] > 0 {
                break;
            }
        }
    }
    cells
}

/// What may stand together in every two roles of two kinds; roles where everything may are left
/// out.
fn pairings(
    market: &Market<'_>,
    traits: &Traits<'_>,
    (rule, [left, right]): (&dyn FitRule, [Kind; 2]),
    fits: &dyn Fn(&Part, &Part) -> Fit,
) -> Vec<Pairing> {
    let stands = |one: &Part, other: &Part| match fits(one, other) {
        Fit::Yes => true,
        Fit::Unproven => !market.brief.terms.strict,
        Fit::No => false,
    };
    let mut pairings = Vec::new();
    for left in groups_of(market, |kind| kind == left) {
        let ones = traits.side(rule, left);
        for right in groups_of(market, |kind| kind == right) {
            let others = traits.side(rule, right);
            let row = |one: &Seat<'_>| -> Vec<bool> {
                let others = others.samples.iter();
                others.map(|other| stands(one.part, other.part)).collect()
            };
            let fits: Vec<Vec<bool>> = ones.samples.iter().map(row).collect();
            if fits.iter().any(|row| row.contains(&false)) {
                let classes = [ones.classes.clone(), others.classes];
                let pairing = Pairing {
                    left,
                    right,
                    classes,
                    fits,
                };
                pairings.push(pairing.tightened());
            }
        }
    }
    pairings
}

/// Rules over the same two groups become one pairing, so that the solver sees the tighter form.
fn add_pairing(problem: &mut Problem, pairing: &Pairing) {
    let same = |known: &&mut Pairing| known.left == pairing.left && known.right == pairing.right;
    match problem.pairings.iter_mut().find(same) {
        Some(known) => *known = known.and(pairing),
        None => problem.pairings.push(pairing.clone()),
    }
}
