//! Offers that wait for the author, and what the author's word on one does to the ledger.
//!
//! Nothing is stored for the queue: it is what the matcher asks about the offers as they are
//! stored. A decision takes an offer for what the next poll would take it for, and a changed
//! catalogue does so with all of them.

use super::intake::part_match;
use super::judge::Decisions;
use super::marks::catalogue_mark;
use crate::catalogue::Catalogue;
use crate::ledger::{
    Deciding, JournalEntry, Ledger, LedgerError, OfferRow, PartMatch, Reader, StoredOffer,
};
use crate::market::{Decision, Matcher, Matching, RetailerId, Sku};
use chrono::{DateTime, Utc};
use serde_json::json;
use std::collections::BTreeMap;

/// An offer as it is stored, with what the matcher says of it now.
#[derive(Debug)]
pub struct Examined {
    pub stored: StoredOffer,
    pub matching: Matching,
}

/// A decision of the author, or that there is none any more.
#[derive(Debug)]
pub struct Word<'w> {
    pub retailer: &'w RetailerId,
    pub sku: &'w Sku,
    /// `None` forgets.
    pub decision: Option<&'w Decision>,
    /// A stable word for the journal, such as `match_accepted`.
    pub kind: &'w str,
    /// One sentence for the journal.
    pub text: &'w str,
    pub at: DateTime<Utc>,
}

impl Examined {
    /// Why the author is asked about the offer, if it waits for them.
    pub fn question(&self) -> Option<String> {
        match self.stored.part {
            Some(_) => None,
            None => self.matching.question(),
        }
    }
}

/// Every listed offer with what the matcher says of it under the author's decisions.
///
/// # Errors
/// [`LedgerError`]
pub fn examine(reader: &Reader, matcher: &Matcher) -> Result<Vec<Examined>, LedgerError> {
    let mut all = Vec::new();
    examine_each(reader, matcher, Offers::Listed, |one| all.push(one))?;
    Ok(all)
}

/// The listed offers that wait for the author, each with what is asked.
///
/// # Errors
/// [`LedgerError`]
pub fn waiting(reader: &Reader, matcher: &Matcher) -> Result<Vec<(Examined, String)>, LedgerError> {
    let mut waiting = Vec::new();
    examine_each(reader, matcher, Offers::Unmatched, |one| {
        if let Some(question) = one.question() {
            waiting.push((one, question));
        }
    })?;
    Ok(waiting)
}

/// Which offers are looked at.
#[derive(Clone, Copy)]
enum Offers {
    Listed,
    /// Taken for no part: only of these there are questions.
    Unmatched,
}

/// Takes every listed offer for what it is by the catalogue as it is now, which may have changed
/// since the offer was polled. Returns how many offers are another part, or none, since.
///
/// # Errors
/// [`LedgerError`]; then nothing has changed.
pub fn rematch(
    ledger: &mut Ledger,
    matcher: &Matcher,
    catalogue: &Catalogue,
    at: DateTime<Utc>,
) -> Result<usize, LedgerError> {
    let mark = catalogue_mark(catalogue);
    if ledger.read().matched_with()? == Some(mark) {
        return Ok(0);
    }
    let mut matches: Vec<(OfferRow, Option<PartMatch>)> = Vec::new();
    let mut n_moved = 0;
    let offers = Offers::Listed;
    examine_each(
        ledger.read(),
        matcher,
        offers,
        |Examined { stored, matching }| {
            let part = part_match(&matching);
            let id = |of: &Option<PartMatch>| of.as_ref().map(|found| found.part.clone());
            n_moved += usize::from(id(&part) != id(&stored.part));
            if part != stored.part {
                matches.push((stored.row, part));
            }
        },
    )?;
    let entry = JournalEntry {
        at,
        kind: "catalogue_changed".to_owned(),
        feed: None,
        brief: None,
        part: None,
        text: rematched(n_moved),
        data: json!({ "offers": n_moved }),
    };
    ledger.rematch(&matches, Some(&entry).filter(|_| n_moved > 0), mark, at)?;
    Ok(n_moved)
}

/// One sentence for a person about what [`rematch`] changed.
pub fn rematched(n_offers: usize) -> String {
    let offers = match n_offers {
        1 => "1 offer is".to_owned(),
        _ => format!("{n_offers} offers are"),
    };
    format!("the catalogue has changed: {offers} another part than before, or none")
}

fn examine_each(
    reader: &Reader,
    matcher: &Matcher,
    offers: Offers,
    mut show: impl FnMut(Examined),
) -> Result<(), LedgerError> {
    let mut decisions: BTreeMap<RetailerId, Decisions> = BTreeMap::new();
    for known in reader.offer_decisions()? {
        let of_retailer = decisions.entry(known.retailer).or_default();
        of_retailer.insert(known.sku, known.decision);
    }
    let examined = |stored: StoredOffer| {
        let offer = &stored.offer;
        let of_retailer = decisions.get(&offer.retailer);
        let decision = of_retailer.and_then(|known| known.get(&offer.sku));
        show(Examined {
            matching: matcher.match_offer(offer, decision),
            stored,
        });
    };
    match offers {
        Offers::Listed => reader.each_listed_offer(examined),
        Offers::Unmatched => reader.each_unmatched_offer(examined),
    }
}

/// Keeps the author's word and takes the SKU's offers for what they are by it. Returns what the
/// matcher says of each now.
///
/// # Errors
/// [`LedgerError`]; then nothing has changed.
pub fn give_word(
    ledger: &mut Ledger,
    matcher: &Matcher,
    word: &Word<'_>,
) -> Result<Vec<Matching>, LedgerError> {
    let mut offers = ledger.read().listed_offers()?;
    offers.retain(|one| one.offer.retailer == *word.retailer && one.offer.sku == *word.sku);
    let matchings: Vec<Matching> = offers
        .iter()
        .map(|one| matcher.match_offer(&one.offer, word.decision))
        .collect();
    let parts = matchings.iter().map(part_match);
    let changed = offers.iter().zip(parts);
    let changed = changed.filter(|(one, part)| one.part != *part);
    let matches: Vec<(OfferRow, Option<PartMatch>)> =
        changed.map(|(one, part)| (one.row, part)).collect();
    let part = matchings.iter().find_map(part_match);
    ledger.decide_offer(&Deciding {
        retailer: word.retailer,
        sku: word.sku,
        decision: word.decision,
        matches: &matches,
        entry: &JournalEntry {
            at: word.at,
            kind: word.kind.to_owned(),
            feed: offers.first().map(|one| one.feed.clone()),
            brief: None,
            part: part.map(|part| part.part),
            text: word.text.to_owned(),
            data: json!({ "retailer": word.retailer, "sku": word.sku }),
        },
        at: word.at,
    })?;
    Ok(matchings)
}
