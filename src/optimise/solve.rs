//! The floating-point shadow of a [`Problem`], solved through good_lp. The only file that knows it.
//!
//! The shadow is relaxed outwards by the margins of [`super::tolerance`], so that it admits every
//! selection that the integers admit. What comes out is a suggestion; [`super::search`] judges it.

use super::pairing::Pairing;
use super::problem::{Balance, Problem};
use super::search::{Found, Goal, Settled, SolverFault};
use super::tolerance::{CHOSEN, LIMIT_MARGIN, MICRO_PER_SHADOW_UNIT, MINOR_PER_SHADOW_UNIT};
use good_lp::solvers::{SolutionStatus, WithTimeLimit};
use good_lp::{
    Expression, IntoAffineExpression, ProblemVariables, ResolutionError, Solution, SolverModel,
    Variable, constraint, variable,
};

/// The variables of the shadow. A group with one choice left has none: its choice is a constant.
struct Shadow {
    chosen: Vec<Vec<Option<Variable>>>,
    /// One for each bottleneck; none where every value is the same.
    lowest: Vec<Option<Variable>>,
    /// The value of each bottleneck that its variable counts from.
    bases: Vec<i64>,
}

/// Solves the shadow. `arrangement` reorders variables and rows without changing their meaning.
pub fn solve_shadow(
    problem: &Problem,
    goal: Goal,
    settled: &Settled,
    seconds: f64,
    arrangement: usize,
) -> Result<Found, SolverFault> {
    let mut variables = ProblemVariables::new();
    let shadow = declare(problem, &mut variables, arrangement);
    let model = match goal {
        Goal::BestScore => variables.maximise(score(problem, &shadow)),
        Goal::LeastCost => variables.minimise(cost(problem, &shadow)),
        Goal::FewestChanges => variables.minimise(changes(problem, &shadow)),
        Goal::FirstOf(group) => variables.minimise(position(&shadow, group)),
    };
    let mut model = backend(model, seconds);
    let mut rows = rows(problem, &shadow);
    rows.extend(limits(problem, &shadow, settled));
    if arrangement % 2 == 1 {
        rows.reverse();
    }
    for row in rows {
        model.add_constraint(row);
    }
    let solution = match model.solve() {
        Ok(solution) => solution,
        Err(ResolutionError::Infeasible) => return Ok(Found::Nothing),
        Err(error) => return classify(error),
    };
    let selection = shadow
        .chosen
        .iter()
        .map(|group| chosen_position(group, &solution))
        .collect();
    Ok(match solution.status() {
        SolutionStatus::TimeLimit => Found::Incumbent(selection),
        _ => Found::Optimal(selection),
    })
}

fn classify(error: ResolutionError) -> Result<Found, SolverFault> {
    let text = error.to_string();
    if text.to_lowercase().contains("time limit") {
        return Ok(Found::CutOff);
    }
    Err(SolverFault::Failed(text))
}

#[cfg(not(feature = "highs"))]
fn backend(
    model: good_lp::variable::UnsolvedProblem,
    seconds: f64,
) -> impl SolverModel<Error = ResolutionError> {
    model
        .using(good_lp::solvers::microlp::microlp)
        .with_time_limit(seconds)
}

#[cfg(feature = "highs")]
fn backend(
    model: good_lp::variable::UnsolvedProblem,
    seconds: f64,
) -> impl SolverModel<Error = ResolutionError> {
    model
        .using(good_lp::solvers::highs::highs)
        .set_option("mip_rel_gap", 0.0)
        .set_option("mip_abs_gap", 0.0)
        .set_option("threads", 1)
        .with_time_limit(seconds)
}

fn chosen_position(group: &[Option<Variable>], solution: &impl Solution) -> usize {
    let is_chosen =
        |variable: &Option<Variable>| variable.is_none_or(|at| solution.value(at) > CHOSEN);
    group.iter().position(is_chosen).unwrap_or(0)
}

fn declare(problem: &Problem, variables: &mut ProblemVariables, arrangement: usize) -> Shadow {
    let n_groups = problem.groups.len();
    let mut chosen = vec![Vec::new(); n_groups];
    for offset in 0..n_groups {
        let at = (offset + arrangement / 2) % n_groups;
        let group = &problem.groups[at];
        let mut one = || (group.len() > 1).then(|| variables.add(variable().binary()));
        chosen[at] = group.iter().map(|_| one()).collect();
    }
    let mut lowest = Vec::new();
    let mut bases = Vec::new();
    for bottleneck in &problem.bottlenecks {
        let all = || {
            bottleneck
                .limits
                .iter()
                .flat_map(|(_, values)| values.iter().copied())
        };
        let (base, top) = (all().min().unwrap_or(0), all().max().unwrap_or(0));
        let range = variable().min(0.0).max(in_shadow(top - base));
        lowest.push((top > base).then(|| variables.add(range)));
        bases.push(base);
    }
    Shadow {
        chosen,
        lowest,
        bases,
    }
}

fn in_shadow(micro: i64) -> f64 {
    micro as f64 / MICRO_PER_SHADOW_UNIT
}

fn score(problem: &Problem, shadow: &Shadow) -> Expression {
    let mut sum = Expression::default();
    for (bottleneck, lowest) in problem.bottlenecks.iter().zip(&shadow.lowest) {
        if let Some(lowest) = lowest {
            sum.add_mul(bottleneck.weight as f64, lowest);
        }
    }
    sum
}

fn cost(problem: &Problem, shadow: &Shadow) -> Expression {
    weigh(
        shadow,
        problem.groups.iter().map(Vec::as_slice).enumerate(),
        |choice| choice.cost as f64 / MINOR_PER_SHADOW_UNIT,
    )
}

fn changes(problem: &Problem, shadow: &Shadow) -> Expression {
    weigh(
        shadow,
        problem.groups.iter().map(Vec::as_slice).enumerate(),
        |choice| {
            if choice.is_standing { 0.0 } else { 1.0 }
        },
    )
}

fn position(shadow: &Shadow, group: usize) -> Expression {
    let positions: Vec<usize> = (0..shadow.chosen[group].len()).collect();
    weigh(
        shadow,
        [(group, positions.as_slice())].into_iter(),
        |position| *position as f64,
    )
}

/// Σ weight(choice) × variable over some groups.
fn weigh<'p, T: 'p>(
    shadow: &Shadow,
    groups: impl Iterator<Item = (usize, &'p [T])>,
    weight: impl Fn(&T) -> f64,
) -> Expression {
    let mut sum = Expression::default();
    for (group, choices) in groups {
        for (choice, variable) in choices.iter().zip(&shadow.chosen[group]) {
            let weight = weight(choice);
            match variable {
                Some(variable) if weight != 0.0 => sum.add_mul(weight, variable),
                Some(_) => {}
                None => sum += weight,
            }
        }
    }
    sum
}

/// `sum ≤ at_most`, unless nothing in it is open: then the exact judgement decides.
fn at_most(sum: Expression, at_most: f64) -> Option<good_lp::Constraint> {
    let is_open = (&sum).linear_coefficients().next().is_some();
    is_open.then(|| constraint!(sum <= at_most))
}

/// The rows of the problem itself.
fn rows(problem: &Problem, shadow: &Shadow) -> Vec<good_lp::Constraint> {
    let mut rows = Vec::new();
    for group in &shadow.chosen {
        let open: Expression = group.iter().flatten().sum();
        if group.len() > 1 {
            rows.push(constraint!(open == 1));
        }
    }
    for ((bottleneck, lowest), base) in problem
        .bottlenecks
        .iter()
        .zip(&shadow.lowest)
        .zip(&shadow.bases)
    {
        let Some(lowest) = lowest else { continue };
        for (group, values) in &bottleneck.limits {
            let allowed = weigh(shadow, [(*group, values.as_slice())].into_iter(), |value| {
                in_shadow(value - base)
            });
            rows.push(constraint!(*lowest - allowed <= 0));
        }
    }
    for balance in &problem.balances {
        let columns = balance
            .shares
            .iter()
            .map(|(group, shares)| (*group, shares.as_slice()));
        let scale = balance_scale(balance);
        let sum = weigh(shadow, columns, |share| *share as f64 / scale);
        rows.extend(at_most(
            sum,
            (balance.at_most as f64 + LIMIT_MARGIN) / scale,
        ));
    }
    for pairing in &problem.pairings {
        rows.extend(pairing_rows(pairing, shadow));
    }
    let budget = (problem.budget as f64 + LIMIT_MARGIN) / MINOR_PER_SHADOW_UNIT;
    rows.extend(at_most(cost(problem, shadow), budget));
    rows
}

/// Brings a balance's largest share to about a thousand.
fn balance_scale(balance: &Balance) -> f64 {
    let shares = balance.shares.iter().flat_map(|(_, shares)| shares);
    let largest = shares.map(|share| share.unsigned_abs()).max().unwrap_or(1);
    (largest as f64 / 1_000.0).max(1.0)
}

/// Choices with the same partners share a row: any of them needs one of those partners.
fn pairing_rows(pairing: &Pairing, shadow: &Shadow) -> Vec<good_lp::Constraint> {
    let [left, right] = &pairing.classes;
    let partners_of = |row: &Vec<bool>| -> Vec<bool> { right.iter().map(|at| row[*at]).collect() };
    // By class of the left; some of the table's classes may have no choices left.
    let partners: Vec<Vec<bool>> = pairing.fits.iter().map(partners_of).collect();
    let mut classes: Vec<&Vec<bool>> = Vec::new();
    for class in left {
        let partners = &partners[*class];
        if partners.contains(&false) && !classes.contains(&partners) {
            classes.push(partners);
        }
    }
    let one_if = |wanted: &bool| if *wanted { 1.0 } else { 0.0 };
    let rows = classes.into_iter().filter_map(|alike| {
        let members: Vec<bool> = left
            .iter()
            .map(|class| partners[*class] == *alike)
            .collect();
        let members = weigh(
            shadow,
            [(pairing.left, members.as_slice())].into_iter(),
            one_if,
        );
        let partners = weigh(
            shadow,
            [(pairing.right, alike.as_slice())].into_iter(),
            one_if,
        );
        at_most(members - partners, 0.0)
    });
    rows.collect()
}

/// The rows of what earlier goals have settled, relaxed outwards by less than one unit.
fn limits(problem: &Problem, shadow: &Shadow, settled: &Settled) -> Vec<good_lp::Constraint> {
    let mut rows = Vec::new();
    if let Some(least) = settled.least_score {
        let weighted = problem.bottlenecks.iter().zip(&shadow.bases);
        let base: i64 = weighted
            .map(|(bottleneck, base)| bottleneck.weight * base)
            .sum();
        let least = ((least.0 - base) as f64 - LIMIT_MARGIN) / MICRO_PER_SHADOW_UNIT;
        rows.extend(at_most(-score(problem, shadow), -least));
    }
    if let Some(most) = settled.most_cost {
        let most = (most as f64 + LIMIT_MARGIN) / MINOR_PER_SHADOW_UNIT;
        rows.extend(at_most(cost(problem, shadow), most));
    }
    if let Some(most) = settled.most_changes {
        rows.extend(at_most(
            changes(problem, shadow),
            most as f64 + LIMIT_MARGIN,
        ));
    }
    let one_if = |mark: &bool| if *mark { 1.0 } else { 0.0 };
    for cut in &settled.cuts {
        let sets = cut
            .sets
            .iter()
            .map(|(group, marks)| (*group, marks.as_slice()));
        let sum = weigh(shadow, sets, one_if);
        rows.extend(at_most(sum, cut.sets.len() as f64 - 1.0));
    }
    for excluded in &settled.excluded {
        let marks: Vec<Vec<bool>> = problem
            .groups
            .iter()
            .zip(excluded)
            .map(|(group, chosen)| {
                (0..group.len())
                    .map(|position| position == *chosen)
                    .collect()
            })
            .collect();
        let sum = weigh(shadow, marks.iter().map(Vec::as_slice).enumerate(), one_if);
        rows.extend(at_most(sum, excluded.len() as f64 - 1.0));
    }
    rows
}
