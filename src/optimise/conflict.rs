//! The smallest set of demands that cannot be met together.
//!
//! Demands are numbered, and all that is known of a set of them is whether it can be met. A set that
//! cannot shares a demand with every set whose giving up lets the rest be met; so the smallest set
//! that shares one with each of those found so far is no larger than the answer, and if it cannot be
//! met it is the answer (Ignatiev, Previti, Liffiton, Marques-Silva: Smallest MUS Extraction with
//! Minimal Hitting Set Dualization, 2015; from memory). If it can be met, growing it until nothing
//! more can be added gives another set to share with.
//!
//! Knows nothing of rules and parts.

use std::collections::BTreeSet;

/// Demands that cannot be met together, and of which none can be spared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    pub demands: Vec<usize>,
    /// No smaller set cannot be met. Otherwise the questions ran out before that was known.
    pub is_smallest: bool,
}

/// Finds the smallest conflict among `n_demands` that cannot all be met, by asking whether sets can
/// be met at most about `questions` times. `can_be_met` gets rising numbers; more demands are never
/// easier to meet.
///
/// # Errors
/// Those of `can_be_met`.
pub fn smallest_conflict<E>(
    n_demands: usize,
    questions: usize,
    mut can_be_met: impl FnMut(&[usize]) -> Result<bool, E>,
) -> Result<Conflict, E> {
    let mut n_asked = 0;
    // Each holds demands of which any conflict has one at least.
    let mut shared: Vec<BTreeSet<usize>> = Vec::new();
    loop {
        let hitting = smallest_hitting(&shared);
        n_asked += 1;
        let mut met: Vec<usize> = hitting.into_iter().collect();
        if !can_be_met(&met)? {
            return Ok(Conflict {
                demands: met,
                is_smallest: true,
            });
        }
        if n_asked + n_demands > questions {
            break;
        }
        let mut given_up = BTreeSet::new();
        for demand in 0..n_demands {
            let Err(place) = met.binary_search(&demand) else {
                continue;
            };
            met.insert(place, demand);
            n_asked += 1;
            if !can_be_met(&met)? {
                met.remove(place);
                given_up.insert(demand);
            }
        }
        if given_up.is_empty() {
            // All can be met together: there is no conflict to be found.
            break;
        }
        shared.push(given_up);
    }
    irreducible(n_demands, can_be_met)
}

/// One demand after the other is left out for good if the rest still cannot be met.
fn irreducible<E>(
    n_demands: usize,
    mut can_be_met: impl FnMut(&[usize]) -> Result<bool, E>,
) -> Result<Conflict, E> {
    let mut demands: Vec<usize> = (0..n_demands).collect();
    for demand in 0..n_demands {
        let others = demands.iter().copied().filter(|other| *other != demand);
        let others: Vec<usize> = others.collect();
        if !can_be_met(&others)? {
            demands = others;
        }
    }
    Ok(Conflict {
        demands,
        is_smallest: false,
    })
}

/// The smallest set that has a member of every one of these; of equals the first in order.
fn smallest_hitting(sets: &[BTreeSet<usize>]) -> BTreeSet<usize> {
    let mut chosen = BTreeSet::new();
    for most in 0..=sets.len() {
        if hit(sets, most, &mut chosen) {
            break;
        }
    }
    chosen
}

/// Adds at most `most` members so that every set is hit; leaves `chosen` as it was if none will do.
fn hit(sets: &[BTreeSet<usize>], most: usize, chosen: &mut BTreeSet<usize>) -> bool {
    let Some(missed) = sets.iter().find(|set| set.is_disjoint(chosen)) else {
        return true;
    };
    if most == 0 {
        return false;
    }
    for member in missed {
        chosen.insert(*member);
        if hit(sets, most - 1, chosen) {
            return true;
        }
        chosen.remove(member);
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::convert::Infallible;

    /// Sets of demands that cannot be met, as bits; whatever has one of them cannot be met either.
    fn is_met(conflicts: &[u16], demands: &[usize]) -> bool {
        let bits = demands.iter().fold(0_u16, |bits, one| bits | 1 << one);
        conflicts.iter().all(|conflict| conflict & !bits != 0)
    }

    fn smallest(conflicts: &[u16], n_demands: usize, questions: usize) -> Conflict {
        let ask = |demands: &[usize]| Ok::<bool, Infallible>(is_met(conflicts, demands));
        smallest_conflict(n_demands, questions, ask).unwrap()
    }

    proptest! {
        #[test]
        fn the_conflict_is_the_smallest_that_trying_every_set_finds(
            conflicts in prop::collection::vec(1_u16..1 << 9, 1..8),
        ) {
            let found = smallest(&conflicts, 9, 10_000);
            prop_assert!(found.is_smallest);
            prop_assert!(!is_met(&conflicts, &found.demands));
            let sets = 0_u16..1 << 9;
            let unmet = sets.filter(|set| conflicts.iter().any(|one| one & !set == 0));
            let least = unmet.map(u16::count_ones).min();
            prop_assert_eq!(Some(found.demands.len() as u32), least);
        }

        #[test]
        fn cut_short_it_is_a_conflict_of_which_none_can_be_spared(
            conflicts in prop::collection::vec(1_u16..1 << 9, 1..8),
        ) {
            let found = smallest(&conflicts, 9, 0);
            prop_assert!(!is_met(&conflicts, &found.demands));
            for spared in &found.demands {
                let others: Vec<usize> =
                    found.demands.iter().copied().filter(|one| one != spared).collect();
                prop_assert!(is_met(&conflicts, &others));
            }
        }
    }

    #[test]
    fn a_small_conflict_is_found_beside_a_large_one_that_leaving_out_ends_in() {
        // Leaving demands out in turn ends in {2, 3, 4}, which no other removal would have spared.
        let conflicts = [0b00011, 0b11100];
        assert_eq!(smallest(&conflicts, 5, 0).demands, [2, 3, 4]);
        let found = smallest(&conflicts, 5, 1_000);
        assert_eq!((found.demands, found.is_smallest), (vec![0, 1], true));
    }
}
