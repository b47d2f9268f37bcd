//! Changed prices, one at a time, until their bulletins stand in the outbox.

use crate::specs::Dice;
use crate::world::{World, as_written};
use crate::{N_BRIEFS, N_CHANGES, N_PARTS, SEED};
use anyhow::{Context as _, Result, ensure};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::catalogue::{Part, render_parts};
use rigtide::feeds::http::{Fetcher, FetcherOptions};
use rigtide::ledger::Ledger;
use rigtide::market::Matcher;
use rigtide::watch::attention::Counters;
use rigtide::watch::cycle::{decide, poll_all};
use rigtide::watch::poll::Polling;
use rigtide::watch::settings::{Feed, load_settings};
use std::fmt::Write as _;
use std::fs;
use std::num::NonZeroUsize;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// Seconds, sorted.
pub struct Changes {
    pub n_offers: usize,
    pub first_look: f64,
    pub all: Vec<f64>,
    /// Of the changes that made a bulletin.
    pub told: Vec<f64>,
    pub n_without_solve: usize,
    /// Of the changes alone.
    pub counters: Counters,
}

pub fn measure() -> Result<Changes> {
    let mut world = World::generate(SEED, N_PARTS);
    let folder = tempfile::tempdir()?;
    write(&world, folder.path())?;
    let polling = polling(folder.path())?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(run(&mut world, &polling))
}

async fn run(world: &mut World, polling: &Polling) -> Result<Changes> {
    let mut now: DateTime<Utc> = "2026-03-02T06:00:00Z".parse()?;
    let feeds = polling.settings.feeds.clone();
    let polled = poll_all(polling, &feeds, now, &mut |_| {}).await?;
    let n_offers = polled.iter().map(|report| report.matched).sum::<u64>();
    ensure!(n_offers as usize == world.listed.len(), "{n_offers} offers");
    let begun = Instant::now();
    let (_, faults) = decide(polling, now).await?;
    ensure!(faults.is_empty(), "{faults:?}");
    let mut changes = Changes {
        n_offers: world.listed.len(),
        first_look: begun.elapsed().as_secs_f64(),
        all: Vec::new(),
        told: Vec::new(),
        n_without_solve: 0,
        counters: Counters::default(),
    };
    let first = counters(polling);
    let usual: Vec<i64> = world.listed.iter().map(|one| one.price.minor()).collect();
    let mut dice = Dice(SEED);
    for _ in 0..N_CHANGES {
        now += TimeDelta::minutes(10);
        let at = dice.roll(world.listed.len() as i64) as usize;
        let percent = match dice.roll(10) {
            0 => 75 + dice.roll(10),
            _ => 92 + dice.roll(17),
        };
        // Never back to what it was: then nothing would change.
        let minor = usual[at] * percent / 100 + 1 + dice.roll(50);
        world.listed[at].price = crate::world::eur(minor);
        let retailer = world.listed[at].retailer.clone();
        offers(world, &polling.settings.directory, retailer.as_str())?;
        let feed = feeds.iter().find(|feed| feed.retailer == retailer);
        let feed: Feed = feed.context("a feed for each retailer")?.clone();
        let polled = poll_all(polling, &[feed], now, &mut |_| {}).await?;
        ensure!(polled[0].changed == 1 && polled[0].held == 0, "{polled:?}");
        let before = counters(polling).solves;
        let begun = Instant::now();
        let (bulletins, faults) = decide(polling, now).await?;
        let took = begun.elapsed().as_secs_f64();
        ensure!(faults.is_empty(), "{faults:?}");
        changes.all.push(took);
        if !bulletins.is_empty() {
            changes.told.push(took);
        }
        changes.n_without_solve += usize::from(counters(polling).solves == before);
    }
    let last = counters(polling);
    changes.counters = Counters {
        solves: last.solves - first.solves,
        solve_us: last.solve_us - first.solve_us,
        unmoved: last.unmoved - first.unmoved,
        unread: last.unread - first.unread,
        worse: last.worse - first.worse,
        beaten: last.beaten - first.beaten,
    };
    changes.all.sort_by(f64::total_cmp);
    changes.told.sort_by(f64::total_cmp);
    Ok(changes)
}

fn counters(polling: &Polling) -> Counters {
    let attention = polling.settings.attention.lock();
    attention.unwrap_or_else(PoisonError::into_inner).counters
}

pub fn polling(directory: &Path) -> Result<Polling> {
    let settings = load_settings(directory).map_err(|faults| anyhow::anyhow!("{faults:?}"))?;
    let options = FetcherOptions {
        identity: settings.identity.clone(),
        extra_roots: Vec::new(),
        spool_directory: None,
    };
    Ok(Polling {
        fetcher: Arc::new(Fetcher::new(options)?),
        matcher: Arc::new(Matcher::new(&settings.catalogue)),
        ledger: Arc::new(Mutex::new(Ledger::open(&settings.ledger)?)),
        settings: Arc::new(settings),
        readers: NonZeroUsize::MIN,
    })
}

fn write(world: &World, directory: &Path) -> Result<()> {
    for folder in ["catalogue", "retailers", "briefs"] {
        fs::create_dir(directory.join(folder))?;
    }
    let settings =
        "contact = \"mailto:editor@guide.example\"\n[[channel]]\nid = \"desk\"\nkind = \"log\"\n";
    fs::write(directory.join("rigtide.toml"), settings)?;
    fs::write(
        directory.join("catalogue/workloads.toml"),
        world.workloads_file(),
    )?;
    let parts: Vec<Part> = world.catalogue.parts.values().map(as_written).collect();
    fs::write(
        directory.join("catalogue/parts.toml"),
        render_parts(&[], &parts),
    )?;
    for id in world.retailers.keys() {
        let retailer = format!(
            "name = \"{id}\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\nid = \"all\"\n\
             format = \"csv\"\nfile = \"{id}.csv\"\ndelimiter = \";\"\n[feed.fields]\n\
             sku = \"nr\"\ntitle = \"title\"\ngtin = \"gtin\"\nprice = \"price\"\navailability = \"stock\"\n"
        );
        fs::write(directory.join(format!("retailers/{id}.toml")), retailer)?;
        offers(world, directory, id.as_str())?;
    }
    for number in 0..N_BRIEFS {
        let mut brief = format!(
            "budget = \"{}.00\"\ncurrency = \"EUR\"\ncountry = \"DE\"\nchannels = [\"desk\"]\n",
            600 + 20 * number
        );
        for weighted in &world.brief(crate::world::eur(60_000)).objective.workloads {
            let (workload, weight) = (&weighted.workload, weighted.weight);
            let _ = writeln!(
                brief,
                "[[workload]]\nuse = \"{workload}\"\nweight = {weight}"
            );
        }
        fs::write(
            directory.join(format!("briefs/brief{number:03}.toml")),
            brief,
        )?;
    }
    Ok(())
}

fn offers(world: &World, directory: &Path, retailer: &str) -> Result<()> {
    let mut rows = "nr;title;gtin;price;stock\n".to_owned();
    for offer in world
        .listed
        .iter()
        .filter(|one| one.retailer.as_str() == retailer)
    {
        let gtin = &world.catalogue.parts[&offer.part].gtins[0];
        let price = offer.price.decimal();
        let _ = writeln!(
            rows,
            "{};{};{gtin};{price} EUR;in stock",
            offer.sku, offer.title
        );
    }
    fs::write(directory.join(format!("{retailer}.csv")), rows)?;
    Ok(())
}
