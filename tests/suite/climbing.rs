//! Ladder, entry prices, why and alternatives against their definitions, on the random catalogues of
//! [`super::market`].

use super::market::case;
use rigtide::catalogue::{Catalogue, Kind, Spec};
use rigtide::market::{Market, Need, market};
use rigtide::money::{Currency, Money};
use rigtide::optimise::{
    Answer, Binding, BindingLimit, Effort, Obstacle, Question, Reason, Solved, Standing, Sweeper,
    alternatives, best, bindings, encode, entry_prices, ladder, rule_limits,
    solve_lexicographically, unoffered_entry_prices, why,
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
fn a_part_that_nobody_offers_has_the_entry_price_that_it_has_when_somebody_does() {
    let (mut priced, mut priceless) = (0, 0);
    for seed in 0..40 {
        let case = case(seed);
        let whole = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let question = Question::new(&whole, &case.catalogue, &Standing::new(), &Sweeper);
        for group in 0..whole.candidates.len() {
            for offered in entry_prices(&question, group).unwrap() {
                let mut others = case.listed.clone();
                others.retain(|listed| listed.part != offered.part);
                let without = market(&case.brief, &case.catalogue, &case.retailers, &others);
                let without =
                    without.with_unoffered(group, &case.catalogue, |one| one.id == offered.part);
                let asked = Question::new(&without, &case.catalogue, &Standing::new(), &Sweeper);
                let alone = unoffered_entry_prices(&asked, group).unwrap();
                assert_eq!(alone.len(), 1, "seed {seed}");
                assert_eq!(alone[0].landed, None);
                assert_eq!(alone[0].entry, offered.entry, "seed {seed}: {offered:?}");
                let position = without.candidates[group]
                    .iter()
                    .position(|one| one.part.id == offered.part);
                let told = why(&asked, group, position.unwrap()).unwrap();
                assert_eq!(told.entry, offered.entry);
                assert!(matches!(told.reason, Reason::NotOffered(_)), "{told:?}");
                match offered.entry {
                    Some(_) => priced += 1,
                    None => priceless += 1,
                }
            }
        }
    }
    assert!(priced > 50 && priceless > 50, "{priced} {priceless}");
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
                    Reason::NotOffered(_) => panic!("seed {seed}: every candidate is offered"),
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

/// Score and least cost of a market's best build without one of its rules, if it is named.
fn value_without(market: &Market<'_>, lifted: Option<&str>) -> Option<(i64, i64)> {
    if market.candidates.iter().any(Vec::is_empty) {
        return None;
    }
    let mut limits = rule_limits(market);
    limits.retain(|one| Some(one.rule.id()) != lifted);
    let problem = encode(market, &Standing::new(), limits.iter());
    match solve_lexicographically(&problem, Effort::default()).unwrap() {
        Solved::Optimal(selection) => {
            Some((problem.score(&selection).0, -problem.cost(&selection)))
        }
        Solved::Nothing => None,
        cut_short => panic!("{cut_short:?}"),
    }
}

/// What a binding limit must say, by asking for every part of the role on its own: how many others
/// make a build that is better than the best, and the value of the best of them, if that is better
/// than what the pick comes to.
fn expected(
    market: &Market<'_>,
    (group, pick): (usize, &str),
    (lifted, best): (Option<&str>, (i64, i64)),
) -> Option<(usize, (i64, i64))> {
    let with = |part: &str| {
        let mut changed = market.clone();
        changed.candidates[group].retain(|one| one.part.id.as_str() == part);
        value_without(&changed, lifted)
    };
    let mut parts: Vec<&str> = market.candidates[group]
        .iter()
        .map(|one| one.part.id.as_str())
        .collect();
    parts.dedup();
    let others = parts.iter().filter(|part| **part != pick);
    let better: Vec<(i64, i64)> = others
        .filter_map(|part| with(part))
        .filter(|value| *value > best)
        .collect();
    let first = *better.iter().max()?;
    (with(pick) < Some(first)).then_some((better.len().min(Binding::COUNTED_MAX), first))
}

#[test]
fn a_limit_binds_a_pick_if_and_only_if_lifting_it_alone_puts_a_better_part_there() {
    let (mut rules, mut others) = (0, 0);
    for seed in 0..60 {
        let mut case = case(seed);
        for role in &mut case.brief.roles {
            match role.kind {
                Kind::Gpu => role.needs.push(Need::AtMost(Spec::LengthMm, 250)),
                Kind::Cpu => role.needs.push(Need::AtMost(Spec::HeatW, 110)),
                _ => {}
            }
        }
        case.brief.objective.workloads[0].floor_milli = (seed % 2 == 0).then_some(50_000);
        let whole = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let question = Question::new(&whole, &case.catalogue, &Standing::new(), &Sweeper);
        let Answer::Best(found) =
            best(&whole, &case.catalogue, &Standing::new(), Effort::default()).unwrap()
        else {
            continue;
        };
        let value = (found.build.score.0, -found.build.total.minor());
        for (group, pick) in found.build.picks.iter().enumerate() {
            let held = bindings(&question, &case.listed, group).unwrap().unwrap();
            let left = case.brief.budget.minor() - found.build.total.minor();
            assert_eq!(held.left.minor(), left);
            let pick = (group, pick.part.as_str());
            let of = |limit: &BindingLimit| held.limits.iter().find(|one| one.limit == *limit);
            let check = |said: Option<&Binding>, expected: Option<(usize, (i64, i64))>| {
                let said = said.map(|one| (one.better_parts, -one.total.minor()));
                let expected = expected.map(|(better, (_, cost))| (better, cost));
                assert_eq!(said, expected, "seed {seed}, {pick:?}");
            };
            let mut n_limits = 0;
            for limits in rule_limits(&whole).iter().filter(|one| !one.is_empty()) {
                let (id, states) = (limits.rule.id(), limits.rule.states());
                let said = of(&BindingLimit::Rule {
                    id: id.to_owned(),
                    states: states.to_owned(),
                });
                check(said, expected(&whole, pick, (Some(id), value)));
                n_limits += usize::from(said.is_some());
                rules += usize::from(said.is_some());
            }
            let mut lifted = Vec::new();
            for (at, need) in case.brief.roles[group].needs.iter().enumerate() {
                let mut brief = case.brief.clone();
                brief.roles[group].needs.remove(at);
                lifted.push((BindingLimit::Need(need.clone()), brief));
            }
            for (at, one) in case.brief.objective.workloads.iter().enumerate() {
                let mut brief = case.brief.clone();
                brief.objective.workloads[at].floor_milli = None;
                if one.floor_milli.is_some() && one.is_limited_by(case.brief.roles[group].kind) {
                    lifted.push((BindingLimit::Floor(one.workload.clone()), brief));
                }
            }
            for (limit, brief) in lifted {
                let without = market(&brief, &case.catalogue, &case.retailers, &case.listed);
                let said = of(&limit);
                check(said, expected(&without, pick, (None, value)));
                n_limits += usize::from(said.is_some());
                others += usize::from(said.is_some());
            }
            assert_eq!(held.limits.len(), n_limits);
            // With what the next step needs, a better build is had; with a cent less it is not.
            if let Some(next) = &held.next {
                let with = |more: i64| {
                    let mut brief = case.brief.clone();
                    brief.budget = Money::from_minor(brief.budget.minor() + more, Currency::EUR);
                    let market = market(&brief, &case.catalogue, &case.retailers, &case.listed);
                    score_and_cost(&market, &case.catalogue).map(|(score, _)| score)
                };
                assert!(with(next.more.minor()) > Some(value.0), "seed {seed}");
                assert_eq!(with(next.more.minor() - 1), Some(value.0), "seed {seed}");
            }
        }
    }
    assert!(rules > 5 && others > 0, "{rules} {others}");
}

#[test]
fn where_no_single_rule_is_to_blame_the_fewest_that_leave_no_set_are_named() {
    let mut sizes = std::collections::BTreeMap::new();
    for seed in 0..2_500 {
        let mut case = case(seed);
        case.brief.terms.strict = seed % 2 == 0;
        let whole = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let answer = best(&whole, &case.catalogue, &Standing::new(), Effort::default()).unwrap();
        let Answer::NothingFits(obstacles) = answer else {
            continue;
        };
        let [
            Obstacle::RulesTogether {
                states,
                is_smallest,
            },
        ] = obstacles.as_slice()
        else {
            continue;
        };
        assert!(is_smallest, "seed {seed}");
        let mut unlimited = case.brief.clone();
        unlimited.budget = Money::from_minor(1 << 40, Currency::EUR);
        let whole = market(&unlimited, &case.catalogue, &case.retailers, &case.listed);
        let limits = rule_limits(&whole);
        let asking: Vec<_> = limits.iter().filter(|one| !one.is_empty()).collect();
        let leaves_none = |set: u32| {
            let kept = (0..asking.len()).filter(|one| set >> one & 1 == 1);
            let problem = encode(&whole, &Standing::new(), kept.map(|one| asking[one]));
            let solved = solve_lexicographically(&problem, Effort::default()).unwrap();
            solved == Solved::Nothing
        };
        let named = asking.iter().enumerate();
        let named = named.filter(|(_, one)| states.contains(&one.rule.states().to_owned()));
        let named = named.fold(0_u32, |set, (at, _)| set | 1 << at);
        assert_eq!(named.count_ones() as usize, states.len());
        assert!(leaves_none(named), "seed {seed}");
        let n_named = named.count_ones();
        let mut fewer = (0..1_u32 << asking.len()).filter(|set| set.count_ones() < n_named);
        assert!(!fewer.any(leaves_none), "seed {seed}: {states:?}");
        *sizes.entry(states.len()).or_insert(0) += 1;
    }
    assert!(sizes.keys().any(|size| *size > 1), "{sizes:?}");
}
