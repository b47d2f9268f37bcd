//! `rigtide entry-prices`: at what price each part would be in an optimal build.
//!
//! `--json` gives `{ brief, currency, roles [{ role, parts [{ part, name, landed_minor,
//! entry_minor or null, in_best }] }] }`.

use super::asking::{Asked, role_named};
use crate::cli::args::EntryPricesArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::optimise::{Effort, EntryPrice, Question, SweeperFirst, entry_prices};
use anyhow::Context as _;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(
    directory: &Path,
    arguments: &EntryPricesArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let asked = Asked::load(directory, arguments.brief.as_deref(), &arguments.changes)?;
    let market = asked.market();
    let engine = SweeperFirst(Effort::default());
    let question = Question::new(&market, &asked.settings.catalogue, &asked.standing, &engine);
    let groups = match &arguments.role {
        Some(role) => vec![role_named(&asked.brief, role)?],
        None => (0..asked.brief.roles.len()).collect(),
    };
    let mut found: Vec<Vec<EntryPrice>> = Vec::new();
    for group in groups {
        screen.progress(&format!("entry prices of {}", asked.brief.roles[group].id));
        found.push(entry_prices(&question, group).context("cannot work out entry prices")?);
    }
    screen.clear_progress();
    if arguments.output.json {
        screen.line(harmless_source(&report(&asked, &found).to_string()));
        return Ok(());
    }
    for prices in &found {
        table(prices, &asked, screen)
            .iter()
            .for_each(|line| screen.line(line));
    }
    Ok(())
}

fn is_in(price: &EntryPrice) -> bool {
    price
        .entry
        .is_some_and(|entry| price.landed.minor() <= entry.minor())
}

fn name<'a>(asked: &'a Asked, price: &'a EntryPrice) -> &'a str {
    let part = asked.settings.catalogue.parts.get(&price.part);
    part.map_or(price.part.as_str(), |part| part.name.as_str())
}

fn table(prices: &[EntryPrice], asked: &Asked, screen: &Screen) -> Vec<String> {
    let Some(first) = prices.first() else {
        return Vec::new();
    };
    let mut sorted: Vec<&EntryPrice> = prices.iter().collect();
    // What lacks least comes first.
    let lacking = |price: &EntryPrice| {
        price
            .entry
            .map(|entry| price.landed.minor() - entry.minor())
    };
    sorted.sort_by_key(|price| (lacking(price).is_none(), lacking(price), price.part.clone()));
    let heading = [first.role.as_str(), "landed", "entry price", ""];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for price in sorted {
        let distance = match lacking(price) {
            None => "at no price".to_owned(),
            Some(lacking) if lacking <= 0 => "in an optimal build".to_owned(),
            Some(_) if price.landed.minor() > 0 => {
                let entry = price.entry.map_or(0, |entry| entry.minor());
                let share = 100.0 - 100.0 * entry as f64 / price.landed.minor() as f64;
                format!("{share:.0} % below")
            }
            Some(_) => String::new(),
        };
        rows.push(vec![
            harmless(name(asked, price)),
            price.landed.decimal(),
            price.entry.map_or("-".to_owned(), |entry| entry.decimal()),
            distance,
        ]);
    }
    let set = [Set::Left, Set::Right, Set::Right, Set::Left];
    let mut lines = columns(&rows, &set);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    lines.push(String::new());
    lines
}

fn report(asked: &Asked, found: &[Vec<EntryPrice>]) -> Value {
    let roles = found.iter().filter_map(|prices| {
        let parts: Vec<Value> = prices
            .iter()
            .map(|price| {
                json!({
                    "part": price.part,
                    "name": name(asked, price),
                    "landed_minor": price.landed.minor(),
                    "entry_minor": price.entry.map(|entry| entry.minor()),
                    "in_best": is_in(price),
                })
            })
            .collect();
        Some(json!({ "role": prices.first()?.role, "parts": parts }))
    });
    json!({
        "brief": asked.brief.id,
        "currency": asked.brief.budget.currency().to_string(),
        "roles": roles.collect::<Vec<Value>>(),
    })
}
