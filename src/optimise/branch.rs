//! Problems with orders, by turns: with every way to order settled, a problem is one of roles alone.
//!
//! A node settles the ways of some orders and bundles and leaves the others open. What is left open
//! costs the least that it can and asks for the least, so that the roles alone, swept as ever, tell
//! what anything in the node costs at least and scores at most. Nodes are taken up in the order of
//! that bound; where the ways that go with the roles' choices cost what the bound says, the bound
//! is the answer, and else the order that is furthest off is settled in each of its ways.
//!
//! A problem without orders is swept as it is, and so is one that takes too many nodes.
//!
//! Start reading at [`climb`].

use super::problem::{Problem, Selection};
use super::sweep::{self, Step, TooWide, Wanted};
use super::work::Work;
use crate::rates::Score;
use relaxed::{Asked, Relaxed, Ways};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

mod relaxed;

/// Nodes that are looked at before the search gives up.
const MOST_NODES: usize = 20_000;

/// Finds the steps up to the problem's budget, cheapest first.
///
/// # Errors
/// [`TooWide`]
pub fn climb(problem: &Problem, wanted: Wanted) -> Result<Vec<Step>, TooWide> {
    let Some(relaxed) = Relaxed::of(problem) else {
        return sweep::sweep(problem, wanted);
    };
    let work = Work::unbounded();
    match Branching::new(&relaxed, Order::Cheapest, &work).climb(wanted) {
        Err(TooWide) => sweep::sweep(problem, wanted),
        steps => steps,
    }
}

/// What a search for the best step came to.
pub enum Topped {
    /// The best step, if there is any.
    Best(Option<Step>),
    /// The best so far; nothing scores more than `bound`.
    CutShort { step: Step, bound: Score },
}

/// Finds the best step within the problem's budget, if it scores at least so much, or the best that
/// so much work brings.
///
/// # Errors
/// [`TooWide`]
pub fn top(problem: &Problem, least_score: Score, work: &Work) -> Result<Topped, TooWide> {
    let Some(relaxed) = Relaxed::of(problem) else {
        return sweep::top_within(problem, least_score, work).map(Topped::Best);
    };
    match Branching::new(&relaxed, Order::Best, work).top(least_score) {
        Err(TooWide) if !work.is_spent() => sweep::top(problem, least_score).map(Topped::Best),
        topped => topped,
    }
}

/// Of the selections that are equal in score and cost, the one to show.
pub struct Equals<'p> {
    problem: &'p Problem,
    laid_out: LaidOut<'p>,
}

enum LaidOut<'p> {
    Plain(Box<sweep::Equals<'p>>),
    Ordered(Box<Relaxed<'p>>),
}

impl<'p> Equals<'p> {
    /// Lays a problem out once for all its steps.
    ///
    /// # Errors
    /// [`TooWide`]
    pub fn of(problem: &'p Problem) -> Result<Equals<'p>, TooWide> {
        let laid_out = match Relaxed::of(problem) {
            Some(relaxed) => LaidOut::Ordered(Box::new(relaxed)),
            None => LaidOut::Plain(Box::new(sweep::Equals::of(problem)?)),
        };
        Ok(Equals { problem, laid_out })
    }

    /// The first among equals of a step.
    ///
    /// # Errors
    /// [`TooWide`]
    pub fn first(&mut self, step: &Step) -> Result<Selection, TooWide> {
        match &mut self.laid_out {
            LaidOut::Plain(equals) => equals.first(step),
            LaidOut::Ordered(relaxed) => match first_in(self.problem, relaxed, step) {
                Err(TooWide) => sweep::first_among_equals(self.problem, step),
                selection => selection,
            },
        }
    }
}

/// Every node that holds a selection of this score and cost is settled to the end; what comes first
/// in any of them comes first.
fn first_in(problem: &Problem, relaxed: &Relaxed<'_>, step: &Step) -> Result<Selection, TooWide> {
    let rank = |selection: &Selection| (problem.changes(selection), selection.clone());
    let mut first = rank(&step.selection);
    let mut open = vec![relaxed.all_open()];
    let mut n_nodes = 0;
    while let Some(ways) = open.pop() {
        n_nodes += 1;
        if n_nodes > MOST_NODES {
            return Err(TooWide);
        }
        let asked = (Asked::Cheapest(step.score), step.cost);
        let Some(found) = relaxed.ask(&ways, asked, &Work::unbounded())? else {
            continue;
        };
        let completed = relaxed.completed(&found.selection, &ways)?;
        let Some(group) = relaxed.to_settle(&ways, &found.selection, completed.as_ref()) else {
            let shown = relaxed.first_among_equals(&ways, step)?;
            first = first.min(rank(&shown));
            continue;
        };
        open.extend(relaxed.settled(&ways, group));
    }
    Ok(first.1)
}

/// What a queue of nodes is ordered by.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Order {
    /// The least cost, then the best score.
    Cheapest,
    /// The best score, then the least cost.
    Best,
}

struct Node {
    ways: Ways,
    /// Of the roles: what anything in the node costs at least, and at that cost scores at most.
    bound: Step,
}

struct Branching<'r, 'p> {
    relaxed: &'r Relaxed<'p>,
    order: Order,
    work: &'r Work,
    nodes: Vec<Node>,
    queue: BinaryHeap<Reverse<(i64, i64, usize)>>,
}

impl<'r, 'p> Branching<'r, 'p> {
    fn new(relaxed: &'r Relaxed<'p>, order: Order, work: &'r Work) -> Branching<'r, 'p> {
        Branching {
            relaxed,
            order,
            work,
            nodes: Vec::new(),
            queue: BinaryHeap::new(),
        }
    }

    /// Bounds a node and puts it into the queue, if it can hold what is asked for.
    fn push(&mut self, ways: Ways, asked: Asked) -> Result<(), TooWide> {
        if self.nodes.len() >= MOST_NODES {
            return Err(TooWide);
        }
        let budget = self.relaxed.budget();
        if let Some(bound) = self.relaxed.ask(&ways, (asked, budget), self.work)? {
            let (cost, score) = (bound.cost, -bound.score.0);
            let (one, two) = match self.order {
                Order::Cheapest => (cost, score),
                Order::Best => (score, cost),
            };
            self.queue.push(Reverse((one, two, self.nodes.len())));
            self.nodes.push(Node { ways, bound });
        }
        Ok(())
    }

    fn pop(&mut self) -> Option<Node> {
        let Reverse((_, _, number)) = self.queue.pop()?;
        let node = &mut self.nodes[number];
        Some(Node {
            ways: std::mem::take(&mut node.ways),
            bound: node.bound.clone(),
        })
    }

    /// What the choices of a node's bound cost in the ways that go with them, if any do.
    fn completed(&self, node: &Node) -> Result<Option<Step>, TooWide> {
        let relaxed = self.relaxed;
        let completed = relaxed.completed(&node.bound.selection, &node.ways)?;
        Ok(completed.map(|selection| Step {
            cost: relaxed.cost(&selection),
            score: node.bound.score,
            selection,
            is_first: false,
        }))
    }

    /// Settles one order more of a node whose bound is not what its choices cost.
    fn branch(
        &mut self,
        node: &Node,
        completed: Option<&Step>,
        asked: Asked,
    ) -> Result<(), TooWide> {
        let relaxed = self.relaxed;
        let completed = completed.map(|step| &step.selection);
        // With everything settled and nothing to complete it, the node holds nothing.
        if let Some(group) = relaxed.to_settle(&node.ways, &node.bound.selection, completed) {
            for ways in relaxed.settled(&node.ways, group) {
                self.push(ways, asked)?;
            }
        }
        Ok(())
    }

    fn top(mut self, least_score: Score) -> Result<Topped, TooWide> {
        let mut best: Option<Step> = None;
        let ahead = |step: &Step| (Reverse(step.score), step.cost);
        self.push(self.relaxed.all_open(), Asked::Top(least_score))?;
        while let Some(node) = self.pop() {
            let is_behind = |best: &Step| ahead(best) <= ahead(&node.bound);
            if best.as_ref().is_some_and(is_behind) {
                break;
            }
            let step = self.completed(&node)?;
            let within = step
                .as_ref()
                .filter(|step| step.cost <= self.relaxed.budget());
            if let Some(step) = within
                && best.as_ref().is_none_or(|best| ahead(step) < ahead(best))
            {
                best = Some(step.clone());
            }
            if step
                .as_ref()
                .is_some_and(|step| step.cost <= node.bound.cost)
            {
                continue;
            }
            let least = best.as_ref().map_or(least_score, |best| best.score);
            match (self.branch(&node, step.as_ref(), Asked::Top(least)), best) {
                (Ok(()), so_far) => best = so_far,
                // Nodes come best first: what is left scores no more than this one.
                (Err(TooWide), Some(step)) if self.work.is_spent() => {
                    let bound = node.bound.score;
                    return Ok(Topped::CutShort { step, bound });
                }
                (Err(TooWide), _) => return Err(TooWide),
            }
        }
        Ok(Topped::Best(best))
    }

    fn climb(mut self, wanted: Wanted) -> Result<Vec<Step>, TooWide> {
        let mut steps: Vec<Step> = Vec::new();
        let mut least = wanted.least_score;
        self.push(self.relaxed.all_open(), Asked::Cheapest(least))?;
        while let Some(node) = self.pop() {
            let is_over = |last: &Step| last.score >= wanted.enough && last.cost < node.bound.cost;
            if steps.last().is_some_and(is_over) {
                break;
            }
            // A step was taken since: what comes next in this node costs as much, or more.
            if node.bound.score < least {
                self.push(node.ways, Asked::Cheapest(least))?;
                continue;
            }
            let completed = self.completed(&node)?;
            let is_bound = |step: &&Step| step.cost == node.bound.cost;
            let Some(step) = completed.as_ref().filter(is_bound).cloned() else {
                self.branch(&node, completed.as_ref(), Asked::Cheapest(least))?;
                continue;
            };
            if step.score.0 == i64::MAX {
                steps.push(step);
                break;
            }
            least = Score(step.score.0 + 1);
            // A better one at the same cost takes the place of the last.
            if steps.last().is_some_and(|last| last.cost == step.cost) {
                steps.pop();
            }
            steps.push(step);
            self.push(node.ways, Asked::Cheapest(least))?;
        }
        Ok(steps)
    }
}
