//! What one record of a feed comes to: read, matched and doubted.
//!
//! Polls and trials judge here, so that what a trial shows is what a poll would store. May not
//! fetch or store: what the ledger knows of an offer's past and of other retailers comes in as
//! values.

use super::settings::Feed;
use crate::history::{Doubt, doubt};
use crate::ledger::CurrentOffer;
use crate::market::{
    HoldReason, Matcher, Matching, Normalised, Offer, RawOffer, Refusal, Repeats, RetailerId,
    normalise,
};
use crate::money::Money;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// What the retailers ask for each part before a poll.
#[derive(Debug, Default)]
pub struct Peers(BTreeMap<String, Vec<(RetailerId, Money)>>);

/// Judges the records of one poll of one feed, in their order.
pub struct Judge<'j> {
    feed: &'j Feed,
    matcher: &'j Matcher,
    peers: &'j Peers,
    now: DateTime<Utc>,
    repeats: Repeats,
}

/// What became of a record.
#[derive(Debug)]
pub enum Judged {
    Offer(Box<JudgedOffer>),
    Refused(Refusal),
    /// It says what an earlier record of the feed has said.
    Repeated,
}

/// An offer that is worth storing, believed or held.
#[derive(Debug)]
pub struct JudgedOffer {
    pub offer: Offer,
    pub matching: Matching,
    /// Why it is not believed yet; `None` when it is.
    pub hold: Option<Hold>,
}

/// Why an offer is held.
#[derive(Debug, thiserror::Error)]
pub enum Hold {
    /// Two of its own values disagree.
    #[error(transparent)]
    Values(HoldReason),
    /// Its price disagrees with what is known.
    #[error(transparent)]
    Price(Doubt),
}

impl Peers {
    /// Takes the offers that are believed now.
    pub fn of(current: impl IntoIterator<Item = CurrentOffer>) -> Peers {
        let mut peers = Peers::default();
        for current in current {
            let asks = (current.offer.retailer, current.offer.price);
            peers.0.entry(current.part.part).or_default().push(asks);
        }
        peers
    }

    /// What the others ask for a part.
    fn others(&self, part: &str, own: &RetailerId) -> Vec<Money> {
        let asks = self.0.get(part).into_iter().flatten();
        asks.filter(|(retailer, _)| retailer != own)
            .map(|(_, price)| *price)
            .collect()
    }
}

impl<'j> Judge<'j> {
    pub fn new(
        feed: &'j Feed,
        matcher: &'j Matcher,
        peers: &'j Peers,
        now: DateTime<Utc>,
    ) -> Judge<'j> {
        Judge {
            feed,
            matcher,
            peers,
            now,
            repeats: Repeats::new(),
        }
    }

    /// Judges the feed's next record. `last_price` looks up what was last believed of an offer.
    ///
    /// # Errors
    /// Whatever `last_price` fails with.
    pub fn judge<E>(
        &mut self,
        raw: &RawOffer,
        last_price: impl FnOnce(&Offer) -> Result<Option<Money>, E>,
    ) -> Result<Judged, E> {
        let read = normalise(raw, &self.feed.normalise, self.now);
        let (offer, disagreement) = match self.repeats.settle(raw.index, read) {
            None => return Ok(Judged::Repeated),
            Some(Normalised::Refused(refusal)) => return Ok(Judged::Refused(refusal)),
            Some(Normalised::Accepted(offer)) => (offer, None),
            Some(Normalised::Held { offer, reason }) => (offer, Some(reason)),
        };
        let matching = self.matcher.match_offer(&offer);
        let hold = match disagreement {
            Some(reason) => Some(Hold::Values(reason)),
            None => self
                .doubt(&offer, &matching, last_price(&offer)?)
                .map(Hold::Price),
        };
        Ok(Judged::Offer(Box::new(JudgedOffer {
            offer,
            matching,
            hold,
        })))
    }

    fn doubt(&self, offer: &Offer, matching: &Matching, before: Option<Money>) -> Option<Doubt> {
        let others = match matching {
            Matching::Part(found) => self.peers.others(found.part.as_str(), &offer.retailer),
            Matching::None | Matching::Contradiction(..) => Vec::new(),
        };
        let limit = self.feed.source.doubt.outlier_factor_hundredths;
        doubt(offer.price, before, &others, limit)
    }
}

impl Hold {
    /// A stable name for counting and for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Hold::Values(reason) => reason.code(),
            Hold::Price(Doubt::NotPositive(_)) => "price_not_positive",
            Hold::Price(Doubt::CurrencyChanged { .. }) => "currency_changed",
            Hold::Price(Doubt::OwnPast { .. }) => "price_far_from_its_past",
            Hold::Price(Doubt::Peers { .. }) => "price_far_from_others",
        }
    }
}
