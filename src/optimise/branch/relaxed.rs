//! A problem with some of its ways to order settled, as one of roles alone.

use crate::optimise::joint::Joint;
use crate::optimise::pairing::Pairing;
use crate::optimise::problem::{Balance, Choice, OrderSides, Problem, Selection, unrestricted};
use crate::optimise::reduce::Classes;
use crate::optimise::sweep::{self, Step, TooWide, Wanted, first_among_equals};
use crate::optimise::work::Work;
use crate::rates::Score;

/// By order or bundle, the way that is settled, if it is.
pub type Ways = Vec<Option<usize>>;

/// What is asked of a node.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// The best score, and the least cost at it, if it is at least so much.
    Top(Score),
    /// The least cost of a score of at least so much, and the best score at that cost.
    Cheapest(Score),
}

/// A problem taken apart: the roles, the orders, and what ties them.
pub struct Relaxed<'p> {
    problem: &'p Problem,
    /// The first group that is an order.
    first: usize,
    /// The roles and what holds among them alone.
    roles: Problem,
    classes: Vec<Classes>,
    /// The orders and bundles alone, from 0 on.
    orders: Problem,
    /// What ties roles and orders.
    ties: Vec<Tie>,
    balances: Vec<Shared>,
}

/// A pairing of a role and an order.
struct Tie {
    role: usize,
    /// From 0 on.
    order: usize,
    /// By choice of the role its class, and by class which ways it can be ordered in.
    classes: Vec<usize>,
    fits: Vec<Vec<bool>>,
}

/// A balance that roles and orders share.
struct Shared {
    roles: Vec<(usize, Vec<i64>)>,
    /// From 0 on.
    orders: Vec<(usize, Vec<i64>)>,
    at_most: i64,
    /// The most that the roles can take of it.
    most: i64,
    /// They only ever give.
    is_given: bool,
}

/// A node's problem of roles, and how to come back.
struct Node {
    problem: Problem,
    keep: Vec<Vec<bool>>,
    /// What the orders cost at least.
    base: i64,
}

impl<'p> Relaxed<'p> {
    /// Takes a problem apart; `None` where there are no orders, or where more than balances holds
    /// between them.
    pub fn of(problem: &'p Problem) -> Option<Relaxed<'p>> {
        let first = problem.orders.first_group?;
        let of_roles = |joint: &Joint| joint.groups.iter().all(|group| *group < first);
        let has_role = |one: &Pairing| one.left < first;
        if !problem.joints.iter().all(of_roles) || !problem.pairings.iter().all(has_role) {
            return None;
        }
        let is_role =
            |columns: &[(usize, Vec<i64>)]| columns.iter().all(|(group, _)| *group < first);
        let (within, between): (Vec<&Balance>, Vec<&Balance>) = problem
            .balances
            .iter()
            .partition(|one| is_role(&one.shares));
        let roles = Problem {
            groups: problem.groups[..first].to_vec(),
            bottlenecks: problem.bottlenecks.clone(),
            balances: within.into_iter().cloned().collect(),
            pairings: problem
                .pairings
                .iter()
                .filter(|one| one.left.max(one.right) < first)
                .cloned()
                .collect(),
            joints: problem.joints.clone(),
            orders: OrderSides::default(),
            budget: problem.budget,
        };
        let tied = problem
            .pairings
            .iter()
            .filter(|one| one.left.max(one.right) >= first);
        let ties = tied.map(|one| Tie {
            role: one.left,
            order: one.right - first,
            classes: one.classes[0].clone(),
            fits: one
                .fits
                .iter()
                .map(|row| one.classes[1].iter().map(|class| row[*class]).collect())
                .collect(),
        });
        Some(Relaxed {
            first,
            ties: ties.collect(),
            balances: between
                .into_iter()
                .map(|one| Shared::of(one, first))
                .collect(),
            classes: (0..first).map(|group| Classes::of(&roles, group)).collect(),
            orders: Problem {
                groups: problem.groups[first..].to_vec(),
                budget: i64::MAX / 4,
                ..Problem::default()
            },
            roles,
            problem,
        })
    }

    pub fn all_open(&self) -> Ways {
        vec![None; self.orders.groups.len()]
    }

    pub fn budget(&self) -> i64 {
        self.problem.budget
    }

    pub fn cost(&self, selection: &Selection) -> i64 {
        self.problem.cost(selection)
    }

    /// The same ways with an order settled in each of its ways.
    pub fn settled(&self, ways: &Ways, order: usize) -> impl Iterator<Item = Ways> {
        let settle = move |way| {
            let mut ways = ways.clone();
            ways[order] = Some(way);
            ways
        };
        (0..self.orders.groups[order].len()).map(settle)
    }

    /// The bound of a node: what the roles alone say, of their selection.
    pub fn ask(
        &self,
        ways: &Ways,
        (asked, budget): (Asked, i64),
        work: &Work,
    ) -> Result<Option<Step>, TooWide> {
        let Some(node) = self.node(ways, budget) else {
            return Ok(None);
        };
        let step = match asked {
            Asked::Top(least) => sweep::top_within(&node.problem, least, work)?,
            Asked::Cheapest(least) => {
                let wanted = Wanted::cheapest_with(least);
                sweep::sweep_within(&node.problem, wanted, work)?.pop()
            }
        };
        Ok(step.map(|step| Step {
            cost: step.cost + node.base,
            score: step.score,
            selection: unrestricted(step.selection, &node.keep),
            is_first: false,
        }))
    }

    /// Of a node with everything settled, the selection of a step to show.
    pub fn first_among_equals(&self, ways: &Ways, step: &Step) -> Result<Selection, TooWide> {
        let settled: Option<Vec<usize>> = ways.iter().copied().collect();
        let node = self.node(ways, step.cost);
        let (Some(settled), Some(node)) = (settled, node) else {
            return Ok(step.selection.clone());
        };
        let asked = Wanted::cheapest_with(step.score);
        let Some(found) = sweep::sweep(&node.problem, asked)?.pop() else {
            return Ok(step.selection.clone());
        };
        let roles = first_among_equals(&node.problem, &found)?;
        let mut selection = unrestricted(roles, &node.keep);
        selection.extend(settled);
        Ok(selection)
    }

    /// The cheapest ways in which the roles' choices can be ordered.
    pub fn completed(&self, roles: &[usize], ways: &Ways) -> Result<Option<Selection>, TooWide> {
        let mut keep: Vec<Vec<bool>> = self.marks(ways);
        for tie in &self.ties {
            let row = &tie.fits[tie.classes[roles[tie.role]]];
            let ways = keep[tie.order].iter_mut().zip(row);
            ways.for_each(|(keep, fits)| *keep &= fits);
        }
        let mut orders = self.orders.clone();
        orders.balances = self.balances.iter().map(|one| one.left_by(roles)).collect();
        let kept = orders.restricted(&keep);
        let cheapest = sweep::sweep(&kept, Wanted::cheapest_with(Score(0)))?.pop();
        Ok(cheapest.map(|step| {
            let ways = unrestricted(step.selection, &keep);
            roles.iter().copied().chain(ways).collect()
        }))
    }

    /// The open order that is furthest off from what it counts for; `None` where all is settled.
    pub fn to_settle(
        &self,
        ways: &Ways,
        roles: &[usize],
        completed: Option<&Selection>,
    ) -> Option<usize> {
        let open = (0..ways.len()).filter(|order| ways[*order].is_none());
        // The last among equals is the first.
        open.rev().max_by_key(|order| match completed {
            Some(selection) => {
                let way = selection[self.first + order];
                self.orders.groups[*order][way].cost - self.counted(*order, roles)
            }
            None => i64::from(self.is_ordered(*order, roles)),
        })
    }

    /// What an open order counts for beside these choices.
    fn counted(&self, order: usize, roles: &[usize]) -> i64 {
        let claims = self.problem.orders.claims.iter();
        let mut claims = claims.filter(|claim| claim.group == self.first + order);
        match claims.next() {
            Some(claim) => {
                let shares = claim.shares.iter();
                -shares
                    .map(|(role, shares)| shares[roles[*role]])
                    .sum::<i64>()
            }
            None => least(self.orders.groups[order].iter().map(|way| way.cost)),
        }
    }

    /// Some of these choices cannot be had in every way of the order.
    fn is_ordered(&self, order: usize, roles: &[usize]) -> bool {
        let ties = self.ties.iter().filter(|tie| tie.order == order);
        let mut rows = ties.map(|tie| &tie.fits[tie.classes[roles[tie.role]]]);
        rows.any(|row| row.contains(&false))
    }

    /// Which ways of each order are open.
    fn marks(&self, ways: &Ways) -> Vec<Vec<bool>> {
        let orders = self.orders.groups.iter().zip(ways);
        let marks = orders.map(|(choices, settled)| {
            let marks = (0..choices.len()).map(|way| settled.is_none_or(|one| one == way));
            marks.collect()
        });
        marks.collect()
    }

    /// The problem of the roles, where the orders do their best; `None` where they cannot.
    fn node(&self, ways: &Ways, budget: i64) -> Option<Node> {
        let marks = self.marks(ways);
        let (base, costs) = self.costs(ways);
        let balances: Vec<Balance> = self
            .balances
            .iter()
            .filter_map(|one| one.of_roles(&marks))
            .collect();
        let allowed = self.allowed(&marks);
        let groups = self.roles.groups.iter().zip(&costs).enumerate();
        let keep: Vec<Vec<bool>> = groups
            .map(|(group, (choices, costs))| {
                let columns = balances.iter().filter_map(|balance| {
                    let mut columns = balance.shares.iter();
                    let (_, shares) = columns.find(|(owner, _)| *owner == group)?;
                    Some(shares.as_slice())
                });
                let columns: Vec<&[i64]> = columns.collect();
                let classes = &self.classes[group];
                undominated(classes, choices, costs, &allowed[group], &columns)
            })
            .collect();
        if keep.iter().any(|keep| !keep.contains(&true)) {
            return None;
        }
        let mut problem = self.roles.restricted(&keep);
        let kept = problem.groups.iter_mut().zip(&costs).zip(&keep);
        for ((choices, costs), keep) in kept {
            let costs = costs.iter().zip(keep).filter(|(_, keep)| **keep);
            let choices = choices.iter_mut().zip(costs);
            choices.for_each(|(choice, (cost, _))| choice.cost = *cost);
        }
        let balances = Problem {
            balances,
            ..Problem::default()
        };
        problem.balances.extend(balances.restricted(&keep).balances);
        problem.budget = budget.saturating_sub(base);
        Some(Node {
            problem,
            keep,
            base,
        })
    }

    /// What the orders cost at least whatever is chosen, and each choice with its claims on open
    /// bundles.
    fn costs(&self, ways: &Ways) -> (i64, Vec<Vec<i64>>) {
        let columns = self.roles.groups.iter();
        let cost = |choices: &Vec<Choice>| choices.iter().map(|choice| choice.cost).collect();
        let mut costs: Vec<Vec<i64>> = columns.map(cost).collect();
        let claims = &self.problem.orders.claims;
        let mut base = 0;
        for (order, (choices, settled)) in self.orders.groups.iter().zip(ways).enumerate() {
            let claim = claims.iter().find(|one| one.group == self.first + order);
            base += match (settled, claim) {
                (Some(way), _) => choices[*way].cost,
                (None, None) => least(choices.iter().map(|way| way.cost)),
                (None, Some(claim)) => {
                    for (role, shares) in &claim.shares {
                        let costs = costs[*role].iter_mut().zip(shares);
                        costs.for_each(|(cost, share)| *cost -= share);
                    }
                    0
                }
            };
        }
        (base, costs)
    }

    /// Which choices of each role can be ordered in some way that is open.
    fn allowed(&self, marks: &[Vec<bool>]) -> Vec<Vec<bool>> {
        let all = self
            .roles
            .groups
            .iter()
            .map(|group| vec![true; group.len()]);
        let mut allowed: Vec<Vec<bool>> = all.collect();
        for tie in &self.ties {
            let is_open = |row: &Vec<bool>| {
                let mut ways = row.iter().zip(&marks[tie.order]);
                ways.any(|(fits, open)| *fits && *open)
            };
            let open: Vec<bool> = tie.fits.iter().map(is_open).collect();
            if open.contains(&false) {
                let choices = allowed[tie.role].iter_mut().zip(&tie.classes);
                choices.for_each(|(allowed, class)| *allowed &= open[*class]);
            }
        }
        allowed
    }
}

impl Shared {
    fn of(balance: &Balance, first: usize) -> Shared {
        let (roles, orders): (Vec<_>, Vec<_>) = balance
            .shares
            .iter()
            .cloned()
            .partition(|(group, _)| *group < first);
        let most = roles
            .iter()
            .map(|(_, shares)| shares.iter().max().copied().unwrap_or(0));
        let shares = || roles.iter().flat_map(|(_, shares)| shares);
        Shared {
            most: most.sum(),
            is_given: shares().all(|share| *share <= 0),
            orders: orders
                .into_iter()
                .map(|(group, shares)| (group - first, shares))
                .collect(),
            at_most: balance.at_most,
            roles,
        }
    }

    /// What is asked of the roles where open orders ask for the least; `None` where that is nothing.
    fn of_roles(&self, marks: &[Vec<bool>]) -> Option<Balance> {
        let open = |(order, shares): &(usize, Vec<i64>)| {
            let open = shares.iter().zip(&marks[*order]);
            least(open.filter(|(_, open)| **open).map(|(share, _)| *share))
        };
        let at_most = self.at_most - self.orders.iter().map(open).sum::<i64>();
        if self.most <= at_most {
            return None;
        }
        let mut shares = self.roles.clone();
        if self.is_given {
            // Giving more than all that is asked is no use, so that dearer choices are not kept
            // for it.
            let given = shares.iter_mut().flat_map(|(_, shares)| shares);
            given.for_each(|share| *share = (*share).max(at_most));
        }
        Some(Balance {
            name: String::new(),
            shares,
            at_most,
        })
    }

    /// What these choices leave to the orders.
    fn left_by(&self, roles: &[usize]) -> Balance {
        let taken = self.roles.iter().map(|(role, shares)| shares[roles[*role]]);
        Balance {
            name: String::new(),
            shares: self.orders.clone(),
            at_most: self.at_most - taken.sum::<i64>(),
        }
    }
}

/// The choices that no other covers at the same cost or less, with no larger share of the columns.
fn undominated(
    classes: &Classes,
    choices: &[Choice],
    costs: &[i64],
    allowed: &[bool],
    columns: &[&[i64]],
) -> Vec<bool> {
    let mut order: Vec<usize> = (0..choices.len()).filter(|one| allowed[*one]).collect();
    order.sort_by_key(|one| (costs[*one], !choices[*one].is_standing, *one));
    let mut kept: Vec<usize> = Vec::new();
    for one in order {
        let is_dominated = kept.iter().any(|other| {
            classes.covers[classes.of[*other]][classes.of[one]]
                && columns.iter().all(|shares| shares[*other] <= shares[one])
        });
        if !is_dominated {
            kept.push(one);
        }
    }
    let mut keep = vec![false; choices.len()];
    kept.into_iter().for_each(|one| keep[one] = true);
    keep
}

fn least(values: impl Iterator<Item = i64>) -> i64 {
    values.min().unwrap_or(0)
}
