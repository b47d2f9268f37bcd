//! `rigtide catalogue propose FEED`: drafts of the parts that a feed offers and the catalogue lacks.
//!
//! Offers come out of the ledger, as the newest polls left them, or out of a saved file of the
//! feed, for which neither network nor ledger is needed. `--json` gives
//!
//! ```text
//! { feed, offers,                             offers of the feed that are no part
//!   drafts [{ id, kind, name, guessed [] }],
//!   left [{ sku, title, reason }],            offers that became no draft
//!   out }
//! ```

use crate::catalogue::table::nearest;
use crate::catalogue::{NoDraft, Proposal, Unmatched, propose, render_parts};
use crate::cli::args::ProposeArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source, shortened};
use crate::cli::wire;
use crate::market::{Condition, Matcher, Offer};
use crate::watch::clock::Clock;
use crate::watch::settings::{Feed, Settings};
use crate::watch::trial::unmatched_in;
use anyhow::anyhow;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

/// The first line of every file that this command writes, and may therefore write again.
const MARK: &str =
    "Proposed by `rigtide catalogue propose`; another proposal may replace this file.";

pub fn run(directory: &Path, arguments: &ProposeArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let feed = select(&settings, &arguments.feed)?;
    let unmatched = match &arguments.from {
        Some(saved) => {
            screen.progress(&format!("reading {}", saved.display()));
            let matcher = Matcher::new(&settings.catalogue);
            let now = Clock::from_environment().now();
            let read = unmatched_in(&matcher, feed, saved, now);
            read.map_err(|error| {
                anyhow!("{error}").context(format!("cannot read a saved copy of {}", feed.id))
            })?
        }
        None => {
            screen.progress("reading the ledger");
            stored(&settings, feed)?
        }
    };
    let offers: Vec<Unmatched<'_>> = unmatched.iter().map(offer).collect();
    let source = format!("guessed from the feed {}", arguments.feed);
    let proposal = propose(&offers, &source, &settings.catalogue);
    screen.clear_progress();
    let text = render_parts(&comment(&arguments.feed), &proposal.drafts);
    let out = arguments.out.as_deref();
    if let Some(out) = out {
        wire::write_generated(out, MARK, &text)?;
    }
    if arguments.output.json {
        let report = report(&arguments.feed, offers.len(), &proposal, out);
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    let lines = lines(offers.len(), arguments.from.is_some(), &proposal, out);
    if out.is_none() && !proposal.drafts.is_empty() {
        screen.line(text.trim_end());
        lines.iter().for_each(|line| screen.complain(line));
    } else {
        lines.iter().for_each(|line| screen.line(line));
    }
    Ok(())
}

fn select<'s>(settings: &'s Settings, name: &str) -> Result<&'s Feed, Failure> {
    if let Some(feed) = settings.feeds.iter().find(|feed| feed.id.as_str() == name) {
        return Ok(feed);
    }
    let known = || settings.feeds.iter().map(|feed| feed.id.as_str());
    let hint = match nearest(name, known()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("known feeds: {}", known().collect::<Vec<_>>().join(", ")),
    };
    Err(Failure::usage(
        format!("no feed is called \"{name}\""),
        hint,
    ))
}

/// The feed's offers in the ledger that are no part.
fn stored(settings: &Settings, feed: &Feed) -> Result<Vec<Offer>, Failure> {
    let Some(reader) = wire::existing_reader(settings)? else {
        return Ok(Vec::new());
    };
    let mut offers = Vec::new();
    let shown = reader.each_listed_offer(|stored| {
        if stored.feed == feed.id && stored.part.is_none() {
            offers.push(stored.offer);
        }
    });
    shown.map_err(|error| Failure::Ledger(error.into()))?;
    Ok(offers)
}

fn offer(offer: &Offer) -> Unmatched<'_> {
    Unmatched {
        sku: offer.sku.as_str(),
        title: &offer.title,
        brand: offer.brand.as_deref(),
        mpn: offer.mpn.as_deref(),
        gtins: &offer.gtins,
        properties: &offer.properties,
        is_new: offer.condition == Condition::New,
    }
}

fn comment(feed: &str) -> Vec<String> {
    vec![
        MARK.to_owned(),
        format!(
            "From titles and properties of {feed}. Each spec in `guessed` was read out of a text: check"
        ),
        "it, correct it, and take it out of the list. A part with guesses is in no build."
            .to_owned(),
    ]
}

fn report(feed: &str, n_offers: usize, proposal: &Proposal, out: Option<&Path>) -> Value {
    let drafts = proposal.drafts.iter().map(|part| {
        let guessed: Vec<&str> = part.guessed.iter().map(|spec| spec.key()).collect();
        json!({
            "id": part.id,
            "kind": part.kind.name(),
            "name": part.name,
            "guessed": guessed,
        })
    });
    let left = proposal.left.iter().map(
        |(sku, title, reason)| json!({ "sku": sku, "title": title, "reason": reason.to_string() }),
    );
    json!({
        "feed": feed,
        "offers": n_offers,
        "drafts": drafts.collect::<Vec<_>>(),
        "left": left.collect::<Vec<_>>(),
        "out": out.map(|out| out.to_string_lossy()),
    })
}

fn lines(n_offers: usize, is_saved: bool, proposal: &Proposal, out: Option<&Path>) -> Vec<String> {
    let n_drafts = proposal.drafts.len();
    let mut lines = vec![match out {
        Some(out) => format!(
            "{n_drafts} of {n_offers} offers became drafts in {}",
            out.display()
        ),
        None => format!("{n_drafts} of {n_offers} offers that are no part became drafts"),
    }];
    if n_offers == 0 {
        lines.push(match is_saved {
            true => "every offer in it is a part".to_owned(),
            false => "every offer of the feed is a part, or it was not polled yet".to_owned(),
        });
    }
    let mut reasons: BTreeMap<&NoDraft, (usize, &str)> = BTreeMap::new();
    for (_, title, reason) in &proposal.left {
        reasons.entry(reason).or_insert((0, title)).0 += 1;
    }
    lines.extend(reasons.into_iter().map(|(reason, (count, title))| {
        let title = harmless(&shortened(title, 60));
        format!("  {count:>6}  {reason}; the first: \"{title}\"")
    }));
    lines
}
