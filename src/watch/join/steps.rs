//! The guide's build beside others: steps of the ladder, and another part for each role.

use crate::catalogue::{Catalogue, PartId};
use crate::guide::view::{AlternativeView, ChangeView, RungView, StepView};
use crate::market::{Candidate, Market, RoleId};
use crate::money::Money;
use crate::optimise::{
    Build, Climb, Ladder, Pick, Question, QuestionFault, Standing, ladder as climbed, substitutes,
};
use std::collections::BTreeSet;

/// Rungs that are told above and below the guide's.
const STEPS: usize = 3;

/// For each role that is bought, the best build with another part there: all else as it is if that
/// goes together, else the best without the pick. None repeats a rung of the ladder. Roles whose
/// alternative is the same build are told together.
pub(super) fn alternatives(
    question: &Question<'_>,
    build: &Build,
    ladder: &Ladder,
    engine: &dyn Climb,
) -> Result<Vec<AlternativeView>, QuestionFault> {
    let rungs = ladder.rungs.iter();
    let told: BTreeSet<Parts<'_>> = rungs.map(|rung| parts(&rung.build)).collect();
    let free = substitutes(question)?;
    let mut views: Vec<AlternativeView> = Vec::new();
    for (role, other) in &free {
        let alone = beside(question.market, question.catalogue, build, role, engine)?;
        let mut found = alone.iter().rev().chain([&other.build]);
        let Some(found) = found.find(|found| !told.contains(&parts(found))) else {
            continue;
        };
        let step = step(build, found);
        match views.iter_mut().find(|known| known.step == step) {
            Some(known) => known.role.push_str(&format!(", {role}")),
            None => views.push(AlternativeView {
                role: role.to_string(),
                step,
            }),
        }
    }
    Ok(views)
}

/// The parts of a build, in the order of its roles.
type Parts<'b> = Vec<&'b PartId>;

fn parts(build: &Build) -> Parts<'_> {
    build.picks.iter().map(|pick| &pick.part).collect()
}

/// What the budget buys with another part in one role and all else as it is, from the cheapest on.
fn beside(
    market: &Market<'_>,
    catalogue: &Catalogue,
    build: &Build,
    role: &RoleId,
    engine: &dyn Climb,
) -> Result<Vec<Build>, QuestionFault> {
    let kept = |pick: &Pick, candidate: &Candidate<'_>| {
        (candidate.part.id == pick.part) != (pick.role == *role)
    };
    let market = among(market, build, kept);
    rungs(&market, catalogue, market.brief.budget, engine)
}

/// A market with those candidates alone that are kept beside a build's pick for the role.
pub(super) fn among<'m>(
    market: &Market<'m>,
    build: &Build,
    kept: impl Fn(&Pick, &Candidate<'m>) -> bool,
) -> Market<'m> {
    let pairs = build.picks.iter().zip(&market.candidates);
    let candidates = pairs.map(|(pick, all)| {
        let all = all.iter().filter(|one| kept(pick, one));
        all.cloned().collect()
    });
    Market {
        candidates: candidates.collect(),
        left_out: market.left_out.clone(),
        ..*market
    }
}

/// The builds of a market's ladder up to an amount.
pub(super) fn rungs(
    market: &Market<'_>,
    catalogue: &Catalogue,
    most: Money,
    engine: &dyn Climb,
) -> Result<Vec<Build>, QuestionFault> {
    if market.candidates.iter().any(Vec::is_empty) {
        return Ok(Vec::new());
    }
    let question = Question::new(market, catalogue, &Standing::default(), engine);
    let ladder = climbed(&question, Money::zero(most.currency()), most)?;
    Ok(ladder.rungs.into_iter().map(|rung| rung.build).collect())
}

/// The rungs above and below a build, the nearest first.
pub(super) fn steps(ladder: &Ladder, build: &Build) -> (Vec<StepView>, Vec<StepView>) {
    let above = ladder
        .rungs
        .iter()
        .filter(|rung| rung.build.score > build.score);
    let below = ladder
        .rungs
        .iter()
        .rev()
        .filter(|rung| rung.build.score < build.score);
    (
        above
            .take(STEPS)
            .map(|rung| step(build, &rung.build))
            .collect(),
        below
            .take(STEPS)
            .map(|rung| step(build, &rung.build))
            .collect(),
    )
}

pub(super) fn step(from: &Build, to: &Build) -> StepView {
    let pairs = from.picks.iter().zip(&to.picks);
    let changes = pairs.filter(|(before, after)| before.part != after.part);
    StepView {
        cost_minor: to.total.minor() - from.total.minor(),
        score_change: to.shown_score.points() - from.shown_score.points(),
        changes: changes
            .map(|(before, after)| ChangeView {
                role: after.role.to_string(),
                from: before.name.clone(),
                to: after.name.clone(),
            })
            .collect(),
    }
}

pub(super) fn rung_view(build: &Build) -> RungView {
    RungView {
        total_minor: build.total.minor(),
        score: build.shown_score.points(),
    }
}
