//! `rigtide diff`: what is no longer as an edition says.
//!
//! `--json` gives
//!
//! ```text
//! { brief, edition, published, at, is_true, currency, total_then_minor, total_now_minor,
//!   total_percent, score_then, score_now,
//!   picks [{ role, part, name, then_minor, now_minor, then_at, now_at }],
//!   best { total_minor, score, changes [{ role, from, to }] } }
//! ```
//!
//! `now_minor` is null for what cannot be had any more, `best` where the picks are still the best.

use super::asking::Asked;
use super::published::needed;
use crate::cli::args::{Changes, DiffArguments};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::shown_instant;
use crate::optimise::Effort;
use crate::watch::answer::answer;
use crate::watch::edition::of_edition;
use anyhow::Context as _;
use serde_json::json;
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
    screen.clear_progress();
    let today = today.context("cannot work out the best build")?;
    let seen = of_edition(
        &asked.settings,
        kept.document,
        (brief, &asked.listed),
        &today.best,
        asked.at,
    );
    let (edition, drift) = (&seen.edition, &seen.edition.drift);
    if arguments.output.json {
        let mut report = json!({
            "brief": brief.id.as_str(),
            "edition": edition.number,
            "published": edition.at,
            "at": shown_instant(asked.at),
            "is_true": drift.is_none(),
            "currency": brief.budget.currency().to_string(),
            "total_percent": drift.total_percent(),
        });
        if let (Some(report), Ok(serde_json::Value::Object(drift))) =
            (report.as_object_mut(), serde_json::to_value(drift))
        {
            report.extend(drift);
        }
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    let line = |text: String| screen.line(harmless(&text));
    let (number, at) = (edition.number, &edition.at);
    let now = shown_instant(asked.at);
    if drift.is_none() {
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
    let lines = drift.lines(brief.budget.currency());
    lines.into_iter().for_each(line);
    Ok(())
}
