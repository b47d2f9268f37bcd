//! The ladder and its rungs by the problem's own structure, exactly and without a solver.
//!
//! Partial selections are taken up in the order of the least that any completion of them can cost.
//! So whatever is completed first at a score is the cheapest way to reach it, and everything that
//! cannot beat the best score completed so far is dropped: it costs at least as much. What is left
//! is the ladder, rung by rung, from the cheapest selection to the budget.
//!
//! The bounds come of few things: which choices of an open group stand with all that is chosen
//! (bits, cheapest first, so that the first bit is the least cost), how much of each balance is
//! left, and the best value that open groups still allow. All of it is integers; there are no
//! tolerances. A problem that is too wide for it ends the search after a stated number of nodes,
//! and then the integer program answers.
//!
//! Start reading at [`sweep`].

use super::problem::{Problem, Selection};
use crate::rates::Score;
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use tables::{Bound, Open, Tables};

mod equals;
mod stands;
mod tables;

pub use equals::{Equals, first_among_equals};

/// One step of the ladder: no selection that costs less reaches its score.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    pub cost: i64,
    pub score: Score,
    /// One selection of that cost and score; see [`first_among_equals`] for the one to show.
    pub selection: Selection,
}

/// Which steps to look for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Steps must score at least this.
    pub least_score: Score,
    /// A step that scores this much is the last.
    pub enough: Score,
}

impl Wanted {
    /// The whole ladder.
    pub const LADDER: Wanted = Wanted {
        least_score: Score(i64::MIN),
        enough: Score(i64::MAX),
    };

    /// The cheapest selection with at least this score.
    pub fn cheapest_with(score: Score) -> Wanted {
        Wanted {
            least_score: score,
            enough: score,
        }
    }
}

/// The search came to no end within its bound on nodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the problem is too wide to be swept")]
pub struct TooWide;

/// Partial selections that may be kept before the search gives up. Each takes some 32 bytes.
const MOST_NODES: usize = 4_000_000;

/// A partial selection: the one that it goes on from, and one choice more.
#[derive(Clone, Copy)]
struct Node {
    parent: u32,
    choice: u16,
    depth: u8,
}

/// What the queue is ordered by: the key of its bound; of equals the most complete, then the
/// oldest, so that the order never depends on chance.
type Entry = Reverse<(Key, Reverse<u8>, u32)>;

/// A bound in the order in which a search takes them up.
type Key = (i64, i64);

/// Partial selections, and those of them that are still to be taken up.
struct Search {
    nodes: Vec<Node>,
    queue: BinaryHeap<Entry>,
    key: fn(Bound) -> Key,
}

/// Finds the steps up to the problem's budget, cheapest first.
///
/// # Errors
/// [`TooWide`]
pub fn sweep(problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, TooWide> {
    let Some(tables) = Tables::of(problem)? else {
        return Ok(Vec::new());
    };
    let mut steps: Vec<Step> = Vec::new();
    let mut beaten = wanted.least_score.0.saturating_sub(1);
    let mut search = Search::by(|bound| (bound.cost, -bound.score));
    let mut open = Open::of(&tables);
    let mut chosen: Vec<usize> = Vec::new();
    search.push_children(&tables, &mut open, None, beaten)?;
    while let Some(((cost, score), number)) = search.pop() {
        let (cost, most_score) = (cost + tables.base, -score);
        let is_over = |last: &Step| last.score >= wanted.enough && last.cost < cost;
        if steps.last().is_some_and(is_over) {
            break;
        }
        if most_score <= beaten {
            continue;
        }
        search.path(number, &mut chosen);
        if chosen.len() < tables.groups() {
            open.set(&tables, &chosen);
            search.push_children(&tables, &mut open, Some(number), beaten)?;
            continue;
        }
        beaten = most_score;
        let step = Step {
            cost,
            score: Score(most_score),
            selection: tables.selection(&chosen),
        };
        // A better one at the same cost takes the place of the last.
        if steps.last().is_some_and(|last| last.cost == cost) {
            steps.pop();
        }
        steps.push(step);
    }
    Ok(steps)
}

/// Finds the best step within the problem's budget, if it scores at least so much: the top of the
/// ladder without the rungs below. Partial selections are taken up in the order of the best score
/// that any completion can have, then of the least cost, so that the first that is complete is it.
///
/// # Errors
/// [`TooWide`]
pub fn top(problem: &Problem, least_score: Score) -> Result<Option<Step>, TooWide> {
    let Some(tables) = Tables::of(problem)? else {
        return Ok(None);
    };
    let beaten = least_score.0.saturating_sub(1);
    let mut search = Search::by(|bound| (-bound.score, bound.cost));
    let mut open = Open::of(&tables);
    let mut chosen: Vec<usize> = Vec::new();
    search.push_children(&tables, &mut open, None, beaten)?;
    while let Some(((score, cost), number)) = search.pop() {
        search.path(number, &mut chosen);
        if chosen.len() == tables.groups() {
            return Ok(Some(Step {
                cost: cost + tables.base,
                score: Score(-score),
                selection: tables.selection(&chosen),
            }));
        }
        open.set(&tables, &chosen);
        search.push_children(&tables, &mut open, Some(number), beaten)?;
    }
    Ok(None)
}

impl Search {
    fn by(key: fn(Bound) -> Key) -> Search {
        Search {
            nodes: Vec::new(),
            queue: BinaryHeap::new(),
            key,
        }
    }

    fn pop(&mut self) -> Option<(Key, u32)> {
        let Reverse((key, _, number)) = self.queue.pop()?;
        Some((key, number))
    }

    /// The choices that lead to a node, in the tables' order.
    fn path(&self, number: u32, chosen: &mut Vec<usize>) {
        chosen.clear();
        let mut at = number as usize;
        loop {
            let node = self.nodes[at];
            chosen.push(usize::from(node.choice));
            if node.depth == 0 {
                break;
            }
            at = node.parent as usize;
        }
        chosen.reverse();
    }

    /// Puts what can still become a step into the queue, one choice further.
    fn push_children(
        &mut self,
        tables: &Tables,
        open: &mut Open,
        parent: Option<u32>,
        beaten: i64,
    ) -> Result<(), TooWide> {
        let depth = open.depth();
        for choice in 0..tables.size(depth) {
            let Some(bound) = open.bound_with(tables, choice, beaten) else {
                continue;
            };
            if self.nodes.len() >= MOST_NODES {
                return Err(TooWide);
            }
            // Below four million, so it fits; depth and choice were checked when the tables were
            // made.
            let number = self.nodes.len() as u32;
            self.nodes.push(Node {
                parent: parent.unwrap_or(0),
                choice: choice as u16,
                depth: depth as u8,
            });
            let key = (self.key)(bound);
            self.queue
                .push(Reverse((key, Reverse(depth as u8), number)));
        }
        Ok(())
    }
}
