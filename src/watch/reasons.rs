//! Why a part is in a brief's best build or not, and at what price it would be.

use super::asking::{AskFault, Asked, Doing as _};
use crate::catalogue::PartId;
use crate::market::{LeftOut, Listed, Market, market};
use crate::optimise::{
    Bindings, Effort, EntryPrice, KeptOut, Question, QuestionFault, Reason, Rung, SweeperFirst,
    Why, bindings, entry_price_at, entry_prices, unoffered_entry_prices, why,
};

/// What is known of a part's place.
pub struct Reasons {
    /// In every role that it could fill, with what holds a pick where it is.
    pub words: Vec<(Why, Option<Bindings>)>,
    /// Why offers of the part are not considered.
    pub left_out: Vec<String>,
}

/// Asks why. `told` hears what is being done.
///
/// # Errors
/// [`AskFault`]
pub fn reasons(
    asked: &Asked,
    part: &PartId,
    effort: Effort,
    told: &dyn Fn(&str),
) -> Result<Reasons, AskFault> {
    let market = asked.market();
    let engine = SweeperFirst(effort);
    let question = Question::new(&market, &asked.settings.catalogue, &asked.standing, &engine);
    let mut words = Vec::new();
    for (group, position) in seats(&market, part) {
        told(&format!("asking why {part}"));
        let word = why(&question, group, position).doing("cannot tell why")?;
        let held = match word.reason {
            Reason::Picked { .. } => bindings(&question, &asked.listed, group),
            _ => Ok(None),
        };
        words.push((word, held.doing("cannot tell what holds it")?));
    }
    let left_out = match words.is_empty() {
        true => left_out(asked, part),
        false => Vec::new(),
    };
    if words.is_empty() {
        told(&format!("asking what {part} might cost"));
        let unoffered = unoffered(asked, &market, part, effort).doing("cannot tell why")?;
        words = unoffered.into_iter().map(|word| (word, None)).collect();
    }
    Ok(Reasons { words, left_out })
}

/// The entry prices of a role: of what is offered, then of the catalogue's parts that no offer of today
/// counts for. Those are in a market of their own: what costs nothing would change what is in the others'
/// way.
///
/// # Errors
/// [`AskFault`]
pub fn entries(asked: &Asked, group: usize, effort: Effort) -> Result<Vec<EntryPrice>, AskFault> {
    let doing = "cannot work out entry prices";
    let catalogue = &asked.settings.catalogue;
    let offered = asked.market();
    let engine = SweeperFirst(effort);
    let question = Question::new(&offered, catalogue, &asked.standing, &engine);
    let mut found = entry_prices(&question, group).doing(doing)?;
    let market = offered.with_unoffered(group, catalogue, |_| true);
    let is_unoffered = |position| market.is_unoffered(group, position);
    if (0..market.candidates[group].len()).any(is_unoffered) {
        let question = Question::new(&market, catalogue, &asked.standing, &engine);
        found.extend(unoffered_entry_prices(&question, group).doing(doing)?);
    }
    Ok(found)
}

/// The entry prices of one part, in every role that it could fill.
///
/// # Errors
/// [`AskFault`]
pub fn entries_of(
    asked: &Asked,
    part: &PartId,
    effort: Effort,
) -> Result<Vec<EntryPrice>, AskFault> {
    let market = asked.market();
    let mut found = entries_in(asked, &market, part, effort)?;
    if found.is_empty() {
        for group in 0..market.brief.roles.len() {
            let catalogue = &asked.settings.catalogue;
            let market = market.with_unoffered(group, catalogue, |one| one.id == *part);
            found.extend(entries_in(asked, &market, part, effort)?);
        }
    }
    Ok(found)
}

fn entries_in(
    asked: &Asked,
    market: &Market<'_>,
    part: &PartId,
    effort: Effort,
) -> Result<Vec<EntryPrice>, AskFault> {
    let engine = SweeperFirst(effort);
    let question = Question::new(market, &asked.settings.catalogue, &asked.standing, &engine);
    let seats = seats(market, part).into_iter();
    let prices = seats.map(|seat| entry_price_at(&question, seat));
    let prices: Result<Vec<EntryPrice>, _> = prices.collect();
    prices.doing("cannot work out entry prices")
}

/// Whether an optimal build has the part at its price of today.
pub fn is_in(price: &EntryPrice) -> bool {
    lacking(price).is_some_and(|lacking| lacking <= 0)
}

/// By how much a part's price is above its entry price.
pub fn lacking(price: &EntryPrice) -> Option<i64> {
    Some(price.landed?.minor() - price.entry?.minor())
}

/// Points of score for 100 units of money, on the step up to a rung.
pub fn per_100(rung: &Rung) -> Option<f64> {
    let step = rung.step_up?;
    let unit = 10_f64.powi(step.cost.currency().exponent() as i32);
    let units = step.cost.minor() as f64 / unit;
    (units > 0.0).then(|| 100.0 * step.score.points() / units)
}

/// One reason that keeps a part out, in words.
pub fn kept_out(reason: &KeptOut) -> String {
    match reason {
        KeptOut::Budget { cheapest } => format!("the cheapest build with it costs {cheapest}"),
        KeptOut::Rule { id, states } => format!("the rule {id} keeps it out: {states}"),
        KeptOut::RulesTogether => "several fit rules together keep it out".to_owned(),
    }
}

/// What a part of which no offer counts might cost, in every role that it could fill.
fn unoffered(
    asked: &Asked,
    market: &Market<'_>,
    part: &PartId,
    effort: Effort,
) -> Result<Vec<Why>, QuestionFault> {
    let catalogue = &asked.settings.catalogue;
    let mut words = Vec::new();
    for group in 0..market.brief.roles.len() {
        let market = market.with_unoffered(group, catalogue, |one| one.id == *part);
        let engine = SweeperFirst(effort);
        for (group, position) in seats(&market, part) {
            let question = Question::new(&market, catalogue, &asked.standing, &engine);
            words.push(why(&question, group, position)?);
        }
    }
    Ok(words)
}

/// Where a part is a candidate: role and position.
fn seats(market: &Market<'_>, part: &PartId) -> Vec<(usize, usize)> {
    let groups = market.candidates.iter().enumerate();
    groups
        .filter_map(|(group, candidates)| {
            let position = candidates.iter().position(|one| one.part.id == *part)?;
            Some((group, position))
        })
        .collect()
}

/// Why a part is no candidate at all.
fn left_out(asked: &Asked, part: &PartId) -> Vec<String> {
    let own: Vec<Listed> = asked
        .listed
        .iter()
        .filter(|offer| offer.part == *part)
        .cloned()
        .collect();
    if own.is_empty() {
        let mut lines = vec!["no retailer offers it now".to_owned()];
        lines.extend(unfit(asked, part));
        return lines;
    }
    let alone = market(
        &asked.brief,
        &asked.settings.catalogue,
        &asked.retailers,
        &own,
    );
    let reasons = alone.left_out.iter();
    reasons
        .map(|(reason, count)| format!("{count} of its offers not considered: {}", reason.reason()))
        .collect()
}

/// Why the brief has no role for a part, whatever it costs.
fn unfit(asked: &Asked, part: &PartId) -> Option<String> {
    let brief = &asked.brief;
    let part = asked.settings.catalogue.parts.get(part)?;
    let reason = match brief.bans.admit_part(part) {
        false => LeftOut::Banned,
        true => {
            let reasons = brief.roles.iter().map(|role| brief.may_fill(role, part));
            let reasons: Option<Vec<LeftOut>> = reasons.map(Result::err).collect();
            // A role of its own kind says more than all the others.
            let reasons = reasons?.into_iter();
            reasons.max_by_key(|reason| *reason != LeftOut::NoRole)?
        }
    };
    Some(format!(
        "its offers would not be considered: {}",
        reason.reason()
    ))
}
