//! `rigtide publish` and `rigtide refresh`: the guide of today, frozen as an edition.
//!
//! `--json` gives
//!
//! ```text
//! { brief, edition, at, written, sha256, currency, total_minor, score, changes [], files [] }
//! ```
//!
//! `written` is false where nothing has changed since `edition`, which then is the one before.
//! `sha256` is over the bytes of the document that `rigtide editions BRIEF EDITION --json` shows.

mod evidence;

use super::asking::Asked;
use super::guide::warn;
use super::published::{Kept, kept, needed, of_ledger};
use crate::cli::args::{Changes, PublishArguments};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::{Names, changes, changes_abroad, shown_instant};
use crate::guide::edition::{Edition, FORMAT};
use crate::guide::render::{Form, render};
use crate::guide::view::{BeforeView, EditionView, View};
use crate::ledger::{Freezing, JournalEntry, NewEdition, sha256};
use crate::watch::edition::{Best, of_edition};
use crate::watch::join::{Joined, joined};
use anyhow::{Context as _, anyhow};
use serde_json::json;
use std::path::{Path, PathBuf};

/// The first edition of a brief.
pub fn publish(
    directory: &Path,
    arguments: &PublishArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let asked = Asked::load(directory, arguments.brief.as_deref(), &Changes::default())?;
    let brief = asked.brief.id.as_str();
    let before = kept(&wire::reader(&asked.settings)?, brief, None)?;
    if let Some(before) = before {
        let message = format!(
            "edition {} of \"{brief}\" is published already",
            before.stored.number
        );
        let hint = format!("`rigtide refresh {brief}` writes the next, and says what changed");
        return Err(Failure::usage(message, hint));
    }
    write(&asked, None, arguments, screen)
}

/// The next edition of a brief, with a note of what changed.
pub fn refresh(
    directory: &Path,
    arguments: &PublishArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let mut asked = Asked::load(directory, arguments.brief.as_deref(), &Changes::default())?;
    let reader = wire::reader(&asked.settings)?;
    let before = needed(&reader, asked.brief.id.as_str(), None)?;
    // Of builds that are equally good, readers know this one.
    asked.standing = before.document.answer.standing();
    write(&asked, Some(before), arguments, screen)
}

/// What is written, and what it was made from.
struct Draft {
    number: u32,
    document: String,
    forms: Vec<(String, String)>,
    seen: evidence::Seen,
    changes: Vec<String>,
    view: View,
}

fn write(
    asked: &Asked,
    before: Option<Kept>,
    arguments: &PublishArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let reader = wire::reader(&asked.settings)?;
    let progress = |what: &str| screen.progress(what);
    let joined = joined(asked, &reader, &asked.countries(), &progress)?;
    screen.clear_progress();
    let Some(joined) = joined else {
        screen.complain("nothing fits, so nothing is published; `rigtide best` tells why");
        return Err(Failure::NothingFits);
    };
    warn(&joined.view, screen);
    let last = before.as_ref().map(|before| before.stored.number);
    let (is_first, changes) = (before.is_none(), noted(asked, &joined, before.as_ref()));
    if let (Some(last), [], false) = (last, changes.as_slice(), arguments.anyway || is_first) {
        return unchanged(asked, last, arguments, screen);
    }
    let draft = drafted(asked, joined, before, changes, arguments)?;
    let entry = entry(asked, &draft);
    let frozen = wire::ledger(&asked.settings)?.freeze(&NewEdition {
        brief: asked.brief.id.as_str(),
        number: draft.number,
        at: asked.at,
        document: &draft.document,
        forms: &draft.forms,
        seen: &draft.seen,
        entry: &entry,
    });
    let hash = match frozen.map_err(of_ledger)? {
        Freezing::Done(hash) => hash,
        Freezing::PriceMoved => return Err(evidence::moved()),
        Freezing::NumberTaken => {
            let brief = &asked.brief.id;
            return Err(Failure::Other(anyhow!(
                "another edition of \"{brief}\" was published meanwhile; see `rigtide editions`"
            )));
        }
    };
    let files = match &arguments.into {
        Some(folder) => written_files(folder, &draft.forms)?,
        None => Vec::new(),
    };
    told(&draft, &hash, &files, arguments, screen);
    Ok(())
}

/// What changed since the edition before.
fn noted(asked: &Asked, joined: &Joined, before: Option<&Kept>) -> Vec<String> {
    let Some(before) = before else {
        return Vec::new();
    };
    let seen = of_edition(
        &asked.settings,
        before.document.clone(),
        (&asked.brief, &asked.listed),
        Best {
            answer: &joined.answer,
            abroad: &joined.abroad,
        },
        asked.at,
    );
    let names = Names::of(&asked.brief, &asked.retailers);
    let mut words = changes(&seen.then, &joined.answer, &seen.edition.drift, &names);
    let (then, drifts) = (&seen.abroad, &seen.edition.abroad);
    words.extend(changes_abroad(then, &joined.abroad, drifts, &names));
    words
}

fn drafted(
    asked: &Asked,
    joined: Joined,
    before: Option<Kept>,
    changes: Vec<String>,
    arguments: &PublishArguments,
) -> Result<Draft, Failure> {
    let reader = wire::reader(&asked.settings)?;
    let (evidence, seen) = evidence::of(asked, &reader, &joined)?;
    let Joined {
        mut view,
        answer,
        abroad,
    } = joined;
    let number = before.as_ref().map_or(0, |before| before.stored.number) + 1;
    let at = shown_instant(asked.at);
    view.edition = Some(EditionView {
        number,
        at: at.clone(),
        before: before.as_ref().map(|before| BeforeView {
            number: before.stored.number,
            at: before.document.at.clone(),
            changes: changes.clone(),
        }),
    });
    let forms = Form::ALL.map(|form| {
        let most = arguments.max_chars.filter(|_| form == Form::Text);
        let (text, faults) = render(&asked.settings.templates, &view, form, most);
        match faults.is_empty() {
            true => Ok((form.name().to_owned(), text)),
            // What is published is in the author's own words or not at all.
            false => Err(Failure::Configuration(faults)),
        }
    });
    let forms: Vec<(String, String)> = forms.into_iter().collect::<Result<_, _>>()?;
    let edition = Edition {
        format: FORMAT,
        brief: asked.brief.id.to_string(),
        edition: number,
        at,
        program: format!("rigtide {}", env!("CARGO_PKG_VERSION")),
        before: before.map(|before| before.stored.sha256),
        guide: view.clone(),
        answer,
        abroad,
        evidence,
        forms: forms
            .iter()
            .map(|(form, text)| (form.clone(), sha256(text)))
            .collect(),
    };
    Ok(Draft {
        number,
        // Nothing in it acts on a terminal, so it is shown as it is hashed.
        document: harmless_source(&edition.to_json()),
        forms,
        seen,
        changes,
        view,
    })
}

fn entry(asked: &Asked, draft: &Draft) -> JournalEntry {
    let (brief, number) = (&asked.brief.id, draft.number);
    let total = draft.view.money(draft.view.total_minor);
    JournalEntry {
        at: asked.at,
        kind: "edition_published".to_owned(),
        feed: None,
        brief: Some(brief.to_string()),
        part: None,
        text: format!(
            "edition {number} of \"{}\" is published: {total}",
            asked.brief.name
        ),
        data: json!({ "edition": number, "sha256": sha256(&draft.document), "changes": draft.changes }),
    }
}

/// Writes each form into a directory, which is made.
fn written_files(folder: &Path, forms: &[(String, String)]) -> Result<Vec<PathBuf>, Failure> {
    std::fs::create_dir_all(folder).with_context(|| format!("cannot make {}", folder.display()))?;
    let mut files = Vec::new();
    for (form, (_, text)) in Form::ALL.iter().zip(forms) {
        let file = folder.join(format!("guide.{}", form.ending()));
        wire::write_whole(&file, text)?;
        files.push(file);
    }
    Ok(files)
}

fn unchanged(
    asked: &Asked,
    last: u32,
    arguments: &PublishArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let brief = asked.brief.id.as_str();
    if arguments.output.json {
        let report = json!({
            "brief": brief,
            "edition": last,
            "at": shown_instant(asked.at),
            "written": false,
            "sha256": null,
            "changes": [],
            "files": [],
        });
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    screen.line(harmless(&format!(
        "nothing has changed since edition {last} of {brief}: the same picks at the same prices; no \
         edition is written"
    )));
    Ok(())
}

fn told(
    draft: &Draft,
    hash: &str,
    files: &[PathBuf],
    arguments: &PublishArguments,
    screen: &Screen,
) {
    let Draft { number, view, .. } = draft;
    let files: Vec<String> = files
        .iter()
        .map(|file| file.display().to_string())
        .collect();
    if arguments.output.json {
        let report = json!({
            "brief": view.brief,
            "edition": number,
            "at": view.at,
            "written": true,
            "sha256": hash,
            "currency": view.currency,
            "total_minor": view.total_minor,
            "score": view.score,
            "changes": draft.changes,
            "files": files,
        });
        screen.line(harmless_source(&report.to_string()));
        return;
    }
    screen.line(harmless(&format!(
        "edition {number} of {} is published: {} picks, {}, score {:.1}",
        view.brief,
        view.picks.len(),
        view.money(view.total_minor),
        view.score
    )));
    let changes = draft.changes.iter();
    changes.for_each(|one| screen.line(harmless(&format!("  {one}"))));
    screen.line(format!("sha256 {hash}"));
    if !files.is_empty() {
        screen.line(harmless(&format!("written: {}", files.join(", "))));
    }
}
