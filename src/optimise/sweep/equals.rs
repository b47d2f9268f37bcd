//! Of all selections that are equal in score and cost, the one to show.

use super::tables::{Open, Tables};
use super::{Step, TooWide};
use crate::optimise::problem::{Problem, Selection};

/// Partial selections that may be looked at before the search gives up.
const MOST_VISITS: usize = 2_000_000;

/// Among the selections with a step's score and cost, the one with the fewest changes from the
/// standing choices; among those, the one with the first choice in the first group, and so on.
///
/// # Errors
/// [`TooWide`]
pub fn first_among_equals(problem: &Problem, step: &Step) -> Result<Selection, TooWide> {
    let within = Problem {
        budget: step.cost,
        ..problem.clone()
    };
    // In the problem's own order, so that the first that is found is the first there is.
    let order: Vec<usize> = (0..problem.groups.len()).collect();
    let Some(tables) = Tables::in_order(&within, order)? else {
        return Ok(step.selection.clone());
    };
    let mut search = Search {
        problem: &within,
        beaten: step.score.0.saturating_sub(1),
        orders: (0..tables.groups())
            .map(|place| tables.by_position(place))
            .collect(),
        open: Open::of(&tables),
        tables,
        visits: 0,
        chosen: Vec::new(),
    };
    let most = problem.changes(&step.selection);
    for changes in 0..most {
        if let Some(found) = search.descend(changes)? {
            return Ok(found);
        }
    }
    // The step's own selection has so many changes, so something is found.
    Ok(search
        .descend(most)?
        .unwrap_or_else(|| step.selection.clone()))
}

struct Search<'p> {
    problem: &'p Problem,
    tables: Tables,
    beaten: i64,
    orders: Vec<Vec<usize>>,
    open: Open,
    visits: usize,
    chosen: Vec<usize>,
}

impl Search<'_> {
    /// The first selection with at most so many changes more.
    fn descend(&mut self, changes_left: i64) -> Result<Option<Selection>, TooWide> {
        let place = self.chosen.len();
        if place == self.tables.groups() {
            return Ok(Some(self.tables.selection(&self.chosen)));
        }
        for at in 0..self.orders[place].len() {
            let choice = self.orders[place][at];
            let (group, position) = self.tables.original(place, choice);
            let is_change = !self.problem.groups[group][position].is_standing;
            let left = changes_left - i64::from(is_change);
            if left < 0 {
                continue;
            }
            self.visits += 1;
            if self.visits > MOST_VISITS {
                return Err(TooWide);
            }
            self.open.set(&self.tables, &self.chosen);
            if self
                .open
                .bound_with(&self.tables, choice, self.beaten)
                .is_none()
            {
                continue;
            }
            self.chosen.push(choice);
            let found = self.descend(left)?;
            self.chosen.pop();
            if found.is_some() {
                return Ok(found);
            }
        }
        Ok(None)
    }
}
