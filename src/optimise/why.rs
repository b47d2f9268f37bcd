//! Why a part is in the best build or not, and what the next best builds are.

use super::build::Build;
use super::entry::{EntryPrice, best_of_offered, best_without, entry_price};
use super::model::{Standing, encode};
use super::problem::{Problem, Selection};
use super::question::{Question, QuestionFault};
use super::sweep::Step;
use super::sweep::Wanted;
use crate::catalogue::{Kind, PartId, Spec};
use crate::market::RoleId;
use crate::money::Money;
use crate::rates::Score;
use std::collections::BTreeSet;

/// What can be said of a part that is offered for a role.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Why {
    pub part: PartId,
    pub role: RoleId,
    /// `None` where no offer counts.
    pub landed: Option<Money>,
    pub entry: Option<Money>,
    pub reason: Reason,
}

/// Why a part is in the best build or not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reason {
    /// It is in; without it this would be the best build.
    Picked { without: Option<Box<Build>> },
    /// It is not; this is the best build with it.
    Beaten { with: Box<Build>, best: Box<Build> },
    /// No build has it, for this.
    KeptOut(Vec<KeptOut>),
    /// No offer of it counts today. Where it could not be in any build even for nothing, for this.
    NotOffered(Vec<KeptOut>),
}

/// What keeps a part out of every build.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum KeptOut {
    /// The cheapest build with it costs this much.
    Budget { cheapest: Money },
    /// Without this rule there would be a build with it.
    Rule { id: String, states: String },
    /// No single rule is to blame.
    RulesTogether,
}

/// The next best after the best.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alternative {
    pub build: Build,
    /// Roles in which it differs from the best.
    pub differs: Vec<RoleId>,
}

/// Explains a candidate of a role by its position.
///
/// # Errors
/// [`QuestionFault`]
pub fn why(question: &Question<'_>, group: usize, position: usize) -> Result<Why, QuestionFault> {
    let role = &question.market.brief.roles[group];
    let candidate = &question.market.candidates[group][position];
    let budget = question.problem.budget;
    let best = best_of_offered(question, group)?;
    let build = |selection: &Selection| {
        question
            .build(selection, budget)
            .map(|(build, _)| Box::new(build))
    };
    let same = question.same_part(group, position);
    let EntryPrice { landed, entry, .. } = entry_price(question, (group, position), best.as_ref())?;
    let reason = match &best {
        _ if landed.is_none() => {
            let keep = question.keep_with(group, |one| same[one]);
            let is_possible = question.best_within(&keep)?.is_some();
            Reason::NotOffered(match is_possible {
                true => Vec::new(),
                false => kept_out(question, group, position)?,
            })
        }
        Some(step) if same[step.selection[group]] => {
            let without = best_without(question, group, &same)?;
            let without = without.map(|step| build(&step.selection)).transpose()?;
            Reason::Picked { without }
        }
        _ => {
            let keep = question.keep_with(group, |one| same[one]);
            match (question.best_within(&keep)?, best) {
                (Some(with), Some(best)) => Reason::Beaten {
                    with: build(&with.selection)?,
                    best: build(&best.selection)?,
                },
                _ => Reason::KeptOut(kept_out(question, group, position)?),
            }
        }
    };
    Ok(Why {
        part: candidate.part.id.clone(),
        role: role.id.clone(),
        landed,
        entry,
        reason,
    })
}

/// What keeps a candidate out: the budget alone, or the rules without which a build has it.
fn kept_out(
    question: &Question<'_>,
    group: usize,
    position: usize,
) -> Result<Vec<KeptOut>, QuestionFault> {
    let currency = question.market.brief.budget.currency();
    let same = question.same_part(group, position);
    let keep = question.keep_with(group, |one| same[one]);
    let cheapest = Wanted::cheapest_with(Score(i64::MIN));
    let dearest = question.dearest();
    if let Some(step) = question.steps_within(&keep, dearest, cheapest)?.first() {
        let cheapest = Money::from_minor(step.cost, currency);
        return Ok(vec![KeptOut::Budget { cheapest }]);
    }
    let mut found = Vec::new();
    for left_out in question.limits.iter().filter(|limits| !limits.is_empty()) {
        let rule = left_out.rule;
        let others = question
            .limits
            .iter()
            .filter(|limits| limits.rule.id() != rule.id());
        let mut relaxed = encode(question.market, &Standing::new(), others);
        relaxed.budget = dearest;
        // Nothing is dominated here as it was there: the rule that set it apart is gone.
        let all: Vec<Vec<bool>> = relaxed
            .groups
            .iter()
            .enumerate()
            .map(|(one, choices)| {
                let marks = (0..choices.len()).map(|at| one != group || same[at]);
                marks.collect()
            })
            .collect();
        let relaxed: Problem = relaxed.restricted(&all);
        if !question.climb(&relaxed, cheapest)?.is_empty() {
            found.push(KeptOut::Rule {
                id: rule.id().to_owned(),
                states: rule.states().to_owned(),
            });
        }
    }
    if found.is_empty() {
        found.push(KeptOut::RulesTogether);
    }
    Ok(found)
}

/// The best build on each platform but the best one's: by the socket of its processor.
///
/// # Errors
/// [`QuestionFault`]
pub fn best_per_platform(
    question: &Question<'_>,
) -> Result<Vec<(String, Alternative)>, QuestionFault> {
    let market = question.market;
    let Some(group) = market
        .brief
        .roles
        .iter()
        .position(|role| role.kind == Kind::Cpu)
    else {
        return Ok(Vec::new());
    };
    let Some(best) = question.best_within(question.undominated())? else {
        return Ok(Vec::new());
    };
    let socket = |position: usize| market.candidates[group][position].part.text(Spec::Socket);
    let sockets: BTreeSet<&str> = (0..market.candidates[group].len())
        .filter_map(socket)
        .collect();
    let own = socket(best.selection[group]);
    let mut found = Vec::new();
    for other in sockets.into_iter().filter(|other| Some(*other) != own) {
        // Processors of another socket may dominate all of this one.
        let keep = question.keep_with(group, |position| socket(position) == Some(other));
        if let Some(step) = question.best_within(&keep)? {
            found.push((other.to_owned(), question.alternative(&step, &best)?));
        }
    }
    Ok(found)
}

/// The `number` next best builds, each with another set of parts in the roles that limit a workload
/// than all before it.
///
/// # Errors
/// [`QuestionFault`]
pub fn alternatives(
    question: &Question<'_>,
    number: usize,
) -> Result<Vec<Alternative>, QuestionFault> {
    let matters: Vec<usize> = question
        .problem
        .bottlenecks
        .iter()
        .flat_map(|bottleneck| bottleneck.limits.iter().map(|(group, _)| *group))
        .collect::<BTreeSet<usize>>()
        .into_iter()
        .collect();
    // A dominated part may well be in the next best build: every candidate of these roles is back.
    let mut keep = question.undominated().to_vec();
    for group in &matters {
        keep[*group].iter_mut().for_each(|keep| *keep = true);
    }
    let Some(best) = question.best_within(question.undominated())? else {
        return Ok(Vec::new());
    };
    let picks = |selection: &[usize]| -> Vec<(usize, Vec<bool>)> {
        let groups = matters.iter();
        groups
            .map(|group| (*group, question.same_part(*group, selection[*group])))
            .collect()
    };
    let mut excluded = vec![picks(&best.selection)];
    let mut found = Vec::new();
    while found.len() < number {
        let Some(next) = question.best_besides(&keep, &excluded)? else {
            break;
        };
        excluded.push(picks(&next.selection));
        found.push(question.alternative(&next, &best)?);
    }
    Ok(found)
}

/// For each role that somebody offers another part for, the best build without its pick.
///
/// # Errors
/// [`QuestionFault`]
pub fn substitutes(question: &Question<'_>) -> Result<Vec<(RoleId, Alternative)>, QuestionFault> {
    let Some(best) = question.best_within(question.undominated())? else {
        return Ok(Vec::new());
    };
    let mut found = Vec::new();
    for (group, role) in question.market.brief.roles.iter().enumerate() {
        let same = question.same_part(group, best.selection[group]);
        // A part that only the pick dominates is back.
        let keep = question.keep_with(group, |position| !same[position]);
        if let Some(step) = question.best_within(&keep)? {
            found.push((role.id.clone(), question.alternative(&step, &best)?));
        }
    }
    Ok(found)
}

impl Question<'_> {
    /// A step as a build, with the roles in which it differs from the best.
    fn alternative(&self, step: &Step, best: &Step) -> Result<Alternative, QuestionFault> {
        let (build, _) = self.build(&step.selection, self.problem.budget)?;
        let roles = self.market.brief.roles.iter().enumerate();
        let differs = roles
            .filter(|(group, _)| {
                let same = self.same_part(*group, best.selection[*group]);
                !same[step.selection[*group]]
            })
            .map(|(_, role)| role.id.clone());
        Ok(Alternative {
            differs: differs.collect(),
            build,
        })
    }
}
