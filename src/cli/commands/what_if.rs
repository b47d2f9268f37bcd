//! `rigtide what-if`: the best build as things are, and as they would be. Nothing is written.
//!
//! `--json` gives `{ now, then }`, two documents as of `best --json`.

use super::asking::Asked;
use super::best::show;
use crate::cli::args::{Changes, WhatIfArguments};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::decide::AnswerRecord;
use crate::optimise::Effort;
use crate::watch::answer::answer;
use anyhow::Context as _;
use serde_json::json;
use std::path::Path;

pub fn run(directory: &Path, arguments: &WhatIfArguments, screen: &Screen) -> Result<(), Failure> {
    let name = arguments.brief.as_deref();
    // What it is compared with is of the same instant.
    let unchanged = Changes {
        at: arguments.changes.at,
        ..Changes::default()
    };
    let now = answered(directory, name, &unchanged, screen)?;
    let then = answered(directory, name, &arguments.changes, screen)?;
    screen.clear_progress();
    if arguments.output.json {
        screen.line(harmless_source(
            &json!({ "now": now, "then": then }).to_string(),
        ));
    } else {
        let what = format!("{}, if it were so", now.brief);
        show(&then, &what, screen)
            .iter()
            .for_each(|line| screen.line(line));
        screen.line("");
        differences(&now, &then, screen)
            .iter()
            .for_each(|line| screen.line(line));
    }
    match then.has_build() {
        true => Ok(()),
        false => Err(Failure::NothingFits),
    }
}

fn answered(
    directory: &Path,
    name: Option<&str>,
    changes: &Changes,
    screen: &Screen,
) -> Result<AnswerRecord, Failure> {
    let asked = Asked::load(directory, name, changes)?;
    screen.progress(&format!(
        "working out the best build for {}",
        asked.brief.name
    ));
    let today = answer(
        &asked.settings,
        &asked.brief,
        &asked.listed,
        &asked.standing,
        asked.at,
        Effort::default(),
    )
    .context("cannot work out the best build")?;
    Ok(today.best)
}

fn differences(now: &AnswerRecord, then: &AnswerRecord, screen: &Screen) -> Vec<String> {
    let (Some(total), Some(other)) = (now.total(), then.total()) else {
        return Vec::new();
    };
    let score = then.score.unwrap_or(0.0) - now.score.unwrap_or(0.0);
    let title = format!("beside {total} today: {other}, score {score:+.2}");
    let mut lines = vec![screen.tone(Tone::Strong, &title)];
    let pairs = now.picks.iter().zip(&then.picks);
    let changed = pairs.filter(|(before, after)| before.part != after.part);
    lines.extend(changed.map(|(before, after)| {
        harmless(&format!(
            "  {}: {} instead of {}",
            after.role, after.name, before.name
        ))
    }));
    lines
}
