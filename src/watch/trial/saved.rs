//! The offers of a saved document that are no part, read as a poll would and without a ledger.

use super::{Weighing, decode_page, gather_saved};
use crate::market::{Matcher, Matching, Offer, RawOffer, Reject, Repeats};
use crate::watch::gather::Gathered;
use crate::watch::judge::{Decisions, Judge, Judged, Peers};
use crate::watch::settings::Feed;
use chrono::{DateTime, Utc};
use std::ops::ControlFlow;
use std::path::Path;

/// Every offer of a saved file, or of every file of a directory, that is taken for no part. What
/// a poll would hold or ask about is among them; what it would refuse is not.
///
/// # Errors
/// Why the feed as a whole cannot be read, in words.
pub fn unmatched_in(
    matcher: &Matcher,
    feed: &Feed,
    saved: &Path,
    now: DateTime<Utc>,
) -> Result<Vec<Offer>, String> {
    let documents = match gather_saved(feed, saved) {
        Gathered::Documents(documents) => documents,
        Gathered::Failed(failure) => return Err(failure.text),
        // Nobody was asked whether it changed.
        Gathered::Unchanged(_) => return Ok(Vec::new()),
    };
    let (decisions, peers) = (Decisions::new(), Peers::default());
    let mut weighing = Weighing {
        feed,
        ledger: None,
        judge: Judge::new(feed, matcher, &decisions, &peers, now),
        repeats: Repeats::default(),
    };
    let mut unmatched = Vec::new();
    for mut page in documents.pages {
        let mut sink = |one: Result<RawOffer, Reject>| {
            // Without a ledger there is none that could fail.
            if let Ok(Ok(Judged::Offer(judged))) = one.map(|raw| weighing.judge(&raw))
                && !matches!(judged.matching, Matching::Part(_))
            {
                unmatched.push(judged.offer);
            }
            ControlFlow::Continue(())
        };
        decode_page(feed, &mut page, &mut sink)?;
    }
    Ok(unmatched)
}
