//! A problem laid out for the sweep.

use super::TooWide;
use super::stands::{Bits, Stands, all, stands};
use crate::optimise::joint::Joint;
use crate::optimise::problem::{Balance, Bottleneck, Problem, Selection};
use std::cmp::Reverse;

/// A problem with its groups in the order in which they are chosen, and their choices cheapest
/// first. All else here speaks of groups and choices by these places.
pub(super) struct Tables {
    /// By place: the group's number in the problem, and its choices' positions.
    groups: Vec<(usize, Vec<usize>)>,
    /// Counted from the least of the group where that is below nothing, so that no choice makes a
    /// partial selection cheaper.
    pub costs: Vec<Vec<i64>>,
    /// What those leasts come to: nothing, or less.
    pub base: i64,
    /// By balance: what is left when every group takes its least.
    pub left: Vec<i64>,
    /// By place: the balances in which its choices differ, and each choice's share above the
    /// group's least.
    pub shares: Vec<Vec<Shares>>,
    pub bottlenecks: Vec<Values>,
    /// By two places: whether each choice of the first stands with those of the second.
    pub stands: Stands,
    /// By place: the joints whose groups are all chosen with it.
    pub joints: Vec<Vec<PlacedJoint>>,
    /// By place: marks of all its choices.
    pub all: Vec<Bits>,
    /// The most that a selection may cost, counted from `base`.
    pub budget: i64,
}

/// A balance's number, and what each choice of a place takes of it.
pub(super) type Shares = (usize, Vec<i64>);

/// A bottleneck. What does not limit it allows [`FREE`].
pub(super) struct Values {
    pub weight: i64,
    /// By place and choice.
    pub values: Vec<Vec<i64>>,
    /// The best value of the groups from a place on.
    pub best_from: Vec<i64>,
}

/// A joint, and the places of its groups.
pub(super) struct PlacedJoint {
    joint: Joint,
    places: Vec<usize>,
}

/// The value of a group that does not limit a bottleneck.
pub(super) const FREE: i64 = i64::MAX;

impl Tables {
    /// Lays a problem out; `None` where some group has no choice at all, or some balance asks for
    /// more than there is.
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
        let left: Vec<i64> = problem.balances.iter().map(left_of).collect();
        if left.iter().any(|left| *left < 0) {
            return Ok(None);
        }
        Ok(Some(Tables {
            costs: costs.collect(),
            base,
            left,
            shares: shares(problem, &groups),
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

/// What a balance leaves when every group takes its least.
fn left_of(balance: &Balance) -> i64 {
    let least = balance
        .shares
        .iter()
        .filter_map(|(_, shares)| shares.iter().min());
    balance.at_most - least.sum::<i64>()
}

fn shares(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Vec<Vec<Shares>> {
    let of_group = |(group, positions): &(usize, Vec<usize>)| {
        let balances = problem.balances.iter().enumerate();
        let taken = balances.filter_map(|(number, balance)| {
            let mut columns = balance.shares.iter();
            let (_, shares) = columns.find(|(owner, _)| owner == group)?;
            let least = shares.iter().min()?;
            let above = positions.iter().map(|position| shares[*position] - least);
            let above: Vec<i64> = above.collect();
            above
                .iter()
                .any(|share| *share > 0)
                .then_some((number, above))
        });
        taken.collect()
    };
    groups.iter().map(of_group).collect()
}

fn bottlenecks(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Vec<Values> {
    let of_bottleneck = |bottleneck: &Bottleneck| {
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

fn joints(problem: &Problem, groups: &[(usize, Vec<usize>)]) -> Vec<Vec<PlacedJoint>> {
    let place_of = |group: &usize| groups.iter().position(|(one, _)| one == group);
    let mut joints: Vec<Vec<PlacedJoint>> = groups.iter().map(|_| Vec::new()).collect();
    for joint in &problem.joints {
        let places: Vec<usize> = joint.groups.iter().filter_map(place_of).collect();
        let Some(last) = places.iter().max() else {
            continue;
        };
        joints[*last].push(PlacedJoint {
            joint: joint.clone(),
            places,
        });
    }
    joints
}

impl PlacedJoint {
    /// Whether it lets these choices stand, of which it knows its own.
    pub fn admits(&self, tables: &Tables, chosen: impl Fn(usize) -> usize) -> bool {
        let places = self.places.iter();
        let positions = places.map(|place| tables.original(*place, chosen(*place)).1);
        self.joint.admits_positions(positions)
    }
}
