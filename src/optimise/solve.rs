//! The floating-point shadow of a [`Problem`], solved through good_lp. The only file that knows it.
//!
//! A solver's answer is a suggestion: it is rounded to a selection and judged in integers against
//! the problem and every limit. What fails is excluded and the shadow is solved again. After an
//! error or a panic of the solver the shadow is arranged differently, then the exact search takes
//! over; if that does not suffice either, it is a [`SolverFault`], never "nothing fits".

use super::exhaust::exhaust;
use super::lexicographic::Effort;
use super::possible::possible;
use super::problem::{Problem, Selection};
use super::tolerance::{
    CHOSEN, LIMIT_MARGIN, MICRO_PER_SHADOW_UNIT, MINOR_PER_SHADOW_UNIT, MOST_EXCLUSIONS,
};
use crate::rates::Score;
use good_lp::solvers::{SolutionStatus, WithTimeLimit};
use good_lp::{
    Expression, IntoAffineExpression, ProblemVariables, ResolutionError, Solution, SolverModel,
    Variable, constraint, variable,
};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Who searches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Engine {
    /// The integer-programming solver; the exact search when it fails.
    Solver,
    /// The exact search alone.
    ExactSearch,
}

/// What to optimise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    BestScore,
    LeastCost,
    /// Fewest departures from the standing choices.
    FewestChanges,
    /// The first choice of one group.
    FirstOf(usize),
}

/// What earlier goals have settled.
#[derive(Debug, Clone, Default)]
pub struct Settled {
    pub least_score: Option<Score>,
    pub most_cost: Option<i64>,
    pub most_changes: Option<i64>,
    /// Positions of the leading groups.
    pub leading: Vec<usize>,
    /// Selections that are not wanted.
    pub excluded: Vec<Selection>,
}

/// What the solver found, judged in integers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// The best there is for the goal.
    Optimal(Selection),
    /// A time limit cut the search; this is the best so far.
    Incumbent(Selection),
    /// Proven: no selection keeps every limit.
    Nothing,
    /// A time limit cut the search before any selection was found.
    CutOff,
}

/// A failure of the solver itself.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SolverFault {
    #[error("the solver failed: {0}")]
    Failed(String),
    #[error("the solver panicked")]
    Panicked,
    #[error("the exact search visited {MOST_NODES} sets without coming to an end")]
    OutOfNodes,
    #[error("the solver suggested {MOST_EXCLUSIONS} sets in a row that break a limit")]
    Unsound,
}

/// How many nodes the exact search may visit after the solver failed.
const MOST_NODES: usize = 100_000;

/// How often a failed solve is tried in another arrangement of the same shadow.
const ARRANGEMENTS: usize = 4;

/// Solves for one goal.
///
/// # Errors
/// [`SolverFault`] when the solver fails in every arrangement, or never suggests what holds.
pub fn solve(
    problem: &Problem,
    goal: Goal,
    settled: &Settled,
    effort: Effort,
) -> Result<Found, SolverFault> {
    let mut settled = settled.clone();
    for _ in 0..MOST_EXCLUSIONS {
        let suggested = suggest(problem, goal, &settled, effort)?;
        match suggested {
            Found::Optimal(selection) | Found::Incumbent(selection)
                if !settled.admits(problem, &selection) =>
            {
                settled.excluded.push(selection);
            }
            judged => return Ok(judged),
        }
    }
    Err(SolverFault::Unsound)
}

/// The solver's suggestion for what is left once every impossible choice is gone.
fn suggest(
    problem: &Problem,
    goal: Goal,
    settled: &Settled,
    effort: Effort,
) -> Result<Found, SolverFault> {
    let keep = possible(problem, settled);
    let kept: Vec<Vec<usize>> = keep
        .iter()
        .map(|keep| (0..keep.len()).filter(|position| keep[*position]).collect())
        .collect();
    if kept.iter().any(Vec::is_empty) {
        return Ok(Found::Nothing);
    }
    if kept.iter().all(|group| group.len() == 1) {
        let only: Selection = kept.iter().map(|group| group[0]).collect();
        let found = settled.admits(problem, &only).then_some(only);
        return Ok(found.map_or(Found::Nothing, Found::Optimal));
    }
    let rest = problem.restricted(&keep);
    let goal_there = match goal {
        Goal::FirstOf(group) if kept[group].len() == 1 => Goal::LeastCost,
        goal => goal,
    };
    let settled_there = settled.within(&kept);
    let search = || exhaust(&rest, goal_there, &settled_there, MOST_NODES);
    let outcome = match effort.engine {
        Engine::ExactSearch => search().ok_or(SolverFault::OutOfNodes)?,
        Engine::Solver => match solve_arranged(&rest, goal_there, &settled_there, effort) {
            Ok(found) => found,
            Err(fault) => search().ok_or(fault)?,
        },
    };
    let original = |selection: Selection| -> Selection {
        kept.iter()
            .zip(selection)
            .map(|(kept, position)| kept[position])
            .collect()
    };
    Ok(match outcome {
        Found::Optimal(selection) => Found::Optimal(original(selection)),
        Found::Incumbent(selection) => Found::Incumbent(original(selection)),
        nothing => nothing,
    })
}

/// Solves the shadow, in another arrangement when the solver fails.
fn solve_arranged(
    problem: &Problem,
    goal: Goal,
    settled: &Settled,
    effort: Effort,
) -> Result<Found, SolverFault> {
    let mut outcome = Err(SolverFault::Panicked);
    for arrangement in 0..ARRANGEMENTS {
        // The solver is outside code: a panic in it must not take the daemon down. Nothing that
        // it could leave half done outlives the call.
        outcome = catch_unwind(AssertUnwindSafe(|| {
            solve_shadow(
                problem,
                goal,
                settled,
                effort.seconds_per_solve,
                arrangement,
            )
        }))
        .unwrap_or(Err(SolverFault::Panicked));
        if outcome.is_ok() {
            break;
        }
    }
    outcome
}

impl Settled {
    /// The exact judgement of a selection.
    pub fn admits(&self, problem: &Problem, selection: &[usize]) -> bool {
        problem.admits(selection)
            && self
                .least_score
                .is_none_or(|least| problem.score(selection) >= least)
            && self
                .most_cost
                .is_none_or(|most| problem.cost(selection) <= most)
            && self
                .most_changes
                .is_none_or(|most| problem.changes(selection) <= most)
            && selection.starts_with(&self.leading)
            && !self.excluded.iter().any(|excluded| excluded == selection)
    }

    /// The same limits for what is kept of each group. The leading groups are kept to one choice.
    fn within(&self, kept: &[Vec<usize>]) -> Settled {
        let position = |(kept, chosen): (&Vec<usize>, &usize)| {
            kept.iter().position(|position| position == chosen)
        };
        let excluded = self.excluded.iter();
        Settled {
            leading: Vec::new(),
            excluded: excluded
                .filter_map(|excluded| kept.iter().zip(excluded).map(position).collect())
                .collect(),
            ..*self
        }
    }
}

/// The variables of the shadow. A group with one choice left has none: its choice is a constant.
struct Shadow {
    chosen: Vec<Vec<Option<Variable>>>,
    /// One for each bottleneck; none where every value is the same.
    lowest: Vec<Option<Variable>>,
    /// The value of each bottleneck that its variable counts from.
    bases: Vec<i64>,
}

fn solve_shadow(
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
fn balance_scale(balance: &super::problem::Balance) -> f64 {
    let shares = balance.shares.iter().flat_map(|(_, shares)| shares);
    let largest = shares.map(|share| share.unsigned_abs()).max().unwrap_or(1);
    (largest as f64 / 1_000.0).max(1.0)
}

/// Choices with the same partners share a row: any of them needs one of those partners.
fn pairing_rows(pairing: &super::problem::Pairing, shadow: &Shadow) -> Vec<good_lp::Constraint> {
    let mut classes: Vec<&Vec<bool>> = Vec::new();
    for partners in &pairing.fits {
        if partners.contains(&false) && !classes.contains(&partners) {
            classes.push(partners);
        }
    }
    let one_if = |wanted: &bool| if *wanted { 1.0 } else { 0.0 };
    let rows = classes.into_iter().filter_map(|partners| {
        let members: Vec<bool> = pairing.fits.iter().map(|row| row == partners).collect();
        let members = weigh(
            shadow,
            [(pairing.left, members.as_slice())].into_iter(),
            one_if,
        );
        let partners = weigh(
            shadow,
            [(pairing.right, partners.as_slice())].into_iter(),
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
        let sum = weigh(
            shadow,
            marks.iter().map(Vec::as_slice).enumerate(),
            |mark| {
                if *mark { 1.0 } else { 0.0 }
            },
        );
        rows.extend(at_most(sum, excluded.len() as f64 - 1.0));
    }
    rows
}
