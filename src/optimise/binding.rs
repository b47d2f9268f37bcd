//! Which limits of a brief hold a pick where it is.
//!
//! Each limit is lifted on its own, all others kept, and the brief is answered again. It binds the
//! pick if the best build is better then and has another part in the role; if the best build with the
//! pick is as good, something else is held, and not the pick. Nothing here is read off the figures of
//! the build but what its workloads are limited by.

use super::build::Limit;
use super::engine::Climb;
use super::model::{Standing, rule_limits};
use super::question::{Question, QuestionFault};
use super::sweep::{Step, Wanted};
use crate::catalogue::{PartId, WorkloadId};
use crate::market::{Brief, Listed, Need, market};
use crate::money::Money;
use crate::rates::{Score, ShownScore};

/// What holds a pick of the best build where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bindings {
    /// What the best build leaves of the budget.
    pub left: Money,
    /// `None` if no money buys a better build.
    pub next: Option<NextStep>,
    /// By workload that the role limits.
    pub workloads: Vec<(WorkloadId, HeldBy)>,
    pub limits: Vec<Binding>,
}

/// The cheapest build that scores more than the best within the budget.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NextStep {
    /// What it costs above the budget.
    pub more: Money,
    pub score: ShownScore,
    /// What fills the role in it.
    pub part: PartId,
}

/// What a role has to do with a workload's rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeldBy {
    /// Its part is the slowest: more of it would be more.
    ThisRole,
    /// The brief counts no more.
    Cap,
    /// Another role is slower. So much of this one stays unused, in hundredths of a percent.
    Another { unused_hundredths: i64 },
}

/// A limit without which the best build is better and has another part in the role.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Binding {
    pub limit: BindingLimit,
    /// What would fill the role.
    pub part: PartId,
    pub score: ShownScore,
    pub total: Money,
    /// How many parts of the role would make a build that is better than the best; if there are more
    /// than [`Binding::COUNTED_MAX`], no more are counted.
    pub better_parts: usize,
}

/// A limit that can be lifted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BindingLimit {
    Need(Need),
    /// The floor of a workload.
    Floor(WorkloadId),
    Rule {
        id: String,
        states: String,
    },
}

impl Binding {
    /// Better parts are counted so far.
    pub const COUNTED_MAX: usize = 20;
}

/// The pick that is asked about.
struct Held<'a> {
    group: usize,
    part: &'a PartId,
    best: &'a Step,
}

/// What holds the best build's pick in a role where it is; `None` if nothing fits. `listed` is what
/// the market was made from.
///
/// # Errors
/// [`QuestionFault`]
pub fn bindings(
    question: &Question<'_>,
    listed: &[Listed],
    group: usize,
) -> Result<Option<Bindings>, QuestionFault> {
    let whole = question.market;
    let brief = whole.brief;
    let Some(best) = question.best_within(question.undominated())? else {
        return Ok(None);
    };
    let held = Held {
        group,
        part: &whole.candidates[group][best.selection[group]].part.id,
        best: &best,
    };
    let mut limits = Vec::new();
    for (limit, lifted) in lifted_briefs(brief, group) {
        let market = market(&lifted, question.catalogue, whole.retailers, listed);
        let engine = question.engine();
        let asked = Question::new(&market, question.catalogue, &Standing::new(), engine);
        limits.extend(binding(&asked, &held, limit)?);
    }
    for lifted in question.limits.iter().filter(|one| !one.is_empty()) {
        let rule = lifted.rule;
        let mut others = rule_limits(whole);
        others.retain(|limits| limits.rule.id() != rule.id());
        let engine: &dyn Climb = question.engine();
        let asked = Question::under(
            whole,
            question.catalogue,
            &Standing::new(),
            (engine, others),
        );
        let limit = BindingLimit::Rule {
            id: rule.id().to_owned(),
            states: rule.states().to_owned(),
        };
        limits.extend(binding(&asked, &held, limit)?);
    }
    Ok(Some(Bindings {
        left: Money::from_minor(question.problem.budget - best.cost, brief.budget.currency()),
        next: next_step(question, &held)?,
        workloads: workloads(question, &held)?,
        limits,
    }))
}

/// The brief without each single need of the role, and without each floor that the role must reach.
fn lifted_briefs(brief: &Brief, group: usize) -> Vec<(BindingLimit, Brief)> {
    let role = &brief.roles[group];
    let needs = role.needs.iter().enumerate().map(|(at, need)| {
        let mut lifted = brief.clone();
        lifted.roles[group].needs.remove(at);
        (BindingLimit::Need(need.clone()), lifted)
    });
    let workloads = brief.objective.workloads.iter().enumerate();
    let floors = workloads.filter(|(_, one)| {
        let has_floor = one.floor_milli.is_some();
        has_floor && one.is_limited_by(role.kind)
    });
    let floors = floors.map(|(at, one)| {
        let mut lifted = brief.clone();
        lifted.objective.workloads[at].floor_milli = None;
        (BindingLimit::Floor(one.workload.clone()), lifted)
    });
    needs.chain(floors).collect()
}

/// What a question without the limit has to say of the pick, if it binds it.
fn binding(
    lifted: &Question<'_>,
    held: &Held<'_>,
    limit: BindingLimit,
) -> Result<Option<Binding>, QuestionFault> {
    let candidates = &lifted.market.candidates[held.group];
    let value = |step: &Step| (step.score, std::cmp::Reverse(step.cost));
    let best_of = |is_in: &dyn Fn(&PartId) -> bool| {
        let keep = lifted.keep_with(held.group, |position| is_in(&candidates[position].part.id));
        let step = lifted.best_within(&keep)?;
        Ok::<_, QuestionFault>(step.filter(|step| value(step) > value(held.best)))
    };
    let mut taken = vec![held.part];
    let Some(first) = best_of(&|part| !taken.contains(&part))? else {
        return Ok(None);
    };
    let with_pick = best_of(&|part| part == held.part)?;
    if with_pick.is_some_and(|step| value(&step) >= value(&first)) {
        return Ok(None);
    }
    let part = &candidates[first.selection[held.group]].part.id;
    taken.push(part);
    while taken.len() <= Binding::COUNTED_MAX {
        let Some(next) = best_of(&|part| !taken.contains(&part))? else {
            break;
        };
        taken.push(&candidates[next.selection[held.group]].part.id);
    }
    let brief = lifted.market.brief;
    Ok(Some(Binding {
        limit,
        part: part.clone(),
        score: ShownScore::of(&brief.objective, first.score),
        total: Money::from_minor(first.cost, brief.budget.currency()),
        better_parts: taken.len() - 1,
    }))
}

fn next_step(question: &Question<'_>, held: &Held<'_>) -> Result<Option<NextStep>, QuestionFault> {
    let brief = question.market.brief;
    let wanted = Wanted::cheapest_with(Score(held.best.score.0.saturating_add(1)));
    let steps = question.steps(question.dearest(), wanted)?;
    let Some(step) = question
        .settled(steps, question.undominated())?
        .into_iter()
        .next()
    else {
        return Ok(None);
    };
    let candidate = &question.market.candidates[held.group][step.selection[held.group]];
    let more = step.cost - question.problem.budget;
    Ok(Some(NextStep {
        more: Money::from_minor(more, brief.budget.currency()),
        score: ShownScore::of(&brief.objective, step.score),
        part: candidate.part.id.clone(),
    }))
}

/// What the role has to do with each workload that it limits.
fn workloads(
    question: &Question<'_>,
    held: &Held<'_>,
) -> Result<Vec<(WorkloadId, HeldBy)>, QuestionFault> {
    let (build, _) = question.build(&held.best.selection, question.problem.budget)?;
    let role = &question.market.brief.roles[held.group].id;
    let of_role = build.rates.into_iter().filter_map(|reached| {
        let spare = reached.spare.iter().find(|spare| spare.role == *role)?;
        let held_by = match &reached.limited_by {
            Limit::Cap => HeldBy::Cap,
            Limit::Role(slowest) if slowest == role => HeldBy::ThisRole,
            Limit::Role(_) => HeldBy::Another {
                unused_hundredths: spare.unused_hundredths,
            },
        };
        Some((reached.workload.clone(), held_by))
    });
    Ok(of_role.collect())
}
