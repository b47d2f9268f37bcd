//! One brief with its best build, as it is written or as it would be.

use super::kept::Ground;
use super::refusal::refused;
use super::shapes::{changes, proof};
use super::{DaemonDesk, EFFORT};
use crate::decide::{AnswerRecord, Names, PickRecord};
use crate::fit::{Seat, power_report};
use crate::market::{Brief, Role};
use crate::optimise::{Build, Pick};
use crate::watch::answer::answer;
use crate::watch::asking::{Asked, Doing as _};
use crate::watch::join::position::{self, Position};
use crate::watch::join::{self, seats};
use crate::web::desk::Told;
use crate::web::view::{
    BesideView, BriefPage, OrderLine, PickView, PositionView, PowerView, RoleView, WhatIf,
    WishView, WorkloadView,
};
use std::sync::Arc;

/// An answer and the page that shows it.
pub(super) struct Answered {
    pub record: AnswerRecord,
    pub build: Option<Build>,
    page: BriefPage,
}

impl DaemonDesk {
    pub(super) fn brief_page(&self, brief: &str, what_if: &WhatIf) -> Told<BriefPage> {
        let ground = self.ground()?;
        let written = match what_if.is_empty() {
            true => None,
            false => Some(self.answered_lately(&ground, brief, &WhatIf::default())?),
        };
        let answered = self.answered_lately(&ground, brief, what_if)?;
        Ok(BriefPage {
            as_written: written.map(|written| beside(&written.record, &answered.record)),
            ..answered.page.clone()
        })
    }

    pub(super) fn answered(
        &self,
        ground: &Arc<Ground>,
        brief: &str,
        what_if: &WhatIf,
    ) -> Told<Arc<Answered>> {
        let key = format!("answer now {brief} {}", what_if.query());
        self.solve(ground, key, || self.work_out(ground, brief, what_if))
    }

    /// The answer of now, or the one of a moment ago while another works out that of now.
    fn answered_lately(
        &self,
        ground: &Arc<Ground>,
        brief: &str,
        what_if: &WhatIf,
    ) -> Told<Arc<Answered>> {
        let key = format!("answer {brief} {}", what_if.query());
        self.solve_dated(ground, key, || self.work_out(ground, brief, what_if))
    }

    fn work_out(&self, ground: &Ground, brief: &str, what_if: &WhatIf) -> Told<Answered> {
        let asked = self.asked(ground, brief, what_if)?;
        self.answer(ground, &asked, what_if)
    }

    fn answer(&self, ground: &Ground, asked: &Asked, what_if: &WhatIf) -> Told<Answered> {
        let brief = &asked.brief;
        let today = answer(
            &asked.settings,
            brief,
            &asked.listed,
            &asked.standing,
            asked.at,
            EFFORT,
        );
        let today = today
            .doing("cannot work out the best build")
            .map_err(refused)?;
        let (record, build) = (today.best, today.build);
        let mut page = page(asked, &record, what_if);
        page.written_budget_minor = written_budget(ground, brief);
        page.standing = self.standing(ground, brief, &record)?;
        if let Some(build) = &build {
            page.picks = self.picks(ground, asked, build, &record)?;
            let seats = seats(asked, build);
            page.notes = join::notes(&asked.market(), &seats);
            page.power = power(&seats, brief);
        }
        Ok(Answered {
            record,
            build,
            page,
        })
    }

    /// The build that was told last beside this one.
    fn standing(
        &self,
        ground: &Ground,
        brief: &Brief,
        record: &AnswerRecord,
    ) -> Told<Option<BesideView>> {
        let stored = self.read(ground, |reader| reader.last_answer(brief.id.as_str()))?;
        let stored = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
        Ok(stored.map(|stored| beside(&stored, record)))
    }

    fn picks(
        &self,
        ground: &Ground,
        asked: &Asked,
        build: &Build,
        record: &AnswerRecord,
    ) -> Told<Vec<PickView>> {
        let records = build.picks.iter().zip(&record.picks);
        records
            .map(|(pick, noted)| {
                let purchase = pick.purchase.as_ref();
                let position = match purchase {
                    Some(one) => self.ask(ground, |reader| {
                        position::of(asked, reader, &pick.part, one.price)
                    })?,
                    None => None,
                };
                Ok(pick_view(asked, pick, noted, record, position))
            })
            .collect()
    }
}

/// Another build and what differs from it.
fn beside(other: &AnswerRecord, record: &AnswerRecord) -> BesideView {
    BesideView {
        total_minor: other.total_minor,
        score: other.score,
        changes: changes(other, record),
    }
}

fn written_budget(ground: &Ground, brief: &Brief) -> i64 {
    let mut written = ground.settings.briefs.iter();
    let written = written.find(|written| written.id == brief.id);
    written.unwrap_or(brief).budget.minor()
}

/// All but the picks and what is said of them.
fn page(asked: &Asked, record: &AnswerRecord, what_if: &WhatIf) -> BriefPage {
    let brief = &asked.brief;
    let left_out = record.left_out.iter();
    BriefPage {
        brief: brief.id.to_string(),
        name: brief.name.clone(),
        at: record.at.clone(),
        country: brief.country.clone(),
        currency: record.currency.clone(),
        budget_minor: record.budget_minor,
        written_budget_minor: record.budget_minor,
        what_if: what_if.clone(),
        query: what_if.query(),
        roles: brief.roles.iter().map(role_view).collect(),
        total_minor: record.total_minor,
        score: record.score,
        score_exact: record.score_exact,
        estimated_percent: record.estimated_percent,
        proof: proof(record.proof.status),
        bound: record.proof.bound,
        picks: Vec::new(),
        orders: order_lines(asked, record),
        workloads: workloads(brief, record),
        gain_percent_of_a_tenth: record.gain_percent_of_a_tenth.clone(),
        wishes: wishes(record),
        notes: Vec::new(),
        cautions: record.cautions.clone(),
        obstacles: record.obstacles.clone(),
        left_out: left_out
            .map(|(reason, count)| (reason.clone(), *count as u64))
            .collect(),
        parts_considered: record.considered.parts as u64,
        offers_considered: record.considered.offers as u64,
        power: None,
        as_written: None,
        standing: None,
    }
}

fn role_view(role: &Role) -> RoleView {
    RoleView {
        role: role.id.to_string(),
        kind: role.kind.name().to_owned(),
        quantity: role.quantity,
        pin: role.pin.as_ref().map(ToString::to_string),
        is_owned: role.is_owned,
    }
}

fn order_lines(asked: &Asked, record: &AnswerRecord) -> Vec<OrderLine> {
    let names = Names::of(&asked.brief, &asked.retailers);
    let lines = record.order_lines(&names).into_iter();
    lines
        .map(|(words, minor)| OrderLine { words, minor })
        .collect()
}

fn wishes(record: &AnswerRecord) -> Vec<WishView> {
    let wishes = record.wishes.iter();
    wishes
        .map(|wish| WishView {
            role: wish.role.to_string(),
            wish: wish.wish.clone(),
            worth_percent: wish.worth_percent,
            is_met: wish.is_met,
        })
        .collect()
}

fn workloads(brief: &Brief, record: &AnswerRecord) -> Vec<WorkloadView> {
    let whole = brief.objective.total_weight().max(1) as f64;
    let weighted = brief.objective.workloads.iter();
    weighted
        .filter_map(|weighted| {
            let id = weighted.workload.as_str();
            let reached = record.rates.get(id)?;
            Some(WorkloadView {
                workload: id.to_owned(),
                name: weighted.name.clone(),
                unit: reached.unit.clone(),
                weight_percent: 100.0 * weighted.weight as f64 / whole,
                rate: reached.rate,
                limited_by: reached.limited_by.clone(),
                is_estimate: reached.is_estimate,
                unused_percent: reached.unused_percent.clone(),
            })
        })
        .collect()
}

fn pick_view(
    asked: &Asked,
    pick: &Pick,
    noted: &PickRecord,
    record: &AnswerRecord,
    position: Option<Position>,
) -> PickView {
    let purchase = pick.purchase.as_ref();
    let retailer = purchase.and_then(|one| asked.retailers.get(&one.retailer));
    let link = match (purchase, retailer) {
        (Some(one), Some(retailer)) => {
            let (offered, sku) = (one.link.as_deref(), one.sku.as_str());
            join::link(&asked.retailers, retailer, offered, sku)
        }
        _ => None,
    };
    let role = asked.brief.roles.iter().find(|role| role.id == pick.role);
    let currency = purchase.map_or(pick.landed.currency(), |one| one.price.currency());
    PickView {
        role: pick.role.to_string(),
        part: pick.part.to_string(),
        name: pick.name.clone(),
        quantity: pick.quantity,
        retailer: purchase.map(|one| one.retailer.to_string()),
        retailer_name: retailer.map(|retailer| retailer.name.clone()),
        sku: noted.sku.as_ref().map(ToString::to_string),
        price_minor: noted.price_minor,
        price_currency: currency.to_string(),
        landed_minor: noted.landed_minor,
        rebate_minor: noted.rebate_minor,
        is_paid_link: link.as_ref().is_some_and(|link| link.is_paid),
        link: link.map(|link| link.address),
        seen_at: noted.seen_at.clone(),
        availability: noted.availability.clone(),
        lead_days: noted.lead_days,
        price_position: position.map(|position| position.words()),
        position: position.map(position_view),
        reason: reason(&asked.brief, role, pick, record),
        is_pinned: role.is_some_and(|role| role.pin.is_some()),
        is_owned: role.is_some_and(|role| role.is_owned),
    }
}

fn position_view(position: Position) -> PositionView {
    PositionView {
        above_percent: position.above_percent,
        lowest_minor: position.lowest.minor(),
        currency: position.lowest.currency().to_string(),
        days: position.days,
        since: position.since.map(|day| day.to_string()),
    }
}

/// Why this part is there. That nothing cheaper would do follows from the answer's order: best score,
/// then lowest cost.
fn reason(brief: &Brief, role: Option<&Role>, pick: &Pick, record: &AnswerRecord) -> String {
    if role.is_some_and(|role| role.is_owned) {
        return "the reader has it".to_owned();
    }
    if role.is_some_and(|role| role.pin.is_some()) {
        return "pinned: no other may fill the role".to_owned();
    }
    let weighted = brief.objective.workloads.iter();
    let limited = weighted.filter(|weighted| {
        let reached = record.rates.get(weighted.workload.as_str());
        reached.is_some_and(|reached| reached.limited_by == pick.role.as_str())
    });
    let limited: Vec<&str> = limited.map(|weighted| weighted.name.as_str()).collect();
    if !limited.is_empty() {
        return format!(
            "limits {}: the best that the budget allows",
            limited.join(", ")
        );
    }
    let rates = record.rates.values();
    let unused = rates.filter_map(|reached| reached.unused_percent.get(pick.role.as_str()));
    match unused.copied().reduce(f64::min) {
        Some(unused) if unused >= 0.5 => {
            format!(
                "limits nothing, {unused:.0} % in reserve; nothing cheaper that goes with the rest scores as high"
            )
        }
        _ => "nothing cheaper goes with the rest and scores as high".to_owned(),
    }
}

fn power(seats: &[Seat<'_>], brief: &Brief) -> Option<PowerView> {
    let report = power_report(seats, &brief.terms)?;
    Some(PowerView {
        load_w: report.load_w,
        unknown: report.unknown,
        needed_w: report.needed_w,
        rated_w: report.supply.map(|supply| supply.rated_w),
    })
}
