//! The problem in integers: choose one from each group, within every limit, for the best score.
//!
//! Parts, prices and rules are gone here; what is left is a multiple-choice knapsack with several
//! resources, bottleneck values, forbidden pairs and tables of what stands together. Everything is an integer, so that a choice
//! can be judged exactly; [`super::solve`] works on a floating-point shadow of this.

use super::joint::Joint;
use super::pairing::Pairing;
use crate::rates::Score;

/// One way to fill a group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// Cost in minor units.
    pub cost: i64,
    /// True when the standing build has this choice here: it is kept among equals.
    pub is_standing: bool,
}

/// A value that is the lowest over several groups, with a weight in the score.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bottleneck {
    pub weight: i64,
    /// For each group that limits it, in rising order: the group and its choices' values.
    pub limits: Vec<(usize, Vec<i64>)>,
}

/// A resource: over all chosen, the shares add up to at most `at_most`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Balance {
    /// The rule that it comes from.
    pub name: String,
    /// For each group that has a share, in rising order: the group and its choices' shares.
    pub shares: Vec<(usize, Vec<i64>)>,
    pub at_most: i64,
}

/// What a choice of a role has to do with the orders that other groups decide about. Needed only to
/// tell which choices are dominated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrderSide {
    /// The order that it is in.
    pub order: Option<usize>,
    /// What bundles with it save at most.
    pub at_stake: i64,
    /// It asks for a coupon to be used.
    pub has_code: bool,
}

/// What a bundle saves, split over the choices that it can be made of: whoever takes it has chosen
/// shares that come to at least as much.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// The bundle's group. Its first way, not to take it, costs nothing.
    pub group: usize,
    /// For each group with such choices, in rising order: the group and its choices' shares.
    pub shares: Vec<(usize, Vec<i64>)>,
}

/// The groups that decide about orders, and what they can cost. Empty where there are none.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OrderSides {
    /// From this one on, groups decide about orders.
    pub first_group: Option<usize>,
    /// By order: what another line in it, or one less, can cost at most besides the line.
    pub swings: Vec<i64>,
    /// By group before the first of the orders.
    pub choices: Vec<Vec<OrderSide>>,
    pub claims: Vec<Claim>,
    /// Not every order can be made beside every other.
    pub is_limited: bool,
}

/// One choice is made from each group. Invariant: the vectors inside have one entry per choice.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Problem {
    /// Choices in the order that breaks the last tie: lower positions win.
    pub groups: Vec<Vec<Choice>>,
    pub bottlenecks: Vec<Bottleneck>,
    pub balances: Vec<Balance>,
    pub pairings: Vec<Pairing>,
    pub joints: Vec<Joint>,
    pub orders: OrderSides,
    /// The most that the choices may cost together, in minor units.
    pub budget: i64,
}

/// The position chosen in each group.
pub type Selection = Vec<usize>;

impl Problem {
    /// Cost of a selection in minor units.
    pub fn cost(&self, selection: &[usize]) -> i64 {
        self.groups
            .iter()
            .zip(selection)
            .map(|(group, chosen)| group[*chosen].cost)
            .sum()
    }

    /// Score of a selection: the weighted sum of each bottleneck's lowest value.
    pub fn score(&self, selection: &[usize]) -> Score {
        let value = |bottleneck: &Bottleneck| {
            let values = bottleneck.limits.iter();
            let lowest = values
                .map(|(group, values)| values[selection[*group]])
                .min();
            bottleneck.weight * lowest.unwrap_or(0)
        };
        Score(self.bottlenecks.iter().map(value).sum())
    }

    /// How many groups leave the standing choice.
    pub fn changes(&self, selection: &[usize]) -> i64 {
        let groups = self.groups.iter().zip(selection);
        groups
            .filter(|(group, chosen)| !group[**chosen].is_standing)
            .count() as i64
    }

    /// True when the selection keeps the budget, every balance, every pairing and every joint.
    pub fn admits(&self, selection: &[usize]) -> bool {
        let balanced = |balance: &Balance| {
            let shares = balance.shares.iter();
            shares
                .map(|(group, shares)| shares[selection[*group]])
                .sum::<i64>()
                <= balance.at_most
        };
        self.cost(selection) <= self.budget
            && self.balances.iter().all(balanced)
            && self
                .pairings
                .iter()
                .all(|pairing| pairing.admits(selection[pairing.left], selection[pairing.right]))
            && self.joints.iter().all(|joint| joint.admits(selection))
    }

    /// Keeps only the marked choices of each group.
    pub fn restricted(&self, keep: &[Vec<bool>]) -> Problem {
        let kept = |group: usize, values: &[i64]| -> Vec<i64> { select(values, &keep[group]) };
        Problem {
            groups: self
                .groups
                .iter()
                .zip(keep)
                .map(|(choices, keep)| select(choices, keep))
                .collect(),
            bottlenecks: self
                .bottlenecks
                .iter()
                .map(|bottleneck| Bottleneck {
                    weight: bottleneck.weight,
                    limits: kept_columns(&bottleneck.limits, kept),
                })
                .collect(),
            balances: self
                .balances
                .iter()
                .map(|balance| Balance {
                    name: balance.name.clone(),
                    shares: kept_columns(&balance.shares, kept),
                    at_most: balance.at_most,
                })
                .collect(),
            pairings: self
                .pairings
                .iter()
                .map(|pairing| pairing.restricted(keep))
                .collect(),
            joints: self
                .joints
                .iter()
                .map(|joint| joint.restricted(keep))
                .collect(),
            orders: OrderSides {
                choices: self
                    .orders
                    .choices
                    .iter()
                    .zip(keep)
                    .map(|(sides, keep)| select(sides, keep))
                    .collect(),
                claims: self
                    .orders
                    .claims
                    .iter()
                    .map(|claim| Claim {
                        group: claim.group,
                        shares: kept_columns(&claim.shares, kept),
                    })
                    .collect(),
                ..self.orders.clone()
            },
            budget: self.budget,
        }
    }

    /// The same with the choices of a group costing nothing and in no order.
    pub fn given(mut self, group: usize) -> Problem {
        self.groups[group].iter_mut().for_each(|one| one.cost = 0);
        let Some(first) = self.orders.first_group else {
            return self;
        };
        self.pairings
            .retain(|one| one.left.min(one.right) != group || one.left.max(one.right) < first);
        for balance in &mut self.balances {
            let last = balance.shares.iter().map(|(owner, _)| *owner).max();
            if last.is_some_and(|last| last >= first) {
                balance.shares.retain(|(owner, _)| *owner != group);
            }
        }
        let alone = OrderSide {
            order: None,
            at_stake: 0,
            has_code: false,
        };
        self.orders.choices[group].fill(alone);
        for claim in &mut self.orders.claims {
            claim.shares.retain(|(owner, _)| *owner != group);
        }
        self
    }

    /// True for a group that decides about an order rather than a role.
    pub fn is_order(&self, group: usize) -> bool {
        self.orders.first_group.is_some_and(|first| first <= group)
    }
}

/// A selection of kept choices, by the whole problem's positions.
pub fn unrestricted(selection: Selection, keep: &[Vec<bool>]) -> Selection {
    let position = |(keep, chosen): (&Vec<bool>, usize)| {
        let mut kept = (0..keep.len()).filter(|position| keep[*position]);
        kept.nth(chosen).unwrap_or(0)
    };
    keep.iter().zip(selection).map(position).collect()
}

fn kept_columns(
    columns: &[(usize, Vec<i64>)],
    kept: impl Fn(usize, &[i64]) -> Vec<i64>,
) -> Vec<(usize, Vec<i64>)> {
    columns
        .iter()
        .map(|(group, values)| (*group, kept(*group, values)))
        .collect()
}

fn select<T: Clone>(values: &[T], keep: &[bool]) -> Vec<T> {
    values
        .iter()
        .zip(keep)
        .filter(|(_, keep)| **keep)
        .map(|(value, _)| value.clone())
        .collect()
}
