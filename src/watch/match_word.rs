//! An author's word on an offer that waits for it.

use super::asking::AskFault;
use super::questions::{Examined, Word, examine, give_word};
use super::settings::Settings;
use crate::catalogue::PartId;
use crate::catalogue::reading::What;
use crate::catalogue::table::nearest;
use crate::ledger::{Ledger, OfferDecision, Reader};
use crate::market::{
    Decision, Fingerprint, Matcher, Matching, Objection, RetailerId, Sku, Verdict,
};
use chrono::{DateTime, Utc};
use serde::Serialize;
use std::collections::BTreeSet;

/// What an author says of an offer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OfferWord {
    /// It is this part, by its id or by its number among the proposals.
    Accept(String),
    /// It is not this part; nor any that is proposed, where none is named.
    Refuse(Option<String>),
    /// It is a part that the catalogue lacks.
    New,
    /// What was decided is taken back.
    Forget,
}

/// What a word did.
pub struct Settled {
    /// `accepted`, `refused`, `new` or `forgotten`.
    pub done: &'static str,
    /// One sentence about it.
    pub text: String,
    /// The part that the offer is taken for now.
    pub part: Option<String>,
    /// What is asked about it still.
    pub question: Option<String>,
}

/// A part that it may be.
#[derive(Serialize)]
pub struct Proposed {
    pub part: String,
    pub by: &'static str,
    pub confidence: Option<u8>,
    pub agreed: Vec<&'static str>,
    pub objections: Vec<String>,
}

/// All that is known of one SKU.
pub struct Named<'s> {
    settings: &'s Settings,
    pub retailer: RetailerId,
    pub sku: Sku,
    /// Those listed: the one that is asked about first.
    pub listed: Vec<Examined>,
    pub decided: Option<Decision>,
}

/// Keeps a word on an offer and takes the offer for what it is by it.
///
/// # Errors
/// [`AskFault`]; then nothing has changed.
pub fn settle(
    ledger: &mut Ledger,
    matcher: &Matcher,
    named: &Named<'_>,
    word: &OfferWord,
    at: DateTime<Utc>,
) -> Result<Settled, AskFault> {
    let (done, decision) = decide(named, word)?;
    let text = sentence(named, decision.as_ref());
    let word = Word {
        retailer: &named.retailer,
        sku: &named.sku,
        decision: decision.as_ref(),
        kind: &format!("match_{done}"),
        text: &text,
        at,
    };
    let matchings = give_word(ledger, matcher, &word)?;
    let part = matchings.iter().find_map(|matching| match matching {
        Matching::Part(found) => Some(found.part.to_string()),
        _ => None,
    });
    let question = matchings.iter().find_map(Matching::question);
    Ok(Settled {
        done,
        text,
        part,
        question,
    })
}

/// What is decided of an offer, for the journal.
fn sentence(named: &Named<'_>, decision: Option<&Decision>) -> String {
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
    format!("{}/{}{title} {says}", named.retailer, named.sku)
}

/// The decision that a word makes; none forgets.
fn decide(
    named: &Named<'_>,
    word: &OfferWord,
) -> Result<(&'static str, Option<Decision>), AskFault> {
    let (done, verdict) = match word {
        OfferWord::Forget => {
            return match named.decided {
                Some(_) => Ok(("forgotten", None)),
                None => Err(AskFault::senseless(
                    "nothing was decided about this offer",
                    "`rigtide match` lists the offers that wait",
                )),
            };
        }
        OfferWord::Accept(part) => ("accepted", Verdict::Pinned(named.part(part)?)),
        OfferWord::Refuse(part) => ("refused", Verdict::Denied(named.refused(part.as_deref())?)),
        OfferWord::New => ("new", Verdict::Lacking),
    };
    let made_on = named.fingerprint().ok_or_else(|| {
        AskFault::senseless(
            "no retailer lists this offer any more",
            "`--forget` takes back what was decided about it",
        )
    })?;
    Ok((done, Some(Decision { verdict, made_on })))
}

impl Named<'_> {
    fn fingerprint(&self) -> Option<Fingerprint> {
        let first = self.listed.first()?;
        Some(Fingerprint::of(&first.stored.offer))
    }

    /// A part by its id, or by its number among the proposals.
    fn part(&self, name: &str) -> Result<PartId, AskFault> {
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
        Err(AskFault::unknown(
            format!("no part has the id \"{name}\""),
            hint,
        ))
    }

    /// What the offer is not: one part, or all that it is taken or proposed for; with what was
    /// refused of the same listing before.
    fn refused(&self, part: Option<&str>) -> Result<BTreeSet<PartId>, AskFault> {
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
            return Err(AskFault::senseless(
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

/// All that is known of the offer that is called `RETAILER/SKU`.
///
/// # Errors
/// [`AskFault`]
pub fn find<'s>(
    settings: &'s Settings,
    reader: &Reader,
    matcher: &Matcher,
    name: &str,
) -> Result<Named<'s>, AskFault> {
    let decisions = reader.offer_decisions()?;
    let mut listed = examine(reader, matcher)?;
    let known = |one: &Examined| format!("{}/{}", one.stored.offer.retailer, one.stored.offer.sku);
    let decided_name = |one: &OfferDecision| format!("{}/{}", one.retailer, one.sku);
    let decided = decisions.iter().find(|one| decided_name(one) == name);
    let names: BTreeSet<String> = listed.iter().map(known).collect();
    let split = name.split_once('/');
    let is_known = names.contains(name) || decided.is_some();
    let Some((retailer, sku)) = split.filter(|_| is_known) else {
        let hint = match nearest(name, names.iter().map(String::as_str)) {
            Some(near) => format!("did you mean \"{}\"?", near),
            None => "name an offer as RETAILER/SKU; `rigtide match` lists those that wait".into(),
        };
        return Err(AskFault::unknown(
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

/// The parts that an offer may be.
pub fn proposals(matching: &Matching) -> Vec<Proposed> {
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
