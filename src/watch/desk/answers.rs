//! What else is asked of a brief: the ladder, entry prices, the next best, why.

use super::kept::Ground;
use super::refusal::{invalid, refused};
use super::shapes::{name, short_picks};
use super::{DaemonDesk, EFFORT};
use crate::catalogue::WorkloadId;
use crate::decide::shown_instant;
use crate::money::Money;
use crate::optimise::{
    Alternative, Binding, BindingLimit, Bindings, Build, EntryPrice, HeldBy, Question, Reason,
    Rung, SweeperFirst, Why, alternatives, best_per_platform, ladder,
};
use crate::watch::asking::{Asked, Doing as _, amount, brief_named, part_named, role_named};
use crate::watch::reasons::{Reasons, entries, is_in, kept_out, per_100, reasons};
use crate::web::desk::Told;
use crate::web::view::{
    AlternativeView, Alternatives, BindingView, EntryPrices, EntryView, LadderPage, LimitView,
    NextStep, PlatformView, RoleEntries, RoleWhy, RungChange, RungView, StepUp, WhatIf, WhyBuild,
    WhyView, WorkloadHold,
};
use std::sync::Arc;

/// So many of the next best builds are looked for.
const NEXT_BEST: usize = 5;

impl DaemonDesk {
    /// With the brief's own budget the very same value for all who ask.
    pub(super) fn ladder_page(&self, brief: &str, what_if: &WhatIf) -> Told<Arc<LadderPage>> {
        let ground = self.ground()?;
        let climbed = self.climbed(&ground, brief, what_if)?;
        let Some(budget) = &what_if.budget else {
            return Ok(climbed);
        };
        let currency = brief_named(&ground.settings, Some(brief))
            .map_err(refused)?
            .budget
            .currency();
        let budget = amount(budget, currency).map_err(invalid)?.minor();
        Ok(Arc::new(LadderPage {
            what_if: what_if.clone(),
            budget_minor: budget,
            bought: bought(&climbed.rungs, budget),
            ..(*climbed).clone()
        }))
    }

    /// The whole ladder, which is the same whatever the budget is.
    fn climbed(
        &self,
        ground: &Arc<Ground>,
        brief: &str,
        what_if: &WhatIf,
    ) -> Told<Arc<LadderPage>> {
        let unbounded = WhatIf {
            budget: None,
            ..what_if.clone()
        };
        let key = format!("ladder {brief} {}", unbounded.query());
        self.solve_dated(ground, key, || {
            let asked = self.asked(ground, brief, &unbounded)?;
            let mut page = climb(&asked)?;
            page.bought = bought(&page.rungs, page.budget_minor);
            page.what_if = unbounded.clone();
            Ok(page)
        })
    }

    pub(super) fn entry_prices_of(
        &self,
        brief: &str,
        role: Option<&str>,
        what_if: &WhatIf,
    ) -> Told<EntryPrices> {
        let ground = self.ground()?;
        let asked = self.asked(&ground, brief, what_if)?;
        let groups = match role {
            Some(role) => vec![role_named(&asked.brief, role).map_err(refused)?],
            None => (0..asked.brief.roles.len()).collect(),
        };
        let mut roles = Vec::new();
        for group in groups {
            let role = self.role_entries(&ground, &asked, group, what_if)?;
            roles.extend((!role.parts.is_empty()).then(|| (*role).clone()));
        }
        Ok(EntryPrices {
            brief: asked.brief.id.to_string(),
            currency: asked.brief.budget.currency().to_string(),
            roles,
        })
    }

    pub(super) fn role_entries(
        &self,
        ground: &Arc<Ground>,
        asked: &Asked,
        group: usize,
        what_if: &WhatIf,
    ) -> Told<Arc<RoleEntries>> {
        let key = entries_key(asked.brief.id.as_str(), asked, group, what_if);
        self.solve(ground, key, || {
            let found = entries(asked, group, EFFORT).map_err(refused)?;
            let role = asked.brief.roles.get(group);
            Ok(RoleEntries {
                role: role.map(|role| role.id.to_string()).unwrap_or_default(),
                parts: found.iter().map(|one| entry_view(asked, one)).collect(),
            })
        })
    }

    pub(super) fn alternatives_of(&self, brief: &str, what_if: &WhatIf) -> Told<Alternatives> {
        let ground = self.ground()?;
        let best = self.answered(&ground, brief, what_if)?;
        let key = format!("alternatives {brief} {}", what_if.query());
        let found = self.solve(&ground, key, || {
            let asked = self.asked(&ground, brief, what_if)?;
            let mut found = Alternatives {
                brief: asked.brief.id.to_string(),
                currency: asked.brief.budget.currency().to_string(),
                total_minor: best.record.total_minor,
                score: best.record.score,
                alternatives: Vec::new(),
                platforms: Vec::new(),
            };
            if best.build.is_some() {
                (found.alternatives, found.platforms) = others(&asked)?;
            }
            Ok(found)
        })?;
        Ok((*found).clone())
    }

    pub(super) fn why_of(&self, brief: &str, part: &str, what_if: &WhatIf) -> Told<WhyView> {
        let ground = self.ground()?;
        let best = self.answered(&ground, brief, what_if)?;
        let key = format!("why {part} {brief} {}", what_if.query());
        let found = self.solve(&ground, key, || {
            let asked = self.asked(&ground, brief, what_if)?;
            let part = part_named(&asked.settings, part).map_err(refused)?;
            let found = reasons(&asked, &part, EFFORT, &|_| {}).map_err(refused)?;
            let Reasons { words, left_out } = found;
            let roles = words.iter();
            Ok(WhyView {
                brief: asked.brief.id.to_string(),
                name: name(&asked.settings.catalogue, &part),
                part: part.to_string(),
                currency: asked.brief.budget.currency().to_string(),
                roles: roles
                    .map(|(word, held)| role_why(word, held.as_ref()))
                    .collect(),
                left_out,
                best_picks: best.build.as_ref().map_or(Vec::new(), short_picks),
            })
        })?;
        Ok((*found).clone())
    }
}

pub(super) fn entries_key(brief: &str, asked: &Asked, group: usize, what_if: &WhatIf) -> String {
    let role = asked.brief.roles.get(group);
    let role = role.map(|role| role.id.as_str()).unwrap_or_default();
    format!("entries {role} {brief} {}", what_if.query())
}

fn climb(asked: &Asked) -> Told<LadderPage> {
    let market = asked.market();
    let engine = SweeperFirst(EFFORT);
    let question = Question::new(&market, &asked.settings.catalogue, &asked.standing, &engine);
    let currency = asked.brief.budget.currency();
    let most = Money::from_minor(i64::MAX, currency);
    let climbed = ladder(&question, Money::zero(currency), most)
        .doing("cannot climb the ladder")
        .map_err(refused)?;
    let below = std::iter::once(None).chain(climbed.rungs.iter().map(Some));
    let rungs = climbed.rungs.iter().zip(below);
    Ok(LadderPage {
        brief: asked.brief.id.to_string(),
        name: asked.brief.name.clone(),
        at: shown_instant(asked.at),
        currency: currency.to_string(),
        budget_minor: asked.brief.budget.minor(),
        what_if: WhatIf::default(),
        whole: climbed.is_whole,
        bought: None,
        rungs: rungs.map(|(rung, below)| rung_view(rung, below)).collect(),
    })
}

/// The dearest rung that the budget pays for.
fn bought(rungs: &[RungView], budget_minor: i64) -> Option<usize> {
    let paid = rungs
        .iter()
        .take_while(|rung| rung.total_minor <= budget_minor);
    paid.count().checked_sub(1)
}

fn rung_view(rung: &Rung, below: Option<&Rung>) -> RungView {
    RungView {
        total_minor: rung.build.total.minor(),
        score: rung.build.shown_score.points(),
        score_exact: rung.build.score.0,
        knee: rung.is_knee,
        step_up: rung.step_up.map(|step| StepUp {
            cost_minor: step.cost.minor(),
            score: step.score.points(),
            score_per_100: per_100(rung),
        }),
        changes: below.map_or(Vec::new(), |below| rung_changes(&below.build, &rung.build)),
        picks: short_picks(&rung.build),
    }
}

fn rung_changes(below: &Build, build: &Build) -> Vec<RungChange> {
    let pairs = below.picks.iter().zip(&build.picks);
    pairs
        .filter(|(before, after)| before.part != after.part)
        .map(|(before, after)| RungChange {
            role: after.role.to_string(),
            from: before.part.to_string(),
            to: after.part.to_string(),
        })
        .collect()
}

fn entry_view(asked: &Asked, price: &EntryPrice) -> EntryView {
    EntryView {
        part: price.part.to_string(),
        name: name(&asked.settings.catalogue, &price.part),
        landed_minor: price.landed.map(|landed| landed.minor()),
        entry_minor: price.entry.map(|entry| entry.minor()),
        in_best: is_in(price),
    }
}

fn others(asked: &Asked) -> Told<(Vec<AlternativeView>, Vec<PlatformView>)> {
    let market = asked.market();
    let engine = SweeperFirst(EFFORT);
    let question = Question::new(&market, &asked.settings.catalogue, &asked.standing, &engine);
    let next = alternatives(&question, NEXT_BEST)
        .doing("cannot find the next best builds")
        .map_err(refused)?;
    let platforms = best_per_platform(&question)
        .doing("cannot compare the platforms")
        .map_err(refused)?;
    let differs = |one: &Alternative| one.differs.iter().map(ToString::to_string).collect();
    Ok((
        next.iter()
            .map(|one| AlternativeView {
                total_minor: one.build.total.minor(),
                score: one.build.shown_score.points(),
                differs: differs(one),
                picks: short_picks(&one.build),
            })
            .collect(),
        platforms
            .iter()
            .map(|(socket, one)| PlatformView {
                socket: socket.clone(),
                total_minor: one.build.total.minor(),
                score: one.build.shown_score.points(),
                differs: differs(one),
                picks: short_picks(&one.build),
            })
            .collect(),
    ))
}

fn why_build(build: &Build) -> WhyBuild {
    WhyBuild {
        total_minor: build.total.minor(),
        score: build.shown_score.points(),
        picks: short_picks(build),
    }
}

fn role_why(word: &Why, held: Option<&Bindings>) -> RoleWhy {
    let in_words = |reasons: &[crate::optimise::KeptOut]| reasons.iter().map(kept_out).collect();
    let (verdict, other, best, reasons) = match &word.reason {
        Reason::Picked { without } => (
            "picked",
            without.as_deref().map(why_build),
            None,
            Vec::new(),
        ),
        Reason::Beaten { with, best } => (
            "beaten",
            Some(why_build(with)),
            Some(why_build(best)),
            Vec::new(),
        ),
        Reason::KeptOut(reasons) => ("kept_out", None, None, in_words(reasons)),
        Reason::NotOffered(reasons) => ("not_offered", None, None, in_words(reasons)),
    };
    RoleWhy {
        role: word.role.to_string(),
        verdict: verdict.to_owned(),
        landed_minor: word.landed.map(|landed| landed.minor()),
        entry_minor: word.entry.map(|entry| entry.minor()),
        other,
        best,
        kept_out: reasons,
        binding: held.map(binding),
    }
}

fn binding(held: &Bindings) -> BindingView {
    BindingView {
        budget_left_minor: held.left.minor(),
        next_step: held.next.as_ref().map(|next| NextStep {
            more_minor: next.more.minor(),
            score: next.score.points(),
            part: next.part.to_string(),
        }),
        workloads: held.workloads.iter().map(workload_hold).collect(),
        limits: held.limits.iter().map(limit).collect(),
    }
}

fn workload_hold((workload, by): &(WorkloadId, HeldBy)) -> WorkloadHold {
    let (by, unused_percent) = match by {
        HeldBy::ThisRole => ("this_role", 0.0),
        HeldBy::Cap => ("cap", 0.0),
        HeldBy::Another { unused_hundredths } => {
            ("another_role", *unused_hundredths as f64 / 100.0)
        }
    };
    WorkloadHold {
        workload: workload.to_string(),
        limited_by: by.to_owned(),
        unused_percent,
    }
}

fn limit(binding: &Binding) -> LimitView {
    let (kind, name) = match &binding.limit {
        BindingLimit::Need(need) => ("need", need.to_string()),
        BindingLimit::Floor(workload) => ("floor", workload.to_string()),
        BindingLimit::Rule { id, .. } => ("rule", id.clone()),
    };
    LimitView {
        kind: kind.to_owned(),
        name,
        part: binding.part.to_string(),
        score: binding.score.points(),
        total_minor: binding.total.minor(),
        better_parts: binding.better_parts as u64,
        is_all: binding.better_parts < Binding::COUNTED_MAX,
    }
}
