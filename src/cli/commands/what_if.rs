//! `rigtide what-if`: the best build as things are, and as they would be. Nothing is written but with
//! `--save`, and then into the brief's file alone.
//!
//! `--json` gives `{ now, then }`, two documents as of `best --json`; with `--diff` or `--save` also
//! `file`, `diff` and `saved`.

use super::asking::{Asked, said};
use super::best::show;
use crate::cli::args::{Changes, WhatIfArguments};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::decide::AnswerRecord;
use crate::optimise::Effort;
use crate::watch::answer::answer;
use crate::watch::saving::{Draft, DraftFault, draft};
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
    let draft = match arguments.diff || arguments.save {
        true => Some(drafted(directory, arguments)?),
        false => None,
    };
    let is_saved = arguments.save && then.has_build();
    if let Some(draft) = draft.as_ref().filter(|_| is_saved) {
        let doing = || format!("cannot write {}", draft.path.display());
        draft.write().with_context(doing)?;
    }
    if arguments.output.json {
        let mut report = json!({ "now": now, "then": then });
        if let Some(draft) = &draft {
            report["file"] = json!(draft.file);
            report["diff"] = json!(draft.difference());
            report["saved"] = json!(is_saved);
        }
        screen.line(harmless_source(&report.to_string()));
    } else {
        let what = format!("{}, if it were so", now.brief);
        show(&then, &what, screen)
            .iter()
            .for_each(|line| screen.line(line));
        screen.line("");
        differences(&now, &then, screen)
            .iter()
            .for_each(|line| screen.line(line));
        if let Some(draft) = &draft {
            tell(draft, arguments.save, is_saved, screen);
        }
    }
    match then.has_build() {
        true => Ok(()),
        false => Err(Failure::NothingFits),
    }
}

/// What the brief's file would say.
fn drafted(directory: &Path, arguments: &WhatIfArguments) -> Result<Draft, Failure> {
    let changes = Changes {
        price: Vec::new(),
        ..arguments.changes.clone()
    };
    let asked = Asked::load(directory, arguments.brief.as_deref(), &changes)?;
    draft(&asked, &said(&changes)?).map_err(|fault| match fault {
        DraftFault::Ask(fault) => fault.into(),
        DraftFault::File { message, hint } => Failure::usage(message, hint),
    })
}

fn tell(draft: &Draft, is_asked: bool, is_saved: bool, screen: &Screen) {
    screen.line("");
    let difference = draft.difference();
    difference
        .lines()
        .for_each(|line| screen.line(harmless(line)));
    let file = &draft.file;
    let said = match (difference.is_empty(), is_asked, is_saved) {
        (true, _, _) => format!("{file} says so already"),
        (false, true, true) => format!("saved in {file}"),
        (false, true, false) => format!("nothing fits, so {file} stays as it is"),
        (false, false, _) => format!("{file} stays as it is; `--save` writes it"),
    };
    screen.line(harmless(&said));
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
