//! Joins the answer, the ladder, the prices and the specs into what the guide says.

mod countries;
mod picks;
pub mod position;
mod rates;
mod steps;

pub use countries::{Country, abroad, brief_abroad};
pub use picks::link;
use picks::{disclosures, picks};
use rates::{put_wall_power, workloads};
use steps::{alternatives, rung_view, steps};

use super::answer::answer;
use super::asking::{AskFault, Asked, Doing as _};
use crate::decide::{AnswerAbroad, AnswerRecord, Names, ProofStatus};
use crate::fit::{FitTerms, PowerReport, Seat, power_report, verdicts};
use crate::guide::assembly;
use crate::guide::upgrades::upgrades;
use crate::guide::view::{FORMAT, OrderLine, PowerView, RungView, View};
use crate::ledger::Reader;
use crate::market::Market;
use crate::money::Money;
use crate::optimise::{Build, Effort, Ladder, Question, SweeperFirst, ladder};

/// What the guide says, and the answer that it says it of.
pub struct Joined {
    pub view: View,
    pub answer: AnswerRecord,
    /// In the other countries, where there is a build.
    pub abroad: Vec<AnswerAbroad>,
}

/// Joined for the brief's country and others besides; `None` where nothing fits. `told` hears what is
/// being done.
///
/// # Errors
/// [`AskFault`]
pub fn joined(
    asked: &Asked,
    reader: &Reader,
    countries: &[String],
    told: &dyn Fn(&str),
) -> Result<Option<Joined>, AskFault> {
    let brief = &asked.brief;
    told(&format!("working out the best build for {}", brief.name));
    let (settings, effort) = (&asked.settings, Effort::default());
    let today = answer(
        settings,
        brief,
        &asked.listed,
        &asked.standing,
        asked.at,
        effort,
    )
    .doing("cannot work out the best build")?;
    let Some(build) = &today.build else {
        return Ok(None);
    };
    let market = asked.market();
    let engine = SweeperFirst(effort);
    let question = Question::new(&market, &settings.catalogue, &asked.standing, &engine);
    told("climbing the ladder");
    let zero = Money::zero(brief.budget.currency());
    // Half as much again is as far as a step up is one.
    let budget = brief.budget.minor();
    let most = Money::from_minor(budget.saturating_add(budget / 2), brief.budget.currency());
    let ladder = ladder(&question, zero, most).doing("cannot climb the ladder")?;
    told("looking for alternatives");
    let alternatives = alternatives(&question, build, &ladder, &engine);
    let alternatives = alternatives.doing("cannot look for alternatives")?;
    let seats = seats(asked, build);
    let power = power_report(&seats, &brief.terms).map(|report| power(report, &brief.terms));
    let room_w = power.as_ref().and_then(|power| power.room_w);
    let (steps_up, steps_down) = steps(&ladder, build);
    let mut workloads = workloads(asked, build);
    put_wall_power(&mut workloads, power.as_ref());
    told("pricing the picks in other countries");
    let countries = abroad((asked, reader), build, countries, &engine)?.into_iter();
    let (countries, abroad): (Vec<_>, Vec<_>) = countries.map(Country::parts).unzip();
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
        orders: orders(asked, record),
        score: build.shown_score.points(),
        estimated_percent: record.estimated_percent.unwrap_or(0.0),
        is_proven: record.proof.status == ProofStatus::Optimal,
        edition: None,
        picks: picks(asked, reader, build)?,
        disclosures: disclosures(asked, build),
        workloads,
        steps_up,
        steps_down,
        ladder: rung_views(&ladder),
        alternatives,
        notes: notes(&market, &seats),
        cautions: record.cautions.clone(),
        power,
        upgrades: upgrades(&seats, room_w),
        tools: assembly::tools(&seats),
        assembly: assembly::stages(&seats),
        countries,
    };
    Ok(Some(Joined {
        view,
        answer: today.best,
        abroad: abroad.into_iter().flatten().collect(),
    }))
}

fn rung_views(ladder: &Ladder) -> Vec<RungView> {
    let rungs = ladder.rungs.iter();
    rungs.map(|rung| rung_view(&rung.build)).collect()
}

/// Where the build's parts sit, for the fit rules.
pub fn seats<'a>(asked: &'a Asked, build: &'a Build) -> Vec<Seat<'a>> {
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

/// What whole orders cost and save.
pub fn orders(asked: &Asked, record: &AnswerRecord) -> Vec<OrderLine> {
    let names = Names::of(&asked.brief, &asked.retailers);
    let lines = record.order_lines(&names).into_iter();
    lines
        .map(|(words, minor)| OrderLine { words, minor })
        .collect()
}

/// The rules that were looked at and hold.
pub fn notes(market: &Market<'_>, seats: &[Seat<'_>]) -> Vec<String> {
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
