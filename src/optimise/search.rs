//! One goal at a time: suggestions from the solver, judged in integers.
//!
//! A solver's answer is rounded to a selection and judged against the problem and every limit.
//! What fails is excluded and the rest is solved again. After an error or a panic of the solver
//! the shadow is arranged differently, then the exact search takes over; if that does not suffice
//! either, it is a [`SolverFault`], never "nothing fits".

use super::exhaust::exhaust;
use super::joint::Cut;
use super::lexicographic::Effort;
use super::possible::possible;
use super::problem::{Problem, Selection};
use super::solve::solve_shadow;
use super::tolerance::{MOST_CUTS, MOST_EXCLUSIONS};
use crate::rates::Score;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Who searches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Engine {
    /// The sweep of the ladder; the solver where the problem is too wide for it.
    Sweep,
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
    /// What the joints refuse, as far as the solver ran into it: true of every selection.
    pub cuts: Vec<Cut>,
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
    #[error(
        "the solver suggested {MOST_EXCLUSIONS} sets in a row that break a limit, or needed {MOST_CUTS} cuts"
    )]
    Unsound,
}

/// How many nodes the exact search may visit after the solver failed.
const MOST_NODES: usize = 100_000;

/// How often a failed solve is tried in another arrangement of the same shadow.
const ARRANGEMENTS: usize = 4;

/// Solves for one goal; the cuts that it needed stay with `settled` for the next.
///
/// # Errors
/// [`SolverFault`] when the solver fails in every arrangement, or never suggests what holds.
pub fn solve(
    problem: &Problem,
    goal: Goal,
    settled: &mut Settled,
    effort: Effort,
) -> Result<Found, SolverFault> {
    let n_wanted_out = settled.excluded.len();
    let mut outcome = Err(SolverFault::Unsound);
    while settled.excluded.len() < n_wanted_out + MOST_EXCLUSIONS && settled.cuts.len() < MOST_CUTS
    {
        match suggest(problem, goal, settled, effort)? {
            Found::Optimal(selection) | Found::Incumbent(selection)
                if !settled.admits(problem, &selection) =>
            {
                let refusing = problem
                    .joints
                    .iter()
                    .filter(|joint| !joint.admits(&selection));
                let cuts: Vec<Cut> = refusing.map(|joint| joint.cut(&selection)).collect();
                if cuts.is_empty() {
                    settled.excluded.push(selection);
                }
                settled.cuts.extend(cuts);
            }
            judged => {
                outcome = Ok(judged);
                break;
            }
        }
    }
    // What was excluded here broke the limits of this goal; the next may know others.
    settled.excluded.truncate(n_wanted_out);
    outcome
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
        Engine::Sweep | Engine::Solver => {
            match solve_arranged(&rest, goal_there, &settled_there, effort) {
                Ok(found) => found,
                Err(fault) => search().ok_or(fault)?,
            }
        }
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
            cuts: self.cuts.iter().map(|cut| cut.within(kept)).collect(),
            ..*self
        }
    }
}
