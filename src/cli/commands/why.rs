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
use crate::market::{LeftOut, Listed, Market, market};
use crate::optimise::{
    Bindings, Build, Effort, KeptOut, Question, QuestionFault, Reason, SweeperFirst, Why, bindings,
    why,
};
use anyhow::Context as _;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, arguments: &WhyArguments, screen: &Screen) -> Result<(), Failure> {
    let asked = Asked::load(directory, arguments.brief.as_deref(), &arguments.changes)?;
    let part = part_named(&asked.settings, &arguments.part)?;
    let market = asked.market();
    let engine = SweeperFirst(Effort::default());
    let question = Question::new(&market, &asked.settings.catalogue, &asked.standing, &engine);
    let mut words = Vec::new();
    for (group, position) in seats(&market, &part) {
        screen.progress(&format!("asking why {part}"));
        let word = why(&question, group, position).context("cannot tell why")?;
        let held = match word.reason {
            Reason::Picked { .. } => bindings(&question, &asked.listed, group),
            _ => Ok(None),
        };
        words.push((word, held.context("cannot tell what holds it")?));
    }
    let left_out = match words.is_empty() {
        true => left_out(&asked, &part),
        false => Vec::new(),
    };
    if words.is_empty() {
        screen.progress(&format!("asking what {part} might cost"));
        let unoffered = unoffered(&asked, &market, &part).context("cannot tell why")?;
        words = unoffered.into_iter().map(|word| (word, None)).collect();
    }
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

/// What a part of which no offer counts might cost, in every role that it could fill.
fn unoffered(asked: &Asked, market: &Market<'_>, part: &PartId) -> Result<Vec<Why>, QuestionFault> {
    let catalogue = &asked.settings.catalogue;
    let mut words = Vec::new();
    for group in 0..market.brief.roles.len() {
        let market = market.with_unoffered(group, catalogue, |one| one.id == *part);
        let engine = SweeperFirst(Effort::default());
        for (group, position) in seats(&market, part) {
            let question = Question::new(&market, catalogue, &asked.standing, &engine);
            words.push(why(&question, group, position)?);
        }
    }
    Ok(words)
}

/// Where a part is a candidate: role and position.
fn seats(market: &Market<'_>, part: &PartId) -> Vec<(usize, usize)> {
    let groups = market.candidates.iter().enumerate();
    groups
        .filter_map(|(group, candidates)| {
            let position = candidates.iter().position(|one| one.part.id == *part)?;
            Some((group, position))
        })
        .collect()
}

/// Why a part is no candidate at all.
fn left_out(asked: &Asked, part: &PartId) -> Vec<String> {
    let own: Vec<Listed> = asked
        .listed
        .iter()
        .filter(|offer| offer.part == *part)
        .cloned()
        .collect();
    if own.is_empty() {
        let mut lines = vec!["no retailer offers it now".to_owned()];
        lines.extend(unfit(asked, part));
        return lines;
    }
    let alone = market(
        &asked.brief,
        &asked.settings.catalogue,
        &asked.settings.retailers,
        &own,
    );
    let reasons = alone.left_out.iter();
    reasons
        .map(|(reason, count)| format!("{count} of its offers not considered: {}", reason.reason()))
        .collect()
}

/// Why the brief has no role for a part, whatever it costs.
fn unfit(asked: &Asked, part: &PartId) -> Option<String> {
    let brief = &asked.brief;
    let part = asked.settings.catalogue.parts.get(part)?;
    let reason = match brief.bans.admit_part(part) {
        false => LeftOut::Banned,
        true => {
            let reasons = brief.roles.iter().map(|role| brief.may_fill(role, part));
            let reasons: Option<Vec<LeftOut>> = reasons.map(Result::err).collect();
            // A role of its own kind says more than all the others.
            let reasons = reasons?.into_iter();
            reasons.max_by_key(|reason| *reason != LeftOut::NoRole)?
        }
    };
    Some(format!(
        "its offers would not be considered: {}",
        reason.reason()
    ))
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
            lines.extend(reasons.iter().map(kept_out));
        }
        Reason::NotOffered(reasons) if reasons.is_empty() => {}
        Reason::NotOffered(reasons) => {
            lines.push("no build would have it".to_owned());
            lines.extend(reasons.iter().map(kept_out));
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

fn kept_out(reason: &KeptOut) -> String {
    match reason {
        KeptOut::Budget { cheapest } => format!("  the cheapest build with it costs {cheapest}"),
        KeptOut::Rule { id, states } => format!("  the rule {id} keeps it out: {states}"),
        KeptOut::RulesTogether => "  several fit rules together keep it out".to_owned(),
    }
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

fn trimmed(reasons: &[KeptOut]) -> Vec<String> {
    let reasons = reasons.iter();
    reasons
        .map(|reason| kept_out(reason).trim().to_owned())
        .collect()
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
            Reason::KeptOut(reasons) => ("kept_out", None, None, trimmed(reasons)),
            Reason::NotOffered(reasons) => ("not_offered", None, None, trimmed(reasons)),
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
