//! The unique answer: best score, then least cost, then fewest changes, then the first choices.
//!
//! Ties are common, because a bottleneck elsewhere makes many sets equal, and a solver's arbitrary
//! choice among them would make the answer flap. Each goal is settled in turn.

use super::branch::{self, Topped};
use super::exhaust::exhaust;
use super::problem::{Problem, Selection, unrestricted};
use super::reduce::undominated;
use super::search::{Engine, Found, Goal, Settled, SolverFault, solve};
use super::sweep::TooWide;
use super::work::Work;
use crate::rates::Score;

/// Nodes that the exact search may visit to prove that nothing scores a little more. Large problems
/// go to the sweep, which needs no such proof.
const MOST_PROVING_NODES: usize = 2_000;

/// How far the search may go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Seconds for each call of the solver. The sweep counts what it looks at instead, about as
    /// much as takes so long.
    pub seconds_per_solve: f64,
    /// Leave out dominated choices first. Off only to compare.
    pub reduce: bool,
    pub engine: Engine,
}

impl Default for Effort {
    fn default() -> Effort {
        Effort {
            seconds_per_solve: 60.0,
            reduce: true,
            engine: Engine::Sweep,
        }
    }
}

/// The answer to a [`Problem`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Solved {
    /// Proven best, and the first among equals.
    Optimal(Selection),
    /// A time limit cut the search: the best found, and a score that no selection exceeds.
    Bounded { selection: Selection, bound: Score },
    /// Proven: no selection keeps every limit.
    Nothing,
    /// A time limit cut the search before any selection was found.
    CutOff,
}

/// Finds the one answer.
///
/// # Errors
/// [`SolverFault`] when the solver itself fails.
pub fn solve_lexicographically(problem: &Problem, effort: Effort) -> Result<Solved, SolverFault> {
    let keep = if effort.reduce {
        undominated(problem)
    } else {
        problem
            .groups
            .iter()
            .map(|group| vec![true; group.len()])
            .collect()
    };
    let reduced = problem.restricted(&keep);
    let original = |selection: Selection| unrestricted(selection, &keep);
    let work = Work::of_seconds(effort.seconds_per_solve);
    let swept = match effort.engine {
        Engine::Sweep => swept(&reduced, Score(i64::MIN), &work).ok(),
        Engine::Solver | Engine::ExactSearch => None,
    };
    let solved = match swept {
        Some(solved) => solved,
        None => settle(&reduced, effort)?,
    };
    Ok(match solved {
        Solved::Optimal(selection) => Solved::Optimal(original(selection)),
        Solved::Bounded { selection, bound } => Solved::Bounded {
            selection: original(selection),
            bound,
        },
        nothing => nothing,
    })
}

/// The one answer, if it scores at least so much: a score that some selection is known to reach
/// spares the ladder below it.
///
/// # Errors
/// [`TooWide`]
pub(super) fn top_from(
    problem: &Problem,
    least_score: Score,
) -> Result<Option<Selection>, TooWide> {
    let keep = undominated(problem);
    let work = Work::unbounded();
    match swept(&problem.restricted(&keep), least_score, &work)? {
        Solved::Optimal(selection) => Ok(Some(unrestricted(selection, &keep))),
        _ => Ok(None),
    }
}

/// The answer off the top of the ladder.
fn swept(problem: &Problem, least_score: Score, work: &Work) -> Result<Solved, TooWide> {
    let step = match branch::top(problem, least_score, work)? {
        Topped::Best(Some(step)) => step,
        Topped::Best(None) => return Ok(Solved::Nothing),
        Topped::CutShort { step, bound } => {
            let selection = step.selection;
            return Ok(Solved::Bounded { selection, bound });
        }
    };
    Ok(Solved::Optimal(match step.is_first {
        true => step.selection,
        false => branch::Equals::of(problem)?.first(&step)?,
    }))
}

fn settle(problem: &Problem, effort: Effort) -> Result<Solved, SolverFault> {
    let mut settled = Settled::default();
    let mut best = match solve(problem, Goal::BestScore, &mut settled, effort)? {
        Found::Optimal(selection) => selection,
        Found::Incumbent(selection) => return Ok(cut_short(problem, selection)),
        Found::Nothing => return Ok(Solved::Nothing),
        Found::CutOff => return Ok(Solved::CutOff),
    };
    // The cheapest of the best may turn out better still, by less than the solver can see. Then
    // its score is the one to hold.
    loop {
        settled.least_score = Some(problem.score(&best));
        match solve(problem, Goal::LeastCost, &mut settled, effort)? {
            Found::Optimal(selection) if problem.score(&selection) > problem.score(&best) => {
                best = selection;
            }
            Found::Optimal(selection) => best = selection,
            _ => return Ok(cut_short(problem, best)),
        }
        match better(problem, &best) {
            Some(selection) => best = selection,
            None => break,
        }
    }
    settled.most_cost = Some(problem.cost(&best));
    if is_only(problem, &best, &settled, effort)? {
        return Ok(Solved::Optimal(best));
    }
    match solve(problem, Goal::FewestChanges, &mut settled, effort)? {
        Found::Optimal(selection) => best = selection,
        _ => return Ok(cut_short(problem, best)),
    }
    settled.most_changes = Some(problem.changes(&best));
    for group in 0..problem.groups.len() {
        match solve(problem, Goal::FirstOf(group), &mut settled, effort)? {
            Found::Optimal(selection) => best = selection,
            _ => return Ok(cut_short(problem, best)),
        }
        settled.leading.push(best[group]);
    }
    Ok(Solved::Optimal(best))
}

/// A selection that scores more by less than the solver can see: with values in the millions, its
/// tolerance is worth several points. The exact search proves that there is none, where it can.
fn better(problem: &Problem, best: &Selection) -> Option<Selection> {
    let beyond = Settled {
        least_score: Some(Score(problem.score(best).0 + 1)),
        ..Settled::default()
    };
    match exhaust(problem, Goal::BestScore, &beyond, MOST_PROVING_NODES)? {
        Found::Optimal(selection) | Found::Incumbent(selection) => Some(selection),
        Found::Nothing | Found::CutOff => None,
    }
}

/// True when no other selection is as good and as cheap. Cheap to prove, and nearly always true.
fn is_only(
    problem: &Problem,
    best: &Selection,
    settled: &Settled,
    effort: Effort,
) -> Result<bool, SolverFault> {
    let mut others = Settled {
        excluded: vec![best.clone()],
        ..settled.clone()
    };
    Ok(solve(problem, Goal::LeastCost, &mut others, effort)? == Found::Nothing)
}

fn cut_short(problem: &Problem, selection: Selection) -> Solved {
    Solved::Bounded {
        selection,
        bound: score_bound(problem),
    }
}

/// A score that no selection exceeds: each bottleneck at the lowest of its groups' best values.
pub fn score_bound(problem: &Problem) -> Score {
    let bound = problem.bottlenecks.iter().map(|bottleneck| {
        let best = bottleneck
            .limits
            .iter()
            .filter_map(|(_, values)| values.iter().max());
        bottleneck.weight * best.min().copied().unwrap_or(0)
    });
    Score(bound.sum())
}
