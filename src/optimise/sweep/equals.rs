//! Of all selections that are equal in score and cost, the one to show.

use super::tables::{Open, Tables};
use super::{Step, TooWide};
use crate::optimise::problem::{Problem, Selection};

/// Partial selections that may be looked at before the search gives up.
const MOST_VISITS: usize = 2_000_000;

/// A problem whose steps are settled one after the other.
pub struct Equals<'p> {
    problem: &'p Problem,
    /// `None` where some group has no choice.
    tables: Option<Tables>,
}

/// Among the selections with a step's score and cost, the one with the fewest changes from the
/// standing choices; among those, the one with the first choice in the first group, and so on.
///
/// # Errors
/// [`TooWide`]
pub fn first_among_equals(problem: &Problem, step: &Step) -> Result<Selection, TooWide> {
    Equals::of(problem)?.first(step)
}

impl Equals<'_> {
    /// Lays the problem out once for all its steps.
    ///
    /// # Errors
    /// [`TooWide`]
    pub fn of(problem: &Problem) -> Result<Equals<'_>, TooWide> {
        let tables = Tables::of(problem)?;
        Ok(Equals { problem, tables })
    }

    /// As [`first_among_equals`].
    ///
    /// # Errors
    /// [`TooWide`]
    pub fn first(&mut self, step: &Step) -> Result<Selection, TooWide> {
        let Some(tables) = &mut self.tables else {
            return Ok(step.selection.clone());
        };
        tables.set_budget(step.cost);
        let tables = &*tables;
        let mut search = Search {
            problem: self.problem,
            beaten: step.score.0.saturating_sub(1),
            open: vec![Open::of(tables); tables.groups()],
            chosen: Vec::new(),
            partial: vec![None; tables.groups()],
            tables,
            visits: 0,
            first: (
                self.problem.changes(&step.selection),
                step.selection.clone(),
            ),
        };
        search.descend(0)?;
        Ok(search.first.1)
    }
}

/// Depth first in the tables' order, where scores and costs prune most. The order that breaks ties
/// is the problem's, so that the whole is searched for what may still come before the first so far.
struct Search<'p> {
    problem: &'p Problem,
    tables: &'p Tables,
    beaten: i64,
    /// By depth, so that coming back to a node finds it as it was.
    open: Vec<Open>,
    /// In the tables' order, and the same by the problem's groups and positions.
    chosen: Vec<usize>,
    partial: Vec<Option<usize>>,
    visits: usize,
    /// The first so far, with its changes.
    first: (i64, Selection),
}

impl Search<'_> {
    fn descend(&mut self, changes: i64) -> Result<(), TooWide> {
        let place = self.chosen.len();
        if place == self.tables.groups() {
            self.first = (changes, self.tables.selection(&self.chosen));
            return Ok(());
        }
        self.open[place].set(self.tables, &self.chosen);
        for choice in 0..self.tables.size(place) {
            self.visits += 1;
            if self.visits > MOST_VISITS {
                return Err(TooWide);
            }
            let bound = self.open[place].bound_with(self.tables, choice, self.beaten);
            if bound.is_none() {
                continue;
            }
            let (group, position) = self.tables.original(place, choice);
            let is_change = !self.problem.groups[group][position].is_standing;
            let changes = changes + i64::from(is_change);
            self.chosen.push(choice);
            self.partial[group] = Some(position);
            if self.may_come_first(changes) {
                self.descend(changes)?;
            }
            self.partial[group] = None;
            self.chosen.pop();
        }
        Ok(())
    }

    /// Whether some completion has fewer changes than the first so far, or as many and comes
    /// before it: each open group might still take its first choice.
    fn may_come_first(&self, changes: i64) -> bool {
        let (fewest, first) = &self.first;
        let least = self.partial.iter().map(|position| position.unwrap_or(0));
        changes < *fewest || (changes == *fewest && least.lt(first.iter().copied()))
    }
}
