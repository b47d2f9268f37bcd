//! The two engines behind one trait: the sweep, which knows the problem's structure, and the
//! integer program, which takes anything and is the reference.

use super::branch::{self, Topped};
use super::lexicographic::Effort;
use super::problem::Problem;
use super::search::{Found, Goal, Settled, SolverFault, solve};
use super::sweep::{Step, TooWide, Wanted};
use super::work::Work;
use crate::rates::Score;

/// Whoever can climb a problem's ladder.
pub trait Climb {
    /// The steps that are wanted, cheapest first.
    ///
    /// # Errors
    /// [`ClimbFault`]
    fn climb(&self, problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, ClimbFault>;

    /// The last step within the problem's budget.
    ///
    /// # Errors
    /// [`ClimbFault`]
    fn top(&self, problem: &Problem) -> Result<Option<Step>, ClimbFault> {
        Ok(self.climb(problem, Wanted::LADDER)?.pop())
    }
}

/// Why a ladder was not climbed to its end.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ClimbFault {
    #[error(transparent)]
    TooWide(#[from] TooWide),
    #[error(transparent)]
    Solver(#[from] SolverFault),
    #[error("the time limit cut the search off")]
    CutOff,
}

/// The sweep of the ladder.
pub struct Sweeper;

/// The integer program: one step after the other.
pub struct Programme(pub Effort);

/// The sweep, and the integer program where the problem is too wide for it.
pub struct SweeperFirst(pub Effort);

impl Climb for Sweeper {
    fn climb(&self, problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, ClimbFault> {
        Ok(branch::climb(problem, wanted)?)
    }

    fn top(&self, problem: &Problem) -> Result<Option<Step>, ClimbFault> {
        top_of(branch::top(problem, Score(i64::MIN), &Work::unbounded())?)
    }
}

impl Climb for SweeperFirst {
    fn climb(&self, problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, ClimbFault> {
        match branch::climb(problem, wanted) {
            Err(TooWide) => Programme(self.0).climb(problem, wanted),
            Ok(steps) => Ok(steps),
        }
    }

    fn top(&self, problem: &Problem) -> Result<Option<Step>, ClimbFault> {
        let work = Work::of_seconds(self.0.seconds_per_solve);
        match branch::top(problem, Score(i64::MIN), &work) {
            Err(TooWide) => Programme(self.0).top(problem),
            Ok(topped) => top_of(topped),
        }
    }
}

fn top_of(topped: Topped) -> Result<Option<Step>, ClimbFault> {
    match topped {
        Topped::Best(step) => Ok(step),
        Topped::CutShort { .. } => Err(ClimbFault::CutOff),
    }
}

impl Climb for Programme {
    fn climb(&self, problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, ClimbFault> {
        let mut steps: Vec<Step> = Vec::new();
        let mut least_score = wanted.least_score;
        loop {
            // The cheapest that beats the last step, and then the best for what it costs.
            let mut settled = Settled {
                least_score: Some(least_score),
                ..Settled::default()
            };
            let cheapest = match solve(problem, Goal::LeastCost, &mut settled, self.0)? {
                Found::Optimal(selection) => selection,
                Found::Nothing => return Ok(steps),
                Found::Incumbent(_) | Found::CutOff => return Err(ClimbFault::CutOff),
            };
            settled.most_cost = Some(problem.cost(&cheapest));
            let selection = match solve(problem, Goal::BestScore, &mut settled, self.0)? {
                Found::Optimal(selection) => selection,
                // The cheapest itself keeps these limits.
                Found::Nothing => cheapest,
                Found::Incumbent(_) | Found::CutOff => return Err(ClimbFault::CutOff),
            };
            let score = problem.score(&selection);
            steps.push(Step {
                cost: problem.cost(&selection),
                score,
                selection,
                is_first: false,
            });
            if score >= wanted.enough || score.0 == i64::MAX {
                return Ok(steps);
            }
            least_score = Score(score.0 + 1);
        }
    }
}
