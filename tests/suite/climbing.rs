//! Ladder, entry prices, why and alternatives against their definitions, on the random catalogues of
//! [`super::market`].

use super::market::case;
use rigtide::catalogue::Catalogue;
use rigtide::market::{Market, market};
use rigtide::money::{Currency, Money};
use rigtide::optimise::{
    Answer, Effort, Question, Reason, Standing, Sweeper, alternatives, best, entry_prices, ladder,
    why,
};

/// Score and cost of the best build, if any.
fn score_and_cost(market: &Market<'_>, catalogue: &Catalogue) -> Option<(i64, i64)> {
    match best(market, catalogue, &Standing::new(), Effort::default()).unwrap() {
        Answer::Best(best) => Some((best.build.score.0, best.build.total.minor())),
        Answer::NothingFits(_) => None,
        Answer::CutOff => panic!("cut off without a limit"),
    }
}

/// The same market where only one candidate is left for a role, or all but it.
fn only<'m>(market: &Market<'m>, group: usize, position: usize, keep: bool) -> Market<'m> {
    let mut changed = market.clone();
    let mut number = 0;
    changed.candidates[group].retain(|_| {
        number += 1;
        (number - 1 == position) == keep
    });
    changed
}

#[test]
fn at_its_entry_price_a_part_is_in_an_optimal_build_and_a_cent_above_it_is_not() {
    let (mut priced, mut priceless) = (0, 0);
    for seed in 0..60 {
        let case = case(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let question = Question::new(&market, &case.catalogue, &Standing::new(), &Sweeper);
        for group in 0..market.candidates.len() {
            for (position, price) in entry_prices(&question, group).unwrap().iter().enumerate() {
                let at = |minor: i64| {
                    let mut changed = market.clone();
                    changed.candidates[group][position].landed =
                        Money::from_minor(minor, Currency::EUR);
                    let with = only(&changed, group, position, true);
                    let without = only(&changed, group, position, false);
                    let with = score_and_cost(&with, &case.catalogue);
                    let without = score_and_cost(&without, &case.catalogue);
                    let key = |(score, cost): (i64, i64)| (score, -cost);
                    with.map(key) >= without.map(key) && with.is_some()
                };
                match price.entry {
                    Some(entry) => {
                        assert!(at(entry.minor()), "seed {seed}: {price:?}");
                        assert!(!at(entry.minor() + 1), "seed {seed}: {price:?}");
                        priced += 1;
                    }
                    None => {
                        assert!(!at(0), "seed {seed}: {price:?}");
                        priceless += 1;
                    }
                }
            }
        }
    }
    assert!(priced > 100 && priceless > 100, "{priced} {priceless}");
}

#[test]
fn every_rung_is_the_best_build_for_its_money_and_a_cent_less_buys_less() {
    let mut rungs = 0;
    for seed in 0..260 {
        let case = case(seed);
        let whole = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let question = Question::new(&whole, &case.catalogue, &Standing::new(), &Sweeper);
        let zero = Money::zero(Currency::EUR);
        let climbed = ladder(&question, zero, Money::from_minor(i64::MAX, Currency::EUR)).unwrap();
        assert!(climbed.is_whole);
        for rung in &climbed.rungs {
            let (score, cost) = (rung.build.score.0, rung.build.total.minor());
            let with = |budget: i64| {
                let mut brief = case.brief.clone();
                brief.budget = Money::from_minor(budget, Currency::EUR);
                let market = market(&brief, &case.catalogue, &case.retailers, &case.listed);
                score_and_cost(&market, &case.catalogue)
            };
            assert_eq!(with(cost), Some((score, cost)), "seed {seed}");
            assert!(
                with(cost - 1).is_none_or(|(less, _)| less < score),
                "seed {seed}"
            );
            rungs += 1;
        }
    }
    assert!(rungs > 60, "{rungs}");
}

#[test]
fn why_compares_with_the_best_build_that_has_the_part_and_the_one_that_lacks_it() {
    let (mut picked, mut beaten, mut kept_out) = (0, 0, 0);
    for seed in 0..60 {
        let case = case(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let question = Question::new(&market, &case.catalogue, &Standing::new(), &Sweeper);
        for group in 0..market.candidates.len() {
            for position in 0..market.candidates[group].len() {
                let with = score_and_cost(&only(&market, group, position, true), &case.catalogue);
                let without =
                    score_and_cost(&only(&market, group, position, false), &case.catalogue);
                let key = |build: &rigtide::optimise::Build| (build.score.0, build.total.minor());
                match why(&question, group, position).unwrap().reason {
                    Reason::Picked { without: other } => {
                        picked += 1;
                        assert_eq!(other.as_deref().map(key), without, "seed {seed}");
                    }
                    Reason::Beaten { with: other, .. } => {
                        beaten += 1;
                        assert_eq!(Some(key(&other)), with, "seed {seed}");
                    }
                    Reason::KeptOut(reasons) => {
                        kept_out += 1;
                        assert!(with.is_none() && !reasons.is_empty(), "seed {seed}");
                    }
                }
            }
        }
    }
    assert!(
        picked > 50 && beaten > 30 && kept_out > 50,
        "{picked} {beaten} {kept_out}"
    );
}

#[test]
fn the_first_alternative_is_the_best_of_all_that_differ_where_it_matters() {
    let mut compared = 0;
    for seed in 0..300 {
        let case = case(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let question = Question::new(&market, &case.catalogue, &Standing::new(), &Sweeper);
        let Answer::Best(top) = best(
            &market,
            &case.catalogue,
            &Standing::new(),
            Effort::default(),
        )
        .unwrap() else {
            continue;
        };
        let found = alternatives(&question, 3).unwrap();
        // Whatever differs, differs in some role that limits a workload: without that role's pick.
        let limits = |group: usize| {
            let kind = case.brief.roles[group].kind;
            let workloads = case.brief.objective.workloads.iter();
            workloads.into_iter().any(|one| one.is_limited_by(kind))
        };
        let next = (0..case.brief.roles.len())
            .filter(|group| limits(*group))
            .filter_map(|group| {
                let own = &top.build.picks[group].part;
                let position = market.candidates[group]
                    .iter()
                    .position(|one| one.part.id == *own)?;
                score_and_cost(&only(&market, group, position, false), &case.catalogue)
            });
        let expected = next.max_by_key(|(score, cost)| (*score, -cost));
        let key =
            |one: &rigtide::optimise::Alternative| (one.build.score.0, one.build.total.minor());
        assert_eq!(found.first().map(key), expected, "seed {seed}");
        assert!(found.iter().all(|one| !one.differs.is_empty()));
        for pair in found.windows(2) {
            let (one, other) = (key(&pair[0]), key(&pair[1]));
            assert!((one.0, -one.1) >= (other.0, -other.1), "seed {seed}");
        }
        compared += usize::from(expected.is_some());
    }
    assert!(compared > 20, "{compared}");
}
