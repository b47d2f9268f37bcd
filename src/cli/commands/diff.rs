//! `rigtide diff`: what is no longer as an edition says.
//!
//! `--json` gives
//!
//! ```text
//! { brief, edition, published, at, is_true, currency, total_then_minor, total_now_minor,
//!   total_percent, score_then, score_now,
//!   picks [{ role, part, name, then_minor, now_minor, then_at, now_at }],
//!   best { total_minor, score, changes [{ role, from, to }] },
//!   abroad [{ country, currency, total_percent, ... }] }
//! ```
//!
//! What `abroad` says of the guide's other countries has the keys of the whole from `total_then_minor` on.
//! `now_minor` is null for what cannot be had any more, `best` where the picks are still the best.

use super::asking::Asked;
use super::published::needed;
use crate::cli::args::{Changes, DiffArguments};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::{AnswerAbroad, Names, shown_instant};
use crate::ledger::Reader;
use crate::optimise::{Build, Effort, SweeperFirst};
use crate::watch::answer::answer;
use crate::watch::edition::{Best, of_edition};
use crate::watch::join::{Country, abroad};
use anyhow::Context as _;
use serde::Serialize;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, arguments: &DiffArguments, screen: &Screen) -> Result<(), Failure> {
    let mut asked = Asked::load(directory, arguments.brief.as_deref(), &Changes::default())?;
    let reader = wire::reader(&asked.settings)?;
    let kept = needed(&reader, asked.brief.id.as_str(), arguments.edition)?;
    asked.standing = kept.document.answer.standing();
    let brief = &asked.brief;
    screen.progress(&format!("working out the best build for {}", brief.name));
    let today = answer(
        &asked.settings,
        brief,
        &asked.listed,
        &asked.standing,
        asked.at,
        Effort::default(),
    );
    let today = today.context("cannot work out the best build")?;
    screen.progress("pricing it in other countries");
    let abroad = best_abroad(&asked, &reader, today.build.as_ref())?;
    screen.clear_progress();
    let seen = of_edition(
        &asked.settings,
        kept.document,
        (brief, &asked.listed),
        Best {
            answer: &today.best,
            abroad: &abroad,
        },
        asked.at,
    );
    let edition = &seen.edition;
    if arguments.output.json {
        let mut report = json!({
            "brief": brief.id.as_str(),
            "edition": edition.number,
            "published": edition.at,
            "at": shown_instant(asked.at),
            "is_true": edition.is_true(),
            "currency": brief.budget.currency().to_string(),
            "total_percent": edition.drift.total_percent(),
        });
        extend(&mut report, &edition.drift);
        let abroad = edition.abroad.iter().map(|there| {
            let mut report = json!({ "total_percent": there.drift.total_percent() });
            extend(&mut report, there);
            report
        });
        report["abroad"] = abroad.collect();
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    let line = |text: String| screen.line(harmless(&text));
    let (number, at) = (edition.number, &edition.at);
    let now = shown_instant(asked.at);
    if edition.is_true() {
        line(format!(
            "edition {number} of {}, published {at}, is true as of {now}",
            brief.id
        ));
        return Ok(());
    }
    line(format!(
        "edition {number} of {}, published {at}, against {now}:",
        brief.id
    ));
    let lines = edition.lines(brief.budget.currency(), &Names::of(brief, &asked.retailers));
    lines.into_iter().for_each(line);
    Ok(())
}

/// Today's best build as it would be published in the brief's other countries.
fn best_abroad(
    asked: &Asked,
    reader: &Reader,
    build: Option<&Build>,
) -> Result<Vec<AnswerAbroad>, Failure> {
    let Some(build) = build else {
        return Ok(Vec::new());
    };
    let engine = SweeperFirst(Effort::default());
    let countries = abroad((asked, reader), build, &asked.countries(), &engine)?;
    let answers = countries
        .into_iter()
        .filter_map(|country| Country::parts(country).1);
    Ok(answers.collect())
}

/// Adds the keys of a value to those of an object.
fn extend(report: &mut Value, with: &impl Serialize) {
    if let (Some(report), Ok(Value::Object(with))) =
        (report.as_object_mut(), serde_json::to_value(with))
    {
        report.extend(with);
    }
}
