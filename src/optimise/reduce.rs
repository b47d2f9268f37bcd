//! Leaves out choices that provably cannot be in the answer.
//!
//! A choice is dominated when another of its group costs no more, allows no less in every
//! bottleneck, takes no more of every resource and stands with everything that it stands with,
//! pair by pair and joint by joint.
//! Replacing the one by the other keeps a selection admissible, loses no score and costs no more.
//! Where orders cost something as a whole, replacing one line of them by another can cost more than
//! the difference of the two: a threshold that is no longer reached, an order more, a bundle that
//! falls apart. There the other must be cheaper by as much as all that can come to, unless it stands
//! to the orders as the one does.
//! Where the two are equal in cost the selection might tie, so there the other must also come
//! first in the order that breaks ties, and a standing choice yields only to a cheaper one. Then
//! the answer, which is the first in that order, never holds a dominated choice.

use super::pairing::Pairing;
use super::problem::Problem;
use std::collections::BTreeMap;

/// Which choices of each group to keep.
pub fn undominated(problem: &Problem) -> Vec<Vec<bool>> {
    (0..problem.groups.len())
        .map(|group| undominated_in(problem, group))
        .collect()
}

fn undominated_in(problem: &Problem, group: usize) -> Vec<bool> {
    let choices = &problem.groups[group];
    if problem.is_order(group) {
        return vec![true; choices.len()];
    }
    let profiles = profiles(problem, group, |other| !problem.is_order(other));
    let in_orders = match problem.orders.first_group {
        Some(_) => profiles_in_orders(problem, group),
        None => Vec::new(),
    };
    let joints = joints_of(problem, group);
    // Cheapest first: a choice can only be dominated by one that comes before it here.
    let mut order: Vec<usize> = (0..choices.len()).collect();
    order.sort_by_key(|position| {
        (
            choices[*position].cost,
            !choices[*position].is_standing,
            *position,
        )
    });
    let mut kept: Vec<usize> = Vec::new();
    for position in order {
        let is_dominated = kept.iter().any(|other| {
            dominates(&profiles[*other], &profiles[position])
                && joints.iter().all(|joint| joint.covers(*other, position))
                && (in_orders.is_empty()
                    || dominates(&in_orders[*other], &in_orders[position])
                    || is_cheaper_throughout(problem, group, *other, position))
        });
        if !is_dominated {
            kept.push(position);
        }
    }
    let mut keep = vec![false; choices.len()];
    kept.into_iter().for_each(|position| keep[position] = true);
    keep
}

/// True when one choice costs less than another even if it puts every order at its worst.
fn is_cheaper_throughout(problem: &Problem, group: usize, one: usize, other: usize) -> bool {
    let orders = &problem.orders;
    let [better, worse] = [one, other].map(|position| orders.choices[group][position]);
    let swing = |order: Option<usize>| order.map_or(0, |order| orders.swings[order]);
    let is_joining = better.order.is_some() && better.order != worse.order;
    if better.has_code || (is_joining && orders.is_limited) {
        return false;
    }
    let joined = if is_joining { swing(better.order) } else { 0 };
    let worst = worse.at_stake + swing(worse.order) + joined;
    problem.groups[group][one].cost + worst < problem.groups[group][other].cost
}

/// Everything that distinguishes a choice besides cost and order; larger is better throughout.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Profile {
    worths: Vec<i64>,
    /// The classes of partners in all pairings, as bits.
    partners: Vec<u64>,
}

fn dominates(better: &Profile, worse: &Profile) -> bool {
    better
        .worths
        .iter()
        .zip(&worse.worths)
        .all(|(better, worse)| better >= worse)
        && better
            .partners
            .iter()
            .zip(&worse.partners)
            .all(|(better, worse)| worse & !better == 0)
}

/// The choices of a group by all that tells them apart but cost and order.
pub(super) struct Classes {
    /// By choice.
    pub of: Vec<usize>,
    /// Whether one class is worth as much as another, takes no more and stands with all that the
    /// other stands with: `covers[one][other]`.
    pub covers: Vec<Vec<bool>>,
}

impl Classes {
    /// Of a group of a problem without orders.
    pub(super) fn of(problem: &Problem, group: usize) -> Classes {
        let joints = joints_of(problem, group);
        let mut known: BTreeMap<(Profile, Vec<usize>), usize> = BTreeMap::new();
        let mut first_of: Vec<usize> = Vec::new();
        let profiles = profiles(problem, group, |_| true);
        let class = |(position, profile): (usize, Profile)| {
            let in_joints = joints.iter().map(|joint| joint.classes[position]);
            *known
                .entry((profile, in_joints.collect()))
                .or_insert_with(|| {
                    first_of.push(position);
                    first_of.len() - 1
                })
        };
        let of = profiles.into_iter().enumerate().map(class).collect();
        let mut told: Vec<(&Profile, usize)> = known
            .iter()
            .map(|((profile, _), class)| (profile, *class))
            .collect();
        told.sort_by_key(|(_, class)| *class);
        let covers = |one: usize, other: usize| {
            dominates(told[one].0, told[other].0)
                && joints
                    .iter()
                    .all(|joint| joint.covers(first_of[one], first_of[other]))
        };
        let row = |one| (0..told.len()).map(|other| covers(one, other)).collect();
        Classes {
            covers: (0..told.len()).map(row).collect(),
            of,
        }
    }
}

/// One joint, seen from one of its groups.
struct JointSide<'p> {
    /// The class of each choice.
    classes: &'p [usize],
    /// Whether one class stands with everything that another stands with.
    covers: Vec<Vec<bool>>,
}

impl JointSide<'_> {
    fn covers(&self, one: usize, other: usize) -> bool {
        self.covers[self.classes[one]][self.classes[other]]
    }
}

fn joints_of(problem: &Problem, group: usize) -> Vec<JointSide<'_>> {
    let sides = problem.joints.iter().filter_map(|joint| {
        let at = joint.groups.iter().position(|owner| *owner == group)?;
        Some(JointSide {
            classes: &joint.classes[at],
            covers: joint.covers(at),
        })
    });
    sides.collect()
}

/// What each choice of a group asks of the orders.
fn profiles_in_orders(problem: &Problem, group: usize) -> Vec<Profile> {
    profiles(problem, group, |other| problem.is_order(other))
}

/// Profiles in what has to do with no group but these, the group itself aside; what is of the
/// orders has to do with one of them.
fn profiles(problem: &Problem, group: usize, of: impl Fn(usize) -> bool) -> Vec<Profile> {
    let column = |columns: &[(usize, Vec<i64>)], position: usize| {
        columns
            .iter()
            .find(|(owner, _)| *owner == group)
            .map(|(_, values)| values[position])
    };
    let is_of = |columns: &[(usize, Vec<i64>)]| {
        let last = columns.iter().map(|(owner, _)| *owner).max();
        // The groups of the orders come last.
        last.is_some_and(&of)
    };
    (0..problem.groups[group].len())
        .map(|position| {
            let values = problem.bottlenecks.iter().filter(|one| is_of(&one.limits));
            let mut worths: Vec<i64> = values
                .filter_map(|value| column(&value.limits, position))
                .collect();
            let balances = problem.balances.iter().filter(|one| is_of(&one.shares));
            worths.extend(
                balances
                    .filter_map(|balance| column(&balance.shares, position))
                    .map(|share| -share),
            );
            let pairings = problem.pairings.iter();
            let pairings = pairings.filter(|one| of(one.left.max(one.right)));
            Profile {
                worths,
                partners: partners(pairings, group, position),
            }
        })
        .collect()
}

fn partners<'p>(
    pairings: impl Iterator<Item = &'p Pairing>,
    group: usize,
    position: usize,
) -> Vec<u64> {
    let mut bits = BitRow::default();
    for pairing in pairings {
        let [left, right] = &pairing.classes;
        if pairing.left == group {
            let row = &pairing.fits[left[position]];
            row.iter().for_each(|fits| bits.push(*fits));
        } else if pairing.right == group {
            let column = right[position];
            pairing.fits.iter().for_each(|row| bits.push(row[column]));
        }
    }
    bits.words
}

#[derive(Default)]
struct BitRow {
    words: Vec<u64>,
    length: usize,
}

impl BitRow {
    fn push(&mut self, bit: bool) {
        if self.length.is_multiple_of(64) {
            self.words.push(0);
        }
        if let Some(word) = self.words.last_mut() {
            *word |= u64::from(bit) << (self.length % 64);
        }
        self.length += 1;
    }
}
