//! `rigtide bulletin`: what a bulletin would say, and whether a channel works.
//!
//! `--preview BRIEF --json` gives
//! `{ is_change, bulletin { id, brief, at, subject, text, data }, channels [{ channel, content }] }`, the
//! bulletin being what a webhook is sent; `--test CHANNEL --json` gives
//! `{ channel, id, outcome, said }`, `outcome` being `taken`, `put_off`, `refused` or `unwanted`.

use super::asking::brief_named;
use crate::catalogue::table::nearest;
use crate::cli::args::{BulletinArguments, Output};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::test_bulletin;
use crate::market::Brief;
use crate::notify::{DeliveryFault, bulletin_json};
use crate::optimise::Effort;
use crate::watch::clock::Clock;
use crate::watch::preview::{Preview, preview};
use crate::watch::settings::Settings;
use anyhow::{Context as _, anyhow};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;

pub fn run(
    directory: &Path,
    arguments: &BulletinArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    match (&arguments.preview, &arguments.test) {
        (Some(brief), _) => {
            let brief = brief_named(&settings, Some(brief))?;
            show(&settings, &brief, arguments, screen)
        }
        (None, Some(channel)) => try_out(&settings, channel, arguments.output, screen),
        (None, None) => Err(Failure::usage(
            "nothing is asked for",
            "say --preview or --test",
        )),
    }
}

fn show(
    settings: &Settings,
    brief: &Brief,
    arguments: &BulletinArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let reader = wire::reader(settings)?;
    let now = Clock::from_environment().now();
    screen.progress(&format!("working out the best build for {}", brief.name));
    let previewed = preview(settings, &reader, brief, now, Effort::default());
    screen.clear_progress();
    let Preview {
        bulletin,
        is_change,
    } = previewed.context("cannot word the bulletin")?;
    if arguments.html {
        let page = bulletin.data["html"].as_str().unwrap_or_default();
        screen.line(harmless_source(page.trim_end()));
        return Ok(());
    }
    let channels = channels_of(settings, brief);
    let contents = channels.iter().filter_map(|name| {
        let channel = settings.channels.get(name)?;
        Some((name, channel.preview(&bulletin)))
    });
    if arguments.output.json {
        let channels = contents.map(|(name, said)| json!({ "channel": name, "content": said }));
        let whole = json!({
            "is_change": is_change,
            "bulletin": bulletin_json(&bulletin),
            "channels": channels.collect::<Vec<Value>>(),
        });
        screen.line(harmless_source(&whole.to_string()));
        return Ok(());
    }
    screen.line(match is_change {
        true => "what would be told now; nothing is sent",
        false => "the best build is as it was told: below is what a first bulletin would say",
    });
    for (name, content) in contents {
        screen.line("");
        screen.line(screen.tone(Tone::Strong, &harmless(&format!("channel {name}"))));
        content.lines().for_each(|line| screen.line(harmless(line)));
    }
    if channels.is_empty() {
        screen.line("the brief names no channel, so nobody is told of its build");
    }
    Ok(())
}

/// Who is told of changes of a brief's build.
fn channels_of(settings: &Settings, brief: &Brief) -> BTreeSet<String> {
    match settings.telling.get(&brief.id) {
        None => brief.channels.iter().cloned().collect(),
        Some(telling) => {
            let asks = telling.asks.iter();
            let of_the_build = asks.filter(|ask| ask.trigger.is_of_the_build());
            of_the_build.flat_map(|ask| ask.channels.clone()).collect()
        }
    }
}

fn try_out(
    settings: &Settings,
    name: &str,
    output: Output,
    screen: &Screen,
) -> Result<(), Failure> {
    let Some(channel) = settings.channels.get(name) else {
        let known = || settings.channels.keys().map(String::as_str);
        let hint = match nearest(name, known()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("known channels: {}", known().collect::<Vec<_>>().join(", ")),
        };
        let message = format!("no channel is called \"{name}\"");
        return Err(Failure::usage(message, hint));
    };
    let now = Clock::from_environment().now();
    let bulletin = test_bulletin(&settings.templates, name, now);
    screen.progress(&format!("sending a test through {name}"));
    let outcome = wire::runtime()?.block_on(channel.try_out(&bulletin));
    screen.clear_progress();
    let (word, said) = match &outcome {
        Ok(said) => ("taken", said.clone()),
        Err(fault) => {
            let word = match fault {
                DeliveryFault::Passing { .. } => "put_off",
                DeliveryFault::Permanent { .. } => "refused",
                DeliveryFault::Unwanted { .. } => "unwanted",
            };
            (word, fault.to_string())
        }
    };
    if output.json {
        let id = bulletin.id.as_str();
        let whole = json!({ "channel": name, "id": id, "outcome": word, "said": said });
        screen.line(harmless_source(&whole.to_string()));
    } else if outcome.is_ok() {
        screen.line(harmless(&format!("{name} took the test: {said}")));
    }
    match outcome {
        Ok(_) => Ok(()),
        Err(_) => {
            let what = match word {
                "put_off" => "did not take the test; a bulletin would be tried again",
                "refused" => "refused the test for good",
                _ => "wants no bulletins",
            };
            Err(anyhow!("{name} {what}: {}", harmless(&said)).into())
        }
    }
}
