//! What one record of a feed comes to: read, matched and doubted.
//!
//! Polls and trials judge here, so that what a trial shows is what a poll would store. A record
//! is first read, which depends on nothing but the record, then weighed against those before it
//! and against the past. May not fetch or store: what the ledger knows of an offer's past and of
//! other retailers comes in as values.

use super::settings::Feed;
use crate::history::{Doubt, doubt};
use crate::ledger::Ask;
use crate::market::{
    Decision, HoldReason, Matcher, Matching, Normalised, Offer, RawOffer, Refusal, Repeat,
    RetailerId, Settled, Sku, normalise, settle,
};
use crate::money::Money;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// What the retailers ask for each part before a poll.
#[derive(Debug, Default)]
pub struct Peers(BTreeMap<String, Vec<(RetailerId, Money)>>);

/// What the author has decided of one retailer's offers.
pub type Decisions = BTreeMap<Sku, Decision>;

/// Judges the records of one poll of one feed.
#[derive(Clone, Copy)]
pub struct Judge<'j> {
    feed: &'j Feed,
    matcher: &'j Matcher,
    decisions: &'j Decisions,
    peers: &'j Peers,
    now: DateTime<Utc>,
}

/// A record that was read and not weighed yet.
#[derive(Debug)]
pub enum Read {
    Offer(Box<ReadOffer>),
    Refused(Refusal),
}

/// An offer as one record says it.
#[derive(Debug)]
pub struct ReadOffer {
    /// The record's number in its document, from 1.
    index: u64,
    offer: Offer,
    /// Why its values do not go together.
    disagreement: Option<HoldReason>,
    matching: Matching,
}

/// What is known of an offer beside the record that says it.
#[derive(Debug, Clone, Copy)]
pub struct Past {
    /// How an earlier record of this snapshot compares that was the same offer.
    pub repeat: Option<Repeat>,
    /// What was last believed.
    pub last_price: Option<Money>,
}

/// What became of a record.
#[derive(Debug)]
pub enum Judged {
    Offer(Box<JudgedOffer>),
    Refused(Refusal),
    /// It says what an earlier record of the feed has said.
    Repeated {
        index: u64,
    },
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
    /// Takes what is asked and believed now.
    pub fn of(asks: impl IntoIterator<Item = Ask>) -> Peers {
        let mut peers = Peers::default();
        for Ask {
            part,
            retailer,
            price,
        } in asks
        {
            peers.0.entry(part).or_default().push((retailer, price));
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
        decisions: &'j Decisions,
        peers: &'j Peers,
        now: DateTime<Utc>,
    ) -> Judge<'j> {
        Judge {
            feed,
            matcher,
            decisions,
            peers,
            now,
        }
    }

    /// Reads a record and finds its part: all of the judgement that needs no other record.
    pub fn read(&self, raw: &RawOffer) -> Read {
        let (offer, disagreement) = match normalise(raw, &self.feed.normalise, self.now) {
            Normalised::Refused(refusal) => return Read::Refused(refusal),
            Normalised::Accepted(offer) => (offer, None),
            Normalised::Held { offer, reason } => (offer, Some(reason)),
        };
        let decision = self.decisions.get(&offer.sku);
        Read::Offer(Box::new(ReadOffer {
            index: raw.index,
            matching: self.matcher.match_offer(&offer, decision),
            offer,
            disagreement,
        }))
    }

    /// Weighs the feed's next record. `look_up` tells the past of an offer; it is asked last for
    /// the offer that is returned.
    ///
    /// # Errors
    /// Whatever `look_up` fails with.
    pub fn weigh<E>(
        &self,
        read: Read,
        mut look_up: impl FnMut(&Offer, &Matching) -> Result<Past, E>,
    ) -> Result<Judged, E> {
        let ReadOffer {
            index,
            offer,
            disagreement,
            matching,
        } = match read {
            Read::Refused(refusal) => return Ok(Judged::Refused(refusal)),
            Read::Offer(read) => *read,
        };
        let mut last_price = None;
        let settled = settle(index, offer, |offer| {
            let past = look_up(offer, &matching)?;
            last_price = past.last_price;
            Ok(past.repeat)
        })?;
        let offer = match settled {
            Settled::Equal => return Ok(Judged::Repeated { index }),
            Settled::Refused(refusal) => return Ok(Judged::Refused(refusal)),
            Settled::Kept(offer) => offer,
        };
        let hold = match disagreement {
            Some(reason) => Some(Hold::Values(reason)),
            None => self.doubt(&offer, &matching, last_price).map(Hold::Price),
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
            Matching::None | Matching::Review { .. } | Matching::Contradiction(..) => Vec::new(),
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
