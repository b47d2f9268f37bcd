//! `rigtide match`: the offers that wait for the author, and the author's word on one.
//!
//! `--json` gives, by feed and SKU,
//!
//! ```text
//! { queue [{ retailer, sku, title, price_minor, currency, question,
//!            proposals [{ part, by, confidence,    by: author|gtin|mpn|title, or keys where two
//!                         agreed [],                   disagree; confidence: in percent or null
//!                         objections [] }] }] }
//! ```
//!
//! With a word on an offer it gives `{ retailer, sku, done, part, question }`: what was `done`
//! (`accepted`, `refused`, `new` or `forgotten`), the part that the offer is taken for now, and
//! what is asked about it still.

use crate::cli::args::MatchArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::cli::wire;
use crate::ledger::LedgerError;
use crate::market::Matcher;
use crate::watch::clock::Clock;
use crate::watch::match_word::{OfferWord, Proposed, Settled, find, proposals, settle};
use crate::watch::questions::{Examined, examine, rematch, rematched};
use serde::Serialize;
use serde_json::json;
use std::path::Path;

/// An offer that waits, for programs.
#[derive(Serialize)]
struct Waiting<'q> {
    retailer: &'q str,
    sku: &'q str,
    title: &'q str,
    price_minor: i64,
    currency: String,
    question: String,
    proposals: Vec<Proposed>,
}

pub fn run(directory: &Path, arguments: &MatchArguments, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    let matcher = Matcher::new(&settings.catalogue);
    if !settings.ledger.exists() {
        return match &arguments.offer {
            None => {
                list(&[], arguments.output.json, screen);
                Ok(())
            }
            Some(name) => Err(Failure::usage(
                format!("no offer is called \"{name}\""),
                "nothing has been polled yet",
            )),
        };
    }
    let mut ledger = wire::ledger(&settings)?;
    let now = Clock::from_environment().now();
    match rematch(&mut ledger, &matcher, &settings.catalogue, now).map_err(of_ledger)? {
        0 => {}
        n_moved if arguments.output.json => tracing::info!("{}", rematched(n_moved)),
        n_moved => screen.line(rematched(n_moved)),
    }
    let Some(name) = &arguments.offer else {
        let all = examine(ledger.read(), &matcher).map_err(of_ledger)?;
        list(&all, arguments.output.json, screen);
        return Ok(());
    };
    let named = find(&settings, ledger.read(), &matcher, name)?;
    let Some(word) = said(arguments) else {
        list(&named.listed, arguments.output.json, screen);
        return Ok(());
    };
    let settled = settle(&mut ledger, &matcher, &named, &word, now)?;
    let Settled {
        done,
        text,
        part,
        question,
    } = settled;
    if arguments.output.json {
        let record = json!({
            "retailer": named.retailer, "sku": named.sku, "done": done,
            "part": part, "question": question,
        });
        screen.line(harmless_source(&record.to_string()));
        return Ok(());
    }
    screen.line(format!("{done}: {}", harmless(&text)));
    match (part, question.as_deref()) {
        (Some(part), _) => screen.line(format!("  it counts as {part}")),
        (None, Some(question)) => screen.line(format!("  it waits: {}", harmless(question))),
        (None, None) => screen.line("  it counts as no part"),
    }
    Ok(())
}

/// What the command line says of the offer, if anything.
fn said(arguments: &MatchArguments) -> Option<OfferWord> {
    if arguments.forget {
        Some(OfferWord::Forget)
    } else if let Some(part) = &arguments.accept {
        Some(OfferWord::Accept(part.clone()))
    } else if let Some(part) = &arguments.refuse {
        Some(OfferWord::Refuse(part.clone()))
    } else {
        arguments.new.then_some(OfferWord::New)
    }
}

fn list(all: &[Examined], json: bool, screen: &Screen) {
    let waiting: Vec<Waiting<'_>> = all.iter().filter_map(waiting).collect();
    if json {
        let record = json!({ "queue": waiting });
        screen.line(harmless_source(&record.to_string()));
        return;
    }
    for (one, examined) in waiting
        .iter()
        .zip(all.iter().filter(|one| one.question().is_some()))
    {
        let name = harmless(&format!("{}/{}", one.retailer, one.sku));
        let price = examined.stored.offer.price;
        let title = harmless(one.title);
        screen.line(format!(
            "{}  {price}  {title}",
            screen.tone(Tone::Strong, &name)
        ));
        let why = one.question.split(": ").next().unwrap_or_default();
        screen.line(format!("  {}", harmless(why)));
        for (number, proposed) in (1..).zip(&one.proposals) {
            screen.line(harmless(&format!("  {number}. {}", shown(proposed))));
        }
    }
    screen.line(match waiting.is_empty() {
        true => "no offer waits",
        false => {
            "`rigtide match RETAILER/SKU` with `--accept PART`, `--refuse [PART]` or `--new` \
             settles one"
        }
    });
}

fn shown(proposed: &Proposed) -> String {
    let mut line = format!("{} by {}", proposed.part, proposed.by);
    if let Some(confidence) = proposed.confidence {
        line.push_str(&format!(", {confidence} %"));
    }
    if !proposed.agreed.is_empty() {
        line.push_str(&format!("; agrees in {}", proposed.agreed.join(", ")));
    }
    if !proposed.objections.is_empty() {
        line.push_str(&format!("; but {}", proposed.objections.join(" and ")));
    }
    line
}

fn waiting(examined: &Examined) -> Option<Waiting<'_>> {
    let offer = &examined.stored.offer;
    Some(Waiting {
        question: examined.question()?,
        retailer: offer.retailer.as_str(),
        sku: offer.sku.as_str(),
        title: &offer.title,
        price_minor: offer.price.minor(),
        currency: offer.price.currency().to_string(),
        proposals: proposals(&examined.matching),
    })
}

fn of_ledger(error: LedgerError) -> Failure {
    Failure::Ledger(error.into())
}
