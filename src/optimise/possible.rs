//! Strikes out choices that no selection within the limits can hold.
//!
//! Each test bounds what the other groups can contribute at best. Striking one choice tightens the
//! bounds of the others, so it goes round until nothing changes. Everything is in integers: when a
//! group runs empty, that is a proof.

use super::problem::{Bottleneck, Problem};
use super::search::Settled;
use std::collections::BTreeSet;

/// Which choices of each group may still be chosen.
pub fn possible(problem: &Problem, settled: &Settled) -> Vec<Vec<bool>> {
    let mut keep: Vec<Vec<bool>> = problem
        .groups
        .iter()
        .map(|group| vec![true; group.len()])
        .collect();
    for (keep, leading) in keep.iter_mut().zip(&settled.leading) {
        keep.iter_mut()
            .enumerate()
            .for_each(|(position, keep)| *keep = position == *leading);
    }
    loop {
        let before = count(&keep);
        strike_beyond_budget(problem, settled, &mut keep);
        strike_beyond_changes(problem, settled, &mut keep);
        strike_unbalanced(problem, &mut keep);
        strike_unpaired(problem, &mut keep);
        strike_unjoined(problem, &mut keep);
        strike_below_score(problem, settled, &mut keep);
        if count(&keep) == before || keep.iter().any(|keep| !keep.contains(&true)) {
            return keep;
        }
    }
}

fn count(keep: &[Vec<bool>]) -> usize {
    keep.iter().flatten().filter(|keep| **keep).count()
}

/// The values that are still kept.
fn kept<'v>(values: &'v [i64], keep: &'v [bool]) -> impl Iterator<Item = i64> + 'v {
    values
        .iter()
        .zip(keep)
        .filter(|(_, keep)| **keep)
        .map(|(value, _)| *value)
}

/// A choice goes when even the least of all other groups leaves it beyond the limit.
fn strike_beyond(columns: &[(usize, Vec<i64>)], at_most: i64, keep: &mut [Vec<bool>]) {
    let least: Vec<i64> = columns
        .iter()
        .map(|(group, values)| kept(values, &keep[*group]).min().unwrap_or(0))
        .collect();
    let all_least: i64 = least.iter().sum();
    for ((group, values), least) in columns.iter().zip(&least) {
        for (value, keep) in values.iter().zip(&mut keep[*group]) {
            *keep = *keep && all_least - least + value <= at_most;
        }
    }
}

fn strike_beyond_budget(problem: &Problem, settled: &Settled, keep: &mut [Vec<bool>]) {
    let costs: Vec<(usize, Vec<i64>)> = problem
        .groups
        .iter()
        .map(|group| group.iter().map(|choice| choice.cost).collect())
        .enumerate()
        .collect();
    let most = settled
        .most_cost
        .map_or(problem.budget, |most| most.min(problem.budget));
    strike_beyond(&costs, most, keep);
}

fn strike_beyond_changes(problem: &Problem, settled: &Settled, keep: &mut [Vec<bool>]) {
    let Some(most) = settled.most_changes else {
        return;
    };
    let changes: Vec<(usize, Vec<i64>)> = problem
        .groups
        .iter()
        .map(|group| {
            group
                .iter()
                .map(|choice| i64::from(!choice.is_standing))
                .collect()
        })
        .enumerate()
        .collect();
    strike_beyond(&changes, most, keep);
}

fn strike_unbalanced(problem: &Problem, keep: &mut [Vec<bool>]) {
    for balance in &problem.balances {
        strike_beyond(&balance.shares, balance.at_most, keep);
    }
}

/// A choice goes when nothing that it pairs with is left.
fn strike_unpaired(problem: &Problem, keep: &mut [Vec<bool>]) {
    for pairing in &problem.pairings {
        let [left, right] = &pairing.classes;
        let kept = kept_classes(right, &keep[pairing.right]);
        let has_partner = |class: &usize| kept.iter().any(|other| pairing.fits[*class][*other]);
        let kept_left = kept_classes(left, &keep[pairing.left]);
        let paired = kept_left.into_iter().filter(has_partner).collect();
        strike_others(&mut keep[pairing.left], left, &paired);
        let has_partner = |class: &usize| paired.iter().any(|one| pairing.fits[*one][*class]);
        let paired = kept.iter().copied().filter(has_partner).collect();
        strike_others(&mut keep[pairing.right], right, &paired);
    }
}

fn kept_classes(classes: &[usize], keep: &[bool]) -> BTreeSet<usize> {
    let kept = classes.iter().zip(keep).filter(|(_, keep)| **keep);
    kept.map(|(class, _)| *class).collect()
}

/// Strikes the choices of all classes but these.
fn strike_others(keep: &mut [bool], classes: &[usize], paired: &BTreeSet<usize>) {
    let choices = keep.iter_mut().zip(classes);
    choices.for_each(|(keep, class)| *keep &= paired.contains(class));
}

/// How many combinations of a joint are looked at; with more open, others strike first.
const MOST_COMBINATIONS: usize = 4_096;

/// A choice goes when no kept combination of a joint holds its class.
fn strike_unjoined(problem: &Problem, keep: &mut [Vec<bool>]) {
    for joint in &problem.joints {
        let kept = |(group, classes): (&usize, &Vec<usize>)| -> Vec<usize> {
            let kept = kept_classes(classes, &keep[*group]);
            kept.into_iter().collect()
        };
        let sets: Vec<Vec<usize>> = joint.groups.iter().zip(&joint.classes).map(kept).collect();
        let Some(supported) = joint.supported(&sets, MOST_COMBINATIONS) else {
            continue;
        };
        let columns = joint.groups.iter().zip(&joint.classes).zip(&supported);
        for ((group, classes), supported) in columns {
            let choices = keep[*group].iter_mut().zip(classes);
            choices.for_each(|(keep, class)| *keep &= supported[*class]);
        }
    }
}

/// A choice goes when, even with the best of everything else, it keeps the score too low.
pub(super) fn strike_below_score(problem: &Problem, settled: &Settled, keep: &mut [Vec<bool>]) {
    let Some(least) = settled.least_score else {
        return;
    };
    let best = |bottleneck: &Bottleneck, keep: &[Vec<bool>]| {
        let tops = bottleneck.limits.iter();
        tops.filter_map(|(group, values)| kept(values, &keep[*group]).max())
            .min()
            .unwrap_or(0)
    };
    let bests: Vec<i64> = problem
        .bottlenecks
        .iter()
        .map(|at| best(at, keep))
        .collect();
    let weighted = problem.bottlenecks.iter().zip(&bests);
    let bound: i64 = weighted
        .map(|(bottleneck, best)| bottleneck.weight * best)
        .sum();
    for (group, keep) in keep.iter_mut().enumerate() {
        for (position, keep) in keep.iter_mut().enumerate() {
            let lost: i64 = problem
                .bottlenecks
                .iter()
                .zip(&bests)
                .filter_map(|(bottleneck, best)| {
                    let (_, values) = bottleneck.limits.iter().find(|(at, _)| *at == group)?;
                    Some(bottleneck.weight * (best - values[position]).max(0))
                })
                .sum();
            *keep &= bound - lost >= least.0;
        }
    }
}
