//! `rigtide why PART`: why it is in the best build or not.
//!
//! `--json` gives `{ brief, part, currency, roles [{ role, verdict: picked|beaten|kept_out|not_offered,
//! landed_minor or null, entry_minor or null, other { total_minor, score, picks } or null, best { ... } or null,
//! kept_out [], binding { budget_left_minor, next_step { more_minor, score, part } or null,
//! workloads [{ workload, limited_by: this_role|cap|another_role, unused_percent }],
//! limits [{ kind: need|floor|rule, name, part, score, total_minor, better_parts, is_all }] } or null }],
//! left_out [] }`. `binding` says what holds a pick where it is: without one of its `limits` the best
//! build would be better and have `part` there. `other` is the best build without a pick, or with what is none.
//! `left_out` says why offers of the part are not considered.

mod binding;

use super::asking::{Asked, part_named};
use super::ladder::picks;
use crate::catalogue::PartId;
use crate::cli::args::WhyArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::optimise::{Bindings, Build, Effort, Reason, Why};
use crate::watch::reasons::{Reasons, kept_out, reasons};
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, arguments: &WhyArguments, screen: &Screen) -> Result<(), Failure> {
    let asked = Asked::load(directory, arguments.brief.as_deref(), &arguments.changes)?;
    let part = part_named(&asked.settings, &arguments.part)?;
    let told = |what: &str| screen.progress(what);
    let Reasons { words, left_out } = reasons(&asked, &part, Effort::default(), &told)?;
    screen.clear_progress();
    if arguments.output.json {
        screen.line(harmless_source(
            &report(&asked, &part, &words, &left_out).to_string(),
        ));
        return Ok(());
    }
    let name = asked
        .settings
        .catalogue
        .parts
        .get(&part)
        .map(|part| part.name.clone());
    screen.line(screen.tone(Tone::Strong, &harmless(&name.unwrap_or_default())));
    for line in left_out {
        screen.line(line);
    }
    for (word, held) in &words {
        let held = held.iter().flat_map(|held| binding::show(held, &asked));
        let lines = show(word).into_iter().chain(held);
        lines.for_each(|line| screen.line(harmless(&line)));
    }
    Ok(())
}

fn show(word: &Why) -> Vec<String> {
    let mut lines = vec![match word.landed {
        Some(landed) => format!("as {}: {landed} today", word.role),
        None => format!("as {}: at no price today", word.role),
    }];
    match &word.reason {
        Reason::Picked { without: None } => {
            lines.push("it is in the best build, and nothing fits without it".to_owned());
        }
        Reason::Picked {
            without: Some(without),
        } => {
            lines.push("it is in the best build; without it the best would be".to_owned());
            lines.extend(outline(without));
        }
        Reason::Beaten { with, best } => {
            lines.push(format!(
                "it is not in the best build: the best with it scores {} for {}, without it {} for {}",
                with.shown_score, with.total, best.shown_score, best.total
            ));
            lines.extend(outline(with));
        }
        Reason::KeptOut(reasons) => {
            lines.push("no build has it".to_owned());
            lines.extend(
                reasons
                    .iter()
                    .map(|reason| format!("  {}", kept_out(reason))),
            );
        }
        Reason::NotOffered(reasons) if reasons.is_empty() => {}
        Reason::NotOffered(reasons) => {
            lines.push("no build would have it".to_owned());
            lines.extend(
                reasons
                    .iter()
                    .map(|reason| format!("  {}", kept_out(reason))),
            );
        }
    }
    lines.push(match word.entry {
        Some(entry) if word.landed.is_none() => {
            format!("entry price: {entry} delivered would make it one of an optimal build's")
        }
        Some(entry) => format!("entry price: {entry}, the most at which an optimal build takes it"),
        None => "entry price: none; no optimal build takes it even for nothing".to_owned(),
    });
    lines
}

fn outline(build: &Build) -> Vec<String> {
    let picks = build.picks.iter();
    let mut lines: Vec<String> = picks
        .map(|pick| format!("  {}: {} ({})", pick.role, pick.name, pick.landed))
        .collect();
    for bill in &build.bills {
        let (at, delivery) = (&bill.retailer, bill.delivery);
        lines.push(format!("  delivery from {at}: {delivery}"));
        let grants = bill.bundles.iter().chain(&bill.coupon);
        lines.extend(grants.map(|(name, saves)| format!("  {name} at {at} saves {saves}")));
    }
    lines.push(format!("  score {} for {}", build.shown_score, build.total));
    lines
}

fn report(
    asked: &Asked,
    part: &PartId,
    words: &[(Why, Option<Bindings>)],
    left_out: &[String],
) -> Value {
    let of_build = |build: &Build| {
        json!({
            "total_minor": build.total.minor(),
            "score": build.shown_score.points(),
            "picks": picks(build),
        })
    };
    let roles = words.iter().map(|(word, held)| {
        let (verdict, other, best, reasons) = match &word.reason {
            Reason::Picked { without } => {
                ("picked", without.as_deref().map(of_build), None, Vec::new())
            }
            Reason::Beaten { with, best } => (
                "beaten",
                Some(of_build(with)),
                Some(of_build(best)),
                Vec::new(),
            ),
            Reason::KeptOut(reasons) => (
                "kept_out",
                None,
                None,
                reasons.iter().map(kept_out).collect(),
            ),
            Reason::NotOffered(reasons) => (
                "not_offered",
                None,
                None,
                reasons.iter().map(kept_out).collect(),
            ),
        };
        json!({
            "role": word.role,
            "verdict": verdict,
            "landed_minor": word.landed.map(|landed| landed.minor()),
            "entry_minor": word.entry.map(|entry| entry.minor()),
            "other": other,
            "best": best,
            "kept_out": reasons,
            "binding": held.as_ref().map(binding::report),
        })
    });
    json!({
        "brief": asked.brief.id,
        "part": part,
        "currency": asked.brief.budget.currency().to_string(),
        "roles": roles.collect::<Vec<Value>>(),
        "left_out": left_out,
    })
}
