//! What the journal is told of prices that are held, and of those that polls confirmed after all.
//!
//! Only of known parts, since the price of anything else counts for nothing; of one poll, a bounded number each.

use super::judge::Hold;
use crate::ledger::{Effect, JournalEntry};
use crate::market::{FeedId, Offer};
use chrono::{DateTime, Utc};
use serde_json::json;

/// So many of one poll are told one by one; the others are counted.
const TOLD_MAX: usize = 20;

/// The news of one poll.
#[derive(Debug, Default)]
pub struct HeldNews {
    held: News,
    believed: News,
}

#[derive(Debug, Default)]
struct News {
    told: Vec<JournalEntry>,
    n_more: usize,
}

impl HeldNews {
    /// Takes note of what became of an offer of a part that is doubted.
    pub fn note(
        &mut self,
        (feed, offer, part): (&FeedId, &Offer, &str),
        (hold, effect): (&Hold, Effect),
        at: DateTime<Utc>,
    ) {
        let (kind, news, what) = match effect {
            Effect::Held => (
                "price_held",
                &mut self.held,
                format!("is held until it is confirmed: {hold}"),
            ),
            Effect::New | Effect::Returned | Effect::Changed => (
                "price_believed",
                &mut self.believed,
                "is believed now: the polls since have said the same".to_owned(),
            ),
            Effect::HeldStill | Effect::Unchanged | Effect::Repeated => return,
        };
        if news.told.len() >= TOLD_MAX {
            news.n_more += 1;
            return;
        }
        let (price, sku) = (offer.price, &offer.sku);
        news.told.push(JournalEntry {
            at,
            kind: kind.to_owned(),
            feed: Some(feed.clone()),
            brief: None,
            part: Some(part.to_owned()),
            text: format!("{price} for {} ({feed} {sku}) {what}", offer.title),
            data: json!({ "sku": sku, "price_minor": price.minor() }),
        });
    }

    /// The entries, in the order of the feed's records.
    pub fn entries(self) -> Vec<JournalEntry> {
        let [held, believed] = [
            (self.held, "are held too"),
            (self.believed, "are believed too"),
        ]
        .map(|(news, what)| {
            let mut entries = news.told;
            if let Some(last) = entries.last().filter(|_| news.n_more > 0) {
                let feed = last.feed.as_ref().map(ToString::to_string);
                entries.push(JournalEntry {
                    part: None,
                    text: format!(
                        "{} more prices of {} {what}",
                        news.n_more,
                        feed.unwrap_or_default()
                    ),
                    data: json!({ "more": news.n_more }),
                    ..last.clone()
                });
            }
            entries
        });
        held.into_iter().chain(believed).collect()
    }
}
