//! An exact search in integers, for when the solver fails.
//!
//! Depth first over the groups, with [`possible`] striking out what no better selection can hold.
//! Slower than the solver on large problems, but it has no tolerances and cannot fail: it either
//! answers or gives up after a stated number of nodes.

use super::possible::possible;
use super::problem::{Problem, Selection};
use super::search::{Found, Goal, Settled};
use crate::rates::Score;

/// Searches for one goal; `None` when `most_nodes` did not suffice.
pub fn exhaust(
    problem: &Problem,
    goal: Goal,
    settled: &Settled,
    most_nodes: usize,
) -> Option<Found> {
    let mut search = Search {
        problem,
        goal,
        nodes_left: most_nodes,
        best: None,
    };
    let mut settled = Settled {
        leading: Vec::new(),
        ..settled.clone()
    };
    search.descend(&mut settled)?;
    Some(search.best.map_or(Found::Nothing, Found::Optimal))
}

struct Search<'p> {
    problem: &'p Problem,
    goal: Goal,
    nodes_left: usize,
    best: Option<Selection>,
}

impl Search<'_> {
    /// Tries every way to fill the groups after the leading ones; `None` when out of nodes.
    fn descend(&mut self, settled: &mut Settled) -> Option<()> {
        self.nodes_left = self.nodes_left.checked_sub(1)?;
        let group = settled.leading.len();
        if group == self.problem.groups.len() {
            if settled.admits(self.problem, &settled.leading) {
                self.best = Some(settled.leading.clone());
                self.demand_better(settled);
            }
            return Some(());
        }
        let keep = possible(self.problem, settled);
        if keep.iter().any(|keep| !keep.contains(&true)) {
            return Some(());
        }
        for position in (0..keep[group].len()).filter(|position| keep[group][*position]) {
            if self.is_no_better_here(group, position) {
                continue;
            }
            settled.leading.push(position);
            let went_on = self.descend(settled);
            settled.leading.pop();
            went_on?;
        }
        Some(())
    }

    /// From now on only what beats the best found is of interest.
    fn demand_better(&self, settled: &mut Settled) {
        let Some(best) = &self.best else { return };
        match self.goal {
            Goal::BestScore => {
                settled.least_score = Some(Score(self.problem.score(best).0 + 1));
            }
            Goal::LeastCost => settled.most_cost = Some(self.problem.cost(best) - 1),
            Goal::FewestChanges => settled.most_changes = Some(self.problem.changes(best) - 1),
            Goal::FirstOf(_) => {}
        }
    }

    fn is_no_better_here(&self, group: usize, position: usize) -> bool {
        let best = self.best.as_ref().map(|best| best[group]);
        self.goal == Goal::FirstOf(group) && best.is_some_and(|best| position >= best)
    }
}
