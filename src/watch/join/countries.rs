//! The same picks in other countries: what is not sold there gives way to the best substitute.
//!
//! A substitute is asked of the optimiser with the other picks pinned, or all but a few of them where
//! it does not go with all: the cheapest that scores no less than the guide's build does, else the best
//! that is sold there.

use super::orders;
use super::picks::{disclosures, pick_view};
use super::steps::{among, rungs, step};
use crate::decide::{AnswerAbroad, AnswerRecord};
use crate::guide::view::CountryView;
use crate::ledger::Reader;
use crate::market::{Brief, Market, Retailer, RetailerId, RoleId, market};
use crate::money::{Currency, Money};
use crate::optimise::{BestBuild, Build, Climb, Standing, reprice};
use crate::watch::asking::{AskFault, Asked, Doing as _};
use std::collections::{BTreeMap, BTreeSet};

/// What the picks may cost elsewhere is for readers to judge, so the budget is no limit there: so many
/// times the number of it, in the country's currency.
const BUDGETS: i64 = 1_000;

/// A guide's build in a country: what the guide says of it, and the answer where there is one.
pub struct Country {
    view: CountryView,
    answer: Option<AnswerAbroad>,
}

impl Country {
    pub fn parts(self) -> (CountryView, Option<AnswerAbroad>) {
        (self.view, self.answer)
    }
}

/// A guide's build in each of these countries.
///
/// # Errors
/// [`AskFault`]
pub fn abroad(
    (asked, reader): (&Asked, &Reader),
    build: &Build,
    countries: &[String],
    engine: &dyn Climb,
) -> Result<Vec<Country>, AskFault> {
    let mut seen = BTreeSet::from([asked.brief.country.as_str()]);
    let countries = countries.iter().filter(|code| seen.insert(code.as_str()));
    countries
        .map(|code| one_country((asked, reader), build, code, engine))
        .collect()
}

/// The brief as it is asked in another country, in the currency of that country's own retailers: the
/// brief's where one of them has it.
pub fn brief_abroad(
    brief: &Brief,
    retailers: &BTreeMap<RetailerId, Retailer>,
    country: &str,
) -> Brief {
    let own = brief.budget.currency();
    let there = retailers.values();
    let there = there.filter(|retailer| retailer.country == country);
    let known: BTreeSet<Currency> = there.map(|retailer| retailer.currency).collect();
    let currency = match known.first() {
        Some(first) if !known.contains(&own) => *first,
        _ => own,
    };
    Brief {
        country: country.to_owned(),
        budget: Money::from_minor(brief.budget.minor().saturating_mul(BUDGETS), currency),
        ..brief.clone()
    }
}

fn one_country(
    (asked, reader): (&Asked, &Reader),
    build: &Build,
    country: &str,
    engine: &dyn Climb,
) -> Result<Country, AskFault> {
    let brief = brief_abroad(&asked.brief, &asked.retailers, country);
    let settings = &asked.settings;
    let whole = market(&brief, &settings.catalogue, &asked.retailers, &asked.listed);
    let mut view = CountryView {
        country: country.to_owned(),
        currency: brief.budget.currency().to_string(),
        total_minor: None,
        score: None,
        orders: Vec::new(),
        picks: Vec::new(),
        disclosures: Vec::new(),
        substitutes: Vec::new(),
        goes_with: Vec::new(),
        obstacle: None,
    };
    let gone = gone(&whole, build);
    let there = match sold(asked, &whole, (build, &gone), engine)? {
        Ok(there) => there,
        Err(obstacle) => {
            view.obstacle = Some(obstacle);
            return Ok(Country { view, answer: None });
        }
    };
    let record = AnswerRecord::of_build(&whole, &there, asked.at);
    let there = there.build;
    view.total_minor = Some(there.total.minor());
    view.score = Some(there.shown_score.points());
    view.orders = orders(asked, &record);
    view.disclosures = disclosures(asked, &there);
    let changes = step(build, &there).changes.into_iter();
    (view.substitutes, view.goes_with) =
        changes.partition(|change| gone.iter().any(|role| role.as_str() == change.role));
    let picks = there
        .picks
        .iter()
        .map(|pick| pick_view(asked, reader, pick));
    view.picks = picks.collect::<Result<_, _>>()?;
    let answer = Some(AnswerAbroad {
        country: country.to_owned(),
        answer: record,
    });
    Ok(Country { view, answer })
}

/// The roles whose picks nobody there sells.
fn gone<'b>(whole: &Market<'_>, build: &'b Build) -> BTreeSet<&'b RoleId> {
    let pairs = build.picks.iter().zip(&whole.candidates);
    let gone = pairs.filter(|(pick, all)| all.iter().all(|one| one.part.id != pick.part));
    gone.map(|(pick, _)| &pick.role).collect()
}

/// The build as it is sold in a market, or why there is none.
fn sold(
    asked: &Asked,
    whole: &Market<'_>,
    (build, gone): (&Build, &BTreeSet<&RoleId>),
    engine: &dyn Climb,
) -> Result<Result<BestBuild, String>, AskFault> {
    let catalogue = &asked.settings.catalogue;
    let mut roles = whole.brief.roles.iter().zip(&whole.candidates);
    if let Some((role, _)) = roles.find(|(_, all)| all.is_empty()) {
        let words = format!(
            "nothing that is sold there can fill the role \"{}\"",
            role.id
        );
        return Ok(Err(words));
    }
    for free in freedoms(build, gone) {
        let pinned = among(whole, build, |pick, candidate| {
            free.contains(&pick.role) || candidate.part.id == pick.part
        });
        let rungs = rungs(&pinned, catalogue, whole.brief.budget, engine);
        let rungs = rungs.doing("cannot look for substitutes")?;
        let no_worse = rungs.iter().find(|rung| rung.score >= build.score);
        let Some(chosen) = no_worse.or(rungs.last()) else {
            continue;
        };
        let picks = chosen.picks.iter();
        let standing: Standing = picks
            .map(|pick| (pick.role.clone(), pick.part.clone()))
            .collect();
        if let Some(there) = reprice(whole, catalogue, &standing) {
            return Ok(Ok(there));
        }
    }
    Ok(Err("what is sold there makes no build".to_owned()))
}

/// Which roles may have another part, in the order in which it is tried: those alone whose picks are
/// not sold, then one role more or two, for a processor of another socket needs another board; then all.
fn freedoms<'b>(build: &'b Build, gone: &BTreeSet<&'b RoleId>) -> Vec<BTreeSet<&'b RoleId>> {
    let kept = build.picks.iter().map(|pick| &pick.role);
    let kept: Vec<&RoleId> = kept.filter(|role| !gone.contains(role)).collect();
    let with = |more: &[&'b RoleId]| gone.iter().chain(more).copied().collect();
    let mut freedoms: Vec<BTreeSet<&RoleId>> = vec![with(&[])];
    freedoms.extend(kept.iter().map(|one| with(&[one])));
    for (at, one) in kept.iter().enumerate() {
        freedoms.extend(kept[at + 1..].iter().map(|other| with(&[one, other])));
    }
    freedoms.push(with(&kept));
    freedoms
}
