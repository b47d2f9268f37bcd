//! Orders, coupons, bundles, rebates and wishes: random small markets against trying every way to buy.

use crate::buying::{case_with_terms, enumerate, enumerate_with};
use crate::market::Case;
use rigtide::market::{Availability, Listed, RetailerId, Terms, market};
use rigtide::money::{Currency, Money};
use rigtide::optimise::{
    Answer, BestBuild, Climb, Effort, Engine, Equals, Question, Standing, Step, Sweeper, Wanted,
    best, encode, entry_prices, first_among_equals, ladder, relaxations, rule_limits, sweep,
};
use std::collections::BTreeMap;

fn answered(case: &Case, engine: Engine, reduce: bool) -> Option<Box<BestBuild>> {
    let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
    let effort = Effort {
        engine,
        reduce,
        ..Effort::default()
    };
    match best(&market, &case.catalogue, &Standing::new(), effort).unwrap() {
        Answer::Best(best) => Some(best),
        Answer::NothingFits(_) => None,
        Answer::CutOff => panic!("cut off without a limit"),
    }
}

#[test]
fn the_best_build_and_its_orders_are_those_that_trying_every_way_to_buy_finds() {
    let mut seen = BTreeMap::new();
    for seed in 0..1_200 {
        let case = case_with_terms(seed);
        let expected = enumerate(&case, case.brief.budget.minor());
        let found = answered(&case, Engine::Sweep, true);
        let pair = |found: &BestBuild| (found.build.score.0, found.build.total.minor());
        assert_eq!(found.as_deref().map(pair), expected, "seed {seed}");
        let mut count = |what| *seen.entry(what).or_insert(0) += 1;
        let Some(found) = found else {
            count("nothing");
            continue;
        };
        let purchases = found
            .build
            .picks
            .iter()
            .filter_map(|pick| pick.purchase.as_ref());
        for purchase in purchases.filter(|one| one.price.currency() != Currency::EUR) {
            // What was converted says by which rate of which day.
            let rate = purchase.rate.as_ref().unwrap();
            assert_eq!(rate.to_string(), "USD 1 = EUR 0.9137 on 2026-11-20");
            count("converted");
        }
        for bill in &found.build.bills {
            count(if bill.coupon.is_some() {
                "coupon"
            } else {
                "no coupon"
            });
            bill.bundles.iter().for_each(|_| count("bundle"));
            count(if bill.delivery.minor() > 0 {
                "paid"
            } else {
                "free"
            });
        }
    }
    let often = |what| seen.get(what).is_some_and(|times| *times >= 10);
    assert!(
        [
            "converted",
            "nothing",
            "coupon",
            "no coupon",
            "bundle",
            "paid",
            "free"
        ]
        .into_iter()
        .all(often),
        "{seen:?}"
    );
}

#[test]
fn reduction_and_engine_make_no_difference_to_what_is_ordered() {
    for seed in 1_200..1_240 {
        let case = case_with_terms(seed);
        let parts = |found: Option<Box<BestBuild>>| {
            found.map(|found| (found.build.picks, found.build.bills, found.build.total))
        };
        let reduced = parts(answered(&case, Engine::Sweep, true));
        assert_eq!(
            parts(answered(&case, Engine::Sweep, false)),
            reduced,
            "seed {seed}"
        );
        assert_eq!(
            parts(answered(&case, Engine::Solver, true)),
            reduced,
            "seed {seed}"
        );
    }
}

#[test]
fn settling_orders_in_turn_finds_what_sweeping_them_with_the_roles_finds() {
    let mut n_rungs = 0;
    for seed in 0..400 {
        let case = case_with_terms(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let limits = rule_limits(&market);
        let problem = encode(&market, &Standing::new(), limits.iter());
        let pair = |step: &Step| (step.score.0, step.cost);
        let plain = sweep(&problem, Wanted::LADDER).unwrap();
        let rungs = Sweeper.climb(&problem, Wanted::LADDER).unwrap();
        let of = |steps: &[Step]| steps.iter().map(pair).collect::<Vec<_>>();
        assert_eq!(of(&rungs), of(&plain), "seed {seed}");
        assert!(rungs.iter().all(|rung| problem.admits(&rung.selection)));
        let top = Sweeper.top(&problem).unwrap();
        assert_eq!(
            top.as_ref().map(pair),
            plain.last().map(pair),
            "seed {seed}"
        );
        for rung in &plain {
            assert!(rung.is_first, "seed {seed}");
            let asked = Step {
                is_first: false,
                ..rung.clone()
            };
            let shown = Equals::of(&problem).unwrap().first(&asked).unwrap();
            let swept = first_among_equals(&problem, &asked).unwrap();
            assert_eq!(
                (&shown, &swept),
                (&rung.selection, &rung.selection),
                "seed {seed}"
            );
        }
        n_rungs += rungs.len();
    }
    assert!(n_rungs > 300, "only {n_rungs} rungs");
}

#[test]
fn every_rung_is_the_best_for_its_budget_with_all_orders_counted() {
    let mut rungs = 0;
    for seed in 1_240..1_320 {
        let case = case_with_terms(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        if market.candidates.iter().any(Vec::is_empty) {
            continue;
        }
        let question = Question::new(&market, &case.catalogue, &Standing::new(), &Sweeper);
        let eur = |minor| Money::from_minor(minor, Currency::EUR);
        let ladder = ladder(&question, eur(0), eur(60_000)).unwrap();
        for rung in &ladder.rungs {
            let at = rung.build.total.minor();
            assert_eq!(
                enumerate(&case, at),
                Some((rung.build.score.0, at)),
                "seed {seed}"
            );
            let below = enumerate(&case, at - 1).map(|(score, _)| score);
            assert!(
                below.is_none_or(|below| below < rung.build.score.0),
                "seed {seed}"
            );
            rungs += 1;
        }
    }
    assert!(rungs >= 60, "{rungs}");
}

#[test]
fn at_its_entry_price_a_part_on_its_own_is_in_an_optimal_build_and_above_it_is_not() {
    let mut entered = 0;
    for seed in 1_320..1_360 {
        let case = case_with_terms(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        if market.candidates.iter().any(Vec::is_empty) || case.brief.most_retailers.is_some() {
            continue;
        }
        let question = Question::new(&market, &case.catalogue, &Standing::new(), &Sweeper);
        for group in 0..case.brief.roles.len() {
            for price in entry_prices(&question, group).unwrap() {
                let Some(entry) = price.entry else { continue };
                // A retailer of its own, where nothing but this price is asked.
                for (minor, is_in) in [(entry.minor(), true), (entry.minor() + 1, false)] {
                    let quantity = i64::from(case.brief.roles[group].quantity);
                    if minor % quantity != 0 {
                        continue;
                    }
                    let mut other = case_with_terms(seed);
                    let mut offer = other.listed[0].clone();
                    let mut shop = other.retailers[&offer.retailer].clone();
                    shop.id = RetailerId::new("alone");
                    shop.terms = Terms::default();
                    shop.currency = Currency::EUR;
                    shop.delivery_per_pick = Money::zero(Currency::EUR);
                    offer.retailer = shop.id.clone();
                    offer.part = price.part.clone();
                    offer.availability = Availability::InStock;
                    offer.price = Money::from_minor(minor / quantity, Currency::EUR);
                    let kept = |one: &Listed| one.part != price.part;
                    other.listed.retain(kept);
                    let without = enumerate(&other, other.brief.budget.minor());
                    other.retailers.insert(shop.id.clone(), shop);
                    other.listed.push(offer);
                    let with = enumerate_with(&other, &price.part);
                    let best = (without.map(|(s, c)| (-s, c)), with.map(|(s, c)| (-s, c)));
                    let enters = match best {
                        (Some(without), Some(with)) => with <= without,
                        (None, with) => with.is_some(),
                        (Some(_), None) => false,
                    };
                    assert_eq!(enters, is_in, "seed {seed}, {} at {minor}", price.part);
                    entered += usize::from(is_in);
                }
            }
        }
    }
    assert!(entered >= 40, "{entered}");
}

#[test]
fn where_nothing_fits_each_wish_gives_way_by_the_least_that_lets_a_build_be() {
    let mut gave_way = BTreeMap::new();
    for seed in 1_360..2_400 {
        let case = case_with_terms(seed);
        let budget = case.brief.budget.minor();
        if enumerate(&case, budget).is_some() {
            continue;
        }
        let shops = (&case.retailers, case.listed.as_slice());
        let asked = (&case.brief, &case.catalogue);
        let found = relaxations(asked, shops, Effort::default()).unwrap();
        let said = |wish: &str| found.iter().find(|one| one.wish.starts_with(wish));
        let expect = |wish: &str, instead: Option<(String, (i64, i64))>| {
            let said = said(wish);
            let said = said.map(|one| {
                let build = &one.build;
                (one.instead.clone(), (build.score.0, build.total.minor()))
            });
            assert_eq!(said, instead, "seed {seed}: {wish}");
        };
        for (number, weighted) in case.brief.objective.workloads.iter().enumerate() {
            let Some(floor) = weighted.floor_milli else {
                continue;
            };
            let mut lower: Vec<i64> = (40..50).map(|step| step * 1_000).collect();
            lower.retain(|milli| {
                let mut rates = case.catalogue.parts.values();
                let has_rate = rates.any(|part| {
                    let rate = part.rates.get(&weighted.workload);
                    rate.is_some_and(|rate| rate.milli == *milli)
                });
                *milli < floor && has_rate
            });
            let least = lower.into_iter().rev().find_map(|milli| {
                let mut other = case.clone();
                other.brief.objective.workloads[number].floor_milli = Some(milli);
                let text = format!("at least {}.000 {}", milli / 1_000, weighted.unit);
                Some((text, enumerate(&other, budget)?))
            });
            *gave_way.entry("floor").or_insert(0) += usize::from(least.is_some());
            expect(&format!("{} at least", weighted.name), least);
        }
        let mut other = case.clone();
        for listed in &mut other.listed {
            listed.availability = Availability::InStock;
        }
        let least = enumerate(&other, budget).map(|found| ("out of stock too".to_owned(), found));
        *gave_way.entry("stock").or_insert(0) += usize::from(least.is_some());
        expect("in stock", least);
        if let Some(most) = case.brief.most_retailers {
            let least = (most + 1..=2).find_map(|more| {
                let mut other = case.clone();
                other.brief.most_retailers = Some(more);
                Some((format!("{more} retailers"), enumerate(&other, budget)?))
            });
            *gave_way.entry("retailers").or_insert(0) += usize::from(least.is_some());
            expect("at most", least);
        }
    }
    let often = |what| gave_way.get(what).is_some_and(|times| *times >= 3);
    assert!(
        often("floor") && often("retailers") && often("stock"),
        "{gave_way:?}"
    );
}
