//! `rigtide editions`: what was published, as it was published.
//!
//! `--json` gives a list by brief and number
//!
//! ```text
//! [{ brief, edition, at, sha256, currency, total_minor, score, changes [] }]
//! ```
//!
//! and, where an edition is named, its document (`guide::edition`), over whose bytes the hash is: what
//! `rigtide editions BRIEF EDITION --json | sha256sum` says is the edition's hash.

use super::asking::brief_named;
use super::guide::form_of;
use super::published::{Kept, needed, of_ledger, opened};
use crate::cli::args::EditionsArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::cli::wire;
use crate::guide::edition::{Edition, PickEvidence};
use crate::ledger::Reader;
use crate::money::{Currency, Money};
use anyhow::anyhow;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(
    directory: &Path,
    arguments: &EditionsArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let place = wire::Place::of(directory)?;
    let reader = place.existing_reader()?;
    // A brief that is no more may have been published.
    let brief = arguments.brief.as_deref();
    let is_known = |name: &str| match &reader {
        Some(reader) => reader.last_edition(name).map(|last| last > 0),
        None => Ok(false),
    };
    if let Some(name) = brief
        && !is_known(name).map_err(of_ledger)?
    {
        brief_named(&wire::settings(directory)?, Some(name))?;
    }
    match (&reader, brief, arguments.edition) {
        (Some(reader), Some(brief), Some(number)) => {
            let kept = needed(reader, brief, Some(number))?;
            one(reader, &kept, arguments, screen)
        }
        (None, Some(brief), Some(number)) => Err(Failure::usage(
            format!("no edition {number} of \"{brief}\" is published"),
            format!("`rigtide publish {brief}` writes the first"),
        )),
        _ => list(reader.as_ref(), brief, arguments, screen),
    }
}

fn list(
    reader: Option<&Reader>,
    brief: Option<&str>,
    arguments: &EditionsArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let stored = match reader {
        Some(reader) => reader.editions(brief).map_err(of_ledger)?,
        None => Vec::new(),
    };
    let all = stored.into_iter().map(opened);
    let all: Vec<Kept> = all.collect::<Result<_, _>>()?;
    if arguments.output.json {
        let all: Vec<Value> = all.iter().map(summary).collect();
        screen.line(harmless_source(&Value::from(all).to_string()));
        return Ok(());
    }
    if all.is_empty() {
        screen.line("no edition is published yet; `rigtide publish` writes the first");
        return Ok(());
    }
    let heading = ["brief", "edition", "published", "total", "score", "sha256"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for Kept { stored, document } in &all {
        let view = &document.guide;
        rows.push(vec![
            harmless(&stored.brief),
            stored.number.to_string(),
            harmless(&document.at),
            view.money(view.total_minor),
            format!("{:.1}", view.score),
            stored.sha256.get(..16).unwrap_or_default().to_owned() + "…",
        ]);
    }
    let (left, right) = (Set::Left, Set::Right);
    let mut lines = columns(&rows, &[left, right, left, right, right, left]);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    lines.iter().for_each(|line| screen.line(line));
    Ok(())
}

fn summary(kept: &Kept) -> Value {
    let view = &kept.document.guide;
    json!({
        "brief": kept.stored.brief,
        "edition": kept.stored.number,
        "at": kept.document.at,
        "sha256": kept.stored.sha256,
        "currency": view.currency,
        "total_minor": view.total_minor,
        "score": view.score,
        "changes": changes(&kept.document),
    })
}

fn changes(document: &Edition) -> &[String] {
    let edition = document.guide.edition.as_ref();
    let before = edition.and_then(|edition| edition.before.as_ref());
    before.map_or(&[], |before| &before.changes)
}

fn one(
    reader: &Reader,
    kept: &Kept,
    arguments: &EditionsArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let Kept { stored, document } = kept;
    let bytes = match arguments.format {
        _ if arguments.output.json => Some(stored.document.clone()),
        Some(form) => {
            let form = form_of(form).name();
            let text = reader.edition_form(&stored.brief, stored.number, form);
            let text = text.map_err(of_ledger)?.ok_or_else(|| {
                Failure::Other(anyhow!("the edition was not published as {form}"))
            })?;
            Some(text)
        }
        None => None,
    };
    match (&arguments.out, bytes) {
        (Some(file), bytes) => {
            wire::write_whole(file, bytes.as_ref().unwrap_or(&stored.document))?;
        }
        (None, Some(bytes)) => screen.exact(&bytes),
        (None, None) => overview(stored.sha256.as_str(), document, screen),
    }
    Ok(())
}

/// What an edition said, and what it rests on.
fn overview(hash: &str, document: &Edition, screen: &Screen) {
    let view = &document.guide;
    let Edition {
        brief, edition, at, ..
    } = document;
    let line = |text: String| screen.line(harmless(&text));
    line(format!("edition {edition} of {brief}, published {at}"));
    line(format!(
        "{}, score {:.1}, {}",
        view.money(view.total_minor),
        view.score,
        match view.is_proven {
            true => "proven best",
            false => "not proven best",
        }
    ));
    line(format!("sha256 {hash}"));
    if !changes(document).is_empty() {
        line("since the edition before:".to_owned());
        changes(document)
            .iter()
            .for_each(|one| line(format!("  {one}")));
    }
    let heading = ["role", "part", "price", "offer", "observed", "seen"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for pick in &view.picks {
        let mut evidence = document.evidence.picks.iter();
        let found = evidence.find(|one| one.role == pick.role);
        rows.push(row((&pick.role, &pick.name), found));
    }
    let (left, right) = (Set::Left, Set::Right);
    let mut lines = columns(&rows, &[left, left, right, left, left, left]);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    lines.iter().for_each(|line| screen.line(line));
    line(format!(
        "{} offers could have been picked; --json names them, --format shows the guide",
        document.evidence.considered.len()
    ));
}

fn row((role, name): (&str, &str), found: Option<&PickEvidence>) -> Vec<String> {
    let mut row = vec![harmless(role), harmless(name)];
    match found {
        Some(one) => {
            let price = Currency::parse(&one.currency)
                .map(|currency| Money::from_minor(one.price_minor, currency).to_string());
            row.extend([
                price.unwrap_or_default(),
                harmless(&format!("{}/{}", one.retailer, one.sku)),
                harmless(&format!(
                    "{} since {}",
                    one.observation.offer, one.observation.from
                )),
                harmless(&one.seen_at),
            ]);
        }
        None => row.extend(["had already", "", "", ""].map(str::to_owned)),
    }
    row
}
