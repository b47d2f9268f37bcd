//! Entry prices: the highest landed price at which an optimal build would take a part.
//!
//! Let the best build without the part score s and cost c, under a budget b. A build with the part
//! beats it if it scores more and keeps the budget, or scores as much and costs no more. So with
//! k(s) the least that all else costs in a build with the part that scores at least s, the entry
//! price is the larger of b − k(s + 1) and c − k(s). Both are found by one climb.

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
    /// What the role's quantity costs delivered today.
    pub landed: Money,
    /// The highest landed price at which an optimal build takes it; at this price itself it may
    /// be one of several. `None` when no price would do.
    pub entry: Option<Money>,
}

/// The entry prices of every candidate of a role.
///
/// # Errors
/// [`ClimbFault`]
pub fn entry_prices(question: &Question<'_>, group: usize) -> Result<Vec<EntryPrice>, ClimbFault> {
    let role = &question.market.brief.roles[group];
    let currency = question.market.brief.budget.currency();
    let best = question.best_within(question.undominated())?;
    let picked = best.as_ref().map(|step| step.selection[group]);
    let candidates = question.market.candidates[group].iter().enumerate();
    candidates
        .map(|(position, candidate)| {
            let without = match picked == Some(position) {
                // Whether the best build needs it: what would be best if it could not be had.
                true => best_without(question, group, position)?,
                false => best.clone(),
            };
            let entry = entry_of(question, group, position, without.as_ref())?;
            Ok(EntryPrice {
                part: candidate.part.id.clone(),
                role: role.id.clone(),
                landed: candidate.landed,
                entry: entry.map(|minor| Money::from_minor(minor, currency)),
            })
        })
        .collect()
}

/// The best step without one choice. What that choice dominated may be in it.
pub(super) fn best_without(
    question: &Question<'_>,
    group: usize,
    position: usize,
) -> Result<Option<Step>, ClimbFault> {
    question.best_within(&question.keep_with(group, |one| one != position))
}

fn entry_of(
    question: &Question<'_>,
    group: usize,
    position: usize,
    without: Option<&Step>,
) -> Result<Option<i64>, ClimbFault> {
    let own = question.problem.groups[group][position].cost;
    let budget = question.problem.budget;
    // The climb pays for the part; what it pays is taken off again.
    let within = budget.saturating_add(own);
    let keep = question.keep_with(group, |one| one == position);
    let wanted = match without {
        None => Wanted::cheapest_with(Score(i64::MIN)),
        Some(step) => Wanted {
            least_score: step.score,
            enough: Score(step.score.0.saturating_add(1)),
        },
    };
    let steps = question.steps_within(&keep, within, wanted)?;
    let rest = |step: &Step| step.cost - own;
    let prices = steps.iter().map(|step| match without {
        Some(without) if step.score == without.score => without.cost - rest(step),
        _ => budget - rest(step),
    });
    // Nobody pays to be rid of a part: below nothing there is no price.
    Ok(prices.max().filter(|price| *price >= 0))
}
