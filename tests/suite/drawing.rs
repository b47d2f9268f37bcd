//! Draws answered from a problem that was laid out once, against answering each drawn one anew.

use crate::buying::case_with_terms;
use crate::market::{Case, case};
use crate::support::specs::Dice;
use rigtide::market::market;
use rigtide::optimise::{Answer, Build, Draws, Effort, Engine, Robustness, Standing, best, robust};
use std::collections::BTreeMap;

/// A case of few or many roles, with and without terms for orders; rates err by nothing to a
/// sixth, and one role in some is pinned or owned.
fn uncertain(seed: u64) -> Case {
    let mut dice = Dice(seed ^ 0xd1ce);
    let mut case = match dice.roll(3) {
        0 => case(seed),
        _ => case_with_terms(seed),
    };
    for part in case.catalogue.parts.values_mut() {
        for rate in part.rates.values_mut() {
            rate.error_micro = 55_000 * dice.roll(4);
        }
    }
    if dice.roll(3) == 0 {
        let at = dice.roll(case.brief.roles.len() as i64) as usize;
        let role = &mut case.brief.roles[at];
        let parts = case.catalogue.parts.values();
        let parts: Vec<_> = parts.filter(|part| part.kind == role.kind).collect();
        role.pin = Some(parts[dice.roll(parts.len() as i64) as usize].id.clone());
        role.is_owned = dice.roll(2) == 0;
    }
    case
}

fn best_of(case: &Case) -> Option<Build> {
    let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
    match best(
        &market,
        &case.catalogue,
        &Standing::new(),
        Effort::default(),
    )
    .unwrap()
    {
        Answer::Best(found) => Some(found.build),
        Answer::NothingFits(_) | Answer::CutOff => None,
    }
}

fn drawn(case: &Case, build: &Build, number: usize, effort: Effort) -> Robustness {
    let asked = (&case.brief, &case.catalogue);
    let shops = (&case.retailers, case.listed.as_slice());
    let draws = Draws { number, seed: 7 };
    robust(asked, shops, build, draws, effort, |_| {}).unwrap()
}

#[test]
fn draws_count_as_if_each_drawn_problem_was_answered_anew() {
    let anew = Effort {
        reduce: false,
        ..Effort::default()
    };
    let mut seen = BTreeMap::new();
    for seed in 0..700 {
        let case = uncertain(seed);
        let Some(build) = best_of(&case) else {
            continue;
        };
        let found = drawn(&case, &build, 10, Effort::default());
        assert_eq!(found, drawn(&case, &build, 10, anew), "seed {seed}");
        let mut count = |what, is_so| *seen.entry(what).or_insert(0) += usize::from(is_so);
        let brief = &case.brief;
        let workloads = &brief.objective.workloads;
        count(
            "floor",
            workloads.iter().any(|one| one.floor_milli.is_some()),
        );
        count("cap", workloads.iter().any(|one| one.cap_milli.is_some()));
        count("pin", brief.roles.iter().any(|role| role.pin.is_some()));
        count("order", !build.bills.is_empty());
        count("other winner", !found.near_ties.is_empty());
        count("no build", found.without_build > 0);
    }
    let often = seen.values().all(|times| *times >= 20);
    assert!(seen.len() == 6 && often, "{seen:?}");
}

#[test]
fn draws_count_as_the_exact_search_counts_them() {
    let exact = Effort {
        engine: Engine::ExactSearch,
        ..Effort::default()
    };
    let mut compared = 0;
    for seed in 700..760 {
        let case = uncertain(seed);
        let Some(build) = best_of(&case) else {
            continue;
        };
        let found = drawn(&case, &build, 6, Effort::default());
        assert_eq!(found, drawn(&case, &build, 6, exact), "seed {seed}");
        compared += 1;
    }
    assert!(compared >= 20, "{compared}");
}
