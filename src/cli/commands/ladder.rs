//! `rigtide ladder`: for every budget, the best build.
//!
//! `--json` gives
//!
//! ```text
//! { brief, currency, whole,
//!   rungs [{ total_minor, score, score_exact, knee,
//!            step_up { cost_minor, score, score_per_100 } or null,
//!            changes [{ role, from, to }],
//!            picks [{ role, part, name, quantity, retailer, price_minor, landed_minor }] }] }
//! ```
//!
//! `whole`: the last rung is the best that any money buys.

use super::asking::{Asked, amount};
use crate::chart::scatter::{Point, Scatter};
use crate::cli::args::LadderArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::cli::wire;
use crate::money::Money;
use crate::optimise::{Build, Effort, Ladder, Question, Rung, SweeperFirst, ladder};
use crate::watch::reasons::per_100;
use anyhow::Context as _;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, arguments: &LadderArguments, screen: &Screen) -> Result<(), Failure> {
    let asked = Asked::load(directory, arguments.brief.as_deref(), &arguments.changes)?;
    let currency = asked.brief.budget.currency();
    let from = arguments
        .from
        .as_deref()
        .map_or(Ok(Money::zero(currency)), |text| amount(text, currency))?;
    let most = Money::from_minor(i64::MAX, currency);
    let to = arguments
        .to
        .as_deref()
        .map_or(Ok(most), |text| amount(text, currency))?;
    screen.progress(&format!("climbing the ladder of {}", asked.brief.name));
    let market = asked.market();
    let engine = SweeperFirst(Effort::default());
    let question = Question::new(&market, &asked.settings.catalogue, &asked.standing, &engine);
    let climbed = ladder(&question, from, to).context("cannot climb the ladder")?;
    screen.clear_progress();
    if let Some(file) = &arguments.svg {
        wire::write_whole(file, &chart(&climbed, &asked.brief.name).svg())?;
    }
    if arguments.output.json {
        let report = report(&climbed, asked.brief.id.as_str(), &currency.to_string());
        screen.line(harmless_source(&report.to_string()));
    } else {
        show(&climbed, &asked, screen)
            .iter()
            .for_each(|line| screen.line(line));
    }
    match climbed.rungs.is_empty() {
        true => Err(Failure::NothingFits),
        false => Ok(()),
    }
}

/// What is different from the rung below, by role: `(role, from, to)`.
fn changes<'b>(below: &'b Build, build: &'b Build) -> Vec<(&'b str, &'b str, &'b str)> {
    let pairs = below.picks.iter().zip(&build.picks);
    pairs
        .filter(|(before, after)| before.part != after.part)
        .map(|(before, after)| {
            (
                after.role.as_str(),
                before.name.as_str(),
                after.name.as_str(),
            )
        })
        .collect()
}

fn show(ladder: &Ladder, asked: &Asked, screen: &Screen) -> Vec<String> {
    let title = format!("{}: the best build for every budget", asked.brief.name);
    let mut lines = vec![screen.tone(Tone::Strong, &harmless(&title))];
    if ladder.rungs.is_empty() {
        lines.push("nothing fits up to this budget; `rigtide best` tells why".to_owned());
        return lines;
    }
    let heading = [
        "total",
        "score",
        "step up",
        "",
        "per 100",
        "",
        "what changes",
    ];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    let mut below: Option<&Rung> = None;
    for rung in &ladder.rungs {
        let changed = below.map_or(Vec::new(), |below| changes(&below.build, &rung.build));
        let changed: Vec<String> = changed
            .iter()
            .map(|(role, _, to)| format!("{role}: {}", harmless(to)))
            .collect();
        let step = rung.step_up;
        rows.push(vec![
            rung.build.total.to_string(),
            rung.build.shown_score.to_string(),
            step.map_or(String::new(), |step| format!("+{}", step.cost.decimal())),
            step.map_or(String::new(), |step| format!("+{}", step.score)),
            per_100(rung).map_or(String::new(), |gain| format!("+{gain:.2}")),
            if rung.is_knee { "knee" } else { "" }.to_owned(),
            changed.join(", "),
        ]);
        below = Some(rung);
    }
    let set = [
        Set::Right,
        Set::Right,
        Set::Right,
        Set::Right,
        Set::Right,
        Set::Left,
        Set::Left,
    ];
    let mut table = columns(&rows, &set);
    table[0] = screen.tone(Tone::Quiet, &table[0]);
    lines.extend(table);
    lines.push(match ladder.is_whole {
        true => "the last is the best that any money buys today".to_owned(),
        false => "more money may buy more".to_owned(),
    });
    lines.push(String::new());
    lines.extend(chart(ladder, &asked.brief.name).text());
    lines
}

fn chart(ladder: &Ladder, name: &str) -> Scatter {
    let points = ladder.rungs.iter().map(|rung| {
        let total = rung.build.total;
        Point {
            name: String::new(),
            x: total.minor() as f64 / 10_f64.powi(total.currency().exponent() as i32),
            y: rung.build.shown_score.points(),
            error: 0.0,
            is_on_frontier: true,
        }
    });
    let currency = ladder.rungs.first().map(|rung| rung.build.total.currency());
    Scatter {
        title: format!("{name}: the best score for the money"),
        x_label: currency.map_or(String::new(), |currency| currency.to_string()),
        y_label: "score".to_owned(),
        points: points.collect(),
    }
}

fn report(ladder: &Ladder, brief: &str, currency: &str) -> Value {
    let mut below: Option<&Rung> = None;
    let mut rungs = Vec::new();
    for rung in &ladder.rungs {
        let changed = below.map_or(Vec::new(), |below| changed_parts(&below.build, &rung.build));
        rungs.push(json!({
            "total_minor": rung.build.total.minor(),
            "score": rung.build.shown_score.points(),
            "score_exact": rung.build.score.0,
            "knee": rung.is_knee,
            "step_up": rung.step_up.map(|step| json!({
                "cost_minor": step.cost.minor(),
                "score": step.score.points(),
                "score_per_100": per_100(rung),
            })),
            "changes": changed,
            "picks": picks(&rung.build),
        }));
        below = Some(rung);
    }
    json!({ "brief": brief, "currency": currency, "whole": ladder.is_whole, "rungs": rungs })
}

fn changed_parts(below: &Build, build: &Build) -> Vec<Value> {
    let pairs = below.picks.iter().zip(&build.picks);
    pairs
        .filter(|(before, after)| before.part != after.part)
        .map(|(before, after)| json!({ "role": after.role, "from": before.part, "to": after.part }))
        .collect()
}

/// A build's picks in the short form.
pub fn picks(build: &Build) -> Vec<Value> {
    let picks = build.picks.iter();
    picks
        .map(|pick| {
            json!({
                "role": pick.role,
                "part": pick.part,
                "name": pick.name,
                "quantity": pick.quantity,
                "retailer": pick.purchase.as_ref().map(|purchase| &purchase.retailer),
                "price_minor": pick.purchase.as_ref().map(|purchase| purchase.price.minor()),
                "landed_minor": pick.landed.minor(),
                "availability": pick.purchase.as_ref().map(|purchase| purchase.availability.name()),
                "lead_days": pick.purchase.as_ref().and_then(|purchase| purchase.lead_days),
            })
        })
        .collect()
}
