//! `rigtide best`: the best build for a brief, or for a budget and some uses.

use super::asking::{Moment, amount as amount_of, brief_named};
use crate::catalogue::WorkloadId;
use crate::catalogue::table::nearest;
use crate::cli::args::BestArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless};
use crate::decide::{AnswerRecord, Names, PickRecord, ProofStatus};
use crate::market::Brief;
use crate::market::market;
use crate::money::{Currency, Money};
use crate::optimise::{Draws, Effort, Question, SweeperFirst, robust as draw_and_answer};
use crate::rates::Weighted;
use crate::watch::answer::answer;
use crate::watch::settings::Settings;
use anyhow::Context as _;
use std::path::Path;

mod others;
mod robust;

use others::Others;

pub fn run(directory: &Path, arguments: &BestArguments, screen: &Screen) -> Result<(), Failure> {
    let moment = Moment::of(arguments.at)?;
    let (settings, reader, listed) = moment.read(directory)?;
    let brief = brief(&settings, arguments)?;
    let standing = moment.standing(&reader, &brief)?;
    let effort = Effort {
        seconds_per_solve: f64::from(arguments.time_limit.max(1)),
        ..Effort::default()
    };
    screen.progress(&format!("working out the best build for {}", brief.name));
    let today = answer(&settings, &brief, &listed, &standing, moment.at, effort)
        .context("cannot work out the best build")?;
    let draws = arguments.robust.map(|number| Draws {
        number: number as usize,
        seed: arguments.seed,
    });
    let robustness = match (draws, &today.build) {
        (Some(draws), Some(build)) => {
            let told = |done: usize| {
                screen.progress(&format!("answered {done} of {} draws", draws.number));
            };
            let shops = (&settings.retailers, listed.as_slice());
            let asked = (&brief, &settings.catalogue);
            let found = draw_and_answer(asked, shops, build, draws, effort, told);
            Some(found.context("cannot answer with drawn rates")?)
        }
        _ => None,
    };
    let others = match arguments.alternatives {
        Some(number) if today.build.is_some() => {
            screen.progress("looking for the next best builds");
            let market = market(&brief, &settings.catalogue, &settings.retailers, &listed);
            let engine = SweeperFirst(effort);
            let question = Question::new(&market, &settings.catalogue, &standing, &engine);
            Some(Others::find(&question, number as usize)?)
        }
        _ => None,
    };
    screen.clear_progress();
    if arguments.output.json {
        // A record is plain data with text keys.
        let mut whole = serde_json::to_value(&today.best).unwrap_or_default();
        if let Some(robustness) = &robustness {
            whole["robust"] = robust::report(robustness);
        }
        if let Some(others) = &others {
            others.report_into(&mut whole);
        }
        screen.line(whole.to_string());
    } else {
        show(&today.best, &brief.name, screen)
            .iter()
            .for_each(|line| screen.line(line));
        let lines = robustness.map(|robustness| robust::show(&robustness, &today.best, screen));
        let lines = lines.unwrap_or_default();
        lines.iter().for_each(|line| screen.line(line));
        let lines = others.map(|others| others.show(&today.best, screen));
        let lines = lines.unwrap_or_default();
        lines.iter().for_each(|line| screen.line(line));
    }
    if today.best.has_build() {
        Ok(())
    } else {
        Err(Failure::NothingFits)
    }
}

fn brief(settings: &Settings, arguments: &BestArguments) -> Result<Brief, Failure> {
    if let Some(budget) = &arguments.budget {
        return ad_hoc(settings, arguments, budget);
    }
    Ok(brief_named(settings, arguments.brief.as_deref())?)
}

/// A brief from the command line. Its country is the retailers', where they share one.
fn ad_hoc(settings: &Settings, arguments: &BestArguments, budget: &str) -> Result<Brief, Failure> {
    let code = arguments.currency.as_deref().unwrap_or_default();
    let currency = Currency::parse(code)
        .map_err(|unknown| Failure::usage(unknown.to_string(), "say --currency EUR or the like"))?;
    let budget = amount_of(budget, currency)?;
    let mut countries: Vec<&str> = settings
        .retailers
        .values()
        .map(|retailer| retailer.country.as_str())
        .collect();
    countries.sort_unstable();
    countries.dedup();
    let country = match (&arguments.country, countries.as_slice()) {
        (Some(country), _) => country.to_ascii_uppercase(),
        (None, [only]) => (*only).to_owned(),
        (None, _) => {
            let hint = format!("say --country; retailers are in {}", countries.join(", "));
            return Err(Failure::usage("the country is not clear", hint));
        }
    };
    let uses: Result<Vec<Weighted>, Failure> = arguments
        .uses
        .iter()
        .map(|name| weighted(settings, name))
        .collect();
    Ok(Brief {
        rules: settings.rules.clone(),
        ..Brief::ad_hoc(budget, &country, uses?)
    })
}

fn weighted(settings: &Settings, name: &str) -> Result<Weighted, Failure> {
    let workloads = &settings.catalogue.workloads;
    if let Some(workload) = workloads.get(&WorkloadId::new(name)) {
        return Ok(Weighted::new(workload, 1));
    }
    let known = || workloads.keys().map(WorkloadId::as_str);
    let hint = match nearest(name, known()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!(
            "known workloads: {}",
            known().collect::<Vec<_>>().join(", ")
        ),
    };
    Err(Failure::usage(
        format!("no workload is called \"{name}\""),
        hint,
    ))
}

/// An answer for a person.
pub fn show(record: &AnswerRecord, name: &str, screen: &Screen) -> Vec<String> {
    let considered = format!(
        "considered {} parts in {} offers",
        record.considered.parts, record.considered.offers
    );
    let mut lines = vec![screen.tone(
        Tone::Strong,
        &format!("{name}: the best build at {}", record.at),
    )];
    if !record.has_build() {
        lines[0] = screen.tone(
            Tone::Strong,
            &format!("{name}: nothing fits at {}", record.at),
        );
        lines.extend(
            record
                .obstacles
                .iter()
                .map(|obstacle| format!("  {}", harmless(obstacle))),
        );
        lines.push(considered);
        return lines;
    }
    lines.push(String::new());
    lines.extend(picks(record, screen));
    lines.push(String::new());
    lines.extend(totals(record));
    lines.push(proof(record));
    lines.push(considered);
    for caution in &record.cautions {
        lines.push(format!("caution: {}", harmless(caution)));
    }
    lines
}

fn picks(record: &AnswerRecord, screen: &Screen) -> Vec<String> {
    let heading = ["role", "part", "retailer", "price", "landed"];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for pick in &record.picks {
        let count = if pick.quantity == 1 {
            String::new()
        } else {
            format!("{} x ", pick.quantity)
        };
        let wait = pick
            .wait()
            .map_or(String::new(), |wait| format!(" ({wait})"));
        rows.push(vec![
            pick.role.to_string(),
            format!("{count}{}{wait}", harmless(&pick.name)),
            pick.retailer
                .as_ref()
                .map_or("owned", |retailer| retailer.as_str())
                .to_owned(),
            pick.price_minor
                .map_or(String::new(), |minor| price(record, pick, minor)),
            decimal(record, pick.landed_minor),
        ]);
    }
    let mut lines = columns(
        &rows,
        &[Set::Left, Set::Left, Set::Left, Set::Right, Set::Right],
    );
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    lines
}

/// A pick's price, with its currency where that is not the brief's.
fn price(record: &AnswerRecord, pick: &PickRecord, minor: i64) -> String {
    let other = pick
        .price_currency
        .as_deref()
        .and_then(|code| Currency::parse(code).ok());
    match other {
        Some(currency) => Money::from_minor(minor, currency).to_string(),
        None => decimal(record, minor),
    }
}

/// What whole orders cost and save, a row each.
fn orders(record: &AnswerRecord) -> Vec<Vec<String>> {
    let lines = record.order_lines(&Names::default()).into_iter();
    let mut rows: Vec<Vec<String>> = lines
        .map(|(words, minor)| {
            let amount = match minor {
                0 => "free".to_owned(),
                minor => amount(record, minor),
            };
            vec![harmless(&words), amount]
        })
        .collect();
    for pick in record.picks.iter().filter(|pick| pick.rebate_minor > 0) {
        let name = format!("rebate on {}, later", pick.role);
        rows.push(vec![name, amount(record, pick.rebate_minor)]);
    }
    rows
}

fn totals(record: &AnswerRecord) -> Vec<String> {
    let total = record.total_minor.unwrap_or(0);
    let mut rows = orders(record);
    rows.extend([
        vec!["total".to_owned(), amount(record, total)],
        vec![
            "budget left".to_owned(),
            amount(record, record.budget_minor - total),
        ],
        vec![
            "score".to_owned(),
            format!("{:.2}", record.score.unwrap_or(0.0)),
        ],
    ]);
    for (workload, rate) in &record.rates {
        let estimate = if rate.is_estimate {
            ", an estimate"
        } else {
            ""
        };
        let unused = rate
            .unused_percent
            .iter()
            .filter(|(_, unused)| **unused >= 0.5);
        let unused: Vec<String> = unused
            .map(|(role, unused)| format!("{role} leaves {unused:.0} % unused"))
            .collect();
        let unused = match unused.as_slice() {
            [] => String::new(),
            some => format!("; {}", some.join(", ")),
        };
        let reached = format!(
            "{:.1} {}, limited by {}{estimate}{unused}",
            rate.rate, rate.unit, rate.limited_by
        );
        rows.push(vec![workload.clone(), reached]);
    }
    for wish in &record.wishes {
        let words = format!("{}: {}", wish.role, wish.wish);
        let said = match wish.is_met {
            true => format!("{words}, worth {} % of the score", wish.worth_percent),
            false => format!("{words}, not met"),
        };
        rows.push(vec!["wish".to_owned(), said]);
    }
    let gains = record.gain_percent_of_a_tenth.iter();
    let gains = gains.filter(|(_, gain)| **gain >= 0.05);
    let gains: Vec<String> = gains
        .map(|(role, gain)| format!("{role} {gain:+.1} %"))
        .collect();
    if !gains.is_empty() {
        rows.push(vec![
            "a tenth more".to_owned(),
            format!("of a role moves the score: {}", gains.join(", ")),
        ]);
    }
    columns(&rows, &[Set::Left, Set::Left])
}

fn proof(record: &AnswerRecord) -> String {
    match record.proof.status {
        ProofStatus::Optimal => {
            "proven: no build scores higher, and none that scores as high costs less".to_owned()
        }
        ProofStatus::Bounded | ProofStatus::Infeasible => format!(
            "cut off by the time limit: no build scores above {:.2}, {:.2} % more",
            record.proof.bound.unwrap_or(0.0),
            100.0 * record.proof.gap.unwrap_or(0.0)
        ),
    }
}

fn money(record: &AnswerRecord, minor: i64) -> Option<Money> {
    Some(Money::from_minor(
        minor,
        Currency::parse(&record.currency).ok()?,
    ))
}

fn decimal(record: &AnswerRecord, minor: i64) -> String {
    money(record, minor).map_or_else(|| minor.to_string(), |money| money.decimal())
}

fn amount(record: &AnswerRecord, minor: i64) -> String {
    money(record, minor).map_or_else(|| minor.to_string(), |money| money.to_string())
}
