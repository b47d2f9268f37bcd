//! The optimiser's answers against enumeration and against published optima.

use crate::support::facts;
use proptest::prelude::*;
use rigtide::optimise::{
    Balance, Bottleneck, Choice, Effort, Engine, Joint, Pairing, Problem, Selection, Solved, Step,
    Wanted, first_among_equals, solve_lexicographically, sweep,
};

/// The answer by trying every selection. Shares no code with the solver.
fn enumerate(problem: &Problem) -> Option<Selection> {
    let mut best: Option<(i64, i64, i64, Selection)> = None;
    let mut selection = vec![0; problem.groups.len()];
    loop {
        if problem.groups.iter().all(|group| !group.is_empty()) && admissible(problem, &selection) {
            let key = (
                -problem.score(&selection).0,
                problem.cost(&selection),
                problem.changes(&selection),
                selection.clone(),
            );
            if best.as_ref().is_none_or(|best| key < *best) {
                best = Some(key);
            }
        }
        // Counts up in mixed radix.
        let mut group = 0;
        loop {
            if group == problem.groups.len() {
                return best.map(|(_, _, _, selection)| selection);
            }
            selection[group] += 1;
            if selection[group] < problem.groups[group].len() {
                break;
            }
            selection[group] = 0;
            group += 1;
        }
    }
}

/// Cost and score of every selection that is admissible, cheapest first.
fn every_cost_and_score(problem: &Problem) -> Vec<(i64, i64)> {
    let mut found = Vec::new();
    let mut selection = vec![0; problem.groups.len()];
    loop {
        if admissible(problem, &selection) {
            found.push((problem.cost(&selection), problem.score(&selection).0));
        }
        let Some(group) =
            (0..selection.len()).find(|group| selection[*group] + 1 < problem.groups[*group].len())
        else {
            break;
        };
        selection[..group].iter_mut().for_each(|one| *one = 0);
        selection[group] += 1;
    }
    found.sort_unstable();
    found
}

fn admissible(problem: &Problem, selection: &[usize]) -> bool {
    let mut cost = 0;
    for (group, chosen) in selection.iter().enumerate() {
        cost += problem.groups[group][*chosen].cost;
    }
    for balance in &problem.balances {
        let mut used = 0;
        for (group, shares) in &balance.shares {
            used += shares[selection[*group]];
        }
        if used > balance.at_most {
            return false;
        }
    }
    for pairing in &problem.pairings {
        let [left, right] = &pairing.classes;
        let (row, column) = (
            left[selection[pairing.left]],
            right[selection[pairing.right]],
        );
        if !pairing.fits[row][column] {
            return false;
        }
    }
    for joint in &problem.joints {
        let mut row = 0;
        for ((group, classes), size) in joint.groups.iter().zip(&joint.classes).zip(&joint.sizes) {
            row = row * size + classes[selection[*group]];
        }
        if !joint.fits[row] {
            return false;
        }
    }
    cost <= problem.budget
}

/// Tables over every group, whose choices fall into at most three classes.
fn joints(sizes: &[usize]) -> BoxedStrategy<Vec<Joint>> {
    let groups: Vec<usize> = (0..sizes.len()).collect();
    let classes: Vec<_> = sizes
        .iter()
        .map(|size| proptest::collection::vec(0_usize..3, *size))
        .collect();
    let cells = 3_usize.pow(u32::try_from(sizes.len()).unwrap());
    let joint =
        (classes, proptest::collection::vec(0_u8..6, cells)).prop_map(move |(classes, cells)| {
            Joint {
                name: "table".to_owned(),
                groups: groups.clone(),
                classes,
                sizes: vec![3; groups.len()],
                fits: cells.iter().map(|cell| *cell != 0).collect(),
            }
        });
    proptest::collection::vec(joint, 0..3).boxed()
}

fn values(
    sizes: &[usize],
    value: impl Strategy<Value = i64> + Clone + 'static,
) -> BoxedStrategy<Vec<Vec<i64>>> {
    sizes
        .iter()
        .map(|size| proptest::collection::vec(value.clone(), *size))
        .collect::<Vec<_>>()
        .boxed()
}

/// Small markets with coarse figures, so that ties, tight budgets and dead ends are common.
fn problems() -> impl Strategy<Value = Problem> {
    proptest::collection::vec(1_usize..5, 2..6).prop_flat_map(|sizes| {
        let groups = sizes.len();
        let choices = (
            values(&sizes, prop_oneof![1_i64..6, 1_000_i64..1_010]),
            values(&sizes, 0_i64..4),
        );
        let bottlenecks = proptest::collection::vec(
            (
                1_i64..101,
                values(&sizes, prop_oneof![0_i64..4, 2_000_000_i64..2_000_003]),
            ),
            1..4,
        );
        let limited = proptest::collection::vec(proptest::bits::u8::between(0, groups), 3);
        let balances = proptest::collection::vec((values(&sizes, -5_i64..6), -3_i64..12), 0..3);
        let pairings = proptest::collection::vec(
            (0..groups, 0..groups, values(&[5, 5, 5, 5, 5], 0_i64..4)),
            0..4,
        );
        let budget = prop_oneof![0_i64..30, 1_000_i64..5_100];
        let limits = (balances, pairings, joints(&sizes), budget);
        (choices, bottlenecks, limited, limits).prop_map(move |parts| {
            let ((costs, standing), bottlenecks, limited, limits) = parts;
            let (balances, pairings, joints, budget) = limits;
            Problem {
                orders: rigtide::optimise::OrderSides::default(),
                groups: costs
                    .iter()
                    .zip(&standing)
                    .map(|(costs, standing)| {
                        let first = standing.iter().position(|mark| *mark == 0);
                        let choice = |(at, cost): (usize, &i64)| Choice {
                            cost: *cost,
                            is_standing: first == Some(at),
                        };
                        costs.iter().enumerate().map(choice).collect()
                    })
                    .collect(),
                bottlenecks: bottlenecks
                    .into_iter()
                    .zip(limited)
                    .map(|((weight, values), mask)| Bottleneck {
                        weight,
                        limits: values
                            .into_iter()
                            .enumerate()
                            .filter(|(group, _)| mask & (1 << group) != 0 || *group == 0)
                            .collect(),
                    })
                    .collect(),
                balances: balances
                    .into_iter()
                    .map(|(shares, at_most)| Balance {
                        name: "resource".to_owned(),
                        shares: shares.into_iter().enumerate().collect(),
                        at_most,
                    })
                    .collect(),
                pairings: pairings
                    .into_iter()
                    .filter(|(left, right, _)| left != right)
                    .map(|(left, right, marks)| {
                        let rows = marks[..sizes[left]].iter().map(|row| {
                            let columns = row[..sizes[right]].iter();
                            columns.map(|mark| *mark != 0).collect()
                        });
                        Pairing::of_choices([left, right], rows.collect())
                    })
                    .collect(),
                joints,
                budget,
            }
        })
    })
}

fn selection_of(solved: Solved) -> Option<Selection> {
    match solved {
        Solved::Optimal(selection) => Some(selection),
        Solved::Nothing => None,
        other => panic!("cut off without a time limit: {other:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_answer_is_the_one_that_enumeration_finds(problem in problems()) {
        let solved = solve_lexicographically(&problem, Effort::default()).unwrap();
        prop_assert_eq!(selection_of(solved), enumerate(&problem));
    }

    #[test]
    fn the_sweep_and_the_solver_agree(problem in problems()) {
        let solver = Effort { engine: Engine::Solver, ..Effort::default() };
        let swept = solve_lexicographically(&problem, Effort::default()).unwrap();
        prop_assert_eq!(swept, solve_lexicographically(&problem, solver).unwrap());
    }

    #[test]
    fn the_ladder_has_a_step_wherever_more_money_buys_more(problem in problems()) {
        // By definition: at every cost that some selection has, the best score within it.
        let steps = sweep(&problem, Wanted::LADDER).unwrap();
        let mut expected: Vec<(i64, i64)> = Vec::new();
        for (cost, score) in every_cost_and_score(&problem) {
            if expected.last().is_none_or(|(_, best)| score > *best) {
                if expected.last().is_some_and(|(last, _)| *last == cost) {
                    expected.pop();
                }
                expected.push((cost, score));
            }
        }
        let found: Vec<(i64, i64)> = steps.iter().map(|step| (step.cost, step.score.0)).collect();
        prop_assert_eq!(found, expected);
        for step in &steps {
            prop_assert!(admissible(&problem, &step.selection));
            prop_assert_eq!(problem.cost(&step.selection), step.cost);
            prop_assert_eq!(problem.score(&step.selection), step.score);
            let first = sweep(&problem, Wanted::cheapest_with(step.score)).unwrap();
            prop_assert_eq!(first[0].cost, step.cost);
            // Of its equals it is the one that enumeration finds with that much money.
            let within = Problem { budget: step.cost, ..problem.clone() };
            prop_assert!(step.is_first);
            prop_assert_eq!(Some(step.selection.clone()), enumerate(&within));
            let asked = Step { is_first: false, ..step.clone() };
            prop_assert_eq!(&first_among_equals(&problem, &asked).unwrap(), &step.selection);
        }
    }

    #[test]
    fn leaving_out_dominated_choices_changes_no_answer(problem in problems()) {
        let reduced = solve_lexicographically(&problem, Effort::default()).unwrap();
        let whole = solve_lexicographically(&problem, Effort { reduce: false, ..Effort::default() }).unwrap();
        prop_assert_eq!(reduced, whole);
    }

    #[test]
    fn the_exact_search_and_the_solver_agree(problem in problems()) {
        let solver = solve_lexicographically(&problem, Effort::default()).unwrap();
        let effort = Effort { engine: Engine::ExactSearch, ..Effort::default() };
        prop_assert_eq!(solve_lexicographically(&problem, effort).unwrap(), solver);
    }

    #[test]
    fn more_budget_never_scores_less(problem in problems(), more in 0_i64..50) {
        let score = |problem: &Problem| {
            let solved = solve_lexicographically(problem, Effort::default()).unwrap();
            selection_of(solved).map(|selection| problem.score(&selection))
        };
        let richer = Problem { budget: problem.budget + more, ..problem.clone() };
        prop_assert!(score(&richer) >= score(&problem));
    }

    #[test]
    fn a_lower_price_never_scores_less(problem in problems(), at in any::<prop::sample::Index>(), less in 0_i64..20) {
        let (group, position) = choice_at(&problem, at);
        let mut cheaper = problem.clone();
        cheaper.groups[group][position].cost -= less;
        // By score, then by cost: at the same score, nothing costs more than it did.
        prop_assert!(score_and_thrift(&cheaper) >= score_and_thrift(&problem));
    }

    #[test]
    fn leaving_out_a_choice_that_is_not_picked_changes_nothing(problem in problems(), at in any::<prop::sample::Index>()) {
        let Some(picked) = answer(&problem) else {
            return Ok(());
        };
        let (group, position) = choice_at(&problem, at);
        prop_assume!(picked[group] != position);
        let mut keep: Vec<Vec<bool>> =
            problem.groups.iter().map(|group| vec![true; group.len()]).collect();
        keep[group][position] = false;
        let mut expected = picked;
        expected[group] -= usize::from(position < expected[group]);
        prop_assert_eq!(answer(&problem.restricted(&keep)), Some(expected));
    }
}

fn answer(problem: &Problem) -> Option<Selection> {
    selection_of(solve_lexicographically(problem, Effort::default()).unwrap())
}

/// What a problem's answer scores, and how little it costs; nothing is less than anything.
fn score_and_thrift(problem: &Problem) -> Option<(i64, i64)> {
    let selection = answer(problem)?;
    Some((problem.score(&selection).0, -problem.cost(&selection)))
}

/// One choice of all that a problem has: its group and position.
fn choice_at(problem: &Problem, at: prop::sample::Index) -> (usize, usize) {
    let groups = problem.groups.iter().enumerate();
    let choices: Vec<(usize, usize)> = groups
        .flat_map(|(group, choices)| (0..choices.len()).map(move |position| (group, position)))
        .collect();
    *at.get(&choices)
}

#[test]
fn the_generator_makes_feasible_infeasible_and_tied_problems() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let (mut feasible, mut infeasible, mut tied) = (0, 0, 0);
    for _ in 0..600 {
        let problem = problems().new_tree(&mut runner).unwrap().current();
        let Some(best) = enumerate(&problem) else {
            infeasible += 1;
            continue;
        };
        feasible += 1;
        // Another selection of the same score and cost: reversed preferences find it.
        let mut reversed = problem.clone();
        let flip = |selection: &[usize], problem: &Problem| -> Selection {
            let groups = problem.groups.iter().zip(selection);
            groups.map(|(group, at)| group.len() - 1 - at).collect()
        };
        for group in &mut reversed.groups {
            group.reverse();
            group
                .iter_mut()
                .for_each(|choice| choice.is_standing = false);
        }
        for bottleneck in &mut reversed.bottlenecks {
            bottleneck
                .limits
                .iter_mut()
                .for_each(|(_, values)| values.reverse());
        }
        for balance in &mut reversed.balances {
            balance
                .shares
                .iter_mut()
                .for_each(|(_, shares)| shares.reverse());
        }
        for pairing in &mut reversed.pairings {
            pairing
                .classes
                .iter_mut()
                .for_each(|classes| classes.reverse());
        }
        for joint in &mut reversed.joints {
            joint
                .classes
                .iter_mut()
                .for_each(|classes| classes.reverse());
        }
        let other = enumerate(&reversed).unwrap();
        tied += usize::from(flip(&other, &reversed) != best);
    }
    assert!(
        feasible > 100 && infeasible > 100 && tied > 20,
        "{feasible} {infeasible} {tied}"
    );
}

/// Reads `mmkp_*`: groups, resources, capacities, then per group its choices with value and
/// weights. Values with a decimal are scaled by ten.
fn mmkp(text: &str) -> Problem {
    let scaled = |token: &str| (token.parse::<f64>().unwrap() * 10.0).round() as i64;
    let mut tokens = text.split_ascii_whitespace();
    let mut next = || tokens.next().unwrap();
    let (groups, resources): (usize, usize) = (next().parse().unwrap(), next().parse().unwrap());
    let mut problem = Problem {
        budget: 0,
        ..Problem::default()
    };
    for resource in 0..resources {
        problem.balances.push(Balance {
            name: format!("resource {resource}"),
            shares: Vec::new(),
            at_most: scaled(next()),
        });
    }
    for group in 0..groups {
        let size: usize = next().parse().unwrap();
        let mut values = Vec::new();
        let mut shares = vec![Vec::new(); resources];
        for _ in 0..size {
            values.push(scaled(next()));
            shares
                .iter_mut()
                .for_each(|column| column.push(scaled(next())));
        }
        problem.groups.push(vec![
            Choice {
                cost: 0,
                is_standing: false
            };
            size
        ]);
        problem.bottlenecks.push(Bottleneck {
            weight: 1,
            limits: vec![(group, values)],
        });
        for (balance, column) in problem.balances.iter_mut().zip(shares) {
            balance.shares.push((group, column));
        }
    }
    problem
}

#[test]
fn published_optima_of_multiple_choice_knapsacks_are_reached() {
    // Khan et al. (I01, I02) and Hiremath and Hill (set 1): published optima, times ten.
    let mut instances = vec![("I01".to_owned(), 1730), ("I02".to_owned(), 3640)];
    let hiremath_hill = [401, 463, 487, 446, 430, 459, 437, 386, 466, 415];
    for (number, optimum) in hiremath_hill.into_iter().enumerate() {
        instances.push((format!("HH1_{:02}", number + 1), optimum * 10));
    }
    for (name, optimum) in instances {
        let Some(text) = facts::read(&format!("instances/mmkp_{name}.txt")) else {
            return;
        };
        let problem = mmkp(&text);
        let solved = solve_lexicographically(&problem, Effort::default()).unwrap();
        let selection = selection_of(solved).unwrap();
        assert_eq!(problem.score(&selection).0, optimum, "{name}");
    }
}
