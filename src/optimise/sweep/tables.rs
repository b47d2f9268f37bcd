//! A problem laid out for the sweep, and the bounds of partial selections.

use super::TooWide;
use super::stands::{Bits, Stands, all, stands};
use crate::optimise::joint::Joint;
use crate::optimise::problem::{Problem, Selection};
use std::cmp::Reverse;

/// A problem with its groups in the order in which they are chosen, and their choices cheapest
/// first. All else here speaks of groups and choices by these places.
pub(super) struct Tables {
    /// By place: the group's number in the problem, and its choices' positions.
    groups: Vec<(usize, Vec<usize>)>,
    /// Counted from the least of the group where that is below nothing, so that no choice makes a
    /// partial selection cheaper.
    costs: Vec<Vec<i64>>,
    /// What those leasts come to: nothing, or less.
    pub base: i64,
    /// By balance: what is left when every group takes its least, and each choice's share above
    /// that least.
    balances: Vec<(i64, Vec<Vec<i64>>)>,
    /// By bottleneck: its weight, each choice's value, and the best value of the groups from a
    /// place on. What does not limit it allows [`FREE`].
    bottlenecks: Vec<Values>,
    /// By two places: whether each choice of the first stands with those of the second.
    stands: Stands,
    joints: Vec<PlacedJoint>,
    /// By place: marks of all its choices.
    all: Vec<Bits>,
    /// The most that a selection may cost, counted from `base`.
    budget: i64,
}

struct Values {
    weight: i64,
    values: Vec<Vec<i64>>,
    best_from: Vec<i64>,
}

struct PlacedJoint {
    joint: Joint,
    /// The depth at which all its groups are chosen.
    complete_at: usize,
}

/// The value of a group that does not limit a bottleneck.
const FREE: i64 = i64::MAX;

/// What any completion of a partial selection costs at least and scores at most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Bound {
    pub cost: i64,
    pub score: i64,
}

impl Tables {
    /// Lays a problem out; `None` where some group has no choice at all.
    pub fn of(problem: &Problem) -> Result<Option<Tables>, TooWide> {
        let is_wide = |group: &Vec<_>| group.len() > usize::from(u16::MAX);
        if problem.groups.iter().any(is_wide) || problem.groups.len() > usize::from(u8::MAX) {
            return Err(TooWide);
        }
        if problem.groups.iter().any(Vec::is_empty) {
            return Ok(None);
        }
        let groups: Vec<(usize, Vec<usize>)> = usual_order(problem)
            .into_iter()
            .map(|group| {
                let choices = &problem.groups[group];
                let mut positions: Vec<usize> = (0..choices.len()).collect();
                positions.sort_by_key(|position| (choices[*position].cost, *position));
                (group, positions)
            })
            .collect();
        let mut base = 0;
        let costs = groups.iter().map(|(group, positions)| {
            let choices = &problem.groups[*group];
            let least = positions.first().map_or(0, |first| choices[*first].cost);
            let least = least.min(0);
            base += least;
            let costs = positions.iter().map(|one| choices[*one].cost - least);
            costs.collect()
        });
        Ok(Some(Tables {
            costs: costs.collect(),
            base,
            balances: balances(problem, &groups),
            bottlenecks: bottlenecks(problem, &groups),
            stands: stands(problem, &groups),
            joints: joints(problem, &groups),
            all: groups
                .iter()
                .map(|(_, choices)| all(choices.len()))
                .collect(),
            budget: problem.budget - base,
            groups,
        }))
    }

    pub fn groups(&self) -> usize {
        self.groups.len()
    }

    /// Sets the most that a selection may cost.
    pub fn set_budget(&mut self, budget: i64) {
        self.budget = budget - self.base;
    }

    /// How many choices the group at a place has; 0 beyond the last.
    pub fn size(&self, place: usize) -> usize {
        self.costs.get(place).map_or(0, Vec::len)
    }

    /// The problem's group and position of a choice.
    pub fn original(&self, place: usize, choice: usize) -> (usize, usize) {
        let (group, positions) = &self.groups[place];
        (*group, positions[choice])
    }

    /// A complete choice as the problem's selection.
    pub fn selection(&self, chosen: &[usize]) -> Selection {
        let mut selection = vec![0; self.groups.len()];
        for (place, choice) in chosen.iter().enumerate() {
            let (group, position) = self.original(place, *choice);
            selection[group] = position;
        }
        selection
    }
}

/// What moves the score most comes first, for that is what the search prunes by; then the orders,
/// so that all that follows costs what it says; of equals the group with more choices.
fn usual_order(problem: &Problem) -> Vec<usize> {
    let weight = |group: usize| -> i64 {
        let limiting = problem
            .bottlenecks
            .iter()
            .filter(|one| one.limits.iter().any(|(owner, _)| *owner == group));
        limiting.map(|one| one.weight).sum()
    };
    let mut order: Vec<usize> = (0..problem.groups.len()).collect();
    order.sort_by_key(|group| {
        (
            Reverse(weight(*group)),
            !problem.is_order(*group),
            Reverse(problem.groups[*group].len()),
            *group,
        )
    });
    order
}

/// A column of the problem, for the groups in their places.
fn placed(
    columns: &[(usize, Vec<i64>)],
    groups: &[(usize, Vec<usize>)],
    otherwise: i64,
) -> Vec<Vec<i64>> {
    let of_group = |(group, positions): &(usize, Vec<usize>)| {
        let column = columns.iter().find(|(owner, _)| owner == group);
        let value = |position: &usize| column.map_or(otherwise, |(_, values)| values[*position]);
        positions.iter().map(value).collect()
    };
    groups.iter().map(of_group).collect()
}

fn balances(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Vec<(i64, Vec<Vec<i64>>)> {
    let of_balance = |balance: &crate::optimise::problem::Balance| {
        let mut shares = placed(&balance.shares, groups, 0);
        let mut left = balance.at_most;
        for column in &mut shares {
            let least = column.iter().min().copied().unwrap_or(0);
            left -= least;
            column.iter_mut().for_each(|share| *share -= least);
        }
        (left, shares)
    };
    problem.balances.iter().map(of_balance).collect()
}

fn bottlenecks(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Vec<Values> {
    let of_bottleneck = |bottleneck: &crate::optimise::problem::Bottleneck| {
        let values = placed(&bottleneck.limits, groups, FREE);
        let mut best_from = vec![FREE; groups.len() + 1];
        for place in (0..groups.len()).rev() {
            let best = values[place].iter().max().copied().unwrap_or(FREE);
            best_from[place] = best.min(best_from[place + 1]);
        }
        Values {
            weight: bottleneck.weight,
            values,
            best_from,
        }
    };
    problem.bottlenecks.iter().map(of_bottleneck).collect()
}

fn joints(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Vec<PlacedJoint> {
    let place_of = |group: &usize| groups.iter().position(|(one, _)| one == group);
    let placed = problem.joints.iter().map(|joint| PlacedJoint {
        complete_at: joint.groups.iter().filter_map(place_of).max().unwrap_or(0),
        joint: joint.clone(),
    });
    placed.collect()
}

/// A partial selection, with what is left for the groups that are still open.
#[derive(Clone)]
pub(super) struct Open {
    chosen: Vec<usize>,
    cost: i64,
    /// By place: the choices that stand with all that is chosen.
    domains: Vec<Bits>,
    /// By balance: what is left above the least of every open group.
    left: Vec<i64>,
    /// By bottleneck: the lowest value chosen so far.
    lowest: Vec<i64>,
}

impl Open {
    /// Nothing is chosen yet.
    pub fn of(tables: &Tables) -> Open {
        let mut open = Open {
            chosen: Vec::new(),
            cost: 0,
            domains: Vec::new(),
            left: Vec::new(),
            lowest: Vec::new(),
        };
        open.set(tables, &[]);
        open
    }

    pub fn depth(&self) -> usize {
        self.chosen.len()
    }

    /// Takes up a partial selection.
    pub fn set(&mut self, tables: &Tables, chosen: &[usize]) {
        self.chosen.clear();
        self.chosen.extend_from_slice(chosen);
        let costs = tables.costs.iter().zip(chosen);
        self.cost = costs.map(|(costs, choice)| costs[*choice]).sum();
        self.domains.resize(tables.groups(), Bits::new());
        for (place, domain) in self.domains.iter_mut().enumerate().skip(chosen.len()) {
            domain.clear();
            domain.extend_from_slice(&tables.all[place]);
            for (from, choice) in chosen.iter().enumerate() {
                if let Some(rows) = &tables.stands[from][place] {
                    domain
                        .iter_mut()
                        .zip(&rows[*choice])
                        .for_each(|(bits, row)| *bits &= row);
                }
            }
        }
        self.left.clear();
        self.left
            .extend(tables.balances.iter().map(|(left, shares)| {
                let taken = shares.iter().zip(chosen);
                left - taken.map(|(shares, choice)| shares[*choice]).sum::<i64>()
            }));
        self.lowest.clear();
        self.lowest.extend(tables.bottlenecks.iter().map(|one| {
            let values = one.values.iter().zip(chosen);
            let values = values.map(|(values, choice)| values[*choice]);
            values.min().unwrap_or(FREE)
        }));
    }

    /// The bound with one choice more; `None` where that cannot be completed within the budget to
    /// more than the score `beaten`.
    pub fn bound_with(&self, tables: &Tables, choice: usize, beaten: i64) -> Option<Bound> {
        let place = self.chosen.len();
        let is_open = self.domains[place][choice / 64] >> (choice % 64) & 1 == 1;
        if !is_open {
            return None;
        }
        let score = self.most_score(tables, place, choice);
        let mut cost = self.cost + tables.costs[place][choice];
        let balances = || tables.balances.iter().zip(&self.left);
        let is_balanced = balances().all(|((_, shares), left)| shares[place][choice] <= *left);
        if score <= beaten || cost > tables.budget || !is_balanced {
            return None;
        }
        for other in place + 1..tables.groups() {
            cost += self.least_cost(tables, (place, choice), other)?;
            if cost > tables.budget {
                return None;
            }
        }
        self.stands_jointly(tables, choice)
            .then_some(Bound { cost, score })
    }

    fn most_score(&self, tables: &Tables, place: usize, choice: usize) -> i64 {
        let bounds = tables.bottlenecks.iter().zip(&self.lowest);
        bounds
            .map(|(one, lowest)| {
                let value = one.values[place][choice].min(*lowest);
                let value = value.min(one.best_from[place + 1]);
                one.weight * if value == FREE { 0 } else { value }
            })
            .sum()
    }

    /// The least that an open group costs beside what is chosen and this choice.
    fn least_cost(
        &self,
        tables: &Tables,
        (place, choice): (usize, usize),
        other: usize,
    ) -> Option<i64> {
        let rows = tables.stands[place][other].as_ref();
        let row = rows.map(|rows| &rows[choice]);
        for (word, bits) in self.domains[other].iter().enumerate() {
            let mut bits = match row {
                Some(row) => bits & row[word],
                None => *bits,
            };
            while bits != 0 {
                let candidate = 64 * word + bits.trailing_zeros() as usize;
                let fits = |((_, shares), left): (&(i64, Vec<Vec<i64>>), &i64)| {
                    shares[other][candidate] + shares[place][choice] <= *left
                };
                if tables.balances.iter().zip(&self.left).all(fits) {
                    return Some(tables.costs[other][candidate]);
                }
                bits &= bits - 1;
            }
        }
        None
    }

    /// Whether the joints that this choice completes let it stand.
    fn stands_jointly(&self, tables: &Tables, choice: usize) -> bool {
        let place = self.chosen.len();
        let position_of = |group: usize| {
            let at = tables.groups.iter().position(|(one, _)| *one == group)?;
            let choice = match at == place {
                true => choice,
                false => *self.chosen.get(at)?,
            };
            Some(tables.groups[at].1[choice])
        };
        tables
            .joints
            .iter()
            .filter(|placed| placed.complete_at == place)
            .all(|placed| {
                let groups = placed.joint.groups.iter();
                let positions: Option<Vec<usize>> =
                    groups.map(|group| position_of(*group)).collect();
                positions.is_none_or(|positions| placed.joint.admits_positions(&positions))
            })
    }
}
