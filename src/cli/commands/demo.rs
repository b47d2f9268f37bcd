//! `rigtide demo`: the whole program at work on three invented retailers.

use super::best::show;
use super::poll::table;
use super::watch::run_watch;
use crate::cli::args::DemoArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone};
use crate::cli::{DemoWorld, OpenDemo, wire};
use crate::decide::{AnswerRecord, Bulletin};
use crate::ledger::WatchLock;
use crate::watch::clock::Clock;
use crate::watch::cycle::{cycle, send};
use crate::watch::poll::Polling;
use anyhow::{Context as _, anyhow};
use chrono::TimeDelta;
use std::path::Path;
use std::time::Duration;
use tokio::runtime::Runtime;

/// How long a bulletin may take to the receiver before the demo gives up on it.
const DELIVERY_LIMIT: Duration = Duration::from_secs(10);

pub fn run(arguments: &DemoArguments, screen: &Screen, open: OpenDemo) -> Result<(), Failure> {
    screen.progress("opening three retailers on loopback");
    let mut world = open(arguments)?;
    screen.clear_progress();
    world.scenario().iter().for_each(|line| screen.line(line));
    let settings = wire::settings(world.directory())?;
    let lock =
        WatchLock::acquire(&settings.ledger).map_err(|error| Failure::Ledger(error.into()))?;
    let polling = wire::polling(settings)?;
    let runtime = wire::runtime()?;
    let clock = Clock::system();

    heading(screen, "first poll");
    round(&polling, &runtime, &clock, screen)?;
    let brief = polling
        .settings
        .briefs
        .first()
        .context("the demo has no brief")?
        .clone();
    let answer = standing(&polling, brief.id.as_str())?;
    screen.line("");
    show(&answer, &brief.name, screen)
        .iter()
        .for_each(|line| screen.line(line));
    let listed = polling.ledger().read().listed(None)?.len();
    screen.line(format!(
        "the ledger knows {listed} offers of {} parts",
        polling.settings.catalogue.parts.len()
    ));
    let first = world
        .received(DELIVERY_LIMIT)
        .context("the first bulletin did not arrive")?;
    screen.line(format!(
        "the webhook receiver got the first bulletin: {}",
        subject(&first)
    ));

    heading(screen, "a sale");
    screen.line(world.start_sale());
    let told = round(&polling, &runtime, &clock, screen)?;
    let bulletin = told.first().context("the best build did not change")?;
    screen.line("");
    screen.line(screen.tone(Tone::Strong, &bulletin.subject));
    bulletin.text.lines().for_each(|line| screen.line(line));
    let second = world
        .received(DELIVERY_LIMIT)
        .context("the bulletin did not arrive")?;
    screen.line(format!(
        "the webhook receiver got it too: {}",
        subject(&second)
    ));

    farewell(world.as_ref(), screen);
    if arguments.keep_running {
        keep_running(&polling, &runtime, &lock, world.directory(), screen)?;
    }
    drop(lock);
    world.close();
    Ok(())
}

fn heading(screen: &Screen, text: &str) {
    screen.line("");
    screen.line(screen.tone(Tone::Strong, &format!("-- {text}")));
}

/// One round of the daemon: poll everything, decide, deliver.
fn round(
    polling: &Polling,
    runtime: &Runtime,
    clock: &Clock,
    screen: &Screen,
) -> Result<Vec<Bulletin>, Failure> {
    let feeds = polling.settings.feeds.clone();
    screen.progress(&format!("polling {} feeds", feeds.len()));
    // A moment later than the last poll, whatever the clock's resolution.
    let now = clock.now() + TimeDelta::milliseconds(1);
    let report = runtime.block_on(async {
        let mut told = |report: &crate::watch::poll::PollReport| {
            screen.progress(&format!("{} is {}", report.feed, report.status));
        };
        let report = cycle(polling, &feeds, now, &mut told).await;
        send(polling, clock.now()).await;
        report
    });
    screen.clear_progress();
    let report = report.map_err(|error| Failure::Ledger(error.into()))?;
    table(&report.polls)
        .iter()
        .for_each(|line| screen.line(line));
    match report.faults.first() {
        Some(fault) => Err(Failure::Other(anyhow!("{fault}"))),
        None => Ok(report.bulletins),
    }
}

fn standing(polling: &Polling, brief: &str) -> Result<AnswerRecord, Failure> {
    let stored = polling.ledger().read().last_answer(brief)?;
    let record = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
    Ok(record.context("no answer was stored")?)
}

fn subject(body: &str) -> String {
    let value: serde_json::Value = serde_json::from_str(body).unwrap_or_default();
    value["subject"]
        .as_str()
        .unwrap_or("(no subject)")
        .to_owned()
}

fn farewell(world: &dyn DemoWorld, screen: &Screen) {
    let directory = world.directory().display();
    heading(screen, "what to try next");
    screen.line(format!("configuration and ledger are in {directory}"));
    for (command, about) in [
        ("best", "the answer again, from the ledger alone"),
        (
            "best --budget 1200 --currency EUR --use gaming-1440p",
            "another question",
        ),
        (
            "check",
            "break a file in there first, then let it tell you where",
        ),
        ("best --json", "the same for programs"),
    ] {
        screen.line(format!("  rigtide -C {directory} {command}"));
        screen.line(format!("      {about}"));
    }
}

fn keep_running(
    polling: &Polling,
    runtime: &Runtime,
    lock: &WatchLock,
    directory: &Path,
    screen: &Screen,
) -> Result<(), Failure> {
    screen.line(
        "the retailers stay open, the daemon watches and serves the page; press Ctrl-C to end",
    );
    screen.line(format!("  rigtide -C {} open", directory.display()));
    screen.line("      where the page is");
    runtime.block_on(run_watch(polling, lock))
}
