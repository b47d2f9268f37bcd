//! The engines against optima that HiGHS, CP-SAT and SCIP found and proved.
//!
//! `tests/reference/optima.json` holds, for every seeded market, the best score and the least cost
//! at it; `tests/reference/models.py` made it and makes it again. Both sides make the market
//! themselves: the file holds seeds and sizes only. `coupled.json` holds the same of smaller markets
//! whose retailers have terms for whole orders, where the script states the orders in rows of its own.

use crate::support::coupled::Coupled;
use crate::support::generated::{parts, problem};
use crate::support::model_json::model_json;
use rigtide::market::market;
use rigtide::optimise::{
    Climb, Effort, Problem, Programme, Solved, Standing, Wanted, encode, rule_limits,
    solve_lexicographically, undominated,
};
use rigtide::rates::Score;
use serde_json::Value;
use std::path::Path;

/// Where the instances go that the script solves.
const DIRECTORY: &str = "RIGTIDE_OPTIMA";
/// How many instances the integer program is held to as well; it takes longer.
const N_PROGRAMME: usize = 4;

/// Seeds in `coupled.json` that take over ten seconds in a debug build, for many orders are left to
/// settle there.
const LONG: [u64; 7] = [16, 47, 52, 53, 55, 56, 58];

/// Seeds in `coupled.json` whose orders take many nodes to settle.
const CUT_SHORT: [u64; 2] = [42, 47];

/// One market and what the solvers say of it; `None` where nothing fits.
struct Instance {
    seed: u64,
    n_parts: usize,
    budget: i64,
    optimum: Option<(i64, i64)>,
}

impl Instance {
    fn problem(&self) -> Problem {
        problem(&parts(self.seed, self.n_parts), self.budget)
    }
}

fn instances() -> Vec<Instance> {
    read(include_str!("../reference/optima.json"))
}

fn read(text: &str) -> Vec<Instance> {
    let table: Value = serde_json::from_str(text).unwrap();
    let number = |row: &Value, at: usize| row[at].as_i64();
    let rows = table["instances"].as_array().unwrap().iter();
    rows.map(|row| Instance {
        seed: row[0].as_u64().unwrap(),
        n_parts: row[1].as_u64().unwrap() as usize,
        budget: number(row, 2).unwrap(),
        optimum: number(row, 3).zip(number(row, 4)),
    })
    .collect()
}

/// Holds a problem's best score, and the least cost at it, to what the solvers found.
fn check(problem: &Problem, instance: &Instance) {
    let found = match solve_lexicographically(problem, Effort::default()).unwrap() {
        Solved::Optimal(selection) => {
            assert!(problem.admits(&selection));
            Some((problem.score(&selection).0, problem.cost(&selection)))
        }
        Solved::Nothing => None,
        cut_short => panic!("seed {}: {cut_short:?}", instance.seed),
    };
    assert_eq!(found, instance.optimum, "seed {}", instance.seed);
}

#[test]
fn the_sweep_reaches_every_optimum_to_the_last_minor_unit() {
    let instances = instances();
    assert!(instances.len() >= 200);
    for instance in &instances {
        check(&instance.problem(), instance);
    }
}

#[test]
fn orders_with_terms_come_to_every_optimum_to_the_last_minor_unit() {
    let instances = read(include_str!("../reference/coupled.json"));
    assert!(instances.iter().any(|one| one.optimum.is_none()));
    let quick = instances.iter().filter(|one| !LONG.contains(&one.seed));
    assert!(quick.clone().count() >= 50);
    quick.for_each(check_coupled);
}

#[test]
#[ignore = "takes many minutes; run by hand in release"]
fn orders_that_take_long_come_to_their_optimum_too() {
    let instances = read(include_str!("../reference/coupled.json"));
    let long = instances.iter().filter(|one| LONG.contains(&one.seed));
    assert_eq!(long.clone().count(), LONG.len());
    long.for_each(check_coupled);
}

#[test]
fn a_search_that_is_cut_short_leaves_a_bound_that_holds() {
    let instances = read(include_str!("../reference/coupled.json"));
    let mut n_cut = 0;
    for instance in instances.iter().filter(|one| CUT_SHORT.contains(&one.seed)) {
        let (best, _) = instance.optimum.unwrap();
        let problem = coupled_problem(instance);
        for seconds_per_solve in [0.01, 0.05, 0.25] {
            let effort = Effort {
                seconds_per_solve,
                ..Effort::default()
            };
            let cut = solve_lexicographically(&problem, effort).unwrap();
            match &cut {
                Solved::Bounded { selection, bound } => {
                    n_cut += 1;
                    assert!(problem.admits(selection), "seed {}", instance.seed);
                    let found = problem.score(selection).0;
                    assert!(found <= best && best <= bound.0, "seed {}", instance.seed);
                }
                Solved::Optimal(selection) => assert_eq!(problem.score(selection).0, best),
                Solved::CutOff => {}
                Solved::Nothing => panic!("seed {}: there is a build", instance.seed),
            }
        }
    }
    assert!(n_cut > 0, "nothing was cut short after something was found");
}

fn check_coupled(instance: &Instance) {
    check(&coupled_problem(instance), instance);
}

fn coupled_problem(instance: &Instance) -> Problem {
    let coupled = Coupled::generate(instance.seed, instance.n_parts, instance.budget);
    let world = &coupled.world;
    let market = market(
        &coupled.brief,
        &world.catalogue,
        &world.retailers,
        &world.listed,
    );
    encode(&market, &Standing::new(), rule_limits(&market).iter())
}

#[test]
fn the_integer_program_finds_each_optimum_as_the_cheapest_of_its_score() {
    for instance in instances().iter().take(N_PROGRAMME) {
        let Some((score, cost)) = instance.optimum else {
            continue;
        };
        let problem = instance.problem();
        let reduced = problem.restricted(&undominated(&problem));
        let programme = Programme(Effort::default());
        let wanted = Wanted::cheapest_with(Score(score));
        let steps = programme.climb(&reduced, wanted).unwrap();
        let found: Vec<_> = steps.iter().map(|step| (step.score.0, step.cost)).collect();
        assert_eq!(found, [(score, cost)], "seed {}", instance.seed);
    }
}

#[test]
fn who_else_is_reckoning_plays_no_part() {
    let instance = &instances()[0];
    let answer = || solve_lexicographically(&instance.problem(), Effort::default());
    let alone = answer();
    std::thread::scope(|scope| {
        let others: Vec<_> = (0..4).map(|_| scope.spawn(answer)).collect();
        for other in others {
            assert_eq!(other.join().unwrap(), alone);
        }
    });
}

/// Not a check: writes what `tests/reference/models.py` asks for, `seed parts budget` a line in
/// `wanted.txt`, as `SEED.json` beside it.
#[test]
#[ignore = "a tool for tests/reference/models.py"]
fn write_instances() {
    write_wanted(|seed, n_parts, budget| model_json(&problem(&parts(seed, n_parts), budget)));
}

/// Not a check: the same for markets whose retailers have terms.
#[test]
#[ignore = "a tool for tests/reference/models.py"]
fn write_coupled_instances() {
    write_wanted(|seed, n_parts, budget| Coupled::generate(seed, n_parts, budget).json());
}

fn write_wanted(model: impl Fn(u64, usize, i64) -> Value) {
    let directory = std::env::var(DIRECTORY).unwrap();
    let directory = Path::new(&directory);
    let wanted = std::fs::read_to_string(directory.join("wanted.txt")).unwrap();
    for line in wanted.lines() {
        let words: Vec<i64> = line.split(' ').map(|word| word.parse().unwrap()).collect();
        let [seed, n_parts, budget] = words[..] else {
            panic!("not seed, parts and budget: {line}");
        };
        let model = model(seed as u64, n_parts as usize, budget);
        std::fs::write(directory.join(format!("{seed}.json")), model.to_string()).unwrap();
    }
}
