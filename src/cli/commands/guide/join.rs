//! Joins the answer, the ladder, the prices and the specs into what the guide says.

use super::position;
use crate::catalogue::PartId;
use crate::cli::commands::asking::Asked;
use crate::cli::report::Failure;
use crate::cli::screen::Screen;
use crate::decide::{AnswerRecord, ProofStatus};
use crate::fit::{FitTerms, PowerReport, Seat, power_report, verdicts};
use crate::guide::assembly;
use crate::guide::upgrades::upgrades;
use crate::guide::view::{
    AlternativeView, ChangeView, FORMAT, MeasuredView, OrderLine, PickView, PowerView, RungView,
    StepView, View, WorkloadView,
};
use crate::market::{Market, Retailer, RoleId};
use crate::money::Money;
use crate::optimise::{
    Alternative, Build, Effort, Ladder, Limit, Pick, Question, Reached, SweeperFirst, ladder,
    substitutes,
};
use crate::rates::Weighted;
use crate::rates::result::BenchResult;
use crate::watch::answer::answer;
use anyhow::Context as _;
use std::collections::BTreeSet;

/// Rungs that are told above and below the guide's.
const STEPS: usize = 3;
/// How far a measured rate may lie from the expected one before the author is told, in percent:
/// five times what runs of one test differ by (common practice, no source).
const FLAGGED_PERCENT: f64 = 15.0;

/// What the guide says, and the answer that it says it of.
pub struct Joined {
    pub view: View,
    pub answer: AnswerRecord,
}

/// `None` where nothing fits.
pub fn joined(asked: &Asked, screen: &Screen) -> Result<Option<Joined>, Failure> {
    let brief = &asked.brief;
    screen.progress(&format!("working out the best build for {}", brief.name));
    let (settings, effort) = (&asked.settings, Effort::default());
    let today = answer(
        settings,
        brief,
        &asked.listed,
        &asked.standing,
        asked.at,
        effort,
    )
    .context("cannot work out the best build")?;
    let Some(build) = &today.build else {
        return Ok(None);
    };
    let market = asked.market();
    let engine = SweeperFirst(effort);
    let question = Question::new(&market, &settings.catalogue, &asked.standing, &engine);
    screen.progress("climbing the ladder");
    let zero = Money::zero(brief.budget.currency());
    // Half as much again is as far as a step up is one.
    let most = brief
        .budget
        .minor()
        .saturating_add(brief.budget.minor() / 2);
    let most = Money::from_minor(most, brief.budget.currency());
    let ladder = ladder(&question, zero, most).context("cannot climb the ladder")?;
    screen.progress("looking for alternatives");
    let others = substitutes(&question).context("cannot look for alternatives")?;
    let seats = seats(asked, build);
    let report = power_report(&seats, &brief.terms);
    let power = report.map(|report| power(report, &brief.terms));
    let room_w = power.as_ref().and_then(|power| power.room_w);
    let (steps_up, steps_down) = steps(&ladder, build);
    let record = &today.best;
    let view = View {
        format: FORMAT,
        brief: brief.id.to_string(),
        title: brief.name.clone(),
        at: record.at.clone(),
        country: brief.country.clone(),
        currency: record.currency.clone(),
        budget_minor: record.budget_minor,
        total_minor: build.total.minor(),
        orders: orders(record),
        score: build.shown_score.points(),
        estimated_percent: record.estimated_percent.unwrap_or(0.0),
        is_proven: record.proof.status == ProofStatus::Optimal,
        edition: None,
        picks: picks(asked, build)?,
        disclosures: disclosures(asked, build),
        workloads: workloads(asked, build),
        steps_up,
        steps_down,
        ladder: ladder
            .rungs
            .iter()
            .map(|rung| rung_view(&rung.build))
            .collect(),
        alternatives: alternatives(build, &others),
        notes: notes(&market, &seats),
        cautions: record.cautions.clone(),
        power,
        upgrades: upgrades(&seats, room_w),
        tools: assembly::tools(&seats),
        assembly: assembly::stages(&seats),
    };
    Ok(Some(Joined {
        view,
        answer: today.best,
    }))
}

/// Roles whose alternative is the same build are told together.
fn alternatives(build: &Build, others: &[(RoleId, Alternative)]) -> Vec<AlternativeView> {
    let mut told: Vec<AlternativeView> = Vec::new();
    for (role, other) in others {
        let step = step(build, &other.build);
        match told.iter_mut().find(|known| known.step == step) {
            Some(known) => known.role.push_str(&format!(", {role}")),
            None => told.push(AlternativeView {
                role: role.to_string(),
                step,
            }),
        }
    }
    told
}

fn seats<'a>(asked: &'a Asked, build: &'a Build) -> Vec<Seat<'a>> {
    let picks = build.picks.iter();
    picks
        .filter_map(|pick| {
            Some(Seat {
                role: pick.role.as_str(),
                part: asked.settings.catalogue.parts.get(&pick.part)?,
                quantity: pick.quantity,
            })
        })
        .collect()
}

fn orders(record: &AnswerRecord) -> Vec<OrderLine> {
    let lines = record.order_lines().into_iter();
    lines
        .map(|(words, minor)| OrderLine { words, minor })
        .collect()
}

fn picks(asked: &Asked, build: &Build) -> Result<Vec<PickView>, Failure> {
    build
        .picks
        .iter()
        .map(|pick| pick_view(asked, pick))
        .collect()
}

fn pick_view(asked: &Asked, pick: &Pick) -> Result<PickView, Failure> {
    let part = asked.settings.catalogue.parts.get(&pick.part);
    let purchase = pick.purchase.as_ref();
    let retailer = purchase.and_then(|one| asked.settings.retailers.get(&one.retailer));
    let link = match (purchase, retailer) {
        (Some(purchase), Some(retailer)) => {
            let foreign = foreign_tags(asked, retailer);
            let (offered, sku) = (purchase.link.as_deref(), purchase.sku.as_str());
            retailer.links.link(offered, sku, &foreign)
        }
        _ => None,
    };
    let price_position = match purchase {
        Some(purchase) => position::of(asked, &pick.part, purchase.price)?,
        None => None,
    };
    let currency = purchase.map_or(pick.landed.currency(), |one| one.price.currency());
    Ok(PickView {
        role: pick.role.to_string(),
        part: pick.part.to_string(),
        name: pick.name.clone(),
        brand: part.and_then(|part| part.brand.clone()),
        mpn: part.and_then(|part| part.mpns.first().cloned()),
        gtin: part.and_then(|part| part.gtins.first().map(ToString::to_string)),
        quantity: pick.quantity,
        retailer: purchase.map(|one| {
            retailer.map_or_else(
                || one.retailer.to_string(),
                |retailer| retailer.name.clone(),
            )
        }),
        sku: purchase.map(|one| one.sku.to_string()),
        price_minor: purchase.map(|one| one.price.minor()),
        price_currency: currency.to_string(),
        tax_included: retailer.is_none_or(|retailer| retailer.prices_include_tax),
        landed_minor: pick.landed.minor(),
        is_paid_link: link.as_ref().is_some_and(|link| link.is_paid),
        link: link.map(|link| link.address),
        seen_at: purchase.map(|one| crate::decide::shown_instant(one.seen_at)),
        availability: purchase.and_then(|one| schema_name(one.availability.name())),
        lead_days: purchase.and_then(|one| one.lead_days),
        price_position,
    })
}

/// The author's tags at other retailers, which this one must not see.
fn foreign_tags<'a>(asked: &'a Asked, own: &Retailer) -> Vec<&'a str> {
    let others = asked.settings.retailers.values();
    let tags = others.filter_map(|retailer| retailer.links.tag());
    tags.filter(|tag| Some(*tag) != own.links.tag()).collect()
}

/// `in_stock` as schema.org writes it; what nobody stated is not in it.
fn schema_name(name: &str) -> Option<String> {
    if name == "unknown" {
        return None;
    }
    let words = name.split('_').map(|word| {
        let (first, rest) = word.split_at_checked(1).unwrap_or((word, ""));
        first.to_uppercase() + rest
    });
    Some(words.collect())
}

/// What the retailers of paid links are to be disclosed with, each wording once.
fn disclosures(asked: &Asked, build: &Build) -> Vec<String> {
    let purchases = build.picks.iter().filter_map(|pick| pick.purchase.as_ref());
    let retailers: BTreeSet<_> = purchases.map(|one| &one.retailer).collect();
    let retailers = retailers
        .into_iter()
        .filter_map(|id| asked.settings.retailers.get(id));
    let mut words: Vec<String> = Vec::new();
    for said in retailers.filter_map(|retailer| retailer.links.disclosure()) {
        if !words.iter().any(|known| known == said) {
            words.push(said.to_owned());
        }
    }
    words
}

fn workloads(asked: &Asked, build: &Build) -> Vec<WorkloadView> {
    let objective = &asked.brief.objective;
    let whole = objective.total_weight().max(1) as f64;
    let pairs = objective.workloads.iter().zip(&build.rates);
    pairs
        .map(|(weighted, reached)| WorkloadView {
            name: weighted.name.clone(),
            unit: weighted.unit.clone(),
            weight_percent: 100.0 * weighted.weight as f64 / whole,
            rate: reached.rate_milli as f64 / 1e3,
            limited_by: limit_words(reached, build),
            is_estimate: reached.is_estimate,
            measured: measured(asked, build, weighted, reached),
        })
        .collect()
}

fn limit_words(reached: &Reached, build: &Build) -> String {
    match &reached.limited_by {
        Limit::Cap => "the brief's cap".to_owned(),
        Limit::Role(role) => {
            let pick = build.picks.iter().find(|pick| pick.role == *role);
            pick.map_or_else(
                || role.to_string(),
                |pick| format!("{role} ({})", pick.name),
            )
        }
    }
}

/// The latest own result of this very build in a test that alone makes up the workload.
fn measured(
    asked: &Asked,
    build: &Build,
    weighted: &Weighted,
    reached: &Reached,
) -> Option<MeasuredView> {
    let workload = asked.settings.catalogue.workloads.get(&weighted.workload)?;
    let [test] = workload.tests.as_slice() else {
        return None;
    };
    let is_of_build = |result: &&BenchResult| {
        let has = |part: &PartId| build.picks.iter().any(|pick| pick.part == *part);
        // The result of a single part is what the expectation was made of.
        result.parts.len() > 1 && result.parts.iter().all(has) && result.test == test.test
    };
    let results = asked.settings.results.iter().filter(is_of_build);
    let result = results.max_by_key(|result| result.date)?;
    let rate = result.log_rate().exp();
    let expected = reached.rate_milli as f64 / 1e3;
    let difference_percent = 100.0 * (rate / expected - 1.0);
    Some(MeasuredView {
        rate,
        difference_percent,
        is_flagged: difference_percent.abs() > FLAGGED_PERCENT,
        source: result.source.clone(),
        date: result.date.map(|date| date.to_string()),
        note: result.note.clone(),
    })
}

/// The rungs above and below a build, the nearest first.
fn steps(ladder: &Ladder, build: &Build) -> (Vec<StepView>, Vec<StepView>) {
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

fn step(from: &Build, to: &Build) -> StepView {
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

fn rung_view(build: &Build) -> RungView {
    RungView {
        total_minor: build.total.minor(),
        score: build.shown_score.points(),
    }
}

/// The rules that were looked at and hold.
fn notes(market: &Market<'_>, seats: &[Seat<'_>]) -> Vec<String> {
    let verdicts = verdicts(&market.brief.rules, seats, &market.brief.terms);
    let kept = verdicts
        .iter()
        .filter(|verdict| verdict.findings.is_empty());
    kept.map(|verdict| format!("Checked: {}.", verdict.rule.states().trim_end_matches('.')))
        .collect()
}

fn power(report: PowerReport, terms: &FitTerms) -> PowerView {
    let supply = report.supply.as_ref();
    let rated_w = supply.map(|supply| supply.rated_w);
    let watts = |hundredths: Option<i64>| hundredths.map(|hundredths| (hundredths + 50) / 100);
    PowerView {
        load_w: report.load_w,
        margin_percent: rated_w.map(|rated| 100 * (rated - report.load_w) / rated.max(1)),
        // What remains of the rating when the headroom stays free.
        room_w: rated_w.map(|rated| {
            let usable = rated * 100 / (100 + terms.headroom_percent);
            (usable - report.load_w).max(0)
        }),
        wall_115_w: watts(supply.and_then(|supply| supply.wall_115)),
        wall_230_w: watts(supply.and_then(|supply| supply.wall_230)),
        unknown: report.unknown,
        rated_w,
    }
}
