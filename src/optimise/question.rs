//! A market as a problem that can be asked many things: the ladder, entry prices, why not this part.

use super::best::assemble;
use super::branch::Equals;
use super::build::Build;
use super::engine::{Climb, ClimbFault};
use super::joint::Joint;
use super::model::{RuleLimits, Standing, encode, rule_limits};
use super::orders::Orders;
use super::problem::{Choice, Problem, Selection, unrestricted};
use super::reduce::undominated;
use super::sweep::{Step, Wanted};
use super::verify::{VerifyFault, verify};
use crate::catalogue::Catalogue;
use crate::fit::Finding;
use crate::market::Market;
use crate::money::Money;

/// Why a question has no answer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuestionFault {
    #[error(transparent)]
    Climb(#[from] ClimbFault),
    #[error("the answer failed its check and is not shown: {0}")]
    Verify(#[from] VerifyFault),
}

/// A market, encoded once. Roles are groups and candidates their choices, by position.
pub struct Question<'m> {
    pub market: &'m Market<'m>,
    pub catalogue: &'m Catalogue,
    pub(super) limits: Vec<RuleLimits<'m>>,
    pub(super) problem: Problem,
    orders: Orders<'m>,
    /// Which choices nothing of their role dominates.
    undominated: Vec<Vec<bool>>,
    engine: &'m dyn Climb,
}

impl<'m> Question<'m> {
    /// Encodes a market; of equals, the build closest to `standing` is the answer.
    pub fn new(
        market: &'m Market<'m>,
        catalogue: &'m Catalogue,
        standing: &Standing,
        engine: &'m dyn Climb,
    ) -> Question<'m> {
        Question::under(market, catalogue, standing, (engine, rule_limits(market)))
    }

    /// Encodes a market under these limits alone. A build of it that others rule out is none.
    pub(super) fn under(
        market: &'m Market<'m>,
        catalogue: &'m Catalogue,
        standing: &Standing,
        (engine, limits): (&'m dyn Climb, Vec<RuleLimits<'m>>),
    ) -> Question<'m> {
        let problem = encode(market, standing, limits.iter());
        Question {
            undominated: undominated(&problem),
            orders: Orders::of(market),
            market,
            catalogue,
            limits,
            problem,
            engine,
        }
    }

    /// The steps of the problem as it is, up to a budget.
    pub(super) fn steps(&self, budget: i64, wanted: Wanted) -> Result<Vec<Step>, ClimbFault> {
        self.steps_within(&self.undominated, budget, wanted)
    }

    /// The steps where only the marked choices may be taken.
    pub(super) fn steps_within(
        &self,
        keep: &[Vec<bool>],
        budget: i64,
        wanted: Wanted,
    ) -> Result<Vec<Step>, ClimbFault> {
        let kept = Problem {
            budget,
            ..self.problem.restricted(keep)
        };
        let steps = self.engine.climb(&kept, wanted)?;
        Ok(steps
            .into_iter()
            .map(|step| unrestricted_step(step, keep))
            .collect())
    }

    /// The best step within the brief's budget, the first among equals, where only the marked
    /// choices may be taken.
    pub(super) fn best_within(&self, keep: &[Vec<bool>]) -> Result<Option<Step>, ClimbFault> {
        self.best_besides(keep, &[])
    }

    /// The same steps with the selections that are shown.
    pub(super) fn settled(
        &self,
        steps: Vec<Step>,
        keep: &[Vec<bool>],
    ) -> Result<Vec<Step>, ClimbFault> {
        if steps.iter().all(|step| step.is_first) {
            return Ok(steps);
        }
        let kept = self.problem.restricted(keep);
        let mut equals = Equals::of(&kept)?;
        let settle = |step: Step| {
            let inside = Step {
                selection: restricted(&step.selection, keep),
                ..step
            };
            let selection = equals.first(&inside)?;
            let shown = Step {
                selection,
                is_first: true,
                ..inside
            };
            Ok(unrestricted_step(shown, keep))
        };
        steps.into_iter().map(settle).collect()
    }

    /// The best step that has none of these sets of choices, marked in each of some groups.
    pub(super) fn best_besides(
        &self,
        keep: &[Vec<bool>],
        excluded: &[Vec<(usize, Vec<bool>)>],
    ) -> Result<Option<Step>, ClimbFault> {
        let mut besides = self.problem.clone();
        let sets = excluded.iter();
        besides.joints.extend(sets.map(|set| Joint::excluding(set)));
        let kept = besides.restricted(keep);
        let Some(step) = self.engine.top(&kept)? else {
            return Ok(None);
        };
        let shown = match step.is_first {
            true => step,
            false => Step {
                selection: Equals::of(&kept)?.first(&step)?,
                is_first: true,
                ..step
            },
        };
        Ok(Some(unrestricted_step(shown, keep)))
    }

    /// The steps with a candidate's part, had for nothing and outside every order.
    pub(super) fn steps_given(
        &self,
        (group, position): (usize, usize),
        budget: i64,
        wanted: Wanted,
    ) -> Result<Vec<Step>, ClimbFault> {
        let keep = self.keep_with(group, |one| one == position);
        let given = Problem {
            budget,
            ..self.problem.restricted(&keep).given(group)
        };
        self.engine.climb(&given, wanted)
    }

    /// Marks the candidates of a role that are of the same part.
    pub(super) fn same_part(&self, group: usize, position: usize) -> Vec<bool> {
        let candidates = &self.market.candidates[group];
        let part = &candidates[position].part.id;
        let same = candidates.iter().map(|one| one.part.id == *part);
        same.collect()
    }

    pub(super) fn engine(&self) -> &'m dyn Climb {
        self.engine
    }

    /// The steps of another problem.
    pub(super) fn climb(&self, problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, ClimbFault> {
        self.engine.climb(problem, wanted)
    }

    /// Undominated choices, and one role reduced to one choice or without some.
    pub(super) fn keep_with(&self, group: usize, mark: impl Fn(usize) -> bool) -> Vec<Vec<bool>> {
        let mut keep = self.undominated.clone();
        let marks = (0..keep[group].len()).map(mark);
        keep[group] = marks.collect();
        keep
    }

    pub(super) fn undominated(&self) -> &[Vec<bool>] {
        &self.undominated
    }

    /// What every choice costs together at most: no budget at all.
    pub(super) fn dearest(&self) -> i64 {
        let dearest = |group: &Vec<Choice>| group.iter().map(|choice| choice.cost).max();
        self.problem.groups.iter().filter_map(dearest).sum()
    }

    /// A selection as a build, checked against every rule under a budget.
    pub(super) fn build(
        &self,
        selection: &Selection,
        budget: i64,
    ) -> Result<(Build, Vec<Finding>), VerifyFault> {
        let build = assemble(self.market, &self.orders, &self.problem, selection)?;
        let budget = Money::from_minor(budget, self.market.brief.budget.currency());
        let findings = verify(&build, self.market, budget, self.catalogue)?;
        Ok((build, findings))
    }
}

/// A step of a restricted problem, by the whole one's positions.
fn unrestricted_step(step: Step, keep: &[Vec<bool>]) -> Step {
    Step {
        selection: unrestricted(step.selection, keep),
        ..step
    }
}

/// A selection of kept choices, by the restricted problem's positions.
fn restricted(selection: &[usize], keep: &[Vec<bool>]) -> Selection {
    let position =
        |(keep, chosen): (&Vec<bool>, &usize)| keep[..*chosen].iter().filter(|keep| **keep).count();
    keep.iter().zip(selection).map(position).collect()
}
