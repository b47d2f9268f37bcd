//! The ladder and its rungs by the problem's own structure, exactly and without a solver.
//!
//! Partial selections are taken up in the order of the least that any completion of them can cost.
//! So whatever is completed first at a score is the cheapest way to reach it, and everything that
//! cannot beat the best score completed so far is dropped: it costs at least as much. What is left
//! is the ladder, rung by rung, from the cheapest selection to the budget. Whatever may equal the
//! best so far in score and cost is taken up as well, so that the first among equals is known.
//!
//! The bounds come of few things: which choices of an open group stand with all that is chosen
//! (bits, cheapest first, so that the first bit is the least cost), how much of each balance is
//! left, and the best value that open groups still allow. All of it is integers; there are no
//! tolerances. A problem that is too wide for it ends the search after a stated number of nodes,
//! and then the integer program answers.
//!
//! Start reading at [`sweep`].

use super::problem::{Problem, Selection};
use super::work::Work;
use crate::rates::Score;
use equals::First;
use open::{Bar, Bound, Open};
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use tables::Tables;

mod equals;
mod open;
mod stands;
mod tables;

pub use equals::{Equals, first_among_equals};

/// One step of the ladder: no selection that costs less reaches its score.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    pub cost: i64,
    pub score: Score,
    /// One selection of that cost and score.
    pub selection: Selection,
    /// It is known to be the one to show; otherwise see [`first_among_equals`].
    pub is_first: bool,
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

/// Partial selections that may be kept before the search gives up. Each takes 24 bytes.
const MOST_NODES: usize = 4_000_000;

/// A partial selection: the one that it goes on from, and one choice more. Those that go on from
/// the same one lie side by side in the order in which they are taken up.
#[derive(Clone, Copy)]
struct Node {
    bound: Bound,
    parent: u32,
    choice: u16,
    depth: u8,
    /// Of those that lie side by side.
    is_last: bool,
}

/// What the queue is ordered by: the key of its bound; of equals the most complete, then the
/// oldest, so that the order never depends on chance.
type Entry = Reverse<(Key, Reverse<u8>, u32)>;

/// A bound in the order in which a search takes them up.
type Key = (i64, i64);

/// Partial selections, and those of them that are still to be taken up: of those that lie side by
/// side the first is in the queue, the others behind it wait for their turn. Most are beaten before
/// it comes.
struct Search<'w> {
    nodes: Vec<Node>,
    queue: BinaryHeap<Entry>,
    order: Order,
    children: Vec<(Key, u16)>,
    work: &'w Work,
}

/// What is taken up first.
#[derive(Clone, Copy)]
enum Order {
    /// The least cost, then the best score.
    Cheapest,
    /// The best score, then the least cost.
    Best,
}

impl Order {
    fn key(self, bound: Bound) -> Key {
        match self {
            Order::Cheapest => (bound.cost, -bound.score),
            Order::Best => (-bound.score, bound.cost),
        }
    }

    fn bound(self, key: Key) -> Bound {
        let (cost, score) = match self {
            Order::Cheapest => (key.0, -key.1),
            Order::Best => (key.1, -key.0),
        };
        Bound { cost, score }
    }
}

/// Finds the steps up to the problem's budget, cheapest first.
///
/// # Errors
/// [`TooWide`]
pub fn sweep(problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, TooWide> {
    sweep_within(problem, wanted, &Work::unbounded())
}

/// The same with so much work at most.
pub(super) fn sweep_within(
    problem: &Problem,
    wanted: Wanted,
    work: &Work,
) -> Result<Vec<Step>, TooWide> {
    let Some(tables) = Tables::of(problem)? else {
        return Ok(Vec::new());
    };
    let mut search = Search::by(Order::Cheapest, work);
    let mut found: Vec<Found> = Vec::new();
    let mut bar = Bar::least(wanted.least_score.0);
    let mut open = Open::of(&tables);
    let mut chosen: Vec<usize> = Vec::new();
    search.push_children(&tables, &mut open, None, bar)?;
    while let Some((bound, number)) = search.pop(bar) {
        let is_over =
            |last: &Found| last.bound.score >= wanted.enough.0 && last.bound.cost < bound.cost;
        if found.last().is_some_and(is_over) {
            break;
        }
        if !bar.admits(bound) {
            continue;
        }
        search.path(number, &mut chosen);
        if let Some(last) = found.last_mut().filter(|_| bar.equals(bound))
            && !last.may_be_preceded(problem, &tables, &chosen, &mut bar)
        {
            continue;
        }
        if chosen.len() < tables.groups() {
            open.set(&tables, &chosen);
            search.push_children(&tables, &mut open, Some(number), bar)?;
            continue;
        }
        // The first among its equals, or a better one at the same cost, takes the place of the last.
        let last = found.pop_if(|last| last.bound.cost == bound.cost);
        found.push(Found::of(problem, &tables, (bound, &chosen), last));
        bar = Bar::equal_to(bound);
    }
    Ok(found.into_iter().map(|found| found.step(&tables)).collect())
}

/// Finds the best step within the problem's budget, if it scores at least so much: the top of the
/// ladder without the rungs below. Partial selections are taken up in the order of the best score
/// that any completion can have, then of the least cost, so that the first that is complete is it.
///
/// # Errors
/// [`TooWide`]
pub fn top(problem: &Problem, least_score: Score) -> Result<Option<Step>, TooWide> {
    top_within(problem, least_score, &Work::unbounded())
}

/// The same with so much work at most.
pub(super) fn top_within(
    problem: &Problem,
    least_score: Score,
    work: &Work,
) -> Result<Option<Step>, TooWide> {
    let Some(tables) = Tables::of(problem)? else {
        return Ok(None);
    };
    let mut search = Search::by(Order::Best, work);
    let mut found: Option<Found> = None;
    let mut bar = Bar::least(least_score.0);
    let mut open = Open::of(&tables);
    let mut chosen: Vec<usize> = Vec::new();
    search.push_children(&tables, &mut open, None, bar)?;
    while let Some((bound, number)) = search.pop(bar) {
        if found.is_some() && !bar.equals(bound) {
            break;
        }
        search.path(number, &mut chosen);
        if let Some(first) = &mut found
            && !first.may_be_preceded(problem, &tables, &chosen, &mut bar)
        {
            continue;
        }
        if chosen.len() < tables.groups() {
            open.set(&tables, &chosen);
            search.push_children(&tables, &mut open, Some(number), bar)?;
            continue;
        }
        found = Some(Found::of(problem, &tables, (bound, &chosen), found));
        bar = Bar::equal_to(bound);
    }
    Ok(found.map(|found| found.step(&tables)))
}

/// A step as the search has it.
struct Found {
    bound: Bound,
    first: First,
    /// Partial selections that were taken up in search of one that comes before it.
    n_equals: usize,
}

/// So many partial selections are taken up for the first among equals, and then it is left open.
const MOST_EQUALS: usize = 20_000;

impl Found {
    /// Complete choices, which take the place of these before them.
    fn of(
        problem: &Problem,
        tables: &Tables,
        (bound, chosen): (Bound, &[usize]),
        before: Option<Found>,
    ) -> Found {
        let equal = before.filter(|before| before.bound == bound);
        Found {
            bound,
            first: First::of(problem, tables.selection(chosen)),
            n_equals: equal.map_or(0, |equal| equal.n_equals),
        }
    }

    /// Whether something that equals it and goes on from these choices may come before it. When too
    /// many were asked about, the bar admits equals no more.
    fn may_be_preceded(
        &mut self,
        problem: &Problem,
        tables: &Tables,
        chosen: &[usize],
        bar: &mut Bar,
    ) -> bool {
        self.n_equals += 1;
        if self.n_equals > MOST_EQUALS {
            bar.equal_at = None;
            return false;
        }
        self.first.may_be_preceded(problem, tables, chosen)
    }

    fn step(self, tables: &Tables) -> Step {
        Step {
            cost: self.bound.cost + tables.base,
            score: Score(self.bound.score),
            selection: self.first.selection,
            is_first: self.n_equals <= MOST_EQUALS,
        }
    }
}

impl<'w> Search<'w> {
    fn by(order: Order, work: &'w Work) -> Search<'w> {
        Search {
            nodes: Vec::new(),
            queue: BinaryHeap::new(),
            order,
            children: Vec::new(),
            work,
        }
    }

    /// The next one, and in the queue the next of those beside it that the bar admits.
    fn pop(&mut self, bar: Bar) -> Option<(Bound, u32)> {
        let Reverse((_, _, number)) = self.queue.pop()?;
        let mut at = number as usize;
        while !self.nodes[at].is_last {
            at += 1;
            if bar.admits(self.nodes[at].bound) {
                self.enqueue(at as u32);
                break;
            }
        }
        Some((self.nodes[number as usize].bound, number))
    }

    fn enqueue(&mut self, number: u32) {
        let node = &self.nodes[number as usize];
        let key = self.order.key(node.bound);
        self.queue.push(Reverse((key, Reverse(node.depth), number)));
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
        bar: Bar,
    ) -> Result<(), TooWide> {
        let depth = open.depth();
        self.children.clear();
        let n_choices = open.affordable(tables);
        self.work.spend(n_choices)?;
        for choice in 0..n_choices {
            if let Some(bound) = open.bound_with(tables, choice, bar) {
                // Depth and choice were checked when the tables were made.
                self.children.push((self.order.key(bound), choice as u16));
            }
        }
        if self.nodes.len() + self.children.len() > MOST_NODES {
            return Err(TooWide);
        }
        self.children.sort_unstable();
        // Below four million, so it fits.
        let first = self.nodes.len() as u32;
        let nodes = self.children.iter().map(|(key, choice)| Node {
            bound: self.order.bound(*key),
            parent: parent.unwrap_or(0),
            choice: *choice,
            depth: depth as u8,
            is_last: false,
        });
        self.nodes.extend(nodes);
        if let Some(last) = self.nodes[first as usize..].last_mut() {
            last.is_last = true;
            self.enqueue(first);
        }
        Ok(())
    }
}
