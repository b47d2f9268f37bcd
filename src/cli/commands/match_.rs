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

use crate::catalogue::PartId;
use crate::catalogue::reading::What;
use crate::catalogue::table::nearest;
use crate::cli::args::MatchArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless, harmless_source};
use crate::cli::wire;
use crate::ledger::{LedgerError, OfferDecision, Reader};
use crate::market::{
    Decision, Fingerprint, Matcher, Matching, Objection, RetailerId, Sku, Verdict,
};
use crate::watch::clock::Clock;
use crate::watch::questions::{Examined, Word, examine, give_word, rematch, rematched};
use crate::watch::settings::Settings;
use serde::Serialize;
use serde_json::json;
use std::collections::BTreeSet;
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

/// A part that it may be.
#[derive(Serialize)]
struct Proposed {
    part: String,
    by: &'static str,
    confidence: Option<u8>,
    agreed: Vec<&'static str>,
    objections: Vec<String>,
}

/// All that is known of one SKU.
struct Named<'s> {
    settings: &'s Settings,
    retailer: RetailerId,
    sku: Sku,
    /// Those listed: the one that is asked about first.
    listed: Vec<Examined>,
    decided: Option<Decision>,
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
    let Some((done, decision)) = decide(&named, arguments)? else {
        list(&named.listed, arguments.output.json, screen);
        return Ok(());
    };
    let text = sentence(name, &named, decision.as_ref());
    let matchings = give_word(
        &mut ledger,
        &matcher,
        &Word {
            retailer: &named.retailer,
            sku: &named.sku,
            decision: decision.as_ref(),
            kind: &format!("match_{done}"),
            text: &text,
            at: now,
        },
    )
    .map_err(of_ledger)?;
    let part = matchings.iter().find_map(|matching| match matching {
        Matching::Part(found) => Some(found.part.as_str()),
        _ => None,
    });
    let question = matchings.iter().find_map(Matching::question);
    if arguments.output.json {
        let record = json!({
            "retailer": named.retailer, "sku": named.sku, "done": done,
            "part": part, "question": question,
        });
        screen.line(harmless_source(&record.to_string()));
        return Ok(());
    }
    screen.line(format!("{done}: {}", harmless(&text)));
    match (part, question) {
        (Some(part), _) => screen.line(format!("  it counts as {part}")),
        (None, Some(question)) => screen.line(format!("  it waits: {}", harmless(&question))),
        (None, None) => screen.line("  it counts as no part"),
    }
    Ok(())
}

/// What is decided of an offer, for the journal.
fn sentence(name: &str, named: &Named<'_>, decision: Option<&Decision>) -> String {
    let title = named.listed.first().map(|one| &one.stored.offer.title);
    let title = title
        .map(|title| format!(" \"{title}\""))
        .unwrap_or_default();
    let says = match decision.map(|decision| &decision.verdict) {
        Some(Verdict::Pinned(part)) => format!("is {part}"),
        Some(Verdict::Denied(parts)) => {
            let parts: Vec<&str> = parts.iter().map(PartId::as_str).collect();
            format!("is not {}", parts.join(" nor "))
        }
        Some(Verdict::Lacking) => "is a part that the catalogue lacks".to_owned(),
        None => "is matched as if nothing had been decided".to_owned(),
    };
    format!("{name}{title} {says}")
}

/// What was said and the decision that it makes; `None` where nothing was said. The inner `None`
/// forgets.
fn decide(
    named: &Named<'_>,
    arguments: &MatchArguments,
) -> Result<Option<(&'static str, Option<Decision>)>, Failure> {
    if arguments.forget {
        return match named.decided {
            Some(_) => Ok(Some(("forgotten", None))),
            None => Err(Failure::usage(
                "nothing was decided about this offer",
                "`rigtide match` lists the offers that wait",
            )),
        };
    }
    let (done, verdict) = if let Some(part) = &arguments.accept {
        ("accepted", Verdict::Pinned(named.part(part)?))
    } else if let Some(part) = &arguments.refuse {
        ("refused", Verdict::Denied(named.refused(part.as_deref())?))
    } else if arguments.new {
        ("new", Verdict::Lacking)
    } else {
        return Ok(None);
    };
    let made_on = named.fingerprint().ok_or_else(|| {
        Failure::usage(
            "no retailer lists this offer any more",
            "`--forget` takes back what was decided about it",
        )
    })?;
    Ok(Some((done, Some(Decision { verdict, made_on }))))
}

impl Named<'_> {
    fn fingerprint(&self) -> Option<Fingerprint> {
        let first = self.listed.first()?;
        Some(Fingerprint::of(&first.stored.offer))
    }

    /// A part by its id, or by its number among the proposals.
    fn part(&self, name: &str) -> Result<PartId, Failure> {
        let parts = &self.settings.catalogue.parts;
        let id = PartId::new(name);
        if parts.contains_key(&id) {
            return Ok(id);
        }
        let proposals = self.listed.first().map(|one| proposals(&one.matching));
        let number = name.parse::<usize>().ok();
        let nth = number.and_then(|number| number.checked_sub(1));
        if let (Some(nth), Some(proposals)) = (nth, proposals)
            && let Some(proposed) = proposals.get(nth)
        {
            return Ok(PartId::new(&proposed.part));
        }
        let hint = match nearest(name, parts.keys().map(PartId::as_str)) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "name a part by its `id` in the catalogue, or a proposal by its number".into(),
        };
        Err(Failure::usage(
            format!("no part has the id \"{name}\""),
            hint,
        ))
    }

    /// What the offer is not: one part, or all that it is taken or proposed for; with what was
    /// refused of the same listing before.
    fn refused(&self, part: Option<&str>) -> Result<BTreeSet<PartId>, Failure> {
        let mut refused = match (part, self.listed.first()) {
            (Some(part), _) => BTreeSet::from([self.part(part)?]),
            (None, None) => BTreeSet::new(),
            (None, Some(one)) => {
                let taken = match &one.matching {
                    Matching::Part(found) => Some(found.part.clone()),
                    _ => None,
                };
                let proposed = proposals(&one.matching).into_iter();
                let proposed = proposed.map(|proposed| PartId::new(proposed.part));
                proposed.chain(taken).collect()
            }
        };
        if refused.is_empty() {
            return Err(Failure::usage(
                "there is nothing to refuse: the offer is taken for no part",
                "`--refuse PART` names one, `--new` refuses all of the catalogue",
            ));
        }
        if let Some(decided) = &self.decided
            && let Verdict::Denied(before) = &decided.verdict
            && Some(&decided.made_on) == self.fingerprint().as_ref()
        {
            refused.extend(before.iter().cloned());
        }
        Ok(refused)
    }
}

fn find<'s>(
    settings: &'s Settings,
    reader: &Reader,
    matcher: &Matcher,
    name: &str,
) -> Result<Named<'s>, Failure> {
    let decisions = reader.offer_decisions().map_err(of_ledger)?;
    let mut listed = examine(reader, matcher).map_err(of_ledger)?;
    let known = |one: &Examined| format!("{}/{}", one.stored.offer.retailer, one.stored.offer.sku);
    let decided_name = |one: &OfferDecision| format!("{}/{}", one.retailer, one.sku);
    let decided = decisions.iter().find(|one| decided_name(one) == name);
    let names: BTreeSet<String> = listed.iter().map(known).collect();
    let split = name.split_once('/');
    let is_known = names.contains(name) || decided.is_some();
    let Some((retailer, sku)) = split.filter(|_| is_known) else {
        let hint = match nearest(name, names.iter().map(String::as_str)) {
            Some(near) => format!("did you mean \"{}\"?", harmless(near)),
            None => "name an offer as RETAILER/SKU; `rigtide match` lists those that wait".into(),
        };
        return Err(Failure::usage(
            format!("no offer is called \"{name}\""),
            hint,
        ));
    };
    listed.retain(|one| known(one) == name);
    listed.sort_by_key(|one| one.question().is_none());
    Ok(Named {
        settings,
        retailer: RetailerId::new(retailer),
        sku: Sku::new(sku),
        listed,
        decided: decided.map(|one| one.decision.clone()),
    })
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

fn proposals(matching: &Matching) -> Vec<Proposed> {
    match matching {
        Matching::Part(_) | Matching::None => Vec::new(),
        Matching::Contradiction(one, other) => [one, other]
            .into_iter()
            .map(|part| Proposed {
                part: part.to_string(),
                by: "keys",
                confidence: None,
                agreed: Vec::new(),
                objections: Vec::new(),
            })
            .collect(),
        Matching::Review { proposals, .. } => proposals
            .iter()
            .map(|proposal| Proposed {
                part: proposal.part.to_string(),
                by: proposal.by.name(),
                confidence: Some(proposal.confidence),
                agreed: proposal.agreed.iter().copied().map(What::name).collect(),
                objections: proposal
                    .objections
                    .iter()
                    .map(Objection::to_string)
                    .collect(),
            })
            .collect(),
    }
}

fn of_ledger(error: LedgerError) -> Failure {
    Failure::Ledger(error.into())
}
