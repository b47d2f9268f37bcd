//! Of all selections that are equal in score and cost, the one to show.

use super::open::{Bar, Open};
use super::tables::Tables;
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
        let Some(tables) = self.tables.as_mut().filter(|_| !step.is_first) else {
            return Ok(step.selection.clone());
        };
        tables.set_budget(step.cost);
        let tables = &*tables;
        let mut search = Search {
            problem: self.problem,
            bar: Bar::least(step.score.0),
            open: vec![Open::of(tables); tables.groups()],
            chosen: Vec::new(),
            tables,
            visits: 0,
            first: First::of(self.problem, step.selection.clone()),
        };
        search.descend()?;
        Ok(search.first.selection)
    }
}

/// The first so far of selections that are equal in score and cost.
pub(super) struct First {
    changes: i64,
    pub selection: Selection,
}

impl First {
    pub fn of(problem: &Problem, selection: Selection) -> First {
        First {
            changes: problem.changes(&selection),
            selection,
        }
    }

    /// Whether some completion of these choices has fewer changes, or as many and comes before it:
    /// each open group might still take its first choice, unchanged.
    pub fn may_be_preceded(&self, problem: &Problem, tables: &Tables, chosen: &[usize]) -> bool {
        let mut least: Selection = vec![0; tables.groups()];
        let mut changes = 0;
        for (place, choice) in chosen.iter().enumerate() {
            let (group, position) = tables.original(place, *choice);
            least[group] = position;
            changes += i64::from(!problem.groups[group][position].is_standing);
        }
        changes < self.changes || (changes == self.changes && least < self.selection)
    }
}

/// Depth first in the tables' order, where scores and costs prune most. The order that breaks ties
/// is the problem's, so that the whole is searched for what may still come before the first so far.
struct Search<'p> {
    problem: &'p Problem,
    tables: &'p Tables,
    bar: Bar,
    /// By depth, so that coming back to a node finds it as it was.
    open: Vec<Open>,
    /// In the tables' order.
    chosen: Vec<usize>,
    visits: usize,
    first: First,
}

impl Search<'_> {
    fn descend(&mut self) -> Result<(), TooWide> {
        let place = self.chosen.len();
        if place == self.tables.groups() {
            self.first = First::of(self.problem, self.tables.selection(&self.chosen));
            return Ok(());
        }
        self.open[place].set(self.tables, &self.chosen);
        for choice in 0..self.open[place].affordable(self.tables) {
            self.visits += 1;
            if self.visits > MOST_VISITS {
                return Err(TooWide);
            }
            let open = &mut self.open[place];
            if open.bound_with(self.tables, choice, self.bar).is_none() {
                continue;
            }
            self.chosen.push(choice);
            if self
                .first
                .may_be_preceded(self.problem, self.tables, &self.chosen)
            {
                self.descend()?;
            }
            self.chosen.pop();
        }
        Ok(())
    }
}
