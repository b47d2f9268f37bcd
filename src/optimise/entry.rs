//! Entry prices: the highest landed price at which an optimal build would take a part.
//!
//! Let the best build without the part score s and cost c, under a budget b. A build with the part
//! beats it if it scores more and keeps the budget, or scores as much and costs no more. So with
//! k(s) the least that all else costs in a build with the part that scores at least s, the entry
//! price is the larger of b − k(s + 1) and c − k(s). Both are found by one climb, with the part had
//! for nothing: an entry price is that of the part delivered on its own, in no other order.

use super::engine::ClimbFault;
use super::question::Question;
use super::sweep::{Step, Wanted};
use crate::catalogue::PartId;
use crate::market::RoleId;
use crate::money::Money;
use crate::rates::Score;

/// What a part would have to cost to be in an optimal build.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EntryPrice {
    pub part: PartId,
    pub role: RoleId,
    /// What the role's quantity costs delivered today; `None` where no offer counts.
    pub landed: Option<Money>,
    /// The highest landed price at which an optimal build takes it; at this price itself it may
    /// be one of several. `None` when no price would do.
    pub entry: Option<Money>,
}

/// The entry price of every part that is offered for a role.
///
/// # Errors
/// [`ClimbFault`]
pub fn entry_prices(question: &Question<'_>, group: usize) -> Result<Vec<EntryPrice>, ClimbFault> {
    prices_of(question, group, false)
}

/// The entry price of every part that could fill a role and that nobody offers, in a market that has
/// them as candidates.
///
/// # Errors
/// [`ClimbFault`]
pub fn unoffered_entry_prices(
    question: &Question<'_>,
    group: usize,
) -> Result<Vec<EntryPrice>, ClimbFault> {
    prices_of(question, group, true)
}

/// The entry price of one candidate's part, whether it is offered or not.
///
/// # Errors
/// [`ClimbFault`]
pub fn entry_price_at(
    question: &Question<'_>,
    (group, position): (usize, usize),
) -> Result<EntryPrice, ClimbFault> {
    let best = best_of_offered(question, group)?;
    entry_price(question, (group, position), best.as_ref())
}

fn prices_of(
    question: &Question<'_>,
    group: usize,
    are_unoffered: bool,
) -> Result<Vec<EntryPrice>, ClimbFault> {
    let best = best_of_offered(question, group)?;
    let candidates = &question.market.candidates[group];
    let is_first = |position: &usize| {
        let before = position.checked_sub(1).map(|before| &candidates[before]);
        before.is_none_or(|before| before.part.id != candidates[*position].part.id)
    };
    (0..candidates.len())
        .filter(is_first)
        .filter(|position| question.market.is_unoffered(group, *position) == are_unoffered)
        .map(|position| entry_price(question, (group, position), best.as_ref()))
        .collect()
}

/// The best step of what is offered: no part that nobody offers is in it.
pub(super) fn best_of_offered(
    question: &Question<'_>,
    group: usize,
) -> Result<Option<Step>, ClimbFault> {
    let candidates = 0..question.market.candidates[group].len();
    let unoffered: Vec<bool> = candidates
        .map(|position| question.market.is_unoffered(group, position))
        .collect();
    match unoffered.contains(&true) {
        // What costs nothing dominates much that is offered.
        true => best_without(question, group, &unoffered),
        false => question.best_within(question.undominated()),
    }
}

/// The entry price of one candidate's part, beside the best step of all.
pub(super) fn entry_price(
    question: &Question<'_>,
    (group, position): (usize, usize),
    best: Option<&Step>,
) -> Result<EntryPrice, ClimbFault> {
    let role = &question.market.brief.roles[group];
    let candidate = &question.market.candidates[group][position];
    let same = question.same_part(group, position);
    let without = match best {
        // Whether the best build needs it: what would be best if it could not be had.
        Some(step) if same[step.selection[group]] => best_without(question, group, &same)?,
        best => best.cloned(),
    };
    let entry = entry_of(question, (group, position), without.as_ref())?;
    let currency = question.market.brief.budget.currency();
    Ok(EntryPrice {
        part: candidate.part.id.clone(),
        role: role.id.clone(),
        landed: (!question.market.is_unoffered(group, position)).then_some(candidate.landed),
        entry: entry.map(|minor| Money::from_minor(minor, currency)),
    })
}

/// The best step without the marked choices of a group. What those dominated may be in it.
pub(super) fn best_without(
    question: &Question<'_>,
    group: usize,
    marked: &[bool],
) -> Result<Option<Step>, ClimbFault> {
    question.best_within(&question.keep_with(group, |one| !marked[one]))
}

fn entry_of(
    question: &Question<'_>,
    at: (usize, usize),
    without: Option<&Step>,
) -> Result<Option<i64>, ClimbFault> {
    let budget = question.problem.budget;
    let wanted = match without {
        None => Wanted::cheapest_with(Score(i64::MIN)),
        Some(step) => Wanted {
            least_score: step.score,
            enough: Score(step.score.0.saturating_add(1)),
        },
    };
    let steps = question.steps_given(at, budget, wanted)?;
    let prices = steps.iter().map(|step| match without {
        Some(without) if step.score == without.score => without.cost - step.cost,
        _ => budget - step.cost,
    });
    // Nobody pays to be rid of a part: below nothing there is no price.
    Ok(prices.max().filter(|price| *price >= 0))
}
